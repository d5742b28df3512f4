"""The vocabulary of facts and the immutable picture of what was told.

`vocabulary` names every fact, its values, unit and marks; `values` checks and normalises a told value;
`picture` folds tellings (told, corrected, withdrawn, cannot tell) into what is known now.
"""

from fieldaid.facts.picture import CANNOT_TELL, Known, Picture, Telling
from fieldaid.facts.situation import Situation
from fieldaid.facts.values import check_value, same_value
from fieldaid.facts.vocabulary import FACTS, SECTIONS, Fact, fact, split_section

__all__ = [
    "CANNOT_TELL",
    "FACTS",
    "Fact",
    "Known",
    "Picture",
    "SECTIONS",
    "Situation",
    "Telling",
    "check_value",
    "fact",
    "same_value",
    "split_section",
]
