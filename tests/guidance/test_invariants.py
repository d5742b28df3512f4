"""The safety invariants as properties over thousands of situations, unknown included.

Each test names its invariant and the published rows behind it (rules/house/sources.yaml has titles, years and pages).
The properties are written from the told facts alone and use nothing of the rules: a rule that is lost, or one
that loosens, breaks them. What is no property of one evaluation is listed in `ELSEWHERE`.
"""

from __future__ import annotations

import functools
import itertools
import random
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

import pytest
from house import (
    GOOD,
    NO_GO,
    access_fell,
    both_channels,
    gate_fell,
    picture_of,
    plain_computed,
    random_facts,
    run,
    situation_of,
    telling,
    values_of,
)

from fieldaid.facts.picture import CANNOT_TELL
from fieldaid.facts.situation import Situation
from fieldaid.guidance.engine import is_installed
from fieldaid.guidance.outcome import Outcome

pytestmark = pytest.mark.slow

# Invariants that a single evaluation cannot show: they are about speech, the order of lines, or the programme's use.
ELSEWHERE = {20: "dialogue", 25: "dialogue", 29: "dialogue", 30: "dialogue", 32: "dialogue"}

SOLID_FRAMING = ("rafters", "plank and beam")
LOOKED = ("told", "seen", "struck", "inspection cut")
ATTIC_VENTS = ("ridge", "roof_vent", "gable", "eave")
NEEDS = ("fire.attic", "crew.count", "crew.ways_off", "deck.eave", "crew.masks", "command.roof", "roof.wires",
         "roof.surface", "roof.solar")
GATE_NEEDS = ("water.on_fire", "interior.calls", "interior.answers", "wind.from", "fire.side", "roof.form",
              "roof.ridge_runs", "site.a_faces")


@dataclass(frozen=True)
class Case:
    situation: Situation
    computed: Mapping[str, Any]
    outcome: Outcome

    @property
    def told(self) -> Mapping[str, Any]:
        return self.situation.values

    def basis(self, name: str) -> str:
        return self.situation.basis.get(name, "told")

    @property
    def maybe_on_roof(self) -> bool:
        return self.told.get("crew.where", "roof") == "roof"

    @property
    def no_go(self) -> bool:
        return self.outcome.access in NO_GO

    def __str__(self) -> str:
        return f"{self.outcome.access} ({self.outcome.access_reason}), {self.outcome.gate} on {dict(self.told)}"


def case(facts: Mapping[str, Any], basis: Mapping[str, str] | None = None) -> Case:
    one = situation_of(facts, basis)
    return Case(one, plain_computed(one), run(one))


def pairs_of_changes() -> Iterator[dict[str, Any]]:
    """Everything good, and any two facts that access and gate hang on changed in every way, unknown included."""
    changes = {**dict.fromkeys((*NEEDS, *GATE_NEEDS)), "roof.framing": None, "crew.where": None, "line.attack": None,
               "interior.crew": None, "command.backdraft_order": None, "smoke.ridge.volume": None}
    values = {name: [CANNOT_TELL, *values_of(name)[:9]] for name in changes}
    for one, other in itertools.combinations(changes, 2):
        for first, second in itertools.product(values[one], values[other]):
            yield {**GOOD, one: first, other: second}


@functools.cache
def pool() -> tuple[Case, ...]:
    rng = random.Random(2024)
    paired = rng.sample(list(pairs_of_changes()), 1500)
    starts = [GOOD, {**GOOD, "crew.where": "roof"}, {**GOOD, "crew.where": "ladder"}, {},
              {**GOOD, "crew.where": "aerial", "fire.attic": "suspected"}]
    free = [random_facts(rng, starts[n % len(starts)], changes=4) for n in range(2500)]
    ways_known = [{name: rng.choice(("guess", "preplan", "seen", "struck")) for name in facts if rng.random() < 0.15}
                  if rng.random() < 0.2 else {} for facts in (*paired, *free)]
    return tuple(case(facts, basis) for facts, basis in zip((*paired, *free), ways_known, strict=True))


