"""The speech worker: with the real engine, and with engines that fail."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading

import numpy as np
import pytest
from waiting import rms, running, within

from fieldaid import clock
from fieldaid.errors import SpeakingError
from fieldaid.speaking import spoken
from fieldaid.speaking.voice import WORKER, Voice

# --- the voice with the real engine ---

UNMEASURED = [  # lines that had no part in fitting the estimate
    "Ladder moved to the Delta side.", "Backing out. Hold the opening.",
    "Chimney fire, one story, plank deck.",
    "Wind has shifted, now from the north.", "Say again the pitch.", "Leave now. Crew is ordered off.",
    "Three members, masks on, in contact.", "Skylight near the ridge, Bravo. Wires on Alpha.",
    "Use the windows and the fan instead.", "Bowstring roof. Stay off.",
]


@pytest.mark.parametrize("line", UNMEASURED)
def test_real_speech_has_sound_and_takes_about_the_estimated_time(real_voice, line):
    samples, rate = real_voice.synthesise(line)
    assert samples.dtype == np.float32 and samples.ndim == 1 and rate >= 16000
    assert rms(samples) > 0.02 and np.abs(samples).max() <= 1.0
    assert len(samples) / rate == pytest.approx(spoken.seconds(line), rel=0.25, abs=0.35)


def test_a_slower_rate_takes_longer_from_the_first_line_on(real_voice):
    slow = Voice(rate=130)
    try:
        for line in ("Leave now. Soft deck, Charlie.", "Need: crew, ways off, deck."):
            fast_samples, rate = real_voice.synthesise(line)
            slow_samples, _ = slow.synthesise(line)
            assert len(slow_samples) > 1.2 * len(fast_samples)
            assert len(slow_samples) / rate == pytest.approx(spoken.seconds(line, 130), rel=0.3)
    finally:
        slow.close()


def test_nothing_to_say_is_no_sound_and_no_error(real_voice):
    samples, _ = real_voice.synthesise("  ")
    assert samples.size == 0


def test_a_worker_killed_between_lines_is_replaced(real_voice):
    before = real_voice.pid
    os.kill(before, signal.SIGKILL)
    samples, _ = real_voice.synthesise("Backing out. Hold.")
    assert samples.size and real_voice.pid not in (None, before) and not real_voice.given_up


def test_the_worker_ends_by_itself_when_its_parent_is_gone_and_leaves_no_files(real_voice, tmp_path):
    script = ("import pathlib, sys; from fieldaid.speaking.voice import Voice\n"
              "voice = Voice(folder=pathlib.Path(sys.argv[1])); voice.synthesise('one')\n"
              "print(voice.pid, flush=True); sys.stdin.read()")
    with subprocess.Popen([sys.executable, "-c", script, str(tmp_path)], stdin=subprocess.PIPE,
                          stdout=subprocess.PIPE, cwd=WORKER.parents[2]) as parent:
        worker = int(parent.stdout.readline())
        assert running(worker) and len(list(tmp_path.iterdir())) == 1
        parent.kill()
    assert within(5, lambda: not running(worker)) and not list(tmp_path.iterdir())


def test_a_full_disk_is_reported_and_does_not_hang_the_worker(real_voice):
    """/dev/full fails each write with "no space left": inside pyttsx3 that happens in a C callback."""
    with subprocess.Popen([sys.executable, "-P", str(WORKER), "190", "en-us"], stdin=subprocess.PIPE,
                          stdout=subprocess.PIPE, stderr=subprocess.DEVNULL) as worker:
        assert json.loads(worker.stdout.readline()) == {"ready": True}
        worker.stdin.write(b'{"id": 7, "text": "Leave now.", "file": "/dev/full"}\n')
        worker.stdin.flush()
        answer = json.loads(worker.stdout.readline())
        assert answer["id"] == 7 and "No space left" in answer["failed"]
        assert worker.wait(5) == 1


# --- the voice with an engine that fails ---

ENGINE = '''
import os, signal, time, wave
from pathlib import Path

class Engine:
    def setProperty(self, name, value): pass
    def getProperty(self, name): return ""
    def connect(self, topic, callback): self.callback = callback
    def save_to_file(self, text, file): self.text, self.file = text, file
    def runAndWait(self):
        {fault}
        with wave.open(self.file, "wb") as sound:
            sound.setnchannels(1); sound.setsampwidth(2); sound.setframerate(22050)
            sound.writeframes(b"\\x00\\x10" * 2205)

def first_time():
    mark = Path(__file__).with_name("mark")
    try:
        mark.touch(exist_ok=False)
    except FileExistsError:
        return False
    return True

def init(): return Engine()
'''


@pytest.fixture
def failing(tmp_path):
    """A maker of voices whose pyttsx3 is one of our own, with `fault` in the middle of each line."""
    voices = []

    def make(fault: str = "pass", module: str | None = None, **options) -> Voice:
        place = tmp_path / "engine"
        place.mkdir(exist_ok=True)
        (place / "pyttsx3.py").write_text(module if module is not None else ENGINE.format(fault=fault))
        options = {"line_timeout": 0.5, "start_timeout": 5.0, **options}
        voices.append(Voice(environment={**os.environ, "PYTHONPATH": str(place)}, **options))
        return voices[-1]

    yield make
    for voice in voices:
        voice.close()


KILL = "os.kill(os.getpid(), signal.SIGKILL)"
FAULTS = {
    "killed in mid-sentence": (KILL, "died"),
    "hung": ("time.sleep(60)", "hung"),
    "disk full": ("raise OSError(28, 'No space left on device')", "No space left"),
    "no file written": ("return", "No such file"),
    "an empty file": ("open(self.file, 'wb').close(); return", "no sound"),
    "not a sound file": ("open(self.file, 'wb').write(b'x' * 100); return", "cannot be read"),
    "silence": ("w = wave.open(self.file, 'wb'); w.setparams((1, 2, 22050, 0, 'NONE', '')); "
                "w.writeframes(bytes(4410)); w.close(); return", "silence"),
    "reported by the engine": ("self.callback('error', ValueError('voice broke')); return", "voice broke"),
    "leaves the process": ("os._exit(0)", "died"),
}


@pytest.mark.parametrize("fault", FAULTS)
def test_one_fault_costs_nothing_the_line_is_made_by_the_next_worker(failing, fault):
    voice = failing(f"if first_time(): {FAULTS[fault][0]}")
    samples, rate = voice.synthesise("Leave now.")
    assert samples.size and rate == 22050 and not voice.given_up


@pytest.mark.parametrize("fault", FAULTS)
def test_a_lasting_fault_gives_the_voice_up_with_its_reason_after_the_restarts(failing, fault):
    voice = failing(FAULTS[fault][0], restarts=3)
    watch = clock.Stopwatch()
    for _ in range(2):
        with pytest.raises(SpeakingError, match=FAULTS[fault][1]):
            voice.synthesise("Leave now.")
    assert FAULTS[fault][1] in voice.given_up and "4 times in a row" in voice.given_up
    assert watch.ms() < 20_000
    watch.lap()
    with pytest.raises(SpeakingError, match="no voice"):
        voice.synthesise("Leave now.")
    assert watch.ms() < 100 and voice.pid is None


def test_faults_that_are_not_in_a_row_do_not_add_up(failing):
    voice = failing(f"if 'break' in self.text: {KILL}", restarts=3)
    for _ in range(4):
        with pytest.raises(SpeakingError, match="was not spoken"):
            voice.synthesise("break this one")
        assert voice.synthesise("Leave now.")[0].size
    assert not voice.given_up


@pytest.mark.parametrize(("module", "why"), [
    ("raise ImportError('No module named pyttsx3')", "pyttsx3 cannot be imported"),
    ("def init(): raise RuntimeError('no eSpeak here')", "espeak-ng is not installed"),
    ("def init(): raise OSError('libespeak-ng.so.1: cannot open')", "espeak-ng is not installed"),
])
def test_a_missing_engine_is_given_up_at_once(failing, module, why):
    voice = failing(module=module)
    with pytest.raises(SpeakingError, match=why) as caught:
        voice.synthesise("Leave now.")
    assert why in voice.given_up and "espeak-ng" in caught.value.next_step
    assert "Traceback" not in str(caught.value) and "\n" not in str(caught.value)


def test_the_real_pyttsx3_without_the_espeak_library_is_given_up_at_once(tmp_path):
    (tmp_path / "sitecustomize.py").write_text(
        "import ctypes\nload = ctypes.LibraryLoader.LoadLibrary\n"
        "def without_espeak(self, name):\n"
        "    if 'speak' in str(name).lower(): raise OSError(f'{name}: cannot open shared object file')\n"
        "    return load(self, name)\n"
        "ctypes.LibraryLoader.LoadLibrary = without_espeak\n")
    voice = Voice(environment={**os.environ, "PYTHONPATH": str(tmp_path)})
    with pytest.raises(SpeakingError, match="no voice"):
        voice.start()
    assert "espeak" in voice.given_up.lower()
    voice.close()


def test_a_worker_that_never_gets_ready_is_given_up_in_time(failing):
    voice = failing(module="import time; time.sleep(60)", start_timeout=0.3, restarts=1)
    watch = clock.Stopwatch()
    with pytest.raises(SpeakingError, match="hung"):
        voice.synthesise("Leave now.")
    assert voice.given_up and watch.ms() < 5_000


def test_a_worker_program_that_does_not_exist_is_one_clear_sentence(tmp_path):
    voice = Voice(command=[str(tmp_path / "no-such-program")])
    with pytest.raises(SpeakingError, match="cannot be started"):
        voice.synthesise("Leave now.")
    assert voice.given_up


def test_a_folder_that_cannot_be_written_to_is_named(failing, tmp_path):
    """A file in the folder's place: unlike a permission, it stops the superuser too."""
    blocked = tmp_path / "file"
    blocked.write_text("")
    voice = failing(folder=blocked)
    with pytest.raises(SpeakingError, match="no folder for sound files"):
        voice.synthesise("Leave now.")


