"""Folds what the engine's rules concluded into access, gate, needs and placement. Runs inside the child process.

Written apart from the second channel's folding: a slip in one is seen by the other.
"""

from __future__ import annotations

from typing import Any, NamedTuple

from fieldaid.guidance.engine_compile import RuleData

ACCESS_FROM_STRICT = "leave now|come down|stay off|aerial only|ladder tip only|no bar reported".split("|")
GATE_FROM_STRICT = "no opening|other means|inspection only|hold|no hold reported|made".split("|")
REASONS_FROM_STRONG = "hazard|ordered|not told|done".split("|")
BARRED = frozenset(ACCESS_FROM_STRICT[:3])


class Fired(NamedTuple):
    """One firing of one rule. Sorted, a list of them is in pack order."""

    order: int
    where: str
    value: Any
    rule: RuleData


def ids(fired: list[Fired]) -> list[str]:
    """The ids of the rules, each once, in pack order."""
    found: list[str] = []
    for one in sorted(fired, key=lambda one: (one.order, one.where)):
        if one.rule.id not in found:
            found.append(one.rule.id)
    return found


def names(fired: list[Fired], kind: str) -> list[str]:
    return sorted({one.rule.conclude["name"] for one in fired if one.rule.conclude["kind"] == kind})


def decide_access(fired: list[Fired]) -> dict[str, Any]:
    for word in ACCESS_FROM_STRICT:
        deciding = [one for one in fired if one.rule.conclude["name"] == word]
        if deciding:
            return {"access": word, "access_reason": strongest_reason(deciding), "access_rules": ids(deciding)}
    return {"access": "stay off", "access_reason": "not told", "access_rules": []}


def strongest_reason(fired: list[Fired]) -> str | None:
    given = {one.rule.conclude["reason"] for one in fired}
    return next((reason for reason in REASONS_FROM_STRONG if reason in given), None)


def decide_gate(fired: list[Fired], access: dict[str, Any], opening_made: Any) -> dict[str, Any]:
    if access["access"] in BARRED:
        return {"gate": "no opening", "gate_rules": access["access_rules"]}
    by_word = {word: [one for one in fired if one.rule.conclude["name"] == word] for word in GATE_FROM_STRICT}
    made = by_word.pop("made")
    if made and opening_made == "full" and not (by_word["no opening"] or by_word["other means"]):
        return {"gate": "made", "gate_rules": ids(made)}
    for word, deciding in by_word.items():
        if deciding:
            return {"gate": word, "gate_rules": ids(deciding)}
    return {"gate": "hold", "gate_rules": []}


def collect_needs(access: list[Fired], gate: list[Fired]) -> list[str]:
    """What the access rules need, then the gate rules, in pack order."""
    needs: list[str] = []
    for part in (access, gate):
        for one in sorted(part, key=lambda one: one.order):
            need = one.rule.conclude["need"]
            if need and need not in needs:
                needs.append(need)
    return needs


def decide_placement(fired: list[Fired]) -> dict[str, Any]:
    """Place, kind and size where every placement rule that names one names the same."""
    wanted: dict[str, list[Any]] = {"place": [], "kind": [], "size_ft": []}
    for one in fired:
        conclude = one.rule.conclude
        for key, told in (("place", with_match(conclude["place"], one)), ("kind", conclude["opening"]),
                          ("size_ft", conclude["size_ft"])):
            if told and told not in wanted[key]:
                wanted[key].append(told)
    found = {key: told[0] if len(told) == 1 else None for key, told in wanted.items()}
    return {**found, "opening_rules": ids(fired)}


def with_match(text: str | None, one: Fired) -> str | None:
    """`text` with the place and the value of the match in it."""
    if text is None:
        return None
    value = format(one.value, "g") if isinstance(one.value, float) else str(one.value)
    return text.replace("{value}", value).replace("{where}", one.where)
