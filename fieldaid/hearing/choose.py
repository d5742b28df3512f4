"""Which recognisers hear: the best of what is installed, and what a person should know where something is missing.

    speech model and a second recogniser    both, each a check on the other
    speech model alone                      every number that the acoustic model does not hear too is confirmed
    speech model, its second gone for good  every fact is confirmed
    one of the others alone                 every fact is confirmed

The acoustic model is part of the package and always beside the speech model. The second is Vosk with a model of the
place's own, when one is named or found; else pocketsphinx.
"""

from __future__ import annotations

import importlib.util
from dataclasses import replace
from typing import Any

from fieldaid.errors import WrongUse
from fieldaid.grammar.grammar import Grammar
from fieldaid.hearing import vosk_models
from fieldaid.hearing.gate import Segment
from fieldaid.hearing.heard import EVERY, Heard, Recogniser

SPHINX, VOSK, LIKELIHOOD = "pocketsphinx", "vosk", "moonshine-voice and onnxruntime"
NO_MODEL = (
    "The speech model is not installed ({why}): {name} hears alone. Every fact is asked back; confirm or correct it. "
    f"To hear with two recognisers install {LIKELIHOOD}."
)
NO_SECOND = (
    "No second recogniser is installed: more numbers are asked back. Install pocketsphinx to have one."
)


def best(grammar: Grammar | None = None, model: Any = None, **options: Any) -> Recogniser:
    """The best recogniser of what is here.

    Parameters
    ----------
    grammar : the loaded grammar; required
    model : folder or name of a Vosk model; None looks for one

    Raises
    ------
    WrongUse : nothing is installed that could hear, or `model` leads nowhere
    BrokenData : a data file, or the Vosk model named, is damaged
    """
    missing = missing_model()
    if missing:
        return Alone(_alone(grammar, model, **options), missing)
    return both_with_acoustic(grammar, model, **options)


def missing_model() -> str:
    """What of the speech model is missing, "" when nothing is. Nothing is loaded."""
    from fieldaid.hearing.likelihood.model import find_model

    try:
        find_model()
    except WrongUse as error:
        return error.why
    return "" if importlib.util.find_spec("onnxruntime") else "the package onnxruntime was not found"


def plan() -> str:
    """Which recognisers would hear now, in a few words. Nothing is loaded.

    Raises
    ------
    WrongUse : none
    """
    other = "Vosk" if uses_vosk() else "pocketsphinx" if importlib.util.find_spec(SPHINX) else ""
    if missing_model():
        if not other:
            raise nothing_hears()
        return f"{other} alone, every fact is confirmed"
    return f"the speech model, with {other} as second opinion" if other else (
        "the speech model alone, more numbers are confirmed")


def nothing_hears() -> WrongUse:
    return WrongUse("nothing is installed that can recognise speech",
                    why=f"neither {LIKELIHOOD}, nor pocketsphinx, nor vosk with a model was found",
                    next_step="python3 -m pip install 'fieldaid[voice]' pocketsphinx; typing works without")


def both(grammar: Grammar | None = None, model: Any = None, **options: Any) -> Recogniser:
    """The likelihood recogniser with a second opinion, or without one when none is installed.

    Raises
    ------
    WrongUse : the speech model is not installed, or `model` leads nowhere
    """
    from fieldaid.hearing.likelihood.recogniser import LikelihoodRecogniser
    from fieldaid.hearing.two_opinions import TwoOpinions

    # The second loads in a process of its own meanwhile.
    second = _second(grammar, model, **options)
    try:
        return TwoOpinions(LikelihoodRecogniser(grammar), second)
    except BaseException:
        second.close()
        raise


def both_with_acoustic(grammar: Grammar | None = None, model: Any = None, **options: Any) -> Recogniser:
    """As `both`, with the acoustic model's score beside that of the speech model.

    Raises
    ------
    WrongUse : as `both`
    BrokenData : a data file of the package is damaged
    """
    from fieldaid.hearing.two_models import TwoModels
    from fieldaid.hearing.two_opinions import WITH_ACOUSTIC, TwoOpinions, read_policy

    second = _second(grammar, model, **options)
    try:
        return TwoOpinions(TwoModels(grammar), second, read_policy(WITH_ACOUSTIC))
    except BaseException:
        second.close()
        raise


def _second(grammar: Grammar | None, model: Any, **options: Any) -> Recogniser:
    if uses_vosk(model):
        from fieldaid.hearing.vosk_recogniser import VoskRecogniser

        return VoskRecogniser(grammar=grammar, model=model)
    if importlib.util.find_spec(SPHINX) is None:
        return Silent()
    from fieldaid.hearing.sphinx_words import SphinxWords

    return SphinxWords(grammar, **options)


def _alone(grammar: Grammar | None, model: Any, **options: Any) -> Recogniser:
    if uses_vosk(model):
        from fieldaid.hearing.vosk_recogniser import VoskRecogniser

        return VoskRecogniser(grammar=grammar, model=model)
    if importlib.util.find_spec(SPHINX) is None:
        raise nothing_hears()
    from fieldaid.hearing.sphinx import SphinxRecogniser

    return SphinxRecogniser(grammar=grammar, **options)


def uses_vosk(model: Any = None) -> bool:
    """Whether Vosk takes pocketsphinx's place: a model is named, or one is found and the package is there. A name that
    leads nowhere is an error of its own, and no reason to hear with something else."""
    return model is not None or vosk_models.is_named() or vosk_models.is_at_hand()


class Alone:
    """A recogniser that hears alone: what it hears is right or wrong without a second word on it, so every fact is to
    be confirmed.

    Parameters
    ----------
    inner : hears
    why : what is missing
    """

    def __init__(self, inner: Recogniser, why: str) -> None:
        self._inner, self.name = inner, inner.name
        self.notices = (NO_MODEL.format(why=why.rstrip("."), name=_called(inner)), *inner.notices)

    def hear(self, segment: Segment, awaiting: str | None = None) -> Heard:
        """As the inner one hears it, every fact marked."""
        heard = self._inner.hear(segment, awaiting)
        return replace(heard, once=EVERY) if heard.text else heard

    def close(self) -> None:
        self._inner.close()


class Silent:
    """A second recogniser that is not there: it never says anything."""

    name = "no second"
    notices = (NO_SECOND,)

    def hear(self, segment: Segment, awaiting: str | None = None) -> Heard:
        """Nothing."""
        return Heard("", self.name, start_s=segment.start_s, end_s=segment.end_s)

    def close(self) -> None:
        """Nothing to give back."""


def _called(one: Recogniser) -> str:
    return {"sphinx": "pocketsphinx", "vosk": "Vosk"}.get(one.name, one.name)

