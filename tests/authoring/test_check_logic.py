"""The solver's view of a pack is the reference channel's, and what checks say of it is true and smallest.

The outside comparison is the reference evaluator, which shares no code with the solver's program: for seeded
situations every rule fires in the one exactly when it fires in the other, and access, gate and derived values agree.
"""

from __future__ import annotations

import random
import sys
from pathlib import Path
from typing import Any

import pytest

from fieldaid.authoring.check_bench import Bench
from fieldaid.authoring.check_logic import Logic
from fieldaid.authoring.check_program import LINKS
from fieldaid.authoring.situations import GOOD
from fieldaid.facts.situation import Situation
from fieldaid.facts.vocabulary import BASES as ALL_BASES
from fieldaid.facts.vocabulary import FACTS
from fieldaid.guidance.examples import situation_of
from fieldaid.guidance.pack import ACCESS, GATE, load_pack
from fieldaid.guidance.reference import Reference
from fieldaid.workings import compute
from fieldaid.workings.placement_facts import refined

sys.path.insert(0, str(Path(__file__).resolve().parents[1] / "guidance"))
from house import random_facts

HOUSE = Path(__file__).resolve().parents[2] / "rules" / "house"
SAMPLES = Path(__file__).parent / "samples"
SEEDED = 250
BASES = ("seen", "struck", "guess", "preplan", "told")


@pytest.fixture(scope="module")
def logic() -> Logic:
    return Logic(load_pack(HOUSE))


def seeded(count: int) -> list[tuple[Situation, dict[str, Any]]]:
    """Situations near the everything-good one and far from it, with a basis here and there, and their workings."""
    rng, pack, found = random.Random(41), load_pack(HOUSE), []
    for n in range(count):
        facts = random_facts(rng, GOOD if n % 3 else {}, 6)
        basis = {name: rng.choice(BASES) for name in facts if rng.random() < 0.2}
        situation = Situation.of(facts, basis)
        computed = compute(situation, pack.parameter_values())
        if n % 2:
            computed = refined(situation, computed)
        found.append((situation, {name: one.value for name, one in computed.items()}))
    return found


def fixed(logic: Logic, situation: Situation, computed: dict[str, Any]) -> list[str]:
    """The atoms that say this situation and no other."""
    values, atoms = {**situation.values, **computed}, []
    for name, number in logic.facts.items():
        value = values.get(name)
        cell = -1 if value is None else logic.cell_of(name, value)
        atoms.append(f"v({number},{cell})")
        if isinstance(value, list) and FACTS[name].kind == "places":
            atoms += [f"has({number},{logic.places(name).index(place)})" for place in value]
        if name in logic.with_basis:
            atoms.append(f"b({number},{ALL_BASES.index(situation.basis.get(name, 'told'))})")
    return atoms


def test_the_solver_and_the_reference_channel_agree_on_seeded_situations(logic: Logic) -> None:
    reference = Reference(logic.pack)
    fired_ever: set[str] = set()
    examples = [situation_of(one, logic.pack) for rule in logic.rules for one in rule.fires]
    for n, (situation, computed) in enumerate([*seeded(SEEDED), *examples]):
        outcome = reference.run(situation, computed)
        atoms = fixed(logic, situation, computed)
        without = [f"has({logic.facts[name]},{n})" for name, value in situation.values.items()
                   if name in logic.facts and isinstance(value, list) and FACTS[name].kind == "places"
                   for n, place in enumerate(logic.places(name)) if place not in value]
        true = logic.true_atoms(atoms, without)
        if true is None and n >= SEEDED:
            continue  # a situation of a rule may give computed facts outright that the workings never give
        assert true is not None, (situation, computed)
        fired = {rule.id for rule in logic.rules if logic.fires(rule) in true}
        assert fired == {one.rule for one in outcome.firings}
        assert f"access({ACCESS.index(outcome.access)})" in true and f"gate({GATE.index(outcome.gate)})" in true
        assert {f'd("{name}","{value}")' for name, value in outcome.derived} == {
            one for one in true if one.startswith("d(")}
        decide = {rule.id for rule in logic.rules if logic.decides(rule) in true and rule.conclude.kind == "access"}
        assert decide == set(outcome.access_rules)
        fired_ever |= fired
    never = {rule.id for rule in logic.rules} - fired_ever
    assert len(never) <= 8, f"most rules must fire somewhere, or they were not compared: {sorted(never)}"


def test_what_the_solver_takes_for_granted_of_the_workings_is_true() -> None:
    for _, computed in (pairs := seeded(1500)):
        for name in set(computed) & set(LINKS):
            situation = next(one for one, other in pairs if other is computed)
            known = {**situation.values, **computed}
            assert any(other in known for other in LINKS[name]), (name, known)
        if "place.found" in computed:
            assert ("place.face" in computed) == (computed["place.found"] == "yes") == ("place.over" in computed)
            assert ("place.why_not" in computed) == (computed["place.found"] == "no")
        if "place.kind" in computed:
            assert computed["place.worked"] == computed["place.found"] == "yes"
        if any(name.startswith("place.bar.") for name in computed):
            assert computed["place.worked"] == "yes"
        assert computed.get("built.first", 0) <= computed.get("built.last", 0)


def bench_with(tmp_path: Path, rules: str) -> Bench:
    import shutil

    shutil.copytree(SAMPLES / "base", tmp_path / "pack")
    (tmp_path / "pack" / "rules" / "sample.yaml").write_text(rules)
    bench = Bench(tmp_path / "pack")
    assert bench.examined.findings == ()
    return bench


