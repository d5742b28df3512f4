"""The safety case: of each invariant where it is enforced, which tests hold it, and what the last full proof said.

Everything in it is looked up: a rule that the pack lacks, a function or a test that does not exist, an invariant that
nothing enforces: each is a broken link, and `broken_links` names it.
"""

from __future__ import annotations

import ast
import functools
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from fieldaid.authoring.prove import Proof, never_asked, stale
from fieldaid.authoring.provenance import called
from fieldaid.data import CHECKOUT
from fieldaid.guidance.pack import Invariant, Pack

NUMBERS = range(1, 34)
# The named places that are no rules: where in the code, and which tests hold them.
DIALOGUE: Mapping[int, tuple[tuple[str, str], ...]] = {
    4: (("fieldaid/session/notices.py", "Reminders"),),
    22: (("fieldaid/facts/tries.py", "implied"),),
    18: (("fieldaid/session/replies.py", "guidance_replies"), ("fieldaid/session/dialogue.py", "_leaving"),
         ("fieldaid/session/dialogue.py", "_mayday")),
    19: (("fieldaid/session/dialogue.py", "reduce"), ("fieldaid/session/judging.py", "judge"),
         ("fieldaid/session/drafts.py", "mayday_form")),
    20: (("fieldaid/session/replies.py", "in_order"),),
    21: (("fieldaid/facts/picture.py", "_contest"), ("fieldaid/facts/picture.py", "worst")),
    25: (("fieldaid/cli.py", "CAUTION"),),
    26: (("fieldaid/session/session.py", "Session"), ("fieldaid/session/journal.py", "Journal")),
    29: (("fieldaid/session/dialogue_undo.py", "crew_change"), ("fieldaid/facts/picture.py", "Picture")),
    30: (("fieldaid/session/dialogue_facts.py", "telling_of"), ("fieldaid/session/dialogue.py", "_no_play")),
    31: (("fieldaid/facts/picture.py", "Picture"),),
    32: (("fieldaid/session/dialogue_facts.py", "take_facts"), ("fieldaid/session/dialogue_state.py", "loosens")),
}
LOADER: tuple[tuple[str, str], ...] = (("fieldaid/guidance/checks.py", ""),)
PLACEMENT: tuple[tuple[str, str], ...] = (("fieldaid/guidance/reference.py", "fold_gate"),
                                          ("fieldaid/guidance/engine_fold.py", "decide_gate"),
                                          ("fieldaid/workings/computed.py", "_place"))
# Tests that hold every invariant, by its number.
EACH = ("tests/test_proof.py::test_an_invariant_holds[{number:02d}]",
        "tests/test_proof.py::test_a_planted_fault_breaks_the_invariant[{number:02d}]")
# Tests that hold one of them beside its properties.
ALSO: Mapping[int, tuple[str, ...]] = {
    4: ("tests/guidance/test_marks.py::test_time_alone_never_lowers_access_gate_or_a_leave",
        "tests/facts/test_picture.py::test_staleness_never_takes_a_danger_away",
        "tests/session/test_notices.py::test_a_notice_changes_no_answer_and_none_comes_off_the_roof"),
    18: ("tests/session/test_replies.py::test_a_leave_now_is_said_again_until_leaving",
         "tests/session/test_dialogue.py::test_mayday_silences_the_voice"),
    19: ("tests/session/test_replies.py::test_everything_told_and_good_leaves_the_decision_to_the_officer",
         "tests/session/test_replies.py::test_what_waits_for_affirm_never_loosens"),
    20: ("tests/session/test_replies.py::test_a_danger_is_said_first_and_in_seven_words",),
    21: ("tests/facts/test_picture.py::test_the_deck_only_gets_worse",
         "tests/facts/test_picture.py::test_a_settled_fact_told_twice_is_contested_and_the_worse_counts"),
    22: ("tests/session/test_course.py::test_a_roll_call_that_is_short_is_a_mayday_first",
         "tests/session/test_course.py::test_a_full_roll_call_never_says_that_nobody_is_missing"),
    24: ("tests/guidance/test_pack_loader.py::test_a_weak_source_carries_no_loosening",),
    25: ("tests/test_proof.py::test_the_tool_says_what_it_is_for",),
    26: ("tests/session/test_journal.py::test_kill_9_loses_nothing_that_was_acknowledged",),
    29: ("tests/guidance/test_marks.py::test_a_change_of_crew_never_lowers_access_gate_or_a_leave",
         "tests/session/test_dialogue_undo.py::test_a_crew_change_forgets_the_old_crews_good_news",
         "tests/session/test_reports.py::test_a_crew_change_forgets_the_order_and_names_what_stands"),
    30: ("tests/session/test_course.py::test_no_play_ends_the_exercises_good_news_and_keeps_its_dangers",
         "tests/session/test_course.py::test_an_exercise_fact_that_one_recogniser_heard_stays_heard_once"),
    31: ("tests/session/test_replies.py::test_good_news_of_the_main_roof_does_not_reach_a_section",),
    32: ("tests/test_grammar.py::test_a_line_one_word_from_its_opposite",
         "tests/test_grammar.py::test_opposites_are_read_back_in_other_words"),
}


