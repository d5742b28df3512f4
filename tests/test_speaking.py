"""What the voice says, the worker that says it, the tone, the files and the queue.

Numbers H01-H23 name the published sources on noise, tones and machine speech:
H10 MIL-STD-1472E 5.3.3, H11 5.3.4.3.1, H12 5.3.4.3.3-5, H13 5.3.6, H14 MIL-STD-411F 5.3.6, H16 MIL-DTL-87268D
3.3.6.2, H20 hospital alarm study PMC4456276, H22 and H23 design rules derived from them.
"""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
import threading
import wave
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from fieldaid import clock
from fieldaid.errors import SpeakingError, WrongUse
from fieldaid.speaking import figures, spoken
from fieldaid.speaking.cut import Cut
from fieldaid.speaking.player import Player
from fieldaid.speaking.recording import Recording
from fieldaid.speaking.speaker import Speaker
from fieldaid.speaking.tone import PATTERNS, attention
from fieldaid.speaking.voice import WORKER, Voice

# --- words ---


@pytest.mark.parametrize(("shown", "said"), [
    ("Built 1958.", "Built nineteen five eight."),
    ("Built 1915.", "Built nineteen one five."),
    ("1990-1999", "nineteen nine zero to nineteen nine nine"),
    ("a 1970s roof", "a nineteen seven zeros roof"),
    ("Built 2005", "Built two zero zero five"),
    ("4x8 ft", "four by eight feet"),
    ("4' x 8' hole", "four by eight feet hole"),
    ("6'4\" long", "six feet four inches long"),
    ("15 or 50", "one five or five zero"),
    ("Wind W 15 mph, gusts 30 mph", "Wind west one five miles per hour, gusts three zero miles per hour"),
    ("1 mph", "one mile per hour"),
    ("Wind NNW to SE", "Wind north northwest to southeast"),
    ("Pitch 6/12", "Pitch six in twelve"),
    ("6 in 12", "six in twelve"),
    ("16 in o.c.", "one six inches on centre"),
    ("3 in place", "three in place"),
    ("1 1/2 stories", "one and one half stories"),
    ("1,200 sq ft", "one two zero zero square feet"),
    ("2000 ft away", "two thousand feet away"),
    ("1.5 in.", "one point five inches."),
    ("A side", "Alpha side"),
    ("A line is flowing.", "A line is flowing."),
    ("Soft deck, C.", "Soft deck, Charlie."),
    ("BC corner, ridge B-D", "Bravo Charlie corner, ridge Bravo Delta"),
    ("A, B and D", "Alpha, Bravo and Delta"),
    ("C's deck", "Charlie's deck"),
    ("side a", "side Alpha"),
    ("neighbour_B", "neighbour Bravo"),
    ("roof.framing@garage: not told", "roof framing garage: not told"),
    ("E3 and T15", "engine three and truck one five"),
    ("WIND-010", "wind zero one zero"),
    ("2nd floor", "second floor"),
    ("75 %, 40°", "seven five percent, four zero degrees"),
    ("pitch ≥ 3", "pitch at least three"),
    ("At 13:22", "At one three two two"),
    ("crew (3 of 4)", "crew, three of four"),
    ("Hold — “water” not told…", "Hold, water not told."),
])
def test_display_text_becomes_what_is_said(shown, said):
    assert spoken.spoken_form(shown) == said


@pytest.mark.parametrize(("shown", "said"), [
    ("PAR", "personnel accountability report"), ("RIT ready", "rapid intervention team ready"),
    ("OSB deck", "oriented strand board deck"), ("AC unit, side C", "air conditioner, side Charlie"),
])
def test_abbreviations_are_whole_words(shown, said):
    """H16: machine speech says whole words for abbreviations."""
    assert spoken.spoken_form(shown) == said
    assert not spoken.unclear(shown)


def test_every_abbreviation_and_unit_that_is_known_leaves_nothing_unclear():
    for short in spoken.ABBREVIATIONS:
        assert not spoken.unclear(f"see {short} here"), short
    for unit in spoken.UNITS:
        said = spoken.spoken_form(f"3 {unit}")
        assert said == f"three {spoken.UNITS[unit][1]}", unit