RULE = """\
- id: TRY-010
  title: A try
  status: stable
  stratum: {stratum}
  when: {when}
  conclude: {conclude}
  say: "A try."
  why: A try.
  source: [S01]
  may_be_wrong: Seldom.
  fires: [{{light: day}}]
  silent: [{{light: night}}]
"""
# when, the words of the proof
NEVER = [
    ("[{light: day}, {light: night}]", ["light: day", "light: night"]),
    ("[{wind.mph: {above: 20}}, {roof.form: gable}, {wind.mph: {below: 20}}]", ["wind.mph: {above: 20}",
                                                                              "wind.mph: {below: 20}"]),
    ("[{roof.wires: none}, {roof.wires: {has: C}}]", ["roof.wires: none", "roof.wires: {has: C}"]),
    ("[{deck.C: {is: solid, basis: struck}}, {deck.C: {is: solid, basis: seen}}]",
     ["deck.C: {is: solid, basis: [struck]}", "deck.C: {is: solid, basis: [seen]}"]),
    ("[{deck.*: unknown}, {deck.C: soft}]", ["deck.*: unknown", "deck.C: soft"]),
    ("[{attic_sign: yes}, {fire.attic: not seen}]", ["attic_sign: yes", "fire.attic: not seen"]),
    ("[{trigger: bad deck}, {deck.*: unknown}]", ["trigger: bad deck", "deck.*: unknown"]),
    ("[{ways.usable: {below: 1}}, {crew.ladders: unknown}, {crew.ways_off: unknown}]",
     ["ways.usable: {below: 1}", "crew.ladders: unknown", "crew.ways_off: unknown"]),
    ("[{access: [no bar reported, aerial only]}, {attic_sign: yes}]",
     ["access: [no bar reported, aerial only]", "attic_sign: yes"]),
    ("[{gate: no hold reported}, {light: day}]", ["gate: no hold reported"]),
]


@pytest.mark.parametrize("when, proof", NEVER, ids=[when for when, _ in NEVER])
def test_a_rule_that_can_never_fire_is_proved_by_the_fewest_conditions(when: str, proof: list[str],
                                                                        tmp_path: Path) -> None:
    bench = bench_with(tmp_path, RULE.format(stratum="advice", when=when, conclude="{advice: try}"))
    conflict = bench.logic.smallest_conflict(bench.pack.rule("TRY-010"))
    assert conflict is not None and [part.text for part in conflict] == proof


@pytest.mark.parametrize("when", [
    "[{wind.mph: {at_least: 20}}, {wind.mph: {at_most: 20}}]", "[{deck.C: solid}, {deck.B: soft}]",
    "[{roof.wires: some}, {roof.wires: {has: C}}]", "[{trigger: bad deck}, {trigger: ways off}]",
    "[{access: stay off}, {access_reason: not told}]", "[{wind.mph: {not: [0, 5]}}]",
    "[{ways.usable: {below: 1}}, {crew.ladders: unknown}]"])
def test_a_rule_that_can_fire_is_not_reported(when: str, tmp_path: Path) -> None:
    bench = bench_with(tmp_path, RULE.format(stratum="advice", when=when, conclude="{advice: try}"))
    assert bench.logic.smallest_conflict(bench.pack.rule("TRY-010")) is None
    found = bench.logic.ask([bench.logic.fires(bench.pack.rule("TRY-010"))])
    assert found is not None and found.values


def test_the_message_names_the_earlier_rule_that_always_wins(tmp_path: Path) -> None:
    from fieldaid.authoring.checks.unreachable import find

    bench = bench_with(tmp_path, RULE.format(stratum="advice", when="{access: no bar reported, attic_sign: yes}",
                                             conclude="{advice: try}"))
    [finding] = find(bench)
    assert "`access: no bar reported` (line 5) and `attic_sign: yes` (line 5) never hold together" in finding.message
    assert "ATTIC-010 (base.yaml:72) always wins" in finding.message


def test_a_shadowed_rule_names_the_rule_in_front(tmp_path: Path) -> None:
    from fieldaid.authoring.checks.shadowed import find

    rule = RULE.format(stratum="access", when="{fire.attic: confirmed}",
                       conclude="{access: ladder tip only, reason: hazard}")
    [finding] = find(bench_with(tmp_path, rule))
    assert "its ladder tip only never counts: ATTIC-010 (base.yaml:72) always wins" in finding.message


def test_a_contradiction_is_shown_by_a_situation_from_which_nothing_can_be_left_out(tmp_path: Path) -> None:
    from fieldaid.authoring.checks.contradictory import find

    first = RULE.format(stratum="placement", when="{fire.windward: yes}", conclude="{place: high}")
    other = RULE.replace("TRY-010", "TRY-020").format(stratum="placement", when="{access: no bar reported}",
                                                      conclude="{place: low}")
    bench = bench_with(tmp_path, first + other)
    [finding] = find(bench)
    shown = finding.message.partition("in the situation ")[2]
    import yaml

    facts = yaml.safe_load(shown)
    pack, reference = bench.pack, Reference(bench.pack)

    def both(told: dict[str, Any]) -> bool:
        situation = Situation.of(told)
        computed = {name: one.value for name, one in compute(situation, pack.parameter_values()).items()}
        return {"TRY-010", "TRY-020"} <= {one.rule for one in reference.run(situation, computed).firings}

    assert both(facts)
    assert not any(both({key: value for key, value in facts.items() if key != name}) for name in facts)
