"""A department's overlay: a folder of the same kind as a pack, laid over another pack.

It may
  - change a parameter within the base's range:  `parameters.yaml`  - {id: wind_caution_mph, default: 15}
  - reword what a rule says:                     `changes.yaml`     - {rule: WIND-010, say: "…"}
  - retire an advisory rule with a reason:       `changes.yaml`     - {rule: ADV-010, retire: "why"}
  - add sources, parameters, derived names and rules, in the base's own form.
It can never retire or loosen a protected rule, nor conclude what would open access or gate.

Findings
--------
F501 no such rule            F502 a parameter's change is off     F503 the rule cannot be retired
F504 a change is incomplete  F505 an overlay cannot loosen        F506 it would silence a protected rule
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

from fieldaid.errors import Finding
from fieldaid.guidance.fields import Fields, nearest
from fieldaid.guidance.pack import Parameter, Rule
from fieldaid.guidance.yaml_nodes import Node

OPENING_UP = ("no bar reported", "no hold reported", "made")


def change_parameter(node: Node, parameters: dict[str, Parameter], findings: list[Finding]) -> None:
    """Puts another value into a parameter of the base, within the base's range."""
    fields = Fields(node, "a changed parameter", ("id", "default"), (), findings)
    one_id, value = fields.text("id"), fields.number("default")
    if one_id is None or value is None:
        return
    base = parameters[one_id]
    if not base.low <= value <= base.high:
        fields.report(fields.at("default"), "F502", f"{one_id} cannot be {value:g}",
                      f"the pack allows {base.low:g} to {base.high:g} {base.unit}")
        return
    parameters[one_id] = replace(base, value=value)


def reword(rules: list[Node], changes: Iterable[Node], findings: list[Finding]) -> None:
    """Puts an overlay's words into the base's rules before they are read, so that they are checked like any other."""
    by_id = {str(node.value["id"].node.value): node for node in rules
             if isinstance(node.value, dict) and "id" in node.value}
    first: dict[str, Node] = {}
    for node in changes:
        fields = Fields(node, "a change", ("rule",), ("say", "retire"), findings)
        rule_id = fields.text("rule") if fields.usable else None
        if rule_id is None:
            continue
        if rule_id in first:
            fields.report(node, "F402", f"{rule_id} is changed twice",
                          f"the first change is in line {first[rule_id].line}; keep one")
            continue
        first[rule_id] = node
        if rule_id not in by_id:
            fields.report(fields.at("rule"), "F501", f"no rule is called {rule_id}",
                          nearest(rule_id, by_id))
        elif "say" not in fields and "retire" not in fields:
            fields.report(node, "F504", f"the change of {rule_id} changes nothing",
                          "write say, or retire with a reason")
        elif "say" in fields and "retire" in fields:
            fields.report(fields.at("say"), "F504", f"{rule_id} is retired and said in other words",
                          "keep say or retire: a retired rule says nothing")
        elif "say" in fields:
            by_id[rule_id].value["say"] = node.value["say"]  # type: ignore[index, union-attr]


def retire(rules: list[Rule], changes: Iterable[Node], findings: list[Finding]) -> list[Rule]:
    """The rules with those retired that the overlay may retire."""
    reasons: dict[str, Node] = {}
    for node in changes:
        if isinstance(node.value, dict) and {"rule", "retire"} <= set(node.value):
            reasons[str(node.value["rule"].node.value)] = node.value["retire"].node
    found = []
    for rule in rules:
        reason = reasons.get(rule.id)
        if reason is None:
            found.append(rule)
            continue
        why_not = _cannot_retire(rule, rules)
        if why_not:
            findings.append(reason.finding("F503", f"{rule.id} cannot be retired: {why_not}",
                                           "change a parameter or add a rule instead"))
        elif not isinstance(reason.value, str) or not reason.value.strip():
            findings.append(reason.finding("F504", f"{rule.id} is retired without a reason", "write the reason"))
        else:
            rule = replace(rule, status="retired", retired_because=reason.value)
        found.append(rule)
    return found


def _cannot_retire(rule: Rule, rules: list[Rule]) -> str:
    if rule.protected:
        return "it is protected"
    if rule.conclude.kind not in ("advice", "placement", "caution"):
        return f"it concludes a {rule.conclude.kind}; only advice, placement and cautions are advisory"
    if rule.conclude.kind == "caution":
        users = [other.id for other in rules if other.protected and _tests(other, "caution", rule.conclude.name)]
        if users:
            return f"the protected rule {users[0]} uses its caution"
    return ""


def _tests(rule: Rule, key: str, value: str) -> bool:
    return any(one.key == key and (not one.values or value in one.values) for one in rule.conditions)


def check_added(base: list[Rule], added: list[Rule], base_derived: set[str], findings: list[Finding]) -> None:
    """Refuses rules of an overlay that would open access or gate, or silence a protected rule of the base."""
    for rule in added:
        def report(code: str, message: str, hint: str, rule: Rule = rule) -> None:
            findings.append(Finding(rule.file, rule.line, rule.column, code, f"rule {rule.id}: {message}", hint))

        if rule.conclude.name in OPENING_UP and rule.conclude.kind in ("access", "gate"):
            report("F505", f"an overlay cannot conclude {rule.conclude.name}", "an overlay may only add bars and holds")
        for name, _ in rule.conclude.derived:
            if name in base_derived:
                report("F505", f"an overlay cannot conclude {name}, which is the base's own",
                       "declare a derived name of the overlay's own")
        if rule.conclude.kind in ("trigger", "stop", "caution"):
            for other in base:
                if other.protected and _negates(other, rule.conclude.kind, rule.conclude.name):
                    report("F506", f"its {rule.conclude.kind} would silence the protected rule {other.id}",
                           "use another name for it")


def _negates(rule: Rule, key: str, value: str) -> bool:
    """Whether the rule is silent because this conclusion stands."""
    absent = [one for one in rule.when.conditions() if one.test == "unknown"]
    blocking = list(rule.unless.conditions()) if rule.unless else []
    return any(one.key == key and (not one.values or value in one.values) for one in [*absent, *blocking])
