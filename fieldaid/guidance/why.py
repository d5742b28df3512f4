"""Why, and why not, in one sentence each."""

from __future__ import annotations

from collections.abc import Iterable

from fieldaid.facts.vocabulary import FACTS
from fieldaid.guidance.conditions import Condition
from fieldaid.guidance.guide import Conclusions
from fieldaid.guidance.outcome import Firing
from fieldaid.guidance.pack import ACCESS, GATE, Pack, Rule
from fieldaid.guidance.reference import Held, Reference
from fieldaid.guidance.words import fill, sentence, spoken_place, spoken_value

MOST_NAMED = 3
NOTHING_CONCLUDED = "Nothing that was told allows the roof."
_OPEN = {"no bar reported": "access", "no hold reported": "gate"}


def why(conclusions: Conclusions, pack: Pack) -> str:
    """Why access stands as it does, or, when nothing bars, why the gate does."""
    barred = conclusions.access != "no bar reported"
    rules = conclusions.access_rules if barred else conclusions.gate_rules
    firing = _first_firing(conclusions.outcome.firings, rules)
    if firing is not None and _speaks_for_triggers(pack.rule(firing.rule)):
        firing = next((one for one in conclusions.outcome.firings
                       if pack.rule(one.rule).conclude.kind == "trigger"), firing)
    if firing is None:
        return NOTHING_CONCLUDED if barred else "Nothing that was told allows the cut."
    return sentence(fill(pack.rule(firing.rule).why, firing.where, firing.value))


def why_not(conclusions: Conclusions, pack: Pack, wanted: str) -> str:
    """What stands between now and `no bar reported`, `no hold reported`, or the rule with the id `wanted`."""
    if wanted in _OPEN:
        return _why_not_open(conclusions, pack, wanted)
    rule_id = wanted.upper()
    if rule_id not in pack:
        return f"No rule is called {wanted}."
    rule = pack.rule(rule_id)
    if not rule.live:
        return f"{rule_id} takes no part: it is {rule.status}."
    if any(firing.rule == rule_id for firing in conclusions.outcome.firings):
        return f"{rule_id} does apply."
    if rule.stratum == "placement" and conclusions.gate == "no opening":
        return f"{rule_id} waits: there is no opening to place."
    return f"{rule_id} waits for {_listed(_gaps(conclusions, pack, rule))}."


def _why_not_open(conclusions: Conclusions, pack: Pack, wanted: str) -> str:
    kind = _OPEN[wanted]
    if getattr(conclusions, kind) == wanted:
        return sentence(f"{wanted} is what stands now")
    if kind == "gate" and conclusions.access in ("leave now", "come down", "stay off"):
        first = _standing(conclusions, pack, "access", "no bar reported")
        return sentence(f"{conclusions.access} comes first: {first or 'nothing told yet'}")
    standing = _standing(conclusions, pack, kind, wanted)
    if standing:
        return sentence(f"{getattr(conclusions, kind)} stands: {standing}")
    opening = [rule for rule in pack.live_rules if rule.conclude.kind == kind and rule.conclude.name == wanted]
    if not opening:
        return f"No rule of this pack concludes {wanted}."
    gaps = min((_gaps(conclusions, pack, rule) for rule in opening), key=len)
    return sentence(f"still to be told: {_listed(gaps)}")


def _standing(conclusions: Conclusions, pack: Pack, kind: str, wanted: str) -> str:
    """The fragments of the rules that conclude something stricter than `wanted`, strictest first."""
    order = ACCESS if kind == "access" else GATE
    found = []
    for firing in conclusions.outcome.firings:
        rule = pack.rule(firing.rule)
        if rule.conclude.kind == kind and order.index(rule.conclude.name) < order.index(wanted):
            said = [fill(rule.say, firing.where, firing.value) or rule.title]
            if _speaks_for_triggers(rule):
                said = _fragments(conclusions.outcome.firings, pack, "trigger") or said
            found += [(order.index(rule.conclude.name), one) for one in said]
    return _listed(dict.fromkeys(said for _, said in sorted(found, key=lambda one: one[0])))


def _speaks_for_triggers(rule: Rule) -> bool:
    """Whether the rule only passes on that a trigger stands: the trigger is then what a person asks about."""
    return any(one.key == "trigger" for one in rule.when.conditions())


def _fragments(firings: Iterable[Firing], pack: Pack, kind: str) -> list[str]:
    return [fill(pack.rule(one.rule).say, one.where, one.value) for one in firings
            if pack.rule(one.rule).conclude.kind == kind]


def _gaps(conclusions: Conclusions, pack: Pack, rule: Rule) -> list[str]:
    """What keeps a rule from firing, in words."""
    computed = {name: one.value for name, one in conclusions.computed.items()}
    held = Reference(pack).explain(rule.id, conclusions.situation, computed)
    gaps = [_gap(one, pack) for one in held if one.within == "when" and not one.held]
    unmet: dict[int, list[str]] = {}
    for one in held:
        if one.within == "any" and not one.met and not one.held:
            unmet.setdefault(one.group, []).append(_gap(one, pack))
    gaps += [" or ".join(alternatives[:MOST_NAMED]) for alternatives in unmet.values()]
    blocked = [f"not {_gap(one, pack)}" for one in held if one.within == "unless" and one.held]
    return gaps + blocked or ["several things at once"]


def _gap(one: Held, pack: Pack) -> str:
    wanted = f"{_called(one.condition, pack)} {_wanted(one.condition)}".strip()
    if one.value is None:
        return f"{wanted} (not told)" if one.condition.scope in ("told", "computed") else wanted
    return wanted if one.held else f"{wanted} (now {_shown(one.value)})"


def _called(condition: Condition, pack: Pack) -> str:
    name = condition.members[0][0] if condition.members else condition.key
    fact = FACTS.get(name) or pack.computed.get(name)
    return fact.called if fact is not None else condition.key.replace("_", " ")


def _wanted(condition: Condition) -> str:
    if condition.test == "range":
        return " and ".join(f"{bound.kind.replace('_', ' ')} {bound.number:g}" for bound in condition.bounds)
    words = " or ".join(spoken_value(value) for value in condition.values)
    return {"is": words, "has": f"on {words}", "not": f"other than {words}", "some": "somewhere",
            "unknown": "not told"}.get(condition.test, "")


def _shown(value: object) -> str:
    if isinstance(value, dict):
        return ", ".join(f"{spoken_value(one)} {spoken_place(where)}".strip() for where, one in value.items())
    return ", ".join(map(str, value)) if isinstance(value, list) else spoken_value(value)  # type: ignore[arg-type]


def _listed(items: Iterable[str]) -> str:
    named = list(items)
    more = len(named) - MOST_NAMED
    return "; ".join(named[:MOST_NAMED]) + (f"; and {more} more" if more > 0 else "")


def _first_firing(firings: Iterable[Firing], rules: tuple[str, ...]) -> Firing | None:
    return next((firing for firing in firings if firing.rule in rules), None)
