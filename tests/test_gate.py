"""The voice gate: where speech begins and ends, what is no speech, and what happens without silero.

The gate's logic is checked with a detector of known answers; silero is checked on the demo sound, whose words and
places are known because a synthesiser was told to say them (demo_audio/README.md).
"""

from __future__ import annotations

import tracemalloc

import numpy as np
import pytest
from demo_clips import CLIPS, DEMO
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldaid.hearing import gate
from fieldaid.hearing.gate import CHUNK, CHUNK_S, Gate, Segment, Segmenter, SpeechGate, segments
from fieldaid.hearing.sound import RATE, Sound, read


def loud(chunk: np.ndarray) -> float:
    """A detector of known answers: speech is what is loud."""
    return float(np.sqrt(np.mean(chunk**2)) > 0.05)


def bursts(seconds: float, *spans: tuple[float, float]) -> np.ndarray:
    """Silence with a loud tone in each span [s]."""
    samples = np.zeros(int(seconds * RATE), np.float32)
    for start, end in spans:
        n = int(end * RATE) - int(start * RATE)
        samples[int(start * RATE) : int(start * RATE) + n] = 0.3 * np.sin(0.3 * np.arange(n))
    return samples


def cut(samples: np.ndarray, block: int = 4000, **options) -> list[Segment]:
    segmenter = Segmenter(SpeechGate(loud), **options)
    found = []
    for start in range(0, len(samples), block):
        found += segmenter.push(samples[start : start + block])
    return found + segmenter.finish()


def test_a_burst_becomes_one_segment_with_what_came_before_and_after():
    found = cut(bursts(5.0, (2.0, 3.0)))
    assert len(found) == 1
    assert found[0].start_s == pytest.approx(2.0 - gate.PRE_ROLL_S, abs=2 * CHUNK_S)
    assert found[0].end_s == pytest.approx(3.0 + gate.HANGOVER_S, abs=2 * CHUNK_S)
    assert len(found[0].samples) == round((found[0].end_s - found[0].start_s) * RATE)


def test_pauses_shorter_than_the_hangover_do_not_split():
    assert len(cut(bursts(6.0, (1.0, 2.0), (2.3, 3.0)))) == 1
    assert len(cut(bursts(6.0, (1.0, 2.0), (2.9, 3.5)))) == 2


@pytest.mark.parametrize("samples", [np.zeros(0, np.float32), np.zeros(1, np.float32), np.zeros(RATE * 3, np.float32)])
def test_nothing_to_hear_is_no_segment(samples):
    assert cut(samples) == []
    assert segments(Sound(samples)) == []


def test_a_click_is_no_word():
    assert cut(bursts(3.0, (1.0, 1.04))) == []
    assert len(cut(bursts(3.0, (1.0, 1.2)))) == 1


def test_speech_up_to_the_end_of_the_file_is_kept():
    found = cut(bursts(2.0, (1.0, 2.0)))
    assert len(found) == 1 and found[0].end_s == pytest.approx(2.0, abs=CHUNK_S)


@settings(max_examples=40, deadline=None)
@given(shift=st.integers(0, 3 * RATE), block=st.integers(100, 20_000))
def test_shifting_the_sound_shifts_the_segments(shift, block):
    samples = bursts(6.0, (1.0, 1.8), (3.0, 4.5))
    plain = cut(samples)
    shifted = cut(np.concatenate([np.zeros(shift, np.float32), samples]), block)
    assert len(shifted) == len(plain)
    for before, after in zip(plain, shifted, strict=True):
        # The first one may begin at the start of the file and have less of a pre-roll.
        assert after.start_s - shift / RATE == pytest.approx(before.start_s, abs=2 * CHUNK_S)
        assert after.end_s - shift / RATE == pytest.approx(before.end_s, abs=2 * CHUNK_S)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.floats(0.05, 3.0), st.floats(0.05, 20.0)), min_size=1, max_size=6))
