"""Whether the likeliest meaning is accepted, from figures of how well it fits.

    fit            llr, words, margin and silence weighed together, as they told right from wrong in the calibration
    llr            log-probability of the meaning less that of the letters that fit best without any grammar, for each
                   letter [nat]; near or above 0 when it fits
    words          log-probability of the likeliest row less that of the likeliest row of any English words [nat, 0 at
                   best]; see words.py
    worst          the lag behind the letters that fit best, of the word that fits worst, along the likeliest way
                   [nat, 0 at best]
    margin         lead over the next meaning [nat]
    silence        lead over nothing at all having been said, for each letter [nat]
    alike_margin   the lead over the likeliest text that sounds alike ("-teen" for "-ty"); absent when there is none

The letters and the words heard without grammar show what the grammar's text leaves unexplained: "good relief" heard as
"no relief" fits as a whole, and has one word that does not. What has a near rival shows in the margin. On noise alone
nothing is likelier than silence. `fit` is the log-odds of being right on synthetic voices; on a roof it is a measure
and no probability.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import ClassVar

from fieldaid.hearing.measuring import StoredLimits, WeighedFigures


@dataclass(frozen=True)
class Limits(StoredLimits):
    """The least figures that are accepted, the weights of `fit`, and how meanings are ranked.

    Attributes
    ----------
    fit, llr, words, worst, margin, silence, alike_margin : least figures
    refused : taken off a meaning of which the parser leaves out a part [nat]
    base, by_llr, by_words, by_margin, by_silence : weights of `fit`; of the margin counts log(1 + m),
        of words its share of the square root of the letters
    """

    whose: ClassVar[str] = "acoustic"

    fit: float = 1.5
    llr: float = -0.6
    words: float = -8.0
    worst: float = -16.0
    margin: float = 2.0
    silence: float = 5.0
    alike_margin: float = 2.0
    refused: float = 3.0
    base: float = -0.8
    by_llr: float = 3.2
    by_words: float = 0.55
    by_margin: float = 1.4
    by_silence: float = 0.27

    @property
    def weights(self) -> tuple[float, ...]:
        """In the order of `Figures.features`."""
        return (self.base, self.by_llr, self.by_words, self.by_margin, self.by_silence)


@dataclass(frozen=True)
class Figures(WeighedFigures):
    """What the verdict rests on; see the module. `letters` is the length of the text."""

    llr: float
    words: float
    worst: float
    margin: float
    silence: float
    letters: int
    alike_margin: float | None = None

    @property
    def features(self) -> tuple[float, ...]:
        """What `fit` weighs; of each figure only the part of its range where it says something."""
        return (1.0, max(self.llr, -3.0), max(self.words / math.sqrt(self.letters), -4.0),
                math.log1p(min(max(self.margin, 0.0), 15.0)), min(self.silence, 3.0))

    def accepted(self, limits: Limits) -> bool:
        return (self.fit(limits) >= limits.fit and self.llr >= limits.llr and self.words >= limits.words
                and self.worst >= limits.worst and self.margin >= limits.margin and self.silence >= limits.silence
                and (self.alike_margin is None or self.alike_margin >= limits.alike_margin))
