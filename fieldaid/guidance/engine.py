"""The first channel: durable-rules in a child process that can be killed without harm.

`Engine` keeps one child running. A child that dies, hangs, or answers with anything but an outcome is killed, and
another is started in the background; until that is ready `run` raises at once.
"""

from __future__ import annotations

import importlib.util
import json
import os
import queue
import select
import subprocess
import sys
import threading
from collections import deque
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from fieldaid.clock import monotonic
from fieldaid.errors import EngineError
from fieldaid.facts.situation import Situation
from fieldaid.guidance.conditions import all_to_data
from fieldaid.guidance.engine_child import LENGTH, MOST_BYTES, frame
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import ACCESS, GATE, Pack, Rule

RESTARTS = 5
READY_S = 10.0
# How many situations a child is told before it has answered the first of them.
TOLD_AHEAD = 8
_KEPT_ERRORS = 4096
_ROOT = Path(__file__).resolve().parents[2]
START = f"import sys; sys.path.insert(0, {str(_ROOT)!r}); from fieldaid.guidance.engine_child import main; main()"
# What a child says when the C module does not load, and what then helps.
LOAD_ERRORS = ("ImportError", "ModuleNotFoundError")
HOW_TO_REBUILD = ("durable-rules does not load: build it again for this Python (3.13 needs "
                  "CPPFLAGS=-DPyEval_CallObject=PyObject_CallObject)")
HOW_TO_GET_IT = "python3 -m pip install 'fieldaid[engine]' (needs gcc and Python's headers)"


# A situation and its computed facts, plain values by name.
Case = tuple[Situation, Mapping[str, Any]]


def is_installed() -> bool:
    """Whether durable-rules can be found. It may still fail to load: the child finds that out."""
    return importlib.util.find_spec("durable_rules_engine") is not None


def rule_to_data(rule: Rule) -> dict[str, Any]:
    """What the child needs of a rule, as JSON data."""
    one = rule.conclude
    return {
        "order": rule.order, "id": rule.id, "stratum": rule.stratum, "when": all_to_data(rule.when),
        "unless": all_to_data(rule.unless) if rule.unless is not None else None,
        "conclude": {"kind": one.kind, "name": one.name, "reason": one.reason, "need": one.need,
                     "derived": [list(pair) for pair in one.derived], "place": one.place, "opening": one.opening,
                     "size_ft": list(one.size_ft) if one.size_ft else None},
    }


