"""Two recognisers on one segment: the first proposes and measures, the second agrees, differs or is silent.

The first is the likelihood recogniser: it scores any sentence of the grammar against the sound. The second hears for
itself at the same time, on another core; its sentences are scored by the first beside its own, and the closer a
sentence is to the letters that the second heard, the more it counts. What wins is accepted by limits that depend on
what the second says of it. When it means the same, little more is asked of the figures. When it heard something else,
about as much as when it heard nothing: in noise the second often hears nonsense; but its own sentence stands in the way
as far as the first finds it likely.

A number that only one of them heard is taken on one recogniser's word: it is handed on as such, to be confirmed. A
number that sounds like another one ("fifteen", "fifty") is asked about when the first does not tell them clearly apart;
the second has no say in that, because pocketsphinx was seen to hear every final "-ty" of a human speaker as "-teen".

A second that breaks off is silent for that segment. One that is gone for good is told to the person, and from then on
every fact rests on one recogniser's word.
"""

from __future__ import annotations

import concurrent.futures
import difflib
import json
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from fieldaid.clock import Stopwatch
from fieldaid.errors import BrokenData, GoneError, SoundError
from fieldaid.facts import fact
from fieldaid.grammar.model import Parsed
from fieldaid.hearing.awaited import is_answer
from fieldaid.hearing.gate import Segment
from fieldaid.hearing.heard import EVERY, Either, Heard, Recogniser
from fieldaid.hearing.likelihood.accept import Figures, Limits
from fieldaid.hearing.likelihood.meanings import Meaning, meaning_of
from fieldaid.hearing.likelihood.recogniser import (
    NO_RIVAL,
    LikelihoodRecogniser,
    Measured,
    usable,
)
from fieldaid.hearing.likelihood.written import NUMBER_WORDS
from fieldaid.hearing.pauses import parts, spoken_s

OPINIONS = Path(__file__).parent / "likelihood" / "data" / "opinions.json"
"""Set by hand on calibration voices and lines (tests/bench/calibrate_hearing.py): 403 segments with the strict
pocketsphinx as second and 112 with the one used here. Where the second meant the same, all of 231 accepted meanings
that stated something were right; elsewhere the limits are those of the first alone, a little less where the letters are
near.
"""
WITH_ACOUSTIC = OPINIONS.with_name("opinions_with_acoustic.json")
"""The same where the acoustic model counts too."""
AGREES, MODELS, NEAR, DIFFERS, SILENT, AWAITED = "agrees", "models", "near", "differs", "silent", "awaited"
STANCES = {AGREES: 1.0, MODELS: 0.8, NEAR: 0.5, SILENT: 0.0, DIFFERS: -1.0}
WAIT_S = 8.0
"""How long the second may take longer than the first."""
SLOW = 9.0
"""Letters a second of speech: what says less may have left speech out. On calibration voices 98 of 100 sentences that
were heard right have more, and half of those heard wrong have less than 4."""
SECOND_GONE = "The second recogniser is gone. Every fact is asked back."
NUMBERS = ("number", "years", "air")
"""Kinds of facts that hold a number."""


@dataclass(frozen=True)
class Policy:
    """When a meaning is accepted.

    Attributes
    ----------
    close : added to the rank of a sentence that is letter for letter what the second heard [nat]; half of it for one of
        which half the letters are
    near : letters alike from which the second counts as nearly agreeing, although it means something else or nothing
    awaited : added to the rank of an answer to what was just asked [nat]
    limits : by what the second says; for AWAITED those of a short answer
    """

    close: float
    near: float
    awaited: float
    limits: dict[str, Limits]

    @classmethod
    def of(cls, stored: dict[str, Any]) -> Policy:
        """From stored figures. Raises BrokenData when something is missing or is no number."""
        try:
            return cls(float(stored["close"]), float(stored["near_close"]), float(stored["awaited_rank"]),
                       {name: Limits.of(stored[name]) for name in (*STANCES, AWAITED)})
        except (KeyError, TypeError, ValueError) as exc:
            raise BrokenData("the limits of the two recognisers cannot be used", why=f"missing or wrong: {exc}",
                             next_step="install fieldaid again") from None


