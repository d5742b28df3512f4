"""`fieldaid rules explain RULE`: one rule in plain words, with where it stands and what an overlay made of it."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path
from typing import TextIO

from fieldaid.authoring.in_words import all_in_words, conclusion_in_words, example_in_words
from fieldaid.authoring.provenance import Origins, load_with_origins
from fieldaid.errors import WrongUse
from fieldaid.guidance.conditions import All
from fieldaid.guidance.fields import nearest
from fieldaid.guidance.pack import Pack, Rule

_ID = re.compile(r"[A-Z][A-Z0-9]*-[0-9]+\Z", re.IGNORECASE)


def is_rule(word: str) -> bool:
    """Whether a word has the form of a rule's id, as `DECK-010`."""
    return bool(_ID.match(word))


def show(word: str, folder: Path, overlay: Path | None, out: TextIO) -> int:
    """Writes the rule of that id.

    Raises
    ------
    WrongUse : the pack has no such rule
    BrokenData : the pack cannot be loaded
    """
    pack, origins = load_with_origins(folder, [] if overlay is None else [overlay])
    if word.upper() not in pack:
        where = "" if overlay is not None else "; a department's rule needs --overlay FOLDER"
        raise WrongUse(f"no rule is called {word.upper()}", next_step=nearest(
            word.upper(), [one.id for one in pack.rules], "fieldaid rules book writes them all").rstrip("?") + where)
    out.write("\n".join(in_words(pack.rule(word.upper()), pack, origins)) + "\n")
    return 0


def in_words(rule: Rule, pack: Pack, origins: Origins) -> Iterator[str]:
    """The rule line by line."""
    marks = [rule.status, *(["protected"] if rule.protected else []),
             *([f"added by {origins.added[rule.id]}"] if rule.id in origins.added else [])]
    yield f"{rule.id} {rule.title} ({', '.join(marks)})"
    yield f"{rule.file}:{rule.line}"
    if rule.retired_because:
        yield f"retired: {rule.retired_because}"
    yield from ("", "when", *_conditions(rule.when, pack))
    if rule.unless is not None:
        yield from ("unless", *_conditions(rule.unless, pack))
    yield f"then {conclusion_in_words(rule.conclude)}"
    if rule.say:
        yield f'said "{rule.say}"' + (f", {rule.said}" if rule.said != "at once" else "")
    if rule.id in origins.reworded:
        change = origins.reworded[rule.id]
        yield f'     words of {change.by}; the pack says "{change.before}"'
    for name, change in origins.parameters.items():
        if any(bound.parameter == name for one in rule.conditions for bound in one.bounds):
            yield f"     ${name} is set by {change.by}: {change.after:g}; the pack has {change.before:g}"
    yield from ("", f"why: {rule.why}", f"may be wrong: {rule.may_be_wrong}")
    for one in rule.source:
        source = pack.sources.get(one)
        yield f"source: {one}" + (f", {source.title} ({source.certainty}): {source.fact}" if source else "")
    for name, examples in (("fires", rule.fires), ("silent", rule.silent)):
        yield from (f"{name}: {example_in_words(one)}" for one in examples)


def _conditions(one: All, pack: Pack) -> Iterator[str]:
    for part in all_in_words(one, pack.computed):
        if isinstance(part, str):
            yield f"  {part}"
        else:
            yield "  any of"
            yield from (f"    {' and '.join(clauses)}" for clauses in part)
