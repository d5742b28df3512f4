"""Words to samples through a speech worker that may die, hang or be missing, never hanging the caller."""

from __future__ import annotations

import json
import os
import queue
import shutil
import subprocess
import sys
import tempfile
import threading
import wave
import weakref
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import TypeVar

import numpy as np

from fieldaid import clock
from fieldaid.errors import SpeakingError
from fieldaid.speaking.spoken import RATE

T = TypeVar("T")

WORKER = Path(__file__).with_name("worker.py")
INSTALL = "Install the speech engine (Debian and Ubuntu: apt-get install espeak-ng) and the extra `voice`"
LONGEST_TEXT = 1000  # characters; keeps an order well below what a pipe takes without blocking
ATTEMPTS = 2  # at one line, each with a worker of its own
LEAD, TAIL = 0.01, 0.1  # [s] of the engine's silence before and after the words that is kept


class Voice:
    """Makes speech. Thread-safe; lines are made one at a time.

    Parameters
    ----------
    rate : words a minute
    accent : a voice name of espeak-ng; its default voice is used where the name is unknown
    restarts : how many times in a row a failing worker is replaced before the voice is given up
    start_timeout, line_timeout : [s] a worker may take to start, and to make one line
    command, environment : how the worker is started (tests put a failing engine in its place)
    folder : where the worker's files go, removed on `close`; a private temporary folder unless given
    """

    def __init__(self, rate: int = RATE, accent: str = "en-us", *, restarts: int = 3,
                 start_timeout: float = 10.0, line_timeout: float = 3.0, command: Sequence[str] | None = None,
                 environment: Mapping[str, str] | None = None, folder: Path | None = None) -> None:
        self._command = list(command or [sys.executable, "-P", str(WORKER)]) + [str(rate), accent]
        self._environment = dict(environment) if environment is not None else None
        self._restarts, self._start_timeout, self._line_timeout = restarts, start_timeout, line_timeout
        self._given_folder, self._folder = folder, None
        self._lock = threading.Lock()
        self._worker: _Worker | None = None
        self._failures = 0
        self._count = 0
        self._given_up = ""
        self._closed = False

    @property
    def given_up(self) -> str:
        """Why there will be no voice any more; empty while there may be."""
        return self._given_up

    @property
    def pid(self) -> int | None:
        """The worker's process id, None when none runs."""
        worker = self._worker
        return worker.process.pid if worker and worker.process.poll() is None else None

    def start(self) -> None:
        """Start the worker now, so that the first line is not late.

        Raises
        ------
        SpeakingError : as `synthesise`
        """
        self._guarded(self._running)

    def synthesise(self, text: str) -> tuple[np.ndarray, int]:
        """Speech for `text`, said as it is written (see `spoken.spoken_form`).

        A worker that fails is replaced and the line tried once more, so this returns or raises within about
        two starts and two lines' time.

        Returns
        -------
        samples : float32, mono, from -1 to 1
        rate : samples a second [Hz]

        Raises
        ------
        SpeakingError : no speech could be made; `given_up` says whether another line need not be tried
        """
        if not text.strip():
            return np.zeros(0, np.float32), 22050
        if len(text) > LONGEST_TEXT:
            raise SpeakingError("the line is too long to be spoken", why=f"it has {len(text)} characters",
                                next_step=f"Keep lines under {LONGEST_TEXT} characters")
        return self._guarded(lambda deadline: self._line(text, deadline))

    def close(self) -> None:
        """End the worker and remove its files. A line being made in another thread fails at once."""
        self._closed = True
        worker = self._worker
        if worker:
            worker.end()
        self._remove_folder()

    def _guarded(self, work: Callable[[float], T]) -> T:
        """`work(deadline)`, twice if need be, with the failures counted."""
        deadline = clock.monotonic() + ATTEMPTS * (self._start_timeout + self._line_timeout)
        if not self._lock.acquire(timeout=deadline - clock.monotonic()):
            raise SpeakingError("the line was not spoken", why="another line kept the voice busy")
        try:
            for attempt in range(1, ATTEMPTS + 1):
                if self._closed:
                    break
                if self._given_up:
                    raise SpeakingError("no voice", why=self._given_up, next_step=INSTALL)
                try:
                    result = work(deadline)
                    self._failures = 0
                    return result
                except _Trouble as trouble:
                    self._discard_worker()
                    self._failures += 1
                    if self._closed:
                        continue
                    if trouble.final or self._failures > self._restarts:
                        times = "" if trouble.final else f" ({self._failures} times in a row)"
                        self._given_up = f"{trouble}{times}"
                        raise SpeakingError("no voice", why=self._given_up, next_step=INSTALL) from None
                    if attempt == ATTEMPTS:
                        raise SpeakingError("the line was not spoken", why=str(trouble)) from None
            raise SpeakingError("no voice", why="it has been closed")
        finally:
            if self._closed:
                self._remove_folder()
            self._lock.release()

    def _running(self, deadline: float) -> _Worker:
        if self._worker is None:
            try:
                self._worker = _Worker(self._command, self._environment)
            except OSError as error:
                hopeless = isinstance(error, (FileNotFoundError, PermissionError))
                raise _Trouble(f"the speech worker cannot be started ({error})", final=hopeless) from None
            if self._closed:
                self._worker.end()
            answer = self._worker.answer(min(self._start_timeout, deadline - clock.monotonic()))
            if "failed" in answer:
                raise _Trouble(answer["failed"], final=True)
        return self._worker

    def _line(self, text: str, deadline: float) -> tuple[np.ndarray, int]:
        worker = self._running(deadline)
        self._count += 1
        file = self._place() / f"{self._count}.wav"
        try:
            worker.order({"id": self._count, "text": text, "file": str(file)})
            until = clock.monotonic() + min(self._line_timeout, deadline - clock.monotonic())
            while True:
                answer = worker.answer(until - clock.monotonic())
                if answer.get("id") == self._count:
                    break
            if "failed" in answer:
                raise _Trouble(answer["failed"])
            return _read_wav(file)
        finally:
            file.unlink(missing_ok=True)

    def _place(self) -> Path:
        """The folder for the worker's files; in memory where the system has such a place."""
        try:
            if self._folder is None or not self._folder.is_dir():
                memory = "/dev/shm" if os.access("/dev/shm", os.W_OK) else None
                place = self._given_folder or memory
                self._folder = Path(tempfile.mkdtemp(prefix="fieldaid-voice-", dir=place))
                weakref.finalize(self, shutil.rmtree, self._folder, ignore_errors=True)
            return self._folder
        except OSError as error:
            raise _Trouble(f"no folder for sound files can be made ({error})") from None

    def _remove_folder(self) -> None:
        if self._folder:
            shutil.rmtree(self._folder, ignore_errors=True)

    def _discard_worker(self) -> None:
        if self._worker:
            self._worker.end()
            self._worker = None


