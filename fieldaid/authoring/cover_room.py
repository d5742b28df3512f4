"""`fieldaid rules cover`: what the shipped situations show, in words or as JSON, and stubs for what they do not."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import TextIO

from fieldaid.authoring.cover import Coverage, cover, shares
from fieldaid.authoring.finding_output import told
from fieldaid.guidance.pack import load_pack


def show(folder: Path, overlays: Sequence[Path], missing: bool, as_json: bool, out: TextIO) -> int:
    """Writes the coverage of the pack in `folder`; 1 while something is still to show.

    Raises
    ------
    BrokenData : the pack or its situations cannot be read
    """
    pack = load_pack(folder, list(overlays))
    found = cover(overlays[-1] if overlays else folder, pack)
    if missing:
        from fieldaid.authoring.cover_stubs import stubs

        out.write("# Paste what is right into a file of the pack's tests folder; say in each name what it shows.\n")
        for _, text in stubs(pack, found.to_show):
            out.write(text)
            out.flush()
    elif as_json:
        json.dump(to_data(found), out, ensure_ascii=False)
        out.write("\n")
    else:
        out.write(in_words(found, overlays[-1] if overlays else None) + "\n")
    return 0 if found.whole else 1


def to_data(found: Coverage) -> dict[str, object]:
    """The coverage as JSON data."""
    def lack(one) -> dict[str, object]:
        return {"rule": one.leaf.rule, "condition": one.leaf.text, "way": one.way, "proved": one.proved}

    return {"rules": found.rules, "conditions": found.leaves, "shown": found.shown, "situations": found.situations,
            "never_fires": found.never_fires, "never_silent": found.never_silent,
            "to_show": [lack(one) for one in found.to_show], "cannot_be": [lack(one) for one in found.proved],
            "together": {str(strength): list(pair) for strength, pair in found.together.items()}}


def in_words(found: Coverage, overlay: Path | None = None) -> str:
    """The coverage as a person reads it."""
    situations, rules = told(found.situations, "situation"), told(found.rules, "rule")
    lines = [f"{situations} ship with {rules} of {told(found.leaves, 'condition')}."]
    if overlay is not None:
        lines = [f"{overlay}: {situations}, for {rules} that it adds and the thresholds that it sets: "
                 f"{told(found.leaves, 'condition')}. The base has situations of its own."]
    both = found.rules - len(set(found.never_fires) | set(found.never_silent))
    lines.append(f"Rules shown firing and silent: {both} of {found.rules}.")
    lines += [f"  never fires: {', '.join(found.never_fires)}"] if found.never_fires else []
    lines += [f"  never silent: {', '.join(found.never_silent)}"] if found.never_silent else []
    lines.append(f"Conditions shown to decide in every way they can: {found.shown} of {found.leaves}.")
    lines += [f"  not shown: {one.text}" for one in found.to_show]
    if found.proved:
        lines.append(f"Proved that they cannot: {len(found.proved)} ways.")
        lines += [f"  {one.text}: {one.proved}" for one in found.proved]
    lines += [f"Together: {line}." for line in shares(found.together)]
    if found.to_show:
        lines.append("Add --missing for situations to paste.")
    return "\n".join(lines)