def with_fact(one: Case, name: str, value: Any) -> Case:
    """The case after one more telling, through the picture."""
    facts = {**one.told, **dict.fromkeys(one.situation.cannot_tell, CANNOT_TELL)}
    picture = picture_of(facts, one.situation.basis).tell(telling(len(facts) + 1, name, value))
    after = picture.situation(0.0)
    return Case(after, plain_computed(after), run(after))


def where(**conditions: bool) -> list[Case]:
    return [one for one in pool() if all(getattr(one.outcome, key) == value for key, value in conditions.items())]


def free_of_bars() -> list[Case]:
    return where(access="no bar reported")


def free_of_holds() -> list[Case]:
    return where(gate="no hold reported")


# What the told facts show, in Python of the test's own


def attic_sign(one: Case) -> bool:
    told = one.told
    seen = [told.get(f"fire.{place}") for place in ("attic", "cockloft", "knee_wall")]
    smoke = [value for name, value in told.items() if (parts := name.split("."))[0] == "smoke"
             and parts[1] in ATTIC_VENTS and not (parts[-1] == "volume" and value == "none")]
    return (any(value in ("suspected", "confirmed", "knocked down") for value in seen) or bool(smoke)
            or told.get("fire.eaves") in ("suspected", "confirmed") or told.get("opening.shows") == "flame"
            or any(value == "hot" for name, value in told.items() if name.startswith("camera.")))


def framing(one: Case) -> str:
    """solid, engineered or unknown; a guess of solid framing is unknown."""
    told = one.told.get("roof.framing")
    if one.told.get("opening.shows") == "truss" or told not in (None, *SOLID_FRAMING):
        return "engineered"
    return "solid" if told and one.basis("roof.framing") != "guess" else "unknown"


def smoke_showing(one: Case) -> bool:
    return any(name.startswith("smoke.") and not (name.endswith("volume") and value == "none")
               for name, value in one.told.items())


def bad_deck(one: Case) -> bool:
    return any(name.startswith("deck.") and value != "solid" or name.startswith("smoke.deck.") and value != "none"
               for name, value in one.told.items())


def water_ready(one: Case) -> bool:
    told = one.told
    in_reach = told.get("line.attack") in ("charged", "flowing") and told.get("interior.crew") == "in place"
    return told.get("water.on_fire") == "yes" or in_reach and "water.on_fire" not in told


def backdraft(one: Case) -> bool:
    return one.told.get("command.backdraft_order") == "yes" and one.told.get("interior.crew") in ("none", "out")


def done(one: Case) -> bool:
    told = one.told
    return told.get("fire.stage") == "out" or (told.get("interior.relief"), told.get("opening.made")) == (
        "better", "full")


def sends_off(one: Case) -> None:
    """A leave-class danger: leave now on the roof or nobody knows where, and nobody goes up."""
    assert one.outcome.access == "leave now" if one.maybe_on_roof else one.no_go, one


# The invariants


def test_the_pool_bites() -> None:
    """There are enough situations in which nothing bars or holds, and enough of every no-go."""
    assert len(pool()) == 4000
    assert len(free_of_bars()) > 300 and len(free_of_holds()) > 100
    for access in (*NO_GO, "ladder tip only", "aerial only"):
        assert len(where(access=access)) > 10, access


def test_invariant_01_a_no_go_leaves_no_answer_about_an_opening() -> None:
    """N02, N03, F03."""
    for one in pool():
        if one.no_go:
            out = one.outcome
            assert (out.gate, out.place, out.kind, out.size_ft, out.opening_rules) == (
                "no opening", None, None, None, ()), one


