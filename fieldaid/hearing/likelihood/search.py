"""Beam search: the texts of the grammar that the model finds likeliest for a sound, and unrestricted text beside them.

All hypotheses have the same number of tokens; each keeps its own past in the decoder's cache. One more row decodes
greedily without any restriction: its log-probability is what the phrases are held against.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from fieldaid.hearing.likelihood.model import Encoded, SpeechModel
from fieldaid.hearing.likelihood.network import Place, Spot, TokenNetwork, Trie, few, text_of
from fieldaid.hearing.likelihood.tokens import EOS

BEAM, DROP = 24, 10.0
_COMMA, _STOP = -1, -2


@dataclass(frozen=True)
class Costs:
    """What is taken off the score for each phrase after the first, so that few long phrases win over many short ones,
    for each loose word, and for each word after one that belongs to no phrase [nat]."""

    phrase: float = 1.0
    loose: float = 2.0
    any_word: float = 1.0


COSTS = Costs()


@dataclass(frozen=True)
class Row:
    """A text of the grammar as the model would write it.

    Attributes
    ----------
    text : its words
    tokens : with EOS
    score : log-probability, less the costs [nat]
    worst : how far the token that fits worst lies behind the likeliest token at its place [nat, 0 at best]
    last : the same of EOS: very low when the sound goes on after the text
    """

    text: str
    tokens: tuple[int, ...]
    score: float
    worst: float
    last: float


@dataclass(frozen=True)
class Found:
    """What a search found: rows, likeliest first; the unrestricted text with its log-probability; steps taken and
    rows decoded, which are what it costs."""

    rows: list[Row]
    free: str
    free_score: float
    free_ended: bool
    steps: int
    decoded: int


@dataclass
class _Hypothesis:
    score: float
    spot: Spot
    tokens: tuple[int, ...]
    worst: float


def search(model: SpeechModel, network: TokenNetwork, encoded: Encoded, longest: int, beam: int = BEAM,
           drop: float = DROP, costs: Costs = COSTS, answers: Trie | None = None) -> Found:
    """The likeliest texts.

    Parameters
    ----------
    longest : most tokens
    beam : most hypotheses
    drop : a hypothesis this far behind the best is given up [nat]
    costs : see there
    answers : bare answers to a question that was just asked; they may open the text or follow the call sign
    """
    alive = [_Hypothesis(0.0, network.begin, (), 0.0)]
    rows: list[Row] = []
    best = -np.inf
    free: list[int] = []
    free_score, free_row, free_ended = 0.0, 0, False
    scores, cache = encoded.first[None], encoded.past
    decoded = 0
    for step in range(longest):
        likeliest = scores.max(-1)
        for number, one in enumerate(alive):
            if one.spot.words is not None:
                end = float(scores[number][EOS])
                last = end - float(likeliest[number])
                row = Row(text_of(one.spot.words), (*one.tokens, EOS), one.score + end, min(one.worst, last), last)
                rows.append(row)
                best = max(best, row.score)
        alive, parents = _advance(network, alive, scores, likeliest, beam, drop, best, costs, answers)
        tokens = [one.tokens[-1] for one in alive]
        if free_row is not None:
            token = int(scores[free_row].argmax())
            free_score += float(scores[free_row][token])
            if token == EOS:
                free_row, free_ended = None, True
            else:
                free.append(token)
                tokens.append(token)
                parents.append(free_row)
                free_row = len(tokens) - 1
        if not tokens or step == longest - 1:
            break
        decoded += len(tokens)
        scores, cache = model.step(encoded, tokens, [part[parents] for part in cache])
    rows.sort(key=lambda row: -row.score)
    return Found(rows, model.tokenizer.decode(free), free_score, free_ended, step + 1, decoded)


def _advance(network: TokenNetwork, alive: list[_Hypothesis], scores: np.ndarray, likeliest: np.ndarray, beam: int,
             drop: float, best: float, costs: Costs, answers: Trie | None) -> tuple[list[_Hypothesis], list[int]]:
    """The hypotheses after one more token, best first, and the row that each comes from."""
    values: list[np.ndarray] = []
    origins: list[tuple[int, Place | int]] = []
    for number, one in enumerate(alive):
        own, spot = scores[number], one.spot
        for place in (*spot.inside, *spot.between):
            values.append(own[place.trie.tokens] + one.score)
            origins.append((number, place))
        if spot.opening is not None:
            following = [(network.phrases, costs.phrase if one.tokens else 0.0), (network.loose, costs.loose)]
            if spot.loose:
                following.append((network.any_word, costs.any_word))
            if answers is not None and few(spot.opening):
                following.append((answers, 0.0))
            for trie, cost in following:
                values.append(own[trie.tokens] + (one.score - cost))
                origins.append((number, Place(trie, (), spot.opening)))
        if spot.comma:
            values.append(own[network.comma:network.comma + 1] + one.score)
            origins.append((number, _COMMA))
        if spot.stop:
            values.append(own[network.stop:network.stop + 1] + one.score)
            origins.append((number, _STOP))
    if not values:
        return [], []
    together = np.concatenate(values)
    if not len(together):
        return [], []
    least = max(best, float(together.max())) - drop
    starts = np.cumsum([0, *(len(part) for part in values)])
    chosen = np.nonzero(together > least)[0]
    if len(chosen) > 2 * beam:
        chosen = chosen[np.argpartition(-together[chosen], 2 * beam)[:2 * beam]]
    chosen = chosen[np.argsort(-together[chosen], kind="stable")]
    groups: dict[tuple[int, int], tuple[float, list]] = {}
    for index in chosen:
        at = int(np.searchsorted(starts, index, side="right")) - 1
        number, place = origins[at]
        if isinstance(place, Place):
            child = int(index - starts[at])
            token, reached = int(place.trie.tokens[child]), (place.trie.nodes[child], place.stack, place.words)
        else:
            token, reached = (network.comma if place == _COMMA else network.stop), place
        group = groups.get((number, token))
        if group is None:
            if len(groups) == beam:
                continue
            groups[number, token] = (float(together[index]), [reached])
        else:
            group[1].append(reached)
    following, parents = [], []
    for (number, token), (score, reached) in groups.items():
        parent = alive[number]
        worst = min(parent.worst, float(scores[number][token] - likeliest[number]))
        following.append(_Hypothesis(score, _spot(network, parent.spot, reached), (*parent.tokens, token), worst))
        parents.append(number)
    return following, parents


def _spot(network: TokenNetwork, before: Spot, reached: list[tuple | int]) -> Spot:
    if reached[0] == _COMMA:
        return network.after_comma(before)
    if reached[0] == _STOP:
        return network.after_stop(before)
    return network.after_token([one for one in reached if not isinstance(one, int)])


__all__ = ["BEAM", "COSTS", "DROP", "Costs", "Found", "Row", "search"]
