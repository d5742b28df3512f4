"""The loaded grammar: parsing, completion, words for the recognisers, read-back, test sentences."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from fieldaid import data
from fieldaid.grammar.complete import complete
from fieldaid.grammar.fsg import fsg
from fieldaid.grammar.jsgf import jsgf, speakable
from fieldaid.grammar.load import LINE, Loaded, load
from fieldaid.grammar.model import Parsed, Reading
from fieldaid.grammar.network import Network
from fieldaid.grammar.parse import Parser
from fieldaid.grammar.readback import spoken
from fieldaid.grammar.sampling import sentences


class Grammar:
    """One folder of templates, compiled. Holds no state: a line means the same every time."""

    def __init__(self, loaded: Loaded) -> None:
        self.loaded = loaded
        self._parser = Parser(loaded)

    @property
    def network(self) -> Network:
        """The word network, for recognisers."""
        return self.loaded.network

    def parse(self, line: str, *, expecting: str | None = None) -> Parsed:
        """What a line says.

        Parameters
        ----------
        line : typed or recognised words; case, commas and figures as they come
        expecting : a fact (or family, such as "deck") whose bare value would be an answer to the question that was
            just asked; or "affirm"
        """
        return self._parser.parse(line, expecting)

    def complete(self, prefix: str, limit: int = 8) -> list[str]:
        """The words that may come next after `prefix`, or that finish its last word."""
        return complete(self.loaded, prefix, limit)

    def jsgf(self, scope: str | None = None) -> str:
        """The grammar for a recogniser in JSpeech Grammar Format. pocketsphinx compiles the scopes in milliseconds,
        but not the whole; give it `fsg` for that.

        Parameters
        ----------
        scope : None for every line; a fact or family for the bare answers to its question; "affirm" for yes and no

        Raises
        ------
        WrongUse : no such scope
        """
        return jsgf(self.loaded, scope)

    def fsg(self) -> str:
        """Every line, as a finite-state grammar in the text form that pocketsphinx reads."""
        return fsg(self.network, LINE)

    def words(self) -> frozenset[str]:
        """Every word that can be said; no figures."""
        return speakable(self.loaded, LINE)

    def spoken(self, what: Reading | Parsed) -> str:
        """The read-back of the typed facts, from the facts and not from the words: "ridge B D", "wind west 12"."""
        return spoken(self.loaded, what.readings if isinstance(what, Parsed) else (what,))

    def sentences(self, seed: int, n: int) -> Iterator[tuple[str, dict[str, Any]]]:
        """`n` sentences that the grammar allows, each with its facts; the same for the same seed."""
        return sentences(self.loaded, seed, n)


def load_grammar(folder: Path | None = None) -> Grammar:
    """The grammar in `folder`, or the shipped English one.

    Raises
    ------
    BrokenData : a template cannot be used; its findings name file, line and column
    """
    return Grammar(load(folder if folder is not None else data.folder("grammars") / "english"))
