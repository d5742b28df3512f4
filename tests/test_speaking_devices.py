"""The player on real sound devices: PortAudio, ALSA and PulseAudio with a virtual loudspeaker, recorded.

A private PulseAudio daemon is started for the module and ended by its own process id. The sound is made in a
child process, because PortAudio reads its environment once.
"""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import threading
from pathlib import Path

import numpy as np
import pytest
from one_at_a_time import sound_devices

from fieldaid import clock
from fieldaid.speaking.tone import attention

ROOT = Path(__file__).parents[1]
PROGRAMS = ("pulseaudio", "pactl", "parec")
RATE = 48000

DAEMON = """\
load-module module-native-protocol-unix
load-module module-null-sink sink_name=vspk rate=48000 channels=2
set-default-sink vspk
"""
ALSA = "pcm.!default { type pulse }\nctl.!default { type pulse }\n"


@pytest.fixture(scope="module")
def alone():
    with sound_devices():
        yield


@pytest.fixture(scope="module")
def sound(tmp_path_factory, alone):
    """The environment of a machine whose only loudspeaker is a virtual one."""
    missing = [program for program in PROGRAMS if shutil.which(program) is None]
    if missing:
        pytest.skip(f"pulseaudio is not installed ({', '.join(missing)} not found)")
    home = tmp_path_factory.mktemp("sound")
    home.chmod(0o700)
    (home / ".asoundrc").write_text(ALSA)
    (home / "daemon.pa").write_text(DAEMON)
    environment = {**os.environ, "HOME": str(home), "XDG_RUNTIME_DIR": str(home), "PYTHONPATH": str(ROOT)}
    environment.pop("PULSE_SERVER", None)
    daemon = subprocess.Popen(
        ["pulseaudio", "-n", "-F", str(home / "daemon.pa"), "--daemonize=no", "--exit-idle-time=-1",
         "--disallow-exit", "--use-pid-file=no"],
        env=environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
    try:
        pause = threading.Event()
        for _ in range(100):
            if subprocess.run(["pactl", "info"], env=environment, capture_output=True).returncode == 0:
                break
            pause.wait(0.1)
        else:
            pytest.fail("the private PulseAudio daemon did not answer within 10 s")
        yield environment
    finally:
        daemon.terminate()
        try:
            daemon.wait(5)
        except subprocess.TimeoutExpired:
            daemon.kill()
            daemon.wait()


def played(environment: dict[str, str], script: str) -> tuple[dict, np.ndarray]:
    """Run `script` (it prints one JSON object); return that and what the loudspeaker gave, mono at 48 kHz."""
    record = ["parec", "--device=vspk.monitor", "--format=s16le", f"--rate={RATE}", "--channels=1",
              "--latency-msec=20"]
    with subprocess.Popen(record, env=environment, stdout=subprocess.PIPE,
                          stderr=subprocess.DEVNULL) as recorder:
        heard: list[bytes] = []
        started = threading.Event()

        def listen() -> None:
            for block in iter(lambda: recorder.stdout.read(960), b""):
                heard.append(block)
                started.set()

        reader = threading.Thread(target=listen)
        reader.start()
        assert started.wait(10), "the recorder gave nothing; an idle virtual sink takes up to 2 s to begin"
        done = subprocess.run([sys.executable, "-c", script], env=environment, capture_output=True, text=True,
                              timeout=60)
        threading.Event().wait(0.5)
        recorder.terminate()
        reader.join(5)
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout.splitlines()[-1]), np.frombuffer(b"".join(heard), "<i2") / 32768


def sounding(samples: np.ndarray) -> float:
    """Seconds from the first to the last sound."""
    loud = np.flatnonzero(np.abs(samples) > 0.02)
    return (loud[-1] - loud[0]) / RATE if loud.size else 0.0