class Child:
    """One running child process with the pack loaded. Not safe for several threads at once.

    Raises
    ------
    EngineError : it could not be started, or does not hold the pack
    """

    def __init__(self, pack: Pack, ready_s: float = READY_S) -> None:
        try:
            self.process = subprocess.Popen([sys.executable, "-c", START], stdin=subprocess.PIPE,
                                            stdout=subprocess.PIPE, stderr=subprocess.PIPE, bufsize=0)
        except OSError as error:
            raise EngineError("the second opinion could not be started", why=str(error)) from error
        self.pid = self.process.pid
        self._errors = b""
        self._reader = threading.Thread(target=self._keep_errors, name="fieldaid engine messages", daemon=True)
        self._reader.start()
        self._buffer = b""
        self._input, self._output = self.process.stdin.fileno(), self.process.stdout.fileno()  # type: ignore[union-attr]
        os.set_blocking(self._input, False)
        os.set_blocking(self._output, False)
        try:
            reply = self.ask({"load": {"digest": pack.digest, "rules": [rule_to_data(one) for one in pack.live_rules]}},
                             monotonic() + ready_s)
            if reply.get("ready") != pack.digest:
                raise self._error(str(reply.get("failed") or "it does not hold the pack"))
        except EngineError:
            self.kill()
            raise

    def ask(self, request: dict[str, Any], deadline: float) -> dict[str, Any]:
        self.send(request, deadline)
        return self.receive(deadline)

    def send(self, request: dict[str, Any], deadline: float) -> None:
        """Writes one request, however full the pipe is. Raises EngineError."""
        data = memoryview(frame(request))
        while data:
            try:
                data = data[os.write(self._input, data):]
            except BlockingIOError:
                # The child may itself wait until somebody takes its replies.
                self._wait(deadline, (self._input, select.POLLOUT), (self._output, select.POLLIN))
                self._take_more()
            except OSError as error:
                raise self._ended() from error

    def receive(self, deadline: float) -> dict[str, Any]:
        """Reads one reply. Raises EngineError when it is late, cut short or no reply."""
        while True:
            if len(self._buffer) >= LENGTH.size:
                (length,) = LENGTH.unpack_from(self._buffer)
                if length > MOST_BYTES:
                    raise self._error("it answered with something that is no reply")
                end = LENGTH.size + length
                if len(self._buffer) >= end:
                    body, self._buffer = self._buffer[LENGTH.size:end], self._buffer[end:]
                    return self._decoded(body)
            if not self._take_more():
                self._wait(deadline, (self._output, select.POLLIN))

    def kill(self) -> None:
        """Ends the process, also one that is stopped."""
        self.process.kill()
        self.process.wait()
        self._reader.join(timeout=1.0)
        for stream in (self.process.stdin, self.process.stdout, self.process.stderr):
            if stream is not None:
                stream.close()

    def _decoded(self, body: bytes) -> dict[str, Any]:
        try:
            reply = json.loads(body)
        except ValueError as error:
            raise self._error("it answered with something that is no reply") from error
        if not isinstance(reply, dict):
            raise self._error("it answered with something that is no reply")
        return reply

    def _take_more(self) -> bool:
        """Takes what the child has written so far; whether there was anything. Raises EngineError when it ended."""
        try:
            more = os.read(self._output, 65536)
        except BlockingIOError:
            return False
        if not more:
            raise self._ended()
        self._buffer += more
        return True

    def _wait(self, deadline: float, *events: tuple[int, int]) -> None:
        """Waits for the first of some events, each a file and what is to be possible with it. Raises EngineError."""
        poller = select.poll()
        for file, event in events:
            poller.register(file, event)
        if not poller.poll(max(0.0, deadline - monotonic()) * 1000.0):
            raise self._error("it did not answer in time")

    def _keep_errors(self) -> None:
        """Keeps the last of what the child says on standard error, so that it can never block on it."""
        stream = self.process.stderr
        while stream is not None and (more := stream.read(4096)):
            self._errors = (self._errors + more)[-_KEPT_ERRORS:]

    def _ended(self) -> EngineError:
        """The error of a child that ended, with the last thing it said."""
        try:
            self.process.wait(timeout=0.5)
        except subprocess.TimeoutExpired:
            pass
        self._reader.join(timeout=0.5)
        return self._error("it ended")

    def _error(self, why: str) -> EngineError:
        said = self._errors.decode(errors="replace").strip().splitlines()
        return EngineError("the second opinion is lost", why=f"{why} ({said[-1][:200]})" if said else why)


