"""A pack translated to CLIPS, as a third opinion from outside the project.

CLIPS is NASA's expert system shell (CLIPS 6.4 Basic Programming Guide), here through clipspy. Its own `and`, `or`,
`not` and chaining do what the two channels do each in their own way; only the folding is written here, a third time.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

import clips

from fieldaid.facts.situation import Situation
from fieldaid.guidance.conditions import All, AnyOf, Condition
from fieldaid.guidance.pack import ACCESS, GATE, STRATA, Pack, Rule

_TEMPLATES = """
(deftemplate known (slot key) (slot basis))
(deftemplate text (slot key) (slot value) (slot basis))
(deftemplate num (slot key) (slot value) (slot basis))
(deftemplate place (slot key) (slot value) (slot basis))
(deftemplate fired (slot rule) (slot where))
(deftemplate phase (slot name))
"""
_SIGNS = {"at_least": ">=", "at_most": "<=", "above": ">", "below": "<"}


def quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def any_value(values: Iterable[str]) -> str:
    return "|".join(quoted(value) for value in values)


class Translation:
    """A pack as CLIPS rules."""

    def __init__(self, pack: Pack) -> None:
        self.pack = pack
        self.environment = clips.Environment()
        for line in _TEMPLATES.strip().splitlines():
            self.environment.build(line)
        self.fired = self.environment.find_template("fired")
        self.members = {one.key: one.members for rule in pack.live_rules
                        for one in [*rule.when.conditions(), *(rule.unless.conditions() if rule.unless else ())]
                        if one.family}
        for rule in pack.live_rules:
            self.environment.build(self.rule(rule))

    # Left-hand sides

    def rule(self, rule: Rule) -> str:
        binding = rule.when.binding
        parts = [self.part(part, bind=part is binding) for part in rule.when.parts]
        if rule.unless is not None:
            parts.append(f"(not {self.all(rule.unless)})")
        where = "?where" if binding is not None else '""'
        then = [f"(assert (fired (rule {quoted(rule.id)}) (where {where})))"]
        for name, value in rule.conclude.derived:
            term = "?where" if value == "{where}" else quoted(value)
            then.append(f"(assert (text (key {quoted(name)}) (value {term}) (basis \"told\")))")
            then.append(f"(assert (known (key {quoted(name)}) (basis \"told\")))")
        return (f"(defrule {rule.id} (phase (name {rule.stratum})) {' '.join(parts)} => {' '.join(then)})")

    def all(self, one: All) -> str:
        return f"(and {' '.join(self.part(part) for part in one.parts)})"

    def part(self, part: Condition | AnyOf, bind: bool = False) -> str:
        if isinstance(part, AnyOf):
            return f"(or {' '.join(self.all(alternative) for alternative in part.alternatives)})"
        if part.family:
            return self.family(part, bind)
        return self.single(part, quoted(part.key))

    def family(self, one: Condition, bind: bool) -> str:
        if one.test == "unknown":
            return f"(not (known (key {any_value(name for name, _ in one.members)})))"
        if bind:
            # The member's name and place stand together as a fact, so that the match carries its place.
            return f"(member {quoted(one.key)} ?name ?where) {self.single(one, '?name')}"
        return f"(exists (member {quoted(one.key)} ?m ?) {self.single(one, '?m')})"

    def single(self, one: Condition, key: str) -> str:
        basis = f" (basis {any_value(one.basis)})" if one.basis else ""
        numeric = one.test == "range" or bool(one.values) and not isinstance(one.values[0], str)
        match one.test:
            case "known":
                return f"(known (key {key}){basis})"
            case "unknown":
                return f"(not (known (key {key})))"
            case "some":
                return f"(exists (place (key {key}){basis}))"
            case "has":
                return f"(exists (place (key {key}) (value {any_value(map(str, one.values))}){basis}))"
            case "range":
                tests = "&".join(f":({_SIGNS[b.kind]} ?n {float(b.number)})" for b in one.bounds)
                return f"(exists (num (key {key}) (value ?n&{tests}){basis}))"
            case "is" if numeric:
                return f"(exists (num (key {key}) (value {'|'.join(str(float(v)) for v in one.values)}){basis}))"
            case "is":
                return f"(exists (text (key {key}) (value {any_value(map(str, one.values))}){basis}))"
            case "not":
                fact = "num" if numeric else "text"
                values = "|".join(str(float(v)) if numeric else quoted(str(v)) for v in one.values)
                return f"(known (key {key})) (not ({fact} (key {key}) (value {values})))"
        raise AssertionError(one.test)

    # Running

    def run(self, situation: Situation, computed: dict[str, Any]) -> tuple[str, str, tuple[str, ...]]:
        """Access, gate and triggers."""
        env = self.environment
        env.reset()
        values = {**situation.values, **computed}
        for name, value in values.items():
            self.tell(name, value, situation.basis.get(name, "told"))
        for key, members in self.members.items():
            for name, place in members:
                if name in values:
                    env.assert_string(f"(member {quoted(key)} {quoted(name)} {quoted(place)})")
        fired: list[Rule] = []
        done: set[str] = set()
        access = gate = ""
        for stratum in STRATA[:4]:
            env.assert_string(f"(phase (name {stratum}))")
            env.run()
            new = {fact["rule"] for fact in self.fired.facts()} - done
            done |= new
            fired = [rule for rule in self.pack.live_rules if rule.id in new]
            if stratum == "hazards":
                triggers = tuple(sorted({r.conclude.name for r in fired if r.conclude.kind == "trigger"}))
                for rule in fired:
                    self.tell(rule.conclude.kind, rule.conclude.name, "told")
            elif stratum == "access":
                access, reason = self.access(fired)
                self.tell("access", access, "told")
                if reason:
                    self.tell("access_reason", reason, "told")
            elif stratum == "gate":
                gate = self.gate(fired, access, values.get("opening.made"))
        return access, gate, triggers

    def tell(self, name: str, value: Any, basis: str) -> None:
        key, how = quoted(name), quoted(basis)
        assert_string = self.environment.assert_string
        assert_string(f"(known (key {key}) (basis {how}))")
        if isinstance(value, str):
            assert_string(f"(text (key {key}) (value {quoted(value)}) (basis {how}))")
        elif isinstance(value, (int, float)):
            assert_string(f"(num (key {key}) (value {float(value)}) (basis {how}))")
        elif isinstance(value, list):
            for place in value:
                if isinstance(place, str):
                    assert_string(f"(place (key {key}) (value {quoted(place)}) (basis {how}))")

    @staticmethod
    def access(fired: list[Rule]) -> tuple[str, str | None]:
        if not fired:
            return "stay off", "not told"
        word = ACCESS[min(ACCESS.index(rule.conclude.name) for rule in fired)]
        reasons = {rule.conclude.reason for rule in fired if rule.conclude.name == word} - {None}
        return word, next((one for one in ("hazard", "ordered", "not told", "done") if one in reasons), None)

    @staticmethod
    def gate(fired: list[Rule], access: str, opening_made: Any) -> str:
        concluded = {rule.conclude.name for rule in fired}
        if ACCESS.index(access) <= ACCESS.index("stay off"):
            return "no opening"
        if "made" in concluded and opening_made == "full" and not concluded & set(GATE[:2]):
            return "made"
        return next((word for word in GATE[:5] if word in concluded), "hold")
