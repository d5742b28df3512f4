"""The player without a sound card, and the files of spoken replies."""

from __future__ import annotations

import json
import sys
import wave

import numpy as np
import pytest
from waiting import rms

from fieldaid.errors import SpeakingError
from fieldaid.speaking import spoken
from fieldaid.speaking.player import Player
from fieldaid.speaking.recording import Recording
from fieldaid.speaking.speaker import Speaker
from fieldaid.speaking.tone import attention

# --- the player without a sound card ---


def test_a_missing_sound_library_is_one_sentence(monkeypatch):
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)
    monkeypatch.setattr("ctypes.util.find_library", lambda name: None)
    player = Player()
    for _ in range(2):
        with pytest.raises(SpeakingError, match="PortAudio library not found") as caught:
            player.play(np.zeros(10, np.float32), 22050)
        assert "libportaudio2" in caught.value.next_step and "\n" not in str(caught.value)
    monkeypatch.delitem(sys.modules, "sounddevice", raising=False)


def test_a_device_that_does_not_exist_is_one_sentence():
    pytest.importorskip("sounddevice", reason="sounddevice or PortAudio is not installed", exc_type=OSError)
    with pytest.raises(SpeakingError, match="no such loudspeaker"):
        Player(device="no such loudspeaker").play(np.zeros(10, np.float32), 22050)


def test_stopping_a_player_that_plays_nothing_does_nothing():
    Player().stop()


# --- files ---


def test_a_recording_is_16_bit_mono_numbered_and_indexed(tmp_path):
    recording = Recording(tmp_path / "new" / "folder")
    samples = np.linspace(-1.2, 1.2, 2205, dtype=np.float32)
    first = recording.add("leave", "Leave, C.", "Leave, Charlie.", samples, 22050)
    second = recording.add("note", "é", "é", samples, 22050, stem="../clip 07.wav")
    assert (first.name, second.name) == ("0001-leave.wav", "clip_07-0002-note.wav")
    with wave.open(str(first)) as sound:
        assert (sound.getnchannels(), sound.getsampwidth(), sound.getframerate()) == (1, 2, 22050)
        data = np.frombuffer(sound.readframes(sound.getnframes()), "<i2")
    assert data[0] == -32768 and data[-1] == 32767 and len(data) == 2205
    entries = [json.loads(line) for line in (first.parent / "spoken.jsonl").read_text("utf-8").splitlines()]
    assert entries[0] == {"file": "0001-leave.wav", "kind": "leave", "text": "Leave, C.",
                          "spoken": "Leave, Charlie."}
    again = Recording(first.parent).add("stop", "Hold.", "Hold.", samples, 22050)
    assert again.name == "0003-stop.wav"


def test_a_folder_that_is_a_file_is_refused_at_once(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(SpeakingError, match="cannot be written") as caught:
        Speaker(say_to=tmp_path / "file", play=False)
    assert "file" in caught.value.where and caught.value.next_step


# --- whole: words in, intelligible files out ---


@pytest.fixture(scope="module")
def said(real_voice, tmp_path_factory):
    """The entries of an index of replies spoken by the real engine, each with its samples and rate."""
    folder = tmp_path_factory.mktemp("said")
    speaker = Speaker(say_to=folder, play=False)
    speaker.say([("advice", "No hold reported. C, high. Ladder behind you."),
                 ("leave", "Leave now. Soft deck, C.")])
    speaker.say([("readback", "Roof 15 ft by 50 ft, built 1958."), ("stop", "Stay off: attic not told.")])
    speaker.say([("readback", "Roof 50 ft by 15 ft, built 1958."),
                 ("readback", "Roof 15 ft by 50 ft, built 1915.")])
    speaker.close()
    assert speaker.notices == []
    entries = [json.loads(line) for line in (folder / "spoken.jsonl").read_text("utf-8").splitlines()]
    for entry in entries:
        with wave.open(str(folder / entry["file"])) as sound:
            entry["rate"] = sound.getframerate()
            entry["samples"] = np.frombuffer(sound.readframes(sound.getnframes()), "<i2")
    assert sorted(file.name for file in folder.glob("*.wav")) == [entry["file"] for entry in entries]
    return entries


def test_each_reply_is_a_file_danger_first_and_nothing_is_dropped(said):
    assert [(entry["file"], entry["kind"]) for entry in said] == [
        ("0001-leave.wav", "leave"), ("0002-advice.wav", "advice"), ("0003-stop.wav", "stop"),
        ("0004-readback.wav", "readback"), ("0005-readback.wav", "readback"),
        ("0006-readback.wav", "readback")]
    assert said[3]["spoken"] == "Roof one five feet by five zero feet, built nineteen five eight."


def test_the_files_are_loud_and_as_long_as_estimated(said):
    for entry in said:
        tone = len(attention(entry["kind"], entry["rate"])) / entry["rate"]
        words = entry["samples"][round((tone + 0.1 if tone else 0) * entry["rate"]):] / 32768
        assert rms(words) > 0.04, entry["file"]
        assert np.abs(words).max() == pytest.approx(0.9, abs=0.01)
        assert len(words) / entry["rate"] == pytest.approx(spoken.seconds(entry["text"]), rel=0.25, abs=0.35)


CANDIDATES = [
    "leave now soft deck charlie", "leave now soft deck delta", "leave now water lost", "come down now",
    "stay off attic not told", "stay off framing not told", "hold cut water not told",
    "no hold reported charlie high ladder behind you", "no bar reported your decision",
    "roof one five feet by five zero feet built nineteen five eight",
    "roof five zero feet by one five feet built nineteen five eight",
    "roof one five feet by five zero feet built nineteen one five",
    "roof five zero feet by five zero feet built nineteen five eight",
]


@pytest.mark.parametrize("number", range(6))
def test_what_was_written_is_understood_by_an_independent_recogniser(said, number):
    """pocketsphinx, with thirteen near lines to choose from, hears the one that was said."""
    pocketsphinx = pytest.importorskip("pocketsphinx")
    import soxr

    entry = said[number]
    skip = len(attention(entry["kind"], entry["rate"]))
    sound = soxr.resample(entry["samples"][skip:].astype(np.float32) / 32768, entry["rate"], 16000)
    padded = np.concatenate([np.zeros(8000), sound, np.zeros(8000)])
    padded += np.random.default_rng(1).normal(0, 0.001, len(padded))  # it hears nothing after digital silence
    decoder = pocketsphinx.Decoder(lm=None, samprate=16000, loglevel="FATAL")
    lines = " | ".join(CANDIDATES)
    decoder.add_jsgf_string("lines", f"#JSGF V1.0;\ngrammar lines;\npublic <line> = {lines};")
    decoder.activate_search("lines")
    decoder.start_utt()
    decoder.process_raw((padded * 20000).astype("<i2").tobytes(), False, True)
    decoder.end_utt()
    heard = decoder.hyp()
    plain = "".join(sign for sign in entry["spoken"].lower() if sign.isalpha() or sign == " ")
    assert heard is not None and heard.hypstr == plain
