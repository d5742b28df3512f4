"""Whether the likeliest meaning is accepted, from figures of how well it fits.

    llr            log-probability of the meaning less that of unrestricted text [nat]; near or above 0 when it fits
    pmi            log-probability of its likeliest row less that on noise alone [nat]; high when the sound says it
    margin         lead over the next meaning, priors counted [nat]
    worst          how far the token that fits worst lies behind the likeliest one at its place [nat, 0 at best]
    last           the same of the end of the text: low when the sound goes on
    number_margin  the margin over the meaning that differs only by "-teen" for "-ty"; absent when there is none

None of them is a probability, and no single one is enough: on noise the model invents unlikely text, so that the llr of
a phrase can be good; an unlikely word gives pmi even when it was not said; and what has no rival leads by much.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, fields

from fieldaid.errors import BrokenData


@dataclass(frozen=True)
class Limits:
    """The least figures that are accepted; see the module. `llr_a_token` is added for each token of the row: long
    texts fall further behind. When meanings are ranked, `prior_weight` counts their priors, and `refused` is taken off
    one of which the parser leaves out a part [nat]."""

    llr: float = -3.0
    llr_a_token: float = -0.3
    pmi: float = 12.0
    margin: float = 2.0
    worst: float = -8.0
    last: float = -3.0
    number_margin: float = 4.0
    prior_weight: float = 0.3
    refused: float = 3.0

    @classmethod
    def of(cls, stored: dict[str, float]) -> Limits:
        """From stored figures.

        Raises
        ------
        BrokenData : a figure is missing, unknown or not a number
        """
        names = {one.name for one in fields(cls)}
        if set(stored) != names or not all(isinstance(value, (int, float)) for value in stored.values()):
            raise BrokenData("the limits of the phrase recogniser cannot be used",
                             why=f"they must be numbers for {', '.join(sorted(names))}",
                             next_step="install fieldaid again")
        return cls(**stored)

    def stored(self) -> dict[str, float]:
        return asdict(self)


@dataclass(frozen=True)
class Figures:
    """What the verdict rests on; see the module."""

    llr: float
    pmi: float
    margin: float
    worst: float
    last: float
    tokens: int
    number_margin: float | None = None

    def accepted(self, limits: Limits) -> bool:
        return (self.llr >= limits.llr + limits.llr_a_token * self.tokens and self.pmi >= limits.pmi
                and self.margin >= limits.margin and self.worst >= limits.worst and self.last >= limits.last
                and (self.number_margin is None or self.number_margin >= limits.number_margin))
