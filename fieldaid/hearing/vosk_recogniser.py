"""Vosk as a recogniser: a model of one's own, narrowed to the grammar by a phrase list.

Vosk makes a bigram model of the phrases and falls back to single words: the list narrows, it does not bind, and the
grammar must parse what comes back. The grammar says far more than a list holds, so the list is every word, WAYS ways of
saying each command, answer and question, and SENTENCES drawn sentences. On 3,000 other drawn sentences that bigram
model's perplexity (tests/bench/bench_vosk.py) is 4,700 with the words alone, 190 with 1,000 sentences, 89 with 10,000
and 81 with 30,000; 10,000 cost a second to make, and neither memory nor decoding time worth a figure.

A model's confidence accepts nothing: on noise, one word of the list came back at 1.0.
"""

from __future__ import annotations

import os
import random
import re
from collections.abc import Iterable
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from fieldaid.clock import Stopwatch
from fieldaid.errors import SoundError, WrongUse
from fieldaid.grammar.sampling import Draw
from fieldaid.hearing import vosk_models
from fieldaid.hearing.child import Restarts
from fieldaid.hearing.gate import Segment
from fieldaid.hearing.heard import Heard
from fieldaid.hearing.sound import RATE
from fieldaid.hearing.vosk_process import VoskProcess

if TYPE_CHECKING:
    from fieldaid.grammar import Grammar

UNKNOWN = "[unk]"
SENTENCES, WAYS, SEED = 10_000, 10, 1
LEAST_KNOWN = 0.5
"""Below this share of the words the model is taken to be of another language."""
SHORTEST_S = 0.2

NO_UNKNOWN = (
    "This Vosk model has no word for unknown speech: speech outside the grammar comes back as words of the grammar. "
    "Confirm every fact."
)
NO_PHRASES = (
    "This Vosk model takes no phrase list: it may hear any words, and what is not in the grammar is asked. A small or "
    "lgraph model hears the grammar only."
)


@dataclass(frozen=True)
class PhraseList:
    """What a model is told to listen for.

    Attributes
    ----------
    phrases : rows of known words
    missing : words that the model lacks; phrases that need one are left out
    """

    phrases: tuple[str, ...]
    missing: tuple[str, ...]


class VoskRecogniser:
    """Recognises segments with a Vosk model, in a process of its own.

    Parameters
    ----------
    grammar : what is listened for; its words and sentences make the phrase list
    words, phrases : the same by hand, where there is no grammar
    model : the model's folder, or the name of one found; None chooses as `vosk_models.choose` says
    jsgf, pronunciations : taken so that every recogniser is made alike; Vosk uses neither

    Attributes
    ----------
    folder : the model in use
    missing : words that the model cannot hear
    notices : what a person should know, each said once

    Raises
    ------
    WrongUse : the package is missing, there is no model, or it is of another language
    BrokenData : files of the model are missing or damaged
    SoundError : the library cannot load the model
    """

    name = "vosk"

    def __init__(
        self,
        jsgf: str | None = None,
        words: Iterable[str] | None = None,
        pronunciations: Any = None,
        grammar: Grammar | None = None,
        phrases: Iterable[str] = (),
        model: str | os.PathLike[str] | None = None,
    ) -> None:
        if not vosk_models.is_installed():
            raise vosk_models.missing_package()
        self.folder = vosk_models.choose(model)
        self._process: VoskProcess | None = VoskProcess(self.folder)
        self._restarts = Restarts("the Vosk recogniser", str(self.folder),
                                  f"look at: fieldaid models check {self.folder}")
        try:
            # The model loads meanwhile.
            sentences = [*phrases, *(drawn(grammar) if grammar is not None else [])]
            if words is None and grammar is not None:
                words = grammar.words()
            wanted = sorted({*(words or ()), *(word for text in sentences for word in split(text))})
            self._process.wait_ready()
            known = self._process.known([*wanted, UNKNOWN])
            if len(known - {UNKNOWN}) < LEAST_KNOWN * len(wanted):
                raise WrongUse(
                    "the Vosk model does not fit the grammar",
                    where=str(self.folder),
                    why=f"it knows {len(known - {UNKNOWN})} of {len(wanted)} words, so it is of another "
                    "language",
                    next_step="name a model of the grammar's language; see fieldaid models",
                )
            made = phrase_list(sentences, wanted, known)
            self.missing = made.missing
            self._phrases = (
                list(made.phrases) if made.phrases and vosk_models.takes_phrases(self.folder) else None
            )
            self._process.listen_for(self._phrases, RATE)
        except BaseException:
            self._process.close()
            raise
        self.notices = tuple(self._notices(known))

    def hear(self, segment: Segment, awaiting: str | None = None) -> Heard:
        """The words that the segment holds; "" when none, or only unknown ones.

        Unknown speech stays visible as "[unk]" beside words that were understood, so that no fact is made of a
        sentence with a hole. Figures: `least` and `mean` confidence of the words, and one figure a word ("2 smoke");
        they say how sure the model is among the phrases, never whether the phrase was said.

        Raises
        ------
        SoundError : the process broke off (the next segment gets a new one), or the sound is not at 16000 a second
        GoneError : it broke off too often, and is not started again
        """
        watch = Stopwatch()
        at = {"recogniser": self.name, "start_s": segment.start_s, "end_s": segment.end_s}
        # What is no number is taken as silence.
        samples = np.nan_to_num(segment.samples, posinf=0.0, neginf=0.0)
        lasts = segment.end_s - segment.start_s
        if lasts > 0 and abs(len(samples) / RATE - lasts) > 0.1 * lasts + 0.1:
            raise SoundError(
                "the sound has the wrong rate",
                where=f"{segment.start_s:.1f} s",
                why=f"{len(samples)} samples for {lasts:.2f} s are not {RATE} a second",
                next_step=f"resample it to {RATE} a second",
            )
        if len(samples) < SHORTEST_S * RATE or not np.abs(samples).max() > 0:
            return Heard("", ms={"decode": watch.ms()}, **at)
        text, figures = joined(self._decode(_as_int16(samples)))
        ms = {"decode": watch.ms()}
        if not text.replace(UNKNOWN, "").strip():
            return Heard("", figures=figures, alternatives=((text, 0.0),) if text else (), ms=ms, **at)
        return Heard(text, figures=figures, ms=ms, **at)

    def close(self) -> None:
        """End the process and give back the model's memory."""
        self._restarts.end()
        self._drop()

    def _decode(self, sound: bytes) -> list[dict[str, Any]]:
        try:
            if self._process is None:
                self._restarts.check()
                self._process = VoskProcess(self.folder)
                self._process.wait_ready()
                self._process.listen_for(self._phrases, RATE)
            finals = self._process.hear(sound)
        except SoundError as error:
            self._drop()
            raise self._restarts.broke_off(error) from None
        self._restarts.worked()
        return finals

    def _drop(self) -> None:
        if self._process is not None:
            self._process.close()
            self._process = None

    def _notices(self, known: set[str]) -> Iterable[str]:
        if self.missing:
            words = "1 word" if len(self.missing) == 1 else f"{len(self.missing)} words"
            yield (
                f"{words} of the grammar cannot be heard with the Vosk model {self.folder.name}: "
                f"{', '.join(self.missing)}. Typing takes them."
            )
        if not vosk_models.takes_phrases(self.folder):
            yield NO_PHRASES
        elif UNKNOWN not in known:
            yield NO_UNKNOWN
        rate = vosk_models.made_for_rate(self.folder)
        if rate != RATE:
            yield f"This Vosk model was made for sound at {rate} a second; the library converts from {RATE}."


