"""Live loops without sound devices, shared by the tests of talking; see talk_room.py."""

from __future__ import annotations

import pytest
from talk_room import Talk

from fieldaid import data
from fieldaid.grammar import load_grammar
from fieldaid.guidance.guide import Guide
from fieldaid.guidance.pack import load_pack


@pytest.fixture(scope="module")
def grammar():
    return load_grammar(None)


@pytest.fixture(scope="module")
def guide():
    with Guide(load_pack(data.folder("rules") / "house"), engine=False) as made:
        yield made


@pytest.fixture
def talk(grammar, guide, tmp_path):
    made = []

    def make(**options):
        made.append(Talk(grammar, guide, options.pop("path", tmp_path / "t.journal"), **options))
        return made[-1]

    yield make
    for one in made:
        if one.thread.is_alive():
            one.end()
