"""A line -> call sign, command, readings, questions, and the parts that carried nothing.

The line is cut into sentences, a sentence is covered by phrases of the network, and the cover is cut into parts at
commas. A word that no phrase covers spoils its whole part; a question, or a word such as "if", its whole sentence;
and a line of which less than half was understood gives no fact at all.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any, NamedTuple

from fieldaid.errors import FactError
from fieldaid.facts import FACTS, check_value, fact
from fieldaid.grammar.asking import Asking
from fieldaid.grammar.cover import JOINING, Item, cover, parts
from fieldaid.grammar.load import LINE, Loaded, values_of
from fieldaid.grammar.merge import merge
from fieldaid.grammar.model import Ask, Parsed, Reading
from fieldaid.grammar.moods import Mood, moods
from fieldaid.grammar.network import Walk
from fieldaid.grammar.outputs import Output, as_kind, base_of, fill, tellings
from fieldaid.grammar.tokens import Sentence, sentences_of

URGENT = ("mayday", "no play")
ALSO = (*URGENT, "leaving")
"""Heard beside another command too. They can wait for nothing, and take nothing back."""


class _Command(NamedTuple):
    """A command with the fact that it names, if any, and the words of the line that say it."""

    name: str
    fact: str | None = None
    words: str = ""


@dataclass
class _State:
    """What has been gathered from the line so far."""

    line: str
    call_sign: bool = False
    commands: list[_Command] = field(default_factory=list)
    about: str | None = None
    answer: str | None = None
    readings: list[Reading] = field(default_factory=list)
    before: list[Reading] = field(default_factory=list)
    asks: list[Ask] = field(default_factory=list)
    refused: list[str] = field(default_factory=list)
    asked: bool = False
    argues: bool = False
    good: int = 0
    bad: int = 0


class Parser:
    """Reads lines with one loaded grammar."""

    def __init__(self, loaded: Loaded) -> None:
        self.loaded = loaded
        self.values = values_of(loaded)
        self.asking = Asking(loaded, self.values)
        self.starters = loaded.poison.get("question", frozenset())
        self.hypothetical = loaded.poison.get("sentence", frozenset())

    def parse(self, line: str, expecting: str | None) -> Parsed:
        state = _State(line, asked=expecting == "affirm")
        rows = sentences_of(line, self.loaded.written)
        if expecting not in (None, "affirm") and (answered := self._bare_answer(line, rows, expecting)):
            return answered
        for row in rows:
            self._sentence(state, row, len(rows) == 1)
        self._correct_within(state)
        readings, asks = merge(state.readings, self.asking)
        if state.bad > state.good:
            asks += [self.asking.about(one.name) for one in readings]
            state.refused = [line.strip()]
            readings = []
        named = {self.asking.topic(one.name) for one in readings}
        asks = [one for one in {one.text: one for one in reversed([*state.asks, *asks])}.values()
                if self.asking.topic(one.fact) not in named][::-1]
        first, others = _first(state.commands)
        command, command_fact = first.name or None, first.fact
        state.refused += [one.words for one in others if one.name not in (*ALSO, "exercise") and one.words]
        if command == "cannot tell" and command_fact is None:
            if readings:
                command, readings = None, [replace(one, basis="guess") for one in readings]
            elif expecting != "affirm":
                command_fact = expecting
        return Parsed(line, state.call_sign, command, command_fact, state.about, tuple(readings), tuple(asks),
                      tuple(state.refused), state.answer, tuple(one.name for one in others if one.name in ALSO))

    def _correct_within(self, state: _State) -> None:
        """A correction in the middle of a line mends the line itself, when it names what the line said before. Else it
        is a command, and what stood before it must be said again: it must not pass as a correction."""
        if not state.before:
            return
        corrected = {one.name for one in state.readings}
        if corrected and corrected <= {one.name for one in state.before}:
            state.readings = [one for one in state.before if one.name not in corrected] + state.readings
            return
        state.commands.append(_Command("correction"))
        state.refused += dict.fromkeys(one.words for one in state.before)
        state.asks += [self.asking.about(one.name) for one in state.before]

    # ---- one sentence

    def _sentence(self, state: _State, row: Sentence, alone: bool) -> None:
        walk = Walk(self.loaded.network, row.words)
        items = cover(row, walk, self.loaded.outputs, LINE)
        spoiled = row.question or self._spoiled(row, items)
        if self._asks_why(state, row, items):
            return
        taken: list[list[Item]] = []
        for part in parts(items, row):
            said = self._said(state, row, part, alone)
            if said and (spoiled or _is_broken(said)):
                self._refuse(state, row, walk, said, spoiled)
            elif said:
                taken.append(said)
        around = moods(taken, self.values)
        for part in taken:
            for item in part:
                self._take(state, row, item, around.get(id(item), Mood()))

    def _spoiled(self, row: Sentence, items: list[Item]) -> bool:
        """Whether a question or a condition makes the whole sentence say nothing."""
        left = [item for item in items if item.kind == "left over"]
        if any(word in self.hypothetical for item in left for word in row.words[item.start:item.end]):
            return True
        first = next((item for item in items if item.kind != "filler" and not _is_call(item)), None)
        return first is not None and first.kind == "left over" and row.words[first.start] in self.starters

    def _asks_why(self, state: _State, row: Sentence, items: list[Item]) -> bool:
        """"why" and "why not", when they open the sentence, take the rest of it as what they ask about."""
        first = next((item for item in items if item.kind != "filler" and not _is_call(item)), None)
        extra = first.found[0][0].extra if first is not None and first.kind == "command" else {}
        if "rest" not in extra and "about" not in extra:
            return False
        if "rest" in extra and first.end < len(row.tokens) and row.tokens[first.end].comma:
            state.argues = True    # "why, saw failed": a question, and then a report
            return False
        begin = first.found[0][1][0][3] if first.found[0][1] else first.end
        state.call_sign = state.call_sign or any(_is_call(item) for item in items)
        state.commands.append(_Command(first.found[0][0].extra["command"]))
        state.about = _text(state.line, row, begin, len(row.tokens)) or None
        state.good += first.end - first.start
        return True

    def _said(self, state: _State, row: Sentence, part: list[Item], alone: bool) -> list[Item]:
        """The items of a part that weigh: without filler and call sign; what could mean two things is left over."""
        found = []
        for item in part:
            if _is_call(item):
                state.call_sign = True
                continue
            if item.kind == "answer" and item.found[0][0].extra.get("alone") and not (
                    _fills(item, row, alone) or state.asked and _opens(item, row)):
                item.kind = "filler" if item.found[0][0].extra["answer"] == "yes" else "left over"
            if item.kind in ("facts", "modifier", "command"):
                self._settle(row, item)
            if item.kind != "filler":
                found.append(item)
        others = [item for item in found if item.kind not in ("modifier", "command", "answer")]
        for item in found:
            if item.kind == "command" and item.found[0][0].extra.get("apart") and others:
                item.kind, item.found = "left over", ()
            if item.kind == "facts" and item.found[0][0].extra.get("apart") and len(others) > 1:
                item.kind, item.found = item.instead or ("left over", ())
        return found

    def _settle(self, row: Sentence, item: Item) -> None:
        """Of several ways to read the same words keep the one with the fewest slots; two meanings are none."""
        found = [one for one in item.found if not _cut_by_comma(row, one[1])] or list(item.found)
        fewest = min(len(slots) for _, slots in found)
        found = [one for one in found if len(one[1]) == fewest]
        meanings = [self._tellings(one) if item.kind == "facts" else (one[0].extra, self.values.env(one[1]))
                    for one in found]
        if any(meaning != meanings[0] for meaning in meanings):
            item.kind = "left over"
        item.found = (found[0],)

    def _refuse(self, state: _State, row: Sentence, walk: Walk, said: list[Item], spoiled: bool) -> None:
        """A part that says nothing: keep its words, and ask for what it was about, unless it asked or supposed."""
        for item in said:
            extra = item.found[0][0].extra if item.found else {}
            if item.kind == "command" and (extra["command"] in URGENT or row.question):
                state.commands.append(_Command(extra["command"]))
                state.good += item.end - item.start
                continue
            if item.kind != "ask":
                state.bad += item.end - item.start
            if spoiled:
                continue
            if item.kind == "facts":
                state.asks += [self.asking.about(name) for name, _ in self._tellings(item.found[0])[:1]]
            elif item.kind == "ask":
                state.asks.append(self._question(item))
            elif item.kind == "left over":
                state.asks += self.asking.unfinished(walk, item.start, item.end)
        state.refused.append(_text(state.line, row, said[0].start, said[-1].end))

    def _take(self, state: _State, row: Sentence, item: Item, mood: Mood) -> None:
        """What one item of an understood part says."""
        state.good += item.end - item.start
        output, slots = item.found[0]
        extra = output.extra
        if item.kind == "command":
            self._command(state, row, item)
        elif item.kind == "answer":
            state.answer = extra["answer"]
        elif item.kind == "ask":
            state.asks.append(self._question(item))
        elif item.kind == "facts":
            words = _text(state.line, row, item.start, item.end)
            told = self._tellings(item.found[0])
            homeless = mood.section not in ("", "main") and not any(fact(name).section for name, _ in told)
            unclear = mood.section_before and any(
                "@" not in name and not name.startswith("roof.") and fact(name).section
                and fact(name).is_loosening(value)
                for name, value in told)
            argued = state.argues and any(fact(name).is_loosening(value) for name, value in told)
            if mood.unclear or homeless or unclear or argued or not told:
                state.refused.append(words)
                state.asks += [self.asking.about(name) for name, _ in told[:1]]
                return
            for name, value in told:
                section = mood.section_before if name.startswith("roof.") else ""
                section = section or (mood.section if mood.section != "main" and fact(name).section else "")
                if section and "@" not in name:
                    name = f"{name}@{section}"
                basis = "guess" if mood.basis == "guess" else extra.get("basis") or mood.basis or "told"
                state.readings.append(Reading(name, value, basis, extra.get("who") or mood.who or "officer", words))

    def _command(self, state: _State, row: Sentence, item: Item) -> None:
        output, slots = item.found[0]
        command, named = output.extra["command"], output.extra.get("command_fact")
        if command in ("scratch that", "correction") and state.readings:
            if command == "correction":
                state.before += state.readings
            state.readings = []
            return
        if command == "no play" and any(one.name == "exercise" for one in state.commands):
            state.refused += [one.words for one in state.readings if fact(one.name).is_loosening(one.value)]
            state.readings = [one for one in state.readings if not fact(one.name).is_loosening(one.value)]
        state.commands.append(_Command(command, self.values.env(slots).get(named[1:-1], named) if named else None,
                                       _text(state.line, row, item.start, item.end)))

    def _question(self, item: Item) -> Ask:
        """What an item asks; of a place that was said, the fact of that place."""
        output, slots = item.found[0]
        name = str(fill(output.extra["asks"], self.values.env(slots)))
        ask = self.asking.about(name)
        return replace(ask, fact=name) if name in FACTS else ask

    def _tellings(self, found: tuple[Output, tuple]) -> list[tuple[str, Any]]:
        output, slots = found
        try:
            return tellings(output, self.values.env(slots))
        except (FactError, ValueError):
            return []

    # ---- answers

    def _bare_answer(self, line: str, rows: list[Sentence], expecting: str) -> Parsed | None:
        """The line as the bare value of the fact that was asked for, or None."""
        name = expecting if f"answer {expecting}" in self.loaded.network.start else base_of(expecting)
        if f"answer {name}" not in self.loaded.network.start:
            name = FACTS[name].group if name in FACTS else name
        if len(rows) != 1 or rows[0].question or f"answer {name}" not in self.loaded.network.start:
            return None
        row = rows[0]
        walk = Walk(self.loaded.network, row.words)
        items = cover(row, walk, self.loaded.outputs, LINE)
        start = 0
        for item in items:
            if item.start == start and (item.kind == "filler" or _is_call(item)):
                start = item.end
        starts = sorted({0, start} | {item.end for item in items if item.end <= start})
        for begin in starts:
            for end, output, slots in walk.read(f"answer {name}", begin):
                if end == len(row.tokens):
                    try:
                        told = self._answered(expecting, self.values.value(output, slots))
                    except (FactError, ValueError):
                        continue
                    reading = Reading(*told, words=_text(line, row, begin, end))
                    return Parsed(line, any(_is_call(item) for item in items), readings=(reading,))
        return None

    def _answered(self, expecting: str, value: Any) -> tuple[str, Any]:
        name = expecting
        if isinstance(value, str) and "=" in value:    # the answer names another fact: "lower floor"
            name, value = value.split("=")
        elif expecting not in FACTS and base_of(expecting) not in FACTS:
            name = {"deck": "deck.unsaid", "camera": "camera.unsaid", "fire": "fire.attic"}.get(expecting, expecting)
        return name, check_value(name, as_kind(name, value))


def _is_call(item: Item) -> bool:
    return item.kind == "answer" and bool(item.found) and item.found[0][0].extra["answer"] == "call"


def _is_broken(said: list[Item]) -> bool:
    """Whether a part says nothing: words left over, or "negative" in front of something else."""
    refusing = any(item.kind == "answer" and item.found[0][0].extra["answer"] == "no" for item in said)
    return any(item.kind == "left over" for item in said) or (refusing and len(said) > 1)


def _fills(item: Item, row: Sentence, alone: bool) -> bool:
    """Whether an item is all that the line says, but for the call sign."""
    return alone and all(item.start <= at < item.end or token.word in ("field", "aid", "fieldaid")
                         for at, token in enumerate(row.tokens))


def _opens(item: Item, row: Sentence) -> bool:
    """Whether an item opens the line and a comma follows: "yes, and soft on Charlie" answers what was asked."""
    return item.end < len(row.tokens) and row.tokens[item.end].comma and all(
        token.word in ("field", "aid", "fieldaid") for token in row.tokens[:item.start])


def _cut_by_comma(row: Sentence, slots: tuple) -> bool:
    """Whether a comma stands inside the words of one slot."""
    return any(row.tokens[at].comma for _, _, _, start, end in slots for at in range(start + 1, end))


def _first(commands: list[_Command]) -> tuple[_Command, list[_Command]]:
    """The command of a line, an urgent one before any other, and the other ones, each once."""
    ordered = sorted(commands, key=lambda one: URGENT.index(one.name) if one.name in URGENT else len(URGENT))
    each = list({one[:2]: one for one in reversed(ordered)}.values())[::-1]
    return (each[0], each[1:]) if each else (_Command(""), [])


def _text(line: str, row: Sentence, start: int, end: int) -> str:
    """The words of the line between two tokens, without joining words at either end."""
    tokens = list(row.tokens[start:end])
    while tokens and tokens[-1].word in JOINING:
        tokens.pop()
    return line[tokens[0].start:tokens[-1].end] if tokens else ""
