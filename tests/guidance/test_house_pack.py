"""The house pack itself: it loads, and every rule fires and stays silent where it says so.

Outside the project: the rows of the source list (NIOSH, NIST, UL FSRI, NFPA, OSHA; see rules/house/sources.yaml).
"""

from __future__ import annotations

import re

import pytest
from house import both_channels, house, plain_computed, reference

from fieldaid.facts.situation import Situation
from fieldaid.guidance.conditions import Condition
from fieldaid.guidance.engine import is_installed
from fieldaid.guidance.pack import COMMON_PRACTICE, FROM_MEMORY, Example, Rule

RULES = house().rules
# The author's bench has these lists too (properties_pack.py). They are written twice on purpose: a slip there must not
# take this check of the pack with it.
BANNED = {"safe", "safely", "unsafe", "okay", "ok", "allowed", "permitted", "must"}
ORDERS = ("cut", "go", "climb", "open", "step", "start", "enter", "return", "tell", "report", "ask", "check", "stand",
          "keep", "sound", "have", "take", "use", "move", "make", "put", "pull", "push")
FREEING = ("no bar reported", "no hold reported", "ladder tip only", "aerial only", "made")
FREEING_NAMES = ("attic_looked_at", "deck_struck", "framing_good", "tip_ready", "water_ready", "called", "backdraft_go")


def example_situation(example: Example) -> tuple[Situation, dict]:
    one = Situation.of(example.facts, example.basis)
    return one, {**plain_computed(one), **example.computed}


def fired(rule: Rule, example: Example) -> bool:
    return any(one.rule == rule.id for one in reference().run(*example_situation(example)).firings)


@pytest.mark.parametrize("rule", RULES, ids=[rule.id for rule in RULES])
def test_a_rule_fires_and_stays_silent_where_it_says(rule: Rule) -> None:
    for example in rule.fires:
        assert fired(rule, example), f"{rule.id} should fire on {dict(example.facts)} {dict(example.basis)}"
    for example in rule.silent:
        assert not fired(rule, example), f"{rule.id} should be silent on {dict(example.facts)} {dict(example.basis)}"


@pytest.mark.skipif(not is_installed(), reason="durable-rules is not installed")
def test_both_channels_agree_on_every_situation_of_every_rule() -> None:
    with both_channels() as run_both:
        for rule in RULES:
            for example in (*rule.fires, *rule.silent):
                run_both(*example_situation(example))


def test_the_pack_is_large_enough_and_all_of_it_takes_part() -> None:
    assert len(RULES) >= 90
    assert all(rule.status == "stable" for rule in RULES)


def test_every_source_is_used_and_every_rule_has_one() -> None:
    used = {name for rule in RULES for name in rule.source}
    used |= {name for one in house().parameters.values() for name in one.source}
    assert all(rule.source for rule in RULES)
    assert used - {COMMON_PRACTICE, FROM_MEMORY} == set(house().sources)


def test_what_frees_something_rests_on_a_publication_of_certainty_a_or_b() -> None:
    """Invariant 24: no card, forum, video, memory or common practice stands alone behind a loosening."""
    for rule in RULES:
        if rule.conclude.name != "made" and frees(rule):
            sources = [house().sources[one] for one in rule.source if one in house().sources]
            assert any(one.certainty in "AB" and one.kind not in ("card", "forum", "video", "practice")
                       for one in sources), rule.id


def test_every_parameter_and_derived_name_is_used() -> None:
    files = sorted((house().folder / "rules").glob("*.yaml"))
    written = "".join(path.read_text(encoding="utf-8") for path in files)
    read_by_the_program = {"air_low_fraction", "air_low_minutes", "notice_minutes"}
    assert {one for one in house().parameters if f"${one}" not in written} == read_by_the_program
    tested = {one.key for rule in RULES for one in conditions(rule)}
    concluded = {name for rule in RULES for name, _ in rule.conclude.derived}
    assert concluded == set(house().derived)
    assert set(house().derived) <= tested


def test_the_33_invariants_name_where_they_are_enforced_and_the_rules_name_them_back() -> None:
    assert [one.number for one in house().invariants] == list(range(1, 34))
    places = {"dialogue", "loader", "placement"}
    for one in house().invariants:
        assert one.enforced
        for rule_id in set(one.enforced) - places:
            assert rule_id in house(), rule_id
    said = {(number, rule.id) for rule in RULES for number in rule.invariants}
    listed = {(one.number, rule_id) for one in house().invariants for rule_id in set(one.enforced) - places}
    assert said == listed


def test_what_is_said_never_calls_anything_safe_and_gives_no_order_to_cut() -> None:
    """Invariant 19. "Cut here", "go", "you can" would be orders or permissions; the officer decides."""
    for rule in RULES:
        words = re.findall(r"[a-z]+", rule.say.lower().replace("{value}", "value"))
        assert not BANNED & set(words), rule.id
        assert words[:1] and words[0] not in ORDERS, rule.id


def test_danger_lines_keep_within_the_words_a_person_can_take_in() -> None:
    """Stops have at most seven words, triggers at most five after "Leave now"."""
    for rule in RULES:
        if rule.conclude.kind == "stop":
            assert len(rule.say.split()) <= 7, rule.say


def test_no_rule_lets_time_free_anything() -> None:
    """Invariant 4 (NIOSH 2005-132; N02, L25): burn time is tested only by what warns, and silences nothing."""
    for rule in RULES:
        if any(one.key == "fire.minutes" for one in conditions(rule)):
            assert rule.conclude.kind in ("caution", "trigger", "stop"), rule.id
        assert not any(one.key == "fire.minutes" for one in silencers(rule)), rule.id


def test_what_clears_nothing_is_tested_by_no_freeing_rule() -> None:
    """Invariant 11 (NIST T14-T16, NIOSH F2020-01): camera, pitch, era and wall frame free nothing."""
    clear_nothing = ("camera.", "roof.pitch", "building.", "built.", "framing_guess", "deck_guess", "frame_guess")
    for rule in RULES:
        if frees(rule):
            assert not any(one.key.startswith(clear_nothing) for one in conditions(rule)), rule.id
        if rule.conclude.kind in ("trigger", "stop", "access", "gate"):
            assert not any(one.key.startswith(clear_nothing) for one in silencers(rule)), rule.id


def frees(rule: Rule) -> bool:
    """Whether it concludes something that may loosen access or gate."""
    return rule.conclude.name in FREEING or any(name in FREEING_NAMES for name, _ in rule.conclude.derived)


def silencers(rule: Rule) -> list[Condition]:
    return list(rule.unless.conditions()) if rule.unless else []


def conditions(rule: Rule) -> list[Condition]:
    return [*rule.when.conditions(), *silencers(rule)]
