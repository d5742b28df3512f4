"""The best cover of a row of words by phrases of the network, and its parts between commas."""

from __future__ import annotations

from dataclasses import dataclass

from fieldaid.grammar.network import Walk
from fieldaid.grammar.outputs import Output
from fieldaid.grammar.tokens import Sentence

# Costs, in the order of what matters: words left over, then questions, then the number of phrases. A comma inside a
# phrase, and an "and", make it a little dearer, so that "panels on alpha and charlie soft" ends after alpha.
LEFT_OVER, ASK, PHRASE, MODIFIER, FILLER, COMMA, AND = 1000, 250, 100, 90, 15, 30, 10
_COST = {"facts": PHRASE, "command": PHRASE, "answer": PHRASE, "ask": ASK, "modifier": MODIFIER, "filler": FILLER}
_RANK = ("facts", "command", "answer", "modifier", "ask", "filler")
JOINING = frozenset(("and", "plus", "also"))


@dataclass
class Item:
    """A stretch of the row: a phrase with its possible (output, slots), or words left over (`found` empty). `instead`
    is the kind and the (output, slots) of the next best phrase of the same words."""

    start: int
    end: int
    kind: str
    found: tuple[tuple[Output, tuple], ...] = ()
    instead: tuple[str, tuple[tuple[Output, tuple], ...]] | None = None


def cover(sentence: Sentence, walk: Walk, outputs: list[Output], sub: str) -> list[Item]:
    """The items that cover the sentence at the least cost; on a tie the longer phrase first."""
    tokens = sentence.tokens
    n = len(tokens)
    best: list[tuple[int, int, str]] = [(0, n, "")] * (n + 1)
    spans: list[dict[int, dict[str, list]]] = []
    for at in range(n):
        ends: dict[int, dict[str, list]] = {}
        for end, output, env in walk.read(sub, at):
            if end == at:
                continue
            ends.setdefault(end, {}).setdefault(outputs[output].kind, []).append((output, env))
        spans.append(ends)
    for at in range(n - 1, -1, -1):
        choice = (LEFT_OVER + best[at + 1][0], at + 1, "left over")
        for end in sorted(spans[at], reverse=True):
            kind = min(spans[at][end], key=_RANK.index)
            cost = _COST[kind] + best[end][0]
            for token in tokens[at + 1:end]:
                if token.comma:
                    cost += COMMA
                if token.word in JOINING:
                    cost += AND
            if cost < choice[0]:
                choice = (cost, end, kind)
        best[at] = choice
    items: list[Item] = []
    at = 0
    while at < n:
        _, end, kind = best[at]
        if kind == "left over" and items and items[-1].kind == kind and not tokens[at].comma:
            items[-1].end = end
        else:
            kinds = [("left over", ())] if kind == "left over" else [
                (one, tuple((outputs[output], env) for output, env in spans[at][end][one]))
                for one in sorted(spans[at][end], key=_RANK.index)]
            items.append(Item(at, end, *kinds[0], instead=kinds[1] if len(kinds) > 1 else None))
        at = end
    return items


def parts(items: list[Item], sentence: Sentence) -> list[list[Item]]:
    """The items between commas."""
    found: list[list[Item]] = []
    for item in items:
        if not found or sentence.tokens[item.start].comma:
            found.append([])
        found[-1].append(item)
    return found
