"""The rooms behind `fieldaid rules check` and `fieldaid rules explain`."""

from __future__ import annotations

import difflib
import textwrap
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import TextIO

from fieldaid.authoring import finding_output as output
from fieldaid.authoring.check import Check, all_checks, all_pages
from fieldaid.authoring.check_bench import Bench
from fieldaid.errors import Finding, WrongUse

WIDTH = 100


@dataclass(frozen=True)
class Report:
    """What `check` found. `waiting` holds the checks that need a pack without errors and did not run."""

    findings: tuple[Finding, ...]
    ran: tuple[Check, ...]
    waiting: tuple[Check, ...]
    rules: int
    situations: int

    def exit_code(self, strict: bool = False) -> int:
        """0 nothing, 1 findings, 3 the pack cannot be used."""
        if self.waiting:
            return 3
        counts = output.count(self.findings)
        return 1 if counts["error"] or counts["warning"] or strict and counts["style"] else 0


def examine(folder: Path, on: Path | None = None) -> Report:
    """Every finding of a pack, or of an overlay that is laid over the pack `on`: then only what the overlay brings.

    The situations of the base's own rules presuppose its own thresholds, so they are not held against an overlay.

    Raises
    ------
    WrongUse : a folder does not exist
    """
    for one in (folder, on):
        if one is not None and not one.is_dir():
            raise WrongUse("there is no such folder", where=str(one), next_step="name the folder of a rule pack")
    output.forget_sources()
    if on is None:
        return _examine(Bench(folder), folder)
    alone = _examine(Bench(on), None)
    both = _examine(Bench(on, folder), folder)
    if alone.waiting:
        return both
    known = {_key(one) for one in alone.findings}
    bases = {check.page.code for check in all_checks() if not check.spreads}
    return replace(both, findings=tuple(
        one for one in both.findings
        if _key(one) not in known and (one.code not in bases or Path(one.file).is_relative_to(folder))))


def _examine(bench: Bench, tested: Path | None) -> Report:
    from fieldaid.authoring.test_files import read_tests

    broken = bool(bench.examined.findings)
    ran = [one for one in all_checks() if not (broken and one.whole)]
    found = list(bench.examined.findings)
    for check in ran:
        # A check that could not show what it claims says so with a milder severity than its page's.
        found += [one if one.severity != "error" else replace(one, severity=check.page.severity)
                  for one in check.find(bench)]
    situations = 0
    if tested is not None:
        tests, wrong = read_tests(tested, bench.pack, quiet=broken)
        situations = len(tests)
        found += wrong
    waiting = tuple(one for one in all_checks() if one not in ran)
    return Report(tuple(output.tidy(found)), tuple(ran), waiting, len(bench.pack.rules), situations)


def _key(one: Finding) -> tuple[str, int, str, str]:
    return one.file, one.line, one.code, one.message


def check(folder: Path | None, on: Path | None, form: str, strict: bool, out: TextIO) -> int:
    """Writes what is wrong with a pack; the exit code."""
    if folder is None:
        from fieldaid.authoring.commands import shipped_pack

        folder = shipped_pack()
    report = examine(folder, on)
    code = report.exit_code(strict)
    if form == "json":
        output.write_json({
            "folder": str(folder), "on": str(on) if on else None, "exit": code, "rules": report.rules,
            "situations": report.situations, "counts": output.count(report.findings),
            "waiting": [one.page.code for one in report.waiting],
            "findings": [output.as_data(one) for one in report.findings]}, out)
    elif form == "junit":
        output.write_junit(f"fieldaid rules check {folder}", _cases(report), out)
    else:
        for one in report.findings:
            print(output.as_text(one), file=out)
        print(_summary(folder, report), file=out)
    return code


def _cases(report: Report) -> list[output.Case]:
    """A case for each code that was looked for, failed if it was found."""
    pages = all_pages()
    ran = {one.page.code for one in report.ran}
    waiting = {one.page.code for one in report.waiting}
    codes = [code for code in pages if code in ran or code not in waiting]
    return [output.Case(f"{code} {pages[code].title}", "fieldaid.rules.check",
                        tuple(one for one in report.findings if one.code == code)) for code in codes]


def _summary(folder: Path, report: Report) -> str:
    counts = output.count(report.findings)
    looked = f"{output.told(report.rules, 'rule')}, {output.told(report.situations, 'situation')}"
    if not report.findings:
        return f"{folder}: nothing found ({looked}, {output.told(len(all_pages()), 'code')})."
    parts = [output.told(counts["error"], "error"), output.told(counts["warning"], "warning"),
             output.told(counts["style"], "note") + " on style"]
    text = f"{folder}: {', '.join(part for part in parts if not part.startswith('0 '))} ({looked})."
    if report.waiting:
        text += f" {len(report.waiting)} more checks wait until the errors of reading are mended."
    code = next((one.code for one in report.findings), "")
    return f"{text}\nWhat a code means: fieldaid rules explain {code}"


def explain(code: str | None, listed: bool, out: TextIO) -> int:
    """Writes the page of one code, or the list of all.

    Raises
    ------
    WrongUse : no code has that name
    """
    pages = all_pages()
    if listed or code is None:
        for page in pages.values():
            print(f"{page.code}  {page.severity:<8} {page.title}", file=out)
        return 0
    page = pages.get(code.upper())
    if page is None:
        near = difflib.get_close_matches(code.upper(), pages, n=3, cutoff=0.5)
        raise WrongUse(f"no code is called {code}", next_step=(
            f"the nearest are {', '.join(near)}" if near else "see them all with: fieldaid rules explain --list"))
    print(f"{page.code} ({page.severity}): {page.title}", file=out)
    for head, body in (("Avoid", page.avoid), ("Prefer", page.prefer), ("Why", page.why)):
        print(f"\n{head}\n" + "\n".join(_wrapped(body)), file=out)
    return 0


def _wrapped(body: str) -> Sequence[str]:
    return textwrap.wrap(body, WIDTH, initial_indent="  ", subsequent_indent="  ", break_long_words=False)