class _Trouble(Exception):
    """One failure of one worker. `final`: another worker would fail in the same way."""

    def __init__(self, why: str, final: bool = False) -> None:
        super().__init__(why)
        self.final = final


class _Worker:
    """The process and the thread that reads what it says."""

    def __init__(self, command: list[str], environment: dict[str, str] | None) -> None:
        # A session of its own, so that an interrupt typed at the terminal does not end the voice.
        self.process = subprocess.Popen(command, stdin=subprocess.PIPE, stdout=subprocess.PIPE,
                                        stderr=subprocess.DEVNULL, env=environment, start_new_session=True)
        self._answers: queue.Queue[dict | None] = queue.Queue()
        threading.Thread(target=self._read, name="speech worker's answers", daemon=True).start()

    def _read(self) -> None:
        for line in self.process.stdout:
            try:
                answer = json.loads(line)
            except ValueError:
                continue
            if isinstance(answer, dict):
                self._answers.put(answer)
        self.process.stdout.close()
        self._answers.put(None)

    def order(self, order: dict) -> None:
        try:
            self.process.stdin.write(json.dumps(order).encode() + b"\n")
            self.process.stdin.flush()
        except (OSError, ValueError):
            raise _Trouble("the speech worker died") from None

    def answer(self, timeout: float) -> dict:
        try:
            answer = self._answers.get(timeout=max(timeout, 0.0))
        except queue.Empty:
            raise _Trouble("the speech worker hung") from None
        if answer is None:
            raise _Trouble("the speech worker died")
        return answer

    def end(self) -> None:
        self.process.kill()
        try:
            self.process.wait(timeout=2)
        except subprocess.TimeoutExpired:
            return
        try:
            self.process.stdin.close()
        except OSError:
            return


def _read_wav(file: Path) -> tuple[np.ndarray, int]:
    try:
        with wave.open(str(file), "rb") as sound:
            rate, data = sound.getframerate(), sound.readframes(sound.getnframes())
    except (OSError, EOFError, wave.Error) as error:
        raise _Trouble(f"the speech worker's file cannot be read ({error})") from None
    samples = np.frombuffer(data, "<i2").astype(np.float32) / 32768
    loud = np.flatnonzero(np.abs(samples) > 0.003)
    if not loud.size:
        raise _Trouble("the engine gave silence")
    return samples[max(loud[0] - round(LEAD * rate), 0):loud[-1] + round(TAIL * rate)], rate
