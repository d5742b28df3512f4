"""`fieldaid talk` as its user runs it: a process, a microphone, a loudspeaker, all of it through PortAudio.

The devices are virtual (see virtual_sound.py), the voices synthetic. What the loudspeaker gave is compared with what
espeak-ng makes of the expected words: `likeness` was 0.992 and more for the same words, 0.964 at most for words that
differ in one. No test waits for a time to pass or fail; bench_talk.py has the times.
"""

from __future__ import annotations

import contextlib
import json
import re
import signal
import sqlite3
import subprocess
import sys
import threading
import time
from pathlib import Path

import numpy as np
import pytest
import soxr
from one_at_a_time import sound_devices
from sound_likeness import likeness
from virtual_sound import SPEAKER_RATE, Recorder, VirtualSound, clip, missing_programs, spoken

from fieldaid.speaking.speaker import LEVEL
from fieldaid.speaking.spoken import spoken_form
from fieldaid.speaking.voice import Voice

pytestmark = pytest.mark.slow
SAME_WORDS = 0.98
# A busy machine may take minutes to load the recognisers; nothing is judged by these.
READY_S, PATIENCE_S, AGAIN_S = 240.0, 90.0, 20.0


@pytest.fixture(scope="module")
def sound(tmp_path_factory):
    missing = missing_programs()
    if missing:
        pytest.skip(f"pulseaudio is not installed ({', '.join(missing)} not found)")
    with sound_devices():
        made = VirtualSound(tmp_path_factory.mktemp("sound"))
        yield made
        made.stop()


@pytest.fixture(scope="module")
def voice():
    with_words = Voice()
    yield lambda text: at_level(soxr.resample(*_at_rate(with_words.synthesise(spoken_form(text)))))
    with_words.close()


def at_level(samples):
    """As loud as the tool makes its replies."""
    return samples * (LEVEL / np.abs(samples).max())


def _at_rate(made):
    samples, rate = made
    return samples, rate, SPEAKER_RATE


class Talk:
    """A running `fieldaid talk`."""

    def __init__(self, sound: VirtualSound, journal: Path, *options: str) -> None:
        self.sound, self.journal, self.lines = sound, journal, []
        self.process = subprocess.Popen(
            [sys.executable, "-m", "fieldaid", "talk", "--journal", str(journal), *options], env=sound.environment,
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=subprocess.STDOUT, text=True)
        self._reader = threading.Thread(target=self._read, daemon=True)
        self._reader.start()

    def _read(self) -> None:
        for line in self.process.stdout:
            self.lines.append(line.rstrip("\n"))

    @property
    def screen(self) -> str:
        return "\n".join(self.lines)

    def wait(self, text: str, seconds: float = PATIENCE_S, since: int = 0) -> None:
        end = time.monotonic() + seconds
        while not any(re.search(text, line) for line in self.lines[since:]):
            assert self._reader.is_alive(), self.screen
            assert time.monotonic() < end, f"{text!r} did not come:\n{self.screen}"
            time.sleep(0.05)

    def say(self, what: str | np.ndarray, expect: str) -> None:
        """Says a demo recording (a name) or samples, and waits for a line of the screen that holds `expect`.

        Said again like a person would, up to three times: a busy machine loses sound.
        """
        at = len(self.lines)
        for left in (2, 1, 0):
            self.sound.say(clip(what) if isinstance(what, str) else what)
            try:
                return self.wait(expect, PATIENCE_S if not left else AGAIN_S, since=at)
            except AssertionError:
                if not left or self.process.poll() is not None:
                    raise

    def say_and_hear(self, speaker: Recorder, what: str | np.ndarray, expect: str) -> None:
        """`say`, then waits until the answer has sounded to its end. A line of the screen comes before its sound: who
        spoke again at once would speak into the answer."""
        began = time.perf_counter()
        self.say(what, expect)
        sounds_after(speaker, began)
        quiet_after(speaker)

    def say_between_bursts(self, speaker: Recorder, what: np.ndarray, expect: str) -> None:
        """Says it in the gap after a leave-now, as a person would: said over a burst it is asked for again."""
        for left in (3, 2, 1, 0):
            at = len(self.lines)
            sounds_after(speaker, time.perf_counter())
            quiet_after(speaker, 1.0)
            self.sound.say(what)
            try:
                return self.wait(expect, AGAIN_S, since=at)
            except AssertionError:
                if not left or self.process.poll() is not None:
                    raise

    def end(self) -> int:
        """The end of its input; returns the exit code."""
        self.process.stdin.close()
        code = self.process.wait(60)
        self._reader.join(5)
        return code

    def close(self) -> None:
        if self.process.poll() is None:
            self.process.kill()
            self.process.wait()
        self._reader.join(5)
        self.process.stdout.close()
        if not self.process.stdin.closed:
            self.process.stdin.close()

    def events(self, kind: str) -> list[dict]:
        with contextlib.closing(sqlite3.connect(self.journal)) as journal:
            return [json.loads(body) for body, in journal.execute("SELECT body FROM events WHERE kind = ?", (kind,))]

    def closed(self) -> list[bool]:
        with contextlib.closing(sqlite3.connect(self.journal)) as journal:
            return [bool(closed) for closed, in journal.execute("SELECT closed IS NOT NULL FROM sessions")]

    def heard(self) -> list[str]:
        """The lines that counted as messages, in order, without the commas that one recogniser writes."""
        return [body["parsed"]["line"].replace(",", "") for body in self.events("line") if not body["ignored"]]


