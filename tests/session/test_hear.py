"""`fieldaid hear`: the same answers from sound. Clips and expected facts: demo_audio/clips.yaml (invented data)."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import time
import wave

import pytest

from fieldaid import data
from fieldaid.session.journal import read_only

CLIPS = data.folder("demo_audio")
MORE = {"file", "heard", "figures", "recogniser", "ms"}


def environment(tmp_path):
    return {**os.environ, "FIELDAID_HOME": str(tmp_path / "home")}


def hear(tmp_path, *arguments) -> subprocess.CompletedProcess:
    return subprocess.run([sys.executable, "-m", "fieldaid", "hear", *map(str, arguments)], capture_output=True,
                          text=True, env=environment(tmp_path), timeout=180)


def answers(done) -> list[dict]:
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_a_recording_becomes_facts_and_replies_and_spoken_words(tmp_path):
    done = hear(tmp_path, CLIPS / "01_gable.flac", CLIPS / "15_wind_west.flac", "--json", "--one-session",
                "--say-to", tmp_path / "said")
    assert done.returncode == 0, done.stderr
    found = answers(done)
    assert len(found) >= 2
    for answer in found:
        assert MORE <= set(answer)
        assert {"gate", "decode", "guidance", "speech"} <= set(answer["ms"])
        assert all(isinstance(value, float) for value in answer["ms"].values())
    picture = found[-1]["picture"]
    assert picture["roof.form"] == "gable" and picture["roof.ridge_runs"] == "B-D" and picture["wind.from"] == "west"
    spoken = sorted((tmp_path / "said").glob("*.wav"))
    assert spoken
    with wave.open(str(spoken[0])) as sound:
        assert sound.getnframes() > sound.getframerate() // 4


def test_each_file_is_a_session_of_its_own(tmp_path):
    found = answers(hear(tmp_path, CLIPS / "01_gable.flac", CLIPS / "15_wind_west.flac", "--json"))
    assert "roof.form" not in found[-1]["picture"]


def test_what_is_not_sound_gets_one_message_and_the_others_go_on(tmp_path):
    (tmp_path / "notes.wav").write_text("this is not sound", encoding="utf-8")
    (tmp_path / "empty.wav").write_bytes(b"")
    done = hear(tmp_path, tmp_path / "notes.wav", CLIPS / "15_wind_west.flac", tmp_path / "empty.wav",
                tmp_path / "none.wav", tmp_path, "--json")
    assert done.returncode == 1
    messages = done.stderr.splitlines()
    assert len(messages) == 4 and all(line.startswith("fieldaid: ") for line in messages)
    assert [answer["file"].endswith("15_wind_west.flac") for answer in answers(done)] == [True]


def test_silence_is_answered_once_and_takes_nothing(tmp_path):
    with wave.open(str(tmp_path / "silence.wav"), "wb") as sound:
        sound.setnchannels(1)
        sound.setsampwidth(2)
        sound.setframerate(8000)
        sound.writeframes(b"\0\0" * 16000)
    found = answers(hear(tmp_path, tmp_path / "silence.wav", "--json"))
    assert len(found) == 1 and found[0]["meant"] == {} and found[0]["result"] == "not understood"
    assert "No speech" in " ".join(reply["text"] for reply in found[0]["replies"])


@pytest.mark.parametrize("name", ["51_other_water.flac", "54_other_lunch.flac"])
def test_speech_outside_the_grammar_becomes_no_fact(tmp_path, name):
    for answer in answers(hear(tmp_path, CLIPS / name, "--json")):
        assert answer["taken"] == {} and answer["picture"] == {}


def test_with_the_call_sign_required_other_talk_is_no_message(tmp_path):
    found = answers(hear(tmp_path, CLIPS / "15_wind_west.flac", CLIPS / "37_soft.flac", "--json", "--call-sign"))
    assert found[0]["picture"].get("wind.from") == "west", "the call sign opens this message"


def test_a_kill_while_hearing_loses_nothing_that_was_acknowledged(tmp_path):
    """SIGKILL at several moments of the long recording; the journal holds every utterance whose answer was written."""
    for round_ in range(3):
        journal = tmp_path / f"{round_}.journal"
        process = subprocess.Popen(
            [sys.executable, "-m", "fieldaid", "hear", "--json", "--journal", str(journal),
             str(CLIPS / "scenario.flac")], stdout=subprocess.PIPE, text=True, env=environment(tmp_path))
        lines = [process.stdout.readline() for _ in range(1 + round_)]
        time.sleep(0.05 * round_)
        process.send_signal(signal.SIGKILL)
        lines += process.stdout.readlines()
        process.wait()
        process.stdout.close()
        acknowledged = [json.loads(line) for line in lines if line.endswith("\n")]
        kept = read_only(journal)
        heard = [event.body["parsed"]["line"] for event in kept.events(kept.open_session().id) if event.kind == "line"]
        kept.close()
        assert acknowledged and [answer["heard"] for answer in acknowledged] == heard[:len(acknowledged)]
