"""The process that holds pocketsphinx with a word-row model: it keeps the interpreter for itself while it decodes.

Run by its path with the bare interpreter; imports nothing of fieldaid. Its one argument is a pronunciation file of its
own words; the sentences come as the first order. Orders and answers: see child.py.
"""

from __future__ import annotations

import json
import math
import os
import re
import resource
import sys
import tempfile
from collections import Counter
from collections.abc import Iterable
from typing import Any, BinaryIO

DISCOUNT = 0.6
"""Taken off every count, and given to rows that were not seen (absolute discounting, Ney, Essen and Kneser, Computer
Speech and Language 8 (1994) 1-38)."""
ANY_WORD = 0.05
"""Share of the mass of single words that all words get alike."""
DECODER = {"cmn": "batch", "loglevel": "FATAL"}
BEST = 8


def say(answer: dict[str, Any]) -> None:
    """One line to the parent."""
    sys.stdout.write(json.dumps(answer) + "\n")
    sys.stdout.flush()


def arpa(rows: Iterable[list[str]]) -> str:
    """A model of rows of three words, in the ARPA text form."""
    counts: list[Counter[tuple[str, ...]]] = [Counter(), Counter(), Counter()]
    for row in rows:
        words = ["<s>", *row, "</s>"]
        counts[0].update(zip(words, strict=True))
        counts[1].update(zip(words, words[1:], strict=False))
        counts[2].update(zip(words, words[1:], words[2:], strict=False))
    chance: list[dict[tuple[str, ...], float]] = [{}, {}, {}]
    left: list[dict[tuple[str, ...], float]] = [{}, {}, {}]
    total = sum(count for gram, count in counts[0].items() if gram != ("<s>",))
    for gram, count in counts[0].items():
        share = (1 - ANY_WORD) * count / total + ANY_WORD / (len(counts[0]) - 1)
        chance[0][gram] = 0.0 if gram == ("<s>",) else share
    for order in (1, 2):
        seen: Counter[tuple[str, ...]] = Counter()
        kinds: Counter[tuple[str, ...]] = Counter()
        for gram, count in counts[order].items():
            seen[gram[:-1]] += count
            kinds[gram[:-1]] += 1
        left[order - 1] = {before: DISCOUNT * kinds[before] / seen[before] for before in seen}
        chance[order] = {
            gram: (count - DISCOUNT) / seen[gram[:-1]] + left[order - 1][gram[:-1]] * chance[order - 1][gram[1:]]
            for gram, count in counts[order].items()}
    lines = ["\\data\\", *(f"ngram {order + 1}={len(chance[order])}" for order in range(3))]
    for order in range(3):
        lines += ["", f"\\{order + 1}-grams:"]
        for gram, share in sorted(chance[order].items()):
            back = f" {math.log10(left[order].get(gram, 1.0)):.4f}" if order < 2 else ""
            lines.append(f"{math.log10(share) if share > 0 else -99:.4f} {' '.join(gram)}{back}")
    return "\n".join([*lines, "", "\\end\\", ""])


def decoder_of(dictionary: str, rows: list[list[str]]) -> Any:
    """pocketsphinx with a model of these rows."""
    import pocketsphinx

    handle, name = tempfile.mkstemp(suffix=".lm")
    try:
        with os.fdopen(handle, "w", encoding="utf-8") as file:
            file.write(arpa(rows))
        return pocketsphinx.Decoder(lm=name, dict=dictionary, **DECODER)
    finally:
        os.unlink(name)


def hear(decoder: Any, sound: bytes) -> list[dict[str, Any]]:
    """The likeliest texts of one utterance, best first, each with its score less the best one's."""
    # Without this the noise that one utterance left behind is taken off the next one.
    decoder.reinit_feat()
    decoder.start_utt()
    try:
        decoder.process_raw(sound, False, True)
    finally:
        decoder.end_utt()
    best = decoder.hyp()
    if not best:
        return []
    found = {plain(best.hypstr): 0}
    for one, _ in zip(decoder.nbest(), range(4 * BEST), strict=False):
        if one is not None and one.hypstr:
            found.setdefault(plain(one.hypstr), one.score - best.score)
    return [{"text": text, "behind": behind} for text, behind in found.items() if text][:BEST]


def plain(text: str) -> str:
    """The words without the marks of pronunciations and silences."""
    return " ".join(word for word in re.sub(r"\(\d+\)", "", text).split() if word[0] not in "<[+")


def main(dictionary: str, orders: BinaryIO) -> None:
    decoder = None
    for line in iter(orders.readline, b""):
        order = json.loads(line)
        try:
            if "rows" in order:
                decoder = decoder_of(dictionary, [row.split() for row in order["rows"]])
                say({"memory_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)})
            else:
                say({"heard": hear(decoder, orders.read(order["hear"]))})
        except Exception as error:
            say({"failed": str(error) or type(error).__name__})


if __name__ == "__main__":
    main(sys.argv[1], sys.stdin.buffer)
