"""JSON schemas of a pack's files, from the vocabulary and the pack itself, so that an editor completes and explains.

Draft 7, which YAML language servers know best. What a schema refuses the loader refuses too; the loader and the checks
find more: the order of strata, loosening, unreachable rules. A schema belongs to its pack: after a change of sources,
parameters, derived names or triggers it is written anew.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Any
from urllib.parse import quote

from fieldaid.authoring.test_files import CHOICES, EXPECTED, LISTS, may_stand
from fieldaid.facts.values import AIR_KEYS, LADDER_KINDS
from fieldaid.facts.vocabulary import BASES, FACTS, LADDER_PLACES, Fact
from fieldaid.guidance.condition_reader import BOUNDS
from fieldaid.guidance.loader import SOURCE_KINDS
from fieldaid.guidance.names import Name, concluded_names, fact_names
from fieldaid.guidance.pack import (
    ACCESS,
    COMMON_PRACTICE,
    FROM_MEMORY,
    GATE,
    OPENINGS,
    REASONS,
    STATUSES,
    STRATA,
    Pack,
)
from fieldaid.guidance.rule_reader import OPTIONAL, REQUIRED, SAYABLE, WHEN_SAID

DRAFT = "http://json-schema.org/draft-07/schema#"
Schema = dict[str, Any]
_WORDS = {"type": "string", "minLength": 1, "pattern": r"\S"}


def schemas(pack: Pack) -> dict[str, Schema]:
    """The schema of each file of a pack by its name without ending; `rules` for rules/*.yaml, `tests` for tests/*.yaml,
    `changes` for an overlay's changes.yaml."""
    build = _Builder(pack)
    return {"pack": build.pack_file(), "sources": build.sources(), "parameters": build.parameters(),
            "derived": build.derived(), "invariants": build.invariants(), "rules": build.rules(),
            "tests": build.tests(), "changes": build.changes()}


def words(about: str, *examples: str) -> Schema:
    """Text that is not empty."""
    return {**_WORDS, "description": about, **({"examples": list(examples)} if examples else {})}


def one_of(values: Iterable[Any], about: str = "") -> Schema:
    """One of the words listed."""
    return {"enum": list(dict.fromkeys(values)), **({"description": about} if about else {})}


def some_of(items: Schema, about: str = "") -> Schema:
    """A list with at least one entry."""
    return {"type": "array", "minItems": 1, "items": items, **({"description": about} if about else {})}


def mapping(properties: Mapping[str, Schema], required: Iterable[str] = (), about: str = "", least: int = 0) -> Schema:
    """A mapping with these keys and no others."""
    return {"type": "object", "additionalProperties": False, "properties": dict(properties),
            **({"required": list(required)} if required else {}), **({"description": about} if about else {}),
            **({"minProperties": least} if least else {})}


class _Builder:
    """Builds the schemas of one pack; what several names share stands once under `definitions`."""

    def __init__(self, pack: Pack) -> None:
        self.pack = pack
        self.definitions: dict[str, Schema] = {}
        concluded: dict[str, tuple[str, ...]] = {
            kind: tuple(dict.fromkeys(rule.conclude.name for rule in pack.rules if rule.conclude.kind == kind))
            for kind in ("trigger", "stop", "caution")}
        self.names = {**fact_names(pack.computed), **concluded_names(pack.derived, concluded)}

    def _file(self, title: str, items: Schema, **more: Any) -> Schema:
        found = {"$schema": DRAFT, "title": title, **items, **more}
        if self.definitions:
            found["definitions"] = self.definitions
            self.definitions = {}
        return found

    def _list_file(self, title: str, item: Schema) -> Schema:
        return self._file(title, {"type": "array", "items": item})

    # The small files

    def pack_file(self) -> Schema:
        return self._file("pack.yaml: what a pack is called and what it is for", mapping({
            "name": words("The pack's name.", "house"),
            "version": {"type": ["string", "number"], "description": "Quoted, such as \"1.0\".", "examples": ["1.0"]},
            "status": words("Such as trial or stable.", "trial", "stable"),
            "language": words("The language of what is said.", "en"),
            "about": words("One sentence: what it covers, and who decides."),
        }, ("name", "version", "status", "language", "about")))

    def sources(self) -> Schema:
        return self._list_file("sources.yaml: the rows that rules rest on", mapping({
            "id": words("A short id, named by rules.", "S01"), "title": words("What it is."),
            "year": {"type": "integer", "description": "Year of publication."},
            "kind": one_of(SOURCE_KINDS, "card, forum and video never carry a loosening."),
            "certainty": one_of(("A", "B", "C"), "A: primary. B: reported. C: weak or from memory: loosens nothing."),
            "fact": words("The one sentence that is taken from it."), "found": words("Where it was found."),
        }, ("id", "title", "kind", "certainty", "fact", "found")))

    def parameters(self) -> Schema:
        return self._list_file("parameters.yaml: thresholds", {"anyOf": [mapping({
            "id": words("Named in rules with $.", "wind_caution_mph"), "about": words("What is measured, and when."),
            "unit": words("The unit of the fact that it is held against.", *sorted(
                {fact.unit for fact in [*FACTS.values(), *self.pack.computed.values()] if fact.unit})),
            "default": {"type": "number", "description": "What counts unless a department sets it."},
            "low": {"type": "number", "description": "The least that a department may set."},
            "high": {"type": "number", "description": "The most that a department may set."},
            "source": self._source(),
        }, ("id", "about", "unit", "default", "low", "high", "source"), "A threshold of this pack."), mapping({
            "id": one_of(self.pack.parameters, "A parameter of the base."),
            "default": {"type": "number", "description": "The department's value, within the base's range."},
        }, ("id", "default"), "In an overlay: another value for a parameter of the base.")]})

    def derived(self) -> Schema:
        return self._list_file("derived.yaml: names that rules work out", mapping({
            "id": words("Small letters and underscores.", "attic_sign"),
            "values": some_of({"type": "string", "not": {"enum": ["known", "unknown", "some", "none"]}},
                              "Every value that a rule may conclude."),
            "about": words("What it means."),
        }, ("id", "values", "about")))

    def invariants(self) -> Schema:
        return self._list_file("invariants.yaml: what must never be broken, and what enforces it", mapping({
            "number": {"type": "integer"}, "text": words("One sentence."),
            "enforced": some_of({"anyOf": [one_of([rule.id for rule in self.pack.rules]),
                                           one_of(("dialogue", "loader", "placement"))]}, "Ids of rules, or a place."),
        }, ("number", "text", "enforced")))

    def changes(self) -> Schema:
        return self._list_file("changes.yaml of an overlay: rules of the base that it changes", mapping({
            "rule": one_of([rule.id for rule in self.pack.rules], "A rule of the base."),
            "say": words("Other words for it."),
            "retire": words("The reason. Only advice, placement and cautions; never a protected rule."),
        }, ("rule",), least=2))

    def _source(self) -> Schema:
        return {"description": "Rows of sources.yaml, or one of the two words.", "anyOf": [
            some_of(one_of(self.pack.sources)), one_of((COMMON_PRACTICE, FROM_MEMORY)), one_of(self.pack.sources)]}

    # Rules

    def rules(self) -> Schema:
        self.definitions["fact"] = one_of(FACTS)
        self.definitions["conditions"] = mapping(
            {**{key: self._test(name) for key, name in self.names.items()},
             "any": some_of(self._all_of(), "One of these mappings has to hold.")},
            about="All of these have to hold.", least=1)
        self.definitions["situation"] = self._situation()
        fields: dict[str, Schema] = {
            "id": {**words("Capital letters, a dash, a number; never used again for another rule.", "DECK-010"),
                   "pattern": f"^{SAYABLE.pattern.removesuffix(chr(92) + 'Z')}$"},
            "title": words("What the rule is about, as a sentence.", "A bad deck sends everyone off"),
            "status": one_of(STATUSES, "draft and retired take no part."),
            "protected": {"type": "boolean", "description": "A safety rule: no overlay retires or loosens it."},
            "invariants": some_of(one_of([one.number for one in self.pack.invariants]),
                                  "Numbers of invariants.yaml, which name the rule back."),
            "stratum": one_of(STRATA, "What runs first; each sees what the ones before it concluded."),
            "when": self._all_of("All of it has to hold."),
            "unless": self._all_of("The rule is silent when this holds."),
            "conclude": self._conclude(),
            "say": words("What is heard. At most 5 words for trigger, access and gate, 7 for stop, 10 for others; "
                         "{where} and {value} come from the first family.", "{value} deck, {where}"),
            "said": one_of(WHEN_SAID, "When its line is heard: at once; unless barred, for one about work on a roof "
                                      "that a hazard or an order bars; when asked, in the answer to \"status\"."),
            "why": words("One sentence: the reason, said when asked."),
            "source": self._source(),
            "may_be_wrong": words("One sentence: when the rule is mistaken."),
            "fires": some_of({"$ref": "#/definitions/situation"}, "Situations in which it must fire."),
            "silent": some_of({"$ref": "#/definitions/situation"}, "Situations in which it must not."),
            "retired_because": words("Why it was retired."),
        }
        assert set(fields) == {*REQUIRED, *OPTIONAL}
        return self._list_file("rules/*.yaml: rules", mapping(fields, REQUIRED, "One rule."))

    def _all_of(self, about: str = "") -> Schema:
        inner = {"$ref": "#/definitions/conditions"}
        return {"anyOf": [inner, some_of(inner)], **({"description": about} if about else {})}

    def _conclude(self) -> Schema:
        place = words("Where, in words.", "high, over the fire")
        need = {"$ref": "#/definitions/fact", "description": "The fact that is asked for."}
        return {"description": "What follows, in the form of the stratum.", "anyOf": [
            mapping({"trigger": words("A leave-class danger.")}, ("trigger",), "hazards"),
            mapping({"stop": words("One act, or the cut, stops.")}, ("stop",), "hazards"),
            mapping({"caution": words("A warning.")}, ("caution",), "hazards"),
            mapping({"access": one_of(ACCESS, "Strictest first."), "reason": one_of(REASONS), "need": need},
                    ("access",), "access"),
            mapping({"gate": one_of(GATE, "Strictest first."), "need": need}, ("gate",), "gate"),
            mapping({"place": place, "kind": one_of(OPENINGS), "size_ft": {
                "type": "array", "minItems": 2, "maxItems": 2, "description": "Width and length [ft].",
                "items": {"type": "number", "exclusiveMinimum": 0, "maximum": 40}}}, (), "placement"),
            mapping({"advice": words("A name for the advice.")}, ("advice",), "advice"),
            mapping({one.id: {**one_of([*one.values, "{where}", "{value}"]), "description": one.about}
                     for one in self.pack.derived.values()}, (), "derive", least=1)]}

    # Tests of conditions

    def _test(self, name: Name) -> Schema:
        """The tests that fit a name, under a definition that names of the same values share."""
        shape = (name.shape, name.values, name.low, name.high, name.scope == "told", name.scope == "concluded")
        key = f"test {name.shape} " + (", ".join(name.values) if name.values
                                       else f"{name.low:g} to {name.high:g}" if name.low is not None else "")
        key = key.strip() + (" told" if shape[4] else "")
        if key not in self.definitions:
            self.definitions[key] = {"anyOf": list(self._tests_of(name))}
        return {"$ref": f"#/definitions/{_pointer(key)}", "description": self._about(name)}

    def _about(self, name: Name) -> str:
        first = name.members[0][0] if name.members else name.key
        fact = FACTS.get(first) or self.pack.computed.get(first)
        if fact is not None:
            family = f"Any of {len(name.members)} places: " if name.members else ""
            return f"{family}{fact.about}" + (f" [{fact.unit}]" if fact.unit else "")
        if name.key in self.pack.derived:
            return self.pack.derived[name.key].about
        return f"What the {name.since} stratum concluded."

    def _tests_of(self, name: Name) -> Iterable[Schema]:
        known = one_of(("known", "unknown"))
        if name.shape == "opaque":
            yield known
            return
        if name.shape == "number":
            yield from self._number_tests(name, known)
            return
        value = one_of(name.values) if name.values else {"not": {}}
        if name.shape == "places":
            yield one_of(("none", "some", "known", "unknown"))
            has = mapping({"has": {"anyOf": [value, some_of(value)]}}, ("has",), "The list has one of these places.")
            yield has
            yield mapping({"not": one_of(("none",))}, ("not",))
            yield self._basis({"anyOf": [one_of(("none", "some", "known")), has]})
            return
        words_ = ("known", "unknown", "some", "none") if name.shape == "set" else ("known", "unknown")
        yield one_of((*name.values, *words_))
        yield some_of(value, "One of these.")
        if not (name.shape == "set" and name.scope == "concluded"):
            yield mapping({"not": {"anyOf": [value, some_of(value)]}}, ("not",), "It is known, and none of these.")
        if name.scope == "told":
            yield self._basis({"anyOf": [one_of((*name.values, "known")), some_of(value)]})

    def _number_tests(self, name: Name, known: Schema) -> Iterable[Schema]:
        number = {"type": "number", "minimum": name.low, "maximum": name.high} if name.low is not None else {"not": {}}
        yield known
        yield number
        yield some_of(number, "One of these.")
        yield mapping({"not": {"anyOf": [number, some_of(number)]}}, ("not",))
        limit = {"anyOf": [number, one_of([f"${one}" for one in self.pack.parameters])]}
        yield {**mapping(dict.fromkeys(BOUNDS, limit), (), "One or two limits.", least=1), "maxProperties": 2}
        if name.scope == "told":
            yield self._basis({"anyOf": [number, one_of(("known",)), some_of(number)]})

    def _basis(self, inner: Schema) -> Schema:
        return mapping({"is": inner, "basis": {"anyOf": [one_of(BASES), some_of(one_of(BASES))]}}, ("is", "basis"),
                       "It is that, and known in one of these ways.")

    # Situations

    def _situation(self, begun: bool = False) -> Schema:
        extra = ("cannot tell", "not told") if begun else ("cannot tell",)
        properties = {name: self._value(fact, extra) for name, fact in FACTS.items()}
        properties |= {name: self._value(fact, extra[1:]) for name, fact in self.pack.computed.items()
                       if fact.kind in ("choice", "number")}
        properties["basis"] = {"type": "object", "additionalProperties": one_of(BASES),
                               "propertyNames": {"$ref": "#/definitions/fact"},
                               "description": "How a fact is known; told if not here."}
        return mapping(properties, about="Facts to values.")

    def _value(self, fact: Fact, extra: tuple[str, ...]) -> Schema:
        key = f"value {fact.kind} " + (", ".join(fact.values) or (f"{fact.low:g} to {fact.high:g}"
                                                                   if fact.low is not None else ""))
        key = key.strip() + f" {len(extra)}"
        if key not in self.definitions:
            self.definitions[key] = {"anyOf": [*_values(fact), *([one_of(extra)] if extra else [])]}
        unit = f" [{fact.unit}]" if fact.unit else ""
        return {"$ref": f"#/definitions/{_pointer(key)}", "description": f"{fact.about}{unit}"}

    def tests(self) -> Schema:
        self.definitions["fact"] = one_of(FACTS)
        self.definitions["situation"] = self._situation(begun=True)
        situation = {"$ref": "#/definitions/situation"}
        test = mapping({
            "name": words("One sentence: what is told and what must come of it.", "A soft deck sends everyone off"),
            "from": words("A beginning of this file, to which `given` is added."),
            "given": {**situation, "description": "What is told. `not told` takes a fact of the beginning out."},
            "expect": mapping({key: self._expected(key) for key in EXPECTED}, about="What must come out.", least=1),
            "note": words("Where the expectation comes from."),
        }, ("name", "given", "expect"))
        self.definitions["test"] = test
        items = {"type": "array", "items": {"$ref": "#/definitions/test"}}
        return self._file("tests/*.yaml: situations and what must come of them", {"anyOf": [items, mapping({
            "begin": {"type": "object", "additionalProperties": situation, "description": "Named beginnings."},
            "situations": items}, ("situations",))]})

    def _expected(self, key: str) -> Schema:
        if key in LISTS:
            items = may_stand(key, self.pack)
            one = one_of(items)
            return {"description": "All of these; others may be there too, except with `only` and `none`.", "anyOf": [
                one_of((*items, "none")), some_of(one), mapping({"only": {"anyOf": [one, some_of(one)]}}, ("only",))]}
        if key == "size_ft":
            sides = {"type": "array", "minItems": 2, "maxItems": 2, "items": {"type": "number"}}
            return {"anyOf": [one_of(("none",)), sides], "description": "Width and length [ft]."}
        if key not in CHOICES:
            return words("The place in words, or none.")
        return one_of(CHOICES[key] if key in ("access", "gate") else (*CHOICES[key], "none"))


def _values(fact: Fact) -> list[Schema]:
    """What can be told of a fact."""
    if fact.kind == "number":
        return [{"type": "number", "minimum": fact.low, "maximum": fact.high}]
    if fact.kind == "years":
        return [{"type": "integer", "minimum": fact.low, "maximum": fact.high},
                {"type": "string", "pattern": "^[0-9]{4}-[0-9]{4}$"}]
    if fact.kind == "places":
        return [one_of(("none",)), some_of(one_of(fact.values))]
    if fact.kind == "ladders":
        return [{"type": "array", "items": mapping({
            "place": one_of(LADDER_PLACES), "kind": one_of(LADDER_KINDS), "usable": one_of(("yes", "no"))})}]
    if fact.kind == "air":
        return [{**mapping({key: one_of(("yes", "no")) if bounds is None else
                            {"type": "number", "minimum": bounds[0], "maximum": bounds[1]}
                            for key, bounds in AIR_KEYS.items()}), "minProperties": 1, "maxProperties": 1}]
    return [one_of(fact.values)]


def _pointer(key: str) -> str:
    """A key as a part of a JSON pointer in a URI fragment."""
    return quote(key.replace("~", "~0").replace("/", "~1"))
