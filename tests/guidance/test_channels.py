"""The two channels say the same, whatever is told and in whatever order; and a rule's own situations hold in both."""

from __future__ import annotations

import random
import shutil

import pytest
from guidance_situations import (
    BARN,
    HOUSE,
    described,
    example_cases,
    loaded,
    random_cases,
    shuffled,
    situations,
)
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fieldaid.facts.situation import Situation
from fieldaid.guidance.engine import Engine, is_installed
from fieldaid.guidance.examples import check_examples
from fieldaid.guidance.guide import Guide
from fieldaid.guidance.merge import merge
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import load_pack
from fieldaid.guidance.reference import Reference
from fieldaid.guidance.why import why, why_not
from fieldaid.guidance.words import fill

needs_engine = pytest.mark.skipif(not is_installed(), reason="durable-rules is not installed")
PACKS = ["barn", pytest.param("house", marks=pytest.mark.skipif(not HOUSE.is_dir(), reason="no pack is shipped"))]


@pytest.fixture(scope="module", params=PACKS)
def pack(request):
    return loaded(request.param)


@pytest.fixture(scope="module")
def reference(pack):
    return Reference(pack)


@pytest.fixture(scope="module")
def engine(pack):
    with Engine(pack) as one:
        assert one.wait_ready(10)
        yield one


def test_every_rule_fires_where_it_says_and_is_silent_where_it_says(pack):
    assert [str(one) for one in check_examples(pack)] == []


@needs_engine
def test_every_rule_does_so_in_the_engine_too(pack, engine):
    assert [str(one) for one in check_examples(pack, engine)] == []


@needs_engine
def test_the_channels_agree_on_the_rules_own_situations(pack, reference, engine):
    for one in example_cases(pack):
        mine, theirs = reference.run(*one), engine.run(*one)
        assert mine == theirs, described(one, mine, theirs)


@needs_engine
def test_the_channels_agree_on_situations_near_the_rules(pack, reference, engine):
    for one in random_cases(pack, 1200, seed=7):
        mine, theirs = reference.run(*one), engine.run(*one)
        assert mine == theirs, described(one, mine, theirs)


@needs_engine
@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(data=st.data())
def test_the_channels_agree_whatever_is_told(pack, reference, engine, data):
    one = data.draw(situations(pack))
    mine, theirs = reference.run(*one), engine.run(*one)
    assert mine == theirs, described(one, mine, theirs)


@needs_engine
def test_the_order_of_facts_never_matters(pack, reference, engine):
    rng = random.Random(3)
    for one in random_cases(pack, 60, seed=11):
        expected = reference.run(*one)
        for _ in range(4):
            again = shuffled(one, rng)
            assert reference.run(*again) == expected
            assert engine.run(*again) == expected, described(again, expected, engine.run(*again))


@needs_engine
def test_an_evaluation_leaves_nothing_behind(pack, engine):
    nothing = Situation.of({})
    before = engine.run(nothing, {})
    for one in random_cases(pack, 30, seed=5):
        engine.run(*one)
        assert engine.run(nothing, {}) == before


def test_nothing_told_is_stay_off_and_no_opening(pack, reference):
    outcome = reference.run(Situation.of({}), {})
    assert (outcome.access, outcome.gate, outcome.place) == ("stay off", "no opening", None)


