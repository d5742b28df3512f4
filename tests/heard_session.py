"""A session with the shipped pack and grammar that hears: every line counts as spoken. The second channel alone judges,
so that it begins soon."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from fieldaid.session.session import Session
from fieldaid.session.setting import Setting


@contextmanager
def heard_session(folder: Path) -> Iterator[Session]:
    """A new session with its journal in `folder`."""
    options = argparse.Namespace(journal=folder / "one.journal", rules=None, overlay=[], grammar=None, say_to=None,
                                 speak=False, no_engine=True)
    setting = Setting(options, "hear")
    made = setting.session(as_heard=True)
    try:
        yield made
    finally:
        made.close()
        setting.close()
