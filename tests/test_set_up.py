"""The set-up: reads its lock, finds what is missing, names what it could not do, and needs only a Python."""

from __future__ import annotations

import ast
import io
import json
import os
import re
import stat
import subprocess
import sys
from pathlib import Path

import pytest
from packaging.requirements import Requirement

from fieldaid import set_up
from fieldaid.setting_up import demo, environment, interpreter, lock, steps, system

CHECKOUT = Path(__file__).resolve().parent.parent
MODULES = [CHECKOUT / "fieldaid" / "set_up.py", *sorted((CHECKOUT / "fieldaid" / "setting_up").glob("*.py"))]
HERE = environment.Environment(Path(sys.prefix), CHECKOUT)


@pytest.fixture
def runner() -> steps.Runner:
    return steps.Runner(out=io.StringIO())


def printed(runner: steps.Runner) -> str:
    return runner.out.getvalue()


def script(path: Path, text: str) -> Path:
    path.write_text(f"#!/bin/sh\n{text}\n", encoding="utf-8")
    path.chmod(path.stat().st_mode | stat.S_IXUSR)
    return path


# --- the lock ---


def declared() -> list[Requirement]:
    import tomllib

    project = tomllib.loads((CHECKOUT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    wanted = [*project["dependencies"], *(r for rs in project["optional-dependencies"].values() for r in rs)]
    return [Requirement(text) for text in dict.fromkeys(wanted) if not text.startswith(lock.PROJECT)]


@pytest.mark.parametrize("wanted", declared(), ids=str)
def test_the_lock_holds_each_requirement_at_an_allowed_version(wanted: Requirement) -> None:
    pins = [pin for pin in lock.read(CHECKOUT).pins if pin.name == lock.normal(wanted.name)]
    assert pins
    assert any(wanted.specifier.contains(pin.version, prereleases=True) for pin in pins), pins


def test_the_lock_pins_everything_with_hashes_and_names_no_index() -> None:
    text = (CHECKOUT / "requirements.lock").read_text(encoding="utf-8")
    assert len(lock.read_pins(text)) > 30
    assert not re.search(r"https?:|--index|--extra|--find|@ ", text)
    hashes = re.findall(r"--hash=sha256:(\w+)", text)
    assert hashes and all(len(value) == 64 for value in hashes)


def test_groups_of_the_lock_hold_what_they_need_and_no_more() -> None:
    whole = lock.read(CHECKOUT)
    base = {pin.name for pin in whole.of("base")}
    assert {"pydantic", "pydantic-core", "cffi", "pycparser", "pocketsphinx"} <= base
    assert not base & {"pytest", "ruff", "vosk", "durable-rules", "hatchling", "onnxruntime"}
    assert [pin.name for pin in whole.of("engine")] == ["durable-rules"]
    assert {pin.name for pin in whole.of("all")} == {pin.name for pin in whole.pins}
    for extra in set_up.EXTRAS:
        assert whole.of(extra)
        assert set(set_up.SOURCE.get(extra, ())) <= {pin.name for pin in whole.of(extra)}


def test_each_package_of_base_and_test_has_its_cost_in_words() -> None:
    groups = lock.read(CHECKOUT).groups
    assert [
        name
        for group in ("base", "build", "voice", "test", "test-vosk")
        for name in groups[group]
        if name not in environment.COSTS
    ] == []


def test_a_lock_entry_keeps_its_marker_and_hashes() -> None:
    text = (
        "one==1.0 ; python_version < '3.12' \\\n    --hash=sha256:aa\n    # via two\n"
        "two_b==2 \\\n    --hash=sha256:bb \\\n    --hash=sha256:cc\n"
        "    # via\n    #   fieldaid (pyproject.toml)\n"
    )
    one, two = lock.read_pins(text)
    assert (one.name, one.version, one.marker, one.via) == ("one", "1.0", "python_version < '3.12'", {"two"})
    assert one.text == "one==1.0 ; python_version < '3.12' \\\n    --hash=sha256:aa"
    assert (two.name, two.via) == ("two-b", {"fieldaid"})
    assert two.text.count("--hash") == 2


@pytest.mark.parametrize("entry", ["one>=1 \\\n    --hash=sha256:aa", "one==1.0", "-r other.txt", "git+x"])
def test_a_lock_entry_without_pin_or_hash_is_refused_with_its_line(entry: str) -> None:
    with pytest.raises(ValueError, match="line 3: .*not pinned"):
        lock.read_pins(f"good==1 \\\n    --hash=sha256:aa\n{entry}\n")


def test_a_closure_follows_chains_and_circles() -> None:
    def pin(name: str, *via: str) -> lock.Pin:
        return lock.Pin(name, "1", "", f"{name}==1", frozenset(via))

    pins = [pin("a", "fieldaid", "c"), pin("b", "a"), pin("c", "b"), pin("d", "fieldaid"), pin("e", "d")]
    assert [found.name for found in lock.closure(pins, ["a"])] == ["a", "b", "c"]
    assert [found.name for found in lock.closure(pins, ["D"])] == ["d", "e"]


# --- steps and their words ---


def test_a_step_is_one_line_with_its_time(runner: steps.Runner) -> None:
    runner.step("packages", lambda: steps.ok("3 packages"))
    assert re.fullmatch(r"packages +ok +\d+\.\d s  3 packages\n", printed(runner))
    assert runner.losses == []


def test_a_loss_says_what_it_costs_why_and_what_to_do(runner: steps.Runner) -> None:
    loss = steps.Loss("the voice", "replies are not spoken", "no network", "try again")
    assert runner.step("voice", lambda: steps.failed(loss)).failed
    for words in ("FAILED", "the voice", "replies are not spoken", "no network", "try again"):
        assert words in printed(runner)
    assert runner.losses == [loss]


def test_a_full_disk_is_a_failed_step_and_not_a_traceback(runner: steps.Runner) -> None:
    def act() -> steps.Outcome:
        raise OSError(28, "No space left on device")

    assert runner.step("packages", act).failed
    assert "No space left on device" in printed(runner)


def test_a_command_that_is_missing_or_hangs_counts_as_failed(runner: steps.Runner, tmp_path: Path) -> None:
    assert runner.run([tmp_path / "nothing-here"]).returncode == 127
    assert runner.run([sys.executable, "-c", "input()"]).returncode == 1
    hanging = runner.run([sys.executable, "-c", "import threading; threading.Event().wait()"], timeout=0.3)
    assert hanging.returncode == 124
    assert "no answer within" in steps.reason(hanging)


@pytest.mark.parametrize(
    ("said", "expected"),
    [
        ("x.c:3:10: fatal error: Python.h: No such file or directory\nerror: command failed\n", "Python.h"),
        (
            "ERROR: No matching distribution found for one==1\nhint: look\n",
            "No matching distribution found for one==1",
        ),
        (
            "WARNING: Retrying: NewConnectionError('x')\nERROR: No matching distribution found for one\n",
            "a network",
        ),
        ("E: Unable to locate package one\n", "Unable to locate package one"),
        ("", "exit code 9"),
    ],
)
def test_the_telling_line_of_a_failure_is_found(said: str, expected: str) -> None:
    assert expected in steps.reason(subprocess.CompletedProcess([], 9, "", said))


# --- the system ---


@pytest.fixture
def fake_system(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A system with an apt-get that can bring `one` but not `two`, and a sudo that asks nothing."""
    tools, got = tmp_path / "tools", tmp_path / "got"
    tools.mkdir()
    got.mkdir()
    script(tools / "sudo", '[ "$1" = -n ] && shift; [ "$1" = true ] || exec "$@"')
    script(
        tools / "apt-get",
        f'for word in "$@"; do last=$word; case $word in two) '
        f'echo "E: Unable to locate package two" >&2; exit 100;; esac; done; : > {got}/$last',
    )
    monkeypatch.setenv("PATH", str(tools), prepend=os.pathsep)
    monkeypatch.setattr(
        system,
        "needs",
        lambda python: [
            system.Need("thing one", ("one",), "no first thing", (got / "one").exists),
            system.Need("thing two", ("two",), "no second thing", (got / "two").exists),
        ],
    )
    return got


def test_missing_system_packages_are_installed_and_the_rest_is_named(fake_system: Path, runner: steps.Runner) -> None:
    outcome = system.system_step(runner, None)
    assert outcome.word == "partly"
    assert [(loss.what, loss.cost) for loss in outcome.losses] == [("thing two", "no second thing")]
    assert "Unable to locate package two" in outcome.losses[0].why
    assert "apt-get install -y two" in outcome.losses[0].next_step
    (fake_system / "two").touch()
    assert system.system_step(runner, None).word == "there already"


def test_no_system_installs_nothing_and_names_everything(fake_system: Path, runner: steps.Runner) -> None:
    outcome = system.system_step(runner, None, allowed=False)
    assert outcome.failed and len(outcome.losses) == 2
    assert list(fake_system.iterdir()) == []


def test_without_root_and_sudo_it_says_so(
    fake_system: Path, runner: steps.Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(os, "geteuid", lambda: 1000)
    assert system.privilege(runner) == ["sudo", "-n"]
    monkeypatch.setattr(system.shutil, "which", lambda name: None if name == "sudo" else f"/usr/bin/{name}")
    assert "needs root" in system.system_step(runner, None).losses[0].why


def test_a_newer_python_is_fetched_where_the_distribution_has_one(
    fake_system: Path, runner: steps.Runner, tmp_path: Path
) -> None:
    script(tmp_path / "tools" / "apt-cache", 'echo "  Candidate: (none)"')
    assert "no Python 3.11" in system.fetch_python(runner)
    assert "update" in {path.name for path in fake_system.iterdir()}, "a bare system has no package lists"
    knows = 'case $2 in python3.12-venv) echo "  Candidate: 3.12.3-1";; *) echo "  Candidate: (none)";; esac'
    script(tmp_path / "tools" / "apt-cache", knows)
    assert system.fetch_python(runner) == ""
    assert "python3.12-dev" in {path.name for path in fake_system.iterdir()}


def test_headers_and_venv_are_asked_of_the_system_only_for_its_own_python() -> None:
    own = interpreter.Interpreter("/usr/bin/python3.12", (3, 12, 3), "/usr")
    other = interpreter.Interpreter("/opt/python/bin/python3", (3, 12, 3), "/opt/python")
    packages = {package for need in system.needs(own) for package in need.packages}
    assert {
        "python3.12-dev",
        "python3.12-venv",
        "gcc",
        "libc6-dev",
        "libportaudio2",
        "libespeak-ng1",
    } <= packages
    assert not any("python" in package for need in system.needs(other) for package in need.packages)


# --- interpreters ---


def pretend(path: Path, *version: int) -> str:
    told = json.dumps({"path": str(path), "version": version, "prefix": "/usr"})
    return str(script(path, f"echo '{told}'"))


def test_old_broken_and_missing_interpreters_are_passed_over(tmp_path: Path) -> None:
    old = pretend(tmp_path / "old", 3, 9, 18)
    broken = str(script(tmp_path / "broken", "exit 3"))
    odd = str(script(tmp_path / "odd", "echo hello"))
    newer = pretend(tmp_path / "newer", 3, 99, 0)
    good = pretend(tmp_path / "good", 3, 12, 1)
    missing = str(tmp_path / "missing")
    assert interpreter.find([broken, old, odd, missing]) is None
    assert interpreter.find([broken, newer, old, good]).path == good
    assert interpreter.find([old, newer]).version == (3, 99, 0)


def test_this_interpreter_answers() -> None:
    known = interpreter.ask(sys.executable)
    assert known.version == sys.version_info[:3] and known.usable
    assert interpreter.ask(known.path).version == known.version


# --- the environment ---


def absent_pin() -> lock.Pin:
    text = "fieldaid-no-such-package==1.0 \\\n    --hash=sha256:" + "0" * 64
    return lock.Pin("fieldaid-no-such-package", "1.0", "", text, frozenset({"fieldaid"}))


def test_what_is_missing_is_found_by_version_and_marker(runner: steps.Runner) -> None:
    numpy = [pin for pin in lock.read(CHECKOUT).pins if pin.name == "numpy"]
    assert len(numpy) == 2, "one version for 3.11 and one for newer Pythons"
    assert HERE.missing(runner, numpy) == []
    off = lock.Pin("numpy", "0.1", "", "", frozenset())
    not_here = lock.Pin("nothing", "1", "sys_platform == 'nowhere'", "", frozenset())
    assert HERE.missing(runner, [off, not_here, absent_pin()]) == [off, absent_pin()]


def test_a_package_that_cannot_be_had_is_named_and_the_others_stay(
    runner: steps.Runner, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("PIP_NO_INDEX", "1")
    pyyaml = [pin for pin in lock.read(CHECKOUT).pins if pin.name == "pyyaml"]
    small = lock.Lock((*pyyaml, absent_pin()), {"base": ("pyyaml", "fieldaid-no-such-package")})
    outcome = HERE.wheels(runner, small, "base")
    assert [loss.what for loss in outcome.losses] == ["fieldaid-no-such-package"]
    assert "fieldaid-no-such-package" in outcome.losses[0].why
    assert HERE.wheels(runner, lock.Lock(tuple(pyyaml), {"base": ("pyyaml",)}), "base").word == "there already"


def test_a_folder_with_other_things_is_never_cleared(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "letters.txt").write_text("dear", encoding="utf-8")
    assert set_up.main(["--venv", str(tmp_path), "--no-system", "--python", sys.executable]) == 1
    assert [path.name for path in tmp_path.iterdir()] == ["letters.txt"]
    assert "holds something else" in capsys.readouterr().out


@pytest.mark.slow
def test_an_environment_is_made_once_and_kept(runner: steps.Runner, tmp_path: Path) -> None:
    python = interpreter.ask(sys.executable)
    fresh = environment.Environment(tmp_path / "deep" / "env", CHECKOUT)
    assert fresh.make(runner, python).word == "ok"
    (fresh.folder / "mark").touch()
    assert fresh.make(runner, python, insist=True).word == "there already"
    fresh.python.unlink()
    assert fresh.make(runner, python).word == "ok", "a broken environment is made anew"
    assert not (fresh.folder / "mark").exists()


# --- the main job shown ---

ANSWER = {
    "n": 1,
    "line": "wind from the west",
    "file": "/somewhere/clip_07.wav",
    "heard": "wind from the west",
    "meant": {"wind.from": "west", "wind.mph": 12, "line.aims": "roof opening"},
    "pending": ["wind.mph"],
    "replies": [{"kind": "readback", "text": "West wind.", "rules": []}],
    "guidance": {"access": "stay off"},
}


def test_an_answer_becomes_a_readable_row() -> None:
    heard, facts, replies = demo.row(ANSWER)
    assert heard == "clip_07.wav: wind from the west"
    assert facts.splitlines() == [
        "wind.from = west",
        "wind.mph = 12 (to be confirmed)",
        "line.aims = roof opening",
    ]
    assert replies.splitlines() == ["readback: West wind.", "[access: stay off]"]
    assert demo.row({"line": ""}) == ("(nothing)", "none", "")


@pytest.mark.parametrize("width", [20, 60, 110])
def test_a_table_keeps_every_word_and_its_width(width: int) -> None:
    lines = demo.table(("heard", "facts", "replies"), [demo.row(ANSWER)], width)
    column = max(16, (width - 6) // 3)
    assert max(map(len, lines)) <= 3 * column + 6
    cells = [line.split(" | ") for line in lines if " | " in line]
    assert " ".join(cell[1].strip() for cell in cells[1:] if len(cell) > 1).startswith("wind.from = west")
    for word in ("clip_07.wav:", "west", "readback:", "[access:"):
        assert any(word in line for line in lines)


def test_clips_are_few_spread_and_always_the_same(tmp_path: Path) -> None:
    assert demo.clips(tmp_path) == []
    folder = tmp_path / "demo_audio" / "clips"
    folder.mkdir(parents=True)
    for number in range(40):
        (folder / f"clip_{number:02}.wav").touch()
        (folder / f"a_scenario_{number:02}.flac").touch()
        (folder / f"clip_{number:02}.json").touch()
    names = [path.name for path in demo.clips(tmp_path)]
    assert names == ["clip_00.wav", "clip_10.wav", "clip_20.wav", "clip_30.wav"]


def pretend_environment(folder: Path, says: str, code: int = 0) -> environment.Environment:
    (folder / "bin").mkdir()
    script(folder / "bin" / "python", f"cat <<'END'\n{says}\nEND\nexit {code}")
    return environment.Environment(folder, folder)


@pytest.mark.parametrize(
    ("says", "code", "word"),
    [
        ("\n".join([json.dumps(ANSWER)] * len(demo.TYPED)), 0, "ok"),
        ("\n".join([json.dumps(ANSWER)] * len(demo.TYPED)), 3, "FAILED"),
        (json.dumps(ANSWER), 0, "FAILED"),
        ("\n".join([json.dumps({**ANSWER, "meant": {}})] * len(demo.TYPED)), 0, "FAILED"),
        ("Traceback", 1, "FAILED"),
    ],
)
def test_the_demonstration_is_judged_by_its_answers(
    says: str, code: int, word: str, runner: steps.Runner, tmp_path: Path
) -> None:
    outcome = demo.Demo(runner, pretend_environment(tmp_path, says, code)).typed()
    assert outcome.word == word
    assert bool(outcome.losses) == (word == "FAILED")


def test_no_clips_is_a_named_finding_and_no_failure(runner: steps.Runner, tmp_path: Path) -> None:
    outcome = demo.Demo(runner, pretend_environment(tmp_path, "")).heard()
    assert not outcome.failed
    assert "no demo clips found" in outcome.losses[0].why


# --- needs only a Python ---


def test_the_set_up_loads_with_the_standard_library_alone() -> None:
    code = (
        f"import sys; sys.path.insert(0, {str(CHECKOUT)!r}); import fieldaid.set_up\n"
        "print(*sorted({n.split('.')[0] for n in sys.modules} - sys.stdlib_module_names))"
    )
    done = subprocess.run([sys.executable, "-I", "-S", "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.split() == ["__main__", "fieldaid"] or done.stdout.split() == ["fieldaid"]


@pytest.mark.parametrize("path", MODULES, ids=lambda path: path.name)
def test_the_set_up_is_written_so_that_old_pythons_can_read_it(path: Path) -> None:
    tree = ast.parse(path.read_text(encoding="utf-8"), feature_version=(3, 8))
    assert any(isinstance(node, ast.ImportFrom) and node.module == "__future__" for node in tree.body) or not any(
        isinstance(node, ast.FunctionDef) for node in ast.walk(tree)
    )


@pytest.mark.parametrize("words", [["--nonsense"], ["--with", "everything"], ["--", "-k", "x"], ["--python"]])
def test_wrong_use_ends_with_2_and_a_hint(words: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit) as end:
        set_up.main(words)
    assert end.value.code == 2
    assert "usage:" in capsys.readouterr().err


def test_a_python_that_is_none_is_refused_by_name(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    assert set_up.main(["--python", str(tmp_path / "nothing"), "--venv", str(tmp_path / "v")]) == 1
    assert str(tmp_path / "nothing") in capsys.readouterr().err
    assert not (tmp_path / "v").exists()


def test_a_run_in_which_no_test_ran_is_no_success() -> None:
    assert set_up.run_tests(HERE, ["-q", "-k", "no_test_has_this_name", "tests/test_rooms.py"]) == 5


@pytest.mark.parametrize(("has_xdist", "words", "given"), [
    (True, [], "-m pytest -n auto --dist worksteal"),
    (False, [], "-m pytest"),
    (True, ["-x", "tests/facts"], "-m pytest -x tests/facts"),
])
def test_the_tests_are_spread_over_the_processors_where_that_is_possible(
        has_xdist: bool, words: list[str], given: str, tmp_path: Path) -> None:
    (tmp_path / "bin").mkdir()
    python = tmp_path / "bin" / "python"
    python.write_text(f'#!/bin/sh\n[ "$1" = -c ] && exit {0 if has_xdist else 1}\n'
                      f'echo "$*" > {tmp_path}/given\nexit 7\n')
    python.chmod(0o755)
    assert set_up.run_tests(environment.Environment(tmp_path, CHECKOUT), words) == 7
    assert (tmp_path / "given").read_text().strip() == given
