"""Sound devices for tests: a private PulseAudio daemon with a virtual microphone and a virtual loudspeaker.

Used by the tests and benchmarks that need real sound devices; the daemon is ended by its own process id. What is
played into the microphone lies on low noise, because a voice gate that has heard nothing but digital silence starts
from another state than one in a room. The noise never stops: an idle virtual device takes up to 2 s to begin again.
"""

from __future__ import annotations

import contextlib
import io
import os
import shutil
import subprocess
import threading
import time
from dataclasses import dataclass, field
from pathlib import Path

import numpy as np
import soundfile
import soxr

ROOT = Path(__file__).resolve().parent.parent
PROGRAMS = ("pulseaudio", "pactl", "parec", "paplay")
MIC_RATE, SPEAKER_RATE = 16000, 48000
ROOM_NOISE = 0.001

DAEMON = """\
load-module module-native-protocol-unix
load-module module-null-sink sink_name=vmic rate=16000 channels=1
load-module module-null-sink sink_name=vspk rate=48000 channels=2
load-module module-remap-source source_name=mic master=vmic.monitor
set-default-source mic
set-default-sink vspk
"""
ALSA = "pcm.!default { type pulse }\nctl.!default { type pulse }\n"


def missing_programs() -> list[str]:
    return [program for program in PROGRAMS if shutil.which(program) is None]


