"""The rule book: complete, self-contained, and every link leads somewhere."""

from __future__ import annotations

import io
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

from fieldaid.authoring.book import CAUTION, book
from fieldaid.authoring.book_room import write_book
from fieldaid.authoring.evidence import load_evidence
from fieldaid.authoring.provenance import load_with_origins
from fieldaid.errors import WrongUse

RULES = Path(__file__).resolve().parents[2] / "rules"
HOUSE, DEPARTMENT = RULES / "house", RULES / "quillhaven"
VOID = {"meta", "br"}


class _Page(HTMLParser):
    """Collects ids, links and text, and notes tags that close wrongly."""

    def __init__(self) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.loaded: list[str] = []
        self.wrong: list[str] = []
        self.text: list[str] = []
        self._open: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        told = dict(attrs)
        self.ids += [told["id"]] if told.get("id") else []
        self.links += [told["href"]] if tag == "a" and told.get("href") else []
        self.loaded += [str(told[name]) for name in ("src", "data", "srcset") if name in told]
        self.loaded += [tag] if tag in ("script", "link", "img", "iframe", "object") else []
        if tag not in VOID:
            self._open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        if not self._open or self._open.pop() != tag:
            self.wrong.append(tag)

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def _read(text: str) -> _Page:
    page = _Page()
    page.feed(text)
    page.close()
    return page


@pytest.fixture(scope="module")
def html() -> str:
    pack, origins = load_with_origins(HOUSE, [DEPARTMENT])
    return book(pack, load_evidence(pack), origins)


@pytest.fixture(scope="module")
def page(html: str) -> _Page:
    return _read(html)


def test_every_tag_closes_and_every_id_is_used_once(page: _Page) -> None:
    assert page.wrong == []
    assert len(page.ids) == len(set(page.ids))


def test_every_link_leads_somewhere_in_the_page(page: _Page) -> None:
    assert page.links and all(link.startswith("#") for link in page.links)
    assert {link[1:] for link in page.links} <= set(page.ids)


def test_nothing_is_loaded_from_anywhere(html: str, page: _Page) -> None:
    assert page.loaded == []
    assert "@import" not in html and "url(" not in html


def test_everything_of_the_pack_is_in_it(page: _Page) -> None:
    pack, _ = load_with_origins(HOUSE, [DEPARTMENT])
    text = " ".join(page.text)
    for rule in pack.rules:
        assert f"{rule.id} {rule.title}" in text and rule.why in text
    evidence = load_evidence(pack)
    told = [one.fact for one in pack.sources.values()] + [one.about for one in pack.parameters.values()]
    told += [one.text for one in pack.invariants] + [one.question for one in evidence.decisions]
    told += [one.handled for one in evidence.conflicts] + [one.why_unused for one in evidence.unused] + [CAUTION]
    assert [one for one in told if one not in text] == []


def test_what_the_department_changed_is_shown_with_both_values(page: _Page) -> None:
    text = re.sub(r"\s+", " ", " ".join(page.text))
    assert "10 → 8 mph" in text and "quillhaven (the pack has 10)" in text
    assert "the era misleads here" in text and "Slate or tile at night" in text


def test_words_of_a_pack_are_never_markup(tmp_path: Path) -> None:
    for path in DEPARTMENT.rglob("*.yaml"):
        copy = tmp_path / "dept" / path.relative_to(DEPARTMENT)
        copy.parent.mkdir(parents=True, exist_ok=True)
        copy.write_text(path.read_text(encoding="utf-8").replace("Loose pieces", "<script>x</script> & pieces"),
                        encoding="utf-8")
    pack, origins = load_with_origins(HOUSE, [tmp_path / "dept"])
    text = book(pack, load_evidence(pack), origins)
    assert "<script>" not in text and "&lt;script&gt;x&lt;/script&gt; &amp; pieces" in text


def test_the_same_pack_gives_the_same_book(html: str) -> None:
    pack, origins = load_with_origins(HOUSE, [DEPARTMENT])
    assert book(pack, load_evidence(pack), origins) == html


def test_the_command_writes_it(tmp_path: Path) -> None:
    out = io.StringIO()
    assert write_book(HOUSE, [], tmp_path / "deep" / "book.html", out) == 0
    assert _read((tmp_path / "deep" / "book.html").read_text(encoding="utf-8")).wrong == []
    assert "book.html" in out.getvalue()


def test_a_file_that_cannot_be_written_is_told(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(WrongUse, match="cannot be written"):
        write_book(HOUSE, [], tmp_path / "file" / "book.html", io.StringIO())