@dataclass(frozen=True)
class Verdict:
    """What two opinions come to: meanings best first, the figures of the best, what the second says of it."""

    meanings: list[Meaning]
    figures: Figures
    stance: str
    close: float


class TwoOpinions:
    """A recogniser made of two.

    Parameters
    ----------
    first : proposes and measures
    second : any recogniser; its text counts whether it accepts it or not
    policy : None takes the calibrated one
    """

    def __init__(self, first: LikelihoodRecogniser, second: Recogniser, policy: Policy | None = None) -> None:
        self.first, self.second = first, second
        self.policy = policy if policy is not None else read_policy()
        self.name = f"{first.name} + {second.name}"
        self.notices = (*first.notices, *second.notices)
        self._thread = concurrent.futures.ThreadPoolExecutor(1, "second-opinion")
        self._gone = False

    def hear(self, segment: Segment, awaiting: str | None = None) -> Heard:
        """The phrase that the segment holds, or "" when none is accepted.

        Figures: those of the first (see likelihood/accept.py); `close` is the share of letters that the second heard
        alike; `stance` is 1 when it means the same, 0.8 when it does not and another model by itself does (see
        `two_models`), 0.5 when its letters are near, -1 when it heard something else, 0 when it heard nothing; `parts`
        is 2 when the segment was cut at a pause, because the whole was not understood or left speech out.

        Raises
        ------
        SoundError : the first broke; without the second it goes on
        """
        heard = self._whole_or_parts(segment, awaiting)
        if not self._gone:
            return heard
        return replace(heard, notices=(*heard.notices, SECOND_GONE), once=EVERY if heard.text else heard.once)

    def _whole_or_parts(self, segment: Segment, awaiting: str | None) -> Heard:
        whole, _ = self._one(segment, awaiting)
        if whole.text and whole.figures.get("rate", SLOW) >= SLOW:
            return whole
        pieces = parts(segment)
        if len(pieces) == 1:
            return whole
        found = [self._one(piece, awaiting) for piece in pieces]
        ms = {name: sum(one.ms.get(name, 0.0) for one in (whole, *(heard for heard, _ in found))) for name in whole.ms}
        return replace(self._joined(whole, found), start_s=segment.start_s, end_s=segment.end_s, ms=ms)

    def _one(self, segment: Segment, awaiting: str | None) -> tuple[Heard, Measured | None]:
        """One segment without regard to its pauses."""
        watch = Stopwatch()
        samples = usable(segment.samples)
        if samples is None:
            return Heard("", self.name, start_s=segment.start_s, end_s=segment.end_s, ms={"decode": watch.ms()}), None
        asked = None if self._gone else self._thread.submit(self.second.hear, segment, awaiting)
        measured = self.first.measure(samples, awaiting, spoken_s(segment))
        ms = {"first": watch.lap()}
        said = self._answer(asked)
        ms["waited"] = watch.lap()
        measured = self.first.propose(measured, proposals(said))
        verdict = weigh(self.first, measured, said, self.policy)
        heard = self._heard(measured, verdict, said, segment)
        ms["weighed"] = watch.lap()
        ms = {**ms, "decode": sum(ms.values()), "second": said.ms.get("decode", 0.0)}
        return replace(heard, ms=ms), measured

    def _joined(self, whole: Heard, found: list[tuple[Heard, Measured | None]]) -> Heard:
        """What the parts say together, when each is understood or says nothing; the whole when they cannot be joined;
        nothing when whole and parts say different things."""
        told = [heard for heard, measured in found if not _is_nothing(heard, measured)]
        if not told or not all(heard.text for heard in told):
            return whole
        parse = self.first.grammar.parse
        calls = any(_is_call(heard) for heard, _ in found) and "field aid" not in told[0].text
        text = ", ".join([*(["field aid"] if calls else []), *(heard.text for heard in told)])
        together, whole_says = parse(text), parse(whole.text)
        facts: dict[str, Any] = {}
        for heard in told:
            facts |= parse(heard.text).facts
        if together.refused or together.facts != facts:
            return whole
        if any(together.facts.get(name) != value for name, value in whole_says.facts.items()):
            return replace(whole, text="", alternatives=((whole.text, 0.0), (text, 0.0)))
        worst = min(told, key=lambda heard: heard.figures.get("fit", 0.0))
        return replace(worst, text=text, figures={**worst.figures, "parts": float(len(found))},
                       once=frozenset().union(*(heard.once for heard in told)),
                       either=tuple(one for heard in told for one in heard.either))

    def close(self) -> None:
        """Close both."""
        self._thread.shutdown(wait=False, cancel_futures=True)
        self.first.close()
        self.second.close()

    def _answer(self, asked: concurrent.futures.Future[Heard] | None) -> Heard:
        """The second's answer; nothing when it broke, is late or gone: it then has no say."""
        try:
            if asked is not None:
                return asked.result(WAIT_S)
        except GoneError:
            self._gone = True
        except (SoundError, TimeoutError):
            pass
        return Heard("", self.second.name)

    def _heard(self, measured: Measured, verdict: Verdict | None, said: Heard, segment: Segment) -> Heard:
        if verdict is None:
            return replace(self.first.told(None, False, segment, 0.0), recogniser=self.name)
        parse = self.first.grammar.parse
        best = verdict.meanings[0]
        parsed = parse(best.row.text, expecting=measured.awaiting)
        stance = verdict.stance
        if is_answer(parsed, measured.awaiting) and stance != AGREES:
            stance = AWAITED
        either, blurred = alike_numbers(self.first, measured, best, parsed, self.policy.limits[stance].alike_margin)
        # A number that sounds like another is asked about by itself, and does not refuse the rest of the line.
        figures = replace(verdict.figures, alike_margin=blurred)
        accepted = best.states and figures.accepted(self.policy.limits[stance])
        shown = replace(measured, meanings=verdict.meanings, figures=figures)
        heard = self.first.told(shown, accepted, segment, 0.0)
        once = heard_once(parsed, said, self.first.heard_by_other(measured)) if accepted else frozenset()
        more = {"close": round(verdict.close, 2), "stance": STANCES[verdict.stance],
                "fit": round(figures.fit(self.policy.limits[stance]), 2)}
        return replace(heard, recogniser=self.name, figures={**heard.figures, **more},
                       once=once, either=either if accepted else ())