@pytest.fixture
def start(sound):
    """Starts talks; what a failed test leaves running is ended."""
    made: list[Talk] = []

    def begin(journal: Path, *options: str) -> Talk:
        made.append(Talk(sound, journal, *options))
        made[-1].wait("Listening on", READY_S)
        return made[-1]

    yield begin
    for one in made:
        one.close()


def quiet_after(recorder: Recorder, seconds: float = 1.5) -> None:
    """Waits until the loudspeaker has been silent for `seconds`."""
    end = time.monotonic() + PATIENCE_S
    while time.monotonic() < end:
        last = recorder.samples[-round(seconds * SPEAKER_RATE):]
        if len(last) == round(seconds * SPEAKER_RATE) and np.abs(last).max() < 0.02:
            return
        time.sleep(0.1)
    raise AssertionError("the loudspeaker was never silent")


def sounds_after(recorder: Recorder, moment: float) -> None:
    """Waits until the loudspeaker has sounded after `moment`."""
    end = time.monotonic() + PATIENCE_S
    while not np.abs(recorder.since(moment)).max(initial=0.0) > 0.02:
        assert time.monotonic() < end, "the loudspeaker stayed silent"
        time.sleep(0.02)


def test_likeness_finds_words_said_slower_between_others(voice):
    """It is tried on sound of known content: the words with a pause in them, then others."""
    words, others = voice("Framing: rafters."), voice("Leave now. Soft deck.")
    slower = np.concatenate([words[:len(words) // 2], np.zeros(SPEAKER_RATE // 10), words[len(words) // 2:]])
    heard = np.concatenate([np.zeros(9000), slower, np.zeros(9000), others])
    assert likeness(heard, words) > SAME_WORDS
    assert likeness(others, words) < 0.8 and likeness(np.zeros(90_000), words) < 0.8
    assert likeness(voice("Framing: trusses."), words) < SAME_WORDS


def test_a_short_scenario_from_microphone_to_loudspeaker(sound, start, voice, tmp_path):
    talk = start(tmp_path / "a.journal")
    with sound.record() as speaker:
        talk.say_and_hear(speaker, "15_wind_west.flac", "Wind west")
        talk.say_and_hear(speaker, "05_rafters.flac", "Heard: framing: rafters")
        talk.say_and_hear(speaker, spoken("Affirm."), "Affirmed")
        talk.say("54_other_lunch.flac", "not understood|No call sign")
        talk.say_and_hear(speaker, spoken("Soft on Charlie!"), "!! Leave now. Soft deck, C")
        talk.say_and_hear(speaker, spoken("Leaving."), "Leaving heard")
    assert talk.end() == 0, talk.screen
    heard = speaker.samples
    assert len(speaker.sounds()) >= 5, "each answer sounded"
    for words in ("Wind west.", "Heard: framing: rafters. Affirm?", "Affirmed.", "Leave now. Soft deck, C.",
                  "Leaving heard. Say off the roof."):
        assert likeness(heard, voice(words)) > SAME_WORDS, words
    for words in ("Wind east.", "Heard: framing: trusses. Affirm?", "Not understood. Nothing taken. Say again?"):
        assert likeness(heard, voice(words)) < SAME_WORDS, words
    assert talk.closed() == [True]
    taken = {one["name"]: one["value"] for body in talk.events("line") if not body["ignored"]
             for one in body["parsed"]["readings"]}
    assert taken == {"wind.from": "west", "roof.framing": "rafters", "deck.C": "soft"}
    times = [body["ms"] for body in talk.events("times")]
    stages = {"gate", "wait", "decode", "guidance", "journal", "speech", "end_to_speech"}
    assert len(times) >= 5 and sum(set(one) == stages for one in times) >= 5
    for one in times:
        if "end_to_speech" in one:
            # The gate waits 0.45 s for more speech; the whole is never less than its parts.
            assert one["gate"] >= 400
            assert one["end_to_speech"] >= one["gate"] + one["decode"] + one["guidance"]
    assert "Expression" not in talk.screen and "Traceback" not in talk.screen


def test_stop_talking_silences_it_in_the_middle_of_a_reply(sound, start, voice, tmp_path):
    talk = start(tmp_path / "b.journal")
    with sound.record() as speaker:
        talk.say_and_hear(speaker, "05_rafters.flac", "Heard: framing")
        asked = len(talk.lines)
        # "Status" is the longest answer that can be asked for: four lines, nine seconds and more.
        began = time.perf_counter()
        talk.say(spoken("Field aid, status."), "Waits for affirm")
        sounds_after(speaker, began)
        talk.say(spoken("Stop talking."), "heard: stop talking")
        quiet_after(speaker, 3.0)
    assert talk.end() == 0, talk.screen
    assert talk.heard()[-1] == "stop talking"
    lines = [line.strip() for line in talk.lines[asked:] if line.startswith("   ") and "[" not in line]
    assert len(lines) >= 4 and "Waits for affirm" in lines[-1], lines
    assert likeness(speaker.since(began), voice(lines[0])) > SAME_WORDS, "it began to answer"
    assert likeness(speaker.since(began), voice(lines[-1])) < SAME_WORDS, "and did not come to the end"


def test_its_own_voice_tells_it_nothing_and_a_kill_keeps_the_leave(sound, start, voice, tmp_path):
    talk = start(tmp_path / "c.journal")
    module = ""
    try:
        for latency in (20, 200):
            module = sound.loopback(latency)
            with sound.record() as speaker:
                talk.say_and_hear(speaker, "05_rafters.flac", "Heard: framing: rafters")
                talk.say_and_hear(speaker, "48_need.flac", "Need: ")
            sound.unload(module)
            module = ""
            assert set(talk.heard()) <= {"field aid rafters", "field aid what do you need"}, talk.screen
        assert "Affirmed" not in talk.screen
        module = sound.loopback(20)
        with sound.record() as speaker:
            talk.say(spoken("Affirm."), "Affirmed")
            talk.say(spoken("Soft on Delta!"), "!! Leave now. Soft deck, D")
            ticks = 0
            end = time.monotonic() + PATIENCE_S
            while ticks < 2 and time.monotonic() < end:
                time.sleep(0.5)
                ticks = len(talk.events("tick"))
        assert ticks >= 2, "it says the leave again, and takes none of its own bursts for an answer"
        assert talk.heard()[-2:] == ["affirm", "soft on delta"], talk.screen
    finally:
        if module:
            sound.unload(module)
        talk.process.send_signal(signal.SIGKILL)
        talk.process.wait()
    assert talk.closed() == [False]

    again = start(tmp_path / "c.journal")
    again.wait("!! Leave now. Soft deck, D")
    with sound.record() as speaker:
        before = len(again.events("tick"))
        end = time.monotonic() + PATIENCE_S
        while len(again.events("tick")) == before and time.monotonic() < end:
            time.sleep(0.2)
        quiet_after(speaker)
    assert likeness(speaker.samples, voice("Leave now. Soft deck, D.")) > SAME_WORDS
    sound.stop()
    again.wait("Microphone lost: .* Nothing is heard until it is back; trying again.")
    sound.start()
    again.wait("The microphone is back.")
    with sound.record() as speaker:
        again.say_between_bursts(speaker, spoken("Leaving."), "Leaving heard")
    again.process.send_signal(signal.SIGINT)
    assert again.process.wait(60) == 0, again.screen
    assert again.closed() == [True] and again.screen.count("Microphone lost") == 1
    assert "Expression" not in again.screen and "Traceback" not in again.screen


def test_without_a_loudspeaker_and_with_a_talk_key_it_goes_on_on_the_screen(sound, start, tmp_path):
    talk = start(tmp_path / "d.journal", "--talk-key", "--output-device", "no such loudspeaker")
    talk.wait("No loudspeaker: .*replies are shown only")
    sound.say(clip("15_wind_west.flac"))
    talk.process.stdin.write("\n")
    talk.process.stdin.flush()
    talk.wait("Microphone open")
    talk.say(spoken("Wind from the north."), "Wind north")
    talk.process.stdin.write("\n")
    talk.process.stdin.flush()
    talk.wait("Microphone closed")
    assert talk.end() == 0
    assert talk.screen.count("No loudspeaker") == 1 and talk.closed() == [True]
    assert talk.heard() == ["wind from the north"], "what is said while the key is up is not heard"


def test_without_a_microphone_it_is_one_sentence(sound, tmp_path):
    home = tmp_path / "deaf"
    home.mkdir(mode=0o700)
    environment = {**sound.environment, "HOME": str(home), "XDG_RUNTIME_DIR": str(home)}
    (home / ".asoundrc").write_text((sound.home / ".asoundrc").read_text())
    if Path("/dev/snd").exists():
        pytest.skip("this machine has a sound card, so it cannot show what happens without one")
    for options in ([], ["--device", "no such microphone"], ["--device", "99"]):
        done = subprocess.run([sys.executable, "-m", "fieldaid", "talk", "--journal", str(tmp_path / "e"), *options],
                              env=environment, stdin=subprocess.PIPE, capture_output=True, text=True, timeout=60)
        assert done.returncode == 1 and done.stdout == ""
        assert done.stderr.startswith("fieldaid: no microphone.") and done.stderr.count("\n") == 1, done.stderr
    assert not (tmp_path / "e").exists(), "no session is begun"


def test_the_devices_are_listed_with_the_default_marked(sound):
    done = subprocess.run([sys.executable, "-m", "fieldaid", "talk", "--list-devices"], env=sound.environment,
                          capture_output=True, text=True, timeout=60)
    assert done.returncode == 0
    microphones, loudspeakers = done.stdout.split("Loudspeakers (--output-device):")
    assert microphones.startswith("Microphones (--device):")
    assert "(default)" in microphones and "(default)" in loudspeakers and " pulse, " in microphones
