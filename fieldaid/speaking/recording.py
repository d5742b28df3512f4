"""The folder of spoken replies: a WAV for each line and an index of what was said."""

from __future__ import annotations

import json
import re
import wave
from pathlib import Path

import numpy as np

from fieldaid.errors import SpeakingError

INDEX = "spoken.jsonl"


class Recording:
    """Writes `0001-leave.wav`, … (16-bit mono) and a line for each in `spoken.jsonl`; overwrites nothing.

    Raises
    ------
    SpeakingError : the folder cannot be made or written to
    """

    def __init__(self, folder: Path) -> None:
        self.folder = Path(folder)
        try:
            self.folder.mkdir(parents=True, exist_ok=True)
            with open(self.folder / INDEX, "a", encoding="utf-8"):
                pass
            taken = [re.search(r"(?:^|-)(\d{4,})-[a-z]+\.wav$", file.name) for file in self.folder.iterdir()]
        except OSError as error:
            raise SpeakingError("spoken replies cannot be written", where=str(folder), why=_why(error),
                                next_step="Name a folder that can be written to") from None
        self._number = max((int(match[1]) for match in taken if match), default=0)

    def add(self, kind: str, text: str, spoken: str, samples: np.ndarray, rate: int, stem: str = "") -> Path:
        """Write one line's samples (float32, mono, at `rate` [Hz]); `stem` goes before the number.

        Raises
        ------
        SpeakingError : the file cannot be written; nothing of it is left
        """
        stem = re.sub(r"[^A-Za-z0-9._-]+", "_", Path(stem).stem).strip("._-")
        whole = np.clip(np.round(samples * 32767), -32768, 32767).astype("<i2")
        self._number += 1
        file = self.folder / f"{stem + '-' if stem else ''}{self._number:04d}-{kind}.wav"
        try:
            with open(file, "xb") as raw, wave.open(raw, "wb") as sound:
                sound.setnchannels(1)
                sound.setsampwidth(2)
                sound.setframerate(rate)
                sound.writeframes(whole.tobytes())
            entry = {"file": file.name, "kind": kind, "text": text, "spoken": spoken}
            with open(self.folder / INDEX, "a", encoding="utf-8") as index:
                index.write(json.dumps(entry, ensure_ascii=False) + "\n")
        except FileExistsError:
            raise SpeakingError("a spoken reply was not written", where=str(file), why="the file exists",
                                next_step="Give each run a folder of its own") from None
        except OSError as error:
            file.unlink(missing_ok=True)
            raise SpeakingError("a spoken reply was not written", where=str(file), why=_why(error),
                                next_step="Free some space or name another folder") from None
        return file


def _why(error: OSError) -> str:
    return error.strerror or str(error)
