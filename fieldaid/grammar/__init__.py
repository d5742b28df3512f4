"""The closed grammar: templates -> one word network -> parser, completion, recogniser grammar, test sentences.

    load_grammar(folder=None) -> Grammar               BrokenData with file:line:column for bad templates
    Grammar.parse(line, *, expecting=None) -> Parsed   expecting: a fact whose bare value answers, or "affirm"
    Grammar.complete(prefix, limit=8) -> list[str]     words that may come next
    Grammar.jsgf(scope=None) -> str ; Grammar.fsg() -> str ; Grammar.words() -> frozenset[str]
    Grammar.spoken(reading or parsed) -> str           read-back from the facts, not from the words
    Grammar.sentences(seed, n) -> iterator of (sentence, {fact: value})
"""

from fieldaid.grammar.grammar import Grammar, load_grammar
from fieldaid.grammar.model import COMMANDS, Ask, Parsed, Reading

__all__ = ["COMMANDS", "Ask", "Grammar", "Parsed", "Reading", "load_grammar"]
