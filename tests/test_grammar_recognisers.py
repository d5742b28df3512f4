"""The grammar in the forms that pocketsphinx takes, and the words that its dictionary lacks."""

from __future__ import annotations

from pathlib import Path

import pytest

from fieldaid.errors import WrongUse
from fieldaid.grammar import Grammar, load_grammar

GUIDE = Path(__file__).resolve().parents[1] / "grammars" / "README.md"


@pytest.fixture(scope="module")
def grammar() -> Grammar:
    return load_grammar()


def test_words_are_spoken_words(grammar):
    assert all(word.replace("'", "").isalpha() and word == word.lower() for word in grammar.words())


def test_the_grammars_for_pocketsphinx_compile_and_missing_words_are_listed(grammar):
    pocketsphinx = pytest.importorskip("pocketsphinx")
    decoder = _decoder(pocketsphinx, grammar)
    for scope in ("affirm", *grammar.loaded.answers):
        decoder.add_jsgf_string(scope.replace(".", "_"), grammar.jsgf(scope))
    with pytest.raises(WrongUse, match=r"no answers for 'roof\.colour'"):
        grammar.jsgf("roof.colour")


def test_the_guide_lists_the_words_that_pocketsphinx_lacks(grammar):
    pocketsphinx = pytest.importorskip("pocketsphinx")
    decoder = pocketsphinx.Decoder(lm=None, loglevel="FATAL")
    missing = {word for word in grammar.words() if decoder.lookup_word(word) is None}
    listed = GUIDE.read_text(encoding="utf-8").split("Words that its dictionary lacks:")[1].split("\n\n")[0]
    assert missing == set(listed.replace(",", " ").replace(".", " ").split())


@pytest.mark.slow
def test_the_whole_grammar_goes_into_pocketsphinx(grammar, tmp_path):
    pocketsphinx = pytest.importorskip("pocketsphinx")
    decoder = _decoder(pocketsphinx, grammar)
    file = tmp_path / "all.fsg"
    file.write_text(grammar.fsg(), encoding="utf-8")
    decoder.add_fsg("all", pocketsphinx.FsgModel.readfile(str(file), decoder.logmath, 7.5))
    decoder.activate_search("all")


def _decoder(pocketsphinx, grammar):
    decoder = pocketsphinx.Decoder(lm=None, loglevel="FATAL")
    for word in grammar.words():
        if decoder.lookup_word(word) is None:
            decoder.add_word(word, "AH", False)
    return decoder
