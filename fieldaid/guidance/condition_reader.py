"""Reads `when` and `unless` into conditions, each name and value checked against what it may be.

Findings
--------
F201 no such name             F202 a value that the name cannot have   F203 a test that does not fit the name
F204 a number without range or outside it   F205 no such parameter     F206 a wrong basis
F207 negation of what is not concluded yet  F208 use of what is concluded later   F209 too many alternatives
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass

from fieldaid.errors import Finding
from fieldaid.facts.vocabulary import BASES
from fieldaid.guidance.conditions import All, AnyOf, Bound, Condition
from fieldaid.guidance.fields import as_written, nearest
from fieldaid.guidance.names import Name
from fieldaid.guidance.pack import STRATA, Parameter, Stratum
from fieldaid.guidance.yaml_nodes import Node

BOUNDS = ("at_least", "at_most", "above", "below")
# What the second channel's compiler can hold for one rule once every `any` is written out.
MOST_ALTERNATIVES = 64
_PARAMETER = re.compile(r"\$([a-z][a-z0-9_]*)\Z")


@dataclass
class ConditionReader:
    """Reads the conditions of one rule; `negated` is true inside `unless`."""

    names: Mapping[str, Name]
    parameters: Mapping[str, Parameter]
    stratum: Stratum
    findings: list[Finding]

    def read(self, node: Node, what: str, negated: bool = False) -> All | None:
        """The conditions under `when` or `unless`; None when nothing usable is there."""
        parts = self._parts(node, what, negated)
        found = All(tuple(parts))
        if not parts:
            return None
        if _alternatives(found) > MOST_ALTERNATIVES:
            self._report(node, "F209", f"{what} has over {MOST_ALTERNATIVES} alternatives when written out",
                         "split the rule, or derive a name for a part of it")
            return None
        return found

    def _report(self, node: Node, code: str, message: str, hint: str = "") -> None:
        self.findings.append(node.finding(code, message, hint))

    def _parts(self, node: Node, what: str, negated: bool) -> list[Condition | AnyOf]:
        if isinstance(node.value, list) and node.value:
            return [part for item in node.value for part in self._mapping(item, what, negated)]
        return self._mapping(node, what, negated)

    def _mapping(self, node: Node, what: str, negated: bool) -> list[Condition | AnyOf]:
        if not isinstance(node.value, dict) or not node.value:
            self._report(node, "F105", f"{what} must be a mapping of facts to values, or a list of such mappings",
                         "for example  roof.form: gable")
            return []
        found: list[Condition | AnyOf] = []
        for key, entry in node.value.items():
            part = (self._any(entry.node, what, negated) if key == "any"
                    else self._condition(key, entry.key, entry.node, negated))
            if part is not None:
                found.append(part)
        return found

    def _any(self, node: Node, what: str, negated: bool) -> AnyOf | None:
        if not isinstance(node.value, list) or not node.value:
            self._report(node, "F105", f"any in {what} must be a list of mappings", "begin each with - ")
            return None
        alternatives = [All(tuple(parts)) for item in node.value if (parts := self._parts(item, what, negated))]
        return AnyOf(tuple(alternatives)) if alternatives else None

    def _condition(self, key: str, at: Node, node: Node, negated: bool) -> Condition | None:
        name = self.names.get(key)
        if name is None:
            self._report(at, "F201", f"no fact, computed fact, derived name or conclusion is called {key}",
                         nearest(key, self.names))
            return None
        condition = self._test(name, at, node)
        if condition is not None:
            self._check_order(name, condition, at, negated)
        return condition

    def _check_order(self, name: Name, condition: Condition, at: Node, negated: bool) -> None:
        """A rule uses what earlier strata concluded; only derive rules may chain, and only positively."""
        rank = STRATA.index(self.stratum)
        if name.rank < rank:
            return
        if name.rank > rank:
            self._report(at, "F208", f"a {self.stratum} rule cannot use {name.key}: the {name.since} stratum concludes "
                         "it later", "move the rule to a later stratum")
        elif self.stratum != "derive" or negated or condition.negative:
            act = "negate" if negated or condition.negative else "use"
            self._report(at, "F207", f"a {self.stratum} rule cannot {act} {name.key}, which the same stratum concludes",
                         "move the rule to a later stratum, or test told facts instead")

    def _test(self, name: Name, at: Node, node: Node) -> Condition | None:
        def made(test: str, **kwargs: tuple) -> Condition:
            return Condition(name.key, name.scope, test, members=name.members,  # type: ignore[arg-type]
                             line=at.line, column=at.column, **kwargs)

        if isinstance(node.value, dict):
            return self._mapping_test(name, node, made)
        if isinstance(node.value, list):
            values = self._values(name, node)
            return made("is", values=values) if values else None
        word = node.value
        if word in ("known", "unknown"):
            return made(word)
        if name.shape == "set" and word in ("some", "none"):
            return made("known" if word == "some" else "unknown")
        if name.shape == "places" and word == "some":
            return made("some")
        values = self._values(name, node)
        return made("is", values=values) if values else None

    def _mapping_test(self, name: Name, node: Node, made) -> Condition | None:
        entries = node.value
        assert isinstance(entries, dict)
        keys = set(entries)
        if keys and keys <= set(BOUNDS):
            bounds = self._bounds(name, node)
            return made("range", bounds=bounds) if bounds else None
        if keys == {"not"}:
            values = self._values(name, entries["not"].node)
            if not values:
                return None
            if name.shape == "places":
                return made("some")
            if name.shape == "set" and name.scope == "concluded":
                self._report(node, "F203", f"not is not clear for {name.key}: several may stand at once",
                             f"write  {name.key}: {values[0]}  under unless")
                return None
            return made("not", values=values)
        if keys == {"has"} and name.shape == "places":
            values = self._values(name, entries["has"].node, name.values)
            return made("has", values=values) if values else None
        if keys == {"is", "basis"}:
            return self._with_basis(name, node, made)
        self._report(node, "F203", f"{name.key} has no test with the keys {', '.join(entries) or '(none)'}",
                     f"tests: not, {', '.join(BOUNDS)}, is with basis, has (for lists of places)")
        return None

    def _with_basis(self, name: Name, node: Node, made) -> Condition | None:
        entries = node.value
        assert isinstance(entries, dict)
        if name.scope != "told":
            self._report(node, "F206", f"{name.key} is not told, so it has no basis", "leave basis out")
            return None
        at = entries["basis"].node
        items = at.value if isinstance(at.value, list) and at.value else [at]
        basis = []
        for item in items:
            if item.value in BASES:
                basis.append(item.value)
            else:
                self._report(item, "F206", f"{item.value!r} is no basis", nearest(str(item.value), BASES))
        inner = self._test(name, node, entries["is"].node)
        if inner is None or not basis:
            return None
        if inner.test not in ("is", "known", "some", "has"):
            self._report(node, "F206", "basis goes with a value, a list of values, known, some or has",
                         "leave basis out of a negative test")
            return None
        return made(inner.test, values=inner.values, basis=tuple(basis))

    def _values(self, name: Name, node: Node, choices: tuple[str, ...] | None = None) -> tuple[str | float, ...]:
        """The values listed, each one that the name can have; () and findings otherwise."""
        items = node.value if isinstance(node.value, list) else [node]
        found: list[str | float] = []
        for item in items:
            if self._value_fits(name, item, choices):
                found.append(float(item.value) if name.shape == "number" else item.value)  # type: ignore[arg-type]
        if not items:
            self._report(node, "F105", f"the list of values of {name.key} is empty", "name at least one value")
        return tuple(found) if len(found) == len(items) else ()

    def _value_fits(self, name: Name, node: Node, choices: tuple[str, ...] | None) -> bool:
        value = node.value
        if value is None or value == "" or isinstance(value, (dict, list)):
            hint = f"known, unknown, or {', '.join(name.values)}" if name.values else "known or unknown"
            self._report(node, "F202", f"{name.key} needs a value here", hint)
            return False
        if name.shape == "opaque":
            self._report(node, "F203", f"{name.key} can only be tested with known and unknown",
                         {"building.built": "use built.first and built.last", "crew.air": "use air.low",
                          "crew.ladders": "use ways.usable"}.get(name.key, "use a computed fact"))
            return False
        if name.shape == "number":
            return self._number_fits(name, node)
        if name.shape == "places" and choices is None:
            if value == "none":
                return True
            self._report(node, "F202", f"{name.key} is none or a list of places, not {value!r}",
                         f"write none, some, known, unknown, or {{has: {name.values[0]}}}")
            return False
        allowed = choices or name.values
        if not isinstance(value, str) or value not in allowed:
            extra = "no rule concludes it; " if name.key in ("trigger", "stop", "caution") else ""
            self._report(node, "F202", f"{name.key} cannot be {as_written(value)}",
                         extra + nearest(str(value), allowed))
            return False
        return True

    def _number_fits(self, name: Name, node: Node) -> bool:
        value = node.value
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            unit = f" of {name.unit}" if name.unit else ""
            self._report(node, "F202", f"{name.key} is a number{unit}, not {value!r}", "write a number or $parameter")
            return False
        if name.low is None or name.high is None:
            self._report(node, "F204", f"{name.key} has no declared range, so no number can be held against it",
                         "declare its unit, low and high where the fact is declared")
            return False
        if not name.low <= value <= name.high:
            self._report(node, "F204", f"{value:g} lies outside {name.key}'s range",
                         f"it runs from {name.low:g} to {name.high:g} {name.unit}".rstrip())
            return False
        return True

    def _bounds(self, name: Name, node: Node) -> tuple[Bound, ...]:
        entries = node.value
        assert isinstance(entries, dict)
        if name.shape != "number":
            self._report(node, "F203", f"{name.key} is no number, so it cannot be held against one",
                         "use built.first and built.last" if name.key == "building.built" else "test for its values")
            return ()
        if len(entries) > 2:
            self._report(node, "F203", f"{name.key} has more than two limits", "one or two limits make a range")
            return ()
        found = []
        for kind, entry in entries.items():
            number, parameter = self._limit(name, entry.node)
            if number is not None:
                found.append(Bound(kind, number, parameter))  # type: ignore[arg-type]
        return tuple(found) if len(found) == len(entries) else ()

    def _limit(self, name: Name, node: Node) -> tuple[float | None, str]:
        if not isinstance(node.value, str):
            return (float(node.value), "") if self._number_fits(name, node) else (None, "")  # type: ignore[arg-type]
        written = _PARAMETER.match(node.value)
        if written is None:
            self._report(node, "F205", f"{node.value!r} is neither a number nor a $parameter",
                         f"write the number alone, such as 12{f' (unit: {name.unit})' if name.unit else ''}, "
                         "or $name")
            return None, ""
        parameter = self.parameters.get(written[1])
        if parameter is None:
            self._report(node, "F205", f"no parameter is called {written[1]}", nearest(written[1], self.parameters))
            return None, ""
        if name.low is None or name.high is None or not name.low <= parameter.value <= name.high:
            self._report(node, "F204", f"{parameter.id} is {parameter.value:g}, outside {name.key}'s range",
                         "compare it with a fact of the same unit")
            return None, ""
        return float(parameter.value), parameter.id


def _alternatives(one: All) -> int:
    """How many plain rows an `All` becomes when every `any` is written out."""
    total = 1
    for part in one.parts:
        if isinstance(part, AnyOf):
            total *= sum(_alternatives(alternative) for alternative in part.alternatives)
    return total