class VirtualSound:
    """A machine with one microphone and one loudspeaker, both virtual.

    Parameters
    ----------
    home : an empty folder that holds the daemon's socket and settings
    """

    def __init__(self, home: Path) -> None:
        self.home = home
        home.chmod(0o700)
        (home / ".asoundrc").write_text(ALSA)
        (home / "daemon.pa").write_text(DAEMON)
        self.environment = {**os.environ, "HOME": str(home), "XDG_RUNTIME_DIR": str(home), "PYTHONPATH": str(ROOT),
                            "FIELDAID_HOME": str(home / "state")}
        self.environment.pop("PULSE_SERVER", None)
        self.daemon: subprocess.Popen[bytes] | None = None
        self._room: subprocess.Popen[bytes] | None = None
        self.start()

    def start(self) -> None:
        self.daemon = subprocess.Popen(
            ["pulseaudio", "-n", "-F", str(self.home / "daemon.pa"), "--daemonize=no", "--exit-idle-time=-1",
             "--disallow-exit", "--use-pid-file=no"],
            env=self.environment, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        for _ in range(100):
            if self._pactl("info").returncode == 0:
                break
            time.sleep(0.1)
        else:
            raise RuntimeError("the private PulseAudio daemon did not answer within 10 s")
        self._room = subprocess.Popen(
            ["paplay", "--device=vmic", "--raw", f"--rate={MIC_RATE}", "--channels=1", "--format=s16le"],
            env=self.environment, stdin=subprocess.PIPE, stderr=subprocess.DEVNULL)
        threading.Thread(target=self._noise, args=(self._room,), daemon=True).start()

    @staticmethod
    def _noise(room: subprocess.Popen[bytes]) -> None:
        noise = np.random.default_rng(0).standard_normal(MIC_RATE) * ROOM_NOISE
        try:
            while True:
                room.stdin.write((noise * 32767).astype("<i2").tobytes())
        except (OSError, ValueError):
            return

    def stop(self) -> None:
        if self._room is not None:
            self._room.kill()
            self._room.wait()
            with contextlib.suppress(OSError):
                self._room.stdin.close()
            self._room = None
        if self.daemon is not None:
            self.daemon.kill()
            self.daemon.wait()
            self.daemon = None

    def loopback(self, latency_ms: int) -> str:
        """The loudspeaker stands beside the microphone; returns the module's number, for `unload`."""
        done = self._pactl("load-module", "module-loopback", "source=vspk.monitor", "sink=vmic",
                           f"latency_msec={latency_ms}")
        assert done.returncode == 0, done.stderr
        return done.stdout.strip()

    def unload(self, module: str) -> None:
        self._pactl("unload-module", module)

    def say(self, samples: np.ndarray, pad_s: float = 0.3) -> float:
        """Plays samples (float, mono, 16 kHz) into the microphone; returns the moment when they had ended."""
        silence = np.zeros(round(pad_s * MIC_RATE), np.float32)
        raw = (np.clip(np.concatenate([silence, samples, silence]), -1, 1) * 32767).astype("<i2").tobytes()
        subprocess.run(["paplay", "--device=vmic", "--raw", f"--rate={MIC_RATE}", "--channels=1", "--format=s16le"],
                       env=self.environment, input=raw, check=True, timeout=120)
        return time.perf_counter()

    def record(self) -> Recorder:
        return Recorder(self.environment)

    def _pactl(self, *words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(["pactl", *words], env=self.environment, capture_output=True, text=True, timeout=10)


@dataclass
class Recorder:
    """What the loudspeaker gives, from entering the block on: mono float samples at SPEAKER_RATE."""

    environment: dict[str, str]
    device: str = "vspk.monitor"
    rate: int = SPEAKER_RATE
    _parts: list[bytes] = field(default_factory=list)
    _began: float = 0.0

    def __enter__(self) -> Recorder:
        self._process = subprocess.Popen(
            ["parec", f"--device={self.device}", "--format=s16le", f"--rate={self.rate}", "--channels=1",
             "--latency-msec=20"], env=self.environment, stdout=subprocess.PIPE, stderr=subprocess.DEVNULL)
        started = threading.Event()
        self._reader = threading.Thread(target=self._read, args=(started,), daemon=True)
        self._reader.start()
        assert started.wait(10), "the recorder gave nothing; an idle virtual device takes up to 2 s to begin"
        return self

    def _read(self, started: threading.Event) -> None:
        for block in iter(lambda: self._process.stdout.read(960), b""):
            if not self._parts:
                self._began = time.perf_counter() - len(block) / 2 / self.rate
            self._parts.append(block)
            started.set()

    def __exit__(self, *error: object) -> None:
        self._process.terminate()
        self._process.wait(5)
        self._reader.join(5)
        self._process.stdout.close()

    @property
    def samples(self) -> np.ndarray:
        return np.frombuffer(b"".join(self._parts), "<i2").astype(np.float32) / 32768

    def since(self, moment: float) -> np.ndarray:
        """The samples from `moment` (time.perf_counter) on."""
        return self.samples[max(0, round((moment - self._began) * self.rate)):]

    def sounds(self, level: float = 0.02) -> list[tuple[float, float]]:
        """Where it sounded, as moments of time.perf_counter; pauses under 0.5 s belong to one sound."""
        loud = np.flatnonzero(np.abs(self.samples) > level)
        if not loud.size:
            return []
        edges = np.flatnonzero(np.diff(loud) > 0.5 * self.rate)
        firsts, lasts = loud[np.r_[0, edges + 1]], loud[np.r_[edges, loud.size - 1]]
        return [(self._began + a / self.rate, self._began + b / self.rate) for a, b in zip(firsts, lasts, strict=True)]


def spoken(text: str) -> np.ndarray:
    """A line in espeak-ng's voice, as float samples at 16 kHz; for words that no recording holds alone."""
    raw = bytearray(subprocess.run(["espeak-ng", "-v", "en-us", "-s", "140", "--stdout", text], capture_output=True,
                                   check=True).stdout)
    # Written to a pipe, the header promises more than there is.
    raw[4:8], raw[40:44] = (len(raw) - 8).to_bytes(4, "little"), (len(raw) - 44).to_bytes(4, "little")
    samples, rate = soundfile.read(io.BytesIO(raw), dtype="float32")
    return soxr.resample(samples, rate, MIC_RATE) * 0.5


def clip(name: str) -> np.ndarray:
    """A demo recording as float samples at 16 kHz."""
    samples, rate = soundfile.read(ROOT / "demo_audio" / name, dtype="float32")
    return soxr.resample(samples, rate, MIC_RATE) if rate != MIC_RATE else samples
