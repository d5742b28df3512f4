"""An invented grammar of a few phrases, for tests that would take long with the shipped one."""

from __future__ import annotations

from pathlib import Path

from fieldaid.grammar import Grammar, load_grammar

SMALL = """
lists:
  wind: {west: west, east: east, south: south}
parts: {join: "and"}
phrases:
  - say: "wind [is] [from the] {wind}"
    tells: {wind.from: "{wind}"}
  - say: "[wind] {1-20 speed} miles an hour"
    tells: {wind.mph: "{speed}"}
  - say: "built [in] {year}"
    tells: {building.built: "{year}"}
  - answer: call
    say: "field aid"
  - filler: "yes"
    say: "okay"
written: {mph: miles an hour}
poison: {sentence: "if", question: "is"}
"""


def small_grammar(folder: Path) -> Grammar:
    """The grammar, written into a folder that is otherwise empty."""
    (folder / "small.yaml").write_text(SMALL, encoding="utf-8")
    return load_grammar(folder)
