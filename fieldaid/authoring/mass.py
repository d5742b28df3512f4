"""Mass runs: one job over many numbered pieces, on the processors of this machine or on a dask cluster.

A job is a function `module:function` of (arguments, start, stop) that returns JSON data and depends on nothing else;
it covers the numbers from start up to stop. The numbers are cut into chunks of a fixed length, whatever the number of
workers. Each chunk's result is kept once, by the chunk's own number: a chunk that ran twice, because its worker died
or answered late, counts once, and its two results must be the same. Results come back in the order of the numbers.

With `save`, each finished chunk is one line of a file; a run that was stopped goes on from there.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib
import json
import multiprocessing
import os
import signal
from collections.abc import Callable, Iterator, Mapping
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from pathlib import Path
from typing import Any, TextIO

from fieldaid.errors import FieldaidError, WrongUse

Json = dict[str, Any]
Progress = Callable[[int, int], None]
# How often a pool whose worker died is replaced before the run is given up.
NEW_POOLS = 5
# Chunks handed out ahead of the workers, so that none waits and a stop loses little.
AHEAD = 2


class MassError(FieldaidError):
    """A mass run could not be finished. What was finished is kept when it was saved."""


@dataclass(frozen=True)
class Work:
    """A job over the numbers 0 to `count`, in chunks of `chunk`. `args` is JSON data."""

    job: str
    args: Mapping[str, Any]
    count: int
    chunk: int = 250

    @property
    def chunks(self) -> int:
        """How many chunks it has."""
        return -(-self.count // self.chunk)

    @property
    def digest(self) -> str:
        """Tells whether saved results belong to this work."""
        text = json.dumps([self.job, self.args, self.count, self.chunk], sort_keys=True, ensure_ascii=False)
        return hashlib.sha256(text.encode()).hexdigest()[:16]

    def bounds(self, number: int) -> tuple[int, int]:
        """The first number of a chunk, and the one after its last."""
        return number * self.chunk, min(self.count, (number + 1) * self.chunk)


def run(work: Work, *, workers: int | None = None, cluster: str | None = None, save: Path | None = None,
        progress: Progress | None = None) -> list[Json]:
    """The result of every chunk, in order.

    Parameters
    ----------
    workers : processes on this machine; one for each processor when not given, none for this process alone with 0
    cluster : address of a dask scheduler, or "local" for a dask cluster on this machine; `workers` then sizes that one
    save : file that keeps finished chunks, and from which the same work goes on
    progress : called with numbers done and numbers in all

    Raises
    ------
    MassError : workers died again and again, or a chunk that ran twice gave two results
    WrongUse : dask is asked for and not installed, or the file holds other work
    """
    done = _Done(work, progress)
    with _saved(work, save, done) as file:
        todo = [number for number in range(work.chunks) if number not in done.results]
        if todo:
            run_all = _on_dask(cluster) if cluster else _in_processes if workers != 0 else _here
            for number, result in run_all(work, todo, workers or os.cpu_count() or 1):
                if done.take(number, result) and file is not None:
                    file.write(json.dumps({"chunk": number, "result": result}, ensure_ascii=False) + "\n")
                    file.flush()
    return [done.results[number] for number in range(work.chunks)]


class _Done:
    """The results so far, each chunk once."""

    def __init__(self, work: Work, progress: Progress | None) -> None:
        self.work, self.progress = work, progress
        self.results: dict[int, Json] = {}
        self.numbers = 0

    def take(self, number: int, result: Json) -> bool:
        """Keeps a chunk's result; whether it is the first. Raises MassError when a second one differs."""
        if number in self.results:
            if self.results[number] != result:
                start, stop = self.work.bounds(number)
                raise MassError("a chunk gave two results", where=f"numbers {start} to {stop - 1}",
                                why="the job depends on more than its arguments",
                                next_step="make the job a function of its arguments and numbers alone")
            return False
        self.results[number] = result
        start, stop = self.work.bounds(number)
        self.numbers += stop - start
        if self.progress is not None:
            self.progress(self.numbers, self.work.count)
        return True


def call(job: str, args: Mapping[str, Any], start: int, stop: int) -> Json:
    """Runs one chunk of a job in this process."""
    module, _, name = job.partition(":")
    return getattr(importlib.import_module(module), name)(args, start, stop)


