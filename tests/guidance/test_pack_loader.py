"""What the loader refuses, with code, place and hint; what it reads; and what an overlay may and may not do."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest
from guidance_situations import BARN

from fieldaid.errors import BrokenData, Finding, WrongUse
from fieldaid.facts.situation import Situation
from fieldaid.guidance.examples import check_examples
from fieldaid.guidance.pack import load_pack
from fieldaid.guidance.reference import Reference

RULE = """\
- id: TRY-010
  title: A try
  status: stable
  stratum: hazards
  when: {deck.*: [soft, sagging]}
  unless: {building.use: barn}
  conclude: {trigger: bad try}
  say: "{value} deck, {where}"
  why: The deck at {where} may give way.
  source: [X01]
  may_be_wrong: Seldom.
  fires: [{deck.C: soft}]
  silent: [{deck.C: solid}]
"""


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the barn pack that a test may spoil."""
    shutil.copytree(BARN, tmp_path / "pack")
    return tmp_path / "pack"


def findings(folder: Path, *overlays: Path) -> list[Finding]:
    with pytest.raises(BrokenData) as caught:
        load_pack(folder, overlays)
    return list(caught.value.findings)


def add_rule(folder: Path, *changes: tuple[str, str]) -> Path:
    """Puts the rule TRY-010 into the pack, changed; the file it is in."""
    text = RULE
    for old, new in changes:
        assert old in text
        text = text.replace(old, new)
    path = folder / "rules" / "try.yaml"
    path.write_text(text)
    return path


def test_the_rule_that_the_tests_spoil_is_fine_itself(folder):
    add_rule(folder)
    pack = load_pack(folder)
    assert "TRY-010" in pack and check_examples(pack) == []


