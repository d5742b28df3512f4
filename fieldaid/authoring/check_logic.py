"""Exact reasoning about a pack: what can and cannot hold together.

Every "cannot hold" is true of all situations, because the program (`check_program`) leaves computed facts freer than
they are; a "can hold" has to be shown by a situation before anybody is told of it (`check_situations`).
Solver: clingo (University of Potsdam, MIT licence), https://potassco.org/clingo.
"""

from __future__ import annotations

import functools
import itertools
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any, TypeVar

from fieldaid.errors import FieldaidError

try:
    import clingo
except ImportError as error:
    raise FieldaidError("a pack cannot be checked: clingo is not installed", why="it proves which rules can fire",
                        next_step="python3 -m pip install clingo") from error

from fieldaid.authoring.check_program import Part, Program
from fieldaid.facts.vocabulary import BASES
from fieldaid.guidance.outcome import Outcome
from fieldaid.guidance.pack import Pack, Rule

T = TypeVar("T")


@dataclass(frozen=True)
class Found:
    """An assignment that the solver found: told and computed values by name, and how told ones are known."""

    values: dict[str, Any]
    basis: dict[str, str]


class Logic(Program):
    """The pack's program, grounded once and asked many times. Not safe for several threads at once."""

    def __init__(self, pack: Pack) -> None:
        super().__init__(pack)
        self.control = clingo.Control(["--warn=none"])
        self.control.add("base", [], "\n".join(self.lines))
        self.control.ground([("base", [])])
        self._literals: dict[str, list[int]] = {}
        self._seen: set[str] = set()

    def ask(self, true: Iterable[str] = (), false: Iterable[str] = ()) -> Found | None:
        """A situation in which the atoms are true or false; None: there is none."""
        return self._solve(true, false, self._situation)

    def possible(self, true: Sequence[str] = (), false: Sequence[str] = ()) -> bool:
        """Whether some assignment of cells makes the atoms true and false."""
        if len(true) == 1 and not false:
            return self._possible_alone(true[0])
        return bool(self._solve(true, false, lambda model: True))

    def take_for_possible(self, outcome: Outcome) -> None:
        """Notes what an outcome shows to be possible. It must be that of a situation whose computed facts the workings
        gave: only then does the program allow it too, and need not be asked."""
        shown = [self.fires(self.pack.rule(one.rule)) for one in outcome.firings]
        shown += [self.decides(self.pack.rule(one)) for one in (*outcome.access_rules, *outcome.gate_rules)]
        self._seen.update(shown)

    def _possible_alone(self, text: str) -> bool:
        """Whether one atom can hold; what else held in the solver's answer need not be asked again."""
        if text in self._seen:
            return True
        met = self._solve([text], (), lambda model: {one for one, literal in self._tracked
                                                     if one not in self._seen and model.is_true(literal)})
        if met is None:
            return False
        self._seen |= met | {text}
        return True

    @functools.cached_property
    def _tracked(self) -> list[tuple[str, int]]:
        atoms = [what(rule) for rule in self.rules for what in (self.fires, self.decides)]
        return [(text, literal) for text in atoms for literal in self._literal(text)]

    def true_atoms(self, true: Iterable[str], false: Iterable[str] = ()) -> set[str] | None:
        """All that holds in a situation in which the atoms are true and false; None: there is none."""
        return self._solve(true, false, lambda model: {str(one) for one in model.symbols(atoms=True)})

    def _solve(self, true: Iterable[str], false: Iterable[str], read: Callable[[clingo.Model], T]) -> T | None:
        wanted = [self._literal(text) for text in true]
        if not all(wanted):
            return None
        assumed = [one for literals in wanted for one in literals]
        assumed += [-one for text in false for one in self._literal(text)]
        with self.control.solve(assumptions=assumed, yield_=True) as handle:
            model = handle.model()
            return None if model is None else read(model)

    def _literal(self, text: str) -> list[int]:
        """The solver's number of an atom; nothing when no situation makes it true."""
        if text not in self._literals:
            atom = self.control.symbolic_atoms[clingo.parse_term(text)]
            self._literals[text] = [] if atom is None else [atom.literal]
        return self._literals[text]

    def fires(self, rule: Rule) -> str:
        """That the rule fires."""
        return f"fires({self.number(rule)})"

    def decides(self, rule: Rule) -> str:
        """That the rule concludes the access or gate that counts."""
        return f"decides({self.number(rule)})"

    def smallest_conflict(self, rule: Rule) -> list[Part] | None:
        """The fewest parts of a rule that cannot hold at once; None when all of them can."""
        parts = self.parts[rule.id]
        if self.possible([self.fires(rule)]):
            return None
        number = self.number(rule)
        for size in range(1, len(parts) + 1):
            for chosen in itertools.combinations(range(len(parts)), size):
                if not self.possible([f"part({number},{one})" for one in chosen]):
                    return [parts[one] for one in chosen]
        return parts

    def smallest_cover(self, true: Sequence[str], others: Sequence[Rule], most: int = 3) -> list[Rule] | None:
        """The fewest of `others` of which one fires whenever the atoms hold; None when none or too many are needed."""
        for size in range(1, min(most, len(others)) + 1):
            for chosen in itertools.combinations(others, size):
                if not self.possible(true, [self.fires(one) for one in chosen]):
                    return list(chosen)
        return None

    def _situation(self, model: clingo.Model) -> Found:
        names = {number: name for name, number in self.facts.items()}
        found: dict[str, Any] = {}
        basis: dict[str, str] = {}
        for symbol in model.symbols(atoms=True):
            if symbol.name == "v":
                name, cell = names[symbol.arguments[0].number], symbol.arguments[1].number
                if cell >= 0:
                    found[name] = self.cells[name][cell]
            elif symbol.name == "b":
                basis[names[symbol.arguments[0].number]] = BASES[symbol.arguments[1].number]
        places: dict[str, list[str]] = {}
        for symbol in model.symbols(atoms=True):
            if symbol.name == "has":
                name = names[symbol.arguments[0].number]
                places.setdefault(name, []).append(self.places(name)[symbol.arguments[1].number])
        values: dict[str, Any] = {name: cell.sample() for name, cell in found.items()}
        for name, listed in places.items():
            values[name] = listed
        return Found(values, {name: how for name, how in basis.items() if name in values})
