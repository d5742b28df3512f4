"""What a recogniser hands on, what a recogniser is, and where the kinds of recogniser are registered.

Typing, pocketsphinx and any later recogniser are interchangeable: each turns a segment into `Heard`.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from importlib import import_module
from typing import Any, Protocol

from fieldaid.errors import WrongUse
from fieldaid.hearing.gate import Segment

EVERY = frozenset({"*"})
"""For `Heard.once`: every fact of the line."""


@dataclass(frozen=True)
class Either:
    """A number of which two readings fit the sound about as well: the fact and both values, the likelier first."""

    fact: str
    values: tuple[Any, Any]


@dataclass(frozen=True)
class Heard:
    """One utterance as a recogniser understood it.

    Attributes
    ----------
    text : the words, lower case; "" when nothing was understood
    recogniser : its name
    figures : measures of how well it fits; what they mean is the recogniser's own affair, and none is a probability
    alternatives : other readings with their score, best first
    start_s, end_s : where it lies in the sound [s]
    ms : computing time by stage [ms]
    once : the facts that rest on one recogniser's word alone and are to be confirmed; `EVERY` is all of them
    either : the numbers that are to be asked about
    notices : what a person should know from now on; handed on with every utterance, said once in a session
    """

    text: str
    recogniser: str
    figures: dict[str, float] = field(default_factory=dict)
    alternatives: tuple[tuple[str, float], ...] = ()
    start_s: float = 0.0
    end_s: float = 0.0
    ms: dict[str, float] = field(default_factory=dict)
    once: frozenset[str] = frozenset()
    either: tuple[Either, ...] = ()
    notices: tuple[str, ...] = ()


class Recogniser(Protocol):
    """A recogniser of segments.

    Attributes
    ----------
    name : as in the registry
    notices : what a person should know about its limits from the start, each said once: words it cannot hear, say
    """

    name: str
    notices: tuple[str, ...]

    def hear(self, segment: Segment, awaiting: str | None = None) -> Heard:
        """Recognise one segment; `text` is "" when it is not understood. `awaiting` is the fact that was just asked
        for, or "affirm"; a recogniser may hear its bare answers more readily. Raises SoundError only when it broke, and
        GoneError when it will not come back."""
        ...

    def close(self) -> None:
        """Give back what it holds. Closing twice does no harm."""
        ...


DEFAULT = "best"
"""What `hear` and `talk` use when no recogniser is named: see choose.py."""
FACTORIES: dict[str, str] = {
    "best": "fieldaid.hearing.choose:best",
    "both": "fieldaid.hearing.choose:both",
    "both with acoustic": "fieldaid.hearing.choose:both_with_acoustic",
    "sphinx": "fieldaid.hearing.sphinx:SphinxRecogniser",
    "acoustic": "fieldaid.hearing.acoustic.recogniser:AcousticRecogniser",
    "likelihood": "fieldaid.hearing.likelihood.recogniser:LikelihoodRecogniser",
    "sphinx words": "fieldaid.hearing.sphinx_words:SphinxWords",
    "vosk": "fieldaid.hearing.vosk_recogniser:VoskRecogniser",
}
"""Name to "module:callable". The module is imported when the recogniser is made: loading costs memory and time."""


def make(name: str, **options: Any) -> Recogniser:
    """A recogniser by name; `options` go to its factory.

    Raises
    ------
    WrongUse : no such name, or its package is not installed
    """
    if name not in FACTORIES:
        raise WrongUse(
            f"there is no recogniser {name!r}",
            why=f"there are: {', '.join(sorted(FACTORIES))}",
            next_step="choose one of them",
        )
    module, _, factory = FACTORIES[name].partition(":")
    try:
        return getattr(import_module(module), factory)(**options)
    except ImportError as exc:
        raise WrongUse(
            f"the recogniser {name} cannot be loaded",
            why=str(exc),
            next_step="install fieldaid with its voice extra, or use another recogniser",
        ) from None