def test_an_unknown_abbreviation_and_a_number_word_that_sounds_like_another_are_reported():
    assert "OSHA" in spoken.unclear("OSHA rule")[0]
    assert "fifty" in spoken.unclear("Fifty feet")[0]
    assert not spoken.unclear("Built nineteen five eight")
    assert "nineteen" in spoken.unclear("nineteen feet")[0]


def test_all_counts_to_199_and_years_differ_and_none_uses_a_teen_or_a_ty():
    counts = [figures.number(str(n)) for n in range(200)]
    assert len(set(counts)) == 200
    assert not figures.EASILY_MISHEARD & {word for said in counts for word in said.split()}
    years = [figures.year(str(n)) for n in range(1700, 2100)]
    assert len(set(years)) == 400


@pytest.mark.parametrize(("teen", "ty"), [(10 + n, 10 * n) for n in range(3, 10)])
def test_a_teen_and_its_ty_share_no_sound_but_a_whole_digit(teen, ty):
    teen_said, ty_said = figures.number(str(teen)).split(), figures.number(str(ty)).split()
    assert teen_said[0] == "one" and ty_said[1] == "zero" and teen_said != ty_said


PIECES = st.sampled_from(
    ["A", "B", "C", "D", "AB", "B-D", "side", "slope", "15", "50", "1958", "1990-1999", "4x8 ft", "24 in",
     "o.c.", "mph", "12 mph", "6/12", "6 in 12", "PAR", "OSHA", "N", "SW", "E3", "W", ".", ",", ";", "?", "(",
     ")", "—", "-", "/", "°", "%", "5 %", "1/2", "13:22", "leave now", "deck", "it's", "roof.framing",
     "WIND-010", "2nd",
     "1970s", "\"", "'", "≥", "0.5", "1,200", "#2", "…", "one", "nineteen", "five", "_", "a", "in", "x"])


@given(st.lists(PIECES, max_size=9))
def test_saying_the_spoken_form_again_changes_nothing(pieces):
    said = spoken.spoken_form(" ".join(pieces))
    assert spoken.spoken_form(said) == said


@given(st.lists(PIECES, max_size=9), st.sampled_from([" ", ""]))
def test_no_figure_is_left_to_the_engine(pieces, between):
    assert not any(sign.isdigit() for sign in spoken.spoken_form(between.join(pieces)))


@given(st.text(max_size=60))
def test_no_text_whatever_breaks_the_spoken_form(text):
    assert isinstance(spoken.spoken_form(text), str)
    assert spoken.seconds(text) >= 0


# --- limits of a line ---

SAID_IN_THE_FIELD = [
    ("leave", "Leave now. Soft deck, Charlie."), ("leave", "Leave now. Ordered off the roof."),
    ("stop", "Stay off: attic not told."), ("stop", "Hold cut: water not told."),
    ("readback", "Gable, ridge B-D. 1958. Framing not told."), ("note", "No bar reported. Your decision."),
    ("advice", "No hold reported. C, high. Ladder behind you."),
    ("question", "Need: roof order, wires, surface."),
    ("readback", "Heard: three on air; two ladders; eave solid. Affirm?"),
    ("advice", "Air before water makes the fire grow."), ("caution", "Wind W 15 mph. Work upwind."),
]


@pytest.mark.parametrize(("kind", "line"), SAID_IN_THE_FIELD)
def test_the_lines_of_a_good_day_are_within_the_limits(kind, line):
    """H22: short fixed sentences; at most 7 words or 10, and 4 s, are the product's own figures."""
    assert spoken.over_limit(kind, line) == []


def test_a_line_over_a_limit_is_reported_with_its_figure():
    eight = "Leave now the deck is soft on Charlie"
    assert "8 spoken words, at most 7" in spoken.over_limit("leave", eight)[0]
    assert "8 spoken words, at most 7" in spoken.over_limit("stop", eight)[0]
    assert spoken.over_limit("note", eight) == []
    assert "11 spoken words" in spoken.over_limit("note", "a b c d e f g h i j k".replace("a", "the"))[0]
    slow = "Responsibilities, unquestionably, notwithstanding: accountability; intercommunication."
    assert "at most 4 s" in spoken.over_limit("note", slow)[0]


def test_a_number_counts_as_the_words_that_are_said():
    assert spoken.word_count("15 mph") == 5


# --- tone ---


