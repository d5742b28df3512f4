"""The second channel: each rule compiled once into closures, run stratum by stratum.

It shares no evaluation code with `engine`. Everything is a function of the situation: no clock, no memory.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from fieldaid.facts.situation import Situation
from fieldaid.guidance.conditions import All, AnyOf, Bound, Condition
from fieldaid.guidance.outcome import Firing, Outcome
from fieldaid.guidance.pack import Pack, Rule

SETS = ("trigger", "stop", "caution")
# Rank of each word; the lowest that is concluded counts.
ACCESS_RANK = {"leave now": 0, "come down": 1, "stay off": 2, "aerial only": 3, "ladder tip only": 4,
               "no bar reported": 5}
GATE_RANK = {"no opening": 0, "other means": 1, "inspection only": 2, "hold": 3, "no hold reported": 4, "made": 5}
REASON_RANK = {"hazard": 0, "ordered": 1, "not told": 2, "done": 3}
NO_GO = ("leave now", "come down", "stay off")


@dataclass
class View:
    """What conditions look at: single values by name, and names of which several may stand."""

    values: dict[str, Any]
    basis: Mapping[str, str]
    sets: dict[str, set[str]] = field(default_factory=dict)


Match = tuple[str, Any]
Holds = Callable[[View], bool]
Matches = Callable[[View], list[Match]]
NOTHING: frozenset[str] = frozenset()


class CompiledRule(NamedTuple):
    """A rule with where its `when` holds, and whether its `unless` does."""

    rule: Rule
    matches: Matches
    blocked: Holds | None
    chained: bool
    """Whether it tests a derived name, so that what other derive rules conclude can make it fire."""


# Compiling. Thousands of situations run through these closures, each through every rule: what is called for every
# rule is one closure deep where it can be.


def compile_rule(rule: Rule) -> CompiledRule:
    chained = any(one.scope == "derived" for one in rule.when.conditions())
    return CompiledRule(rule, compile_matches(rule.when), compile_unless(rule.unless), chained)


def compile_unless(unless: All | None) -> Holds | None:
    return compile_all(unless) if unless is not None else None


def compile_all(one: All) -> Holds:
    parts = [compile_part(part) for part in one.parts]
    if len(parts) == 1:
        return parts[0]

    def every(view: View) -> bool:
        for part in parts:
            if not part(view):
                return False
        return True

    return every


def compile_any(one: AnyOf) -> Holds:
    alternatives = [compile_all(alternative) for alternative in one.alternatives]

    def some(view: View) -> bool:
        for alternative in alternatives:
            if alternative(view):
                return True
        return False

    return some


def compile_part(part: Condition | AnyOf) -> Holds:
    return compile_any(part) if isinstance(part, AnyOf) else compile_condition(part)


def compile_condition(one: Condition) -> Holds:
    key = one.key
    if one.scope == "derived" or key in SETS:
        return compile_set(one)
    if one.family:
        return compile_family(one)
    if one.test == "unknown":
        return lambda view: view.values.get(key) is None
    if one.basis:
        passes = compile_test(one)
        return lambda view: passes(view, key)
    fits = compile_value_test(one)
    return lambda view: fits(view.values.get(key))


def compile_family(one: Condition) -> Holds:
    if one.test == "unknown":
        names = [name for name, _ in one.members]
        return lambda view: all(view.values.get(name) is None for name in names)
    members = compile_members(one)
    return lambda view: bool(members(view))


def compile_members(one: Condition) -> Matches:
    """The members of a family that pass its test, each as place and value."""
    members = one.members
    if one.basis:
        passes = compile_test(one)
        return lambda view: [(place, view.values[name]) for name, place in members if passes(view, name)]
    fits, names = compile_value_test(one), [name for name, _ in members]

    def found(view: View) -> list[Match]:
        if view.values.keys().isdisjoint(names):
            return []
        value_of = view.values.get
        return [(place, value) for name, place in members if fits(value := value_of(name))]

    return found


def compile_set(one: Condition) -> Holds:
    key, listed = one.key, frozenset(one.values)
    if one.test == "is":
        return lambda view: not listed.isdisjoint(view.sets.get(key, NOTHING))
    if one.test == "not":
        return lambda view: bool(standing := view.sets.get(key)) and listed.isdisjoint(standing)
    return lambda view: bool(view.sets.get(key)) == (one.test == "known")


def compile_test(one: Condition) -> Callable[[View, str], bool]:
    """The test of one name's value, with its basis."""
    fits, basis = compile_value_test(one), one.basis
    if not basis:
        return lambda view, name: fits(view.values.get(name))
    return lambda view, name: fits(view.values.get(name)) and view.basis.get(name, "told") in basis


def compile_value_test(one: Condition) -> Callable[[Any], bool]:
    """Whether a value passes; None, which stands for what is not known, never does."""
    listed = one.values
    match one.test:
        case "is":
            # A list of places equals none of the texts and numbers listed.
            return listed.__contains__
        case "not":
            return lambda value: value is not None and value not in listed
        case "some":
            return lambda value: isinstance(value, list)
        case "has":
            return lambda value: isinstance(value, list) and any(place in listed for place in value)
        case "range":
            return compile_range(one.bounds)
        case _:
            return lambda value: value is not None