@dataclass(frozen=True)
class Place:
    """One place that enforces an invariant: a rule, or a function of a module."""

    kind: str
    name: str
    title: str
    where: str


@dataclass(frozen=True)
class Line:
    """The case of one invariant."""

    invariant: Invariant
    places: tuple[Place, ...]
    tests: tuple[str, ...]
    properties: tuple[tuple[str, int, int], ...]


@dataclass(frozen=True)
class Case:
    """The safety case of a pack, with the full proof that it quotes and why that may be out of date."""

    pack: Pack
    lines: tuple[Line, ...]
    proof: Proof | None
    stale: str


def build(pack: Pack, proof: Proof | None) -> Case:
    """The safety case of a pack; `proof` is the last full one, if there is one."""
    lines = tuple(Line(one, tuple(_places(one, pack)), tuple(_tests(one.number)),
                       tuple(proof.of(one.number)) if proof else ()) for one in pack.invariants)
    return Case(pack, lines, proof, stale(proof, pack) if proof else "no full proof was kept")


def _places(one: Invariant, pack: Pack) -> Iterator[Place]:
    for name in one.enforced:
        if name == "dialogue":
            yield from (Place("dialogue", function, "", file) for file, function in DIALOGUE.get(one.number, ()))
            if one.number not in DIALOGUE:
                yield Place("dialogue", "", "", "")
        elif name == "loader":
            yield from (Place("loader", function, "", file) for file, function in LOADER)
        elif name == "placement":
            yield from (Place("placement", function, "", file) for file, function in PLACEMENT)
        elif name in pack:
            rule = pack.rule(name)
            yield Place("rule", name, rule.title, f"{Path(rule.file).name}:{rule.line}")
        else:
            yield Place("rule", name, "", "")


def _tests(number: int) -> Iterator[str]:
    yield from (node.format(number=number) for node in EACH)
    yield from ALSO.get(number, ())


def broken_links(case: Case, root: Path = CHECKOUT) -> list[str]:
    """What the case points at and is not there, one sentence each. `root` is the checkout with the tests."""
    wrong = []
    numbers = [line.invariant.number for line in case.lines]
    wrong += [f"invariant {number} is not in the pack" for number in NUMBERS if number not in numbers]
    for line in case.lines:
        head = f"invariant {line.invariant.number}"
        if not line.places:
            wrong.append(f"{head} is enforced nowhere")
        for place in line.places:
            if place.kind == "rule" and not place.where:
                wrong.append(f"{head}: the pack has no rule {place.name}")
            elif place.kind == "rule" and _given_up(place, case.pack):
                if not any(one.kind != "rule" or one.name in case.pack and case.pack.rule(one.name).live
                           for one in line.places):
                    wrong.append(f"{head}: with {place.name} retired nothing enforces it")
            elif place.kind == "rule" and not case.pack.rule(place.name).live:
                wrong.append(f"{head}: {place.name} takes no part")
            elif place.kind == "rule" and line.invariant.number not in case.pack.rule(place.name).invariants:
                wrong.append(f"{head}: {place.name} does not name the invariant")
            elif place.kind != "rule" and not place.where:
                wrong.append(f"{head}: nothing says where the {place.kind} enforces it")
            elif place.kind != "rule" and place.name not in (*_names(root / place.where), ""):
                wrong.append(f"{head}: {place.where} has no {place.name}")
        wrong += [f"{head}: there is no test {node}" for node in line.tests if not _is_there(root, node)]
        if case.proof is not None and not line.properties and line.invariant.number != 25:
            wrong.append(f"{head}: the last full proof asked nothing of it")
    if case.proof is not None:
        wrong += [f"the last full proof broke: {key}" for key in case.proof.broken]
        wrong += [f"the last full proof never asked: {key}" for key in never_asked(case.proof)]
    return wrong