# One row: what is changed in the rule, the code, the line in the file, and words of message or hint.
BROKEN = [
    # YAML itself
    (("  title: A try", "  title: [A try"), "F102", 3, "not YAML"),
    (("  title: A try", "  title: A try\n  title: Another"), "F103", 3, "title stands twice"),
    (("  title: A try", "  titel: A try"), "F104", 2, "did you mean title"),
    (("  title: A try\n", ""), "F106", 1, "lacks the key title"),
    (("  title: A try", '  title: ""'), "F105", 2, "must be text"),
    (("  title: A try", "  title:"), "F105", 2, "must be text"),
    (("  title: A try", "  title: 12"), "F105", 2, "must be text"),
    (("why: The deck at {where} may give way.", "why: {where}"), "F105", 9, "must be quoted"),
    (("  title: A try", "  title: &name A try\n  protected: *name"), "F107", 2, "alias"),
    (("title: A try", "title: !!python/none A try"), "F107", 2, "python/none"),
    (("title: A try", "title: !own A try"), "F107", 2, "tag !own"),
    (("  title: A try", "  title: A try\n  protected: yes"), "F105", 3, "true or false"),
    (("  title: A try", "  title: A try\n  protected: on"), "F105", 3, "plain words"),
    # The rule
    (("TRY-010", "try_010"), "F301", 1, "not a rule id"),
    (("TRY-010", "DECK-010"), "F302", 1, "this id is taken"),
    (("status: stable", "status: stabel"), "F108", 3, "did you mean stable"),
    (("stratum: hazards", "stratum: hazard"), "F108", 4, "did you mean hazards"),
    (("source: [X01]", "source: [X99]"), "F305", 1, "no source is called X99"),
    (("source: [X01]", "source: X01, X02"), "F108", 10, "is no source"),
    (("source: [X01]", "source: []"), "F105", 10, "at least one entry"),
    (("  title: A try", "  title: A try\n  invariants: [77]"), "F311", 1, "no invariant 77"),
    (("status: stable", "status: retired\n  protected: true"), "F312", 1, "protected rule cannot be retired"),
    (("status: stable", "status: draft\n  protected: true"), "F312", 1, "protected rule cannot be draft"),
    # Names, values and tests
    (("when: {deck.*: [soft, sagging]}", "when: {dekc.*: [soft]}"), "F201", 5, "did you mean"),
    (("building.use: barn", "wind.on.E: windward"), "F201", 6, "did you mean"),
    (("when: {deck.*: [soft, sagging]}", "when: {deck.*: [soft, sagginng]}"), "F202", 5, "did you mean sagging"),
    (("building.use: barn", "building.use: true"), "F202", 6, "cannot be true"),
    (("building.use: barn", "wind.mph: strong"), "F202", 6, "is a number of mph"),
    (("building.use: barn", "wind.mph: {above: 200}"), "F204", 6, "0 to 120 mph"),
    (("building.use: barn", "building.built: {below: 1960}"), "F203", 6, "built.first"),
    (("building.use: barn", "building.built: 1960"), "F203", 6, "built.first"),
    (("building.use: barn", "crew.air: low"), "F203", 6, "use air.low"),
    (("building.use: barn", "building.use: {above: 3}"), "F203", 6, "no number"),
    (("building.use: barn", "wind.mph: {above: 1, below: 9, at_least: 2}"), "F203", 6, "more than two"),
    (("building.use: barn", "wind.mph: {above: $wind_caution}"), "F205", 6, "did you mean wind_caution_mph"),
    (("building.use: barn", "wind.mph: {above: high}"), "F205", 6, "neither a number nor"),
    (("building.use: barn", "crew.count: {above: $wind_caution_mph}"), "F204", 6, "outside crew.count's range"),
    (("building.use: barn", "building.use: {like: barn}"), "F203", 6, "has no test with the keys like"),
    (("building.use: barn", "building.use: {}"), "F203", 6, "(none)"),
    (("building.use: barn", "building.use: []"), "F105", 6, "is empty"),
    (("building.use: barn", "building.use: null"), "F202", 6, "needs a value"),
    (("building.use: barn", 'building.use: ""'), "F202", 6, "needs a value"),
    (("building.use: barn", "roof.wires: C"), "F202", 6, "{has: A}"),
    (("building.use: barn", "roof.wires: {has: E}"), "F202", 6, "cannot be 'E'"),
    (("building.use: barn", "building.use: {is: barn, basis: heard}"), "F206", 6, "'heard' is no basis"),
    (("building.use: barn", "wind.side: {is: A, basis: seen}"), "F206", 6, "not told"),
    (("building.use: barn", "building.use: {is: unknown, basis: seen}"), "F206", 6, "negative test"),
    (("unless: {building.use: barn}", "unless: []"), "F105", 6, "mapping of facts"),
    (("unless: {building.use: barn}", "unless: {any: {building.use: barn}}"), "F105", 6, "list of mappings"),
    # What is concluded when
    (("unless: {building.use: barn}", "unless: {access: stay off}"), "F208", 6, "concludes it later"),
    (("unless: {building.use: barn}", "unless: {trigger: storm}"), "F207", 6, "same stratum"),
    (("stratum: hazards", "stratum: access"), "F303", 7, "access rule cannot conclude trigger"),
    (("conclude: {trigger: bad try}", "conclude: {trigger: bad try, caution: wind}"), "F303", 7, "trigger, stop"),
    (("conclude: {trigger: bad try}", "conclude: {trigger: none}"), "F304", 7, "it is a test"),
    # What is said
    (('"{value} deck, {where}"', "one two three four five six"), "F306", 8, "has 6 words; trigger may have 5"),
    (('"{value} deck, {where}"', '"the deck there is {value}, {where}"'), "F306", 8, "has 6 words; trigger may have 5"),
    (('  say: "{value} deck, {where}"\n', ""), "F307", 1, "says nothing"),
    (('{value} deck', '{what} deck'), "F308", 8, "{what}"),
    (('{value} deck, {where}"\n', '{value} deck, {where}"\n  said: when asked\n'), "F313", 9, "may not wait"),
    (('{value} deck, {where}"\n', '{value} deck, {where}"\n  said: later\n'), "F108", 9, "cannot be 'later'"),
    # Situations
    (("fires: [{deck.C: soft}]", "fires: []"), "F105", 12, "at least one"),
    (("  silent: [{deck.C: solid}]\n", ""), "F106", 1, "lacks the key silent"),
    (("fires: [{deck.C: soft}]", "fires: [{deck.E: soft}]"), "F310", 12, "no fact is called deck.E"),
    (("fires: [{deck.C: soft}]", "fires: [{deck.C: mushy}]"), "F310", 12, "cannot be 'mushy'"),
    (("fires: [{deck.C: soft}]", "fires: [{wind.side: E}]"), "F310", 12, "wind.side cannot be 'E'"),
    (("fires: [{deck.C: soft}]", "fires: [{deck.C: soft, basis: {deck.A: struck}}]"), "F310", 12, "does not tell"),
    (("fires: [{deck.C: soft}]", "fires: [{crew.air: half}]"), "F310", 12, "crew.air cannot be 'half'"),
]


