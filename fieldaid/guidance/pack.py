"""A rule pack as data, and the one call that loads it.

A pack is a folder: `pack.yaml`, `sources.yaml`, `parameters.yaml`, `derived.yaml`, `invariants.yaml` and
`rules/*.yaml`. An overlay is a folder of the same kind that changes another pack: see `overlay`.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal

from fieldaid.facts.vocabulary import Fact
from fieldaid.guidance.conditions import All, Conclude, Condition
from fieldaid.guidance.outcome import WhenSaid

Stratum = Literal["derive", "hazards", "access", "gate", "placement", "advice"]
Status = Literal["draft", "trial", "stable", "retired"]
STRATA: tuple[Stratum, ...] = ("derive", "hazards", "access", "gate", "placement", "advice")
STATUSES: tuple[Status, ...] = ("draft", "trial", "stable", "retired")
# Strictest first.
ACCESS = ("leave now", "come down", "stay off", "aerial only", "ladder tip only", "no bar reported")
NO_GO = ACCESS[:3]
GATE = ("no opening", "other means", "inspection only", "hold", "no hold reported", "made")
REASONS = ("hazard", "ordered", "not told", "done")
OPENINGS = ("rectangle", "louvred panels", "triangle", "trapezoid", "inspection", "existing opening")
# What may stand in place of a list of sources.
COMMON_PRACTICE, FROM_MEMORY = "common practice, no source", "from memory"


@dataclass(frozen=True, slots=True)
class Source:
    """One row of the source list. certainty: A (primary), B (reported), C (from memory or weak)."""

    id: str
    title: str
    year: int | None
    kind: str
    certainty: str
    fact: str
    found: str


@dataclass(frozen=True, slots=True)
class Parameter:
    """A named threshold. `value` is what counts: the default, or what an overlay put within low to high."""

    id: str
    about: str
    unit: str
    value: float
    low: float
    high: float
    source: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Derived:
    """A name that derive rules conclude. Several values may stand at once."""

    id: str
    values: tuple[str, ...]
    about: str


@dataclass(frozen=True, slots=True)
class Invariant:
    """A safety invariant and where it is enforced: rule ids, or dialogue, loader, placement."""

    number: int
    text: str
    enforced: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Example:
    """A situation of a rule: told facts by name, how each is known, and computed facts given outright."""

    facts: Mapping[str, Any]
    basis: Mapping[str, str] = field(default_factory=dict)
    computed: Mapping[str, Any] = field(default_factory=dict)
    line: int = 0
    column: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Rule:
    """One rule. `order` is its place in the pack. Draft and retired rules are checked and take no part."""

    id: str
    title: str
    status: Status
    stratum: Stratum
    when: All
    unless: All | None
    conclude: Conclude
    say: str
    why: str
    source: tuple[str, ...]
    may_be_wrong: str
    fires: tuple[Example, ...]
    silent: tuple[Example, ...]
    protected: bool = False
    invariants: tuple[int, ...] = ()
    order: int = 0
    file: str = ""
    line: int = 0
    column: int = 0
    retired_because: str = ""
    said: WhenSaid = "at once"
    """When its line is heard. What waits is heard in the answer to "status" too."""

    @property
    def live(self) -> bool:
        return self.status in ("trial", "stable")

    @property
    def conditions(self) -> tuple[Condition, ...]:
        """Every condition, of `when` and then of `unless`, in the order written."""
        return (*self.when.conditions(), *(self.unless.conditions() if self.unless else ()))


@dataclass(frozen=True)
class Pack:
    """A checked rule pack. `digest` changes with anything that could change an evaluation."""

    name: str
    version: str
    status: str
    language: str
    about: str
    folder: Path
    rules: tuple[Rule, ...]
    sources: Mapping[str, Source]
    parameters: Mapping[str, Parameter]
    derived: Mapping[str, Derived]
    invariants: tuple[Invariant, ...]
    computed: Mapping[str, Fact]
    overlays: tuple[str, ...] = ()
    digest: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "_by_id", {rule.id: rule for rule in self.rules})

    def rule(self, rule_id: str) -> Rule:
        """The rule with this id. Raises KeyError."""
        return self._by_id[rule_id]  # type: ignore[attr-defined]

    def __contains__(self, rule_id: str) -> bool:
        return rule_id in self._by_id  # type: ignore[attr-defined]

    @property
    def live_rules(self) -> tuple[Rule, ...]:
        return tuple(rule for rule in self.rules if rule.live)

    def parameter_values(self) -> dict[str, float]:
        """Every parameter's value by id."""
        return {one.id: one.value for one in self.parameters.values()}


def load_pack(folder: Path, overlays: Sequence[Path] = (), *, computed: Mapping[str, Fact] | None = None) -> Pack:
    """The checked pack in `folder`, changed by each overlay in turn.

    Parameters
    ----------
    computed : the computed facts that rules may use; those of the workings when not given

    Raises
    ------
    BrokenData : anything is wrong; `findings` lists all of it, each with file, line, column and a hint
    WrongUse : a folder does not exist, or one is laid over itself
    """
    from fieldaid.guidance.loader import load

    return load(Path(folder), [Path(one) for one in overlays], _workings() if computed is None else computed)


def _workings() -> Mapping[str, Fact]:
    from fieldaid.workings.computed import COMPUTED

    return COMPUTED