@needs_engine
def test_a_pack_beyond_the_engines_limits_is_split_and_the_channels_still_agree(tmp_path):
    """Over 200 rules in a stratum, over 60 tests of one fact, rows of over 16 messages, and letters beyond ASCII:
    each of these crashes durable-rules or loses firings when it is not split."""
    shutil.copytree(BARN, tmp_path / "pack")
    text = (tmp_path / "pack" / "rules" / "hazards.yaml").read_text().split("- id: ")[2]
    head = text[text.index("  say:"):text.index("  fires:")]
    tail = "  fires: [{wind.mph: 1}]\n  silent: [{wind.mph: 2}]\n"
    rules = []
    for n in range(450):
        many = ", ".join(f"fire.{place}: known" for place in ("attic", "walls", "eaves", "garage", "chimney")) + (
            ", light: day, water.on_fire: known, line.attack: known, line.backup: known, crew.count: known, "
            "fan.state: known, saw.state: known, roof.deck: known, roof.cover: known, roof.layers: known, "
            "interior.crew: known, interior.calls: known")
        when = f"wind.mph: {{at_least: {n / 10}, at_most: {n / 10 + 9}}}" + (f", {many}" if n % 50 == 0 else "")
        unless = "" if n % 3 else f"  unless: {{roof.pitch: {{above: {n % 24}}}, crew.where: known}}\n"
        rules.append(f"- id: MANY-{n}\n  title: One of many\n  status: stable\n  stratum: hazards\n"
                     f"  when: {{{when}}}\n{unless}  conclude: {{caution: gêne {n % 7}}}\n"
                     + head.replace("{where}", "").replace("say: \"pressurised smoke, \"", "say: Gêne.") + tail)
    (tmp_path / "pack" / "rules" / "many.yaml").write_text("".join(rules))
    pack = load_pack(tmp_path / "pack")
    reference = Reference(pack)
    rng = random.Random(4)
    with Engine(pack) as engine:
        assert engine.wait_ready(20)
        fired = 0
        for situation, computed in random_cases(pack, 60, seed=13):
            values = {**situation.values, "wind.mph": round(rng.uniform(0, 60), 1)}
            one = (Situation(values, situation.basis), computed)
            mine, theirs = reference.run(*one), engine.run(*one)
            assert mine == theirs, described(one, mine, theirs)
            fired += len(mine.firings)
    assert fired > 1000


# What the barn pack must say, by hand


@pytest.fixture(scope="module")
def barn():
    return loaded("barn")


def said(pack, **facts):
    with Guide(pack, engine=False) as guide:
        return guide.evaluate(Situation.of({name.replace("__", "."): value for name, value in facts.items()}))


def test_a_family_fires_once_for_each_place_and_says_it(barn):
    found = said(barn, deck__C="soft", deck__ridge="burned through", crew__where="roof")
    assert [(line.text, line.key) for line in found.triggers] == [
        ("Soft deck, C.", "DECK-010:C"), ("Burned through deck, ridge.", "DECK-010:ridge")]
    assert (found.access, found.access_reason, found.access_rules) == ("leave now", "hazard", ("ACC-010",))
    assert why(found, barn) == "The deck at C may give way."


def test_a_place_not_said_leaves_no_hole_in_the_line(barn):
    found = said(barn, deck__unsaid="soft")
    assert [line.text for line in found.triggers] == ["Soft deck."]


def test_a_vent_with_a_side_is_found_by_the_family_of_the_vent(barn):
    told = {"smoke.gable.C.push": "turbulent", "smoke.gable.C.volume": "light"}
    outcome = Reference(barn).run(Situation.of(told), {})
    assert ("attic_sign", "yes") in outcome.derived


def test_needs_come_in_pack_order_access_first(barn):
    found = said(barn, roof__form="gable", fire__attic="suspected")
    assert found.missing == ("deck.eave", "roof.framing", "water.on_fire")
    assert [line.text for line in found.access_says] == ["deck not told"]
    assert found.gate_says == () and found.slope is None


def test_made_counts_only_when_the_opening_is_full(barn):
    ready = {"roof.pitch": 12, "deck.A": "solid", "roof.framing": "rafters", "water.on_fire": "yes"}
    reference = Reference(barn)
    assert reference.run(Situation.of({**ready, "opening.made": "full"}), {}).gate == "made"
    assert reference.run(Situation.of({**ready, "opening.made": "part"}), {}).gate == "hold"
    through = {**ready, "opening.made": "full", "fire.stage": "through the roof"}
    assert reference.run(Situation.of(through), {}).gate == "other means"