@pytest.mark.parametrize(("change", "code", "line", "words"), BROKEN,
                         ids=[f"{n} {row[1]} {row[3]}" for n, row in enumerate(BROKEN)])
def test_a_broken_rule_is_found_where_it_is_broken(folder, change, code, line, words):
    path = add_rule(folder, change)
    found = findings(folder)
    assert any((one.file, one.line, one.code) == (str(path), line, code) and words in str(one) for one in found), (
        [str(one) for one in found])


def test_every_finding_has_a_place_a_code_and_a_hint(folder):
    add_rule(folder, ("building.use: barn", "building.usage: barn"), ("[soft, sagging]", "[soft, sagginng]"))
    found = findings(folder)
    assert [one.code for one in found] == ["F202", "F201"]
    for one in found:
        assert re.fullmatch(r"\S+try\.yaml:\d+:\d+: F\d{3} .+\n    hint: .+", str(one))


def test_everything_is_found_at_once(folder):
    add_rule(folder, ("TRY-010", "try"), ("[soft, sagging]", "[mushy]"), ("source: [X01]", "source: 5"),
             ("fires: [{deck.C: soft}]", "fires: 3"))
    (folder / "derived.yaml").write_text("- {id: stance, values: [known], about: x}\n"
                                         "- {id: stance, values: [a], about: y}\n")
    (folder / "pack.yaml").write_text("name: barn\nversion: yes\n")
    codes = {one.code for one in findings(folder)}
    assert {"F301", "F202", "F105", "F108", "F402", "F106"} <= codes


@pytest.mark.parametrize("loosening", [
    ("access", "{access: no bar reported}"), ("gate", "{gate: no hold reported}")])
@pytest.mark.parametrize("source", ["[X02]", "[X03]", "[X02, X03]", "from memory", '"common practice, no source"'])
def test_a_weak_source_carries_no_loosening(folder, loosening, source):
    stratum, conclude = loosening
    changes = [("stratum: hazards", f"stratum: {stratum}"), ("{trigger: bad try}", conclude)]
    add_rule(folder, *changes)
    load_pack(folder)
    add_rule(folder, *changes, ("source: [X01]", f"source: {source}"))
    assert [one.code for one in findings(folder)] == ["F309"]
    add_rule(folder, ("source: [X01]", f"source: {source}"))
    load_pack(folder)


def test_a_negated_derived_name_waits_for_a_later_stratum(folder):
    changes = (("stratum: hazards", "stratum: derive"), ("{trigger: bad try}", '{stance: truss}'),
               ('  say: "{value} deck, {where}"\n', ""))
    add_rule(folder, *changes, ("{deck.*: [soft, sagging]}", "{deck.*: soft, attic_sign: weak}"))
    load_pack(folder)
    for bad in ("{attic_sign: unknown, deck.*: soft}", "{deck.*: soft, attic_sign: {not: weak}}"):
        add_rule(folder, *changes, ("{deck.*: [soft, sagging]}", bad))
        assert [one.code for one in findings(folder)] == ["F207"]
    add_rule(folder, *changes, ("{building.use: barn}", "{attic_sign: weak}"))
    assert [one.code for one in findings(folder)] == ["F207"]


def test_words_that_yaml_would_turn_stay_words(folder):
    words = "unless: {crew.masks: on, weather.lightning: no, fan.state: off}"
    add_rule(folder, ("unless: {building.use: barn}", words))
    condition = next(load_pack(folder).rule("TRY-010").unless.conditions())
    assert condition.values == ("on",)


def test_an_empty_pack_is_an_error(folder):
    shutil.rmtree(folder / "rules")
    (folder / "invariants.yaml").unlink()
    assert [one.code for one in findings(folder)] == ["F110"]


