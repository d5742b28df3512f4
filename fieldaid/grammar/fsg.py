"""The whole network as one finite-state grammar for pocketsphinx, in its FSG text form.

JSGF rules are copied by pocketsphinx at every place where they are used, with empty transitions between them; for the
whole grammar that does not end in reasonable time. Here the slots are written out once, from the end of a phrase
backwards, so that ways that go on alike are one state, and there is no empty transition but the one back to the start.
"""

from __future__ import annotations

import sys
from typing import NamedTuple

from fieldaid.grammar.network import Network

ROUNDS = 2    # how often a list of places may go on


class State(NamedTuple):
    final: bool
    arcs: frozenset[tuple[str, int]]


class Flat:
    """A network without slots. `states[0]` is the end of a phrase; `start` is where every phrase begins."""

    def __init__(self, network: Network, sub: str) -> None:
        self.network = network
        self.states: list[State] = []
        self._number: dict[State, int] = {}
        self._built: dict[tuple[int, int, int], int] = {}
        self._open: set[tuple[int, int, int]] = set()
        end = self._state(State(True, frozenset()))
        limit = sys.getrecursionlimit()
        sys.setrecursionlimit(max(limit, 20000))
        try:
            self.start = self._build(network.start[sub], end, 0)
        finally:
            sys.setrecursionlimit(limit)

    def _state(self, state: State) -> int:
        if state not in self._number:
            self._number[state] = len(self.states)
            self.states.append(state)
        return self._number[state]

    def _build(self, node: int, after: int, rounds: int) -> int:
        """The state that reads from `node` to the end of its sub-network and then goes on as `after`."""
        key = (node, after, rounds)
        while key in self._open:
            key = (node, after, key[2] + 1)
        if key in self._built:
            return self._built[key]
        arcs: set[tuple[str, int]] = set()
        final = False
        if self.network.outputs[node]:
            final, arcs = self.states[after].final, set(self.states[after].arcs)
        if key[2] < ROUNDS:
            self._open.add(key)
            for word, target in self.network.words[node].items():
                arcs.add((word, self._build(target, after, key[2])))
            for sub, _, target in self.network.calls[node]:
                inner = self._build(self.network.start[sub], self._build(target, after, key[2]), 0)
                arcs |= self.states[inner].arcs
            self._open.discard(key)
        self._built[key] = self._state(State(final, frozenset(arcs)))
        return self._built[key]


def fsg(network: Network, sub: str, name: str = "fieldaid", *, many: bool = True) -> str:
    """The FSG text of a sub-network; with `many`, phrases may follow each other."""
    flat = Flat(network, sub)
    end = len(flat.states)
    lines = [f"FSG_BEGIN {name}", f"NUM_STATES {end + 1}", f"START_STATE {flat.start}", f"FINAL_STATE {end}"]
    for number, state in enumerate(flat.states):
        if state.final:
            lines.append(f"TRANSITION {number} {end} 1.0")
        share = 1.0 / max(1, len(state.arcs))
        for word, target in sorted(state.arcs):
            lines.append(f"TRANSITION {number} {target} {share:.6f} {word}")
    if many:
        lines.append(f"TRANSITION {end} {flat.start} 0.5")
    return "\n".join([*lines, "FSG_END", ""])
