"""The grammar in JSpeech Grammar Format (JSGF), for recognisers that take one."""

from __future__ import annotations

from fieldaid.errors import WrongUse
from fieldaid.grammar.load import LINE, Loaded
from fieldaid.grammar.network import Network

HEAD = "#JSGF V1.0;\ngrammar fieldaid;\n"


def jsgf(loaded: Loaded, scope: str | None) -> str:
    """The rules that a scope needs. Every sub-network is one rule; several facts may follow each other.

    Raises
    ------
    WrongUse : no such scope
    """
    network = loaded.network
    if scope is None:
        top, public = LINE, "public <utterance> = <line>+;\n"
    elif scope == "affirm":
        return f"{HEAD}public <utterance> = affirm | affirmative | negative | yes | no | say again;\n"
    elif f"answer {scope}" in network.start:
        top = f"answer {scope}"
        public = f"public <utterance> = <{_name(top)}>;\n"
    else:
        known = sorted(name.removeprefix("answer ") for name in network.start if name.startswith("answer "))
        raise WrongUse(f"there are no answers for {scope!r}", why=f"there are for {', '.join(known)}",
                       next_step="choose one of them, affirm, or none for every line")
    rules = [f"<{_name(sub)}> = {_expression(network, network.start[sub])};\n" for sub in reached(network, top)]
    return HEAD + public + "".join(rules)


def reached(network: Network, top: str) -> list[str]:
    """`top` and every sub-network that it uses."""
    found, todo = {top: None}, [top]
    while todo:
        for node in _nodes(network, network.start[todo.pop()]):
            for sub, _, _ in network.calls[node]:
                if sub not in found:
                    found[sub] = None
                    todo.append(sub)
    return list(found)


def speakable(loaded: Loaded, top: str) -> frozenset[str]:
    """Every word that `top` can be said with."""
    network = loaded.network
    return frozenset(word for sub in reached(network, top)
                     for node in _nodes(network, network.start[sub]) for word in network.words[node])


def _nodes(network: Network, start: int) -> list[int]:
    found, todo = {start: None}, [start]
    while todo:
        node = todo.pop()
        for target in (*network.words[node].values(), *(call[2] for call in network.calls[node])):
            if target not in found:
                found[target] = None
                todo.append(target)
    return list(found)


def _name(sub: str) -> str:
    return sub.replace(" ", "_").replace(".", "_").replace("-", "_to_")


def _expression(network: Network, node: int, depth: int = 0) -> str:
    """The tree below a node. Nodes that are met on two ways are written twice; loops (lists of places) end after
    three rounds."""
    rows: dict[str, list[str]] = {}
    for word, target in network.words[node].items():
        rows.setdefault(_tail(network, target, depth), []).append(word)
    for sub, _, target in network.calls[node]:
        rows.setdefault(_tail(network, target, depth), []).append(f"<{_name(sub)}>")
    found = []
    for tail, heads in rows.items():
        head = heads[0] if len(heads) == 1 else f"({' | '.join(dict.fromkeys(heads))})"
        found.append(f"{head} {tail}".strip())
    return " | ".join(found)


def _tail(network: Network, node: int, depth: int) -> str:
    more = bool(network.words[node] or network.calls[node]) and depth < 14
    if not more:
        return ""
    inner = _expression(network, node, depth + 1)
    if network.outputs[node]:
        return f"[{inner}]"
    return f"({inner})" if " | " in inner else inner
