"""The word network: nodes joined by arcs that carry a word or a slot; each slot is a network of its own, shared.

One network serves the parser, completion and the recognisers. It has no recursion of slots. Every sub-network is
deterministic in its labels (words and slots), so that common beginnings are walked once.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Iterable, Iterator

from fieldaid.grammar.template import Choice, Row, Slot, Tree, Word

Found = tuple[int, int, tuple]
"""(end, output, ((slot name, value output, inner slots, start, end), ...)) of one way to read some words."""


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
        begin = build.node()
        for tree, output in entries:
            build.outputs[build.tree(tree, begin)].append(output)
        self.start[name] = self._determinise(build, begin)
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

    def _determinise(self, build: "_Nfa", begin: int) -> int:
        first = build.closure((begin,))
        number = {first: self._node()}
        todo = [first]
        while todo:
            state = todo.pop()
            node = number[state]
            by_label: dict[str | tuple[str, str], list[int]] = {}
            outputs: list[int] = []
            for part in state:
                outputs += build.outputs[part]
                for label, target in build.arcs[part]:
                    by_label.setdefault(label, []).append(target)
            self.outputs[node] = tuple(dict.fromkeys(outputs))
            calls = []
            for label, targets in by_label.items():
                following = build.closure(tuple(targets))
                if following not in number:
                    number[following] = self._node()
                    todo.append(following)
                if isinstance(label, str):
                    self.words[node][label] = number[following]
                else:
                    calls.append((label[0], label[1], number[following]))
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
                if word in first[inner]:
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
    """A network under construction, with empty arcs."""

    def __init__(self, join: Tree | None) -> None:
        self.join = join
        self.arcs: list[list[tuple]] = []
        self.empty: list[list[int]] = []
        self.outputs: list[list[int]] = []
        self._closures: dict[int, frozenset[int]] = {}

    def node(self) -> int:
        self.arcs.append([])
        self.empty.append([])
        self.outputs.append([])
        return len(self.arcs) - 1

    def tree(self, tree: Tree, begin: int) -> int:
        """Add the tree after node `begin`; the node at its end."""
        if isinstance(tree, Row):
            for item in tree.items:
                begin = self.tree(item, begin)
            return begin
        end = self.node()
        if isinstance(tree, Word):
            self.arcs[begin].append((tree.text, end))
        elif isinstance(tree, Slot):
            self.arcs[begin].append(((tree.source, tree.name), end))
            if tree.many:
                again = self.tree(self.join, end) if self.join is not None else end
                self.arcs[again].append(((tree.source, tree.name), end))
        elif isinstance(tree, Choice):
            for item in tree.items:
                self.empty[self.tree(item, begin)].append(end)
            if tree.optional:
                self.empty[begin].append(end)
        return end

    def closure(self, nodes: tuple[int, ...]) -> frozenset[int]:
        if len(nodes) == 1:
            return self._closure(nodes[0])
        return frozenset().union(*(self._closure(node) for node in nodes))

    def _closure(self, node: int) -> frozenset[int]:
        known = self._closures.get(node)
        if known is None:
            seen, todo = {node}, [node]
            while todo:
                for target in self.empty[todo.pop()]:
                    if target not in seen:
                        seen.add(target)
                        todo.append(target)
            known = self._closures[node] = frozenset(
                one for one in seen if self.arcs[one] or self.outputs[one]) or frozenset((node,))
        return known


def walk_slots(env: tuple) -> Iterator[tuple]:
    """Every slot of a reading, inner ones too."""
    for name, output, inner, start, end in env:
        yield name, output, inner, start, end
        yield from walk_slots(inner)
