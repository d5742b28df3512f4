"""Coverage of conditions: each shown to decide its rule both ways, or proved by the solver not to.

The measure is masking MC/DC (NASA/TM-2001-210876, from memory): a condition counts once a case shows that turning it
alone turns the outcome, in both directions.
"""

from __future__ import annotations

import io
import itertools
import json
import shutil
from pathlib import Path

import pytest
import yaml

from fieldaid.authoring import cover_room
from fieldaid.authoring.cover import WANT, WITH, Lack, Prover, cover, deciding, force, holds, leaves_of
from fieldaid.authoring.cover_stubs import stubs
from fieldaid.guidance.conditions import All, AnyOf, Condition
from fieldaid.guidance.pack import load_pack

HERE = Path(__file__).resolve().parent
HOUSE = HERE.parents[0] / "rules" / "house"
BARN = HERE / "guidance" / "packs" / "barn"


def one(key: str, *values: str) -> Condition:
    return Condition(key, "told", "is", values)


A, B, C, D = (one("light", value) for value in ("day", "dusk", "night", "none"))
FORMS = [
    All((A, B)),
    All((A, AnyOf((All((B,)), All((C,)))))),
    All((AnyOf((All((A, B)), All((C,)))), D)),
    All((AnyOf((All((A, AnyOf((All((B,)), All((C,)))))), All((D,)))),)),
]


class Shaped:
    """What a rule needs to be asked whether it holds."""

    def __init__(self, when: All, unless: All | None = None) -> None:
        self.id, self.when, self.unless = "X-1", when, unless


def value(form: All | bool, truth: dict[Condition, bool]) -> bool:
    if isinstance(form, bool):
        return form
    return all(truth[part] if isinstance(part, Condition) else any(value(one, truth) for one in part.alternatives)
               for part in form.parts)


@pytest.mark.parametrize("form", FORMS)
def test_a_forced_condition_leaves_what_logic_says(form: All) -> None:
    """Against every assignment of truth: the forced form is the form with that condition held."""
    leaves = list(form.conditions())
    for index, held in itertools.product(range(len(leaves)), (True, False)):
        forced = force(form, index, held)
        for truth in itertools.product((True, False), repeat=len(leaves)):
            given = dict(zip(leaves, truth, strict=True))
            assert value(forced, given) == value(form, {**given, leaves[index]: held})


@pytest.mark.parametrize("form", FORMS)
def test_a_rule_holds_as_its_conditions_say(form: All) -> None:
    leaves = list(form.conditions())
    for truth in itertools.product((True, False), repeat=len(leaves)):
        given = dict(zip(leaves, truth, strict=True))
        assert holds(Shaped(form), truth) == value(form, given)
        assert holds(Shaped(All((A,)), form), (True, *truth)) == (not value(form, given))


def test_a_condition_decides_only_when_turning_it_turns_the_rule() -> None:
    rule = Shaped(All((A, AnyOf((All((B,)), All((C,)))))))
    leaves = leaves_of(rule)

    def decide(*truth: bool) -> list[tuple[int, str]]:
        return [(leaf.index, way) for leaf, way in deciding(rule, leaves, truth)]

    assert decide(True, True, False) == [(0, WITH), (1, WITH)]
    assert decide(True, True, True) == [(0, WITH)]
    assert decide(True, False, False) == [(1, WANT), (2, WANT)]
    assert decide(False, False, False) == []


@pytest.fixture(scope="module")
def house():
    return load_pack(HOUSE)


def test_every_rule_and_condition_of_the_house_pack_is_shown(house) -> None:
    found = cover(HOUSE, house, strengths=(2,))
    assert not found.never_fires and not found.never_silent
    assert not found.to_show, [one.text for one in found.to_show]
    assert found.shown == found.leaves > 400
    # A condition that no situation lets decide is a rule's own redundancy: each is known and says why.
    assert {one.leaf.rule for one in found.proved} <= {"PLACE-010", "PLACE-020", "PLACE-030"}, found.proved
    met, of = found.together[2]
    assert met / of > 0.6


def test_what_is_not_shown_is_listed_and_its_stub_shows_it(tmp_path: Path) -> None:
    """Every situation of a small pack but one of each kind taken away; the stubs pasted back close the gap."""
    folder = tmp_path / "barn"
    shutil.copytree(BARN, folder)
    pack = load_pack(folder)
    before = cover(folder, pack, strengths=())
    assert before.to_show
    text = "".join(text for _, text in stubs(pack, before.to_show) if not text.startswith("#"))
    (folder / "tests").mkdir(exist_ok=True)
    (folder / "tests" / "stubs.yaml").write_text(text)
    assert yaml.safe_load(text)
    after = cover(folder, pack, strengths=())
    assert len(after.to_show) < len(before.to_show) / 4, [one.text for one in after.to_show]


def test_the_solver_proves_what_cannot_be(house) -> None:
    """`place.found: no` beside `place.why_not`, which is known only then: it can never be what keeps PLACE-010 silent.
    What a situation shows is never proved impossible."""
    rule = house.rule("PLACE-010")
    found = next(leaf for leaf in leaves_of(rule) if leaf.condition.key == "place.found")
    other = next(leaf for leaf in leaves_of(house.rule("DECK-010")))
    proved, open_ = Prover(house, [Lack(found, WANT), Lack(other, WITH)]).proved()
    assert "no situation lets place.found alone decide" in proved.proved
    assert not open_.proved


def test_the_command_says_what_is_shown(house) -> None:
    out = io.StringIO()
    cover_room.show(HOUSE, [], False, True, out)
    data = json.loads(out.getvalue())
    assert data["rules"] == len(house.live_rules) and data["conditions"] >= data["shown"]
    assert set(data["together"]) == {"2", "3"}
    out = io.StringIO()
    assert cover_room.show(BARN, [], False, False, out) == 1
    assert "not shown: " in out.getvalue() and "Add --missing" in out.getvalue()
