"""What is wrong with a template is told with its place; a small grammar of one's own works."""

from __future__ import annotations

import pytest

from fieldaid.errors import BrokenData
from fieldaid.grammar import load_grammar

HEAD = 'parts:\n  the: "[the]"\nlists:\n  side:\n    A: "alpha"\n    C: "charlie"\nphrases:\n'


@pytest.mark.parametrize(("text", "line", "column", "code", "words"), [
    ("  - tells: {roof.colour: red}\n    say: red roof\n", 8, 12, "VALUE", "no fact is called 'roof.colour'"),
    ("  - tells: {roof.form: dome}\n    say: dome\n", 8, 12, "VALUE", "roof.form cannot be 'dome'"),
    ("  - tells: {roof.form: gable}\n    say: (gable|hip\n", 9, 10, "BRACKET", "( has no partner"),
    ("  - tells: {roof.form: gable}\n    say: gable]\n", 9, 15, "BRACKET", "] has no partner"),
    ("  - tells: {roof.form: gable}\n    say: gable (roof|)\n", 9, 22, "EMPTY", "an alternative is empty"),
    ("  - tells: {roof.form: gable}\n    say: gable[s]\n", 9, 15, "GLUED", "a space is missing"),
    ("  - tells: {roof.pitch: '6'}\n    say: 6 in 12\n", 9, 10, "WORD", "'6' is not a spoken word"),
    ("  - tells: {roof.form: gable}\n    say: <them> gable\n", 9, 10, "PART", "no part is called <them>"),
    ("  - tells: {roof.form: gable}\n    say: gable {where}\n", 9, 10, "SLOT", "no list is called 'where'"),
    ("  - tells: {'deck.{side}': soft}\n    say: soft\n", 9, 10, "NOTHING", "can give none of the facts"),
    ("  - tells: {roof.form: gable}\n    says: gable\n", 9, 5, "KEY", "unknown key 'says'"),
    ("  - say: gable\n", 8, 5, "MEANING", "a phrase needs a meaning"),
    ("  - command: explode\n    say: explode\n", 8, 14, "COMMAND", "no command is called 'explode'"),
    ("  - tells: {roof.form: gable}\n    say: gable\n  - tells: {roof.form: hip}\n    say: <the> gable\n", 11, 10,
     "SAME", "means something else"),
    ("  - tells: {roof.form: gable}\n    say: gable\n    say: gables\n", 10, 5, "TWICE", "stands here twice"),
])
def test_a_bad_template_is_found_with_its_place(tmp_path, text, line, column, code, words):
    (tmp_path / "bad.yaml").write_text(HEAD + text, encoding="utf-8")
    with pytest.raises(BrokenData) as caught:
        load_grammar(tmp_path)
    found = caught.value.findings[0]
    assert (found.file, found.line, found.column, found.code) == ("bad.yaml", line, column, code), str(found)
    assert words in found.message


def test_all_findings_are_told_not_only_the_first(tmp_path):
    (tmp_path / "bad.yaml").write_text(
        HEAD + "  - tells: {roof.form: dome}\n    say: dome\n  - tells: {roof.form: tent}\n    say: (tent\n")
    with pytest.raises(BrokenData) as caught:
        load_grammar(tmp_path)
    assert [one.code for one in caught.value.findings] == ["VALUE", "BRACKET"]


def test_broken_yaml_and_an_empty_folder_are_told(tmp_path):
    with pytest.raises(BrokenData, match="there are no templates"):
        load_grammar(tmp_path)
    (tmp_path / "bad.yaml").write_text("phrases: [\n")
    with pytest.raises(BrokenData) as caught:
        load_grammar(tmp_path)
    assert caught.value.findings[0].code == "YAML"


def test_a_small_grammar_of_ones_own(tmp_path):
    (tmp_path / "own.yaml").write_text(HEAD + "  - tells: {'deck.{side}': soft}\n    say: soft <the> {side}\n")
    grammar = load_grammar(tmp_path)
    assert grammar.parse("soft the charlie").facts == {"deck.C": "soft"}
    assert grammar.parse("soft bravo").readings == ()
