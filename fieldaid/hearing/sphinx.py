"""pocketsphinx with a closed grammar: hears only what the grammar can say, and measures how well it fits.

The grammar decoder answers with some sentence of the grammar whatever was said. What tells speech of the grammar from
other speech is `lead`: how far, per frame of the words found, the sentence is ahead of (or, below 0, behind) a free
loop of phones over the same sound; and `worst`, the same over the word that fits worst. What fits less than FIT is not
understood; it stays visible as an alternative.
"""

from __future__ import annotations

import contextlib
import os
import re
import tempfile
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from fieldaid import data
from fieldaid.clock import Stopwatch
from fieldaid.errors import BrokenData, SoundError, WrongUse
from fieldaid.hearing import denoise
from fieldaid.hearing.acceptor import Acceptor, HasNetwork, flatten, fsg
from fieldaid.hearing.gate import Segment
from fieldaid.hearing.heard import Heard
from fieldaid.hearing.pronunciations import load, work_out

if TYPE_CHECKING:
    import pocketsphinx

WORST_COUNTS = 0.5
FIT = -36.0
"""Least `fit` = lead + WORST_COUNTS * worst of a sentence that counts as understood, in the decoder's units a frame of
10 ms. Measured with the whole grammar, on synthetic voices none of which is espeak-ng's, lines drawn from
tests/sentences: 60 held-out sentences, clean, 41 heard, 2 wrong, 17 asked; 140 clips of lines outside the grammar,
clean and at 10 dB in saw and wind, none accepted, where 85 gave some fact or command without the limit. The decoder
scores a frame against the best of the sounds that the grammar allows there, so the figures rise as a grammar gets
smaller: a grammar of a few words needs a limit of its own.
"""
DECODER = {
    # Batch means, and no search through the lattice, which took 13 s for a sentence of 4 s.
    "cmn": "batch",
    "bestpath": False,
    # Narrower than the default (1e-48, 7e-29, 1e-48): a fifth less time.
    "beam": 1e-40,
    "wbeam": 1e-24,
    "pbeam": 1e-40,
}
TOP = "line"
"""The sub-network of the grammar that holds a line; more may follow."""
PEAK = 0.5
SHORTEST_S = 0.2
FRAME_S = 0.01


