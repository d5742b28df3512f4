"""How far apart lines sound, held against the CMU Pronouncing Dictionary and against known confusions.

Known confusions: letters that rhyme and numbers in -teen and -ty are what the ICAO spelling alphabet and its numbers
were made to keep apart (ICAO Annex 10, volume II, 5.2.1.3 and 5.2.1.4; from memory).
"""

from __future__ import annotations

import random
from pathlib import Path

import pytest

from fieldaid.authoring.check_bench import Bench
from fieldaid.authoring.check_sounds import CLASS_OF, close_pairs, difference, phones, sounds_of
from fieldaid.authoring.checks import hard_to_say, sounds_alike
from fieldaid.hearing.pronunciations import PHONES

SAMPLES = Path(__file__).parent / "samples"


def apart(one: str, other: str) -> float:
    return difference(phones(one), phones(other))


def test_every_phone_of_the_dictionary_has_a_class() -> None:
    assert set(CLASS_OF) == PHONES


@pytest.mark.parametrize("word, said", [
    ("deck", "D EH K"), ("roof", "R UW F"), ("water", "W AO T ER"), ("ladder", "L AE D ER")])
def test_words_have_the_phones_of_the_dictionary(word: str, said: str) -> None:
    assert sounds_of(word) == tuple(said.split()) and sounds_of(word.upper()) == sounds_of(word)


def test_a_word_that_no_dictionary_has_has_no_phones_and_is_spelt() -> None:
    assert sounds_of("zzyqx") == () and phones("zzyqx") == ["Z", "Z", "Y", "Q", "X"]


@pytest.mark.parametrize("near, far", [
    (("fifteen", "fifty"), ("fifteen", "thirty")), (("b", "d"), ("b", "charlie")),
    (("wires", "wind"), ("wires", "deck")), (("hold", "held"), ("hold", "open")),
    (("solid", "soft"), ("solid", "burned through"))])
def test_known_confusions_are_nearer_than_other_words(near: tuple[str, str], far: tuple[str, str]) -> None:
    assert apart(*near) < apart(*far)


def test_the_difference_is_a_measure() -> None:
    rng = random.Random(8)
    names = sorted(PHONES)
    for _ in range(300):
        a, b, c = ([rng.choice(names) for _ in range(rng.randint(1, 9))] for _ in range(3))
        assert difference(a, a) == 0 and difference(a, b) == difference(b, a) and 0 < difference(a, [*a, "B"]) <= 1
        most = max(len(a), len(b), len(c))
        assert difference(a, c) * max(len(a), len(c)) <= (
            difference(a, b) * max(len(a), len(b)) + difference(b, c) * max(len(b), len(c))) + 1e-9 * most


def test_the_quick_search_leaves_out_no_pair_that_is_close() -> None:
    rng = random.Random(9)
    names = sorted(PHONES)
    texts = [[rng.choice(names) for _ in range(rng.randint(1, 8))] for _ in range(60)]
    texts += [[rng.choice(names) if rng.random() < 0.2 else one for one in text] for text in texts]
    close = set(close_pairs(texts, 0.35))
    for a in range(len(texts)):
        for b in range(a + 1, len(texts)):
            if difference(texts[a], texts[b]) < 0.35:
                assert (a, b) in close


def findings(check, tmp_path: Path, say: str) -> list[str]:
    import shutil

    shutil.copytree(SAMPLES / "base", tmp_path / "pack")
    text = (SAMPLES / "F751_good.yaml").read_text().replace("The camera reads hot, either way.", say)
    (tmp_path / "pack" / "rules" / "sample.yaml").write_text(text)
    bench = Bench(tmp_path / "pack")
    assert bench.examined.findings == ()
    return [one.message.partition(": ")[2] for one in check.find(bench)]


@pytest.mark.parametrize("say, told", [
    ("Wires 12 feet away.", "it says the figure 12"), ("Hot or cold / either.", "it has the sign /"),
    ("Ten ft away.", "it has the abbreviation ft"), ("The RIT stands by.", "it spells RIT"),
    ("Corner P is hot.", "it says the letter P"), ("The smouk is brown.", "no pronouncing dictionary has smouk")])
def test_what_is_hard_to_say_is_named(say: str, told: str, tmp_path: Path) -> None:
    assert told in findings(hard_to_say, tmp_path, say)


@pytest.mark.parametrize("say", ["Side C is hot.", "A deck in the way.", "Two-by-four, crew's side.", "I-joists."])
def test_what_is_easy_to_say_is_left_alone(say: str, tmp_path: Path) -> None:
    assert findings(hard_to_say, tmp_path, say) == []


def test_nothing_is_claimed_of_sounds_without_a_dictionary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(hard_to_say, "can_measure", lambda: False)
    monkeypatch.setattr(sounds_alike, "can_measure", lambda: False)
    assert findings(hard_to_say, tmp_path, "The smouk is brown.") == []
    assert list(sounds_alike.find(Bench(tmp_path / "pack"))) == []
