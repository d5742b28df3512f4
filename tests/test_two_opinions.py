"""Two recognisers on one segment: what each says counts for, what is asked back, and what happens when one is missing.

Outside the project: the demo clips, whose words are known because a synthesiser was told to say them. The second
recogniser is a stand-in where a test is about the policy, and the real one where it is about hearing.
"""

from __future__ import annotations

import json

import demo_clips
import numpy as np
import pytest
import soundfile
from demo_clips import CLIPS, DEMO

from fieldaid import data
from fieldaid.errors import BrokenData, SoundError, WrongUse
from fieldaid.grammar import load_grammar
from fieldaid.hearing import choose, two_opinions
from fieldaid.hearing.awaited import answers_to, is_answer
from fieldaid.hearing.choose import Alone, Silent, best
from fieldaid.hearing.gate import Segment, segments
from fieldaid.hearing.heard import EVERY, Either, Heard, make
from fieldaid.hearing.likelihood.counterparts import Pairs, Swap, read_pairs, rewritten
from fieldaid.hearing.likelihood.meanings import Meaning
from fieldaid.hearing.likelihood.search import Row
from fieldaid.hearing.sound import Sound
from fieldaid.hearing.two_opinions import (
    AGREES,
    DIFFERS,
    Policy,
    TwoOpinions,
    alike_numbers,
    closeness,
    heard_once,
    number_words,
    proposals,
    read_policy,
)


@pytest.fixture(scope="module")
def grammar():
    return load_grammar()


@pytest.fixture(scope="module")
def first(grammar):
    pytest.importorskip("onnxruntime")
    from fieldaid.hearing.likelihood.recogniser import LikelihoodRecogniser

    try:
        return LikelihoodRecogniser(grammar)
    except WrongUse as missing:
        pytest.skip(str(missing))


class Says:
    """A second recogniser that says what it was told to."""

    name = "stand-in"
    notices = ("It was told what to say.",)

    def __init__(self, *texts: str, breaks: bool = False) -> None:
        self.texts, self.breaks, self.closed = texts, breaks, False

    def hear(self, segment: Segment, awaiting: str | None = None) -> Heard:
        if self.breaks:
            raise SoundError("it broke off")
        text, *others = self.texts or ("",)
        return Heard(text, self.name, alternatives=tuple((one, 1.0) for one in others))

    def close(self) -> None:
        self.closed = True


def clip(number: str) -> Segment:
    (found,) = demo_clips.clip(number)
    return found


# ---- what the second says of it


def test_the_same_meaning_in_other_words_agrees_and_other_words_differ(first):
    said = TwoOpinions(first, Says("fieldaid wind is from the west")).hear(clip("15"))
    other = TwoOpinions(first, Says("roof is sagging on charlie")).hear(clip("15"))
    none = TwoOpinions(first, Says()).hear(clip("15"))
    assert first.grammar.parse(said.text).facts == {"wind.from": "west"}
    assert [one.figures["stance"] for one in (said, other, none)] == [1.0, -1.0, 0.0]
    assert said.figures["close"] > other.figures["close"] >= none.figures["close"] == 0.0


def test_a_second_recogniser_that_breaks_is_silent_and_nothing_else_happens(first):
    broken = TwoOpinions(first, Says("field aid wind from the west", breaks=True)).hear(clip("15"))
    silent = TwoOpinions(first, Says()).hear(clip("15"))
    assert (broken.text, broken.figures) == (silent.text, silent.figures)


def test_a_sentence_that_only_the_second_heard_is_scored_and_can_lose(first):
    heard = TwoOpinions(first, Says("roof is bowstring trusses")).hear(clip("15"))
    assert first.grammar.parse(heard.text).facts in ({}, {"wind.from": "west"})
    measured = first.measure(clip("15").samples)
    more = first.propose(measured, ["roof is bowstring trusses", "field aid wind from the west"])
    texts = [one.row.text for one in more.meanings]
    assert "roof is bowstring trusses" in texts and texts[0] != "roof is bowstring trusses"