def test_the_workers_folder_is_made_again_when_swept_away_and_removed_at_the_end(failing, tmp_path):
    place = tmp_path / "sounds"
    place.mkdir()
    voice = failing(folder=place)
    voice.synthesise("Leave now.")
    (made,) = place.iterdir()
    assert not list(made.iterdir())
    made.rmdir()
    assert voice.synthesise("Leave now.")[0].size
    voice.close()
    assert not list(place.iterdir())


def test_a_line_too_long_for_the_pipe_is_refused(failing):
    with pytest.raises(SpeakingError, match="too long"):
        failing().synthesise("deck " * 20_000)


def test_closing_ends_a_hung_line_in_another_thread(failing):
    voice = failing("time.sleep(60)", line_timeout=30.0)
    caught: list[Exception] = []

    def speak():
        try:
            voice.synthesise("Leave now.")
        except SpeakingError as error:
            caught.append(error)

    thread = threading.Thread(target=speak)
    thread.start()
    assert within(5, lambda: voice.pid is not None)
    voice.close()
    thread.join(5)
    assert not thread.is_alive() and caught


def test_many_threads_share_one_voice(failing):
    voice = failing()
    made = []
    threads = [threading.Thread(target=lambda: made.append(voice.synthesise("one"))) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(10)
    assert len(made) == 8
