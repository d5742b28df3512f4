"""`fieldaid rules compare`: which answers change from one pack to another, each with its smallest situation."""

from __future__ import annotations

import json
from collections.abc import Sequence
from pathlib import Path
from typing import Any, TextIO

from fieldaid.authoring.compare import DANGERS, Change, Found, compare
from fieldaid.authoring.finding_output import told
from fieldaid.authoring.pack_form import flow
from fieldaid.facts.picture import CANNOT_TELL
from fieldaid.facts.situation import Situation

FAIL_ON = ("any", "looser", "never")
# What `expect` of a situation calls a field.
_EXPECTED = {"access": "access", "gate": "gate", "reason": "reason", "missing": "missing", "advice": "advice",
             "derived": "derived", **{name: name for name in DANGERS}}
_MET = {"access": "access", "reason": "reason for the access", "gate": "gate", "placement": "opening",
        "said": "wording", "missing": "what is missing", "triggers": "danger", "stops": "stop", "cautions": "caution",
        "advice": "advice", "derived": "worked out"}


def show(old: Sequence[Path], new: Sequence[Path], count: int, seed: int, workers: int | None, fail_on: str,
         as_json: bool, out: TextIO) -> int:
    """Prints every change; 1 when there is one of the kind that `fail_on` names, else 0.

    Raises
    ------
    BrokenData : a pack or an overlay is broken
    """
    found, tried = compare(old, new, count=count, seed=seed, workers=workers)
    if as_json:
        json.dump({"situations": tried, "changes": [_data(one) for one in found]}, out, ensure_ascii=False, indent=1)
        out.write("\n")
    else:
        _print(found, tried, out)
    looser = any(one.change.looser for one in found)
    return int(bool(found) and (fail_on == "any" or (fail_on == "looser" and looser)))


def _print(found: list[Found], tried: int, out: TextIO) -> None:
    if not found:
        print(f"No answer changes in {tried:,} situations. That is no proof that none ever does.", file=out)
        return
    looser = sum(1 for one in found if one.change.looser)
    print(f"# {told(len(found), 'change')} in {tried:,} situations"
          + (f"; {looser} get LOOSER, shown first" if looser else "; none gets looser"), file=out)
    print("# Each with its smallest situation, which can be put into a file of the new pack's tests folder.", file=out)
    for one in found:
        times = "situation" if one.count == 1 else "situations"
        mark = "LOOSER. " if one.change.looser else ""
        print(f"\n# {mark}{in_words(one.change)} ({one.count:,} {times})", file=out)
        print(as_test(one), file=out)


def in_words(change: Change) -> str:
    """The change in one sentence."""
    what = _MET[change.field]
    if change.field == "placement" or (change.before and change.after):
        return f"{what}: {change.before or 'none'} -> {change.after or 'none'}"
    return f"{what} {'gone' if change.before else 'new'}: {change.before or change.after}"


def as_test(one: Found) -> str:
    """A situation of a pack's tests that holds for the new pack. What a test cannot expect is left as a note."""
    change = one.change
    key = _EXPECTED.get(change.field)
    expect: dict[str, Any] = {}
    if key in ("access", "gate", "reason"):
        expect[key] = change.after
    elif key is not None:
        left = sorted(one.answers[key])
        expect[key] = [change.after] if change.after else {"only": left} if left else "none"
    lines = [f"- name: {json.dumps(in_words(change), ensure_ascii=False)}", f"  given: {flow(_given(one.situation))}"]
    if expect:
        return "\n".join([*lines, f"  expect: {flow(expect)}"])
    return "\n".join(f"# {line}" for line in [*lines, "  (where it goes and how it is worded is not for a test)"])


def _given(situation: Situation) -> dict[str, Any]:
    given = {**situation.values, **dict.fromkeys(sorted(situation.cannot_tell), CANNOT_TELL)}
    basis = {name: known for name, known in situation.basis.items() if known != "told" and name in situation.values}
    return {**given, **({"basis": basis} if basis else {})}


def _data(one: Found) -> dict[str, Any]:
    return {"field": one.change.field, "before": one.change.before, "after": one.change.after,
            "looser": one.change.looser, "situations": one.count, "smallest": _given(one.situation)}
