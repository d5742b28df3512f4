"""Time notices for a crew on the roof, and how fast its air goes. Reminders only.

A notice asks for the roll call and the air at the interval that the department sets; agencies set 10, 15, 20 or 30
minutes [S17, S18], and the pack begins with the shortest. Nothing here reaches guidance: no time allows going up,
staying or coming back, and no notice means less than the last one [invariant 4, T27].
"""

from __future__ import annotations

from fieldaid.facts import Picture, Telling
from fieldaid.session.marks import marks

MINUTE = 60.0
SHORTEST_S = 60.0
"""Two air readings closer together than this say nothing of how fast it goes."""


def up_since(picture: Picture, now: float) -> float | None:
    """When the crew now on the roof went up [s]; None where it is told to be elsewhere or was never told up."""
    where = picture.known(now).get("crew.where")
    if where is None or not where.counts or where.value != "roof":
        return None
    up = [one.at for one in marks(picture) if one.called in ("up", "crew change")]
    return up[-1] if up else where.at


def count_due(picture: Picture, now: float, every_min: float) -> int:
    """How many notices are due by now for the crew on the roof."""
    since = up_since(picture, now)
    return 0 if since is None else max(0, int((now - since) // (every_min * MINUTE)))


def time_notice(picture: Picture, now: float, every_min: float) -> str:
    """The notice that is due: how long the crew is up, and what was not told since the one before."""
    since = up_since(picture, now)
    if since is None or not count_due(picture, now, every_min):
        return ""
    wanted = [word for name, word in (("crew.par", "roll call"), ("crew.air", "air"))
              if _age(picture, name, now) > every_min * MINUTE - 1]
    asks = f" {' and '.join(wanted).capitalize()}?" if wanted else ""
    return f"{int((now - since) // MINUTE)} minutes on the roof.{asks}"


def air_notice(picture: Picture, now: float, low_fraction: float, every_min: float) -> str:
    """A warning where the air, falling as it did between the last two tellings, is low before the next notice.

    The lower of two tellings counts, and a rise says nothing: it never gives time.
    """
    told: list[Telling] = []
    for one in picture.tellings:
        if one.n in picture.cancelled:
            continue
        if one.act in ("expire", "new job"):
            told = []  # another crew's air
        elif _is_share(one):
            told.append(one)
    if len(told) < 2:
        return ""
    first, last = told[-2:]
    passed, used = last.at - first.at, first.value["fraction"] - last.value["fraction"]
    if passed < SHORTEST_S or used <= 0:
        return ""
    left = (last.value["fraction"] - low_fraction) / (used / passed) - (now - last.at)
    if last.value["fraction"] <= low_fraction or left > every_min * MINUTE:
        return ""
    return f"At this rate air is low in {max(0, int(left // MINUTE))} minutes."


class Reminders:
    """Which notices were given; `every_min` and `low_fraction` are the pack's parameters, None without them."""

    def __init__(self, every_min: float | None, low_fraction: float | None) -> None:
        self.every_min, self.low_fraction = every_min, low_fraction
        self._since, self._given, self._air = 0.0, 0, 0

    def due(self, picture: Picture, now: float) -> list[str]:
        """The notices that are due now and were not given, each once; a longer gap gives one, not several."""
        if self.every_min is None:
            return []
        found = []
        since = up_since(picture, now)
        if since is not None:
            if since != self._since:
                self._since, self._given = since, 0
            count = count_due(picture, now, self.every_min)
            if count > self._given:
                self._given = count
                found.append(time_notice(picture, now, self.every_min))
        last = max((one.n for one in picture.tellings if _is_share(one)), default=0)
        if self.low_fraction is not None and last > self._air:
            warning = air_notice(picture, now, self.low_fraction, self.every_min)
            if warning:
                self._air = last
                found.append(warning)
        return found

    def to_data(self) -> list[float]:
        return [self._since, self._given, self._air]

    def restore(self, data: list[float] | None) -> None:
        """Takes up what `to_data` wrote; an older journal has none."""
        if data:
            self._since, self._given, self._air = float(data[0]), int(data[1]), int(data[2])


def _is_share(one: Telling) -> bool:
    return (one.name == "crew.air" and one.act in ("tell", "correct") and isinstance(one.value, dict)
            and "fraction" in one.value)


def _age(picture: Picture, name: str, now: float) -> float:
    known = picture.known(now).get(name)
    return float("inf") if known is None else now - known.at
