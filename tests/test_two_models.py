"""The likelihood recogniser with the acoustic model beside it, on the demo clips, whose words are known because a
synthesiser was told to say them. The two models themselves are tried in test_likelihood.py and test_acoustic.py."""

from __future__ import annotations

import numpy as np
import pytest
from demo_clips import clip

pytest.importorskip("onnxruntime")

from fieldaid.errors import WrongUse
from fieldaid.grammar import load_grammar
from fieldaid.hearing.likelihood.model import find_model
from fieldaid.hearing.likelihood.recogniser import LikelihoodRecogniser, usable
from fieldaid.hearing.two_models import MOST_BEHIND, TwoModels

NAMES = ("05", "15", "22", "28")


@pytest.fixture(scope="module")
def grammar():
    try:
        find_model()
    except WrongUse as missing:
        pytest.skip(str(missing))
    return load_grammar()


@pytest.fixture(scope="module")
def both(grammar):
    made = TwoModels(grammar)
    yield made
    made.close()


@pytest.fixture(scope="module")
def one(grammar):
    made = LikelihoodRecogniser(grammar)
    yield made
    made.close()


def words(name: str) -> np.ndarray:
    samples = usable(clip(name)[0].samples)
    assert samples is not None
    return samples


@pytest.mark.parametrize("name", NAMES)
def test_the_scores_of_both_models_are_added(both, one, name):
    samples = words(name)
    measured = both.measure(samples)
    assert max(meaning.beside for meaning in measured.meanings) == 0.0
    assert all(-MOST_BEHIND <= meaning.beside for meaning in measured.meanings)
    sums = [one.rank(meaning) + both.weight * meaning.beside for meaning in measured.meanings]
    assert sums == sorted(sums, reverse=True)
    assert measured.figures.margin == pytest.approx(sums[0] - sums[1])
    # The acoustic model's own score of the texts says the same as what was put beside them.
    scores = both.other.score(samples, [meaning.row.text for meaning in measured.meanings])
    behind = np.maximum(scores - scores.max(), -MOST_BEHIND)
    np.testing.assert_allclose(behind, [meaning.beside for meaning in measured.meanings], atol=1e-3)


@pytest.mark.parametrize("name", NAMES)
def test_clean_speech_leads_by_more_than_with_one_model(both, one, name):
    samples = words(name)
    alone, measured = one.measure(samples), both.measure(samples)
    assert measured.meanings[0].key == alone.meanings[0].key
    assert measured.meanings[0].beside == 0.0, "the acoustic model finds the same"
    assert measured.figures.margin >= alone.figures.margin - 1e-6


def test_what_the_acoustic_model_hears_by_itself_is_its_own(both):
    samples = words("15")
    measured = both.measure(samples)
    assert both.heard_by_other(measured) == both.other.measure(samples).meanings[0].row.text


def test_without_the_acoustic_model_nothing_else_was_heard(one):
    assert one.heard_by_other(one.measure(words("15"))) == ""