class Engine:
    """durable-rules with one pack, in a child process. Safe to use from several threads.

    Parameters
    ----------
    restarts : how often a lost child is replaced before the engine gives up; `given_up` then says so. `started` says
        whether a child was ever ready
    """

    def __init__(self, pack: Pack, restarts: int = RESTARTS, ready_s: float = READY_S) -> None:
        self.pack, self._starts_left, self._ready_s = pack, restarts + 1, ready_s
        self.given_up = False
        self.started = False
        self._lock = threading.Lock()
        self._child: Child | None = None
        self._failure: EngineError | None = None
        self._ready = threading.Event()
        self._closed = False
        self._requests = 0
        self._orders: queue.SimpleQueue[str] = queue.SimpleQueue()
        # The kernel ends a child when the *thread* that started it ends, so one thread starts them all and stays.
        self._keeper = threading.Thread(target=self._keep, name="fieldaid engine keeper", daemon=True)
        self._keeper.start()
        self._orders.put("start")

    @property
    def pid(self) -> int | None:
        """The child's process id; None while there is none."""
        child = self._child
        return child.pid if child is not None else None

    def wait_ready(self, timeout_s: float) -> bool:
        """Waits until a child is ready or given up; whether one is ready."""
        self._ready.wait(timeout_s)
        return self._child is not None

    def run(self, situation: Situation, computed: Mapping[str, Any], timeout_s: float = 1.0) -> Outcome:
        """What the pack concludes; `computed` holds plain values by name.

        Raises
        ------
        EngineError : no child is ready, or it died, hung or gave no outcome within `timeout_s` [s]
        """
        deadline = monotonic() + timeout_s
        if not self._lock.acquire(timeout=timeout_s):
            raise EngineError("the second opinion is busy", why="another evaluation did not end in time")
        try:
            child = self._child
            if child is None:
                raise self._none()
            try:
                return self._answer(child, self._tell(child, situation, computed, deadline), deadline)
            except BaseException as error:
                self._lose(child, error)
                raise
        finally:
            self._lock.release()

    def run_all(self, cases: Iterable[Case], timeout_s: float = 1.0) -> list[Outcome | EngineError]:
        """What the pack concludes in each case, or the error that came instead.

        The next cases are taken while the child works, and some are told to it ahead, so that neither waits for the
        other; while it starts, all are taken. Other threads wait until it is over. Each case may take `timeout_s` [s].
        """
        found: list[Outcome | EngineError] = []
        untold: deque[Case] = deque()
        told: deque[tuple[int, Case]] = deque()

        def go_on(child: Child, owed: int) -> None:
            """Tells the child what it has room for, and takes its answers until it owes no more than `owed`."""
            while untold or len(told) > owed:
                while untold and len(told) < TOLD_AHEAD:
                    told.append((self._tell(child, *untold[0], monotonic() + timeout_s), untold.popleft()))
                if len(told) > owed:
                    found.append(self._answer(child, told[0][0], monotonic() + timeout_s))
                    told.popleft()

        def try_to_go_on(child: Child, owed: int) -> None:
            try:
                go_on(child, owed)
            except EngineError as error:
                self._lose(child, error)
                # The child works in order: the first case is lost with it, the others are told to the next one.
                untold.extendleft(case for _, case in reversed(told))
                told.clear()
                untold.popleft()
                found.append(error)

        with self._lock:
            try:
                for case in cases:
                    untold.append(case)
                    if self._child is not None:
                        try_to_go_on(self._child, TOLD_AHEAD - 1)
                while untold or told:
                    self.wait_ready(self._ready_s)
                    if self._child is None:
                        found += [self._none() for _ in untold]
                        break
                    try_to_go_on(self._child, 0)
            except BaseException as error:
                if self._child is not None:
                    self._lose(self._child, error)  # it may still owe answers
                raise
        return found

    def _none(self) -> EngineError:
        """The error of a question while there is no child."""
        return EngineError("the second opinion is lost",
                           why=self._failure.why if self._failure is not None else "it is not ready yet")

    def _tell(self, child: Child, situation: Situation, computed: Mapping[str, Any], deadline: float) -> int:
        """Asks a child about a situation; the number of the request."""
        self._requests += 1
        child.send({"id": self._requests,
                    "values": {**situation.values, **{name: one for name, one in computed.items() if one is not None}},
                    "basis": {name: how for name, how in situation.basis.items() if how != "told"}}, deadline)
        return self._requests

    def _answer(self, child: Child, request: int, deadline: float) -> Outcome:
        """The child's answer to a request; the requests before it have been answered."""
        reply = child.receive(deadline)
        if reply.get("id") != request or "outcome" not in reply:
            raise EngineError("the second opinion is lost",
                              why=str(reply.get("failed") or "it answered another question"))
        try:
            outcome = Outcome.from_data(reply["outcome"])
            known = outcome.access in ACCESS and outcome.gate in GATE and all(
                one in self.pack for one in (*(firing.rule for firing in outcome.firings), *outcome.opening_rules))
        except (TypeError, KeyError, ValueError) as error:
            raise EngineError("the second opinion is lost", why="it answered with no outcome") from error
        if not known:
            raise EngineError("the second opinion is lost", why="it answered with words that the pack does not have")
        return outcome

    def close(self) -> None:
        """Ends the child and starts no other."""
        self._closed = True
        self._orders.put("stop")
        self._keeper.join(timeout=self._ready_s + 1.0)

    def __enter__(self) -> Engine:
        return self

    def __exit__(self, *exc: object) -> None:
        self.close()

    def _lose(self, child: Child, error: BaseException) -> None:
        """Kills a child that cannot be trusted any more and orders another."""
        self._child = None
        self._failure = error if isinstance(error, EngineError) else None
        self._ready.clear()
        child.kill()
        self._orders.put("start")

    def _keep(self) -> None:
        """Starts children when ordered, until told to stop."""
        while self._orders.get() == "start" and not self._closed:
            if not self._starts_left:
                self.given_up = True
                self._ready.set()
                continue
            self._starts_left -= 1
            try:
                self._child = Child(self.pack, self._ready_s)
            except EngineError as error:
                self._failure = error
                self._orders.put("start")
                continue
            self._failure = None
            self.started = True
            self._ready.set()
        with self._lock:
            child, self._child = self._child, None
            if child is not None:
                child.kill()
