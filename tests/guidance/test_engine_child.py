"""The child process killed, hung, lying, missing: guidance goes on from the second channel, says so once, and the
engine comes back."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest
from guidance_situations import loaded, random_cases

from fieldaid.clock import monotonic
from fieldaid.errors import EngineError
from fieldaid.facts.situation import Situation
from fieldaid.guidance import engine as engine_module
from fieldaid.guidance import guide as guide_module
from fieldaid.guidance.engine import Engine, is_installed
from fieldaid.guidance.guide import DIFFER, Guide
from fieldaid.guidance.reference import Reference

needs_engine = pytest.mark.skipif(not is_installed(), reason="durable-rules is not installed")
ROOT = str(engine_module._ROOT)
SERVE = "from fieldaid.guidance.engine_child import main; main()"
SOFT = Situation.of({"deck.C": "soft", "crew.where": "roof"})


@pytest.fixture(scope="module")
def pack():
    return loaded("barn")


def start(before: str) -> str:
    """What the child runs, with `before` first."""
    return f"import sys; sys.path.insert(0, {ROOT!r}); {before}; {SERVE}"


def wait_until(engine: Engine, other_than: int | None) -> int:
    """Waits for a child that is not `other_than`; its process id."""
    deadline = monotonic() + 20.0
    while monotonic() < deadline:
        engine.wait_ready(0.2)
        if engine.pid not in (None, other_than):
            return engine.pid
    pytest.fail("no new child came")


def is_running(pid: int) -> bool:
    try:
        with open(f"/proc/{pid}/stat") as file:
            return file.read().rsplit(")", 1)[1].split()[0] != "Z"
    except FileNotFoundError:
        return False


@needs_engine
@pytest.mark.parametrize("blow", [signal.SIGKILL, signal.SIGSTOP, signal.SIGSEGV])
def test_a_child_that_is_killed_or_hangs_costs_one_notice_and_comes_back(pack, blow):
    with Guide(pack, timeout_s=0.5) as guide:
        first = guide.evaluate(SOFT)
        assert first.channels_agree is True and first.notices == ()
        pid = guide.engine.pid
        os.kill(pid, blow)
        began = monotonic()
        during = guide.evaluate(SOFT)
        took = monotonic() - began
        assert during.channels_agree is None
        assert during.outcome == first.outcome
        assert len(during.notices) == 1 and during.notices[0].startswith("Second opinion lost: ")
        # The limit of 0.5 s and room for a busy machine.
        assert took < 2.0
        assert not is_running(pid)
        wait_until(guide.engine, pid)
        after = guide.evaluate(SOFT)
        assert after.channels_agree is True and after.notices == ()


@needs_engine
def test_a_child_killed_in_the_middle_of_many_evaluations_never_raises(pack):
    cases = random_cases(pack, 60, seed=2)
    expected = [Reference(pack).run(*one) for one in cases]
    with Guide(pack, timeout_s=0.5) as guide:
        notices: list[str] = []
        lost = 0
        for n, ((situation, _), outcome) in enumerate(zip(cases, expected, strict=True)):
            if n in (10, 30) and guide.engine.pid is not None:
                os.kill(guide.engine.pid, signal.SIGKILL)
            found = guide.evaluate(situation)
            assert found.outcome == outcome
            lost += found.channels_agree is None
            notices += found.notices
        assert lost and len(notices) == 1


@needs_engine
def test_a_child_lost_too_often_is_given_up_and_said_so(pack):
    with Guide(pack, timeout_s=0.5) as guide:
        guide.engine.close()
        guide.engine = Engine(pack, restarts=1)
        for _ in range(2):
            os.kill(wait_until(guide.engine, None), signal.SIGKILL)
            guide.evaluate(SOFT)
        deadline = monotonic() + 10.0
        while not guide.engine.given_up and monotonic() < deadline:
            guide.engine.wait_ready(0.1)
        last = guide.evaluate(SOFT)
        assert last.channels_agree is None
        assert last.notices == ("No second opinion from now on: it could not be started again.",)
        assert guide.evaluate(SOFT).notices == ()


@needs_engine
@pytest.mark.parametrize(("before", "why"), [
    ("import os; os.write(1, b'\\xff' * 64)", "no reply"),
    ("import os; os.write(1, b'\\x00\\x00\\x00\\x02[]')", "no reply"),
    ("import os; os.write(1, b'\\x00\\x00\\x00\\x02{]')", "no reply"),
    ("import os; os.write(1, b'\\x00\\x00\\x00\\x0f{\"ready\": \"no\"}')", "does not hold the pack"),
    ("sys.exit('the sky fell')", "the sky fell"),
    ("sys.modules['durable_rules_engine'] = None", "durable_rules_engine"),
])
def test_a_child_that_answers_with_garbage_at_the_start_is_an_error_that_says_what(pack, monkeypatch, before, why):
    monkeypatch.setattr(engine_module, "START", start(before))
    with Engine(pack, restarts=0) as engine:
        assert not engine.wait_ready(10)
        with pytest.raises(EngineError, match=why):
            engine.run(SOFT, {})


@needs_engine
@pytest.mark.parametrize(("lie", "why"), [
    ("{'id': -1, 'outcome': {}}", "another question"),
    ("{'id': data.get('id'), 'outcome': {}}", "no outcome"),
    ("{'id': data.get('id'), 'outcome': [1]}", "no outcome"),
    ("{'id': data.get('id'), 'failed': 'it is tired'}", "it is tired"),
    ("{**data, 'outcome': {**data['outcome'], 'triggers': [1]}}", "no outcome"),
    ("{**data, 'outcome': {**data['outcome'], 'size_ft': [1]}}", "no outcome"),
    ("{**data, 'outcome': {**data['outcome'], 'access': 'go on up'}}", "words that the pack does not have"),
    ("{**data, 'outcome': {**data['outcome'], 'firings': [['NO-1', '', None]]}}", "words that the pack does not have"),
])
def test_a_child_that_answers_with_something_else_is_lost(pack, monkeypatch, lie, why):
    before = ("from fieldaid.guidance import engine_child as child; whole = child.frame; "
              f"child.frame = lambda data: whole(data if 'ready' in data else {lie})")
    monkeypatch.setattr(engine_module, "START", start(before))
    with Engine(pack, restarts=0) as engine:
        assert engine.wait_ready(10)
        with pytest.raises(EngineError, match=why):
            engine.run(SOFT, {})
        assert engine.pid is None


@needs_engine
def test_what_the_child_says_on_standard_output_or_error_does_no_harm(pack, monkeypatch):
    before = ("from fieldaid.guidance import engine_run; whole = engine_run.Runner.run; "
              "engine_run.Runner.run = lambda self, *a: ("
              "print('x' * 200000, flush=True), print('y' * 200000, file=sys.stderr, flush=True), whole(self, *a))[-1]")
    monkeypatch.setattr(engine_module, "START", start(before))
    with Engine(pack, restarts=0) as engine:
        assert engine.wait_ready(10)
        assert engine.run(SOFT, {}, timeout_s=5.0) == Reference(pack).run(SOFT, {})


@needs_engine
def test_a_child_that_loops_inside_an_evaluation_ends_itself(pack):
    """No parent is there to kill it: the alarm does."""
    before = ("from fieldaid.guidance import engine_child, engine_run; engine_child.LONGEST_RUN_S = 1\n"
              "def loop(self, *a):\n    while True: pass\nengine_run.Runner.run = loop\n")
    code = f"import sys; sys.path.insert(0, {ROOT!r})\n{before}\n{SERVE}"
    from fieldaid.guidance.engine import rule_to_data
    from fieldaid.guidance.engine_child import frame

    load = frame({"load": {"digest": "x", "rules": [rule_to_data(one) for one in pack.live_rules]}})
    ask = frame({"id": 1, "values": {}, "basis": {}})
    with subprocess.Popen([sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE) as child:
        child.stdin.write(load + ask)
        child.stdin.flush()
        assert child.wait(timeout=20) == -signal.SIGALRM


@needs_engine
@pytest.mark.parametrize("stopped", [False, True])
def test_the_child_ends_when_its_parent_is_killed(stopped, tmp_path):
    """Also when it hangs: the kernel ends it with its parent."""
    code = (f"import sys, time; sys.path[:0] = [{ROOT!r}, {str(Path(__file__).parent)!r}]\n"
            "from guidance_situations import loaded\nfrom fieldaid.guidance.engine import Engine\n"
            "engine = Engine(loaded('barn'))\nengine.wait_ready(10)\nprint(engine.pid, flush=True)\ntime.sleep(60)\n")
    with subprocess.Popen([sys.executable, "-c", code], stdout=subprocess.PIPE, text=True) as parent:
        pid = int(parent.stdout.readline())
        assert is_running(pid)
        if stopped:
            os.kill(pid, signal.SIGSTOP)
        parent.kill()
    deadline = monotonic() + 10.0
    while is_running(pid) and monotonic() < deadline:
        threading.Event().wait(0.05)
    assert not is_running(pid)


@needs_engine
def test_close_ends_the_child_and_a_later_run_is_a_clear_error(pack):
    engine = Engine(pack)
    assert engine.wait_ready(10)
    pid = engine.pid
    engine.close()
    assert not is_running(pid)
    with pytest.raises(EngineError):
        engine.run(SOFT, {})


@needs_engine
def test_several_threads_may_ask_at_once(pack):
    cases = random_cases(pack, 40, seed=9)
    reference = Reference(pack)
    wrong: list[object] = []
    with Engine(pack) as engine:
        assert engine.wait_ready(10)

        def work(part: list) -> None:
            wrong.extend(one for one in part if engine.run(*one, timeout_s=10.0) != reference.run(*one))

        threads = [threading.Thread(target=work, args=(cases[n::4],)) for n in range(4)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
    assert wrong == []


@needs_engine
@pytest.mark.parametrize("ahead", [1, 3, 100_000])
def test_many_situations_told_ahead_come_out_as_one_by_one(pack, monkeypatch, ahead):
    """With everything told ahead both pipes fill up: more is told than they hold, before an answer is taken."""
    monkeypatch.setattr(engine_module, "TOLD_AHEAD", ahead)
    cases = random_cases(pack, 60, seed=11) * (10 if ahead > 60 else 1)
    reference = Reference(pack)
    with Engine(pack) as engine:
        assert engine.run_all(iter(cases), 10.0) == [reference.run(*one) for one in cases]
        assert engine.started and engine.run(SOFT, {}) == reference.run(SOFT, {})


@needs_engine
def test_a_child_killed_while_many_are_told_ahead_costs_the_one_that_it_worked_on(pack):
    cases = random_cases(pack, 80, seed=12)
    expected = [Reference(pack).run(*one) for one in cases]
    with Engine(pack) as engine:
        first = wait_until(engine, None)

        def killing():
            for n, case in enumerate(cases):
                if n == 30:
                    os.kill(first, signal.SIGKILL)
                yield case

        found = engine.run_all(killing(), 10.0)
    lost = [n for n, one in enumerate(found) if isinstance(one, EngineError)]
    assert len(found) == len(cases) and len(lost) == 1
    assert all(one == other for n, (one, other) in enumerate(zip(found, expected, strict=True)) if n not in lost)


@needs_engine
def test_with_no_child_at_all_every_situation_has_the_reason(pack, monkeypatch):
    monkeypatch.setattr(engine_module, "START", start("sys.exit('the sky fell')"))
    with Engine(pack, restarts=0) as engine:
        found = engine.run_all([(SOFT, {}), (SOFT, {})])
    assert not engine.started and len(found) == 2
    assert all(isinstance(one, EngineError) and "the sky fell" in one.why for one in found)


@needs_engine
def test_a_caller_that_breaks_off_leaves_no_answer_behind_for_the_next_question(pack):
    def breaking_off():
        yield from random_cases(pack, 20, seed=13)
        raise ValueError("enough")

    with Engine(pack) as engine:
        first = wait_until(engine, None)
        with pytest.raises(ValueError, match="enough"):
            engine.run_all(breaking_off(), 10.0)
        wait_until(engine, first)
        assert engine.run(SOFT, {}) == Reference(pack).run(SOFT, {})


def test_without_durable_rules_one_channel_decides_and_says_what_that_costs(pack, monkeypatch):
    monkeypatch.setattr(guide_module.engine_, "is_installed", lambda: False)
    with Guide(pack) as guide:
        found = guide.evaluate(SOFT)
        assert (found.access, found.channels_agree) == ("leave now", None)
        (notice,) = found.notices
        assert "durable-rules is not installed" in notice and "fieldaid[engine]" in notice
        assert guide.evaluate(SOFT).notices == ()


@needs_engine
def test_a_durable_rules_that_does_not_load_is_named_with_what_helps(pack, monkeypatch):
    """As on Python 3.13, where it builds and then lacks a symbol."""
    monkeypatch.setattr(engine_module, "START", start("sys.modules['durable_rules_engine'] = None"))
    with Guide(pack) as guide:
        found = guide.evaluate(SOFT)
        assert (found.access, found.channels_agree) == ("leave now", None)
        lost, given_up = found.notices
        assert "durable_rules_engine" in lost and "CPPFLAGS" in given_up


@needs_engine
def test_channels_that_differ_are_said_once_and_the_stricter_counts(pack, monkeypatch):
    before = ("from fieldaid.guidance import engine_compile; engine_compile.compile_unless = lambda stage, unless: []")
    monkeypatch.setattr(engine_module, "START", start(before))
    barn = Situation.of({"deck.C": "soft", "crew.where": "roof", "building.use": "barn"})
    with Guide(pack) as guide:
        found = guide.evaluate(barn)
        assert found.channels_agree is False and found.notices == (DIFFER,)
        assert found.access == "leave now" and [line.text for line in found.triggers] == ["Soft deck, C."]
        again = guide.evaluate(barn)
        assert again.channels_agree is False and again.notices == ()
