"""The grammar's word network as a network of tokens, made as far as a search needs it.

Each node of the word network gets one trie of the tokens that may follow there, with the sub-networks that it calls
already entered; the trie is shared by every way that leads to the node, because what comes after a sub-network is kept
apart, on a stack of nodes to return to. So the size is that of the network, never that of its sentences.

A sentence is a row of phrases. Between two words a comma may stand; after a phrase also a full stop. Before a phrase
loose words may stand that no phrase begins with: "is", "if", "charge"; and after a loose word any word of the network.
The parser takes nothing from a sentence with such a word; hearing it keeps the question "is the line charged" from
being forced into "it's the line charged", and the order "charge the line" into "charged the line".
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field

import numpy as np

from fieldaid.grammar.network import Network
from fieldaid.hearing.likelihood.tokens import Tokenizer
from fieldaid.hearing.likelihood.written import LONGEST_ROW, WrittenForms

LOOSE = -1
"""Stands for the node after a loose word: only a phrase or another loose word may follow, or the end."""
Stack = tuple[int, ...]
Words = tuple
"""The words of a reading as a chain, (earlier words, word); () is none."""


class Trie:
    """A node of a trie. `tokens[i]` leads to `nodes[i]`; `ends` are the words that end here, each with the node of the
    word network that follows and the returns that its sub-networks owe."""

    __slots__ = ("children", "ends", "tokens", "nodes")

    def __init__(self) -> None:
        self.children: dict[int, Trie] = {}
        self.ends: list[tuple[tuple[str, ...], int, Stack]] = []
        self.tokens = np.zeros(0, np.int64)
        self.nodes: list[Trie] = []

    def add(self, tokens: Iterable[int], end: tuple[tuple[str, ...], int, Stack]) -> None:
        node = self
        for token in tokens:
            following = node.children.get(token)
            if following is None:
                following = node.children[token] = Trie()
            node = following
        if end not in node.ends:
            node.ends.append(end)

    def freeze(self) -> None:
        """Lay the children out as arrays."""
        todo = [self]
        while todo:
            node = todo.pop()
            node.tokens = np.fromiter(node.children, np.int64, len(node.children))
            node.nodes = list(node.children.values())
            node.children = {}
            todo += node.nodes


@dataclass(frozen=True)
class Place:
    """One way to stand in the network: inside the trie `trie`, with the nodes to return to and the words so far."""

    trie: Trie
    stack: Stack
    words: Words


@dataclass
class Spot:
    """Every way to stand in the network after one row of tokens.

    Attributes
    ----------
    inside : ways that stand within a word
    between : ways that stand before the next word of a phrase
    opening : the words so far, when a new phrase or a loose word may begin; None when no phrase ends here
    words : the words of a sentence that may end here, or None
    comma, stop : whether a comma or full stop may come next
    loose : whether the last word was loose
    """

    inside: list[Place] = field(default_factory=list)
    between: list[Place] = field(default_factory=list)
    opening: Words | None = None
    words: Words | None = None
    comma: bool = False
    stop: bool = False
    loose: bool = False


class TokenNetwork:
    """A word network, walked by tokens.

    Parameters
    ----------
    network : the grammar's
    top : the sub-network that reads one phrase
    tokenizer, forms : how words are written
    loose : see the module
    """

    def __init__(self, network: Network, top: str, tokenizer: Tokenizer, forms: WrittenForms,
                 loose: Iterable[str] = ()) -> None:
        self._network = network
        self._encode, self._forms = tokenizer.encode, forms
        self._tries: dict[tuple[int, bool], Trie] = {}
        self._entered: dict[int, list[tuple[int, Stack]]] = {}
        self.comma, = self._encode(",")
        self.stop, = self._encode(".")
        self.phrases = self.trie(network.start[top], True)
        self.loose = self._words(frozenset(loose), True)
        self.any_word = self._words(frozenset(word for arcs in network.words for word in arcs), False)
        self.begin = Spot(opening=())

    def trie(self, node: int, opening: bool = False) -> Trie:
        """The trie of the words that may follow at a node; `opening`: it begins a phrase."""
        key = (node, opening)
        found = self._tries.get(key)
        if found is None:
            found = self._tries[key] = self._make(node, opening)
        return found

    def answers(self, sub: str) -> Trie | None:
        """The trie of a sub-network that reads bare answers; None when the grammar has none of that name."""
        return self.trie(self._network.start[sub], True) if sub in self._network.start else None

    def size(self) -> dict[str, int]:
        """How many tries have been made so far, and how many nodes they have."""
        nodes, todo = 0, list(self._tries.values())
        while todo:
            trie = todo.pop()
            nodes += 1
            todo += trie.nodes
        return {"tries": len(self._tries), "nodes": nodes}

    # ---- walking

    def after_token(self, places: list[tuple[Trie, Stack, Words]]) -> Spot:
        """Where a token leads: `places` are the trie nodes that it reached."""
        spot = Spot()
        seen: set[tuple[int, Stack]] = set()
        for trie, stack, words in places:
            if len(trie.tokens) and (id(trie), stack) not in seen:
                seen.add((id(trie), stack))
                spot.inside.append(Place(trie, stack, words))
            for said, node, owed in trie.ends:
                self._after_words(spot, seen, node, (*stack, *owed), _chain(words, said))
        return spot

    def _after_words(self, spot: Spot, seen: set, node: int, stack: Stack, words: Words) -> None:
        """Stand at a node of the word network, and wherever its sub-network may return to."""
        network = self._network
        spot.comma = True
        while node != LOOSE:
            trie = self.trie(node)
            if len(trie.tokens) and (id(trie), stack) not in seen:
                seen.add((id(trie), stack))
                spot.between.append(Place(trie, stack, words))
            if not network.outputs[node]:
                return
            if not stack:
                break
            node, stack = stack[-1], stack[:-1]
        spot.loose = spot.loose or node == LOOSE
        if spot.words is None:
            spot.words = spot.opening = words
            spot.stop = True

    def after_comma(self, spot: Spot) -> Spot:
        """Where a comma leads. The text has it only where a phrase may end."""
        return Spot(between=spot.between, opening=None if spot.opening is None else (spot.opening, ","))

    def after_stop(self, spot: Spot) -> Spot:
        """Where a full stop leads: to the end, or to a new phrase."""
        return Spot(opening=(spot.opening, ","), words=spot.words)

    # ---- building

    def _words(self, words: frozenset[str], opening: bool) -> Trie:
        """A trie of loose words."""
        trie = Trie()
        for word in sorted(words):
            for form in self._forms.word(word, opening):
                trie.add(self._encode(form), ((word,), LOOSE, ()))
        trie.freeze()
        return trie

    def _make(self, node: int, opening: bool) -> Trie:
        trie = Trie()
        network = self._network
        for at, owed in self._enter(node):
            arcs = network.words[at]
            for word, target in arcs.items():
                for form in self._forms.word(word, opening):
                    trie.add(self._encode(form), ((word,), target, owed))
                for words, forms in self._forms.rows(word):
                    end = self._follow(at, words)
                    if end is not None:
                        for form in forms:
                            trie.add(self._encode(form), (words, end, owed))
        trie.freeze()
        return trie

    def _enter(self, node: int) -> list[tuple[int, Stack]]:
        """The node and the first nodes of all that it calls, each with the returns that it owes."""
        found = self._entered.get(node)
        if found is None:
            found, todo = [], [(node, ())]
            while todo:
                at, owed = todo.pop()
                found.append((at, owed))
                todo += [(self._network.start[sub], (*owed, target)) for sub, _, target in self._network.calls[at]]
            self._entered[node] = found
        return found

    def _follow(self, node: int, words: tuple[str, ...]) -> int | None:
        for word in words[:LONGEST_ROW]:
            following = self._network.words[node].get(word)
            if following is None:
                return None
            node = following
        return node


def _chain(words: Words, said: tuple[str, ...]) -> Words:
    for word in said:
        words = (words, word)
    return words


def few(words: Words, most: int = 3) -> bool:
    """Whether a chain holds at most so many words and commas: a call sign and a comma, say."""
    for _ in range(most):
        if not words:
            return True
        words = words[0]
    return not words


def text_of(words: Words) -> str:
    """The text of a chain of words; a comma stands at once after a word."""
    row: list[str] = []
    while words:
        words, word = words
        row.append(word)
    return " ".join(reversed(row)).replace(" ,", ",").rstrip(",")
