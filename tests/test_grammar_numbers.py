"""Years, decades, numbers and words for wind: every one in every form, and none outside its range."""

from __future__ import annotations

import pytest

from fieldaid.grammar import Grammar, load_grammar
from fieldaid.grammar.numbers import number_forms, year_forms


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load_grammar()


def test_every_year_in_every_form(grammar):
    for year in range(1800, 2030):
        for form in [*year_forms(year), str(year)]:
            assert grammar.parse(f"built {form}").facts == {"building.built": year}, form


def test_every_decade(grammar):
    words = "twenties thirties forties fifties sixties seventies eighties nineties".split()
    decades = dict(zip(range(20, 100, 10), words, strict=True))
    for tens, word in decades.items():
        told = {"building.built": f"{1900 + tens}-{1909 + tens}"}
        for line in (f"built in the {word}", f"built in the nineteen {word}", f"built in the {1900 + tens}s",
                     f"built in the '{tens}s"):
            assert grammar.parse(line).facts == told, line


@pytest.mark.parametrize(("line", "name", "low", "high"), [
    ("{} in twelve", "roof.pitch", 0, 24), ("{} twelve", "roof.pitch", 0, 24),
    ("wind {} miles an hour", "wind.mph", 0, 99), ("roof is {} feet long", "roof.length_ft", 4, 400),
    ("{} feet wide", "roof.width_ft", 4, 400), ("{} inches on center", "roof.spacing_in", 6, 96),
    ("burning {} minutes", "fire.minutes", 0, 600), ("{} minutes of air", "crew.air", 0, 90),
    ("{} of us", "crew.count", 1, 12)])
def test_every_number_of_a_range_and_none_outside(grammar, line, name, low, high):
    for n in range(low, high + 1):
        told = {name: {"minutes": n} if name == "crew.air" else n}
        for form in [*number_forms(n), str(n)]:
            assert grammar.parse(line.format(form)).facts == told, form
    for n in (high + 1, high + 7):
        assert name not in grammar.parse(line.format(n)).facts, n


@pytest.mark.parametrize(("words", "mph"), [
    ("calm", 0), ("light air", 3), ("light breeze", 7), ("gentle breeze", 12), ("moderate breeze", 18),
    ("fresh breeze", 24), ("strong breeze", 31), ("near gale", 38), ("leaves rustling", 7), ("flag is out", 12),
    ("small branches moving", 18), ("small trees swaying", 24), ("large branches moving", 31),
    ("whole trees moving", 38)])
def test_wind_words_are_the_upper_end_of_their_beaufort_band(grammar, words, mph):
    """US National Weather Service, Beaufort wind scale (mph bands 0, 1-3, 4-7, 8-12, 13-18, 19-24, 25-31, 32-38)."""
    assert grammar.parse(words).facts == {"wind.mph": mph}