def test_invariant_02_nothing_bars_only_if_every_need_is_told_and_good() -> None:
    """N01, L25, T17, S33: the closed list of the design."""
    for one in free_of_bars():
        told = one.told
        looked = told.get("fire.attic") in ("not seen", "confirmed", "knocked down") and one.basis(
            "fire.attic") in LOOKED
        cockloft = told.get("fire.cockloft") in ("not seen", "knocked down") and one.basis("fire.cockloft") in LOOKED
        assert looked or cockloft, one
        assert any(name.startswith("deck.") and value == "solid" and one.basis(name) in LOOKED
                   for name, value in told.items()), one
        assert told["command.roof"] in ("go up", "open", "hold") and told.get("command.mode") != "defensive", one
        assert told["crew.count"] >= 2 and told["crew.masks"] in ("on", "breathing air"), one
        assert one.computed["ways.usable"] >= 2, one
        assert told["roof.wires"] == "none" and told["roof.surface"] == "dry" and "roof.solar" in told, one
        assert framing(one) == "solid" or not attic_sign(one), one


@pytest.mark.parametrize("lost", NEEDS)
@pytest.mark.parametrize("how", ["not told", CANNOT_TELL])
def test_invariant_02_each_need_taken_away_bars_and_is_asked_for(lost: str, how: str) -> None:
    """N01, L25."""
    for one in free_of_bars()[:60]:
        stand_in = {"fire.attic": "fire.cockloft", "crew.ways_off": "crew.ladders"}.get(lost)
        if stand_in in one.told:
            continue
        others = [name for name in one.told if name.startswith("deck.")] if lost == "deck.eave" else []
        facts = {name: value for name, value in one.told.items() if name not in (lost, *others)}
        after = case({**facts, lost: CANNOT_TELL} if how == CANNOT_TELL else facts, one.situation.basis)
        assert after.outcome.access != "no bar reported", after
        assert lost in after.outcome.missing, after


@pytest.mark.parametrize("lost", GATE_NEEDS)
def test_invariant_02_each_need_of_the_gate_taken_away_holds_and_is_asked_for(lost: str) -> None:
    """W11, V24, S02."""
    for one in free_of_holds()[:60]:
        if backdraft(one) or one.told.get("command.roof") == "open" or one.told.get("wind.mph") == 0:
            continue
        if lost == "water.on_fire" and one.told.get("interior.crew") == "in place":
            continue
        if lost == "site.a_faces" and one.told["wind.from"] in "ABCD" or lost == "roof.ridge_runs" and one.told[
                "roof.form"] in ("flat", "pyramid", "mansard"):
            continue
        after = case({name: value for name, value in one.told.items() if name != lost}, one.situation.basis)
        assert after.outcome.gate != "no hold reported", after
        assert lost in after.outcome.missing, after


def test_invariant_03_nobody_on_a_roof_over_engineered_or_unknown_framing_with_an_attic_sign() -> None:
    """NIOSH 2005-132 (N02, N03, N05), S33."""
    for one in pool():
        void = any(one.told.get(f"fire.{place}") in ("suspected", "confirmed") for place in ("cockloft", "knee_wall"))
        if void or attic_sign(one) and framing(one) == "engineered":
            sends_off(one)
        elif attic_sign(one) and framing(one) == "unknown":
            assert one.outcome.access != "no bar reported", one
            if one.maybe_on_roof:
                assert one.outcome.access == "leave now", one


def test_invariant_04_burn_time_changes_no_answer() -> None:
    """N02, L08, L25: no clock allows anything. That facts grow old is in test_marks."""
    for one in pool()[::8]:
        for minutes in (0, 6, 60):
            after = with_fact(one, "fire.minutes", minutes)
            assert (after.outcome.access, after.outcome.gate) == (one.outcome.access, one.outcome.gate), one


