"""Pauses inside a segment, and what becomes of the two parts. The sound is made here, so the pauses are known."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from fieldaid.grammar import load_grammar
from fieldaid.hearing.gate import HANGOVER_S, PRE_ROLL_S, Segment
from fieldaid.hearing.heard import Heard
from fieldaid.hearing.pauses import LEAST_SPOKEN_S, parts, pauses, speech, spoken_s
from fieldaid.hearing.sound import RATE
from fieldaid.hearing.two_opinions import TwoOpinions


def sound(*stretches: tuple[float, float], noise: float = 0.001) -> np.ndarray:
    """Buzzes in the band of speech and quiet between them: (seconds, level) each."""
    rng = np.random.default_rng(1)
    row = []
    for seconds, level in stretches:
        t = np.arange(int(seconds * RATE)) / RATE
        row.append(level * np.sign(np.sin(2 * np.pi * 450 * t)) + rng.normal(0, noise, len(t)))
    return np.concatenate(row).astype(np.float32)


def segment(*stretches: tuple[float, float], noise: float = 0.001, start: float = 2.0) -> Segment:
    samples = sound((PRE_ROLL_S, 0.0), *stretches, (HANGOVER_S, 0.0), noise=noise)
    return Segment(start, start + len(samples) / RATE, samples)


def test_a_pause_between_words_is_found_where_it_is():
    found = pauses(segment((0.8, 0.2), (0.3, 0.0), (0.9, 0.2)))
    assert len(found) == 1
    assert found[0] == (pytest.approx(PRE_ROLL_S + 0.8, abs=0.05), pytest.approx(PRE_ROLL_S + 1.1, abs=0.05))


@pytest.mark.parametrize("stretches", [((1.6, 0.2),), ((0.8, 0.2), (0.1, 0.0), (0.8, 0.2)),
                                       ((0.2, 0.2), (0.3, 0.0), (1.2, 0.2)), ((1.2, 0.2), (0.3, 0.0), (0.2, 0.2))],
                         ids=["none", "too short", "right after the start", "right before the end"])
def test_what_is_no_pause_between_two_parts_is_none(stretches):
    assert pauses(segment(*stretches)) == []


def test_in_strong_noise_no_pause_is_claimed():
    assert pauses(segment((0.8, 0.05), (0.3, 0.0), (0.9, 0.05), noise=0.2)) == []


def test_pauses_do_not_count_as_speech():
    whole, broken = segment((1.6, 0.2)), segment((0.8, 0.2), (0.4, 0.0), (0.8, 0.2))
    assert spoken_s(whole) == pytest.approx(1.6, abs=0.05)
    assert spoken_s(broken) == pytest.approx(1.6, abs=0.12)
    assert spoken_s(Segment(0.0, 0.01, np.zeros(160, np.float32))) == LEAST_SPOKEN_S


def test_the_gate_s_own_measure_of_speech_counts():
    one = segment((1.0, 0.2))
    assert speech(Segment(one.start_s, one.end_s, one.samples, False, (2.5, 3.0))) == (0.5, 1.0)


def test_the_parts_are_the_whole_and_keep_their_times():
    one = segment((0.8, 0.2), (0.3, 0.0), (0.9, 0.2))
    first, second = parts(one)
    assert np.array_equal(np.concatenate([first.samples, second.samples]), one.samples)
    assert (first.start_s, second.end_s) == (one.start_s, one.end_s) and first.end_s == second.start_s
    assert second.start_s - one.start_s == pytest.approx(PRE_ROLL_S + 0.95, abs=0.05)
    assert parts(segment((1.0, 0.2))) != [] and len(parts(segment((1.0, 0.2)))) == 1


# ---- joining


@pytest.fixture(scope="module")
def pair():
    made = TwoOpinions.__new__(TwoOpinions)
    made.first = SimpleNamespace(grammar=load_grammar())
    return made


def part(text: str, nearest: str = "", free: str = "words") -> tuple[Heard, SimpleNamespace]:
    heard = Heard(text, "x", figures={"fit": 3.0}, alternatives=((nearest, 0.0),) if nearest else ())
    return heard, SimpleNamespace(found=SimpleNamespace(free=free))


def test_both_parts_understood_become_one_line(pair):
    found = pair._joined(Heard("gable", "x"), [part("gable"), part("wind from the west")])
    assert found.text == "gable, wind from the west" and found.figures["parts"] == 2


def test_the_call_sign_before_the_pause_belongs_to_what_follows(pair):
    found = pair._joined(Heard("", "x"), [part("", "field aid"), part("wind from the west")])
    assert found.text == "field aid, wind from the west"


def test_a_part_that_was_not_understood_leaves_the_whole_as_it_was(pair):
    refused = Heard("", "x", alternatives=(("is the", 0.0),))
    assert pair._joined(refused, [part("", "is the"), part("line charged")]) is refused


def test_a_part_without_words_is_left_out(pair):
    assert pair._joined(Heard("", "x"), [part("gable"), part("", "so", free="")]).text == "gable"


def test_parts_that_contradict_the_whole_are_asked(pair):
    found = pair._joined(Heard("trusses", "x"), [part("rafters"), part("wind from the west")])
    assert found.text == "" and {text for text, _ in found.alternatives} == {"trusses", "rafters, wind from the west"}


def test_doubts_of_the_parts_are_kept(pair):
    first, measured = part("built nineteen fifty eight")
    doubtful = Heard(first.text, "x", figures={"fit": 1.0}, once=frozenset({"building.built"}))
    found = pair._joined(Heard("", "x"), [(doubtful, measured), part("gable")])
    assert found.once == {"building.built"} and found.figures["fit"] == 1.0
