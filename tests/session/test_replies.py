"""What is said: new things only, danger first, few words. Word limits: the design's own; order of warnings H14."""

from __future__ import annotations

import pytest

from fieldaid import data
from fieldaid.facts import Picture, Telling
from fieldaid.guidance.guide import Guide
from fieldaid.guidance.pack import NO_GO, load_pack
from fieldaid.session.conclusion_lines import need_text, sentence
from fieldaid.session.dialogue_state import Pending, State
from fieldaid.session.judging import judge
from fieldaid.session.replies import Said, guidance_replies, in_order

GOOD = {
    "roof.form": "gable", "roof.ridge_runs": "B-D", "site.a_faces": "south", "wind.from": "west", "fire.side": "C",
    "fire.top_floor": "confirmed", "fire.attic": "not seen", "roof.framing": "rafters", "command.roof": "go up",
    "crew.count": 3, "crew.where": "roof", "crew.masks": "breathing air", "crew.ways_off": 2, "deck.eave": "solid",
    "roof.wires": "none", "roof.solar": "none", "roof.surface": "dry", "water.on_fire": "yes",
    "interior.calls": "open now", "interior.answers": "yes"}


@pytest.fixture(scope="module")
def guide():
    with Guide(load_pack(data.folder("rules") / "house"), engine=False) as made:
        yield made


def state(facts, confirmed=True, **more):
    tellings = tuple(Telling(n, name, value, confirmed=confirmed) for n, (name, value) in enumerate(facts.items(), 1))
    return State(picture=Picture().tell(*tellings), **more)


def replies(guide, facts, said=None, leaving=False):
    return guidance_replies(judge(guide, state(facts), 0), said or Said(), leaving=leaving, took=True)


def test_everything_told_and_good_leaves_the_decision_to_the_officer(guide):
    lines, _ = replies(guide, GOOD)
    texts = [line.text for line in lines]
    assert "No bar reported. Your decision." in texts
    assert any(text.startswith("No hold reported. Side C") for text in texts)
    assert not any("safe" in text.lower() for text in texts)


def test_a_danger_is_said_first_and_in_seven_words(guide):
    lines, _ = replies(guide, {**GOOD, "deck.C": "soft"})
    first = in_order(lines)[0]
    assert first.kind == "leave" and first.text == "Leave now. Soft deck, C." and len(first.text.split()) <= 7


def test_what_was_said_is_not_said_again(guide):
    _, said = replies(guide, GOOD)
    again, _ = replies(guide, GOOD, said)
    assert [line for line in again if line.kind != "question"] == []


def test_a_leave_now_is_said_again_until_leaving(guide):
    bad = {**GOOD, "deck.C": "soft"}
    lines, said = replies(guide, bad)
    assert [line.kind for line in replies(guide, bad, said)[0]].count("leave") == 1
    assert not [line for line in replies(guide, bad, said, leaving=True)[0] if line.kind == "leave"]


def test_a_hold_names_what_is_not_told(guide):
    """In one breath with the access, as long as both have ten words together."""
    facts = {name: value for name, value in GOOD.items() if name != "water.on_fire"}
    first = replies(guide, facts)[0][0]
    assert (first.kind, first.text) == ("caution", "No bar reported. Your decision. Hold cut: water not told.")
    assert {"ACCESS-900", "HOLD-010"} <= set(first.rules)
    long = [line.text for line in replies(guide, {**facts, "water.on_fire": "yes", "interior.answers": "none"})[0]]
    assert long[:2] == ["No bar reported. Your decision.", "Hold cut: interior does not answer."]


def test_water_lost_puts_the_hold_back_at_once(guide):
    """Invariant 6 [V20, F10]."""
    _, said = replies(guide, GOOD)
    lines, after = replies(guide, {**GOOD, "water.on_fire": "no"}, said)
    assert [line.text for line in lines if "hold" in line.text.lower()] == ["No water on fire: hold the cut."]
    assert after.gate == "Hold cut: no water on fire."


def test_a_line_that_changes_no_act_waits_until_it_is_asked(guide):
    lines, _ = replies(guide, {**GOOD, "fire.minutes": 6})
    assert not any("Burn time" in line.text for line in lines)
    standing = judge(guide, state({**GOOD, "fire.minutes": 6}), 0).main.cautions
    quiet = [line.text for line in standing if line.said == "when asked"]
    assert quiet == ["Burn time allows nothing. It only shortens."]


def test_work_on_a_barred_roof_is_no_matter_until_the_bar_is_gone(guide):
    """A hazard that keeps everyone off is said; how dull old layers sound under the saw waits until it is gone."""
    layers, barred = "Layers: slow cut, dull sound, more weight.", {**GOOD, "roof.layers": 3, "roof.surface": "ice"}
    lines, said = replies(guide, barred)
    assert layers not in [line.text for line in lines]
    assert layers in [line.text for line in judge(guide, state(barred), 0).main.cautions]
    lines, said = replies(guide, {**barred, "roof.surface": "dry"}, said)
    assert layers in [line.text for line in lines]
    lines, said = replies(guide, barred, said)
    lines, said = replies(guide, {**barred, "roof.surface": "dry"}, said)
    assert layers not in [line.text for line in lines]  # once is enough


