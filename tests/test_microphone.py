"""The microphone and the ear without sound devices: a stand-in for the sound library, a detector on paper."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from fieldaid.errors import SoundError
from fieldaid.hearing import microphone as module
from fieldaid.hearing.ear import Ear
from fieldaid.hearing.gate import CHUNK, CHUNK_S, Segmenter, SpeechGate
from fieldaid.hearing.microphone import Microphone
from fieldaid.hearing.sound import RATE


class Library:
    """A sound library with one input device of its own rates and channels."""

    class PortAudioError(Exception):
        pass

    def __init__(self, rates=(RATE,), channels=(1,), own=RATE, fault=""):
        self.rates, self.channels, self.own, self.fault = rates, channels, own, fault
        self.streams = []

    def query_devices(self, device, kind):
        if self.fault:
            raise self.PortAudioError(self.fault)
        return {"name": "a microphone", "default_samplerate": float(self.own), "max_input_channels": max(self.channels)}

    def check_input_settings(self, device, channels, dtype, samplerate):
        if samplerate not in self.rates or channels not in self.channels:
            raise self.PortAudioError("Invalid sample rate or channels")

    def InputStream(self, **settings):
        self.check_input_settings(None, settings["channels"], "float32", settings["samplerate"])
        stream = SimpleNamespace(**settings, active=True, start=lambda: None, abort=lambda **_: None)
        stream.close = lambda **_: setattr(stream, "active", False)
        self.streams.append(stream)
        return stream

    def give(self, samples, overflow=False):
        stream = self.streams[-1]
        data = np.repeat(np.asarray(samples, np.float32)[:, None], stream.channels, axis=1)
        for at in range(0, len(data), stream.blocksize):
            part = data[at:at + stream.blocksize]
            stream.callback(part, len(part), None, SimpleNamespace(input_overflow=overflow))


def read(microphone, count):
    blocks = microphone.blocks()
    return np.concatenate([next(blocks).samples for _ in range(count)])


@pytest.mark.parametrize(("rates", "channels", "own", "taken"), [
    ((RATE, 48000), (1, 2), 48000, (RATE, 1)), ((48000,), (1, 2), 48000, (48000, 1)),
    ((44100,), (2,), 44100, (44100, 2)), ((96000,), (8,), 96000, (96000, 8)), ((8000,), (1,), 8000, (8000, 1))])
def test_any_rate_and_channels_become_mono_at_the_rate_of_hearing(rates, channels, own, taken):
    library = Library(rates, channels, own)
    microphone = Microphone(library)
    microphone.open()
    rate = library.streams[0].samplerate
    assert (rate, library.streams[0].channels) == taken
    seconds = 2.0
    tone = 0.5 * np.sin(2 * np.pi * 440 * np.arange(round(seconds * rate)) / rate)
    library.give(tone)
    count = int(seconds / module.BLOCK_S) - 1
    heard = read(microphone, count)
    held_back = count * library.streams[0].blocksize / rate - len(heard) / RATE
    assert 0.0 <= held_back < 0.15
    middle = heard[RATE // 4:RATE // 4 + RATE]
    spectrum = np.abs(np.fft.rfft(middle))
    assert spectrum.argmax() == 440, "the pitch is the same"
    assert np.abs(middle).max() == pytest.approx(0.5, abs=0.02), "and the level"


def test_what_nobody_takes_in_time_is_counted():
    library = Library()
    microphone = Microphone(library)
    microphone.open()
    library.give(np.zeros(round((module.WAITING_S + 1.0) * RATE)))
    assert microphone.dropped == pytest.approx(1.0 / module.BLOCK_S, abs=1)
    before = microphone.dropped
    library.give(np.zeros(100), overflow=True)
    assert microphone.dropped >= before + 1, "and what the device itself lost"


@pytest.mark.parametrize("device", [None, "headset", 3])
def test_no_microphone_is_one_sentence_with_a_next_step(device):
    with pytest.raises(SoundError, match="no microphone") as caught:
        Microphone(Library(fault="Error querying device -1"), device).open()
    assert "--list-devices" in str(caught.value) and "\n" not in str(caught.value)


def test_a_device_that_ends_or_falls_silent_is_lost_and_can_be_opened_again(monkeypatch):
    library = Library()
    microphone = Microphone(library)
    microphone.open()
    library.give(np.ones(512))
    blocks = microphone.blocks()
    assert len(next(blocks).samples) == 512
    assert next(blocks) is None, "a moment without sound is no loss"
    library.streams[-1].active = False
    with pytest.raises(SoundError, match="microphone lost"):
        next(blocks)
    microphone.close()
    microphone.close()
    microphone.open()
    monkeypatch.setattr(module, "STALLED_S", 0.1)
    with pytest.raises(SoundError, match="gave no sound"):
        list(microphone.blocks())


# --- the ear ---


class Scene:
    """An ear whose detector takes loud for speech, with the voice sounding from when to when [s]."""

    def __init__(self, voice=()):
        self.voice = voice
        detector = lambda chunk: float(np.abs(chunk).max() > 0.1)  # noqa: E731
        self.ear = Ear(Segmenter(SpeechGate(detector)), self.during if voice is not None else None)
        self.now = 100.0
        self.caught, self.listening = [], []

    def during(self, since, until):
        return tuple(words for a, b, words in self.voice if 100 + a <= until and 100 + b >= since)

    def hear(self, *speech, seconds):
        """`speech`: (from, until) of everything that is loud at the microphone."""
        for n in range(round(seconds / CHUNK_S)):
            t = n * CHUNK_S
            loud = any(a <= t < b for a, b in speech)
            self.now += CHUNK_S
            self.caught += self.ear.push(np.full(CHUNK, 0.5 if loud else 0.0, np.float32), self.now)
            self.listening.append((t, self.ear.listening))
        return [(round(one.began - 100, 1), round(one.ended - 100, 1), one.over) for one in self.caught]


def test_speech_away_from_the_voice_is_not_over_it():
    assert Scene().hear((1.0, 2.0), seconds=4) == [(1.0, 2.0, ())]
    assert Scene([(3.0, 4.0, "Wind west.")]).hear((1.0, 2.0), seconds=6) == [(1.0, 2.0, ())]


@pytest.mark.parametrize("delay", [0.0, 0.1, 0.35])
def test_the_sound_of_the_voice_is_known_for_its_own_however_late_it_comes(delay):
    scene = Scene([(1.0, 2.5, "Heard: rafters. Affirm?")])
    # Two sentences with a pause in which the gate does not close, and the last word late.
    found = scene.hear((1.0 + delay, 1.8 + delay), (2.1 + delay, 2.5 + delay), seconds=5)
    assert found and all(over == ("Heard: rafters. Affirm?",) for _, _, over in found)
    assert not any(on for _, on in scene.listening), "the voice is not held back by itself"


def test_an_answer_right_after_the_voice_is_a_stretch_of_its_own():
    scene = Scene([(1.0, 2.0, "Affirm?")])
    found = scene.hear((1.1, 2.1), (2.5, 3.1), seconds=5)
    assert found == [(1.1, 2.1, ("Affirm?",)), (2.5, 3.1, ())]


def test_who_speaks_on_over_the_voice_is_over_it_to_the_end():
    found = Scene([(1.0, 2.0, "Affirm?")]).hear((0.5, 2.7), seconds=5)
    assert found == [(0.5, 2.7, ("Affirm?",))]


def test_a_long_reply_is_heard_in_pieces_so_that_stop_talking_need_not_wait_for_its_end():
    found = Scene([(1.0, 9.0, "Long.")]).hear((1.0, 9.0), seconds=11)
    assert len(found) >= 3 and all(over == ("Long.",) for _, _, over in found)
    assert all(ended - began <= 2.6 for began, ended, _ in found)


def test_with_an_earpiece_nothing_is_over_the_voice():
    assert Scene(None).hear((1.0, 2.0), seconds=4) == [(1.0, 2.0, ())]


def test_cut_ends_a_stretch_at_once_and_the_next_one_is_whole():
    scene = Scene()
    scene.hear((0.5, 9.0), seconds=2)
    cut = scene.ear.cut()
    assert len(cut) == 1 and round(cut[0].began - 100, 1) == 0.5 and round(cut[0].ended - 100, 1) == 2.0
    assert scene.ear.cut() == []