@pytest.mark.parametrize("kind", list(PATTERNS))
@pytest.mark.parametrize("rate", [16000, 22050, 48000])
def test_the_tone_is_long_enough_and_lies_in_the_preferred_band(kind, rate):
    """H13: at least 0.5 s. H10: 500 to 3,000 Hz preferred."""
    tone = attention(kind, rate)
    assert len(tone) / rate >= 0.5
    power = np.abs(np.fft.rfft(tone)) ** 2
    hertz = np.fft.rfftfreq(len(tone), 1 / rate)
    assert power[(hertz >= 500) & (hertz <= 3000)].sum() / power.sum() > 0.9
    assert np.abs(tone).max() <= 0.95
    assert abs(tone[0]) < 0.01 and abs(tone[-1]) < 0.01
    assert np.abs(np.diff(tone)).max() < 1.0


def test_the_tones_are_few_differ_in_their_first_half_second_and_mark_danger_only():
    """H11: at most four alarm sounds. H12: the first half second is unlike any other signal."""
    assert sorted(PATTERNS) == sorted(spoken.DANGER) and len(PATTERNS) <= 4
    leave, stop = (attention(kind, 22050)[:11025] for kind in ("leave", "stop"))
    spectra = [np.abs(np.fft.rfft(tone)) for tone in (leave, stop)]
    likeness = np.dot(*spectra) / np.prod([np.linalg.norm(spectrum) for spectrum in spectra])
    assert likeness < 0.3
    for kind in set(spoken.KINDS) - set(spoken.DANGER):
        assert attention(kind, 22050).size == 0


# --- the voice with the real engine ---


@pytest.fixture(scope="module")
def real_voice():
    voice = Voice()
    try:
        voice.start()
    except SpeakingError as error:
        pytest.skip(f"espeak-ng is not installed: {error}")
    yield voice
    voice.close()


def rms(samples: np.ndarray) -> float:
    return float(np.sqrt(np.mean(np.square(samples))))


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


def running(pid: int) -> bool:
    try:
        state = Path(f"/proc/{pid}/stat").read_text().rpartition(")")[2].split()[0]
    except OSError:
        return False
    return state not in "ZX"


def within(seconds: float, done) -> bool:
    pause, end = threading.Event(), clock.monotonic() + seconds
    while not done():
        if clock.monotonic() > end:
            return False
        pause.wait(0.01)
    return True


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


# --- the queue, with a voice and a player that only write down what they are told ---


class PaperVoice:
    given_up = ""

    def __init__(self, fault: Exception | None = None):
        self.made, self.fault, self.closed = [], fault, False
        self.go = threading.Event()
        self.go.set()

    def synthesise(self, text):
        self.go.wait(10)
        if self.fault:
            raise self.fault
        self.made.append(text)
        return np.full(2205, 0.5, np.float32), 22050

    def close(self):
        self.closed = True
        self.go.set()


class PaperPlayer:
    """Each sound lasts until it is let go or cut. Tones are told by their length."""

    def __init__(self, fault: Exception | None = None):
        self.sounds, self.cuts, self.fault = [], 0, fault
        self.started = threading.Semaphore(0)
        self.go = threading.Event()
        self.go.set()

    def play(self, samples, rate, cut):
        if self.fault:
            raise self.fault
        self.sounds.append(len(samples))
        self.started.release()
        whole = cut.wait_for(self.go.is_set, 10) if self.go.is_set() else self._wait(cut)
        self.cuts += not whole
        return whole

    def _wait(self, cut):
        return within(10, lambda: cut.is_cut or self.go.is_set()) and not cut.is_cut


@pytest.fixture
def paper():
    voice, player = PaperVoice(), PaperPlayer()
    speaker = Speaker(voice=voice, player=player)
    assert speaker.ready()
    voice.made.clear()
    yield speaker, voice, player
    player.go.set()
    voice.go.set()
    speaker.close()


def test_danger_is_said_first_and_its_tone_before_it(paper):
    speaker, voice, player = paper
    speaker.say([("note", "Noted."), ("stop", "Hold cut."), ("leave", "Leave now. C.")])
    assert speaker.wait(5)
    assert voice.made == ["Leave now. Charlie.", "Hold cut.", "Noted."]
    leave, stop = (len(attention(kind, 22050)) for kind in ("leave", "stop"))
    words = 2205
    gap = 2205  # a tenth of a second between tone and words
    assert player.sounds == [leave, gap + words, stop, gap + words, words]


