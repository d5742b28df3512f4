"""F706: two values of one derived name that stand at once."""

from __future__ import annotations

import itertools
from collections.abc import Iterable

from fieldaid.authoring.check import Check, Page
from fieldaid.authoring.check_bench import Bench, place
from fieldaid.authoring.check_situations import smallest
from fieldaid.errors import Finding
from fieldaid.guidance.outcome import Outcome

PAGE = Page(
    "F706", "a derived name with two values at once", "warning",
    avoid="Two derive rules that can fire at once and give one name different values.",
    prefer="Conditions that exclude each other, or two names.",
    why="A test for one value then holds while another stands, and what is shown is whichever was declared first.")


def find(bench: Bench) -> Iterable[Finding]:
    pairs = [(name, value, rule) for rule in bench.rules if rule.live for name, value in rule.conclude.derived]
    for (name, value, one), (other_name, other_value, other) in itertools.combinations(pairs, 2):
        if name != other_name or value == other_value or one is other:
            continue
        atoms = [bench.logic.fires(one), bench.logic.fires(other)]
        if not bench.logic.possible(atoms):
            continue

        def both(outcome: Outcome, ids: tuple[str, str] = (one.id, other.id)) -> bool:
            return set(ids) <= {firing.rule for firing in outcome.firings}

        shown = smallest(bench, both, atoms, [one, other])
        if shown:
            yield bench.finding(PAGE.code, other, "conclude",
                                f"{name} is {other_value} while {one.id} ({place(one.file, one.line)}) makes it "
                                f"{value} in the situation {shown}", "make their conditions exclude each other")


CHECK = Check(PAGE, find, spreads=True)
