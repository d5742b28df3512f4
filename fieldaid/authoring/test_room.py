"""The room behind `fieldaid rules test`."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from fieldaid.authoring import finding_output as output
from fieldaid.authoring.finding_output import Case
from fieldaid.authoring.test_files import Listed, SituationTest, read_tests
from fieldaid.authoring.test_run import READY_S, Runner
from fieldaid.errors import BrokenData, WrongUse
from fieldaid.guidance.engine import HOW_TO_GET_IT, Engine, is_installed
from fieldaid.guidance.pack import Pack, Rule, load_pack
from fieldaid.guidance.yaml_nodes import Node


@dataclass(frozen=True)
class Result:
    """What a run of situations gave: a case for each of them, and one for each rule with its own situations."""

    situations: tuple[Case, ...]
    rules: tuple[Case, ...]
    own: int
    notice: str = ""

    @property
    def failed(self) -> list[Case]:
        """The cases with findings, those of situations first."""
        return [one for one in (*self.situations, *self.rules) if one.findings]


def run(folder: Path, on: Path | None = None, only: str = "", engine: bool = True) -> Result:
    """Runs the situations of a pack and those of its rules.

    Raises
    ------
    WrongUse : a folder does not exist, or `only` fits nothing
    BrokenData : the pack or its situations cannot be read; all findings
    """
    for one in (folder, on):
        if one is not None and not one.is_dir():
            raise WrongUse("there is no such folder", where=str(one), next_step="name the folder of a rule pack")
    pack = load_pack(folder) if on is None else load_pack(on, [folder])
    tests, wrong = read_tests(folder, pack)
    if wrong:
        raise BrokenData("the situations cannot be used", output.tidy(wrong), where=str(folder / "tests"),
                         next_step="repair what is listed and run it again")
    chosen = [one for one in tests if _fits(one, only)]
    # The situations that rules of the base carry presuppose the base's thresholds: they are tested without overlay.
    rules = [rule for rule in pack.live_rules if only.lower() in rule.id.lower()
             and (on is None or Path(rule.file).is_relative_to(folder))]
    if only and not chosen and not rules:
        raise WrongUse(f"no situation and no rule holds {only!r}", next_step="leave --only out, or give fewer letters")
    own = {rule.id: list(own_tests(rule)) for rule in rules}
    with _second(pack, engine) as (second, notice):
        runner = Runner(pack, second)
        cases = runner.run_all([*chosen, *(one for its in own.values() for one in its)])
    if not notice and not runner.second_ran:
        notice = "One channel only: the second did not start; see fieldaid doctor."
    situations, carried = tuple(cases[:len(chosen)]), iter(cases[len(chosen):])
    by_rule = tuple(_rule_case(rule, [next(carried) for _ in own[rule.id]]) for rule in rules)
    return Result(situations, by_rule, len(cases) - len(chosen), notice)


def own_tests(rule: Rule) -> Iterator[SituationTest]:
    """A rule's own situations as tests."""
    for key, examples in (("fires", rule.fires), ("silent", rule.silent)):
        for n, example in enumerate(examples, 1):
            at = Node(None, rule.file, example.line, example.column)
            yield SituationTest(f"situation {n} under {key}", example, {key: Listed((rule.id,))}, rule.file,
                                example.line, example.column, {key: at}, own=True)


def _rule_case(rule: Rule, cases: list[Case]) -> Case:
    """All of a rule's own situations as one case."""
    return Case(f"{rule.id} {rule.title}", rule.file, tuple(one for case in cases for one in case.findings),
                tuple(line for case in cases for line in case.details))


def _fits(one: SituationTest, only: str) -> bool:
    return only.lower() in f"{one.name}\n{Path(one.file).name}\n{' '.join(_named(one))}".lower()


def _named(one: SituationTest) -> Iterable[str]:
    return (rule for key in ("fires", "silent") if key in one.expect for rule in one.expect[key].items)


@contextmanager
def _second(pack: Pack, wanted: bool) -> Iterator[tuple[Engine | None, str]]:
    """The second channel when it is there, and else what that costs."""
    if not wanted or not is_installed():
        why = f"durable-rules is not installed ({HOW_TO_GET_IT})" if wanted else "--no-engine was given"
        yield None, f"One channel only: {why}. A slip of that channel would go unseen."
        return
    engine = Engine(pack, ready_s=READY_S)
    try:
        yield engine, ""
    finally:
        engine.close()


def test(folder: Path | None, on: Path | None, form: str, only: str, engine: bool, out: TextIO) -> int:
    """Writes how the situations of a pack come out; 0 when all come out as expected, 1 when one does not."""
    if folder is None:
        from fieldaid.authoring.commands import shipped_pack

        folder = shipped_pack()
    output.forget_sources()
    try:
        result = run(folder, on, only, engine)
    except BrokenData as error:
        return _write_broken(folder, on, error, form, out)
    code = 1 if result.failed else 0
    if form == "json":
        output.write_json({
            "folder": str(folder), "on": str(on) if on else None, "exit": code, "situations": len(result.situations),
            "rules": len(result.rules), "own_situations": result.own, "channels": 1 if result.notice else 2,
            "notice": result.notice, "failed": [
                {"name": one.name, "group": one.group, "details": list(one.details),
                 "findings": [output.as_data(finding) for finding in one.findings]} for one in result.failed]}, out)
    elif form == "junit":
        output.write_junit(f"fieldaid rules test {folder}", [*result.situations, *result.rules], out)
    else:
        _write_text(folder, result, out)
    return code


test.__test__ = False  # type: ignore[attr-defined]  # pytest takes every function of this name for a test


def _write_broken(folder: Path, on: Path | None, error: BrokenData, form: str, out: TextIO) -> int:
    """Writes why nothing could be run; the exit code."""
    findings = output.tidy(error.findings)
    if form == "json":
        output.write_json({"folder": str(folder), "on": str(on) if on else None, "exit": error.exit_code,
                           "findings": [output.as_data(one) for one in findings]}, out)
    elif form == "junit":
        output.write_junit(f"fieldaid rules test {folder}",
                           [Case("the pack can be read", str(folder), tuple(findings))], out)
    else:
        for one in findings:
            print(output.as_text(one), file=out)
        print(f"{folder}: nothing was run, because {output.told(len(findings), 'error')} "
              f"stand{'s' if len(findings) == 1 else ''} in the way.", file=out)
    return error.exit_code


def _write_text(folder: Path, result: Result, out: TextIO) -> None:
    for one in result.failed:
        for n, finding in enumerate(one.findings):
            print(output.as_text(finding, one.details if n == len(one.findings) - 1 else ()), file=out)
        print(file=out)
    if result.notice:
        print(result.notice, file=out)
    channels = "one channel" if result.notice else "both channels"
    ran = (f"{output.told(len(result.situations), 'situation')}, and {result.own} that "
           f"{output.told(len(result.rules), 'rule')} carry; {channels}")
    wrong = len(result.failed)
    verdict = f"{wrong} came out otherwise" if wrong else "all came out as expected"
    print(f"{folder}: {verdict} ({ran}).", file=out)
