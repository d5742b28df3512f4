"""`fieldaid rules safety-case`: writes the safety case of a pack."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

from fieldaid.authoring.prove import last_full
from fieldaid.authoring.safety_case import broken_links, build, in_markdown
from fieldaid.data import CHECKOUT
from fieldaid.errors import FieldaidError
from fieldaid.guidance.pack import load_pack

KEPT = Path("proof") / "last_full.json"


def kept_proof(folder: Path) -> Path:
    """Where the full proof of a pack is kept: beside the pack."""
    return folder.resolve().parent / KEPT


def show(folder: Path, overlays: Sequence[Path], write: Path | None, proof: Path | None, out: TextIO) -> int:
    """Writes the case; 1 when a link of it is broken. Tests are looked up in a checkout only.

    Raises
    ------
    BrokenData : the pack or the kept proof cannot be read
    FieldaidError : the file cannot be written
    """
    pack = load_pack(folder, list(overlays))
    case = build(pack, last_full(proof or kept_proof(folder)))
    text = in_markdown(case)
    if write is None:
        out.write(text)
    else:
        try:
            write.write_text(text, encoding="utf-8")
        except OSError as error:
            raise FieldaidError("the safety case cannot be written", where=str(write),
                                why=str(error.strerror or error), next_step="name a file that can be written"
                                ) from error
    wrong = broken_links(case) if (CHECKOUT / "tests").is_dir() else []
    for one in wrong:
        out.write(f"broken link: {one}\n")
    return 1 if wrong else 0