def test_a_pack_of_drafts_is_an_error(folder):
    for path in (folder / "rules").iterdir():
        path.unlink()
    (folder / "invariants.yaml").unlink()
    add_rule(folder, ("status: stable", "status: draft"))
    assert [one.code for one in findings(folder)] == ["F110"]


def test_a_folder_that_is_not_there_is_an_error(tmp_path):
    with pytest.raises(WrongUse, match="nowhere: there is no such folder"):
        load_pack(tmp_path / "nowhere")


def test_a_file_that_is_not_text_is_an_error(folder):
    (folder / "rules" / "try.yaml").write_bytes(b"\xff\xfe")
    assert [one.code for one in findings(folder)] == ["F101"]


@pytest.mark.parametrize("name", ["rules/more.yml", "rules/deep/more.yaml", "paramters.yaml", "changes.yaml"])
def test_a_file_that_would_not_be_read_is_an_error(folder, name):
    path = folder / name
    path.parent.mkdir(exist_ok=True)
    path.write_text(RULE)
    (found,) = findings(folder)
    assert (found.code, found.file) == ("F109", str(path))


@pytest.mark.parametrize(("row", "code"), [
    ("- {id: a, about: x, unit: mph, default: 4, low: 5, high: 9, source: [X01]}", "F401"),
    ("- {id: a, about: x, unit: mph, default: 4, low: 1, high: 9, source: [X77]}", "F305"),
    ("- {id: a, about: x, default: 4, low: 1, high: 9, source: [X01]}", "F106"),
    ("- {id: a, about: x, unit: mph, default: four, low: 1, high: 9, source: [X01]}", "F105"),
])
def test_a_parameter_lies_in_its_range_and_names_its_source(folder, row, code):
    path = folder / "parameters.yaml"
    path.write_text(path.read_text() + row + "\n")
    assert [one.code for one in findings(folder)] == [code]


def test_an_invariant_names_where_it_is_enforced(folder):
    path = folder / "invariants.yaml"
    path.write_text(path.read_text() + "- {number: 3, text: Something., enforced: [DECK-011]}\n")
    (found,) = findings(folder)
    assert found.code == "F311" and "did you mean DECK-010" in found.hint


def test_too_many_alternatives_are_refused(folder):
    parts = ", ".join("{any: [{light: day}, {light: dusk}, {light: night}]}" for _ in range(4))
    add_rule(folder, ("unless: {building.use: barn}", f"unless: [{parts}]"))
    assert [one.code for one in findings(folder)] == ["F209"]


def test_the_digest_changes_with_the_rules_and_only_then(folder):
    before = load_pack(folder).digest
    assert load_pack(folder).digest == before
    add_rule(folder)
    assert load_pack(folder).digest != before


# Overlays


def test_an_overlay_says_what_it_is(folder, overlay):
    load_pack(folder, [overlay])
    (overlay / "pack.yaml").write_text("name: Tarn Hollow\nversion: 1\nstate: trial\nlanguage: en\nabout: Invented.\n")
    assert sorted(one.code for one in findings(folder, overlay)) == ["F104", "F106"]


@pytest.fixture
def overlay(tmp_path: Path) -> Path:
    """An overlay of an invented department, empty but for its name."""
    path = tmp_path / "overlay"
    (path / "rules").mkdir(parents=True)
    (path / "pack.yaml").write_text("name: Tarn Hollow\nversion: 1\nstatus: trial\nlanguage: en\nabout: Invented.\n")
    return path


def test_an_overlay_changes_a_parameter_within_its_range(folder, overlay):
    (overlay / "parameters.yaml").write_text("- {id: wind_caution_mph, default: 12}\n")
    windy = Situation.of({"wind.mph": 15})
    assert Reference(load_pack(folder)).run(windy, {}).cautions == ()
    assert Reference(load_pack(folder, [overlay])).run(windy, {}).cautions == ("wind",)
    (overlay / "parameters.yaml").write_text("- {id: wind_caution_mph, default: 31}\n")
    (found,) = findings(folder, overlay)
    assert found.code == "F502" and "5 to 30 mph" in found.hint
    (overlay / "parameters.yaml").write_text("- {id: wind_caution_mph, default: 12, high: 90}\n")
    assert [one.code for one in findings(folder, overlay)] == ["F104"]