def _is_call(heard: Heard) -> bool:
    """Whether the best of it is the call sign alone."""
    best = heard.alternatives[0][0] if heard.alternatives else ""
    return not heard.text and bool(best) and not bare(best)


def _is_nothing(heard: Heard, measured: Measured | None) -> bool:
    """Whether there is nothing in it that could change what the rest means: no words, or the call sign."""
    return measured is None or not measured.found.free or _is_call(heard)


def proposals(said: Heard) -> list[str]:
    """The texts that a recogniser would say, likeliest first."""
    texts = [said.text, *(text for text, _ in said.alternatives)]
    return [text.replace("fieldaid", "field aid") for text in texts if text]


def weigh(first: LikelihoodRecogniser, measured: Measured, said: Heard, policy: Policy) -> Verdict | None:
    """The meanings ranked with what the second heard; None when there are none."""
    if measured.figures is None:
        return None
    texts = proposals(said)
    close = {one.key: closeness(one.row.text, texts[0]) if texts else 0.0 for one in measured.meanings}
    rank = {one.key: first.rank(one) + policy.close * close[one.key] for one in measured.meanings}
    if measured.awaiting is not None:
        for one in measured.meanings:
            if is_answer(first.grammar.parse(one.row.text, expecting=measured.awaiting), measured.awaiting):
                rank[one.key] += policy.awaited
    meanings = sorted(measured.meanings, key=lambda one: rank[one.key], reverse=True)
    best = meanings[0]
    lead = min((rank[best.key] - rank[one.key] for one in meanings[1:]), default=NO_RIVAL)
    figures = first.figures_of(measured, best, lead)
    same = bool(texts) and meaning_of(first.grammar.parse(texts[0], expecting=measured.awaiting)) == best.key
    other = first.heard_by_other(measured)
    models = bool(other) and meaning_of(first.grammar.parse(other, expecting=measured.awaiting)) == best.key
    return Verdict(meanings, figures, stance_of(bool(texts), same, models, close[best.key], policy), close[best.key])


