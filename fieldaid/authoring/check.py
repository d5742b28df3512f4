"""What a check is, and the registry that finds every check of `fieldaid.authoring.checks`.

A check is one small module with one job. It declares `CHECK`: its code, its page (avoid, prefer, why) and the function
that looks. Codes of the loader have a page without a function: the loader finds them while it reads.
"""

from __future__ import annotations

import functools
import importlib
import pkgutil
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding

Severity = Literal["error", "warning", "style"]


@dataclass(frozen=True)
class Page:
    """What `rules explain CODE` says. `severity`: an error is wrong, a warning is likely wrong, style is taste."""

    code: str
    title: str
    severity: Severity
    avoid: str
    prefer: str
    why: str


@dataclass(frozen=True)
class Check:
    """One check. `find` yields findings of this code alone.

    whole : it needs a pack without errors
    spreads : an overlay can bring it about at a rule of the base; other findings in the base's files are the base's
    """

    page: Page
    find: Callable[[Bench], Iterable[Finding]]
    whole: bool = True
    spreads: bool = False


@functools.cache
def all_checks() -> tuple[Check, ...]:
    """Every check, in the order of codes. Raises ValueError for a code that two modules claim."""
    from fieldaid.authoring import checks

    found: dict[str, Check] = {}
    for module in pkgutil.iter_modules(checks.__path__):
        check = importlib.import_module(f"{checks.__name__}.{module.name}").CHECK
        if check.page.code in found:
            raise ValueError(f"{module.name}: the code {check.page.code} is taken")
        found[check.page.code] = check
    return tuple(found[code] for code in sorted(found))


@functools.cache
def all_pages() -> dict[str, Page]:
    """Every page by code: those of the checks and those of the loader's codes."""
    from fieldaid.authoring.check_pages import LOADER_PAGES

    pages = [*LOADER_PAGES, *(one.page for one in all_checks())]
    return {one.code: one for one in sorted(pages, key=lambda page: page.code)}
