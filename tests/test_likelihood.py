"""The phrase recogniser: tokens, network, search, prior, verdict, and real recordings through all of it.

Outside the project: the model itself (its own output must come back from the tokenizer, and its step by step
probabilities from the whole-row ones), plain enumeration of a small grammar, and the demo clips, whose words are known
because a synthesiser was told to say them. Bounds of shares: Clopper and Pearson, Biometrika 26 (1934), in the closed
form that a share of 0 has.
"""

from __future__ import annotations

import itertools
import json
import sys
from pathlib import Path

import numpy as np
import pytest
from demo_clips import CLIPS, DEMO, clip
from small_grammar import small_grammar

pytest.importorskip("onnxruntime")

from fieldaid.errors import BrokenData, SoundError, WrongUse
from fieldaid.grammar import load_grammar
from fieldaid.hearing.gate import Segment
from fieldaid.hearing.likelihood.accept import Figures, Limits
from fieldaid.hearing.likelihood.meanings import gather, same_but_teens
from fieldaid.hearing.likelihood.model import SpeechModel, find_model
from fieldaid.hearing.likelihood.network import Spot, TokenNetwork, text_of
from fieldaid.hearing.likelihood.prior import Prior
from fieldaid.hearing.likelihood.recogniser import LikelihoodRecogniser, read_limits, usable
from fieldaid.hearing.likelihood.search import Costs, Row, search
from fieldaid.hearing.likelihood.tokens import EOS, Tokenizer
from fieldaid.hearing.likelihood.written import WrittenForms
from fieldaid.hearing.sound import RATE

ROOT = Path(__file__).resolve().parent.parent
QUANTISED = 0.6
"""The model's weights are 8 bit, and its activations are scaled over all rows of a pass: the same text differs by a few
tenths of a nat with its company."""


@pytest.fixture(scope="module")
def model() -> SpeechModel:
    try:
        find_model()
    except WrongUse as missing:
        pytest.skip(str(missing))
    return SpeechModel()


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return small_grammar(tmp_path_factory.mktemp("grammar"))


@pytest.fixture(scope="module")
def network(small, model) -> TokenNetwork:
    return TokenNetwork(small.network, "line", model.tokenizer, WrittenForms(small.loaded.written), {"if", "is"})


@pytest.fixture(scope="module")
def whole(model) -> LikelihoodRecogniser:
    return LikelihoodRecogniser(load_grammar(), model=model)


def walked(network: TokenNetwork, tokens: tuple[int, ...]) -> Spot | None:
    """Where tokens lead, or None when the network does not have them."""
    spot = network.begin
    for token in tokens:
        if token == network.comma and spot.comma:
            spot = network.after_comma(spot)
        elif token == network.stop and spot.stop:
            spot = network.after_stop(spot)
        else:
            ways = [(place.trie, place.stack, place.words) for place in (*spot.inside, *spot.between)]
            if spot.opening is not None:
                tries = [network.phrases, network.loose, *([network.any_word] if spot.loose else [])]
                ways += [(trie, (), spot.opening) for trie in tries]
            reached = [(trie.nodes[at], stack, words) for trie, stack, words in ways
                       for at in np.nonzero(trie.tokens == token)[0]]
            if not reached:
                return None
            spot = network.after_token(reached)
    return spot


def heard_as(network: TokenNetwork, model: SpeechModel, written: str) -> str | None:
    """The words that the network takes from a written text, or None."""
    spot = walked(network, model.tokenizer.encode(f" {written}"))
    return None if spot is None or spot.words is None else text_of(spot.words)


# ---- tokens and model


def test_the_tokenizer_gives_the_tokens_that_the_model_itself_writes(model):
    for number in ("01", "09", "13", "25", "51"):
        for segment in clip(number):
            encoded = model.encode(segment.samples)
            scores, cache, written = encoded.first[None], encoded.past, []
            for _ in range(40):
                token = int(scores[0].argmax())
                if token == EOS:
                    break
                written.append(token)
                scores, cache = model.step(encoded, [token], cache)
            assert list(model.tokenizer.encode(" " + model.tokenizer.decode(written))) == written