def drawn(grammar: Grammar, sentences: int = SENTENCES, ways: int = WAYS, seed: int = SEED) -> list[str]:
    """Sentences of the grammar for a phrase list; the same for the same seed."""
    draw = Draw(grammar.loaded, random.Random(seed))
    others = [(tree, grammar.loaded.outputs[output]) for tree, output in grammar.loaded.trees]
    found = [
        draw.of(tree, output)[0] for tree, output in others if output.kind != "facts" for _ in range(ways)
    ]
    return found + [text for text, _ in grammar.sentences(seed, sentences)]


def split(text: str) -> list[str]:
    """The words of a sentence, without its commas."""
    return re.findall(r"[^\s,]+", text)


def phrase_list(sentences: Iterable[str], words: Iterable[str], known: set[str]) -> PhraseList:
    """The phrase list for a model that knows the words `known`.

    A sentence that needs a missing word is left out whole: the library would drop the word and learn a sentence that
    nobody says. UNKNOWN is added when the model has it. Without sentences and words the list is empty.
    """
    words = sorted(set(words))
    rows = [split(text) for text in sentences]
    kept = [" ".join(row) for row in rows if row and known.issuperset(row)]
    kept += [word for word in words if word in known]
    if kept and UNKNOWN in known:
        kept.append(UNKNOWN)
    return PhraseList(tuple(kept), tuple(word for word in words if word not in known))


def joined(finals: list[dict[str, Any]]) -> tuple[str, dict[str, float]]:
    """The text of all finals of an utterance, empty ones left out, and the figures of its words."""
    text = " ".join(" ".join(str(one.get("text", "")).split()) for one in finals)
    found = [(str(word["word"]), float(word["conf"])) for one in finals for word in one.get("result", [])]
    figures = {f"{number} {word}": round(sure, 3) for number, (word, sure) in enumerate(found, start=1)}
    if found:
        sure = [one for _, one in found]
        figures = {"least": round(min(sure), 3), "mean": round(sum(sure) / len(sure), 3), **figures}
    return " ".join(text.split()), figures


def _as_int16(samples: np.ndarray) -> bytes:
    """As the library takes it: 16-bit, little-endian."""
    return (np.clip(samples, -1.0, 1.0) * 32767).astype("<i2").tobytes()