class SphinxRecogniser:
    """Recognises segments by a grammar, in batch: a segment's mean is taken over the whole of it.

    Parameters
    ----------
    jsgf : a small grammar as JSGF text, words in small letters; not needed with `grammar`
    words : its words, when the caller knows them; None reads them from the grammar
    pronunciations : file of pronunciations; None takes `pronunciations.tsv` of the grammars folder
    grammar : the loaded grammar, whose word network is used, or an `Acceptor`; needed for a large grammar

    Attributes
    ----------
    missing : words that cannot be heard; phrases that need them are left out of the grammar
    notices : what a person should know, each said once

    Raises
    ------
    BrokenData : the grammar or the pronunciations cannot be used
    ImportError : pocketsphinx is not installed
    """

    name = "sphinx"

    def __init__(
        self,
        jsgf: str | None = None,
        words: Iterable[str] | None = None,
        pronunciations: str | os.PathLike[str] | None = None,
        grammar: HasNetwork | Acceptor | None = None,
    ) -> None:
        import pocketsphinx

        given = pronunciations if pronunciations is not None else data.folder("grammars") / "pronunciations.tsv"
        path = Path(given)
        source = _source(jsgf, grammar)
        self._decoder = pocketsphinx.Decoder(lm=None, loglevel="FATAL", **DECODER)
        if isinstance(source, Acceptor):
            words = source.words()
        elif words is None:
            words = jsgf_words(source)
        vocabulary = work_out(words, self._decoder.lookup_word, load(path))
        for word, phones in vocabulary.added:
            self._decoder.add_word(word, phones, False)
        self.missing = vocabulary.missing
        self.notices = (_missing_notice(self.missing, path),) if self.missing else ()
        try:
            self._decoder.add_fsg("grammar", _network(self._decoder, source, frozenset(self.missing)))
        except (ValueError, RuntimeError) as exc:
            raise BrokenData(
                "the recogniser cannot read the grammar",
                where="the grammars folder",
                why=str(exc),
                next_step="put the grammars back as they were, or mend the last change",
            ) from None
        self._decoder.add_allphone_file("phones", None)
        self._log = self._decoder.logmath.log

    def hear(self, segment: Segment, awaiting: str | None = None) -> Heard:
        """The sentence of the grammar that the segment holds, or "" when none fits.

        Figures: `fit`, `lead` and `worst` (see the module), in units of the decoder a frame, more is better; `worst` is
        0 at best. An understood text has no alternatives; one that was not has the nearest sentence as its only one.

        Raises
        ------
        SoundError : the decoder broke
        """
        watch = Stopwatch()
        at = {"recogniser": self.name, "start_s": segment.start_s, "end_s": segment.end_s}
        buffer = as_int16(denoise.clean(segment.samples))
        if len(buffer) < 2 * SHORTEST_S / FRAME_S * 160:
            return Heard("", ms={"decode": watch.ms()}, **at)
        try:
            text, found = self._decode("grammar", buffer)
            _, free = self._decode("phones", buffer) if text else ("", [])
        except RuntimeError as exc:
            raise SoundError(
                "the recogniser broke off",
                where=f"{segment.start_s:.1f} s",
                why=str(exc),
                next_step="say it again; if it stays so, look at fieldaid doctor",
            ) from None
        if not text or not free:
            return Heard("", ms={"decode": watch.ms()}, **at)
        lead, worst = _leads(found, free)
        fit = lead + WORST_COUNTS * worst
        figures = {"fit": round(fit, 2), "lead": round(lead, 2), "worst": round(worst, 2)}
        if fit < FIT:
            return Heard("", figures=figures, alternatives=((text, figures["fit"]),), ms={"decode": watch.ms()}, **at)
        return Heard(text, figures=figures, ms={"decode": watch.ms()}, **at)

    def close(self) -> None:
        """Give back the decoder's memory."""
        self._decoder = None

    def _decode(self, search: str, buffer: bytes) -> tuple[str, list[_Stretch]]:
        decoder = self._decoder
        if decoder is None:
            raise RuntimeError("it was closed")
        decoder.activate_search(search)
        # Without this the noise that one utterance left behind is taken off the next one.
        decoder.reinit_feat()
        decoder.start_utt()
        try:
            decoder.process_raw(buffer, False, True)
        finally:
            decoder.end_utt()
        found = decoder.hyp()
        if not found:
            return "", []
        stretches = [
            (part.word, part.start_frame, part.end_frame, float(self._log(part.ascore)))
            for part in decoder.seg()
            if part.start_frame >= 0 and part.end_frame > part.start_frame
        ]
        return " ".join(re.sub(r"\(\d+\)$", "", word) for word in found.hypstr.split()), stretches


_Stretch = tuple[str, int, int, float]
"""Word or phone, first frame, last frame, acoustic score over all of it."""


def _leads(found: list[_Stretch], free: list[_Stretch]) -> tuple[float, float]:
    """`lead` and `worst` of a sentence over a free loop of phones. See `SphinxRecogniser.hear`."""
    frames = 1 + max(last for _, _, last, _ in [*found, *free])
    score = np.zeros(frames)
    for _, first, last, total in free:
        score[first : last + 1] = total / (last + 1 - first)
    behind, counted, worst = 0.0, 0, 0.0
    for word, first, last, total in found:
        if word[0] in "<[(":
            continue
        one = total - float(score[first : last + 1].sum())
        length = last + 1 - first
        behind, counted, worst = behind + one, counted + length, min(worst, one / length)
    return (behind / counted, worst) if counted else (-np.inf, -np.inf)


