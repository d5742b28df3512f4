"""`fieldaid rules book`: writes the rule book of a pack."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

from fieldaid.authoring.book import book
from fieldaid.authoring.evidence import load_evidence
from fieldaid.authoring.provenance import load_with_origins
from fieldaid.errors import WrongUse


def write_book(folder: Path, overlays: Sequence[Path], file: Path, out: TextIO) -> int:
    """Writes the book into `file`; 0 when it is written.

    Raises
    ------
    BrokenData : the pack, an overlay or the evidence is broken
    WrongUse : the file cannot be written
    """
    pack, origins = load_with_origins(folder, overlays)
    text = book(pack, load_evidence(pack), origins)
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")
    except OSError as error:
        raise WrongUse("the rule book cannot be written", where=str(file), why=error.strerror or str(error),
                       next_step="name a file in a folder that you may write to") from None
    print(f"{file}: {len(pack.rules)} rules, {len(pack.sources)} source rows. Open it in a browser, or print it.",
          file=out)
    return 0
