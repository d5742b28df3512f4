"""What a working gave, for people and scripts: inputs, results, units, sources, limits, and what it leaves open."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass, field
from typing import Any, Literal, TextIO

from fieldaid.workings.quantity import UNITS, feet_and_inches

Use = Literal["may advise", "teaching only"]
TEACHING = "Teaching only: it enters no advice."

# Unit shown to people -> (what one of it is in SI, metric unit shown beside it, what one of that is in SI).
_SHOWN: dict[str, tuple[float, str, float]] = {
    "ft": (UNITS["length"]["ft"], "m", 1.0), "in": (UNITS["length"]["in"], "mm", 1e-3),
    "ft2": (UNITS["area"]["ft2"], "m2", 1.0), "mph": (UNITS["speed"]["mph"], "m/s", 1.0),
    "lb": (UNITS["mass"]["lb"], "kg", 1.0), "ft3": (UNITS["volume"]["ft3"], "L", 1e-3),
    "min": (60.0, "", 1.0), "in 12": (1 / 12, "", 1.0), "kW": (1e3, "", 1.0), "L/min": (1e-3 / 60, "", 1.0),
    "psf": (UNITS["pressure"]["psf"], "Pa", 1.0),
}


@dataclass(frozen=True)
class Value:
    """One number with its name. `amount` is SI and shown in `unit`; None is a value that cannot be given, `words` why.

    `key` is its name for scripts, without the unit; `name` for people. Whole numbers are counts and have no unit. A
    tuple is a range, or a list where `between` says so.
    """

    key: str
    name: str
    amount: float | int | str | tuple[float, ...] | None
    unit: str = ""
    words: str = ""
    between: str = " to "

    @property
    def json_key(self) -> str:
        """The key with the unit: `ridge_length_ft`, `pitch_in_12`."""
        unit = {"%": "percent"}.get(self.unit, self.unit).replace("/", "_per_").replace(" ", "_")
        return f"{self.key}_{unit}" if unit else self.key

    @property
    def shown(self) -> Any:
        """The amount in its unit, as JSON has it."""
        if self.amount is None or isinstance(self.amount, str | int):
            return self.amount
        factor = _SHOWN.get(self.unit, (1.0,))[0]
        if isinstance(self.amount, tuple):
            return [_rounded(one / factor) for one in self.amount]
        return _rounded(self.amount / factor)

    @property
    def text(self) -> str:
        """The amount as people read it, metric beside it."""
        if self.amount is None:
            return self.words or "outside its limits"
        after = f"  ({self.words})" if self.words else ""
        if isinstance(self.amount, str):
            return self.amount + after
        many = self.amount if isinstance(self.amount, tuple) else (self.amount,)
        factor, metric, metric_factor = _SHOWN.get(self.unit, (1.0, "", 1.0))
        if self.unit == "ft":
            plain = self.between.join(feet_and_inches(one) for one in many)
        else:
            plain = self.between.join(f"{one / factor:.4g}" for one in many) + (f" {self.unit}" if self.unit else "")
        if metric:
            plain += f" = {self.between.join(f'{one / metric_factor:.4g}' for one in many)} {metric}"
        return plain + after


def _rounded(number: float) -> float:
    return round(number, 4) + 0.0  # turns -0.0 into 0.0


@dataclass(frozen=True)
class Answer:
    """One working's answer. `tables` are lists of records for scripts; their first line of each is shown to people."""

    topic: str
    inputs: tuple[Value, ...]
    results: tuple[Value, ...]
    sources: tuple[str, ...]
    limits: tuple[str, ...]
    does_not_tell: str
    use: Use = "may advise"
    tables: dict[str, list[dict[str, Any]]] = field(default_factory=dict)

    def record(self) -> dict[str, Any]:
        """The answer as one JSON object. A result that is null is outside its limits; `notes` has the reason."""
        values = [*self.inputs, *self.results]
        return {
            "topic": self.topic, "use": self.use,
            "inputs": {one.json_key: one.shown for one in self.inputs},
            "results": {**{one.json_key: one.shown for one in self.results}, **self.tables},
            "units": {one.json_key: one.unit for one in values if one.unit},
            "notes": {one.json_key: one.words for one in values if one.words},
            "sources": list(self.sources), "limits": list(self.limits), "does_not_tell": self.does_not_tell,
        }

    def print_to(self, out: TextIO) -> None:
        """The answer for people."""
        width = max(len(one.name) for one in [*self.inputs, *self.results])
        for title, values in (("Told", self.inputs), ("Worked out", self.results)):
            print(title, file=out)
            for one in values:
                print(f"  {one.name:<{width}}  {one.text}", file=out)
        for title, rows in self.tables.items():
            _table(title, rows, out)
        for title, lines in (("Source", self.sources), ("Limits", self.limits)):
            for line in lines:
                print(textwrap.fill(f"{title}: {line}", 110, subsequent_indent="  "), file=out)
        print(textwrap.fill(f"What it does not tell: {self.does_not_tell}", 110, subsequent_indent="  "), file=out)
        if self.use == "teaching only":
            print(TEACHING, file=out)


def _table(title: str, rows: list[dict[str, Any]], out: TextIO) -> None:
    """A list of records as columns; records without plain values (coordinates) leave those out."""
    columns = [key for key in rows[0] if not any(isinstance(row.get(key), list | dict) for row in rows)] if rows else []
    if not columns:
        return
    def cell(value: Any) -> str:
        return f"{value:.4g}" if isinstance(value, float) else str(value)

    cells = [[key.replace("_", " ") for key in columns], *([cell(row[key]) for key in columns] for row in rows)]
    widths = [max(len(line[at]) for line in cells) for at in range(len(columns))]
    print(title.replace("_", " ").capitalize(), file=out)
    for line in cells:
        print("  " + "  ".join(f"{cell:<{width}}" for cell, width in zip(line, widths, strict=True)).rstrip(), file=out)
