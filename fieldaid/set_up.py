"""Set fieldaid up in a checkout: `python3 -m fieldaid.set_up`, and with `--test` run its tests.

Needs nothing but a Python: it makes the environment, installs in steps, and then runs the main job once. What
cannot be installed is named with what that costs, and the rest goes on. Running it again does only what is
missing, and needs no network when nothing is.
"""

from __future__ import annotations

import argparse
import os
import platform
import shutil
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from fieldaid import __version__
from fieldaid.setting_up import interpreter as interpreters
from fieldaid.setting_up.demo import Demo
from fieldaid.setting_up.environment import Environment
from fieldaid.setting_up.lock import read as read_lock
from fieldaid.setting_up.steps import Runner
from fieldaid.setting_up.system import fetch_python, system_step

CHECKOUT = Path(__file__).resolve().parent.parent
COMMANDS = ("fieldaid=fieldaid.cli:main",)
NO_PYTHON = (
    "fieldaid needs Python 3.11 or newer: {}. "
    "Install one (Debian 12, Ubuntu 24.04 and newer have it), or name one with --python PATH."
)
# Tests in real time keep to themselves (tests/one_at_a_time.py), so any number of processes may share them.
SPREAD = ("-n", "auto", "--dist", "worksteal")
EXTRAS = ("vosk", "fire", "demo")
# Extras with a package that is published as source only.
SOURCE = {"vosk": ("srt",), "test-vosk": ("srt",)}


def parse(argv: list[str] | None) -> argparse.Namespace:
    """The options of one call; wrong use ends with exit code 2."""
    parser = argparse.ArgumentParser(
        prog="python3 -m fieldaid.set_up",
        formatter_class=argparse.RawDescriptionHelpFormatter,
        description="Make fieldaid's environment, install what it needs, and run its main job once.",
        epilog="Exit codes: 0 the base works (what else is missing was named); 1 it does not, or a test\n"
        "failed; 2 wrong use; 130 interrupted. What every command said is in set_up.log in the environment.\n"
        "System packages are fetched as root, or through sudo when it asks for no password.",
    )
    parser.add_argument(
        "--test",
        action="store_true",
        help="also install what the tests need, and run them; the exit code is pytest's",
    )
    parser.add_argument(
        "--venv",
        metavar="FOLDER",
        type=Path,
        default=CHECKOUT / ".venv",
        help="where the environment is made or found (default: .venv in the checkout)",
    )
    parser.add_argument(
        "--python",
        metavar="PATH",
        help="the Python to make it with, 3.11 or newer (default: the first verified one on PATH)",
    )
    parser.add_argument(
        "--with",
        metavar="EXTRA",
        dest="extras",
        action="append",
        default=[],
        choices=EXTRAS,
        help="also install an extra; may be repeated. One of: vosk (a recogniser for a model "
        "of your own), fire (fires for drills), demo (to make the demonstration recordings anew)",
    )
    parser.add_argument("--no-system", action="store_true", help="install no system packages; say which are missing")
    parser.add_argument("pytest_args", nargs="*", metavar="-- PYTEST-OPTION", help="with --test: passed on to pytest")
    options = parser.parse_args(argv)
    if options.pytest_args and not options.test:
        parser.error("only --test takes pytest's options")
    return options


def main(argv: list[str] | None = None) -> int:
    """Set up, and return the exit code."""
    options = parse(argv)
    runner = Runner()
    try:
        return set_up(options, runner, sys.argv[1:] if argv is None else argv)
    except KeyboardInterrupt:
        print("\nStopped. Run it again to go on where it was.", file=sys.stderr)
        return 130
    finally:
        if (options.venv / "pyvenv.cfg").exists():
            runner.save_log(options.venv)


def choose(options: argparse.Namespace, runner: Runner) -> interpreters.Interpreter | None:
    """The Python that the option names, or the best one here, or one fetched from the distribution."""
    if options.python:
        named = shutil.which(options.python) or options.python
        found = interpreters.find([named])
        if found is None:
            print(NO_PYTHON.format(f"{options.python} is none that answers"), file=sys.stderr)
        return found
    found = interpreters.find()
    why = "none was found on PATH"
    if found is None and not options.no_system:
        why = fetch_python(runner)
        found = interpreters.find()
    if found is None:
        print(NO_PYTHON.format(why), file=sys.stderr)
    return found