def test_proposals_of_the_second_are_read_with_the_call_sign_in_two_words():
    assert proposals(Heard("fieldaid roof is flat", "x", alternatives=(("roof is fat", -1.0), ("", -2.0)))) == [
        "field aid roof is flat", "roof is fat"]
    assert proposals(Heard("", "x")) == []


def test_closeness_is_one_for_the_same_words_whatever_the_call_sign():
    assert closeness("field aid, roof is flat", "fieldaid roof is flat") == 1.0
    assert closeness("roof is flat", "") == 0.0
    assert closeness("soft on bravo smoking on charlie", "soft on bravo smoke in on charlie") > 0.9 > closeness(
        "soft on bravo", "wires are clear")


# ---- numbers


def test_a_number_that_the_second_heard_in_other_words_rests_on_one_word(grammar):
    parsed = grammar.parse("built nineteen fifty eight, wind from the west")
    assert heard_once(parsed, Heard("built nineteen fifty eight wind from the west", "x")) == frozenset()
    assert heard_once(parsed, Heard("fieldaid build nineteen fifty eight", "x")) == frozenset()
    assert heard_once(parsed, Heard("built nineteen fifteen wind from the west", "x")) == {"building.built"}
    assert heard_once(parsed, Heard("", "x")) == {"building.built"}
    assert heard_once(parsed, Heard("", "x"), "built nineteen fifty eight") == frozenset()
    assert heard_once(parsed, Heard("", "x"), "built nineteen fifteen") == {"building.built"}


def test_a_number_said_without_a_number_word_counts_by_its_words(grammar):
    parsed = grammar.parse("calm")
    if "wind.mph" in parsed.facts:
        assert heard_once(parsed, Heard("calm", "x")) == frozenset()
        assert heard_once(parsed, Heard("come", "x")) == {"wind.mph"}


def test_the_words_of_a_number_go_from_its_first_to_its_last():
    assert number_words("about forty feet") == ["forty"]
    assert number_words("Pitch is six in twelve") == ["six", "in", "twelve"]
    assert number_words("half a tank") == []


class Alike:
    """A first recogniser that knows what a text is easily confused with."""

    def __init__(self, grammar, *found: tuple[str, float]) -> None:
        self.grammar, self.found = grammar, found

    def alike(self, measured, text):
        return list(self.found)


def measured_as(text: str):
    class Measured:
        awaiting = None

    return Measured(), Meaning("key", True, False, Row(text, (), -1.0, 0.0, 0.0), -1.0)


def test_a_number_that_barely_leads_over_its_sound_alike_is_asked_with_both_values(grammar):
    text = "built nineteen fifteen"
    first = Alike(grammar, ("built nineteen fifty", 1.0))
    measured, best = measured_as(text)
    assert alike_numbers(first, measured, best, grammar.parse(text), limit=4.0) == (
        (Either("building.built", (1915, 1950)),), None)
    assert alike_numbers(first, measured, best, grammar.parse(text), limit=0.5) == ((), None)


def test_a_sound_alike_that_is_no_number_keeps_its_lead_as_a_figure(grammar):
    text = "charged the line"
    first = Alike(grammar, ("charge the line", 0.7))
    measured, best = measured_as(text)
    assert alike_numbers(first, measured, best, grammar.parse(text), limit=4.0) == ((), 0.7)


def test_teens_and_tens_are_swapped_in_words_and_in_figures():
    pairs = Pairs.of([("charged", "charge", 4.0)])
    assert pairs.swaps("fifty feet long") == [Swap("fifty", "fifteen", "fifteen feet long")]
    assert Swap("fifteen", "fifty", "built nineteen fifty") in pairs.swaps("built nineteen fifteen")
    assert pairs.swaps("charged the line") == [Swap("charged", "charge", "charge the line", 4.0)]
    assert pairs.swaps("charge the line") == [] and pairs.swaps("discharged") == []
    assert rewritten("Built 1915.", "fifteen", "fifty") == "Built 1950."
    assert rewritten("Built in the 1950s", "fifty", "fifteen") is None
    assert rewritten("Charged the line", "charged", "charge") == "Charge the line"


