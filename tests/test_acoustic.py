"""The acoustic recogniser: features, CTC, search, verdict, and real recordings through all of it.

Outside the project: values of Whisper's own filter bank (openai/whisper, mel_filters.npz, as WhisperFeatureExtractor of
the library transformers gives them) and its definition of the log-mel spectrum, worked out frame by frame; CTC by
enumerating every path (Graves et al., ICML 2006, equation 3); and the demo clips, whose words are known because a
synthesiser was told to say them.
"""

from __future__ import annotations

import itertools
import json

import numpy as np
import pytest
from demo_clips import CLIPS, clip
from small_grammar import small_grammar

pytest.importorskip("onnxruntime")

from fieldaid.errors import BrokenData, SoundError, WrongUse
from fieldaid.grammar import load_grammar
from fieldaid.hearing.acoustic import features
from fieldaid.hearing.acoustic.accept import Figures, Limits
from fieldaid.hearing.acoustic.alike import swaps
from fieldaid.hearing.acoustic.ctc import NEVER, align, log_likelihoods
from fieldaid.hearing.acoustic.letters import LETTERS, LetterTokenizer, PlainForms, greedy, heard, numbers
from fieldaid.hearing.acoustic.model import FILE, AcousticModel
from fieldaid.hearing.acoustic.recogniser import LIMITS, AcousticRecogniser, read_limits, usable, worst_word
from fieldaid.hearing.acoustic.search import Costs, search
from fieldaid.hearing.acoustic.words import AnyWords
from fieldaid.hearing.gate import Segment
from fieldaid.hearing.likelihood.meanings import meaning_of
from fieldaid.hearing.likelihood.network import TokenNetwork
from fieldaid.hearing.sound import RATE


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    return small_grammar(tmp_path_factory.mktemp("grammar"))


@pytest.fixture(scope="module")
def network(small) -> TokenNetwork:
    return TokenNetwork(small.network, "line", LetterTokenizer(), PlainForms(), {"if", "is"})


@pytest.fixture(scope="module")
def model() -> AcousticModel:
    return AcousticModel()


@pytest.fixture(scope="module")
def whole(model) -> AcousticRecogniser:
    return AcousticRecogniser(load_grammar(), model=model)


def random_scores(seed: int, frames: int, outputs: int) -> np.ndarray:
    scores = np.random.default_rng(seed).standard_normal((frames, outputs))
    return scores - np.logaddexp.reduce(scores, axis=1, keepdims=True)


def spelled(text: str, blur: float = 0.0, instead: str = "") -> np.ndarray:
    """Scores of a sound that spells `text`, each letter followed by a blank; `blur` of each letter's probability goes
    to the letter at the same place in `instead`."""
    scores = np.full((2 * len(text) + 1, 1 + len(LETTERS)), 1e-4)
    scores[::2, 0] = 1.0
    for at, letter in enumerate(numbers(text)):
        scores[2 * at + 1, letter] = 1.0 - blur
        if instead:
            scores[2 * at + 1, numbers(instead)[at]] += blur
    return np.log(scores / scores.sum(1, keepdims=True))


# ---- features


@pytest.mark.parametrize(("band", "frequency", "weight"), [
    (0, 1, 0.02486259490251541), (1, 1, 0.001990821911022067), (1, 2, 0.022871771827340126),
    (20, 20, 0.013890394), (40, 43, 0.014735566), (79, 192, 0.0031647119),
])
def test_the_filter_bank_is_whispers(band, frequency, weight):
    assert features.filters()[band, frequency] == pytest.approx(weight, abs=2e-8)


def test_the_spectrum_is_whispers_by_its_definition():
    samples = np.random.default_rng(1).standard_normal(4000) * np.linspace(0.0, 0.2, 4000)
    # torch.stft(400, 160, hann, center=True): frame t lies around sample 160 t, the ends mirrored; Whisper drops the
    # last frame. The transform is written out, in double precision.
    mirrored = np.concatenate([samples[200:0:-1], samples, samples[-2:-202:-1]])
    time = np.arange(400)
    hann = np.sin(np.pi * time / 400) ** 2
    waves = np.exp(-2j * np.pi * np.outer(np.arange(201), time) / 400)
    power = np.stack([np.abs(waves @ (mirrored[160 * t:160 * t + 400] * hann)) ** 2 for t in range(25)], axis=1)
    bands = np.log10(np.maximum(features.filters().astype(np.float64) @ power, 1e-10))
    expected = (np.maximum(bands, bands.max() - 8) + 4) / 4
    np.testing.assert_allclose(features.log_mel(samples), expected, atol=2e-4)


# ---- CTC


def collapsed(path: tuple[int, ...]) -> tuple[int, ...]:
    return tuple(one for one, _ in itertools.groupby(path) if one != 0)


