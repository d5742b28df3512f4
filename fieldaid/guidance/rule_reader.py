"""Reads one rule.

Findings
--------
F301 a rule id that cannot be said   F303 a conclusion not allowed in the stratum   F304 a conclusion that is off
F306 what is said is too long        F307 what is said is missing                   F308 a placeholder without a match
F310 an example that is off          F311 an invariant that does not exist               F313 a line that may not wait
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import get_args

from fieldaid.errors import FactError, Finding
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import BASES, FACTS, Fact
from fieldaid.guidance import words
from fieldaid.guidance.condition_reader import ConditionReader
from fieldaid.guidance.conditions import All, Conclude, Condition
from fieldaid.guidance.fields import Fields, nearest, text
from fieldaid.guidance.names import Name
from fieldaid.guidance.outcome import WhenSaid
from fieldaid.guidance.pack import (
    ACCESS,
    COMMON_PRACTICE,
    FROM_MEMORY,
    GATE,
    OPENINGS,
    REASONS,
    STATUSES,
    STRATA,
    Derived,
    Example,
    Parameter,
    Rule,
)
from fieldaid.guidance.yaml_nodes import Node

# The kinds whose `why` is heard in the answer to "why".
ANSWERS_WHY = ("trigger", "stop", "access", "gate")
REQUIRED = ("id", "title", "status", "stratum", "when", "conclude", "why", "source", "may_be_wrong", "fires", "silent")
OPTIONAL = ("protected", "invariants", "unless", "say", "said", "retired_because")
SAYABLE = re.compile(r"[A-Z]{2,12}-[0-9]{1,4}\Z")
# A fragment follows "Leave now." and a stop must be over at once: both are heard as at most seven words.
FRAGMENT_WORDS, STOP_WORDS, LINE_WORDS = 5, 7, 10
# With these the line says itself.
SPEECHLESS = ("no bar reported", "no hold reported", "made")
MAY_WAIT = ("caution", "advice")
WHEN_SAID = get_args(WhenSaid)
_KINDS = {"hazards": ("trigger", "stop", "caution"), "access": ("access",), "gate": ("gate",), "advice": ("advice",)}


@dataclass
class RuleReader:
    """Reads the rules of one pack into the same list of findings."""

    names: Mapping[str, Name]
    parameters: Mapping[str, Parameter]
    derived: Mapping[str, Derived]
    computed: Mapping[str, Fact]
    findings: list[Finding] = field(default_factory=list)

    def read(self, node: Node, order: int) -> Rule | None:
        """The rule, or None when it lacks so much that it cannot be built; `findings` says why."""
        before = len(self.findings)
        fields = Fields(node, "a rule", REQUIRED, OPTIONAL, self.findings)
        if not fields.usable:
            return None
        rule_id = fields.text("id")
        if rule_id is not None and not SAYABLE.match(rule_id):
            self._report(fields.at("id"), "F301", f"{rule_id} is not a rule id",
                         "capital letters, a dash and a number: WIND-010")
        fields.what = f"rule {rule_id}" if rule_id else fields.what
        status, stratum = fields.text("status", STATUSES), fields.text("stratum", STRATA)
        if stratum is None:
            return None
        reader = ConditionReader(self.names, self.parameters, stratum, self.findings)  # type: ignore[arg-type]
        when = reader.read(fields.at("when"), "when") if "when" in fields else None
        unless = reader.read(fields.at("unless"), "unless", negated=True) if "unless" in fields else None
        conclude = self._conclude(fields, stratum, when) if "conclude" in fields else None
        say = fields.text("say") or ""
        why, wrong = fields.text("why") or "", fields.text("may_be_wrong") or ""
        source = read_source(fields)
        if conclude is not None and when is not None:
            self._check_said(fields, conclude, say, when)
            self._check_placeholders(fields.at("why"), why, when)
            if conclude.kind in ANSWERS_WHY:
                self._clears(fields.at("why"), why)
        said = self._when_said(fields, conclude) if conclude is not None else "at once"
        fires, silent = self._examples(fields, "fires"), self._examples(fields, "silent")
        invariants = self._invariants(fields)
        retired_because = fields.text("retired_because") or ""
        protected = fields.flag("protected")
        if len(self.findings) > before or when is None or conclude is None or rule_id is None or status is None:
            return None
        return Rule(
            id=rule_id, title=fields.text("title") or "", status=status, stratum=stratum,  # type: ignore[arg-type]
            when=when, unless=unless, conclude=conclude, say=say, why=why, source=source, may_be_wrong=wrong,
            fires=fires, silent=silent, protected=protected, invariants=invariants, order=order,
            file=node.file, line=node.line, column=node.column, retired_because=retired_because,
            said=said)

    def _report(self, node: Node, code: str, message: str, hint: str = "") -> None:
        self.findings.append(node.finding(code, message, hint))

    def _invariants(self, fields: Fields) -> tuple[int, ...]:
        found = []
        for item in fields.items("invariants"):
            if isinstance(item.value, int) and not isinstance(item.value, bool):
                found.append(item.value)
            else:
                self._report(item, "F105", "an invariant is named by its number", "such as [12, 21]")
        return tuple(found)

    # What it concludes

    def _conclude(self, fields: Fields, stratum: str, when: All | None) -> Conclude | None:
        node = fields.at("conclude")
        if not isinstance(node.value, dict) or not node.value:
            self._report(node, "F105", "conclude must be a mapping", _form(stratum))
            return None
        if stratum == "derive":
            return self._derive(node, when)
        if stratum == "placement":
            return self._placement(node, when)
        kinds = _KINDS[stratum]
        extra = {"access": ("reason", "need"), "gate": ("need",)}.get(stratum, ())
        written = [key for key in node.value if key not in extra]
        if len(written) != 1 or written[0] not in kinds:
            self._report(node, "F303", f"a {stratum} rule cannot conclude {', '.join(node.value)}", _form(stratum))
            return None
        kind = written[0]
        choices = {"access": ACCESS, "gate": GATE}.get(kind, ())
        before = len(self.findings)
        name = text(node.value[kind].node, kind, self.findings, choices)
        if name in ("some", "none", "known", "unknown"):
            self._report(node.value[kind].node, "F304", f"{name} cannot be a name: it is a test", "use another word")
        reason = need = None
        if "reason" in node.value:
            reason = text(node.value["reason"].node, "reason", self.findings, REASONS)
        elif kind == "access" and name != "no bar reported":
            self._report(node, "F304", "an access conclusion needs a reason", f"one of {', '.join(REASONS)}")
        if "need" in node.value:
            need = self._need(node.value["need"].node)
        if len(self.findings) > before or name is None:
            return None
        return Conclude(kind, name, reason, need)  # type: ignore[arg-type]

    def _need(self, node: Node) -> str | None:
        need = text(node, "need", self.findings)
        if need is not None and (need not in self.names or self.names[need].scope != "told"):
            told = [key for key, name in self.names.items() if name.scope == "told"]
            self._report(node, "F304", f"need must be a fact that can be told, not {need}", nearest(need, told))
            return None
        return need

    def _derive(self, node: Node, when: All | None) -> Conclude | None:
        found = []
        for name, entry in node.value.items():  # type: ignore[union-attr]
            declared = self.derived.get(name)
            if declared is None:
                self._report(entry.key, "F303", f"no derived name is called {name}",
                             nearest(name, self.derived) + "; declare it in derived.yaml")
                continue
            value = text(entry.node, name, self.findings)
            if value in ("{where}", "{value}"):
                if when is not None:
                    self._check_placeholders(entry.node, value, when)
                    missing = sorted(set(self._possible(value, when)) - set(declared.values))
                    if missing:
                        self._report(entry.node, "F304", f"{name} has no value {', '.join(missing)}",
                                     "declare every value that the match can give")
            elif value is not None and value not in declared.values:
                self._report(entry.node, "F304", f"{name} cannot be {value!r}", nearest(value, declared.values))
                continue
            if value is not None:
                found.append((name, value))
        return Conclude("derive", derived=tuple(found)) if found else None

    def _placement(self, node: Node, when: All | None) -> Conclude | None:
        before = len(self.findings)
        fields = Fields(node, "a placement conclusion", (), ("place", "kind", "size_ft"), self.findings)
        place, opening = fields.text("place"), fields.text("kind", OPENINGS)
        if place is not None and when is not None:
            self._check_placeholders(fields.at("place"), place, when)
            self._clears(fields.at("place"), place)
        size = None
        if "size_ft" in fields:
            sides = [item.value for item in fields.items("size_ft")]
            if len(sides) == 2 and all(type(one) in (int, float) and 0 < one <= 40 for one in sides):
                size = (float(sides[0]), float(sides[1]))  # type: ignore[arg-type]
            else:
                self._report(fields.at("size_ft"), "F304",
                             "size_ft is width and length in feet, each over 0 and at most 40", "such as [4, 8]")
        return None if len(self.findings) > before else Conclude(
            "placement", place=place, opening=opening, size_ft=size)

    # What it says

    def _check_said(self, fields: Fields, conclude: Conclude, say: str, when: All) -> None:
        kind = conclude.kind
        if not say:
            if kind not in ("derive", "placement") and conclude.name not in SPEECHLESS:
                self._report(fields.node, "F307", f"{fields.what} says nothing", "write the line under say")
            return
        at = fields.at("say")
        if not self._check_placeholders(at, say, when):
            return
        fragment = kind in ("trigger", "access", "gate")
        limit = FRAGMENT_WORDS if fragment else STOP_WORDS if kind == "stop" else LINE_WORDS
        filled = words.longest(say, self._possible("{where}", when), self._possible("{value}", when))
        if words.count(filled) > limit:
            self._report(at, "F306", f"{filled!r} has {words.count(filled)} words; {kind} may have {limit}",
                         "say less; the reason belongs under why")
        if not self._clears(at, say) and (order := words.order(say)):
            self._report(at, "F314", f"{say!r} orders somebody: {order!r}",
                         "state what is there or what is needed: \"Steep: roof ladder or aerial.\"")

    def _clears(self, node: Node, text: str) -> bool:
        """Whether a text that is heard calls something safe or allows it; reports it."""
        clearing = words.clearing(text)
        if clearing:
            self._report(node, "F314", f"{text!r} says {clearing!r}: no line calls anything safe or allows it",
                         "say what is there, and what it does not clear: \"Low pitch clears nothing.\"")
        return bool(clearing)

    def _when_said(self, fields: Fields, conclude: Conclude) -> WhenSaid:
        said = fields.text("said", WHEN_SAID) or "at once"
        if said != "at once" and (conclude.kind not in MAY_WAIT or fields.flag("protected")):
            self._report(fields.at("said"), "F313", f"{fields.what} may not wait to be said",
                         "only a caution or advice that is not protected can; a danger is said at once")
        return said  # type: ignore[return-value]

    def _check_placeholders(self, node: Node, said: str, when: All) -> bool:
        binding, first = when.binding, when.first
        fine = True
        for name in sorted(words.placeholders(said)):
            if name not in words.KNOWN:
                self._report(node, "F308", f"no placeholder is called {{{name}}}", "use {where} or {value}")
            elif name == "where" and binding is None:
                self._report(node, "F308", "{where} needs a family condition such as deck.* directly under when",
                             "a family inside any gives no place")
            elif name == "value" and binding is None and not self._has_value(first):
                self._report(node, "F308", "{value} needs a told or computed fact as the first condition",
                             "put the fact whose value is said first")
            else:
                continue
            fine = False
        return fine

    def _has_value(self, first: Condition | None) -> bool:
        return (first is not None and first.scope in ("told", "computed") and first.test != "unknown"
                and self.names[first.key].shape != "opaque")

    def _possible(self, placeholder: str, when: All) -> list[str | float]:
        """What a placeholder can become."""
        one = when.binding or when.first
        if one is None:
            return []
        if placeholder == "{where}":
            return [place for _, place in one.members]
        if one.test == "is":
            return list(one.values)
        name = self.names[one.key]
        return [value for value in name.values if value not in one.values] or [0]

    # Situations

    def _examples(self, fields: Fields, name: str) -> tuple[Example, ...]:
        found = (self.example(item) for item in fields.items(name))
        return tuple(one for one in found if one is not None)

    def example(self, node: Node) -> Example | None:
        """A situation: told facts, computed facts given outright, and `basis`; None and findings when it is off."""
        if not isinstance(node.value, dict):
            self._report(node, "F310", "a situation is a mapping of facts to values", "such as {deck.C: soft}")
            return None
        before = len(self.findings)
        facts, basis, computed = {}, {}, {}
        for key, entry in node.value.items():
            if key == "basis":
                basis = self._basis(entry.node)
            elif key in self.computed:
                computed[key] = self._computed_value(key, entry.node)
            else:
                self._told_value(key, entry.key, entry.node, facts)
        for key in basis:
            if key not in facts:
                self._report(node, "F310", f"basis names {key}, which the situation does not tell", "tell it too")
        return None if len(self.findings) > before else Example(facts, basis, computed, node.line, node.column)

    def _told_value(self, key: str, at: Node, node: Node, facts: dict) -> None:
        if key not in FACTS:
            self._report(at, "F310", f"no fact is called {key}", nearest(key, [*FACTS, *self.computed]))
            return
        value = plain(node)
        try:
            Situation.of({key: value})
        except FactError as error:
            self._report(node, "F310", error.what, f"{error.why}; {error.next_step}")
        except (TypeError, ValueError, AttributeError):
            self._report(node, "F310", f"{key} cannot be {value!r}", "write one of the fact's values")
        else:
            facts[key] = value

    def _computed_value(self, key: str, node: Node) -> str | float | None:
        fact, value = self.computed[key], node.value
        if fact.kind == "number" and type(value) in (int, float) or value in fact.values:
            return value  # type: ignore[return-value]
        self._report(node, "F310", f"{key} cannot be {plain(node)!r}", nearest(str(value), fact.values))
        return None

    def _basis(self, node: Node) -> dict[str, str]:
        found: dict[str, str] = {}
        if not isinstance(node.value, dict):
            self._report(node, "F310", "basis is a mapping of facts to how they are known", "such as {deck.C: struck}")
            return found
        for key, entry in node.value.items():
            word = text(entry.node, "basis", self.findings, BASES)
            if word is not None:
                found[key] = word
        return found


def plain(node: Node):
    """The node as plain Python data."""
    if isinstance(node.value, dict):
        return {key: plain(entry.node) for key, entry in node.value.items()}
    if isinstance(node.value, list):
        return [plain(item) for item in node.value]
    return node.value


def read_source(fields: Fields) -> tuple[str, ...]:
    """A list of source ids, or one of the two words in its place."""
    if "source" not in fields:
        return ()
    node = fields.at("source")
    if isinstance(node.value, str):
        if node.value in (COMMON_PRACTICE, FROM_MEMORY):
            return (node.value,)
        if "," not in node.value:
            return (node.value,)
        fields.report(node, "F108", f"{node.value!r} is no source",
                      f"write [F16, G27], or {COMMON_PRACTICE}, or {FROM_MEMORY}")
        return ()
    return fields.texts("source")


def _form(stratum: str) -> str:
    return {
        "derive": "write  {derived_name: value}",
        "hazards": "write one of trigger, stop, caution",
        "access": f"write  {{access: …, reason: …, need: …}} with access one of {', '.join(ACCESS)}",
        "gate": f"write  {{gate: …, need: …}} with gate one of {', '.join(GATE)}",
        "placement": "write place, kind, size_ft",
        "advice": "write  {advice: name}",
    }[stratum]
