"""Whether the likeliest meaning is accepted, from figures of how well it fits.

    llr            log-probability of the meaning less that of unrestricted text [nat]; near or above 0 when it fits
    pmi            log-probability of its likeliest row less that on noise alone [nat]; high when the sound says it
    margin         lead over the next meaning, priors counted [nat]
    worst          how far the token that fits worst lies behind the likeliest one at its place [nat, 0 at best]
    last           the same of the end of the text: low when the sound goes on
    alike_margin   the lead over the likeliest text that sounds alike ("-teen" for "-ty"); absent when there is none
    words          the same by the acoustic model, less the likeliest row of any English words, over the root of the
                   letters [nat, 0 at best]; absent without that model (see two_models.py)
    rate           letters of the text for each second of speech: low when the text leaves speech out
    fit            llr, margin and worst weighed together, as they told right from wrong in the calibration

No single one is enough: on noise the model invents unlikely text, so that the llr of a phrase can be good; an unlikely
word gives pmi even when it was not said; and what has no rival leads by much. So each has a limit of its own, and `fit`
another. `fit` is the log-odds of being right on synthetic voices; on a roof it is a measure and no probability.
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
    fit, llr, pmi, margin, worst, last, alike_margin, rate, words : least figures
    prior_weight : how much the priors count when meanings are ranked
    refused : taken off a meaning of which the parser leaves out a part [nat]
    base, by_llr, by_margin, by_worst : weights of `fit`; of the margin counts log(1 + m)
    """

    whose: ClassVar[str] = "phrase"

    fit: float = 2.0
    llr: float = -12.0
    pmi: float = 8.0
    margin: float = 1.0
    worst: float = -8.0
    last: float = -0.7
    alike_margin: float = 4.0
    rate: float = 5.0
    prior_weight: float = 0.3
    refused: float = 3.0
    words: float = -99.0
    base: float = 0.9
    by_llr: float = 0.03
    by_margin: float = 1.5
    by_worst: float = 0.5

    @property
    def weights(self) -> tuple[float, ...]:
        """In the order of `Figures.features`."""
        return (self.base, self.by_llr, self.by_margin, self.by_worst)


@dataclass(frozen=True)
class Figures(WeighedFigures):
    """What the verdict rests on; see the module. `tokens` is the length of the row; what was not measured is None."""

    llr: float
    pmi: float
    margin: float
    worst: float
    last: float
    tokens: int
    alike_margin: float | None = None
    rate: float | None = None
    words: float | None = None

    @property
    def features(self) -> tuple[float, ...]:
        """What `fit` weighs."""
        lead = math.log1p(min(max(self.margin, 0.0), 15.0))
        return (1.0, self.llr, lead, self.worst)

    def accepted(self, limits: Limits) -> bool:
        return (self.fit(limits) >= limits.fit and self.llr >= limits.llr and self.pmi >= limits.pmi
                and self.margin >= limits.margin and self.worst >= limits.worst
                and self.last >= limits.last
                and (self.alike_margin is None or self.alike_margin >= limits.alike_margin)
                and (self.rate is None or self.rate >= limits.rate)
                and (self.words is None or self.words >= limits.words))