def test_letters_that_no_piece_holds_become_bytes(model):
    tokens = model.tokenizer.encode(" 🜁")
    assert model.tokenizer.decode(list(tokens)) == "🜁"


def test_whole_rows_have_the_probability_of_their_steps(model):
    encoded = model.encode(clip("15")[0].samples)
    rows = [(*model.tokenizer.encode(text), EOS) for text in (" Wind from the west.", " Soft", " built 1958")]
    for row, whole_row in zip(rows, model.texts(encoded, rows), strict=True):
        total, cache = float(encoded.first[row[0]]), encoded.past
        for before, token in itertools.pairwise(row):
            scores, cache = model.step(encoded, [before], cache)
            total += float(scores[0][token])
        assert whole_row == pytest.approx(total, abs=QUANTISED)


def test_rows_that_share_one_sound_do_not_change_each_other(model):
    encoded = model.encode(clip("15")[0].samples)
    first, second = model.tokenizer.encode(" wind west")[:2]
    alone, _ = model.step(encoded, [first], encoded.past)
    both, _ = model.step(encoded, [first, second], [np.repeat(part, 2, 0) for part in encoded.past])
    likely = alone[0] > -8
    np.testing.assert_allclose(both[0][likely], alone[0][likely], atol=QUANTISED)


def test_twelve_seconds_fit_into_the_model(model):
    encoded = model.encode(np.random.default_rng(3).standard_normal(12 * RATE).astype(np.float32) * 0.01)
    scores, _ = model.step(encoded, [400, 500, 600], [np.repeat(part, 3, 0) for part in encoded.past])
    np.testing.assert_allclose(np.exp(scores).sum(-1), 1.0, atol=1e-3)


def test_a_missing_model_is_one_clear_error(tmp_path):
    with pytest.raises(WrongUse, match=r"moonshine-voice==0\.1\.0"):
        find_model(tmp_path)
    for name in ("encoder_model.ort", "decoder_model_merged.ort", "tokenizer.bin"):
        (tmp_path / name).write_bytes(b"no model")
    with pytest.raises(WrongUse, match="cannot be loaded"):
        SpeechModel(tmp_path)


def test_a_broken_tokenizer_file_is_refused(tmp_path):
    (tmp_path / "t.bin").write_bytes(b"\x05ab")
    with pytest.raises(ValueError, match="breaks off"):
        Tokenizer(tmp_path / "t.bin")


# ---- network


@pytest.mark.parametrize(("written", "words"), [
    ("wind from the west", "wind from the west"),
    ("Wind from the West.", "wind from the west"),
    ("Field aid, wind west", "field aid, wind west"),
    ("Field-aid wind is east, 12 miles an hour", "field aid wind is east, twelve miles an hour"),
    ("12 mph", "twelve miles an hour"),
    ("built 1958.", "built nineteen fifty eight"),
    ("built in the 1950s", "built in the nineteen fifties"),
    ("Built nineteen oh five", "built nineteen oh five"),
    ("okay wind west built 1915 field aid", "okay wind west built nineteen fifteen field aid"),
    ("is wind west", "is wind west"),
    ("if, wind west", "if, wind west"),
    ("Is built field wind miles", "is built field wind miles"),
])
def test_written_forms_come_back_as_the_words_that_are_said(network, model, written, words):
    assert heard_as(network, model, written) == words


@pytest.mark.parametrize("written", ["wind", "wind from", "wind west the", "built 19", "21 mph", "west", "aid",
                                     "wind,, west", "wind from. the west", ""])
def test_what_the_grammar_does_not_say_is_not_in_the_network(network, model, written):
    assert heard_as(network, model, written) in (None, "")