def test_placement_rules_that_differ_decide_nothing(barn):
    told = {"roof.pitch": 12, "deck.A": "solid", "roof.form": "gable", "water.on_fire": "no", "crew.where": "ground"}
    outcome = Reference(barn).run(Situation.of({**told, "roof.framing": "rafters"}), {})
    assert (outcome.kind, outcome.size_ft) == ("rectangle", (4.0, 8.0))
    both = {"roof.pitch": 12, "deck.A": "solid", "crew.where": "ground", "roof.form": "gable", "water.on_fire": "no"}
    outcome = Reference(barn).run(Situation.of(both), {})
    assert outcome.gate == "inspection only" and outcome.kind == "inspection"


def test_why_not_names_what_stands_between(barn):
    found = said(barn, deck__C="soft", crew__where="ground")
    assert why_not(found, barn, "no bar reported") == "Stay off stands: soft deck, C."
    assert why_not(found, barn, "no hold reported") == "Stay off comes first: soft deck, C."
    assert why_not(found, barn, "DECK-010") == "DECK-010 does apply."
    assert why_not(found, barn, "WIND-010") == "WIND-010 waits for wind speed at least 20 and below 35 (not told)."
    assert why_not(found, barn, "OLD-010") == "OLD-010 takes no part: it is retired."
    assert why_not(found, barn, "ZZ-1") == "No rule is called ZZ-1."


def test_why_and_why_not_when_no_rule_speaks(barn):
    found = said(barn, deck__A="solid", roof__form="gable")
    assert (found.access, found.access_rules) == ("stay off", ())
    assert why(found, barn) == "Nothing that was told allows the roof."
    assert why_not(found, barn, "no bar reported") == (
        "Still to be told: attic (not told); masks breathing air or on (not told); "
        "crew at least 2 (not told); and 8 more.")


@pytest.mark.parametrize(("text", "where", "value", "expected"), [
    ("{value} deck, {where}", "C", "soft", "soft deck, C"),
    ("smoke at {where}", "roof_vent", "heavy", "smoke at roof vent"),
    ("smoke at {where}", "gable.C", "heavy", "smoke at gable, C"),
    ("smoke at {where}", "unsaid", "heavy", "smoke"),
    ("smoke at {where} now", "any", "heavy", "smoke now"),
    ("wind {value}", "", 35.0, "wind 35"),
    ("wind {value}", "", 7.5, "wind 7.5"),
])
def test_places_and_values_are_put_into_words(text, where, value, expected):
    assert fill(text, where, value) == expected


# Merging


def test_of_two_outcomes_the_stricter_counts_and_only_agreed_help(barn):
    lax = Outcome(access="aerial only", access_reason="hazard", access_rules=("ACC-050",), gate="hold",
                  gate_rules=("GATE-010",), cautions=("wind",), advice=("window", "look in the attic"), place="C, high",
                  kind="rectangle", size_ft=(4.0, 8.0), opening_rules=("PLACE-020",), missing=("roof.framing",))
    strict = Outcome(access="aerial only", access_reason="hazard", access_rules=("ACC-050",), gate="other means",
                     gate_rules=("GATE-020",), triggers=("storm",), advice=("window",), place="C, high", kind=None)
    both = merge(lax, strict, barn)
    assert (both.gate, both.gate_rules) == ("other means", ("GATE-020",))
    assert (both.triggers, both.cautions, both.advice) == (("storm",), ("wind",), ("window",))
    assert (both.place, both.kind, both.size_ft) == ("C, high", None, None)
    assert both == merge(strict, lax, barn)


def test_a_no_go_in_either_channel_removes_every_placement(barn):
    lax = Outcome(access="no bar reported", access_reason=None, access_rules=("ACC-090",), gate="no hold reported",
                  gate_rules=("GATE-090",), place="C, high", kind="rectangle", size_ft=(4.0, 8.0))
    strict = Outcome(access="come down", access_reason="ordered", access_rules=("ACC-030",), gate="no opening",
                     gate_rules=("ACC-030",))
    both = merge(lax, strict, barn)
    assert (both.access, both.access_reason, both.gate) == ("come down", "ordered", "no opening")
    assert (both.place, both.kind, both.size_ft, both.opening_rules) == (None, None, None, ())