def test_an_overlay_rewords_within_the_limits(folder, overlay):
    (overlay / "changes.yaml").write_text('- {rule: DECK-010, say: "{where}: {value}"}\n')
    assert load_pack(folder, [overlay]).rule("DECK-010").say == "{where}: {value}"
    (overlay / "changes.yaml").write_text("- {rule: DECK-010, say: this deck is not good at all}\n")
    (found,) = findings(folder, overlay)
    assert (found.code, found.file) == ("F306", str(overlay / "changes.yaml"))


def test_an_overlay_retires_an_advisory_rule_with_a_reason(folder, overlay):
    (overlay / "changes.yaml").write_text("- {rule: ADV-010, retire: Our attics have no hatch.}\n")
    rule = load_pack(folder, [overlay]).rule("ADV-010")
    assert (rule.status, rule.retired_because) == ("retired", "Our attics have no hatch.")
    (overlay / "changes.yaml").write_text("- {rule: ADV-010, retire: }\n")
    assert [one.code for one in findings(folder, overlay)] == ["F504"]
    (overlay / "changes.yaml").write_text("- {rule: ADV-010}\n")
    assert [one.code for one in findings(folder, overlay)] == ["F504"]
    (overlay / "changes.yaml").write_text("- {rule: ADV-011, retire: Why not.}\n")
    assert [one.code for one in findings(folder, overlay)] == ["F501"]


@pytest.mark.parametrize("rule", ["DECK-010", "ACC-010", "ACC-020", "GATE-010", "DER-020", "WIND-020"])
def test_an_overlay_never_retires_what_protects(folder, overlay, rule):
    (overlay / "changes.yaml").write_text(f"- {{rule: {rule}, retire: We know better.}}\n")
    assert [one.code for one in findings(folder, overlay)] == ["F503"]


@pytest.mark.parametrize(("changes", "code"), [
    ([("stratum: hazards", "stratum: access"), ("{trigger: bad try}", "{access: no bar reported}")], "F505"),
    ([("stratum: hazards", "stratum: gate"), ("{trigger: bad try}", "{gate: no hold reported}")], "F505"),
    ([("stratum: hazards", "stratum: gate"), ("{trigger: bad try}", "{gate: made}")], "F505"),
    ([("stratum: hazards", "stratum: derive"), ("{trigger: bad try}", '{attic_sign: weak}')], "F505"),
])
def test_an_overlay_never_opens_access_or_gate(folder, overlay, changes, code):
    text = RULE
    for old, new in changes:
        text = text.replace(old, new)
    (overlay / "rules" / "own.yaml").write_text(text)
    assert [one.code for one in findings(folder, overlay)] == [code]


def test_an_overlay_never_silences_a_protected_rule(folder, overlay):
    path = folder / "rules" / "stance.yaml"
    path.write_text(path.read_text().replace("  when: {trigger: some, crew.where: [roof]}",
                                             "  when: {trigger: some, crew.where: [roof]}\n  unless: {caution: calm}"))
    (folder / "rules" / "calm.yaml").write_text(RULE.replace("TRY-010", "CALM-010").replace(
        "{trigger: bad try}", "{caution: calm}"))
    load_pack(folder)
    (overlay / "rules" / "own.yaml").write_text(RULE.replace("{trigger: bad try}", "{caution: calm}"))
    (found,) = findings(folder, overlay)
    assert found.code == "F506" and "ACC-010" in found.message


def test_an_overlay_adds_rules_of_its_own(folder, overlay):
    (overlay / "derived.yaml").write_text('- {id: own_sign, values: ["yes"], about: of our own}\n')
    (overlay / "sources.yaml").write_text(
        "- {id: Y01, title: Our own, year: 2032, kind: practice, certainty: B, fact: So we do., found: invented}\n")
    (overlay / "rules" / "own.yaml").write_text(RULE.replace("[X01]", "[Y01]"))
    pack = load_pack(folder, [overlay])
    assert pack.rule("TRY-010").order == len(pack.rules) - 1
    assert check_examples(pack) == []