def test_scores_are_the_sum_over_every_path():
    scores = random_scores(2, frames=5, outputs=3)
    total: dict[tuple[int, ...], float] = {}
    for path in itertools.product(range(3), repeat=5):
        chance = float(np.exp(scores[np.arange(5), path].sum()))
        total[collapsed(path)] = total.get(collapsed(path), 0.0) + chance
    rows = sorted(total)
    assert () in rows and (1, 1, 2) in rows and (1, 2, 1, 2, 1) in rows
    np.testing.assert_allclose(np.exp(log_likelihoods(scores, rows)), [total[row] for row in rows], rtol=1e-9)
    assert sum(total.values()) == pytest.approx(1.0)


def test_a_row_without_room_has_no_score():
    scores = random_scores(3, frames=3, outputs=3)
    assert log_likelihoods(scores, [(1, 1)])[0] > -50
    assert log_likelihoods(scores, [(1, 1, 2), (1, 2, 1, 2)]).max() < NEVER / 2
    with pytest.raises(ValueError, match="no room"):
        align(scores, (1, 2, 1, 2))


def test_the_alignment_is_the_likeliest_path():
    for seed, row in ((4, (1, 2)), (5, (1, 1)), (6, (2,)), (7, ())):
        scores = random_scores(seed, frames=6, outputs=3)
        letters = np.array([0, *(one for letter in row for one in (letter, 0))])
        best = max((path for path in itertools.product(range(3), repeat=6) if collapsed(path) == row),
                   key=lambda path: scores[np.arange(6), path].sum())
        assert tuple(letters[align(scores, row)]) == best


def test_a_long_text_is_aligned_too():
    text = "field aid " + "the ridge runs from alpha to charlie " * 4
    path = align(spelled(text), numbers(text))
    assert path[0] == 0 and path[-1] == 2 * len(text) and (np.diff(path) == 1).all()


# ---- letters, search, figures


def test_letters_are_heard_without_repeats_and_blanks():
    assert heard("Field aid, it's  O.S.B.!") == "field aid it's o s b"
    assert greedy(spelled("field aid")) == "field aid"
    assert greedy(spelled("too soon")) == "too soon"


@pytest.mark.parametrize("text", [
    "wind from the west", "wind is east", "field aid, wind west", "built in nineteen fifteen",
    "wind south, twelve miles an hour", "is wind west", "if wind west",
])
def test_the_search_finds_what_is_spelled(network, text):
    found = search(network, spelled(heard(text)))
    assert heard(found[0].text) == heard(text)
    assert found[0].text == text


def test_no_comma_takes_a_phrase_out_of_the_reach_of_a_loose_word(network, small):
    for one in search(network, spelled("is the wind west"), drop=60.0):
        if one.text.startswith("is"):
            assert "," not in one.text
            assert not small.parse(one.text).facts


def test_the_search_adds_up_what_the_exact_scores_say(network):
    scores = spelled("wind is east", blur=0.4, instead="wind is west")
    costs = Costs(phrase=0.5, loose=1.5, any_word=0.5)
    found = search(network, scores, beam=400, drop=40.0, costs=costs)
    assert {"wind is east", "wind is west"} <= {one.text for one in found[:4]}
    exact = log_likelihoods(scores, [numbers(heard(one.text)) for one in found[:8]])
    for one, score in zip(found[:8], exact, strict=True):
        # Two ways into the same letters, as a phrase and as loose words, are hypotheses of their own.
        assert one.score == pytest.approx(score - one.cost, abs=1e-3)


def test_nothing_of_the_grammar_is_found_in_silence(network):
    silence = np.full((40, 1 + len(LETTERS)), -40.0)
    silence[:, 0] = 0.0
    assert search(network, silence) == []


def test_the_worst_word_is_the_one_that_was_not_said():
    scores = spelled("good relief")
    assert worst_word(scores, "good relief") == pytest.approx(0.0, abs=1e-6)
    assert worst_word(scores, "no relief") < -8
    part = spelled("good relief", blur=0.3, instead="good belief")
    assert -2 < worst_word(part, "good belief") < -0.5


def test_a_row_of_any_words_is_heard_beside_the_grammar(small):
    words = AnyWords(small.words())
    scores = spelled("good idea", blur=0.2, instead="wind east")
    text, score = words.best(scores)
    assert text == "good idea"
    assert score == pytest.approx(float(log_likelihoods(scores, [numbers(text)])[0]))
    assert words.best(spelled(""))[0] == ""


def test_missing_common_words_are_one_clear_error(small, tmp_path):
    with pytest.raises(BrokenData, match="common words"):
        AnyWords(small.words(), tmp_path / "none.txt")


def test_what_sounds_alike_is_written_out():
    assert swaps("built nineteen fifteen") == ["built ninety fifteen", "built nineteen fifty"]
    assert "now fire" in swaps("no fire") and "line charge" in swaps("line charged")
    assert swaps("gables") == []


