"""What stands beside the rules of a pack: the decisions they make, where sources disagree, and the rows without a rule.

Kept in the pack's folder `evidence`, for the rule book and for the check that nothing collected was forgotten. No rule
is evaluated from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

import yaml
from pydantic import BaseModel, ConfigDict, TypeAdapter, ValidationError

from fieldaid.errors import BrokenData, Finding
from fieldaid.guidance.pack import Pack

FILES = ("decisions", "conflicts", "unused_rows")


class _Entry(BaseModel):
    model_config = ConfigDict(extra="forbid", frozen=True)


class Decision(_Entry):
    """A decision to be made and the rules that make it; `elsewhere`: what of it is made outside the rules."""

    id: str
    question: str
    outcomes: str
    rules: tuple[str, ...]
    elsewhere: str = ""


class Conflict(_Entry):
    """A subject on which rows disagree, and what the pack does about it."""

    id: str
    subject: str
    sides: str
    rows: tuple[str, ...]
    handled: str
    rules: tuple[str, ...]
    elsewhere: str = ""


class UnusedRow(_Entry):
    """A row of the source list on which no rule and no parameter rests."""

    id: str
    fact: str
    source: str
    certainty: Literal["A", "B", "C"]
    why_unused: str


@dataclass(frozen=True)
class Evidence:
    """Empty tuples where a pack has no such file."""

    decisions: tuple[Decision, ...] = ()
    conflicts: tuple[Conflict, ...] = ()
    unused: tuple[UnusedRow, ...] = ()


def load_evidence(pack: Pack) -> Evidence:
    """The evidence of a pack's folder.

    Raises
    ------
    BrokenData : a file cannot be read, an entry is not as it must be, or it names a rule or row that does not exist
    """
    folder = pack.folder / "evidence"
    findings: list[Finding] = []
    found = Evidence(*(_read(folder / f"{name}.yaml", kind, findings)
                       for name, kind in zip(FILES, (Decision, Conflict, UnusedRow), strict=True)))
    findings += _broken_links(found, pack, folder)
    if findings:
        raise BrokenData(f"what stands beside the rules cannot be used ({len(findings)} findings)", findings,
                         where=str(folder), next_step="repair what is listed")
    return found


def _read(path: Path, kind: type[_Entry], findings: list[Finding]) -> tuple[Any, ...]:
    if not path.is_file():
        return ()
    try:
        stored = yaml.safe_load(path.read_text(encoding="utf-8")) or []
        return tuple(TypeAdapter(list[kind]).validate_python(stored))  # type: ignore[valid-type]
    except yaml.YAMLError as error:
        mark = getattr(error, "problem_mark", None)
        findings.append(Finding(str(path), mark.line + 1 if mark else 0, mark.column + 1 if mark else 0, "E101",
                                f"not YAML: {getattr(error, 'problem', None) or error}", "mend it here"))
    except (OSError, UnicodeDecodeError) as error:
        findings.append(Finding(str(path), 0, 0, "E102", f"it cannot be read: {error}", "make it readable, in UTF-8"))
    except ValidationError as error:
        for one in error.errors():
            where = one["loc"]
            number = where[0] if where and isinstance(where[0], int) else None
            name = _name(stored, number)
            key = ".".join(str(part) for part in where[1:])
            findings.append(Finding(str(path), _line(path, name), 1, "E103", f"{name}: {key}: {one['msg']}".replace(
                ": :", ":"), "see the other entries of the file"))
    return ()


def _name(stored: Any, number: int | None) -> str:
    if number is None or not isinstance(stored, list):
        return "the file"
    entry = stored[number]
    return str(entry["id"]) if isinstance(entry, dict) and "id" in entry else f"entry {number + 1}"


def _line(path: Path, name: str) -> int:
    for number, line in enumerate(path.read_text(encoding="utf-8").splitlines(), 1):
        if line.strip() == f"- id: {name}":
            return number
    return 0


def _broken_links(found: Evidence, pack: Pack, folder: Path) -> list[Finding]:
    findings = []
    rows = set(pack.sources) | {one.id for one in found.unused}
    for name, entries in zip(FILES, (found.decisions, found.conflicts, found.unused), strict=True):
        path = folder / f"{name}.yaml"
        seen: set[str] = set()
        for one in entries:
            trouble = [f"{rule} is no rule of the pack" for rule in getattr(one, "rules", ()) if rule not in pack]
            trouble += [f"{row} is no row of sources.yaml or unused_rows.yaml" for row in getattr(one, "rows", ())
                        if row not in rows]
            if one.id in seen:
                trouble.append(f"{one.id} stands twice")
            if name == "unused_rows" and one.id in pack.sources:
                trouble.append(f"{one.id} is used: it stands in sources.yaml")
            seen.add(one.id)
            findings += [Finding(str(path), _line(path, one.id), 1, "E104", text,
                                 "name one that exists, or take it out")
                         for text in trouble]
    return findings