def test_invariant_05_only_what_carries_nothing_is_opened() -> None:
    """N04, S02, C19, C25: whenever a cut may come, the reminder stands."""
    for one in pool():
        assert one.outcome.kind in (None, "rectangle", "louvred panels", "triangle", "inspection", "existing opening")
        at_work = one.told.get("crew.where") in ("roof", "ladder", "aerial")
        if at_work and one.outcome.gate in ("no hold reported", "inspection only"):
            assert "deck only" in one.outcome.advice, one


def test_invariant_06_no_full_opening_before_water_and_call() -> None:
    """V20, V24, V25, A04, G25, F10."""
    for one in free_of_holds():
        told = one.told
        assert told.get("interior.calls") != "hold" and told.get("command.roof") != "hold", one
        assert told.get("line.attack") != "lost" and told.get("interior.crew") != "backing out", one
        assert told.get("interior.searching") != "yes" and told.get("fan.state") != "on", one
        if backdraft(one):
            continue
        assert water_ready(one), one
        assert told.get("interior.calls") == "open now" or told.get("command.roof") == "open", one
        assert told.get("interior.answers") == "yes", one


@pytest.mark.parametrize(("name", "value"), [
    ("water.on_fire", "no"), ("line.attack", "lost"), ("interior.crew", "backing out"), ("fan.state", "on"),
    ("interior.calls", "hold"), ("command.roof", "hold"), ("interior.answers", "none"),
])
def test_invariant_06_water_or_interior_lost_puts_the_hold_back(name: str, value: str) -> None:
    """V13, V20, F10, W02."""
    for one in free_of_holds():
        if not backdraft(one):
            after = with_fact(one, name, value)
            assert after.outcome.gate == "hold", after
            if name in ("water.on_fire", "line.attack", "interior.crew", "fan.state"):
                assert after.outcome.stops, after


def test_invariant_07_fewer_than_two_ways_off_means_leave() -> None:
    """S02, S34, N07."""
    for one in pool():
        if one.computed.get("ways.usable", 2) < 2:
            sends_off(one)
    corner = [{"place": "BC"}, {"place": "BC"}]
    assert case({**GOOD, "crew.ways_off": CANNOT_TELL, "crew.ladders": corner}).no_go
    venting = [{"place": "A"}, {"place": "C"}]
    lost = {**GOOD, "crew.ways_off": CANNOT_TELL, "crew.ladders": venting, "window.C": "failed"}
    assert case({**lost, "crew.where": "roof"}).outcome.access == "leave now"


def test_invariant_08_the_way_off_lies_behind() -> None:
    """S34, G10: whenever nothing holds the cut the way off is named, and an open hole is a caution."""
    for one in pool():
        if one.outcome.gate == "no hold reported" and one.told.get("crew.where") == "roof":
            assert "stand upwind" in one.outcome.advice, one
        if one.told.get("opening.made") in ("part", "full"):
            assert "fresh hole" in one.outcome.cautions, one


def test_invariant_09_two_together_in_contact() -> None:
    """29 CFR 1910.134(g)(4) (S06), S07."""
    for one in pool():
        if one.told.get("crew.count", 0) < 2 or one.told.get("crew.in_contact") == "no":
            assert one.no_go, one
            if one.told.get("crew.where") == "roof" and ("crew.count" in one.told or "crew.in_contact" in one.told):
                assert one.outcome.access in ("leave now", "come down"), one


def test_invariant_10_breathing_air_where_smoke_is() -> None:
    """F01, F02, N16; NFPA 1981 and 1404 for air (T22, T23)."""
    for one in pool():
        masks = one.told.get("crew.masks")
        if masks in (None, "off"):
            assert one.no_go, one
        if one.computed.get("air.low") == "yes" or masks == "off" and smoke_showing(one):
            sends_off(one)