def test_each_limit_refuses_alone():
    good = {"llr": 0.0, "words": 0.0, "worst": -0.1, "margin": 12.0, "silence": 9.0, "letters": 20}
    limits = Limits()
    assert Figures(**good).accepted(limits)
    for poor in ({"llr": limits.llr - 0.1}, {"words": limits.words - 0.1}, {"worst": limits.worst - 0.1},
                 {"margin": limits.margin - 0.1}, {"silence": limits.silence - 0.1},
                 {"alike_margin": limits.alike_margin - 0.1}):
        assert not Figures(**good | poor).accepted(limits)
    assert not Figures(**good).accepted(Limits(fit=50.0))


# ---- data files


def test_a_missing_or_broken_model_is_one_clear_error(tmp_path):
    with pytest.raises(BrokenData, match="cannot be loaded"):
        AcousticModel(tmp_path / "none.onnx")
    (tmp_path / "cut.onnx").write_bytes(FILE.read_bytes()[:100_000])
    with pytest.raises(BrokenData, match="install fieldaid again"):
        AcousticModel(tmp_path / "cut.onnx")


def test_missing_or_broken_limits_are_one_clear_error(tmp_path):
    with pytest.raises(BrokenData, match="cannot be read"):
        read_limits(tmp_path / "none.json")
    (tmp_path / "limits.json").write_text(json.dumps({"fit": 1.0}))
    with pytest.raises(BrokenData, match="must be numbers"):
        read_limits(tmp_path / "limits.json")
    assert read_limits() == Limits.of(json.loads(LIMITS.read_text(encoding="utf-8")))


def test_the_grammar_is_needed():
    with pytest.raises(WrongUse, match="needs the grammar"):
        AcousticRecogniser()


# ---- recordings


def test_the_model_gives_probabilities_and_takes_twelve_seconds(model):
    for seconds in (0.06, 1.0, 12.8):
        samples = np.random.default_rng(5).standard_normal(int(seconds * RATE)).astype(np.float32) * 0.01
        log_probs = model.log_probs(samples)
        assert log_probs.shape == (len(samples) // 160 // 2, 1 + len(LETTERS))
        np.testing.assert_allclose(np.exp(log_probs).sum(1), 1.0, atol=1e-3)
    for seconds in (0.01, 14.0):
        with pytest.raises(ValueError, match="the model takes"):
            model.log_probs(np.zeros(int(seconds * RATE), np.float32))


def test_what_was_said_is_heard(whole):
    grammar = load_grammar()
    right, wrong = [], []
    chosen = [number for number, one in CLIPS.items() if one["means"] and "espeak" not in one["voice"]][::4]
    for number in chosen:
        facts = {}
        for segment in clip(number):
            facts |= grammar.parse(whole.hear(segment).text).facts
        (right if facts == CLIPS[number]["means"] else wrong if facts else []).append(number)
    assert not wrong
    assert len(right) >= 0.6 * len(chosen)


def test_a_sentence_that_could_not_be_said_makes_no_near_one_accepted(whole):
    grammar = load_grammar()
    accepted = []
    for number in ("01", "04", "15", "23"):
        for segment in clip(number):
            samples = usable(segment.samples)
            true = whole.measure(samples)
            assert true.figures is not None
            said = frozenset({meaning_of(grammar.parse(CLIPS[number]["say"])), true.meanings[0].key})
            other = whole.passing_over(true, said)
            if other.figures is not None and whole.accepts(other):
                accepted.append((number, other.meanings[0].row.text))
    assert not accepted


def test_scores_put_what_was_said_first(whole):
    said = heard(CLIPS["15"]["say"])
    samples = np.concatenate([segment.samples for segment in clip("15")])
    scores = whole.score(samples, [said, said.replace("wind", "rain"), "", CLIPS["01"]["say"]])
    assert int(scores.argmax()) == 0
    assert np.isneginf(whole.score(np.zeros(RATE, np.float32), [said])).all()


def test_noise_silence_and_broken_samples_give_nothing(whole):
    rng = np.random.default_rng(9)
    for samples in (np.zeros(RATE, np.float32), rng.standard_normal(3 * RATE).astype(np.float32) * 0.05,
                    np.full(RATE, np.nan, np.float32), np.zeros(10, np.float32),
                    np.cumsum(rng.standard_normal(2 * RATE)).astype(np.float32) * 1e-3):
        assert whole.hear(Segment(0.0, 1.0, samples)).text == ""


def test_a_closed_recogniser_says_so():
    recogniser = AcousticRecogniser(load_grammar(), limits=Limits())
    recogniser.close()
    recogniser.close()
    with pytest.raises(WrongUse, match="was closed"):
        recogniser.measure(np.ones(RATE, np.float32))


def test_a_model_that_breaks_is_a_sound_error(model, monkeypatch):
    def broken(mel):
        raise RuntimeError("no memory\nat line 3")

    monkeypatch.setattr(model, "_run", broken)
    with pytest.raises(SoundError, match="no memory"):
        model.log_probs(np.zeros(RATE, np.float32))