def stance_of(spoke: bool, same: bool, models: bool, close: float, policy: Policy) -> str:
    """What the others say of a meaning: whether the second heard anything, whether that means the same, whether another
    model by itself finds the same likeliest (see `two_models`), and how close the letters of the second are."""
    if spoke and (same or close == 1.0):
        return AGREES
    if models:
        return MODELS
    if not spoke:
        return SILENT
    return NEAR if close >= policy.near else DIFFERS


def bare(text: str) -> str:
    """A text without commas and call sign."""
    return " ".join(text.replace(",", " ").replace("fieldaid", " ").replace("field aid", " ").split())


def closeness(text: str, other: str) -> float:
    """How much two texts are alike by their letters, 0 to 1; call sign and commas do not count."""
    one, two = bare(text), bare(other)
    if not one or not two:
        return 0.0
    # Letters in the same order, found by the longest common stretches (Ratcliff and Obershelp).
    return difflib.SequenceMatcher(None, one, two, autojunk=False).ratio()


def heard_once(parsed: Parsed, said: Heard, other: str = "") -> frozenset[str]:
    """The facts of a line whose number neither the second nor the `other` model, each by itself, heard in the same
    words."""
    rows = [f" {bare(text)} " for text in (said.text or (said.alternatives[0][0] if said.alternatives else ""), other)]
    return frozenset(one.name for one in parsed.readings if holds_number(one.name)
                     and not any(f" {' '.join(number_words(one.words) or bare(one.words).split())} " in row
                                 for row in rows))


def holds_number(name: str) -> bool:
    return fact(name).kind in NUMBERS


def number_words(text: str) -> list[str]:
    """The words of a number in a text, from the first to the last of them."""
    words = text.replace(",", " ").lower().split()
    at = [number for number, word in enumerate(words) if word in NUMBER_WORDS]
    return words[at[0]:at[-1] + 1] if at else []


def alike_numbers(first: LikelihoodRecogniser, measured: Measured, best: Meaning, parsed: Parsed, limit: float
                  ) -> tuple[tuple[Either, ...], float | None]:
    """The numbers of the best meaning that do not lead over one that sounds alike by `limit`, and the least lead over
    texts that sound alike and differ in something else."""
    either: list[Either] = []
    others: list[float] = []
    for text, ahead in first.alike(measured, best.row.text) if best.states else ():
        other = first.grammar.parse(text, expecting=measured.awaiting)
        values = _one_number_apart(parsed, other)
        if values is None:
            others.append(ahead)
        elif ahead < limit:
            either.append(values)
    return tuple(either), min(others, default=None)


def _one_number_apart(one: Parsed, other: Parsed) -> Either | None:
    before, after = one.facts, other.facts
    if before.keys() != after.keys() or one.command != other.command:
        return None
    apart = [name for name in before if before[name] != after[name]]
    if len(apart) != 1 or not holds_number(apart[0]):
        return None
    return Either(apart[0], (before[apart[0]], after[apart[0]]))


def read_policy(path: Path = OPINIONS) -> Policy:
    """The calibrated policy. Raises BrokenData when the file is missing or broken."""
    try:
        return Policy.of(json.loads(path.read_text(encoding="utf-8")))
    except (OSError, ValueError, AttributeError) as exc:
        raise BrokenData("the limits of the two recognisers cannot be read", where=str(path), why=str(exc),
                         next_step="install fieldaid again") from None