def set_up(options: argparse.Namespace, runner: Runner, argv: Sequence[str]) -> int:
    """Every step in its order; the exit code."""
    python = choose(options, runner)
    if python is None:
        return 1
    if sys.version_info < interpreters.OLDEST:
        # The lock is read with tomllib, which this Python lacks: the newer one takes over.
        os.execve(
            python.path,
            [python.path, "-m", "fieldaid.set_up", *argv],
            {**os.environ, "PYTHONPATH": str(CHECKOUT)},
        )
    try:
        lock = read_lock(CHECKOUT)
    except (OSError, ValueError, KeyError) as error:
        print(
            f"{CHECKOUT}: pyproject.toml and requirements.lock cannot be used: {error}. "
            "The set-up runs in a checkout of fieldaid; get a whole one.",
            file=sys.stderr,
        )
        return 1
    runner.line(f"fieldaid {__version__} in {CHECKOUT}, with Python {python.full} ({python.path})")
    if not python.verified:
        runner.line("Python 3.11, 3.12 and 3.13 are verified; this one is not.")
    if sys.platform != "linux" or platform.machine() != "x86_64":
        runner.line(f"Linux on x86-64 is verified; {platform.system()} on {platform.machine()} is not.")

    environment = Environment(options.venv.resolve(), CHECKOUT)
    runner.step("system packages", lambda: system_step(runner, python, allowed=not options.no_system))
    made = runner.step("environment", lambda: environment.make(runner, python, insist=bool(options.python)))
    if made.failed:
        runner.line("\nNothing could be installed: put the cause named above right, and run this again.")
        return 1
    inside = interpreters.ask(str(environment.python)) or python
    runner.step("packages", lambda: environment.wheels(runner, lock, "base", "build"))
    runner.step("fieldaid", lambda: environment.project(runner, __version__, COMMANDS))
    runner.step("rule engine", lambda: environment.engine(runner, lock, inside))
    runner.step("speech model", lambda: environment.wheels(runner, lock, "voice"))
    runner.step("pictures", lambda: environment.wheels(runner, lock, "draw"))
    for extra in options.extras:
        runner.step(
            f"extra {extra}",
            lambda extra=extra: environment.wheels(runner, lock, extra, source=SOURCE.get(extra, ())),
        )
    if options.test:
        runner.step("test packages", lambda: environment.wheels(runner, lock, "test"))
        runner.step("libraries to compare with", lambda: environment.wheels(runner, lock, "reference", "cluster"))
        runner.step(
            "test packages for Vosk",
            lambda: environment.wheels(runner, lock, "test-vosk", source=SOURCE["test-vosk"]),
        )

    demo = Demo(runner, environment)
    shown = [runner.step("typed lines", demo.typed), runner.step("recordings", demo.heard)]
    works = not any(outcome.failed for outcome in shown)
    runner.line(closing(environment, works, len(runner.losses)))
    if options.test:
        return run_tests(environment, options.pytest_args) or (0 if works else 1)
    return 0 if works else 1


def closing(environment: Environment, works: bool, losses: int) -> str:
    """What the person reads last: whether it works, what is missing, and how to begin."""
    lacks = f" {losses} thing{'s' if losses != 1 else ''} could not be set up: named above." if losses else ""
    if not works:
        return f"\nThe main job does not run.{lacks} What every command said: {environment.folder}/set_up.log"
    command = environment.folder / "bin" / "fieldaid"
    if CHECKOUT in command.parents:
        command = command.relative_to(CHECKOUT)
    return f"\nThe main job runs.{lacks} Begin with: {command} type"


def run_tests(environment: Environment, words: Sequence[str]) -> int:
    """Run pytest on the checkout, its output going straight to the person; pytest's exit code.

    Without options of one's own the tests are spread over the processors, if the package for that is there.
    """
    python = str(environment.python)
    if not words and subprocess.run([python, "-c", "import xdist"], capture_output=True, check=False).returncode == 0:
        words = SPREAD
    done = subprocess.run([python, "-m", "pytest", *words], cwd=CHECKOUT, stdin=subprocess.DEVNULL, check=False)
    return done.returncode


if __name__ == "__main__":
    sys.exit(main())
