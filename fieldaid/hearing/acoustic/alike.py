"""Texts that differ from a text in words that sound nearly the same: "fifty" for "fifteen", "charge" for "charged".

The search may have given such a rival up, or the grammar may not have it; so each is scored apart.
"""

from __future__ import annotations

import re

_PAIRS = """thirteen thirty|fourteen forty|fifteen fifty|sixteen sixty|seventeen seventy|eighteen eighty|
nineteen ninety|charged charge|turned turn|opened open|closed close|no now|no good|gable gambrel|attached detached|
vented unvented|west east|is isn't|are aren't|can can't|was wasn't|has hasn't""".replace("\n", "")
"""Either can be said for the other. Common practice, no source: endings that noise takes, negations, opposites."""


def _both_ways() -> dict[str, list[str]]:
    found: dict[str, list[str]] = {}
    for pair in _PAIRS.split("|"):
        one, other = pair.split()
        found.setdefault(one, []).append(other)
        found.setdefault(other, []).append(one)
    return found


OTHERS = _both_ways()


def swaps(text: str) -> list[str]:
    """`text` with another word in one of its places, for each place and word that there is."""
    found = []
    for match in re.finditer(r"[a-z']+", text):
        found += [f"{text[:match.start()]}{other}{text[match.end():]}" for other in OTHERS.get(match[0], ())]
    return found
