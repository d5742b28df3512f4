"""What the voice says, how long it takes, and the tone before danger.

Numbers H01-H23 name the published sources on noise, tones and machine speech:
H10 MIL-STD-1472E 5.3.3, H11 5.3.4.3.1, H12 5.3.4.3.3-5, H13 5.3.6, H14 MIL-STD-411F 5.3.6, H16 MIL-DTL-87268D
3.3.6.2, H20 hospital alarm study PMC4456276, H22 and H23 design rules derived from them.
"""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fieldaid.speaking import figures, spoken
from fieldaid.speaking.tone import PATTERNS, attention

# --- words ---


@pytest.mark.parametrize(("shown", "said"), [
    ("Built 1958.", "Built nineteen five eight."),
    ("Built 1915.", "Built nineteen one five."),
    ("1990-1999", "nineteen nine zero to nineteen nine nine"),
    ("a 1970s roof", "a nineteen seven zeros roof"),
    ("Built 2005", "Built two zero zero five"),
    ("4x8 ft", "four by eight feet"),
    ("4' x 8' hole", "four by eight feet hole"),
    ("6'4\" long", "six feet four inches long"),
    ("15 or 50", "one five or five zero"),
    ("Wind W 15 mph, gusts 30 mph", "Wind west one five miles per hour, gusts three zero miles per hour"),
    ("1 mph", "one mile per hour"),
    ("Wind NNW to SE", "Wind north northwest to southeast"),
    ("Pitch 6/12", "Pitch six in twelve"),
    ("6 in 12", "six in twelve"),
    ("16 in o.c.", "one six inches on centre"),
    ("3 in place", "three in place"),
    ("1 1/2 stories", "one and one half stories"),
    ("1,200 sq ft", "one two zero zero square feet"),
    ("2000 ft away", "two thousand feet away"),
    ("1.5 in.", "one point five inches."),
    ("A side", "Alpha side"),
    ("A line is flowing.", "A line is flowing."),
    ("Soft deck, C.", "Soft deck, Charlie."),
    ("BC corner, ridge B-D", "Bravo Charlie corner, ridge Bravo Delta"),
    ("A, B and D", "Alpha, Bravo and Delta"),
    ("C's deck", "Charlie's deck"),
    ("side a", "side Alpha"),
    ("neighbour_B", "neighbour Bravo"),
    ("roof.framing@garage: not told", "roof framing garage: not told"),
    ("E3 and T15", "engine three and truck one five"),
    ("WIND-010", "wind zero one zero"),
    ("2nd floor", "second floor"),
    ("75 %, 40°", "seven five percent, four zero degrees"),
    ("pitch ≥ 3", "pitch at least three"),
    ("At 13:22", "At one three two two"),
    ("crew (3 of 4)", "crew, three of four"),
    ("Hold — “water” not told…", "Hold, water not told."),
])
def test_display_text_becomes_what_is_said(shown, said):
    assert spoken.spoken_form(shown) == said


@pytest.mark.parametrize(("shown", "said"), [
    ("PAR", "personnel accountability report"), ("RIT ready", "rapid intervention team ready"),
    ("OSB deck", "oriented strand board deck"), ("AC unit, side C", "air conditioner, side Charlie"),
])
def test_abbreviations_are_whole_words(shown, said):
    """H16: machine speech says whole words for abbreviations."""
    assert spoken.spoken_form(shown) == said
    assert not spoken.unclear(shown)


def test_every_abbreviation_and_unit_that_is_known_leaves_nothing_unclear():
    for short in spoken.ABBREVIATIONS:
        assert not spoken.unclear(f"see {short} here"), short
    for unit in spoken.UNITS:
        said = spoken.spoken_form(f"3 {unit}")
        assert said == f"three {spoken.UNITS[unit][1]}", unit


def test_an_unknown_abbreviation_and_a_number_word_that_sounds_like_another_are_reported():
    assert "OSHA" in spoken.unclear("OSHA rule")[0]
    assert "fifty" in spoken.unclear("Fifty feet")[0]
    assert not spoken.unclear("Built nineteen five eight")
    assert "nineteen" in spoken.unclear("nineteen feet")[0]


def test_all_counts_to_199_and_years_differ_and_none_uses_a_teen_or_a_ty():
    counts = [figures.number(str(n)) for n in range(200)]
    assert len(set(counts)) == 200
    assert not figures.EASILY_MISHEARD & {word for said in counts for word in said.split()}
    years = [figures.year(str(n)) for n in range(1700, 2100)]
    assert len(set(years)) == 400


@pytest.mark.parametrize(("teen", "ty"), [(10 + n, 10 * n) for n in range(3, 10)])
def test_a_teen_and_its_ty_share_no_sound_but_a_whole_digit(teen, ty):
    teen_said, ty_said = figures.number(str(teen)).split(), figures.number(str(ty)).split()
    assert teen_said[0] == "one" and ty_said[1] == "zero" and teen_said != ty_said


