"""The grammar in JSpeech Grammar Format (JSGF), for recognisers that take one.

The rules come from the templates, one rule a list. Number slots become short rules that allow somewhat more than the
slot does (thirty hundred): what a recogniser hears is parsed again, and the parser holds the bounds.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import cache

from fieldaid.errors import WrongUse
from fieldaid.grammar.load import LINE, Loaded
from fieldaid.grammar.network import Network
from fieldaid.grammar.numbers import DECADES, ONES, TENS, number_source
from fieldaid.grammar.template import Choice, Row, Slot, Tree, Word, slots

HEAD = "#JSGF V1.0;\ngrammar fieldaid;\n"
SPEAKABLE = ("facts", "command", "answer", "modifier", "ask", "filler")
_DIGIT = " | ".join(ONES[1:10])
NUMBER_RULES = {
    "digit": f"oh | zero | {_DIGIT}",
    "tens": " | ".join(TENS.values()),
    "teens": " | ".join(ONES[10:]),
    "below_hundred": f"zero | {_DIGIT} | <teens> | <tens> [{_DIGIT}] | <digit> <digit>",
    "below_thousand": f"<below_hundred> | (a | {_DIGIT}) hundred [[and] <below_hundred>] | ({_DIGIT}) <below_hundred>",
    "decade": " | ".join(DECADES.values()),
    "half_number": f"{' | '.join(ONES[1:7])} | ({' | '.join(ONES[1:6])}) (and a half | point five)",
    "year_number": "(eighteen | nineteen | twenty) (hundred | (oh | zero) <digit> | <below_hundred>)"
                   " | two thousand [[and] <below_hundred>] | (one | two) <digit> <digit> <digit>"
                   " | [the] [early | mid | late] [eighteen | nineteen | twenty] <decade> | [the] two thousands"
                   " | [the] turn of the century | in <tens> [<digit>]",
}


def jsgf(loaded: Loaded, scope: str | None) -> str:
    """The rules that a scope needs.

    Raises
    ------
    WrongUse : no such scope
    """
    if scope == "affirm":
        return f"{HEAD}public <utterance> = affirm | affirmative | negative | yes | no | say again;\n"
    if scope is None:
        entries = [tree for tree, output in loaded.trees if loaded.outputs[output].kind in SPEAKABLE]
        public = "public <utterance> = <line>+;\n"
    elif scope in loaded.answers:
        entries = [tree for tree, _ in loaded.answers[scope]]
        public = "public <utterance> = <line>;\n"
    else:
        raise WrongUse(f"there are no answers for {scope!r}", why=f"there are for {', '.join(sorted(loaded.answers))}",
                       next_step="choose one of them, affirm, or none for every line")
    rules = [f"<line> = {_choices(entries)};\n"]
    for name in _needed(loaded, entries):
        rules.append(f"<{_name(name)}> = {_source(loaded, name)};\n")
    rules += [f"<{name}> = {rule};\n" for name, rule in NUMBER_RULES.items()]
    return HEAD + public + "".join(rules)


def _needed(loaded: Loaded, entries: Iterable[Tree]) -> list[str]:
    """The sources of slots below these trees, each once."""
    found: dict[str, None] = {}
    todo = list(entries)
    while todo:
        for slot in slots(todo.pop()):
            if slot.source not in found:
                found[slot.source] = None
                todo += [tree for tree, _ in loaded.lists.get(slot.source, ())]
    return list(found)


def _source(loaded: Loaded, name: str) -> str:
    if name in loaded.lists:
        return _choices(tree for tree, _ in loaded.lists[name])
    if name in ("year", "half"):
        return f"<{name}_number>"
    highest = max(value if name != "percent" else 100 for _, value in number_source(name) or ())
    if highest <= 12:
        return " | ".join(dict.fromkeys(text for text, _ in number_source(name) or ()))
    return "<below_hundred>" if highest < 100 else "<below_thousand>"


def _choices(trees: Iterable[Tree]) -> str:
    return " | ".join(dict.fromkeys(_expression(tree) for tree in trees))


@cache
def _expression(tree: Tree) -> str:
    if isinstance(tree, Word):
        return tree.text
    if isinstance(tree, Slot):
        rule = f"<{_name(tree.source)}>"
        return f"{rule} [([and] [on | at] {rule})+]" if tree.many else rule
    if isinstance(tree, Row):
        return " ".join(_expression(item) for item in tree.items)
    inner = " | ".join(_expression(item) for item in tree.items)
    return f"[{inner}]" if isinstance(tree, Choice) and tree.optional else f"({inner})"


def _name(source: str) -> str:
    return f"n{source.replace('-', '_to_')}" if source[0].isdigit() else source


def speakable(loaded: Loaded, top: str = LINE) -> frozenset[str]:
    """Every word that the sub-network `top` of the grammar can be said with."""
    network, found, seen = loaded.network, set(), {top}
    todo = [top]
    while todo:
        for node in _nodes(network, network.start[todo.pop()]):
            found |= network.words[node].keys()
            for sub, _, _ in network.calls[node]:
                if sub not in seen:
                    seen.add(sub)
                    todo.append(sub)
    return frozenset(found)


def _nodes(network: Network, start: int) -> list[int]:
    found, todo = {start: None}, [start]
    while todo:
        node = todo.pop()
        for target in (*network.words[node].values(), *(call[2] for call in network.calls[node])):
            if target not in found:
                found[target] = None
                todo.append(target)
    return list(found)
