"""pocketsphinx with a word-row model of the grammar: likely words in a likely order, not bound to a sentence.

The strict decoder (sphinx.py) answers with some sentence of the grammar whatever was said, needs 4 s and 400 MB for the
whole grammar, and a second of computing for a long line. This one learns rows of three words from sentences drawn from
the grammar, takes a fraction of that, and is free to say what is no sentence: which makes its agreement with another
recogniser worth more. By itself it accepts nothing: it is a second opinion.
"""

from __future__ import annotations

import contextlib
import os
import random
import tempfile
import threading
from pathlib import Path
from typing import TYPE_CHECKING, Any

from fieldaid import data
from fieldaid.clock import Stopwatch
from fieldaid.errors import SoundError, WrongUse
from fieldaid.grammar.sampling import Draw
from fieldaid.hearing import denoise
from fieldaid.hearing.child import Child, Restarts
from fieldaid.hearing.gate import Segment
from fieldaid.hearing.heard import Heard
from fieldaid.hearing.pronunciations import dictionary, load
from fieldaid.hearing.sound import RATE
from fieldaid.hearing.sphinx import SHORTEST_S, as_int16

if TYPE_CHECKING:
    from fieldaid.grammar import Grammar

CHILD = Path(__file__).with_name("sphinx_child.py")
SENTENCES, SEED = 12_000, 1
LOAD_S, HEAR_S = 120.0, 60.0


class SphinxWords:
    """Hears words; `text` is the likeliest row, `alternatives` the next ones with their lag in the decoder's units.

    Loading goes on in its own process until the first `hear`.

    Parameters
    ----------
    grammar : whose words and rows are learnt; required
    pronunciations : file of pronunciations; None takes `pronunciations.tsv` of the grammars folder

    Raises
    ------
    WrongUse : there is no grammar
    ImportError : pocketsphinx is not installed
    """

    name = "sphinx words"

    def __init__(self, grammar: Grammar | None = None, pronunciations: str | os.PathLike[str] | None = None,
                 **_: Any) -> None:
        import pocketsphinx  # noqa: F401  here, so that a missing package is noticed before a process is started

        if grammar is None:
            raise WrongUse("the recogniser sphinx words needs the grammar itself", why="none was given",
                           next_step="pass grammar=load_grammar()")
        path = Path(pronunciations) if pronunciations is not None else data.folder("grammars") / "pronunciations.tsv"
        rows = [row.split() for row in rows_of(grammar)]
        self._lines, missing = dictionary({word for row in rows for word in row}, load(path))
        self._rows = [" ".join(row) for row in rows if not set(missing).intersection(row)]
        self.notices: tuple[str, ...] = ()
        self._child: Child | None = None
        self._restarts = Restarts("the second recogniser", "pocketsphinx", "look at fieldaid doctor")
        self._lock = threading.RLock()
        self.memory_mb = 0.0
        self._start()

    def hear(self, segment: Segment, awaiting: str | None = None) -> Heard:
        """The words of one segment; `awaiting` changes nothing.

        Raises
        ------
        SoundError : the process broke off; the next segment gets a new one
        GoneError : it broke off too often, and is not started again
        """
        watch = Stopwatch()
        at = {"recogniser": self.name, "start_s": segment.start_s, "end_s": segment.end_s}
        if len(segment.samples) < 2 * SHORTEST_S * RATE:
            return Heard("", ms={"decode": watch.ms()}, **at)
        found = self._ask(as_int16(denoise.clean(segment.samples)))
        text = found[0]["text"] if found else ""
        return Heard(text, alternatives=tuple((one["text"], float(one["behind"])) for one in found[1:]),
                     ms={"decode": watch.ms()}, **at)

    def wait_ready(self) -> None:
        """Until the process has loaded. Raises SoundError when it cannot."""
        with self._lock:
            self._ready()

    def close(self) -> None:
        """End the process."""
        self._restarts.end()
        self._drop()

    def _ask(self, sound: bytes) -> list[dict[str, Any]]:
        with self._lock:
            try:
                found = self._ready().answer({"hear": len(sound)}, HEAR_S, sound)["heard"]
            except SoundError as error:
                self._drop()
                raise self._restarts.broke_off(error) from None
            self._restarts.worked()
            return found

    def _drop(self) -> None:
        if self._child is not None:
            self._child.close()
            self._child = None

    def _start(self) -> None:
        handle, name = tempfile.mkstemp(suffix=".dict")
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write("\n".join(self._lines) + "\n")
        self._dictionary = Path(name)
        self._child = Child(CHILD, [name], "the second recogniser", "pocketsphinx", "say it again; if it stays so, "
                            "look at fieldaid doctor")
        self._loaded = False
        threading.Thread(target=self._load, daemon=True).start()

    def _load(self) -> None:
        """Load while the caller does something else; what goes wrong is told at the first `hear`."""
        with self._lock, contextlib.suppress(SoundError):
            self._ready()

    def _ready(self) -> Child:
        if self._child is None:
            self._restarts.check()
            self._start()
        assert self._child is not None
        if not self._loaded:
            try:
                self.memory_mb = float(self._child.answer({"rows": self._rows}, LOAD_S)["memory_mb"])
            finally:
                self._dictionary.unlink(missing_ok=True)
            self._loaded = True
        return self._child


def rows_of(grammar: Grammar, sentences: int = SENTENCES, seed: int = SEED) -> list[str]:
    """Lines that somebody might say: up to three phrases of any kind, more than half of them after the call sign."""
    rng = random.Random(seed)
    draw = Draw(grammar.loaded, rng)
    trees = [(tree, grammar.loaded.outputs[output]) for tree, output in grammar.loaded.trees]
    found = []
    for number in range(sentences):
        row = ["field aid"] if rng.random() < 0.6 else []
        # Every template is drawn about as often as any other; the first rounds see each of them.
        for more in range(rng.choice((1, 1, 2, 3))):
            tree, output = trees[number % len(trees)] if not more else rng.choice(trees)
            row.append(draw.of(tree, output)[0])
        found.append(" ".join(" ".join(row).replace(",", " ").split()))
    return found
