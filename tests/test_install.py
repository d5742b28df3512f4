"""The package as others install it: a wheel and an editable install, each run from another folder.

No network: what fieldaid needs is lent by the environment that runs the tests; only fieldaid is installed.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import sysconfig
import zipfile
from pathlib import Path

import pytest

import fieldaid

CHECKOUT = Path(__file__).resolve().parent.parent
PIP = [sys.executable, "-I", "-m", "pip", "--disable-pip-version-check", "--no-input"]
QUIET = ["--quiet", "--no-deps", "--no-build-isolation", "--no-index"]

pytestmark = pytest.mark.slow


def run(*command: str | Path, cwd: Path, stdin: str = "") -> str:
    """What the command printed; the test fails with what it complained about."""
    env = {
        name: value for name, value in os.environ.items() if not name.startswith(("PYTHON", "VIRTUAL_ENV"))
    }
    done = subprocess.run(
        list(map(str, command)),
        cwd=cwd,
        env={**env, "FIELDAID_HOME": str(cwd / "state")},
        input=stdin,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert done.returncode == 0, done.stderr + done.stdout
    return done.stdout


@pytest.fixture(scope="module")
def wheel(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("wheel")
    run(*PIP, "wheel", *QUIET, "--wheel-dir", folder, CHECKOUT, cwd=folder)
    (built,) = folder.glob("fieldaid-*.whl")
    return built


@pytest.fixture(scope="module", params=["wheel", "editable"])
def installed(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The bin folder of a fresh environment that holds fieldaid, installed in one of the two ways."""
    folder = tmp_path_factory.mktemp(f"{request.param}_env")
    run(sys.executable, "-I", "-m", "venv", "--without-pip", folder, cwd=folder)
    # A plain path line lends the libraries without the lender's own editable install of fieldaid.
    (site,) = (folder / "lib").glob("python3.*/site-packages")
    (site / "lent.pth").write_text(f"{sysconfig.get_path('purelib')}\n{sysconfig.get_path('platlib')}\n")
    what = [request.getfixturevalue("wheel")] if request.param == "wheel" else ["--editable", CHECKOUT]
    # --ignore-installed: the lender's fieldaid is visible to pip here and must be left alone.
    python = folder / "bin" / "python"
    run(*PIP, "--python", python, "install", *QUIET, "--ignore-installed", *what, cwd=folder)
    return folder / "bin"


def test_the_wheel_holds_the_package_its_data_and_its_licence(wheel: Path) -> None:
    names = set(zipfile.ZipFile(wheel).namelist())
    ours = {
        f"fieldaid/{path.relative_to(CHECKOUT / 'fieldaid')}"
        for path in (CHECKOUT / "fieldaid").rglob("*.py")
    }
    assert ours - names == set()
    for data in ("rules", "grammars"):
        edited = {str(path.relative_to(CHECKOUT)) for path in (CHECKOUT / data).rglob("*.yaml")}
        assert edited, f"{data} holds nothing"
        assert {f"fieldaid/_data/{name}" for name in edited} - names == set()
    assert any(name.endswith("licenses/LICENSE") for name in names)
    assert not any(name.startswith(("tests", "demo_audio", "rules", "grammars")) for name in names)


def test_the_version_is_told_from_another_folder(installed: Path, tmp_path: Path) -> None:
    for command in ([installed / "fieldaid"], [installed / "python", "-m", "fieldaid"]):
        assert fieldaid.__version__ in run(*command, "--version", cwd=tmp_path)


def test_the_code_that_runs_is_the_installed_one(installed: Path, tmp_path: Path) -> None:
    where = Path(
        run(installed / "python", "-c", "import fieldaid; print(fieldaid.__file__)", cwd=tmp_path).strip()
    )
    home = CHECKOUT if "editable" in installed.parent.name else installed.parent
    assert home in where.parents


def test_a_typed_line_is_answered_from_another_folder(installed: Path, tmp_path: Path) -> None:
    said = run(
        installed / "fieldaid", "type", "--json", cwd=tmp_path, stdin="wind from the west\nthe roof is fine\n"
    )
    first, second = map(json.loads, said.splitlines())
    assert first["meant"] == {"wind.from": "west"}
    assert first["result"] == "taken"
    assert second["meant"] == {}
    assert first["guidance"]["access"] == "stay off"
