"""The main job, run once for the person to see: recordings and typed lines in, facts and replies out."""

from __future__ import annotations

import json
import shutil
import tempfile
import textwrap
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from fieldaid.setting_up.environment import AGAIN, Environment
from fieldaid.setting_up.steps import Loss, Outcome, Runner, reason

# An invented house, told the way a crew tells it.
TYPED = (
    "gable, ridge bravo delta, built nineteen fifty eight",
    "top floor fire, charlie. light wind from the west",
    "rafters at the eave",
    "why",
    "soft deck on charlie",
)
SOUNDS = (".wav", ".flac")


def clips(checkout: Path, count: int = 4) -> list[Path]:
    """`count` of the demonstration clips, spread over all of them; always the same ones.

    The long recording of a whole scenario is not one of them: it would take minutes.
    """
    sounds = (path for path in (checkout / "demo_audio").rglob("*") if path.suffix.lower() in SOUNDS)
    found = sorted(path for path in sounds if "scenario" not in path.name)
    if len(found) <= count:
        return found
    return [found[number * len(found) // count] for number in range(count)]


def read_objects(text: str) -> list[dict[str, Any]]:
    """The JSON objects of an answer, one a line; lines that are none are left out."""
    objects = []
    for line in text.splitlines():
        try:
            value = json.loads(line)
        except ValueError:
            continue
        if isinstance(value, dict):
            objects.append(value)
    return objects


def row(answer: dict[str, Any]) -> tuple[str, str, str]:
    """What was heard or typed, the facts in it, and the replies with the access state after it."""
    heard = str(answer.get("heard") or answer.get("line") or "") or "(nothing)"
    if "file" in answer:
        heard = f"{Path(str(answer['file'])).name}: {heard}"
    meant = answer.get("meant") or {}
    waiting = set(answer.get("pending") or ())
    facts = [
        f"{name} = {show(value)}{' (to be confirmed)' if name in waiting else ''}" for name, value in meant.items()
    ]
    replies = [f"{reply.get('kind', '?')}: {reply.get('text', '')}" for reply in answer.get("replies") or ()]
    access = (answer.get("guidance") or {}).get("access")
    return (
        heard,
        "\n".join(facts) or "none",
        "\n".join([*replies, *([f"[access: {access}]"] if access else [])]),
    )


def show(value: Any) -> str:
    """A fact's value as a person reads it."""
    return value if isinstance(value, str) else json.dumps(value, ensure_ascii=False)


def table(heads: tuple[str, ...], rows: Iterable[tuple[str, ...]], width: int) -> list[str]:
    """Rows of wrapped cells under `heads`, the columns sharing `width` characters equally."""
    column = max(16, (width - 3 * (len(heads) - 1)) // len(heads))

    def laid(cells: tuple[str, ...]) -> list[str]:
        wrapped = [
            [piece for line in cell.splitlines() or [""] for piece in textwrap.wrap(line, column) or [""]]
            for cell in cells
        ]
        height = max(map(len, wrapped))
        padded = [lines + [""] * (height - len(lines)) for lines in wrapped]
        return [" | ".join(f"{piece:<{column}}" for piece in line).rstrip() for line in zip(*padded, strict=True)]

    rule = "-+-".join("-" * column for _ in heads)
    return [*laid(heads), rule, *(line for cells in rows for line in [*laid(cells), rule])]


class Demo:
    """Runs `fieldaid hear` and `fieldaid type` of an environment, in a state folder that is thrown away."""

    def __init__(self, runner: Runner, environment: Environment) -> None:
        self._runner, self._environment = runner, environment

    def _answers(self, *words: str, stdin: str = "") -> tuple[list[dict[str, Any]], str]:
        with tempfile.TemporaryDirectory() as home:
            done = self._runner.run(
                [self._environment.python, "-m", "fieldaid", *words],
                stdin=stdin,
                cwd=self._environment.checkout,
                env={"FIELDAID_HOME": home},
                timeout=300,
            )
        # fieldaid says what is wrong first, and hints after it; what pip and gcc say is the other way round.
        said = [line.strip() for line in done.stderr.splitlines() if line.startswith("fieldaid: ")]
        told = "" if done.returncode == 0 else said[0] if said else reason(done)
        return read_objects(done.stdout), told

    def _show(self, answers: list[dict[str, Any]], first: str) -> tuple[str, ...]:
        width = min(shutil.get_terminal_size((110, 24)).columns - 5, 140)
        return tuple(table((first, "facts", "replies"), map(row, answers), width))

    def typed(self) -> Outcome:
        """Lines typed into one session."""
        answers, told = self._answers("type", "--json", stdin="".join(f"{line}\n" for line in TYPED))
        return self._judge(answers, told, len(TYPED), "typed", "typed lines")

    def heard(self) -> Outcome:
        """A few recordings."""
        chosen = clips(self._environment.checkout)
        if not chosen:
            return Outcome(
                "left out",
                "",
                (
                    Loss(
                        "the demonstration recordings",
                        "`hear` was not shown at work",
                        "no demo clips found in demo_audio",
                        "try a recording of your own: fieldaid hear FILE.wav",
                    ),
                ),
            )
        names = [str(path.relative_to(self._environment.checkout)) for path in chosen]
        answers, told = self._answers("hear", *names, "--json")
        return self._judge(answers, told, len(chosen), "heard", "recordings")

    def _judge(self, answers: list[dict[str, Any]], told: str, asked: int, first: str, what: str) -> Outcome:
        """Fine when every line or clip was answered and at least one gave a fact."""
        with_facts = sum(bool(answer.get("meant")) for answer in answers)
        if told or len(answers) < asked or not with_facts:
            why = told or f"{len(answers)} answers to {asked} {what}, {with_facts} of them with a fact"
            return Outcome(
                "FAILED",
                "",
                (
                    Loss(
                        f"the main job on {what}",
                        f"{what} do not become facts",
                        why,
                        f"the losses above may be the cause; else see the log; {AGAIN}",
                    ),
                ),
                self._show(answers, first) if answers else (),
            )
        return Outcome(
            "ok",
            f"{asked} {what}, {with_facts} of {len(answers)} answers hold facts",
            (),
            self._show(answers, first),
        )
