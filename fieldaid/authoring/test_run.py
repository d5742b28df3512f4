"""Runs situations through both channels, and says of each that fails what every condition concerned saw.

F811 a situation comes out otherwise   F812 the two channels differ in it
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from fieldaid.authoring.finding_output import Case
from fieldaid.authoring.pack_form import flow, show
from fieldaid.authoring.test_files import EXPECTED, Listed, SituationTest, came_out, wrong_in
from fieldaid.errors import EngineError, Finding
from fieldaid.facts.situation import Situation
from fieldaid.guidance.engine import Engine
from fieldaid.guidance.examples import situation_of
from fieldaid.guidance.guide import PLACING
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import Example, Pack, Rule
from fieldaid.guidance.reference import Held, Reference

ENGINE_S, READY_S = 10.0, 30.0
MOST_RULES, MOST_NEAR = 6, 3


@dataclass(frozen=True)
class Came:
    """What came out of one situation."""

    outcome: Outcome
    situation: Situation
    computed: Mapping[str, Any]

    def value(self, key: str) -> Any:
        """What stands for a key of `expect`: a word, None, or a tuple."""
        return came_out(key, self.outcome, self.computed)


class Runner:
    """Both channels of one pack; without the engine the reference alone."""

    def __init__(self, pack: Pack, engine: Engine | None) -> None:
        self.pack, self.engine = pack, engine
        self.second_ran = engine is not None
        self.reference = Reference(pack)

    def run_all(self, tests: Sequence[SituationTest]) -> list[Case]:
        """The case of each situation, with a finding for all that came out otherwise. The channels work side by side:
        while the second starts and answers, the first takes the next situations. Afterwards `second_ran` says whether
        the second was there at all."""
        plain: dict[str, Came] = {}
        known: dict[str, Came] = {}
        keys: list[str] = []

        def came() -> Iterator[tuple[Situation, Mapping[str, Any]]]:
            # Many rules carry the same situation: each is run once.
            for test in tests:
                key = _key(test.given)
                if key not in plain:
                    plain[key] = self._came(*situation_of(test.given, self.pack))
                one = plain[key]
                if not test.own and not test.given.computed and one.outcome.gate in PLACING:
                    key += " with the place worked out"
                    one = known.get(key) or self._came(one.situation, self._placed(one.situation))
                keys.append(key)
                if key not in known:
                    known[key] = one
                    yield one.situation, one.computed

        answers: dict[str, Outcome | EngineError] = {}
        if self.engine is None:
            deque(came(), maxlen=0)
        else:
            found = self.engine.run_all(came(), ENGINE_S)
            self.second_ran = self.engine.started
            answers = dict(zip(known, found, strict=True)) if self.second_ran else {}
        return [self._case(test, known[key], answers.get(key)) for key, test in zip(keys, tests, strict=True)]

    def _came(self, situation: Situation, computed: Mapping[str, Any]) -> Came:
        return Came(self.reference.run(situation, computed), situation, computed)

    def _case(self, test: SituationTest, came: Came, answer: Outcome | EngineError | None) -> Case:
        findings = list(self._otherwise(test, came))
        details = self._details(test, came) if findings else ()
        if answer is not None:
            findings += self._differing(test, came.outcome, answer)
        return Case(test.name, test.file, tuple(findings), tuple(details))

    def _placed(self, situation: Situation) -> dict[str, Any]:
        """The computed facts with those of the placement solver, as guidance has them where there is an opening."""
        from fieldaid.workings import compute
        from fieldaid.workings.placement_facts import refined

        found = refined(situation, compute(situation, self.pack.parameter_values()))
        return {name: one.value for name, one in found.items()}

    def _otherwise(self, test: SituationTest, came: Came) -> Iterable[Finding]:
        for key, expected in test.expect.items():
            wrong = wrong_in(key, expected, came.value(key))
            if wrong:
                at = test.places[key]
                hint = ("mend the rule or its situation" if test.own else
                        "mend the rules, or the expectation if the new answer is right (below)")
                yield Finding(at.file, at.line, at.column, "F811", f"{test.name}: {wrong}", hint)

    def _differing(self, test: SituationTest, outcome: Outcome, answer: Outcome | EngineError) -> Iterable[Finding]:
        if isinstance(answer, EngineError):
            yield Finding(test.file, test.line, test.column, "F812",
                          f"{test.name}: the second channel gave no answer: {answer.why or answer.what}",
                          "run it again; if it stays, look at fieldaid doctor")
        elif answer != outcome:
            yield Finding(test.file, test.line, test.column, "F812",
                          f"{test.name}: the channels differ in {', '.join(outcome.differences(answer))}",
                          "this is a fault of the program, not of the rules: please report it with this situation")

    # What a failing situation prints

    def _details(self, test: SituationTest, came: Came) -> list[str]:
        lines = []
        rules = self._concerned(test, came)
        for rule in rules[:MOST_RULES]:
            lines += ["", *self.rule_lines(rule, came)]
        if len(rules) > MOST_RULES:
            lines += ["", f"and {len(rules) - MOST_RULES} more rules: "
                      + ", ".join(rule.id for rule in rules[MOST_RULES:])]
        if test.own:
            return lines
        return [*lines, "", "If the new answer is right, put this in place of expect:", f"  {correction(test, came)}"]

    def rule_lines(self, rule: Rule, came: Came) -> list[str]:
        """A rule with every condition, the value it looked at, and whether it held."""
        fired = [firing for firing in came.outcome.firings if firing.rule == rule.id]
        state = "fired" if fired else "did not fire" if rule.live else f"takes no part ({rule.status})"
        where = f" at {', '.join(one.where for one in fired)}" if fired and fired[0].where else ""
        head = f"{rule.id} {state}{where}: {_concludes(rule)} ({rule.file}:{rule.line})"
        held = self.reference.explain(rule.id, came.situation, came.computed)
        rows = [(_mark(one), one.within, show(one.condition), _now(one)) for one in held]
        width = max(len(row[2]) for row in rows)
        return [head, *(f"  {mark} {within:<6} {text:<{width}}  now {now}" for mark, within, text, now in rows)]

    def _concerned(self, test: SituationTest, came: Came) -> list[Rule]:
        """The rules that decided what came out, and those that would have to fire for what was expected."""
        outcome = came.outcome
        found: dict[str, None] = {}
        for key, expected in test.expect.items():
            if not wrong_in(key, expected, came.value(key)):
                continue
            ids: Sequence[str] = ()
            if key in ("access", "reason"):
                ids = [*outcome.access_rules, *self._would(test, "access", came)]
            elif key == "gate":
                ids = [*outcome.gate_rules, *self._would(test, "gate", came)]
            elif key in ("place", "kind", "size_ft", "slope"):
                ids = [*outcome.opening_rules, *outcome.gate_rules]
            elif key in ("fires", "silent"):
                standing = set(came.value(key))
                ids = [one for one in expected.items if (one in standing) == (key == "silent")]
            else:
                ids = self._conclude_of(key, expected, came)
            found |= dict.fromkeys(one for one in ids if one in self.pack)
        return [self.pack.rule(one) for one in found]

    def _would(self, test: SituationTest, kind: str, came: Came) -> list[str]:
        """The rules that conclude the word expected, those nearest to firing first."""
        lacking = {}
        for rule in self.pack.live_rules:
            if rule.conclude.kind == kind and rule.conclude.name == test.expect.get(kind):
                held = self.reference.explain(rule.id, came.situation, came.computed)
                lacking[rule.id] = sum(1 for one in held if _mark(one) == "-")
        return sorted(lacking, key=lacking.__getitem__)[:MOST_NEAR]

    def _conclude_of(self, key: str, expected: Listed, came: Came) -> list[str]:
        standing = set(came.value(key))
        wanted = {one for one in expected.items if one not in standing}
        surplus = standing - set(expected.items) if expected.only else set()
        found = []
        for rule in self.pack.live_rules:
            if key == "missing":
                names = {rule.conclude.need}
            elif key == "derived":
                names = {f"{name} {value}" for name, value in rule.conclude.derived}
            elif rule.conclude.kind == key.removesuffix("s"):
                names = {rule.conclude.name}
            else:
                continue
            fired = any(firing.rule == rule.id for firing in came.outcome.firings)
            if names & wanted or names & surplus and fired:
                found.append(rule.id)
        return found


def _key(given: Example) -> str:
    """The same for the same situation."""
    return repr((sorted(given.facts.items(), key=str), sorted(given.basis.items()), sorted(given.computed.items())))


def correction(test: SituationTest, came: Came) -> str:
    """`expect: {…}` as it came out, with the keys that the test has."""
    parts = []
    for key in EXPECTED:
        if key not in test.expect:
            continue
        expected, value = test.expect[key], came.value(key)
        if isinstance(expected, Listed):
            parts.append(f"{key}: {_list_correction(key, expected, value)}")
        else:
            parts.append(f"{key}: {'none' if value is None else flow(value)}")
    return "expect: {" + ", ".join(parts) + "}"


def _list_correction(key: str, expected: Listed, value: tuple[str, ...]) -> str:
    if key == "silent":
        kept = [one for one in expected.items if one not in value]
        return flow(kept) if kept else "none"
    if expected.only:
        return f"{{only: {flow(list(value))}}}" if value else "none"
    kept = [one for one in expected.items if one in value] or list(value)
    return flow(kept) if kept else "none"


def _concludes(rule: Rule) -> str:
    one = rule.conclude
    if one.derived:
        return ", ".join(f"{name} {value}" for name, value in one.derived)
    if one.kind == "placement":
        return ", ".join(str(part) for part in (one.place, one.opening, one.size_ft) if part)
    reason = f", {one.reason}" if one.reason else ""
    return f"{one.kind} {one.name}{reason}"


def _mark(one: Held) -> str:
    """Whether a condition speaks for the rule (+) or against it (-); an alternative of `any` that fails is neither."""
    if one.within == "unless":
        return "-" if one.held else "+"
    return "+" if one.held else "." if one.within == "any" else "-"


def _now(one: Held) -> str:
    if one.value is None:
        return "not told" if one.condition.scope in ("told", "computed") else "nothing concluded"
    value = one.value
    if isinstance(value, dict) and one.condition.members:
        return ", ".join(f"{place} {flow(told)}" for place, told in value.items())
    return ", ".join(map(str, value)) if isinstance(value, list) else flow(value)