def as_int16(samples: np.ndarray) -> bytes:
    """Turned up or down to one peak: the decoder takes whole numbers, and quiet speech would lose its detail."""
    peak = float(np.abs(samples).max(initial=0.0))
    gain = PEAK / peak if peak > 1e-4 else 1.0
    return (np.clip(samples * gain, -1.0, 1.0) * 32767).astype("<i2").tobytes()


def jsgf_words(jsgf: str) -> set[str]:
    """The words of a JSGF grammar: what is left without comments, header, rule names, tags and weights."""
    found: set[str] = set()
    for statement in _statements(jsgf):
        body = re.sub(r"<[^>]*>|\{[^}]*\}|/[\d.eE+-]+/", " ", statement.partition("=")[2])
        found.update(re.findall(r'[^\s|()\[\]*+"]+', body))
    return found


def _statements(jsgf: str) -> list[str]:
    """The rules of a grammar, each "<name> = body", without comments."""
    text = re.sub(r"//[^\n]*|/\*.*?\*/", " ", jsgf, flags=re.DOTALL)
    return [part for part in text.split(";") if "=" in part]


def _undefined(jsgf: str) -> list[str]:
    """Rules that are used and nowhere defined; the decoder would drop the whole grammar without a word."""
    rules = _statements(jsgf)
    defined = {name for rule in rules for name in re.findall(r"<[^>]*>", rule.partition("=")[0])}
    used = {name for rule in rules for name in re.findall(r"<[^>]*>", rule.partition("=")[2])}
    return sorted(used - defined - {"<NULL>", "<VOID>"})


def _source(jsgf: str | None, grammar: HasNetwork | Acceptor | None) -> str | Acceptor:
    """The grammar in the form that the decoder takes.

    Raises
    ------
    WrongUse : neither was given
    """
    if isinstance(grammar, Acceptor):
        return grammar
    if grammar is not None:
        return flatten(grammar.network, TOP)
    if jsgf is None:
        raise WrongUse(
            "the recogniser sphinx needs a grammar",
            why="none was given",
            next_step="pass grammar=load_grammar()",
        )
    return jsgf


def _network(decoder: pocketsphinx.Decoder, grammar: str | Acceptor, missing: frozenset[str]) -> pocketsphinx.FsgModel:
    """The decoder's network of a grammar. Transitions on missing words are taken out, and with them every phrase that
    needs one; JSGF's own <VOID> would empty the whole grammar in this decoder."""
    if isinstance(grammar, Acceptor):
        return _read(decoder, fsg(grammar.without(missing)))
    if undefined := _undefined(grammar):
        raise ValueError(f"rules used and not defined: {', '.join(undefined)}")
    network = decoder.parse_jsgf(grammar)
    if not missing:
        return network
    with _temporary() as path:
        network.writefile(str(path))
        lines = path.read_text(encoding="utf-8").splitlines()
    return _read(decoder, "\n".join(line for line in lines if _transition_word(line) not in missing) + "\n")


def _read(decoder: pocketsphinx.Decoder, text: str) -> pocketsphinx.FsgModel:
    with _temporary() as path:
        path.write_text(text, encoding="utf-8")
        return decoder.read_fsg(str(path))


def _transition_word(line: str) -> str | None:
    """The word of a line "TRANSITION from to probability word"; None for every other line."""
    parts = line.split(" ")
    return parts[4] if parts[0] == "TRANSITION" and len(parts) > 4 and parts[4] else None


@contextlib.contextmanager
def _temporary() -> Iterator[Path]:
    handle, name = tempfile.mkstemp(suffix=".fsg")
    os.close(handle)
    try:
        yield Path(name)
    finally:
        os.unlink(name)


def _missing_notice(missing: tuple[str, ...], path: Path) -> str:
    words = "1 word" if len(missing) == 1 else f"{len(missing)} words"
    return (
        f"{words} of the grammar cannot be heard, nor the phrases that need them: {', '.join(missing)}. "
        f"Typing takes them. Add how they are said to {path.name}."
    )
