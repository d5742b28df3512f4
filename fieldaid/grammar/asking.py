"""Questions about the part of a line that is missing."""

from __future__ import annotations

from fieldaid.facts import FACTS
from fieldaid.grammar.load import LINE, Loaded
from fieldaid.grammar.model import Ask
from fieldaid.grammar.network import Walk
from fieldaid.grammar.outputs import Values, base_of, fill, slot_names


class Asking:
    """The question that belongs to each fact, and the fact that an unfinished phrase was about."""

    def __init__(self, loaded: Loaded, values: Values) -> None:
        self.loaded, self.values = loaded, values

    def topic(self, name: str) -> str:
        """The fact or family that a question is filed under."""
        base = base_of(name)
        one = FACTS.get(base)
        for key in (base, one.group if one else "", base.split(".")[0]):
            if key in self.loaded.asks:
                return key
        return base

    def about(self, name: str) -> Ask:
        """The question for a fact or family."""
        topic = self.topic(name)
        entry = self.loaded.asks.get(topic)
        if entry:
            return Ask(topic, entry["missing"], entry["text"])
        called = FACTS[topic].called if topic in FACTS else topic
        return Ask(topic, called, f"{called[0].upper()}{called[1:]}: say again?")

    def between(self, name: str, values: list) -> Ask:
        """The question for a fact that one line gave several values."""
        topic = self.topic(name)
        called = FACTS[base_of(name)].called if base_of(name) in FACTS else topic
        return Ask(topic, "which", f"{called[0].upper()}{called[1:]}: {' or '.join(map(str, values))}?")

    def unfinished(self, walk: Walk, start: int, end: int) -> list[Ask]:
        """The question for a phrase that broke off at the words left over, when it can only have been about one
        thing."""
        network = self.loaded.network
        for begin in range(max(0, start - 4), end):
            reached, nodes = walk.furthest(LINE, begin)
            if reached - begin < 2 or reached <= start - 1 or reached > end:
                continue
            missing = [target for node in nodes for _, _, target in network.calls[node]]
            topics = {self.topic(name) for node in missing for name in self._facts_beyond(node, network)}
            if len(topics) == 1:
                return [self.about(topics.pop())]
        return []

    def _facts_beyond(self, node: int, network) -> set[str]:
        """The facts of the templates that run through a node."""
        found: set[str] = set()
        seen, todo = {node}, [node]
        while todo and len(seen) < 60:
            at = todo.pop()
            for output in network.outputs[at]:
                for name, _ in self.loaded.outputs[output].tells:
                    found.add(name.split("{")[0].rstrip(".") if slot_names(name) else str(fill(name, {})))
            for target in (*network.words[at].values(), *(call[2] for call in network.calls[at])):
                if target not in seen:
                    seen.add(target)
                    todo.append(target)
        return found
