"""The schemas of rules/schema are those of the shipped pack as it is, and no stricter than the loader.

Validated with jsonschema, the reference validator for Python, against JSON Schema draft 7
(https://json-schema.org/specification-links#draft-7).
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from fieldaid.authoring.schema import schemas
from fieldaid.authoring.schema_room import text_of
from fieldaid.facts import vocabulary
from fieldaid.facts.vocabulary import FACTS, Fact
from fieldaid.guidance.pack import Pack, load_pack
from fieldaid.guidance.rule_reader import plain
from fieldaid.guidance.yaml_nodes import read

jsonschema = pytest.importorskip("jsonschema")

RULES = Path(__file__).resolve().parents[1] / "rules"
SAMPLES = Path(__file__).parent / "authoring" / "samples"
# Codes of the loader that a schema can see.
SEEN = ("F104", "F105", "F106", "F108", "F201", "F202", "F203", "F204", "F205", "F206", "F301", "F310", "F311")


def house() -> Pack:
    return load_pack(RULES / "house")


def data_of(path: Path) -> Any:
    wrong: list = []
    node = read(path, str(path), wrong.append)
    assert node is not None and not wrong
    return plain(node)


def errors(schema: dict, data: Any) -> list[str]:
    return [f"{'/'.join(map(str, one.absolute_path))}: {one.message[:200]}"
            for one in jsonschema.Draft7Validator(schema).iter_errors(data)]


def test_the_committed_schemas_are_those_of_the_pack_as_it_is() -> None:
    found = schemas(house())
    assert {path.stem for path in (RULES / "schema").glob("*.json")} == set(found)
    for name, schema in found.items():
        assert (RULES / "schema" / f"{name}.json").read_text(encoding="utf-8") == text_of(schema), (
            f"{name}: write them anew with: fieldaid rules schema rules/house --write rules/schema")


@pytest.mark.parametrize("folder", [RULES / "house", SAMPLES / "base"], ids=["house", "sample"])
def test_every_file_of_a_pack_fits_its_schema(folder: Path) -> None:
    found = schemas(load_pack(folder))
    files = [*folder.glob("*.yaml"), *folder.glob("rules/*.yaml"), *folder.glob("tests/*.yaml")]
    assert len(files) >= 7
    for path in files:
        name = path.stem if path.parent == folder else path.parent.name
        jsonschema.Draft7Validator.check_schema(found[name])
        assert errors(found[name], data_of(path)) == [], path


@pytest.mark.parametrize("code", SEEN)
def test_what_the_loader_refuses_in_a_rule_the_editor_marks_too(code: str) -> None:
    schema = schemas(load_pack(SAMPLES / "base"))["rules"]
    assert errors(schema, data_of(SAMPLES / f"{code}_bad.yaml"))


def test_every_fact_has_a_description_and_its_values_in_rules_and_situations() -> None:
    schema = json.loads((RULES / "schema" / "rules.json").read_text(encoding="utf-8"))
    conditions = schema["definitions"]["conditions"]["properties"]
    situation = schema["definitions"]["situation"]["properties"]
    for name, fact in FACTS.items():
        assert fact.about in conditions[name]["description"], name
        assert situation[name]["description"].startswith(fact.about), name
    rule = {"roof.form": "gabel"}
    assert errors({**schema, "type": "object", "items": {}, **schema["definitions"]["conditions"]}, rule)
    for key in ("deck.*", "smoke.gable.push", "ways.usable", "wind.on.*", "attic_sign", "trigger", "access", "gate"):
        assert conditions[key]["description"], key


def test_a_new_fact_shows_up(monkeypatch: pytest.MonkeyPatch) -> None:
    before = schemas(house())
    new = Fact(name="roof.gutter", called="gutter", about="how the gutter holds", values=("firm", "loose"))
    monkeypatch.setitem(vocabulary.FACTS, "roof.gutter", new)
    after = schemas(house())
    assert text_of(before["rules"]) != text_of(after["rules"]) and text_of(before["tests"]) != text_of(after["tests"])
    situations = [{"name": "Loose", "given": {"roof.gutter": "loose"}, "expect": {"access": "stay off"}}]
    assert errors(before["tests"], situations) and not errors(after["tests"], situations)
    assert errors(after["tests"], [{**situations[0], "given": {"roof.gutter": "lose"}}])


def test_a_new_parameter_and_source_show_up(tmp_path: Path) -> None:
    import shutil

    shutil.copytree(SAMPLES / "base", tmp_path / "pack")
    shutil.copytree(SAMPLES / "F712_good", tmp_path / "pack", dirs_exist_ok=True)
    with (tmp_path / "pack" / "sources.yaml").open("a") as file:
        file.write("- {id: S09, title: New, kind: study, certainty: A, fact: New., found: invented}\n")
    schema = text_of(schemas(load_pack(tmp_path / "pack"))["rules"])
    assert '"$wind_most"' in schema and '"S09"' in schema
