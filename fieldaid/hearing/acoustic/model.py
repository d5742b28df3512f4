"""The acoustic model: sound -> log-probability of each letter every 20 ms. Opened with onnxruntime."""

from __future__ import annotations

from pathlib import Path

import numpy as np

from fieldaid.errors import BrokenData, SoundError
from fieldaid.hearing.acoustic.features import HOP, WINDOW, log_mel
from fieldaid.hearing.acoustic.letters import LETTERS

FILE = Path(__file__).parent / "data" / "acoustic.onnx"
FRAME_S = 0.02
LONGEST_S = 12.8
"""The model has no more places."""


class AcousticModel:
    """The model's weights and the session that runs them.

    Parameters
    ----------
    path : the model file
    threads : that compute

    Raises
    ------
    BrokenData : the file is missing or is not such a model
    ImportError : onnxruntime is not installed
    """

    def __init__(self, path: Path = FILE, threads: int = 1) -> None:
        import onnxruntime

        options = onnxruntime.SessionOptions()
        options.intra_op_num_threads = threads
        options.inter_op_num_threads = 1
        options.log_severity_level = 4
        try:
            self._session = onnxruntime.InferenceSession(path.read_bytes(), options,
                                                         providers=["CPUExecutionProvider"])
            found = self._run(np.zeros((80, 20), np.float32))
        except Exception as exc:  # onnxruntime has no common class for its errors
            raise BrokenData("the acoustic model cannot be loaded", where=str(path), why=str(exc).splitlines()[0],
                             next_step="install fieldaid again, or choose another recogniser") from None
        if found.shape != (10, 1 + len(LETTERS)):
            raise BrokenData("the acoustic model does not fit this version of fieldaid", where=str(path),
                             why=f"20 frames give {found.shape}", next_step="install fieldaid again")

    def log_probs(self, samples: np.ndarray) -> np.ndarray:
        """(frames of 20 ms, 1 + letters) float32 of samples at 16 kHz; at least 0.05 s, at most LONGEST_S.

        Raises
        ------
        ValueError : too short or too long
        SoundError : the model broke
        """
        if not 2 * WINDOW <= len(samples) <= LONGEST_S * 100 * HOP:
            raise ValueError(f"{len(samples)} samples; the model takes 0.05 to {LONGEST_S} s")
        try:
            return self._run(log_mel(samples))
        except Exception as exc:
            raise SoundError("the acoustic model broke", why=str(exc).splitlines()[0],
                             next_step="say it again, or type it") from None

    def _run(self, mel: np.ndarray) -> np.ndarray:
        return self._session.run(None, {"mel": mel[None]})[0][0]