PIECES = st.sampled_from(
    ["A", "B", "C", "D", "AB", "B-D", "side", "slope", "15", "50", "1958", "1990-1999", "4x8 ft", "24 in",
     "o.c.", "mph", "12 mph", "6/12", "6 in 12", "PAR", "OSHA", "N", "SW", "E3", "W", ".", ",", ";", "?", "(",
     ")", "—", "-", "/", "°", "%", "5 %", "1/2", "13:22", "leave now", "deck", "it's", "roof.framing",
     "WIND-010", "2nd",
     "1970s", "\"", "'", "≥", "0.5", "1,200", "#2", "…", "one", "nineteen", "five", "_", "a", "in", "x"])


@settings(deadline=None)
@given(st.lists(PIECES, max_size=9))
def test_saying_the_spoken_form_again_changes_nothing(pieces):
    said = spoken.spoken_form(" ".join(pieces))
    assert spoken.spoken_form(said) == said


@settings(deadline=None)
@given(st.lists(PIECES, max_size=9), st.sampled_from([" ", ""]))
def test_no_figure_is_left_to_the_engine(pieces, between):
    assert not any(sign.isdigit() for sign in spoken.spoken_form(between.join(pieces)))


@settings(deadline=None)
@given(st.text(max_size=60))
def test_no_text_whatever_breaks_the_spoken_form(text):
    assert isinstance(spoken.spoken_form(text), str)
    assert spoken.seconds(text) >= 0


# --- limits of a line ---

SAID_IN_THE_FIELD = [
    ("leave", "Leave now. Soft deck, Charlie."), ("leave", "Leave now. Ordered off the roof."),
    ("stop", "Stay off: attic not told."), ("stop", "Hold cut: water not told."),
    ("readback", "Gable, ridge B-D. 1958. Framing not told."), ("note", "No bar reported. Your decision."),
    ("advice", "No hold reported. C, high. Ladder behind you."),
    ("question", "Need: roof order, wires, surface."),
    ("readback", "Heard: three on air; two ladders; eave solid. Affirm?"),
    ("advice", "Air before water makes the fire grow."), ("caution", "Wind W 15 mph. Work upwind."),
]


@pytest.mark.parametrize(("kind", "line"), SAID_IN_THE_FIELD)
def test_the_lines_of_a_good_day_are_within_the_limits(kind, line):
    """H22: short fixed sentences; at most 7 words or 10, and 4 s, are the product's own figures."""
    assert spoken.over_limit(kind, line) == []


def test_a_line_over_a_limit_is_reported_with_its_figure():
    eight = "Leave now the deck is soft on Charlie"
    assert "8 spoken words, at most 7" in spoken.over_limit("leave", eight)[0]
    assert "8 spoken words, at most 7" in spoken.over_limit("stop", eight)[0]
    assert spoken.over_limit("note", eight) == []
    assert "11 spoken words" in spoken.over_limit("note", "a b c d e f g h i j k".replace("a", "the"))[0]
    slow = "Responsibilities, unquestionably, notwithstanding: accountability; intercommunication."
    assert "at most 4 s" in spoken.over_limit("note", slow)[0]


def test_a_number_counts_as_the_words_that_are_said():
    assert spoken.word_count("15 mph") == 5


# --- tone ---


@pytest.mark.parametrize("kind", list(PATTERNS))
@pytest.mark.parametrize("rate", [16000, 22050, 48000])
def test_the_tone_is_long_enough_and_lies_in_the_preferred_band(kind, rate):
    """H13: at least 0.5 s. H10: 500 to 3,000 Hz preferred."""
    tone = attention(kind, rate)
    assert len(tone) / rate >= 0.5
    power = np.abs(np.fft.rfft(tone)) ** 2
    hertz = np.fft.rfftfreq(len(tone), 1 / rate)
    assert power[(hertz >= 500) & (hertz <= 3000)].sum() / power.sum() > 0.9
    assert np.abs(tone).max() <= 0.95
    assert abs(tone[0]) < 0.01 and abs(tone[-1]) < 0.01
    assert np.abs(np.diff(tone)).max() < 1.0


def test_the_tones_are_few_differ_in_their_first_half_second_and_mark_danger_only():
    """H11: at most four alarm sounds. H12: the first half second is unlike any other signal."""
    assert sorted(PATTERNS) == sorted(spoken.DANGER) and len(PATTERNS) <= 4
    leave, stop = (attention(kind, 22050)[:11025] for kind in ("leave", "stop"))
    spectra = [np.abs(np.fft.rfft(tone)) for tone in (leave, stop)]
    likeness = np.dot(*spectra) / np.prod([np.linalg.norm(spectrum) for spectrum in spectra])
    assert likeness < 0.3
    for kind in set(spoken.KINDS) - set(spoken.DANGER):
        assert attention(kind, 22050).size == 0
