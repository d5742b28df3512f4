"""Completion: which words may come next."""

from __future__ import annotations

from fieldaid.grammar.load import LINE, Loaded
from fieldaid.grammar.network import Network, Walk
from fieldaid.grammar.template import Tree, Word
from fieldaid.grammar.tokens import sentences_of


def complete(loaded: Loaded, prefix: str, limit: int) -> list[str]:
    """The words that may come next after `prefix`, most usual first; or that finish its last word."""
    rows = sentences_of(prefix, loaded.written)
    row = rows[-1].words if rows and prefix.rstrip()[-1:] not in ".!?;" else ()
    begun = ""
    if row and not prefix[-1:].isspace():
        begun, row = row[-1], row[:-1]
    found = _next(loaded.network, row)
    fitting = [word for word in found if word.startswith(begun)]
    order = {word: at for at, word in enumerate(found)}
    fill = _fill_words(loaded)
    return sorted(fitting, key=lambda word: (word == begun, word in fill or len(word) == 1, order[word]))[:limit]


def _fill_words(loaded: Loaded) -> frozenset[str]:
    """Words that filler begins with: offered last."""
    return frozenset(first_word(tree) for tree, output in loaded.trees if loaded.outputs[output].kind == "filler"
                     for tree in getattr(tree, "items", (tree,)))


def _next(network: Network, row: tuple[str, ...]) -> list[str]:
    """The words after a row, those that carry the latest phrase on before those that begin a new one."""
    walk = Walk(network, row)
    n = len(row)
    whole = [False] * (n + 1)
    whole[0] = True
    found: dict[str, None] = {}
    for begin in range(n):
        if whole[begin]:
            for end, _, _ in walk.read(LINE, begin):
                whole[end] = True
    going_on: dict[str, None] = {}
    for begin in range(n):
        if whole[begin]:
            for word in _open_words(network, row, begin, LINE):
                going_on.setdefault(word)
    found.update(going_on)
    if whole[n]:
        found.update(dict.fromkeys(sorted(network.next_words(network.start[LINE]))))
    return list(found)


def _open_words(network: Network, row: tuple[str, ...], begin: int, sub: str) -> list[str]:
    """The words with which a phrase that began at `begin` and has reached the end of the row can go on."""
    walk = Walk(network, row)
    found: set[str] = set()
    stack = [(network.start[sub], begin)]
    seen = set(stack)
    while stack:
        node, at = stack.pop()
        if at == len(row):
            found |= network.next_words(node)
            continue
        steps = []
        if (following := network.words[node].get(row[at])) is not None:
            steps.append((following, at + 1))
        for inner, _, target in network.calls[node]:
            if row[at] in network.first[inner]:
                steps += [(target, end) for end, _, _ in walk.read(inner, at)]
                found.update(_open_words(network, row, at, inner))
        for step in steps:
            if step not in seen:
                seen.add(step)
                stack.append(step)
    return sorted(found)


def first_word(tree: Tree) -> str:
    """The first word of a plain tree."""
    while not isinstance(tree, Word):
        if not getattr(tree, "items", ()):
            return ""
        tree = tree.items[0]
    return tree.text