@pytest.mark.parametrize(("name", "value"), [
    ("camera.C", "cool"), ("camera.ridge", "cool"), ("building.built", 1910), ("roof.pitch", 3), ("roof.layers", 1),
    ("roof.pitch_word", "walkable"), ("building.frame", "masonry"), ("building.frame", "platform"), ("light", "day"),
])
def test_invariant_11_what_clears_nothing(name: str, value: Any) -> None:
    """NIST T14-T17, F15 (T21), F04 (C34), C17."""
    for one in pool()[::10]:
        after = with_fact(one, name, value)
        assert not access_fell(one.outcome, after.outcome) and not gate_fell(one.outcome, after.outcome), one


def test_invariant_12_a_bad_deck_sends_everyone_off() -> None:
    """F16, G27."""
    for one in pool():
        if bad_deck(one):
            sends_off(one)


def test_invariant_13_panels_are_live_and_their_face_is_refused() -> None:
    """P12, P14."""
    for one in pool():
        panels = one.told.get("roof.solar", "none")
        if panels == "none":
            continue
        assert "panels" in one.outcome.cautions, one
        face = one.computed.get("place.face")
        if one.outcome.gate == "no hold reported":
            assert not any(face in place for place in panels), one
        if set(panels) & {"everywhere", "unsaid", one.told.get("fire.side")}:
            assert one.no_go, one


def test_invariant_14_skylights_and_holes_are_fall_holes() -> None:
    """F05, N16, P18."""
    for one in pool():
        assert ("skylights" in one.outcome.cautions) == (one.told.get("roof.skylight", "none") != "none"), one


def test_invariant_15_no_stream_into_the_hole() -> None:
    """S04, F14."""
    for one in pool():
        if one.told.get("line.aims") == "roof opening":
            assert "stream at the hole" in one.outcome.stops and one.no_go, one


def test_invariant_16_no_opening_that_the_wind_blows_into() -> None:
    """W01-W06, W11, W12."""
    for one in pool():
        face, out = one.computed.get("place.face"), one.outcome
        if out.gate == "no hold reported":
            assert face is not None and one.computed[f"wind.on.{face}"] != "windward", one
            assert one.told.get("wind.shifting") != "yes", one
        if one.computed.get("place.why_not") == "windward":
            assert out.gate == "no opening", one
        if any(one.told.get(f"window.{side}") == "failed" and one.computed.get(f"wind.on.{side}") == "windward"
               for side in "ABCD"):
            assert "window upwind" in out.stops and out.gate != "no hold reported", one


def test_invariant_17_the_ceiling_waits_for_water_and_interior() -> None:
    """A08, G20, N09."""
    for one in pool():
        told = one.told
        if told.get("opening.made") in ("part", "full") and told.get("opening.ceiling") not in ("pushed", "none"):
            ready = water_ready(one) and told.get("interior.answers") == "yes"
            assert ("ceiling" in one.outcome.stops) == (not ready), one


def test_invariant_18_an_order_to_leave_outranks_everything() -> None:
    """S19, N03. That it is repeated until acknowledged is the dialogue's."""
    for one in pool():
        if one.told.get("command.roof") == "come off" or one.told.get("command.mode") == "defensive":
            sends_off(one)
    for one in free_of_bars():
        assert with_fact(one, "command.roof", "come off").outcome.access_reason == "ordered", one


def test_invariant_19_without_an_order_for_the_roof_nothing_is_free() -> None:
    """S05, S16. The words themselves are held to in test_house_pack."""
    for one in pool():
        if one.told.get("command.roof") in (None, "not assigned"):
            assert one.no_go, one


def test_invariant_21_the_worse_report_holds() -> None:
    """T17, F15, F16: a later solid or a cool camera takes back no bad deck, and rafters take back no truss."""
    for one in pool():
        for name in [name for name, value in one.told.items() if name.startswith("deck.") and value != "solid"][:1]:
            for other, value in ((name, "solid"), (name.replace("deck.", "camera."), "cool")):
                assert with_fact(one, other, value).outcome.access == one.outcome.access, one
    for one in where(access="leave now")[:300]:
        if one.told.get("roof.framing") == "trusses":
            assert with_fact(one, "roof.framing", "rafters").outcome.access == "leave now", one


