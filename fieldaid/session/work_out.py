"""`fieldaid work-out TOPIC …`: one working from options, for people or as JSON."""

from __future__ import annotations

import argparse
import difflib
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import NoReturn, TextIO

from fieldaid.errors import WrongUse
from fieldaid.session import work_out_outside, work_out_roof, work_out_teaching
from fieldaid.session.work_out_answer import Answer


@dataclass(frozen=True)
class Topic:
    """One topic: what it answers, its options, and the work."""

    name: str
    about: str
    add_options: Callable[[argparse.ArgumentParser], None]
    work: Callable[[argparse.Namespace], Answer]
    teaching: bool = False


TOPICS: dict[str, Topic] = {one.name: one for one in (
    Topic("roof", "faces, areas, ridge, hips, valleys, rafters and heights of a roof",
          work_out_roof.roof_options, work_out_roof.work_roof),
    Topic("opening", "area of an opening and the members under it",
          work_out_roof.opening_options, work_out_roof.work_opening),
    Topic("wind", "force, sides, and whether the wind sucks or presses on each slope",
          work_out_outside.wind_options, work_out_outside.work_wind),
    Topic("ladder", "length, foot and tips of a ladder at an eave",
          work_out_outside.ladder_options, work_out_outside.work_ladder),
    Topic("air", "how long the lowest member's air may last, as a range",
          work_out_outside.air_options, work_out_outside.work_air),
    Topic("smoke", "what the vent equations say, with what was measured beside it",
          work_out_teaching.smoke_options, work_out_teaching.work_smoke, teaching=True),
    Topic("fire", "flashover and air-limited heat of a room with one opening",
          work_out_teaching.fire_options, work_out_teaching.work_fire, teaching=True),
    Topic("timber", "char, deck and strength left in furnace exposure",
          work_out_teaching.timber_options, work_out_teaching.work_timber, teaching=True),
)}


class _Parser(argparse.ArgumentParser):
    """A parser whose complaints are errors of ours, in one sentence."""

    def error(self, message: str) -> NoReturn:
        raise WrongUse(message, where=self.prog, next_step=f"see {self.prog} --help")


def run(topic: str | None, words: Sequence[str], out: TextIO) -> int:
    """Works one topic out and prints it; without a topic lists them. Returns the exit code.

    Raises
    ------
    WrongUse : an unknown topic, an option that cannot be read, or measures outside the limits
    """
    if topic is None:
        for one in TOPICS.values():
            print(f"{one.name:<8}  {one.about}{' (teaching only)' if one.teaching else ''}", file=out)
        print("Options of a topic: fieldaid work-out TOPIC --help", file=out)
        return 0
    if topic not in TOPICS:
        near = difflib.get_close_matches(topic, TOPICS, n=1)
        raise WrongUse(f"no topic is called {topic!r}", where="work-out",
                       next_step=f"did you mean {near[0]}?" if near else f"use {', '.join(TOPICS)}")
    chosen = TOPICS[topic]
    parser = _Parser(prog=f"fieldaid work-out {topic}", description=chosen.about + ".", allow_abbrev=False,
                     epilog="Quantities: 40ft, 40' 6\", 12.2m, 24in, 6/12, 26.6deg, 20mph, 9m/s.")
    chosen.add_options(parser)
    parser.add_argument("--json", action="store_true", help="one JSON object")
    answer = chosen.work(told := parser.parse_args(words))
    if told.json:
        print(json.dumps(answer.record(), ensure_ascii=False), file=out)
    else:
        answer.print_to(out)
    return 0