def test_words_are_read_with_the_commas_that_make_sense_of_them(small):
    rows = [Row("wind west, built, nineteen fifty", (1,), -2.0, 0.0, 0.0),
            Row("wind west, built nineteen fifty", (2,), -3.0, 0.0, 0.0)]
    whole_meaning = small.parse("wind west, built nineteen fifty").facts
    assert len(whole_meaning) == 2
    found = gather(rows, small.parse)
    assert len(found) == 1
    assert small.parse(found[0].row.text).facts == whole_meaning
    assert found[0].score == pytest.approx(np.logaddexp(-2.0, -3.0))


def test_every_sentence_of_the_shipped_grammar_is_in_its_network(whole, model):
    grammar = load_grammar()
    network = whole._network
    for text, facts in grammar.sentences(7, 300):
        words = heard_as(network, model, text)
        assert words is not None, text
        assert grammar.parse(words).facts == grammar.parse(text).facts or grammar.parse(text).facts != facts, text


def test_the_size_is_that_of_the_network_and_not_of_its_sentences(whole):
    assert whole._network.size()["tries"] <= whole.grammar.network.size()["nodes"] + 1


# ---- search and prior


def test_a_wide_search_finds_what_enumeration_finds(network, model):
    encoded = model.encode(clip("15")[0].samples)
    found = search(model, network, encoded, 9, beam=600, drop=40.0, costs=Costs(0.0, 0.0))
    texts = [f" {wind} {be}{place}" for wind in ("wind", "Wind") for be in ("", "is ", "from the ", "is from the ")
             for place in ("west", "West", "east", "south", "South", "East")]
    rows = [(*model.tokenizer.encode(text), EOS) for text in texts]
    scores = dict(zip(rows, model.texts(encoded, rows), strict=True))
    got = {row.tokens: row.score for row in found.rows}
    best = max(scores.values())
    for row, score in scores.items():
        if score > best - 6 and len(row) <= 9:
            assert got[row] == pytest.approx(score, abs=QUANTISED)


def test_a_row_knows_its_worst_token_and_its_end(network, model):
    encoded = model.encode(clip("49")[0].samples)
    for row in search(model, network, encoded, 20).rows[:5]:
        assert row.worst <= row.last <= 0.0


def test_the_prior_of_what_noise_suggests_is_high_and_of_a_phrase_low(model):
    prior = Prior(model)
    common, phrase = prior.of([Row(text, (*model.tokenizer.encode(text), EOS), 0.0, 0.0, 0.0)
                               for text in (" the", " Field aid, wind from the west.")])
    assert common > phrase + 10


def test_a_broken_noise_file_is_named(model, tmp_path):
    (tmp_path / "noise.npz").write_bytes(b"nothing")
    with pytest.raises(BrokenData, match="noise.npz"):
        Prior(model, tmp_path / "noise.npz")


# ---- verdict


GOOD = Figures(llr=0.5, pmi=40.0, margin=12.0, worst=-0.5, last=-0.1, tokens=12)


def test_each_figure_alone_can_refuse():
    limits = read_limits()
    assert GOOD.accepted(limits)
    for name in ("llr", "pmi", "margin", "worst", "last", "alike_margin"):
        poor = Figures(**{**GOOD.__dict__, name: -60.0})
        assert not poor.accepted(limits), name


@pytest.mark.parametrize("text", ["{}", "no json", '{"llr": "low"}', "[]"])
def test_broken_limits_are_named(tmp_path, text):
    path = tmp_path / "limits.json"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(BrokenData, match="limits"):
        read_limits(path)


def test_limits_are_stored_and_read_alike(tmp_path):
    path = tmp_path / "limits.json"
    path.write_text(json.dumps(Limits().stored()), encoding="utf-8")
    assert read_limits(path) == Limits()