def compile_range(bounds: tuple[Bound, ...]) -> Callable[[Any], bool]:
    tests = [compile_bound(bound) for bound in bounds]

    def within(value: Any) -> bool:
        if value is None or isinstance(value, (str, list, dict)):
            return False
        number = round(value, 4)
        return all(test(number) for test in tests)

    return within


def compile_bound(bound: Bound) -> Callable[[float], bool]:
    limit = round(bound.number, 4)
    match bound.kind:
        case "at_least":
            return lambda value: value >= limit
        case "at_most":
            return lambda value: value <= limit
        case "above":
            return lambda value: value > limit
        case _:
            return lambda value: value < limit


def compile_matches(when: All) -> Matches:
    """The places and values at which `when` holds: one for each match of the binding family, or one in all."""
    binding = when.binding
    rest = [compile_part(part) for part in when.parts if part is not binding]
    found = compile_members(binding) if binding is not None else compile_first_value(when.first)

    def matches(view: View) -> list[Match]:
        for part in rest:
            if not part(view):
                return []
        return found(view)

    return matches


def compile_first_value(first: Condition | None) -> Matches:
    """One match in all, with the value that {value} stands for without a family: the first condition's, when it is a
    told or computed fact."""
    if first is None or first.scope not in ("told", "computed") or first.family:
        return lambda view: [("", None)]
    key = first.key
    return lambda view: [("", shown(view.values.get(key)))]


def shown(value: Any) -> str | float | int | None:
    if isinstance(value, list) and all(isinstance(one, str) for one in value):
        return ", ".join(value)
    return None if isinstance(value, (dict, list)) else value


# Running


def fire(rules: Iterable[CompiledRule], view: View) -> list[tuple[Rule, Firing]]:
    found = []
    for rule, matches, blocked, _ in rules:
        met = matches(view)
        if met and (blocked is None or not blocked(view)):
            found += [(rule, Firing(rule.id, where, value)) for where, value in met]
    return found


def chain(rules: list[CompiledRule], view: View) -> list[tuple[Rule, Firing]]:
    """Fires derive rules until they conclude nothing new: all of them once, then those that test derived names, which
    alone can come to fire by what was concluded."""
    fired = fire([one for one in rules if not one.chained], view)
    let_stand(fired, view)
    chained = [one for one in rules if one.chained]
    while True:
        more = fire(chained, view)
        if not let_stand(more, view):
            return [*fired, *more]


def let_stand(fired: list[tuple[Rule, Firing]], view: View) -> bool:
    """Lets what derive rules concluded stand; whether any of it is new."""
    grown = False
    for rule, firing in fired:
        for name, value in rule.conclude.derived:
            standing = view.sets.setdefault(name, set())
            value = bound_text(value, firing)
            grown = grown or value not in standing
            standing.add(value)
    return grown


def bound_text(text: str, firing: Firing) -> str:
    if text == "{where}":
        return firing.where
    return str(firing.value) if text == "{value}" else text


def strictest(fired: list[tuple[Rule, Firing]], rank: Mapping[str, int]) -> tuple[str | None, list[Rule]]:
    """The strictest word concluded and the rules that concluded it, each once."""
    if not fired:
        return None, []
    word = min((rule.conclude.name for rule, _ in fired), key=rank.__getitem__)
    return word, list(dict.fromkeys(rule for rule, _ in fired if rule.conclude.name == word))


def fold_access(fired: list[tuple[Rule, Firing]]) -> tuple[str, str | None, tuple[str, ...]]:
    word, rules = strictest(fired, ACCESS_RANK)
    if word is None:
        return "stay off", "not told", ()
    reasons = [rule.conclude.reason for rule in rules if rule.conclude.reason is not None]
    return word, min(reasons, key=REASON_RANK.__getitem__, default=None), tuple(rule.id for rule in rules)


def fold_gate(fired: list[tuple[Rule, Firing]], access: str, access_rules: tuple[str, ...],
              opening_made: Any) -> tuple[str, tuple[str, ...]]:
    if access in NO_GO:
        return "no opening", access_rules
    concluded = {rule.conclude.name for rule, _ in fired}
    if "made" in concluded:
        if opening_made == "full" and not concluded & {"no opening", "other means"}:
            return "made", tuple(dict.fromkeys(rule.id for rule, _ in fired if rule.conclude.name == "made"))
        fired = [(rule, firing) for rule, firing in fired if rule.conclude.name != "made"]
    word, rules = strictest(fired, GATE_RANK)
    return ("hold", ()) if word is None else (word, tuple(rule.id for rule in rules))


def fold_needs(fired: Iterable[tuple[Rule, Firing]]) -> tuple[str, ...]:
    return tuple(dict.fromkeys(rule.conclude.need for rule, _ in fired if rule.conclude.need))