def test_a_sound_comes_out_of_the_loudspeaker_whole_and_unchanged(sound):
    report, heard = played(sound, """
import json, numpy as np
from fieldaid.speaking.player import Player
from fieldaid.speaking.tone import attention
player = Player()
print(json.dumps({"device": player.check(), "whole": player.play(attention("leave", 22050), 22050)}))
""")
    assert report["whole"] is True and report["device"] in ("default", "pulse")
    tone = attention("leave", RATE)
    assert sounding(heard) == pytest.approx(len(tone) / RATE, abs=0.01)
    likeness = np.abs(np.fft.irfft(np.fft.rfft(heard, 2 ** 20) * np.conj(np.fft.rfft(tone, 2 ** 20)))).max()
    assert likeness / (np.linalg.norm(heard) * np.linalg.norm(tone)) > 0.9


def test_stop_ends_the_sound_in_the_middle_of_it(sound):
    report, heard = played(sound, """
import json, threading, numpy as np
from fieldaid import clock
from fieldaid.speaking.player import Player
player, watch = Player(), None
long = (0.5 * np.sin(np.arange(22050 * 8) * 0.3)).astype(np.float32)
returned = threading.Event()
ended = []
def play():
    ended.append(player.play(long, 22050))
    returned.set()
thread = threading.Thread(target=play)
thread.start()
threading.Event().wait(1.5)
watch = clock.Stopwatch()
player.stop()
called = watch.ms()
returned.wait(5)
print(json.dumps({"call_ms": called, "silent_ms": watch.ms(), "whole": ended[0]}))
thread.join()
""")
    assert report["whole"] is False
    assert report["call_ms"] < 50 and report["silent_ms"] < 250
    assert 0.8 < sounding(heard) < 1.9


def test_a_leave_line_is_heard_as_tone_and_words_and_cuts_a_routine_line(sound):
    clock_start = clock.Stopwatch()
    report, heard = played(sound, """
import json, threading
from fieldaid.speaking.speaker import Speaker
speaker = Speaker()
assert speaker.ready()
if any(notice.startswith("No voice") for notice in speaker.notices):
    print(json.dumps({"skip": speaker.notices}))
    raise SystemExit
speaker.say([("note", "This is a long routine line, one two three four five six seven eight nine ten.")])
threading.Event().wait(1.0)
speaker.say([("leave", "Leave now. Soft deck, C.")])
print(json.dumps({"spoken": speaker.wait(20), "notices": speaker.notices}))
speaker.close()
""")
    if "skip" in report:
        pytest.skip(f"espeak-ng is not installed: {report['skip']}")
    assert report == {"spoken": True, "notices": []}
    assert clock_start.ms() < 30_000
    tone = attention("leave", RATE)
    size = 2 ** int(np.ceil(np.log2(len(heard) + len(tone))))
    match = np.abs(np.fft.irfft(np.fft.rfft(heard, size) * np.conj(np.fft.rfft(tone, size)), size))
    at = int(match.argmax())
    window = heard[at:at + len(tone)]
    assert match[at] / (np.linalg.norm(window) * np.linalg.norm(tone)) > 0.9
    loud = np.flatnonzero(np.abs(heard) > 0.02)
    before, after = (at - loud[0]) / RATE, (loud[-1] - at - len(tone)) / RATE
    assert 0.3 < before < 1.6, "the routine line began, and was cut by the tone"
    assert 1.2 < after < 3.5, "the words of the leave line follow the tone"


def test_the_speaker_of_a_machine_without_a_loudspeaker_gets_one_notice(sound, tmp_path):
    (tmp_path / ".asoundrc").write_text(ALSA)
    environment = {**sound, "HOME": str(tmp_path), "XDG_RUNTIME_DIR": str(tmp_path)}
    if Path("/dev/snd").exists():
        pytest.skip("this machine has a sound card, so it cannot show what happens without one")
    done = subprocess.run([sys.executable, "-c", """
import json
from fieldaid.speaking.speaker import Speaker
speaker = Speaker()
for n in range(3):
    speaker.say([("note", f"Line {n}."), ("leave", "Leave now.")])
print(json.dumps({"spoken": speaker.wait(20), "notices": speaker.notices}))
speaker.close()
"""], env=environment, capture_output=True, text=True, timeout=60)
    report = json.loads(done.stdout)
    assert done.returncode == 0 and report["spoken"] is True
    assert len(report["notices"]) == 1 and report["notices"][0].startswith("No loudspeaker: ")
    assert "Traceback" not in done.stderr
    assert done.stderr == ""