@pytest.mark.parametrize("line", ["one two", "a\tb\tc", "a\tb\t1\t2", "Fifteen\tfifty", "same\tsame"])
def test_a_broken_table_of_sound_alikes_is_named_with_its_line(tmp_path, line):
    (tmp_path / "alike.tsv").write_text(f"# words\ncharged\tcharge\t4\n{line}\n", encoding="utf-8")
    with pytest.raises(BrokenData) as failure:
        read_pairs(tmp_path / "alike.tsv")
    assert [one.line for one in failure.value.findings] == [3]


def test_the_shipped_sound_alikes_are_sound():
    others = read_pairs(data.folder("grammars") / "sound_alikes.tsv").others
    assert others["fifteen"] == (("fifty", 0.0),) and others["charged"][0][1] > 0


def test_what_nobody_says_is_no_rival_and_an_order_is(first, monkeypatch):
    """Every lead is called small, so that only which texts are compared is seen."""
    monkeypatch.setattr("fieldaid.hearing.likelihood.recogniser.lead_over", lambda *_: 0.1)
    measured = first.measure(clip("15").samples)

    def rivals(text: str) -> list[str]:
        return [other for other, _ in first.alike(measured, text)]

    assert rivals("built nineteen fifteen") == ["built nineteen fifty"]
    assert rivals("built nineteen fifty eight") == []
    assert rivals("turned the fan off") == ["turn the fan off"]
    assert first.alike(measured, "turned the fan off")[0][1] < 0, "the handicap is taken off"


# ---- the policy


def test_what_agrees_needs_less_than_what_differs():
    policy = read_policy()
    agrees, differs = policy.limits[AGREES], policy.limits[DIFFERS]
    for name in ("llr", "worst", "margin", "fit"):
        assert getattr(agrees, name) <= getattr(differs, name)


@pytest.mark.parametrize("change", [lambda one: one.pop("agrees"), lambda one: one.update(close="x"),
                                    lambda one: one["differs"].pop("llr")], ids=["gone", "no number", "incomplete"])
def test_a_broken_policy_is_named(tmp_path, change):
    stored = json.loads(two_opinions.OPINIONS.read_text(encoding="utf-8"))
    change(stored)
    (tmp_path / "opinions.json").write_text(json.dumps(stored), encoding="utf-8")
    with pytest.raises(BrokenData):
        read_policy(tmp_path / "opinions.json")
    with pytest.raises(BrokenData):
        Policy.of({})


# ---- awaited answers


def test_what_answers_is_told_from_what_says_more(grammar):
    def answers(line: str, awaiting: str | None) -> bool:
        return is_answer(grammar.parse(line, expecting=awaiting), awaiting)

    assert answers("affirm", "affirm") and answers("negative", "affirm")
    assert answers("nineteen fifty", "building.built") and answers("six", "roof.pitch")
    assert not answers("nineteen fifty", None) and not answers("yeah", "affirm") and not answers("no", "affirm")
    assert not answers("soft on charlie", "affirm") and not answers("soft on charlie", "building.built")
    assert not answers("mayday", "affirm")


def test_every_question_of_the_grammar_has_its_bare_answers(grammar):
    assert answers_to(grammar, "building.built") == "answer building.built"
    assert answers_to(grammar, "deck.C") == "answer deck"
    assert answers_to(grammar, "affirm") is None and answers_to(grammar, None) is None


def test_a_bare_year_is_in_the_network_only_while_it_is_awaited(first):
    from fieldaid.hearing.likelihood.recogniser import usable

    samples = usable(clip("15").samples)
    assert first.measure(samples, "building.built").awaiting == "building.built"
    network = first._network
    assert network.answers("answer building.built") is not None and network.answers("answer nothing") is None


# ---- what is installed


