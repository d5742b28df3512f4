"""Every code has a page, a sample that gives it at the line that the sample marks, and a sample that does not."""

from __future__ import annotations

import re
import shutil
from pathlib import Path

import pytest

from fieldaid.authoring.check import all_checks, all_pages
from fieldaid.authoring.check_room import Report, examine, explain
from fieldaid.errors import WrongUse

SAMPLES = Path(__file__).parent / "samples"
MARK = re.compile(r"# <- (F[0-9]{3})")
# These come from running situations: `test_situations` has their samples.
OF_RUNNING = {"F811", "F812"}
CODES = sorted(set(all_pages()) - OF_RUNNING)


def laid_out(sample: Path, into: Path) -> Path:
    """The base pack with a sample laid over it: one rules file, or a folder of files."""
    shutil.copytree(SAMPLES / "base", into)
    if sample.is_file():
        shutil.copy(sample, into / "rules" / "sample.yaml")
    else:
        shutil.copytree(sample, into, dirs_exist_ok=True)
    return into


def checked(pack: Path) -> Report:
    """The report on a sample; with a folder `overlay` in it, on that laid over the rest."""
    overlay = pack / "overlay"
    return examine(overlay, pack) if overlay.is_dir() else examine(pack)


def sample(code: str, kind: str) -> Path | None:
    """The sample of a code, a file or a folder; None when there is none."""
    return next((path for path in (SAMPLES / f"{code}_{kind}.yaml", SAMPLES / f"{code}_{kind}") if path.exists()), None)


def marked(pack: Path, code: str) -> set[tuple[str, int]]:
    """The places that the sample marks: `# <- F701` at the end of a line, or a line of the file EXPECT."""
    found = {(str(path.relative_to(pack)), number) for path in pack.rglob("*.yaml")
             for number, line in enumerate(path.read_text(encoding="utf-8", errors="replace").splitlines(), 1)
             if (mark := MARK.search(line)) and mark[1] == code}
    if (pack / "EXPECT").is_file():
        found |= {(file, int(line)) for file, line in (one.split(":") for one in (pack / "EXPECT").read_text().split())}
    return found


def test_the_base_of_the_samples_is_clean(tmp_path: Path) -> None:
    report = examine(laid_out(SAMPLES / "base", tmp_path / "pack"))
    assert report.findings == () and report.exit_code(strict=True) == 0 and report.situations == 1


@pytest.mark.parametrize("code", CODES)
def test_the_bad_sample_gives_the_code_where_it_is_marked(code: str, tmp_path: Path) -> None:
    one = sample(code, "bad")
    assert one is not None, f"write {code}_bad.yaml"
    pack = laid_out(one, tmp_path / "pack")
    report = checked(pack)
    found = {(str(Path(one.file).relative_to(pack)), one.line) for one in report.findings if one.code == code}
    expected = marked(pack, code)
    assert expected and found == expected, "\n".join(map(str, report.findings))
    page = all_pages()[code]
    assert {one.severity for one in report.findings if one.code == code} == {page.severity}
    assert report.exit_code(strict=True) in (1, 3)
    for one in report.findings:
        assert one.message and one.hint and "\n" not in one.message


@pytest.mark.parametrize("code", [check.page.code for check in all_checks()])
def test_the_good_sample_gives_nothing_of_the_code(code: str, tmp_path: Path) -> None:
    one = sample(code, "good")
    assert one is not None, f"write {code}_good.yaml"
    report = checked(laid_out(one, tmp_path / "pack"))
    assert not report.waiting, "\n".join(map(str, report.findings))
    assert [one for one in report.findings if one.code == code] == []


def test_every_sample_belongs_to_a_code() -> None:
    names = {path.name.removesuffix(".yaml").partition("_")[0] for path in SAMPLES.iterdir()} - {"base"}
    assert names <= set(all_pages())


@pytest.mark.parametrize("code", sorted(all_pages()))
def test_every_code_is_explained(code: str, capsys: pytest.CaptureFixture[str]) -> None:
    import sys

    assert explain(code.lower(), False, sys.stdout) == 0
    text = capsys.readouterr().out
    assert text.startswith(f"{code} (") and all(f"\n{head}\n  " in text for head in ("Avoid", "Prefer", "Why"))


def test_the_list_of_codes_has_a_line_for_each(capsys: pytest.CaptureFixture[str]) -> None:
    import sys

    assert explain(None, True, sys.stdout) == 0
    assert [line.split()[0] for line in capsys.readouterr().out.splitlines()] == list(all_pages())


def test_a_code_that_does_not_exist_names_the_nearest() -> None:
    import sys

    with pytest.raises(WrongUse, match="the nearest are F7"):
        explain("F777", False, sys.stdout)


def test_no_code_of_the_loader_lacks_a_page() -> None:
    guidance = Path(examine.__code__.co_filename).parents[1] / "guidance"
    written = {code for path in guidance.glob("*.py") for code in re.findall(r'"(F[0-9]{3})"', path.read_text())}
    assert written <= set(all_pages())


def test_each_check_stands_in_a_small_module_of_its_own() -> None:
    from fieldaid.authoring import checks

    modules = [path for path in Path(checks.__path__[0]).glob("*.py") if path.name != "__init__.py"]
    assert len(modules) == len(all_checks())
    for path in modules:
        assert len(path.read_text().splitlines()) < 120, path.name