def _given_up(place: Place, pack: Pack) -> bool:
    """Whether an overlay retired the rule, as it may with an advisory one that gives its reason."""
    rule = pack.rule(place.name)
    return bool(pack.overlays) and rule.status == "retired" and not rule.protected and bool(rule.retired_because)


@functools.lru_cache(maxsize=64)
def _names(file: Path) -> frozenset[str]:
    """Functions, classes and constants at the top level of a file; nothing when there is no file."""
    if not file.is_file():
        return frozenset()
    found: set[str] = set()
    for node in ast.parse(file.read_text(encoding="utf-8")).body:
        if isinstance(node, (ast.FunctionDef, ast.ClassDef)):
            found.add(node.name)
        elif isinstance(node, ast.Assign):
            found |= {one.id for one in node.targets if isinstance(one, ast.Name)}
        elif isinstance(node, ast.AnnAssign) and isinstance(node.target, ast.Name):
            found.add(node.target.id)
    return frozenset(found)


def _is_there(root: Path, node: str) -> bool:
    file, _, name = node.partition("::")
    return name.partition("[")[0] in _names(root / file)


def in_markdown(case: Case) -> str:
    """The safety case as a page to read."""
    proof = case.proof
    lines = [
        f"# Safety case of the pack {called(case.pack)}", "",
        "What is claimed, where it is enforced, which tests hold it, and what the last full proof said. Written by "
        "`fieldaid rules safety-case`; a link that leads nowhere fails the tests.", "",
        "A training and practice aid. The officer, command and local procedure decide. Nothing in it means safe.", "",
        "## The last full proof", "", *_proof_lines(case), "",
        "## The invariants", ""]
    for line in case.lines:
        lines += [f"### {line.invariant.number}. {line.invariant.text}", "", "Enforced:", ""]
        lines += [f"- {_place_text(place, case.pack)}" for place in line.places]
        lines += ["", "Tests:", "", *(f"- `{node}`" for node in line.tests), ""]
        if proof is not None:
            asked = [f"- {says}: asked {count:,} times, broken {broken}" for says, count, broken in line.properties]
            lines += ["Last full proof:", "", *(asked or ["- nothing to be asked of single evaluations"]), ""]
    return "\n".join(lines).rstrip() + "\n"


def _proof_lines(case: Case) -> Iterator[str]:
    proof = case.proof
    if proof is None:
        yield "None was kept: `fieldaid rules prove --full --write FILE` makes one."
        return
    if case.stale:
        yield f"**Out of date: {case.stale}.** It spoke of commit `{proof.commit}`."
        yield ""
    array = proof.array
    yield f"- {proof.date}, commit `{proof.commit or 'none'}`, {proof.seconds:.0f} s, " + (
        "both channels" if proof.both_channels else "ONE CHANNEL ONLY")
    yield (f"- covering array: {array['factors']} gate facts with {array['levels']} levels, unknown included; strength "
           f"{array['strength']}; {array['rows']:,} rows; {array['combinations']:,} combinations counted, "
           f"{array['missing']} missing")
    yield (f"- {proof.counts['pairs']:,} situations in which everything is good and two gate facts are changed; "
           f"{proof.counts['seeded']:,} seeded situations (seed {proof.extent['seed']}); {proof.counts['talks']:,} "
           "talks of each kind")
    for key in sorted(key for key in proof.applied if not key[:2].isdigit()):
        yield f"- {key}: asked {proof.applied[key]:,} times, broken {proof.broken.get(key, 0)}"
    yield f"- broken in all: {sum(proof.broken.values())}"


def _place_text(place: Place, pack: Pack) -> str:
    if place.kind == "rule":
        text = f"{place.name} {place.title} ({place.where})"
        if place.name in pack and _given_up(place, pack):
            text += f"; RETIRED by the overlay: {pack.rule(place.name).retired_because}"
        return text
    name = f"`{place.name}` of `{place.where}`" if place.name else f"`{place.where}`"
    return f"{place.kind}: {name}"
