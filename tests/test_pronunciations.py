"""How words are said that pocketsphinx's dictionary lacks: worked out from known words, or given in a file.

The rule for 's is regular English phonology; the phones are those of CMU's dictionary.
"""

from __future__ import annotations

import pytest

from fieldaid import data
from fieldaid.errors import BrokenData
from fieldaid.hearing import pronunciations

DICTIONARY = {"roof": "R UW F", "ridge": "R IH JH", "a": "AH", "frame": "F R EY M", "gable": "G EY B AH L"}


@pytest.mark.parametrize(
    ("word", "phones"),
    [
        ("roof's", "R UW F S"),
        ("ridge's", "R IH JH IH Z"),
        ("gable's", "G EY B AH L Z"),
        ("a-frame", "AH F R EY M"),
        ("a-frame's", "AH F R EY M Z"),
        ("bowstring's", "B OW S T R IH NG Z"),
    ],
)
def test_words_made_of_known_words(word, phones):
    given_ways = {"bowstring": ["B OW S T R IH NG"]}
    assert pronunciations.work_out([word], DICTIONARY.get, given_ways).added == ((word, phones),)


def test_known_words_need_nothing_and_unknown_ones_are_named():
    found = pronunciations.work_out(["roof", "gable", "quux", "quux's"], DICTIONARY.get, {})
    assert found.added == () and found.missing == ("quux", "quux's")
    second = pronunciations.work_out(["roof"], DICTIONARY.get, {"roof": ["R UH F"]})
    assert second.added == (("roof(2)", "R UH F"),)


def test_shipped_pronunciations_are_sound():
    given_ways = pronunciations.load(data.folder("grammars") / "pronunciations.tsv")
    assert given_ways["bowstring"] == ["B OW S T R IH NG"] and "mansard" in given_ways


def test_broken_pronunciations_are_listed_with_their_lines(tmp_path):
    path = tmp_path / "said.tsv"
    path.write_text("# fine\nroof\tR UW F\nmansard M AE N\npurlin\tP ERR L\n\tP\n", encoding="utf-8")
    with pytest.raises(BrokenData) as caught:
        pronunciations.load(path)
    found = [(one.line, one.code) for one in caught.value.findings]
    assert found == [(3, "SAID-001"), (4, "SAID-002"), (5, "SAID-001")]
    with pytest.raises(BrokenData, match="cannot be read"):
        pronunciations.load(tmp_path / "none.tsv")