def test_every_chunk_of_speech_is_in_exactly_one_segment(plan):
    spans, at = [], 0.0
    for quiet, talk in plan:
        spans.append((at + quiet, at + quiet + talk))
        at += quiet + talk
    samples = bursts(at + 1.0, *spans)
    found = cut(samples)
    covered = np.zeros(len(samples) + CHUNK, int)
    for one in found:
        assert one.end_s - one.start_s <= gate.LONGEST_S + 1e-6
        start = round(one.start_s * RATE)
        covered[start : start + len(one.samples)] += 1
        n = min(len(one.samples), len(samples) - start)
        assert np.array_equal(one.samples[:n], samples[start : start + n])
    assert covered.max(initial=0) <= 1
    for start, end in spans:
        if end - start > gate.SHORTEST_SPEECH_S + 2 * CHUNK_S:
            assert covered[int(start * RATE) : int(end * RATE)].all()


def test_a_long_stretch_is_split_where_it_is_quietest():
    rng = np.random.default_rng(3)
    samples = (0.3 * rng.standard_normal(RATE * 30)).astype(np.float32)
    for dip in (9.0, 18.0):
        samples[int(dip * RATE) : int((dip + 0.2) * RATE)] *= 0.3
    found = cut(samples)
    assert [one.cut for one in found] == [True, True, False]
    assert found[0].end_s == pytest.approx(9.1, abs=0.15) and found[1].end_s == pytest.approx(18.1, abs=0.15)
    assert np.array_equal(np.concatenate([one.samples for one in found])[: len(samples)], samples)


def test_twenty_minutes_pass_without_being_held(tmp_path):
    class Long:
        def blocks(self):
            for minute in range(20):
                yield bursts(60.0, (10.0, 12.0), (30.0 + minute, 33.0 + minute))

    tracemalloc.start()
    found = sum(1 for _ in gate.stream(Long(), loud))
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert found == 40
    assert peak < 30e6, "twenty minutes are 77 MB"


def test_a_chunk_of_the_wrong_size_is_refused():
    with pytest.raises(ValueError, match="512"):
        SpeechGate(loud).push(np.zeros(100, np.float32))


def test_without_silero_the_whole_recording_is_one_segment_and_it_is_said():
    def broken():
        raise OSError("no such model")

    fallen = Gate(broken)
    assert fallen.notice == gate.GATE_MISSING
    samples = bursts(8.0, (2.0, 3.0))
    found = list(fallen.segments(Sound(samples)))
    assert len(found) == 1 and found[0].start_s == 0.0 and np.array_equal(found[0].samples[: len(samples)], samples)
    assert list(fallen.segments(Sound(np.zeros(0, np.float32)))) == []
    minute = Sound(np.zeros(RATE * 60, np.float32))
    assert all(one.end_s - one.start_s <= gate.LONGEST_S for one in fallen.segments(minute))


def test_silero_finds_every_demo_clip():
    working = Gate()
    assert working.notice == ""
    lost = [clip["file"] for clip in CLIPS.values() if not list(working.segments(read(DEMO / clip["file"])))]
    assert lost == []


def test_silero_finds_every_utterance_of_twenty_minutes():
    """Speech at known times in twenty minutes, cut where it was put, each utterance once."""
    voices = [read(DEMO / clip["file"]).samples for clip in list(CLIPS.values())[:10]]
    starts = [7.0 + 119.3 * number for number in range(10)]

    class Sparse:
        def blocks(self):
            for second in range(0, 1200, 10):
                block = np.zeros(10 * RATE, np.float32)
                for start, voice in zip(starts, voices, strict=True):
                    if second <= start < second + 10:
                        at = int((start - second) * RATE)
                        block[at : at + len(voice)] = voice[: len(block) - at]
                yield block

    found = list(Gate().segments(Sparse()))
    assert len(found) == len(starts)
    for one, start in zip(found, starts, strict=True):
        assert one.start_s == pytest.approx(start + 0.3, abs=0.4)


def test_silero_is_not_moved_by_saw_or_wind_alone(monkeypatch):
    monkeypatch.syspath_prepend(str(DEMO))
    import noise

    for kind in ("saw", "wind"):
        sound = Sound(0.1 * noise.KINDS[kind](30.0, seed=5))
        assert segments(sound) == [], kind