def test_invariant_22_a_missing_member_is_a_mayday_first() -> None:
    """S21."""
    for one in pool():
        if one.told.get("crew.missing") == "yes":
            assert "member missing" in one.outcome.stops and one.no_go, one
            if one.told.get("crew.where") == "roof":
                assert one.outcome.access in ("leave now", "come down"), one


def test_invariant_23_job_done_come_down() -> None:
    """S02, S34."""
    for one in pool():
        if done(one):
            assert one.no_go, one
            if one.told.get("crew.where") == "roof":
                assert one.outcome.access in ("leave now", "come down"), one


def test_invariant_24_guesses_and_plans_free_nothing() -> None:
    """C17, A15. That weak sources carry no loosening is in test_house_pack."""
    for one in free_of_bars()[:80]:
        for name in ("fire.attic", "deck.eave"):
            for basis in ("guess", "preplan"):
                others = {other: "guess" for other in one.told if other.startswith(("deck.", "fire.cockloft"))}
                after = case(one.told, {**one.situation.basis, **others, name: basis})
                assert after.no_go or after.outcome.access.endswith("only"), after


def test_invariant_26_silence_is_never_permission() -> None:
    """The restart that keeps a standing leave-now is the dialogue's."""
    nothing = case({})
    assert (nothing.outcome.access, nothing.outcome.gate) == ("stay off", "no opening")
    for one in pool():
        if one.told.get("interior.answers") != "yes" and not backdraft(one):
            assert one.outcome.gate != "no hold reported", one


def test_invariant_27_nobody_below_and_no_ladder_moved() -> None:
    """Common practice, no source; S27 for the ladder."""
    for one in pool():
        if one.outcome.gate == "no hold reported" and one.told.get("crew.where") != "ground":
            assert "drop path" in one.outcome.advice, one
        if (one.told.get("crew.where") == "roof" and "crew.ladders" in one.told
                and one.outcome.access not in ("leave now", "come down")):
            assert "ladders stay" in one.outcome.advice, one


def test_invariant_28_lightning_ice_wires_streams() -> None:
    """F04, S02; lightning: common practice, no source."""
    for one in pool():
        told = one.told
        if (told.get("weather.lightning") == "yes" or told.get("roof.surface") in ("ice", "snow", "frost")
                or told.get("roof.wires", "none") != "none" or told.get("line.aims") == "roof opening"):
            assert one.no_go, one


def test_invariant_31_good_news_of_one_section_clears_no_other() -> None:
    """F20, L25."""
    for one in [*free_of_bars()[:150], *pool()[:150]]:
        garage = picture_of(one.told, one.situation.basis).situation(0.0, "garage")
        assert run(garage).access in NO_GO, one
        if one.outcome.triggers and not attic_sign(one):
            assert set(run(garage).triggers) >= {name for name in one.outcome.triggers if "deck" in name}, one
        for name, value in (("deck.eave@garage", "solid"), ("fire.attic@garage", "not seen"),
                            ("roof.framing@garage", "rafters")):
            assert with_fact(one, name, value).outcome == one.outcome, one


def test_invariant_33_a_roof_that_vented_itself_gets_no_further_cut() -> None:
    """Common practice, no source."""
    for one in pool():
        if one.told.get("fire.stage") == "through the roof":
            assert one.outcome.gate in ("no opening", "other means"), one


def test_every_invariant_is_a_property_here_or_is_named_elsewhere() -> None:
    here = {int(found[1]) for name in globals() if (found := re.match(r"test_invariant_(\d\d)_", name))}
    assert here | set(ELSEWHERE) == set(range(1, 34))
    assert not here & set(ELSEWHERE)


@pytest.mark.skipif(not is_installed(), reason="durable-rules is not installed")
def test_both_channels_agree_on_a_sample() -> None:
    with both_channels() as run_both:
        for one in pool()[::20]:
            run_both(one.situation)