def test_teens_and_tens_are_told_from_other_differences():
    assert same_but_teens("built nineteen fifteen", "built, nineteen fifty")
    assert not same_but_teens("built, nineteen fifty", "built nineteen fifty")
    assert not same_but_teens("built nineteen fifty", "built nineteen sixty")


# ---- the recogniser


def test_without_the_grammar_it_says_what_it_needs():
    with pytest.raises(WrongUse, match="grammar"):
        LikelihoodRecogniser(jsgf="#JSGF V1.0;")


@pytest.mark.parametrize("samples", [
    np.zeros(0, np.float32),
    np.zeros(100, np.float32),
    np.zeros(3 * RATE, np.float32),
    np.full(RATE, np.nan, np.float32),
    np.ones(RATE // 2, np.float32),
    np.sign(np.sin(np.arange(RATE) * 0.1)).astype(np.float32) * 40,
    np.random.default_rng(1).standard_normal(2500).astype(np.float32) * 0.1,
    np.random.default_rng(1).standard_normal(20 * RATE).astype(np.float32) * 0.05,
    np.random.default_rng(1).integers(-9, 9, 8000),
], ids=["empty", "short", "silent", "nan", "constant", "clipped", "click", "long", "integers"])
def test_nothing_is_heard_in_what_is_no_speech_and_nothing_breaks(whole, samples):
    heard = whole.hear(Segment(1.0, 1.0 + len(samples) / RATE, samples))
    assert heard.text == ""
    assert (heard.recogniser, heard.start_s) == ("likelihood", 1.0)


def test_short_speech_is_padded_and_long_sound_is_cut():
    assert len(usable(np.full(3000, 0.1, np.float32))) == RATE // 2
    assert len(usable(np.full(20 * RATE, 0.1, np.float32))) <= 12.1 * RATE
    assert usable(np.zeros(RATE, np.float32)) is None


@pytest.mark.parametrize("number", ["01", "05", "12", "15", "22", "31", "36", "41"])
def test_demo_clips_are_heard_as_their_facts(whole, number):
    facts: dict = {}
    for segment in clip(number):
        heard = whole.hear(segment)
        facts |= whole.grammar.parse(heard.text).facts
        assert {"llr", "pmi", "margin", "free"} <= set(heard.figures)
        assert heard.ms["decode"] > 0
    assert facts == CLIPS[number]["means"]


@pytest.mark.parametrize("number", ["51", "52", "53", "54", "56", "57"])
def test_speech_outside_the_grammar_gives_no_fact_and_shows_the_nearest(whole, number):
    for segment in clip(number):
        heard = whole.hear(segment)
        assert heard.text == ""
        assert not heard.alternatives or heard.alternatives[0][1] == 0.0


def test_a_closed_recogniser_says_so(small, model):
    recogniser = LikelihoodRecogniser(small, model=model)
    recogniser.close()
    recogniser.close()
    with pytest.raises((WrongUse, SoundError), match="closed"):
        recogniser.hear(Segment(0.0, 1.0, np.random.default_rng(0).standard_normal(RATE).astype(np.float32)))


# ---- the benchmark's own arithmetic


def test_the_upper_bound_of_no_wrong_answer_has_its_closed_form(monkeypatch):
    monkeypatch.syspath_prepend(str(ROOT / "tests" / "bench"))
    monkeypatch.syspath_prepend(str(DEMO))
    bench = pytest.importorskip("bench_hearing")
    try:
        for n in (1, 10, 72, 500):
            assert bench.upper_bound(0, n) == pytest.approx(1 - 0.05 ** (1 / n), abs=1e-9)
        # By hand: with p the bound for 1 of 2, (1 - p)^2 + 2 p (1 - p) = 0.05, so p^2 = 0.95.
        assert bench.upper_bound(1, 2) == pytest.approx(0.95**0.5, abs=1e-9)
        assert bench.upper_bound(3, 3) == 1.0
    finally:
        for name in ("bench_hearing", "hearing_clips", "noise", "voices"):
            sys.modules.pop(name, None)