def test_what_a_bar_names_is_not_cautioned_of_beside_it(guide):
    live = "Panels and their wires are live, always."
    lines, said = replies(guide, {**GOOD, "roof.solar": ["everywhere"]})
    assert "Stay off. Panels on no named face." in [line.text for line in lines]
    assert live not in [line.text for line in lines]
    lines, _ = replies(guide, {**GOOD, "roof.solar": ["A"]}, said)
    assert live in [line.text for line in lines]


def test_a_reported_reason_to_hold_leads_and_want_of_facts_has_one_line(guide):
    facts = {name: value for name, value in GOOD.items() if name not in ("water.on_fire", "interior.answers")}
    _, said = replies(guide, facts)
    assert said.gate == "hold: not told"
    lines, said = replies(guide, {**facts, "roof.form": "cross-gable"}, said)
    assert "Hold cut: no face worked out." in [line.text for line in lines]
    lines, _ = replies(guide, {**facts, "roof.form": "cross-gable", "water.on_fire": "yes"}, said)
    assert not [line.text for line in lines if line.text.startswith("Hold cut")]


def test_at_most_three_needs_are_named(guide):
    main = judge(guide, state({}), 0).main
    assert need_text(main).startswith("Need: ") and need_text(main).count(",") == 2


@pytest.mark.parametrize("name", sorted(GOOD))
def test_what_waits_for_affirm_never_loosens(guide, name):
    """Each good fact in turn is only spoken and waits: access and gate are those without it, or stricter."""
    rest = {other: value for other, value in GOOD.items() if other != name}
    waiting = Pending("x", (Telling(99, name, GOOD[name]),))
    with_it = judge(guide, state(rest, pending=(waiting,)), 0).main
    without = judge(guide, state(rest), 0).main
    assert (with_it.access in NO_GO) >= (without.access in NO_GO)
    assert not (without.gate != "no hold reported" and with_it.gate == "no hold reported")


def test_a_danger_that_waits_counts_at_once(guide):
    waiting = Pending("x", (Telling(99, "fire.attic", "confirmed"),))
    facts = {**GOOD, "roof.framing": "trusses"}
    assert judge(guide, state(facts), 0).main.access == "no bar reported"
    assert judge(guide, state(facts, pending=(waiting,)), 0).main.access == "leave now"


def test_the_gate_does_not_open_on_placing_facts_that_nobody_confirmed(guide):
    known = {name: value for name, value in GOOD.items() if name != "wind.from"}
    picture = state(known).picture.tell(Telling(50, "wind.from", "west", confirmed=False))
    judged = judge(guide, State(picture=picture), 0)
    assert judged.main.gate == "hold" and [one.name for one in judged.unconfirmed] == ["wind.from"]


def test_a_sections_danger_is_named_with_its_section(guide):
    lines, _ = replies(guide, {**GOOD, "deck.unsaid@garage": "soft"})
    assert in_order(lines)[0].text.startswith("Leave now. Garage: soft deck")


def test_fire_in_a_neighbours_attic_is_told_to_the_main_roof_and_bars_it_not(guide):
    """Truth table, sections: hazards go down to a section and are cautioned upward."""
    judged = judge(guide, state({**GOOD, "fire.attic@neighbour_B": "confirmed"}), 0)
    assert judged.main.access == "no bar reported" and judged.sections["neighbour_B"].access != "no bar reported"
    lines, said = replies(guide, {**GOOD, "fire.attic@neighbour_B": "confirmed"})
    beside = "Attic fire beside: this attic wants a fresh look."
    assert any("Neighbour B:" in one.text for one in lines)
    assert beside not in [one.text for one in lines]  # a leave-now stands there: it goes first
    lines, _ = replies(guide, {**GOOD, "fire.attic@neighbour_B": "confirmed"}, said, leaving=True)
    assert beside in [one.text for one in lines]


def test_good_news_of_the_main_roof_does_not_reach_a_section(guide):
    """Invariant 31 [L25, F20]."""
    judged = judge(guide, state({**GOOD, "roof.framing@garage": "rafters"}), 0)
    assert judged.main.access == "no bar reported" and judged.sections["garage"].access == "stay off"


@pytest.mark.parametrize(("text", "whole"), [("soft deck, C", "Soft deck, C."), ("Wait.", "Wait."), ("", ""),
                                             ("seen or told?", "Seen or told?")])
def test_a_fragment_becomes_a_sentence(text, whole):
    assert sentence(text) == whole


def test_a_danger_that_a_section_shares_is_said_once(guide):
    lines, _ = replies(guide, {**GOOD, "deck.C": "bubbling", "roof.form@garage": "gable"})
    assert [line.text for line in lines if line.kind == "leave"] == ["Leave now. Bubbling deck, C."]


