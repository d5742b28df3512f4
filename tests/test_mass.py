"""Mass runs: the same result whatever the workers, whatever dies, and whenever it is stopped and taken up again."""

from __future__ import annotations

import json
import signal
import subprocess
import sys
import time
from pathlib import Path
from typing import Any

import pytest

from fieldaid.authoring import mass
from fieldaid.authoring.mass import MassError, Work, add_up, run
from fieldaid.errors import WrongUse

HERE = Path(__file__).resolve().parent
COUNT, CHUNK = 95, 10
WHOLE = {"count": COUNT, "sum": sum(n * n for n in range(COUNT)), "by": {"even": 48}, "numbers": list(range(COUNT))}


def work(job: str = "squares", **args: Any) -> Work:
    return Work(f"mass_jobs:{job}", args, COUNT, CHUNK)


@pytest.mark.parametrize("workers", [0, 1, 2, 3])
def test_the_result_is_the_same_with_any_number_of_workers(workers: int) -> None:
    assert add_up(run(work(), workers=workers)) == WHOLE


def test_chunks_do_not_depend_on_the_workers() -> None:
    assert work().chunks == 10 and work().bounds(9) == (90, 95)
    assert run(work(), workers=0) == run(work(), workers=2)


def test_progress_reaches_the_end_and_never_goes_back() -> None:
    seen: list[tuple[int, int]] = []
    run(work(), workers=2, progress=lambda done, of: seen.append((done, of)))
    assert seen[-1] == (COUNT, COUNT) and [done for done, _ in seen] == sorted(done for done, _ in seen)


def test_a_worker_that_is_killed_changes_nothing(tmp_path: Path) -> None:
    marker = tmp_path / "marker"
    assert add_up(run(work("dies_once", marker=str(marker), at=33), workers=2)) == WHOLE
    assert marker.exists()


def test_workers_that_die_again_and_again_are_given_up(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mass, "NEW_POOLS", 2)
    with pytest.raises(MassError, match="again and again.*fewer workers"):
        run(work("always_dies"), workers=1)


# dask, whose own warnings are not ours
@pytest.mark.filterwarnings("ignore")
def test_a_dask_worker_killed_in_the_middle_changes_nothing(tmp_path: Path) -> None:
    """The scheduler moves the dead worker's chunks; each still counts once."""
    pytest.importorskip("distributed")
    marker, log = tmp_path / "marker", tmp_path / "log"
    found = run(work("dies_once", marker=str(marker), at=33, log=str(log), wait_s=0.05), workers=2, cluster="local")
    assert add_up(found) == WHOLE
    assert marker.exists()
    assert {int(line) for line in log.read_text().split()} == set(range(0, COUNT, CHUNK))


def test_without_dask_the_way_out_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(WrongUse, match=r"dask is not installed.*pip install 'fieldaid\[cluster\]'"):
        run(work(), cluster="local")


def test_a_chunk_that_comes_twice_counts_once_and_must_be_the_same() -> None:
    done = mass._Done(work(), None)
    assert done.take(3, {"count": 10}) and not done.take(3, {"count": 10})
    assert done.numbers == CHUNK
    with pytest.raises(MassError, match="numbers 30 to 39: a chunk gave two results"):
        done.take(3, {"count": 11})


def test_what_is_saved_is_not_run_again(tmp_path: Path) -> None:
    save, log = tmp_path / "run.jsonl", tmp_path / "log"
    assert add_up(run(work(log=str(log)), workers=0, save=save)) == WHOLE
    lines = save.read_text().splitlines(keepends=True)
    # Four chunks are left, the fourth cut short as a kill would.
    save.write_text("".join(lines[:4]) + lines[4][:20])
    log.unlink()
    assert add_up(run(work(log=str(log)), workers=2, save=save)) == WHOLE
    done = {json.loads(line)["chunk"] * CHUNK for line in lines[1:4]}
    ran = [int(line) for line in log.read_text().split()]
    assert sorted(ran) == sorted(set(range(0, COUNT, CHUNK)) - done)
    assert len(save.read_text().splitlines()) == 11


def test_the_results_of_other_work_are_not_taken(tmp_path: Path) -> None:
    save = tmp_path / "run.jsonl"
    run(work(), workers=0, save=save)
    with pytest.raises(WrongUse, match="results of other work.*name another file, or delete this one"):
        run(work(wait_s=0.001), workers=0, save=save)


def test_ctrl_c_keeps_what_was_finished(tmp_path: Path) -> None:
    save, log = tmp_path / "run.jsonl", tmp_path / "log"
    # A runner in the background may have had SIGINT ignored, which children inherit.
    script = ("import signal; signal.signal(signal.SIGINT, signal.default_int_handler)\n"
              f"import sys; sys.path[:0] = [{str(HERE)!r}, {str(HERE.parent)!r}]\n"
              "from pathlib import Path\n"
              "from fieldaid.authoring.mass import Work, run\n"
              "if __name__ == '__main__':\n"
              f"    work = Work('mass_jobs:squares', {{'log': {str(log)!r}, 'wait_s': 1.0}}, {COUNT}, {CHUNK})\n"
              f"    run(work, workers=2, save=Path({str(save)!r}))\n")
    file = tmp_path / "script.py"
    file.write_text(script)
    process = subprocess.Popen([sys.executable, str(file)], stderr=subprocess.PIPE, start_new_session=True)
    try:
        while process.poll() is None and not (save.exists() and save.read_text().count("\n") >= 3):
            time.sleep(0.02)
        process.send_signal(signal.SIGINT)
        process.communicate(timeout=60)
    finally:
        process.kill()
    assert process.returncode != 0
    kept = save.read_text().count("\n") - 1
    assert 2 <= kept < 10
    log.unlink()
    assert add_up(run(work(log=str(log), wait_s=1.0), workers=2, save=save)) == WHOLE
    assert len(log.read_text().split()) == 10 - kept


def test_adding_up() -> None:
    assert add_up([]) == {}
    assert add_up([{"a": 1, "b": {"x": 1}}, {"a": 2, "b": {"y": 5, "x": 1}, "c": ["q"]}, {"c": ["r"]}]) == {
        "a": 3, "b": {"x": 2, "y": 5}, "c": ["q", "r"]}
