"""Prefix beam search (Hannun et al., arXiv:1408.2873) for the texts of the grammar that the letters make likeliest.

A hypothesis is a row of letters with every way to stand in the network after it; its probability is summed over all
ways in which the letters can lie in the frames, apart for those that end in a blank and those that end in the letter.
Probabilities are kept as they are, scaled anew at each frame.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from fieldaid.hearing.acoustic.letters import BLANK, SPACE
from fieldaid.hearing.likelihood.network import Spot, TokenNetwork, Trie, few, text_of
from fieldaid.hearing.likelihood.search import Costs

BEAM, DROP = 128, 20.0
_LEAST = 1e-8
"""A letter less likely than this at a frame begins nothing there."""
_SURELY = 0.9998
"""With the blank this likely a frame decides nothing."""


COSTS = Costs(phrase=3.0, loose=4.0, any_word=3.0)


@dataclass(frozen=True)
class Candidate:
    """A text of the grammar: with a comma before each phrase after the first; `cost` is in `score` already [nat]."""

    text: str
    score: float
    cost: float


@dataclass(frozen=True)
class _Rules:
    """What may follow what, and what it costs."""

    network: TokenNetwork
    costs: Costs
    answers: Trie | None


class _Node:
    """A row of letters. `spot`: ways to stand after it; `following`: (letter, node, weight) of one letter more. Both
    are made when first asked for: most rows of letters are never looked at again."""

    __slots__ = ("_following", "_reached", "_spot", "cost", "letter", "rules")

    def __init__(self, rules: _Rules, letter: int, cost: float, reached: list | None, spot: Spot | None) -> None:
        self.rules, self.letter, self.cost = rules, letter, cost
        self._reached, self._spot = reached, spot
        self._following: list[tuple[int, _Node, float]] | None = None

    def stand(self) -> Spot:
        if self._spot is None:
            self._spot = self.rules.network.after_token(self._reached)
            self._reached = None
        return self._spot

    def following(self) -> list[tuple[int, _Node, float]]:
        if self._following is None:
            spot, network, costs, answers = self.stand(), self.rules.network, self.rules.costs, self.rules.answers
            self._following = self._by_letter(
                [(place.trie, place.stack, place.words) for place in (*spot.inside, *spot.between)], 0.0)
            if spot.opening is not None:
                first = not spot.opening
                # A comma would take what follows out of the reach of the loose word.
                plain = first or spot.loose or spot.opening[-1] == ","
                opening = spot.opening if plain else (spot.opening, ",")
                self._following += self._by_letter([(network.phrases, (), opening)], 0.0 if first else costs.phrase)
                self._following += self._by_letter([(network.loose, (), opening)], costs.loose)
                if spot.loose:
                    self._following += self._by_letter([(network.any_word, (), spot.opening)], costs.any_word)
                if answers is not None and few(spot.opening):
                    self._following += self._by_letter([(answers, (), opening)], 0.0)
        return self._following

    def _by_letter(self, places: list[tuple], cost: float) -> list[tuple[int, _Node, float]]:
        by_letter: dict[int, list] = {}
        for trie, stack, words in places:
            for letter, node in zip(trie.tokens.tolist(), trie.nodes, strict=True):
                by_letter.setdefault(letter, []).append((node, stack, words))
        weight = math.exp(-cost)
        return [(letter, _Node(self.rules, letter, self.cost + cost, reached, None), weight)
                for letter, reached in by_letter.items()]


def search(network: TokenNetwork, log_probs: np.ndarray, beam: int = BEAM, drop: float = DROP,
           costs: Costs = COSTS, answers: Trie | None = None) -> list[Candidate]:
    """The likeliest texts, best first.

    Parameters
    ----------
    network : of letters
    log_probs : (frames, 1 + letters)
    beam : most hypotheses
    drop : a hypothesis this far behind the best is given up [nat]
    costs : see there
    answers : bare answers to a question that was just asked; they may open the text or follow the call sign
    """
    root = _root(_Rules(network, costs, answers))
    alive: dict[_Node, tuple[float, float]] = {root: (1.0, 0.0)}
    scale, keep = 0.0, math.exp(-drop)
    for row in np.exp(np.asarray(log_probs, np.float64)).tolist():
        blank, likeliest = row[BLANK], max(row[1:])
        if blank > _SURELY:
            alive = {node: (ended + open_, 0.0) for node, (ended, open_) in alive.items()}
            scale += math.log(blank)
            continue
        ended_now: dict[_Node, float] = {}
        open_now: dict[_Node, float] = {}
        for node, (ended, open_) in alive.items():
            ended_now[node] = (ended + open_) * blank
            open_now[node] = open_ * row[node.letter] if node.letter else 0.0
        least = max(ended_now[node] + open_now[node] for node in alive) * keep
        for node, (ended, open_) in alive.items():
            both = ended + open_
            if both * likeliest < least:
                continue
            for letter, child, weight in node.following():
                chance = row[letter] if letter < len(row) else 0.0
                if chance < _LEAST:
                    continue
                more = (ended if letter == node.letter else both) * chance * weight
                if more >= least:
                    open_now[child] = open_now.get(child, 0.0) + more
        totals = [(ended_now.get(node, 0.0) + open_, node) for node, open_ in open_now.items()]
        totals.sort(key=lambda one: -one[0])
        best = totals[0][0]
        if best <= 0.0:
            return []
        alive = {node: (ended_now.get(node, 0.0) / best, open_now[node] / best)
                 for total, node in totals[:beam] if total > best * keep}
        scale += math.log(best)
    found: dict[str, Candidate] = {}
    for node, (ended, open_) in alive.items():
        words = node.stand().words if node is not root else None
        if words:
            one = Candidate(text_of(words), math.log(ended + open_) + scale, node.cost)
            if one.text not in found or found[one.text].score < one.score:
                found[one.text] = one
    return sorted(found.values(), key=lambda one: -one.score)


def _root(rules: _Rules) -> _Node:
    """Before the first letter. Every word of the network begins with a space; the text's first does not."""
    before = _Node(rules, SPACE, 0.0, None, rules.network.begin)
    root = _Node(rules, BLANK, 0.0, None, Spot())
    root._following = [(letter, child, weight * first) for _, space, first in before.following()
                       for letter, child, weight in space.following()]
    return root