def test_say_returns_at_once_while_the_voice_hangs(paper):
    speaker, voice, _ = paper
    voice.go.clear()
    took = [speaker.say([("note", f"Number {n}.")]) for n in range(100)]
    assert max(took) < 1000


def test_stop_silences_within_milliseconds_and_drops_routine_lines_but_no_danger(paper):
    speaker, voice, player = paper
    player.go.clear()
    speaker.say([("note", "A long note."), ("advice", "More advice.")])
    assert player.started.acquire(timeout=5)
    watch = clock.Stopwatch()
    speaker.stop()
    assert speaker.wait(5) and player.cuts == 1
    assert watch.ms() < 250
    assert "More advice." not in voice.made


def test_leave_cuts_what_is_said_replaces_what_is_queued_and_is_never_dropped(paper):
    speaker, voice, player = paper
    player.go.clear()
    speaker.say([("note", "First."), ("stop", "Hold.")])
    assert player.started.acquire(timeout=5)
    speaker.say([("advice", "Queued.")])
    speaker.say([("leave", "Leave now. One."), ("note", "With it.")])
    assert within(5, lambda: player.cuts == 1)
    speaker.say([("leave", "Leave now. Two.")])
    speaker.say([("stop", "Hold again.")])
    player.go.set()
    assert speaker.wait(5)
    said = [text for text in voice.made if text not in ("First.", "Hold.")]
    assert said == ["Leave now. One.", "Leave now. Two.", "Hold again."]
    assert player.cuts == 1


def test_a_stop_line_cuts_a_routine_line_and_the_rest_follows(paper):
    speaker, voice, player = paper
    player.go.clear()
    speaker.say([("note", "First."), ("note", "Second.")])
    assert player.started.acquire(timeout=5)
    speaker.say([("stop", "Hold cut.")])
    assert within(5, lambda: player.cuts == 1)
    player.go.set()
    assert speaker.wait(5)
    assert voice.made == ["First.", "Hold cut.", "Second."]


def test_quiet_keeps_routine_lines_silent_and_leave_lines_spoken(paper):
    """H23: silence beats chatter while a saw runs."""
    speaker, voice, _ = paper
    speaker.mute(True)
    speaker.say([("note", "Chatter."), ("leave", "Leave now."), ("stop", "Hold.")])
    assert speaker.wait(5)
    speaker.mute(False)
    speaker.say([("note", "Heard again.")])
    assert speaker.wait(5)
    assert "Chatter." not in voice.made and {"Hold.", "Heard again."} <= set(voice.made)


def test_on_a_mayday_nothing_is_said_and_what_is_said_ends(paper):
    """H23: machine speech never talks over a mayday."""
    speaker, voice, player = paper
    player.go.clear()
    speaker.say([("leave", "Leave now. One.")])
    assert player.started.acquire(timeout=5)
    speaker.say([("leave", "Leave now. Two.")])
    speaker.mute(True, mayday=True)
    speaker.say([("leave", "Leave now. Three.")])
    assert speaker.wait(5) and player.cuts == 1 and len(player.sounds) == 1
    player.go.set()
    speaker.mute(False)
    speaker.say([("leave", "Leave now. Four.")])
    assert speaker.wait(5)
    assert "Leave now. Four." in voice.made and "Leave now. Three." not in voice.made


def test_held_routine_lines_wait_and_danger_does_not(paper):
    speaker, voice, _ = paper
    speaker.hold(True)
    speaker.say([("note", "Later.")])
    speaker.say([("stop", "Hold cut.")])
    assert not speaker.wait(0.3)
    assert voice.made == ["Hold cut."]
    speaker.hold(False)
    assert speaker.wait(5) and voice.made == ["Hold cut.", "Later."]


def test_a_kind_that_does_not_exist_is_refused_by_name(paper):
    with pytest.raises(WrongUse, match="'shout'"):
        paper[0].say([("shout", "Hey.")])


def test_a_repeated_line_is_made_once(paper):
    speaker, voice, player = paper
    for _ in range(3):
        speaker.say([("leave", "Leave now. Soft deck.")])
    assert speaker.wait(5)
    assert voice.made == ["Leave now. Soft deck."] and len(player.sounds) == 6