def _here(work: Work, todo: list[int], workers: int) -> Iterator[tuple[int, Json]]:
    for number in todo:
        yield number, call(work.job, work.args, *work.bounds(number))


def _in_processes(work: Work, todo: list[int], workers: int) -> Iterator[tuple[int, Json]]:
    """Local processes. A worker that dies takes its pool with it; the chunks it had run again in a new one."""
    waiting = list(reversed(todo))
    for _ in range(NEW_POOLS):
        # Fresh processes: a copy of this one would bring its threads' locks along.
        pool = ProcessPoolExecutor(workers, mp_context=multiprocessing.get_context("spawn"), initializer=_leave_ctrl_c)
        running: dict[Future[Json], int] = {}
        try:
            while waiting or running:
                while waiting and len(running) < workers * AHEAD:
                    number = waiting.pop()
                    running[pool.submit(call, work.job, work.args, *work.bounds(number))] = number
                for future in wait(running, return_when=FIRST_COMPLETED).done:
                    yield running[future], future.result()
                    del running[future]
            return
        except BrokenProcessPool:
            for future, number in running.items():
                if not future.cancelled() and future.done() and future.exception() is None:
                    yield number, future.result()
                else:
                    waiting.append(number)
        finally:
            pool.shutdown(wait=True, cancel_futures=True)
    raise MassError("the workers died again and again", why=f"{NEW_POOLS} sets of them were started",
                    next_step="look for memory running out, then run it again with fewer workers")


def _leave_ctrl_c() -> None:
    """The terminal's Ctrl-C is for the parent, which then ends the workers."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)


def _on_dask(address: str) -> Callable[[Work, list[int], int], Iterator[tuple[int, Json]]]:
    def run_all(work: Work, todo: list[int], workers: int) -> Iterator[tuple[int, Json]]:
        try:
            from distributed import Client, LocalCluster, as_completed
        except ImportError as error:
            raise WrongUse("dask is not installed", why="the run was to go to a dask cluster",
                           next_step="pip install 'fieldaid[cluster]', or leave the cluster out") from error
        with contextlib.ExitStack() as stack:
            where: Any = address
            if address == "local":
                where = stack.enter_context(LocalCluster(n_workers=workers, threads_per_worker=1,
                                                         dashboard_address=None))
            client = stack.enter_context(Client(where))
            # dask moves the chunks of a lost worker to another one; the key names the chunk, so none is done as two.
            futures = {client.submit(call, work.job, dict(work.args), *work.bounds(number),
                                     key=f"{work.digest}-{number}", pure=True): number for number in todo}
            for future, result in as_completed(list(futures), with_results=True):
                yield futures[future], result
                future.release()

    return run_all


@contextlib.contextmanager
def _saved(work: Work, save: Path | None, done: _Done) -> Iterator[TextIO | None]:
    """The file that finished chunks go to, after those it has were taken; None without a file."""
    if save is None:
        yield None
        return
    head = {"job": work.job, "work": work.digest, "count": work.count, "chunk": work.chunk}
    lines = save.read_text(encoding="utf-8").splitlines(keepends=True) if save.exists() else []
    # A line that was cut short by a kill is no line.
    whole = [json.loads(line) for line in lines if line.endswith("\n")]
    if whole and whole[0] != head:
        raise WrongUse("the file holds the results of other work", where=str(save),
                       why=f"it was saved for {whole[0].get('job')} over {whole[0].get('count')}",
                       next_step="name another file, or delete this one")
    for one in whole[1:]:
        done.take(one["chunk"], one["result"])
    save.parent.mkdir(parents=True, exist_ok=True)
    with save.open("w", encoding="utf-8") as file:
        for one in [head, *whole[1:]]:
            file.write(json.dumps(one, ensure_ascii=False) + "\n")
        file.flush()
        yield file


def add_up(results: list[Json]) -> Json:
    """One result of many with the same shape: numbers are added, lists joined, objects added up key by key."""
    total: Json = {}
    for one in results:
        total = _sum(total, one)
    return total


def _sum(a: Any, b: Any) -> Any:
    if isinstance(b, dict):
        mine = a or {}
        return {**mine, **{key: _sum(mine[key], value) if key in mine else _sum(None, value)
                           for key, value in b.items()}}
    if a is None:
        return list(b) if isinstance(b, list) else b
    return a + b
