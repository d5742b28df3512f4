"""The word network: nodes joined by arcs that carry a word or a slot; each slot is a network of its own, shared.

One network serves the parser, completion and the recognisers. It has no recursion of slots. Every sub-network is
deterministic in its labels (words and slots), so that common beginnings are walked once.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from fieldaid.grammar.template import Choice, Row, Slot, Tree, Word

Found = tuple[int, int, tuple]
"""(end, output, ((slot name, value output, inner slots, start, end), ...)) of one way to read some words."""


MOST_SLOTS = 9
"""Slots in one phrase. Places can be read in two ways ("alpha bravo": a corner or two sides), which doubles the ways to
read a list with each of them; no crew names more than eight places in one breath."""


@dataclass
class Network:
    """Nodes are numbers. `words[n]` maps a word to the next node; `calls[n]` lists (sub-network, slot name, next node);
    `outputs[n]` are the outputs that end at the node; `start[sub]` is the first node of a sub-network."""

    words: list[dict[str, int]] = field(default_factory=list)
    calls: list[tuple[tuple[str, str, int], ...]] = field(default_factory=list)
    outputs: list[tuple[int, ...]] = field(default_factory=list)
    start: dict[str, int] = field(default_factory=dict)
    first: dict[str, frozenset[str]] = field(default_factory=dict)

    def add(self, name: str, entries: Iterable[tuple[Tree, int]], join: Tree | None) -> None:
        """A sub-network that reads any of the trees and gives the output of the one that was read. The sub-networks
        of its slots must have been added before."""
        build = _Nfa(join)
        for tree, output in entries:
            for end in build.tree(tree, (0,)):
                build.outputs[end].append(output)
        self.start[name] = self._determinise(build)
        self.first[name] = frozenset(self.next_words(self.start[name]))

    def add_words(self, name: str, entries: Iterable[tuple[str, int]]) -> None:
        """The same for plain rows of words."""
        begin = self._node()
        ends: dict[int, list[int]] = {}
        for text, output in entries:
            node = begin
            for word in text.split():
                following = self.words[node].get(word)
                if following is None:
                    following = self.words[node][word] = self._node()
                node = following
            if output not in ends.setdefault(node, []):
                ends[node].append(output)
        for node, outputs in ends.items():
            self.outputs[node] = tuple(outputs)
        self.start[name] = begin
        self.first[name] = frozenset(self.words[begin])

    def _node(self) -> int:
        self.words.append({})
        self.calls.append(())
        self.outputs.append(())
        return len(self.words) - 1

    def _determinise(self, build: _Nfa) -> int:
        first = (0,)
        number = {first: self._node()}
        todo = [first]
        while todo:
            state = todo.pop()
            node = number[state]
            by_label: dict[str | tuple[str, str], dict[int, None]] = {}
            outputs: dict[int, None] = {}
            for part in state:
                for output in build.outputs[part]:
                    outputs[output] = None
                for label, target in build.arcs[part]:
                    targets = by_label.get(label)
                    if targets is None:
                        by_label[label] = {target: None}
                    else:
                        targets[target] = None
            self.outputs[node] = tuple(outputs)
            words = self.words[node]
            calls = []
            for label, targets in by_label.items():
                following = tuple(sorted(targets)) if len(targets) > 1 else tuple(targets)
                goal = number.get(following)
                if goal is None:
                    goal = number[following] = self._node()
                    todo.append(following)
                if isinstance(label, str):
                    words[label] = goal
                else:
                    calls.append((label[0], label[1], goal))
            self.calls[node] = tuple(calls)
        return number[first]

    def next_words(self, node: int) -> set[str]:
        """The words that may come next at a node."""
        found = set(self.words[node])
        for sub, _, _ in self.calls[node]:
            found |= self.first[sub]
        return found

    def size(self) -> dict[str, int]:
        """How many nodes, arcs, sub-networks and words there are."""
        return {"nodes": len(self.words), "arcs": sum(map(len, self.words)) + sum(map(len, self.calls)),
                "sub_networks": len(self.start), "words": len({word for arcs in self.words for word in arcs})}


class Walk:
    """All the ways in which sub-networks read one row of words. Remembers what it found, for one row."""

    def __init__(self, network: Network, row: tuple[str, ...]) -> None:
        self.network, self.row = network, row
        self._memo: dict[tuple[str, int], list[Found]] = {}
        self.hopes: set[tuple[int, int]] = set()

    def read(self, sub: str, begin: int) -> list[Found]:
        """Every (end, output, slots) that `sub` reads from `begin` on. The nodes where the row ended while more words
        could have followed are kept in `hopes` as (node, begin)."""
        key = (sub, begin)
        found = self._memo.get(key)
        if found is not None:
            return found
        found = self._memo[key] = []
        network, row = self.network, self.row
        words, calls, outputs, first = network.words, network.calls, network.outputs, network.first
        stack: list[tuple[int, int, tuple]] = [(network.start[sub], begin, ())]
        while stack:
            node, at, env = stack.pop()
            for output in outputs[node]:
                found.append((at, output, env))
            if at == len(row):
                if at > begin:
                    self.hopes.add((node, begin))
                continue
            word = row[at]
            following = words[node].get(word)
            if following is not None:
                stack.append((following, at + 1, env))
            for inner, name, target in calls[node]:
                if word in first[inner] and len(env) < MOST_SLOTS:
                    for end, output, inner_env in self.read(inner, at):
                        stack.append((target, end, (*env, (name, output, inner_env, at, end))))
        return found

    def furthest(self, sub: str, begin: int) -> tuple[int, list[int]]:
        """How far `sub` can follow the row from `begin`, and the nodes it stands at there."""
        network, row = self.network, self.row
        best, nodes = begin, [network.start[sub]]
        stack = [(network.start[sub], begin)]
        while stack:
            node, at = stack.pop()
            if at > best:
                best, nodes = at, [node]
            elif at == best and at > begin:
                nodes.append(node)
            if at == len(row):
                continue
            following = network.words[node].get(row[at])
            if following is not None:
                stack.append((following, at + 1))
            for inner, _, target in network.calls[node]:
                if row[at] in network.first[inner]:
                    stack += [(target, end) for end, _, _ in self.read(inner, at)]
        return best, nodes


class _Nfa:
    """A network under construction: not yet deterministic, without empty arcs. Ways that go on alike share a node."""

    def __init__(self, join: Tree | None) -> None:
        self.join = join
        self.arcs: list[list[tuple]] = [[]]
        self.outputs: list[list[int]] = [[]]

    def node(self) -> int:
        self.arcs.append([])
        self.outputs.append([])
        return len(self.arcs) - 1

    def tree(self, tree: Tree, begins: tuple[int, ...], into: int | None = None) -> tuple[int, ...]:
        """Add the tree after the nodes `begins`; the nodes at its end, `into` among them if it is given."""
        if isinstance(tree, Row):
            for item in tree.items[:-1]:
                begins = self.tree(item, begins)
            return self.tree(tree.items[-1], begins, into)
        end = self.node() if into is None else into
        if isinstance(tree, Choice):
            ends = {end: None}
            for item in tree.items:
                ends.update(dict.fromkeys(self.tree(item, begins, end)))
            if tree.optional:
                ends.update(dict.fromkeys(begins))
            return tuple(ends)
        label = tree.text if isinstance(tree, Word) else (tree.source, tree.name)
        for begin in begins:
            self.arcs[begin].append((label, end))
        if isinstance(tree, Slot) and tree.many:
            again = self.tree(self.join, (end,)) if self.join is not None else (end,)
            for begin in again:
                self.arcs[begin].append((label, end))
        return (end,)


def walk_slots(env: tuple) -> Iterator[tuple]:
    """Every slot of a reading, inner ones too."""
    for name, output, inner, start, end in env:
        yield name, output, inner, start, end
        yield from walk_slots(inner)