class Other:
    """Stands for the strict pocketsphinx, which takes 4 s to load."""

    name = "sphinx"
    notices = ("A notice of its own.",)

    def __init__(self, **_) -> None:
        pass

    def hear(self, segment, awaiting=None) -> Heard:
        return Heard("wind from the west", self.name)

    def close(self) -> None:
        pass


def hide(monkeypatch, *packages: str) -> None:
    """As if these packages were not installed."""
    import importlib.util

    there = importlib.util.find_spec
    monkeypatch.setattr("importlib.util.find_spec",
                        lambda name, *more: None if name in packages else there(name, *more))


@pytest.mark.parametrize("package", ["moonshine_voice", "onnxruntime"])
def test_without_the_speech_model_pocketsphinx_hears_alone_and_every_fact_is_asked_back(monkeypatch, grammar, package):
    hide(monkeypatch, package, "vosk")
    monkeypatch.setattr("fieldaid.hearing.sphinx.SphinxRecogniser", Other)
    found = best(grammar)
    assert isinstance(found, Alone) and found.name == "sphinx"
    assert "pocketsphinx hears alone" in found.notices[0] and "Every fact is asked back" in found.notices[0]
    assert found.notices[1:] == Other.notices
    assert found.hear(clip("15")).once == EVERY


def test_with_nothing_that_could_hear_the_error_says_what_to_install(monkeypatch, grammar):
    hide(monkeypatch, "moonshine_voice", "pocketsphinx", "vosk")
    with pytest.raises(WrongUse) as failure:
        best(grammar)
    assert "fieldaid[voice]" in str(failure.value) and "pocketsphinx" in str(failure.value)


def test_without_a_second_recogniser_numbers_are_asked_back(monkeypatch, first, grammar):
    hide(monkeypatch, "pocketsphinx", "vosk")
    found = best(grammar)
    assert isinstance(found.second, Silent) and any("more numbers are asked back" in text for text in found.notices)
    found.close()


def test_a_vosk_model_that_is_named_takes_the_place_of_pocketsphinx(monkeypatch, first, grammar):
    seen = {}

    class Vosk(Says):
        name = "vosk"

        def __init__(self, grammar=None, model=None) -> None:
            super().__init__()
            seen["model"] = model

    monkeypatch.setattr("fieldaid.hearing.vosk_recogniser.VoskRecogniser", Vosk)
    found = make("best", grammar=grammar, model="somewhere")
    assert found.name == "likelihood and acoustic + vosk" and seen == {"model": "somewhere"}
    found.close()
    monkeypatch.setattr(choose.vosk_models, "is_at_hand", lambda: True)
    found = make("best", grammar=grammar)
    assert found.name == "likelihood and acoustic + vosk" and seen == {"model": None}
    found.close()


# ---- real clips through both


@pytest.fixture(scope="module")
def both(first, grammar):
    pytest.importorskip("pocketsphinx")
    found = make("both", grammar=grammar)
    yield found
    found.close()


@pytest.mark.parametrize("number", ["01", "15"])
def test_demo_clips_are_heard(both, grammar, number):
    facts = grammar.parse(both.hear(clip(number)).text).facts
    assert facts == (CLIPS[number].get("means") or {})


@pytest.mark.parametrize("number", ["51", "52", "53", "54", "55", "56", "57"])
def test_other_speech_gives_no_fact(both, grammar, number):
    samples, _ = soundfile.read(DEMO / CLIPS[number]["file"], dtype="float32")
    for segment in segments(Sound(samples)):
        parsed = grammar.parse(both.hear(segment).text)
        assert not parsed.facts and not parsed.command


@pytest.mark.parametrize("samples", [
    np.zeros(16000, np.float32), np.zeros(0, np.float32), np.full(8000, np.nan, np.float32),
    np.random.default_rng(0).normal(0, 0.05, 32000).astype(np.float32)], ids=["silence", "none", "nan", "hiss"])
def test_what_is_no_speech_is_nothing(both, samples):
    assert both.hear(Segment(0.0, len(samples) / 16000, samples)).text == ""
