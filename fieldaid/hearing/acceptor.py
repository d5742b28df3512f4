"""A word network flattened into a deterministic acceptor: states, and arcs that carry a word.

The grammar's network shares its slots as sub-networks; a decoder needs one flat network without empty arcs. Written
out as JSGF a large grammar grows without bound, because every empty arc is joined with every other; flattened by
subsets and with equal states merged it stays small: 14,075 nodes with 148 slots became 6,851 states and 111,205 arcs.
"""

from __future__ import annotations

from collections.abc import Hashable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol


class WordNetwork(Protocol):
    """What is read of a network: `words[n]` maps a word to the next node, `calls[n]` are (sub-network, _, next node),
    `outputs[n]` is not empty where a sub-network may end, `start` maps a sub-network to its first node."""

    words: Sequence[Mapping[str, int]]
    calls: Sequence[Iterable[tuple[str, str, int]]]
    outputs: Sequence[Sequence[int]]
    start: Mapping[str, int]


class HasNetwork(Protocol):
    """A loaded grammar, as far as it is needed here."""

    @property
    def network(self) -> WordNetwork: ...


@dataclass(frozen=True)
class Acceptor:
    """States are numbers from 0.

    Attributes
    ----------
    start : the first state
    ends : states at which a sentence may end, and another may follow
    arcs : (state, word, next state), sorted; at most one for a state and word
    states : how many there are
    """

    start: int
    ends: frozenset[int]
    arcs: tuple[tuple[int, str, int], ...]
    states: int

    def words(self) -> set[str]:
        return {word for _, word, _ in self.arcs}

    def without(self, words: frozenset[str]) -> Acceptor:
        """The same without arcs on these words: the sentences that need one are gone."""
        return Acceptor(
            self.start, self.ends, tuple(arc for arc in self.arcs if arc[1] not in words), self.states
        )


_Item = tuple[int, tuple[int, ...]]
"""A node, and the nodes to return to when its sub-network ends."""


def flatten(network: WordNetwork, top: str) -> Acceptor:
    """The acceptor of the sentences of `top`.

    Raises
    ------
    KeyError : no such sub-network
    """
    reached: dict[_Item, frozenset[_Item]] = {}

    def after(items: Iterable[_Item]) -> frozenset[_Item]:
        found = []
        for item in items:
            if item not in reached:
                reached[item] = _reached(network, item)
            found.append(reached[item])
        return found[0] if len(found) == 1 else frozenset().union(*found)

    first = after([(network.start[top], ())])
    number = {first: 0}
    todo, ends = [first], set()
    arcs: list[dict[str, int]] = [{}]
    while todo:
        state = todo.pop()
        at = number[state]
        following: dict[str, list[_Item]] = {}
        for node, owed in state:
            if network.outputs[node] and not owed:
                ends.add(at)
            for word, target in network.words[node].items():
                following.setdefault(word, []).append((target, owed))
        for word, items in following.items():
            to = after(items)
            if to not in number:
                number[to] = len(number)
                arcs.append({})
                todo.append(to)
            arcs[at][word] = number[to]
    return _merged(arcs, ends)


def _reached(network: WordNetwork, item: _Item) -> frozenset[_Item]:
    """Where one can be without another word, as far as a word or the end may follow."""
    seen: set[_Item] = set()
    todo = [item]
    while todo:
        item = todo.pop()
        if item in seen:
            continue
        seen.add(item)
        node, owed = item
        todo += [(network.start[sub], (target, *owed)) for sub, _, target in network.calls[node]]
        if owed and network.outputs[node]:
            todo.append((owed[0], owed[1:]))
    return frozenset(one for one in seen if network.words[one[0]] or (network.outputs[one[0]] and not one[1]))


def _merged(arcs: list[dict[str, int]], ends: set[int]) -> Acceptor:
    """States from which the same can be said become one (Moore's partition refinement)."""
    rows = [sorted(out.items()) for out in arcs]
    targets = [[target for _, target in row] for row in rows]
    group = _numbered((state in ends, tuple(word for word, _ in row)) for state, row in enumerate(rows))
    groups = 0
    while groups < (groups := max(group) + 1):
        group = _numbered(
            (one, tuple(map(group.__getitem__, to))) for one, to in zip(group, targets, strict=True)
        )
    merged = {(group[state], word, group[target]) for state, row in enumerate(rows) for word, target in row}
    return Acceptor(group[0], frozenset(group[state] for state in ends), tuple(sorted(merged)), groups)


def _numbered(keys: Iterable[Hashable]) -> list[int]:
    """Equal keys get equal numbers, from 0 in the order of their first coming."""
    numbers: dict[Hashable, int] = {}
    return [numbers.setdefault(key, len(numbers)) for key in keys]


def fsg(acceptor: Acceptor, alike: float = 0.5, another: float = 0.1) -> str:
    """The acceptor as a finite-state grammar of the Sphinx decoders; after a sentence another may follow.

    Parameters
    ----------
    alike : a word's probability is (words at its state) ** -alike: 1 makes all sentences pay for the choice they had,
        0 makes none
    another : probability that another sentence follows
    """
    width: dict[int, int] = {}
    for state, _, _ in acceptor.arcs:
        width[state] = width.get(state, 0) + 1
    end = acceptor.states
    lines = [
        "FSG_BEGIN fieldaid",
        f"NUM_STATES {end + 1}",
        f"START_STATE {acceptor.start}",
        f"FINAL_STATE {end}",
    ]
    lines += [f"TRANSITION {a} {b} {width[a] ** -alike:.6f} {word}" for a, word, b in acceptor.arcs]
    for state in sorted(acceptor.ends):
        lines.append(f"TRANSITION {state} {end} {1 - another:.6f}")
        if state != acceptor.start:
            lines.append(f"TRANSITION {state} {acceptor.start} {another:.6f}")
    return "\n".join([*lines, "FSG_END", ""])