def test_a_leave_whose_words_hang_is_said_as_leave_now(paper):
    speaker, voice, player = paper
    voice.go.clear()
    watch = clock.Stopwatch()
    speaker.say([("leave", "Leave now. Soft deck, Charlie.")])
    assert speaker.wait(5)
    assert watch.ms() < 3_000 and len(player.sounds) == 2 and voice.made == []


def test_losing_the_voice_is_said_once_and_leave_lines_keep_their_tone_and_leave_now(paper):
    speaker, voice, player = paper
    voice.fault = SpeakingError("no voice", why="the speech worker died (4 times in a row)",
                                next_step="Install it")
    voice.given_up = "the speech worker died"
    for n in range(3):
        speaker.say([("note", f"Note {n}."), ("leave", f"Leave now. Reason {n}.")])
        assert speaker.wait(5)
    assert speaker.notices == ["No voice: the speech worker died (4 times in a row); replies are shown only, "
                               "and a tone marks danger. Install it."]
    tone = len(attention("leave", 22050))
    assert len(player.sounds) == 6 and player.sounds.count(tone) == 3


def test_without_a_voice_from_the_start_danger_still_has_its_tone():
    voice = PaperVoice(SpeakingError("no voice", why="espeak-ng is not installed", next_step="Install it"))
    voice.given_up = "espeak-ng is not installed"
    player = PaperPlayer()
    with Speaker(voice=voice, player=player) as speaker:
        speaker.say([("leave", "Leave now."), ("note", "Noted.")])
        assert speaker.wait(5)
        assert player.sounds == [len(attention("leave", 22050))]
        (notice,) = speaker.notices
        assert notice.startswith("No voice: espeak-ng is not installed;")


def test_losing_the_loudspeaker_is_said_once_and_danger_tries_again():
    player = PaperPlayer(SpeakingError("no loudspeaker", why="it was unplugged", next_step="Connect one"))
    with Speaker(voice=PaperVoice(), player=player) as speaker:
        for n in range(3):
            speaker.say([("note", f"Note {n}.")])
        assert speaker.wait(5)
        assert speaker.notices == ["No loudspeaker: it was unplugged; replies are shown only. Connect one."]
        player.fault = None
        speaker.say([("leave", "Leave now.")])
        assert speaker.wait(5) and len(player.sounds) == 2


def test_an_error_nobody_foresaw_costs_one_line_not_the_speaker(paper):
    speaker, voice, player = paper
    player.fault = ZeroDivisionError("odd")
    speaker.say([("note", "Lost.")])
    assert speaker.wait(5)
    player.fault = None
    speaker.say([("leave", "Leave now. Kept.")])
    assert speaker.wait(5)
    assert len(player.sounds) == 2 and speaker.notices == ["A reply was not spoken: odd; it is shown only."]


def test_closing_in_the_middle_of_a_word_or_of_the_making_does_not_hang():
    for stuck in ("voice", "player"):
        voice, player = PaperVoice(), PaperPlayer()
        speaker = Speaker(voice=voice, player=player)
        assert speaker.ready()
        {"voice": voice, "player": player}[stuck].go.clear()
        speaker.say([("note", "One."), ("note", "Two.")])
        watch = clock.Stopwatch()
        speaker.close()
        speaker.close()
        assert watch.ms() < 2_000 and voice.closed
        assert speaker.say([("note", "Too late.")]) >= 0 and speaker.wait(1)


def test_calls_from_many_threads_at_once_neither_fail_nor_hang(paper):
    speaker, voice, _ = paper

    def call(n):
        for m in range(30):
            speaker.say([(spoken.KINDS[(n + m) % 7], f"Line {n} {m}.")])
            speaker.mute(m % 4 == 0)
            speaker.hold(m % 3 == 0)
            if m % 5 == 0:
                speaker.stop()

    threads = [threading.Thread(target=call, args=(n,)) for n in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join(20)
    speaker.mute(False)
    speaker.hold(False)
    assert not any(thread.is_alive() for thread in threads) and speaker.wait(20) and not speaker.notices


def test_a_cut_between_two_waits_is_not_lost():
    cut = Cut()
    cut.nudge()
    cut.cut()
    assert not cut.wait_for(lambda: True, 5)


def test_a_speaker_with_nothing_to_do_starts_no_voice():
    speaker = Speaker(play=False)
    assert speaker.ready(0) and speaker.say([("leave", "Leave now.")]) < 50
    assert speaker.wait(0) and not speaker.notices
    speaker.close()


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