def test_the_next_act_is_named_for_the_hole_of_a_section(guide):
    """Relief: the ceiling below the hole first [G19, G21]."""
    facts = {**GOOD, **{f"{name}@garage": GOOD[name] for name in ("roof.form", "roof.framing", "fire.attic")},
             "opening.made@garage": "full", "interior.relief": "no change"}
    lines, _ = replies(guide, facts)
    advice = [line.text for line in lines if line.kind == "advice" and "no relief" in line.text.lower()]
    assert advice == ["Garage: no relief: ceiling first, water and interior ready."]


def test_a_section_barred_like_the_main_roof_is_said_when_the_main_roof_is_not_barred_any_more(guide):
    facts = {**GOOD, "fire.attic": "suspected", "roof.framing": "trusses", "crew.where": "ground",
             "roof.form@garage": "gable"}
    lines, said = replies(guide, facts)
    assert [line.text for line in lines if "arage" in line.text] == []
    lines, said = replies(guide, {**facts, "fire.attic": "not seen"}, said)
    assert "Garage: stay off: attic not told." in [line.text for line in lines]
    assert not [line for line in replies(guide, {**facts, "fire.attic": "not seen"}, said)[0] if "arage" in line.text]


def test_a_crew_that_goes_up_under_a_bar_hears_it_again(guide):
    facts = {name: value for name, value in GOOD.items() if name not in ("fire.attic", "crew.where")}
    _, said = replies(guide, {**facts, "crew.where": "ground"})
    lines, said = replies(guide, {**facts, "crew.where": "roof"}, said)
    assert "Stay off: attic not told." in [line.text for line in lines]
    lines, _ = replies(guide, {**facts, "crew.where": "roof", "light": "day"}, said)
    assert "Stay off: attic not told." not in [line.text for line in lines]


def leaves(lines):
    return [line.text for line in lines if line.kind == "leave"]


def test_of_many_dangers_the_one_that_was_not_said_yet_comes_first(guide):
    """Two are said at once; a third that comes up must not stay behind the two that the crew has heard."""
    bad = {**GOOD, "deck.C": "soft", "deck.D": "soft"}
    _, said = replies(guide, bad)
    lines, said = replies(guide, {**bad, "crew.air": {"low": "yes"}}, said)
    assert leaves(lines) == ["Leave now. Low air.", "Leave now. Soft deck, C."]
    lines, _ = replies(guide, {**bad, "crew.air": {"low": "yes"}}, said)
    assert leaves(lines) == ["Leave now. Soft deck, C.", "Leave now. Soft deck, D."]


def test_another_danger_is_said_although_the_crew_is_on_the_ground_already(guide):
    facts = {**GOOD, "crew.where": "ground", "deck.C": "soft"}
    _, said = replies(guide, facts)
    facts = {**facts, "fire.eaves": "confirmed", "roof.framing": "trusses"}
    lines, said = replies(guide, facts, said)
    assert "Stay off. Trusses and attic sign." in [line.text for line in lines if line.kind == "stop"]
    lines, _ = replies(guide, facts, said)
    assert not [line.text for line in lines if "attic sign." in line.text]


def test_a_sections_own_danger_is_said_beside_the_one_that_it_shares(guide):
    facts = {**GOOD, "crew.where": "ground", "deck.C": "soft", "roof.form@garage": "gable"}
    _, said = replies(guide, facts)
    facts = {**facts, "roof.framing@garage": "trusses", "fire.attic@garage": "confirmed"}
    lines, said = replies(guide, facts, said)
    assert "Garage: stay off. Trusses and attic sign." in [line.text for line in lines if line.kind == "stop"]
    lines, _ = replies(guide, facts, said)
    assert not [line.text for line in lines if "attic sign." in line.text]


def test_a_danger_that_was_said_beside_another_is_not_said_again_when_that_is_gone(guide):
    facts = {**GOOD, "crew.where": "ground", "deck.C": "soft"}
    _, said = replies(guide, facts)
    lines, said = replies(guide, {**facts, "crew.air": {"low": "yes"}}, said)
    assert "Stay off. Low air." in [line.text for line in lines]
    lines, said = replies(guide, {**facts, "crew.air": {"low": "yes"}, "deck.C": "solid"}, said)
    assert "Stay off. Low air." not in [line.text for line in lines]
    lines, _ = replies(guide, {**facts, "crew.air": {"low": "yes"}, "deck.C": "solid", "crew.where": "roof"}, said)
    assert "Leave now. Low air." in [line.text for line in lines]


def test_a_crew_that_came_off_a_bad_deck_hears_nothing_of_a_walk_round(guide):
    facts = {**GOOD, "building.stories": 2, "crew.where": "ground"}
    walk = "Rear not told: a walk-round shows it."
    assert walk in [line.text for line in replies(guide, facts)[0]]
    assert walk not in [line.text for line in replies(guide, {**facts, "deck.C": "soft"})[0]]