def fold_placement(fired: list[tuple[Rule, Firing]]) -> tuple[str | None, str | None, tuple | None, tuple[str, ...]]:
    """What placement rules agree on: where two of them differ, nothing is decided."""
    places = {bound_place(rule, firing) for rule, firing in fired if rule.conclude.place}
    kinds = {rule.conclude.opening for rule, _ in fired if rule.conclude.opening}
    sizes = {rule.conclude.size_ft for rule, _ in fired if rule.conclude.size_ft}
    place, kind, size = (next(iter(one)) if len(one) == 1 else None for one in (places, kinds, sizes))
    return place, kind, size, tuple(dict.fromkeys(rule.id for rule, _ in fired))


def bound_place(rule: Rule, firing: Firing) -> str:
    value = f"{firing.value:g}" if isinstance(firing.value, float) else str(firing.value)
    return (rule.conclude.place or "").replace("{where}", firing.where).replace("{value}", value)


@dataclass(frozen=True)
class Held:
    """One condition of a rule: what it looked at and whether it held. `within` says when, unless or any; conditions of
    the same `any` have the same `group`, and `met` says whether one of its alternatives holds."""

    condition: Condition
    value: Any
    held: bool
    within: str
    group: int = -1
    met: bool = False


class Reference:
    """Evaluates a pack. Safe to use from several threads: a run keeps nothing."""

    def __init__(self, pack: Pack) -> None:
        self.pack = pack
        self.strata: dict[str, list[CompiledRule]] = {}
        for rule in pack.live_rules:
            self.strata.setdefault(rule.stratum, []).append(compile_rule(rule))

    def run(self, situation: Situation, computed: Mapping[str, Any]) -> Outcome:
        """What the pack concludes; `computed` holds plain values by name."""
        return self.run_with_view(situation, computed)[0]

    def run_with_view(self, situation: Situation, computed: Mapping[str, Any]) -> tuple[Outcome, View]:
        """What the pack concludes, and what its conditions looked at."""
        view, rules = View({**situation.values, **computed}, situation.basis), self.strata
        derive = chain(rules.get("derive", []), view)
        hazards = fire(rules.get("hazards", []), view)
        for kind in SETS:
            view.sets[kind] = {rule.conclude.name for rule, _ in hazards if rule.conclude.kind == kind}
        access_fired = fire(rules.get("access", []), view)
        access, reason, access_rules = fold_access(access_fired)
        view.values["access"], view.values["access_reason"] = access, reason
        gate_fired = fire(rules.get("gate", []), view)
        gate, gate_rules = fold_gate(gate_fired, access, access_rules, view.values.get("opening.made"))
        view.values["gate"] = gate
        placement = fire(rules.get("placement", []), view) if gate != "no opening" else []
        place, kind, size_ft, opening_rules = fold_placement(placement)
        advice = fire(rules.get("advice", []), view)
        fired = [*derive, *hazards, *access_fired, *gate_fired, *placement, *advice]
        outcome = Outcome(
            access=access, access_reason=reason, access_rules=access_rules, gate=gate, gate_rules=gate_rules,
            triggers=tuple(sorted(view.sets["trigger"])), stops=tuple(sorted(view.sets["stop"])),
            cautions=tuple(sorted(view.sets["caution"])),
            advice=tuple(sorted({rule.conclude.name for rule, _ in advice})),
            place=place, kind=kind, size_ft=size_ft, opening_rules=opening_rules,
            derived=tuple(sorted((name, value) for name in self.pack.derived for value in view.sets.get(name, ()))),
            missing=tuple(dict.fromkeys([*fold_needs(access_fired), *fold_needs(gate_fired)])),
            firings=tuple(firing for _, firing in sorted(fired, key=lambda one: (one[0].order, one[1].where))))
        return outcome, view

    def explain(self, rule_id: str, situation: Situation, computed: Mapping[str, Any]) -> list[Held]:
        """Each condition of a rule, with the value it looked at and whether it held. Raises KeyError."""
        rule = self.pack.rule(rule_id)
        _, view = self.run_with_view(situation, computed)
        found = list(_held(rule.when, view, "when"))
        return found + (list(_held(rule.unless, view, "unless")) if rule.unless else [])


def _held(one: All, view: View, within: str, group: int = -1, met: bool = False) -> Iterable[Held]:
    for number, part in enumerate(one.parts):
        if isinstance(part, AnyOf):
            outer = group >= 0
            for alternative in part.alternatives:
                yield from _held(alternative, view, "any" if within == "when" else within,
                                 group if outer else number, met if outer else compile_any(part)(view))
        else:
            yield Held(part, _seen(part, view), compile_condition(part)(view), within, group, met)


def _seen(one: Condition, view: View) -> Any:
    """The value that a condition looked at, for a person: None when nothing is known."""
    if one.scope == "derived" or one.key in SETS:
        return sorted(view.sets.get(one.key, ())) or None
    if one.family:
        return {place: view.values[name] for name, place in one.members if name in view.values} or None
    return view.values.get(one.key)
