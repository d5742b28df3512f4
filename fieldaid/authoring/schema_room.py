"""The room behind `fieldaid rules schema`."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import TextIO

from fieldaid.authoring.provenance import called
from fieldaid.authoring.schema import schemas
from fieldaid.errors import WrongUse
from fieldaid.guidance.pack import load_pack


def write(folder: Path, on: Path | None, to: Path, out: TextIO) -> int:
    """Writes the JSON schemas of a pack's files into a folder.

    Raises
    ------
    BrokenData : the pack cannot be loaded
    WrongUse : the files cannot be written
    """
    pack = load_pack(folder) if on is None else load_pack(on, [folder])
    found = schemas(pack)
    try:
        to.mkdir(parents=True, exist_ok=True)
        for name, schema in found.items():
            (to / f"{name}.json").write_text(text_of(schema), encoding="utf-8")
    except OSError as error:
        raise WrongUse("the schemas could not be written", where=str(to), why=error.strerror or str(error),
                            next_step="name a folder that can be written") from error
    from_rules = os.path.relpath(to.resolve(), (folder / "rules").resolve())
    print(f"{to}: {len(found)} schemas of the pack {called(pack)}. First line for an editor, in rules/*.yaml:\n"
          f"# yaml-language-server: $schema={Path(from_rules).as_posix()}/rules.json", file=out)
    return 0


def text_of(schema: dict) -> str:
    """A schema as it stands in a file."""
    return json.dumps(schema, indent=1, ensure_ascii=False) + "\n"
