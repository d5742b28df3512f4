"""CLIPS, an expert system shell from outside the project, gives the same access, gate and triggers."""

from __future__ import annotations

import pytest
from guidance_situations import HOUSE, example_cases, loaded, random_cases

from fieldaid.guidance.reference import Reference

clips = pytest.importorskip("clips", reason="clipspy is not installed")

PACKS = ["barn", pytest.param("house", marks=[
    pytest.mark.slow, pytest.mark.skipif(not HOUSE.is_dir(), reason="no pack is shipped")])]


@pytest.mark.parametrize("name", PACKS)
def test_clips_gives_the_same_access_gate_and_triggers(name):
    from clips_translation import Translation

    pack = loaded(name)
    reference, third = Reference(pack), Translation(pack)
    answers = set()
    for one in [*example_cases(pack), *random_cases(pack, 400, seed=31)]:
        outcome = reference.run(*one)
        answers.add((outcome.access, outcome.gate))
        assert third.run(*one) == (outcome.access, outcome.gate, outcome.triggers), dict(one[0].values)
    # A comparison in which nothing varies would prove nothing.
    assert len({access for access, _ in answers}) >= 5 and len({gate for _, gate in answers}) >= 4
