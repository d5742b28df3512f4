"""Sound files to mono 16 kHz samples, a block at a time, with one clear error for everything that is not usable.

A file is read twice: once to survey it (does it decode to the end, which channel carries the voice, is it silent,
clipped or broken), once to hand out blocks. Memory stays the same whatever the length.
"""

from __future__ import annotations

import contextlib
import os
import stat
import struct
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, BinaryIO

import numpy as np

from fieldaid.errors import SoundError

if TYPE_CHECKING:
    import soundfile

RATE = 16_000
"""Samples a second [Hz] of everything behind this module."""
BLOCK_S = 10.0
LONGEST_S = 4 * 3600.0
RATES = (4_000, 768_000)
MOST_CHANNELS = 64
SILENT_BELOW = 10 ** (-70 / 20)
CLIPPED_FROM = 0.999
CLIPPED_SHARE = 0.001
CANCELLED_BELOW = 0.1
"""When the mean of the channels has less than this share of the loudest channel's power, they cancel each other."""

FORMATS = "WAV or FLAC"


@dataclass(frozen=True)
class Sound:
    """Mono samples in memory.

    Attributes
    ----------
    samples : float32, shape (n,), in [-1, 1]
    rate : samples a second [Hz]
    name : what a person calls it; a file's name
    notes : what was odd about it and what was done
    """

    samples: np.ndarray
    rate: int = RATE
    name: str = "sound"
    notes: tuple[str, ...] = ()

    @property
    def seconds(self) -> float:
        return len(self.samples) / self.rate

    def blocks(self) -> Iterator[np.ndarray]:
        """The samples in blocks of BLOCK_S, as `Recording.blocks` gives them."""
        step = int(BLOCK_S * self.rate)
        for start in range(0, len(self.samples), step):
            yield self.samples[start : start + step]


@dataclass
class _Survey:
    """What the first pass over a file found. Power sums are over the whole file, one per channel."""

    frames: int = 0
    power: np.ndarray = field(default_factory=lambda: np.zeros(1))
    mean_power: float = 0.0
    peak: float = 0.0
    clipped: int = 0
    not_numbers: int = 0
    broke: str = ""


class Recording:
    """One sound file, opened and surveyed; `blocks` reads it without holding it in memory.

    Parameters
    ----------
    path : WAV (any PCM width, float, any rate, any channels), FLAC, or whatever else libsndfile decodes

    Attributes
    ----------
    name : the file's name
    seconds : its length [s]
    notes : what was odd and what was done about it: clipping, silence, an early end, numbers that are not numbers

    Raises
    ------
    SoundError : the file is missing, a folder, not allowed, empty, not sound, without channels, at an absurd rate,
        longer than LONGEST_S, or broken from its first block on
    """

    def __init__(self, path: str | os.PathLike[str]) -> None:
        self.path = Path(path)
        self.name = self.path.name
        with _opened(self.path) as (raw, file):
            self.source_rate, self.channels = file.samplerate, file.channels
            self._check_header(file.frames)
            survey = _survey(file)
            promised = _promised_frames(raw, file)
        self.seconds = survey.frames / self.source_rate
        if not survey.frames:
            raise _error(
                self.path,
                "holds no sound that can be read",
                survey.broke or "it has a header and no samples",
                "record it again, or copy it again from where it came",
            )
        if survey.not_numbers >= survey.frames * self.channels:
            raise _error(
                self.path,
                "holds no sound that can be read",
                "none of its samples is a number",
                f"write it again as 16-bit {FORMATS}",
            )
        self._gain = 1.0 / survey.peak if survey.peak > 1.0 else 1.0
        self._take = _channel(survey, self.channels)
        self.notes = tuple(_notes(survey, promised, self))

    def _check_header(self, frames: int) -> None:
        low, high = RATES
        if not low <= self.source_rate <= high:
            raise _error(
                self.path,
                "cannot be used at this sample rate",
                f"{self.source_rate} samples a second is outside {low} to {high}",
                "record speech at 16000 samples a second",
            )
        if not 1 <= self.channels <= MOST_CHANNELS:
            raise _error(
                self.path,
                "cannot be used with this number of channels",
                f"it says {self.channels}; 1 to {MOST_CHANNELS} can be read",
                "record one or two channels",
            )
        if frames / self.source_rate > LONGEST_S:
            raise _error(
                self.path,
                "is too long",
                f"it says {frames / self.source_rate / 3600:.1f} hours; "
                f"at most {LONGEST_S / 3600:.0f} are heard in one file",
                "cut it into shorter files",
            )

    def blocks(self) -> Iterator[np.ndarray]:
        """The recording in order: float32, shape (n,), mono, RATE a second, n at most about BLOCK_S * RATE."""
        import soxr

        resampler = None
        if self.source_rate != RATE:
            resampler = soxr.ResampleStream(self.source_rate, RATE, 1, dtype="float32")
        with _opened(self.path) as (_, file):
            for block in _decoded(file, int(BLOCK_S * self.source_rate)):
                mono = self._mono(block)
                yield np.clip(resampler.resample_chunk(mono) if resampler else mono, -1.0, 1.0)
        if resampler:
            rest = resampler.resample_chunk(np.zeros(0, np.float32), last=True)
            if len(rest):
                yield np.clip(rest, -1.0, 1.0)

    def _mono(self, block: np.ndarray) -> np.ndarray:
        block = np.nan_to_num(block, nan=0.0, posinf=0.0, neginf=0.0)
        mono = block.mean(axis=1) if self._take is None else block[:, self._take]
        return np.ascontiguousarray(mono * np.float32(self._gain), dtype=np.float32)

    def read(self) -> Sound:
        """The whole recording in memory: 64 kB a second."""
        parts = list(self.blocks())
        return Sound(np.concatenate(parts) if parts else np.zeros(0, np.float32), RATE, self.name, self.notes)


def read(path: str | os.PathLike[str]) -> Sound:
    """The sound file at `path` as mono float32 at RATE. Long files: `Recording(path).blocks()`.

    Raises
    ------
    SoundError : see `Recording`
    """
    return Recording(path).read()


def _error(path: Path, what: str, why: str, next_step: str) -> SoundError:
    return SoundError(f"this file {what}", where=str(path), why=why, next_step=next_step)


@contextlib.contextmanager
def _opened(path: Path) -> Iterator[tuple[BinaryIO, soundfile.SoundFile]]:
    """The file twice: as bytes, and as sound. Opened by handle, because libsndfile trusts a name's ending."""
    import soundfile

    try:
        mode = path.stat().st_mode
        if stat.S_ISDIR(mode):
            raise _error(path, "is a folder", "a sound file is needed", f"name the {FORMATS} files inside it")
        if not stat.S_ISREG(mode):
            raise _error(
                path, "is not a plain file", "pipes and devices cannot be read twice", "save the sound first"
            )
        raw = path.open("rb")
    except SoundError:
        raise
    except FileNotFoundError:
        raise _error(
            path, "does not exist", "nothing has this name", "check the spelling and the folder"
        ) from None
    except PermissionError:
        raise _error(
            path, "may not be read", "the system refused", "give yourself the right to read it"
        ) from None
    except (OSError, ValueError) as exc:
        raise _error(path, "cannot be opened", str(exc), "copy it again from where it came") from None
    with raw:
        if raw.read(1) == b"":
            raise _error(path, "is empty", "it holds 0 bytes", "record it again, or copy it again")
        raw.seek(0)
        try:
            file = soundfile.SoundFile(raw)
        except (soundfile.LibsndfileError, RuntimeError, TypeError, ValueError, OSError) as exc:
            raise _error(
                path, "is not sound that can be read", _reason(exc), f"give a {FORMATS} file"
            ) from None
        with file:
            yield raw, file


def _reason(exc: Exception) -> str:
    text = str(getattr(exc, "error_string", "") or exc).strip()
    return f"the decoder says: {text.rstrip('.')}"


def _decoded(file: soundfile.SoundFile, frames: int) -> Iterator[np.ndarray]:
    """Blocks of shape (n, channels), float32, as far as the file decodes."""
    import soundfile

    while True:
        try:
            block = file.read(frames, dtype="float32", always_2d=True)
        except (soundfile.LibsndfileError, RuntimeError, OSError):
            return
        if not len(block):
            return
        yield block


def _survey(file: soundfile.SoundFile) -> _Survey:
    found = _Survey(power=np.zeros(file.channels))
    for block in _decoded(file, int(BLOCK_S * file.samplerate)):
        finite = np.isfinite(block)
        found.not_numbers += int(block.size - finite.sum())
        block = np.where(finite, block, np.float32(0.0))
        size = np.abs(block)
        found.frames += len(block)
        found.peak = max(found.peak, float(size.max()))
        found.clipped += int((size >= CLIPPED_FROM).sum())
        found.power = found.power + np.square(block, dtype=np.float64).sum(axis=0)
        found.mean_power += float(np.square(block.mean(axis=1), dtype=np.float64).sum())
    if found.frames < file.frames:
        found.broke = "it stops being readable part of the way through"
    return found


def _channel(survey: _Survey, channels: int) -> int | None:
    """The one channel to take, or None for the mean of all."""
    loudest = int(survey.power.argmax())
    cancelled = survey.mean_power < CANCELLED_BELOW * survey.power[loudest]
    return loudest if channels == 1 or (channels == 2 and cancelled) else None


def _promised_frames(raw: BinaryIO, file: soundfile.SoundFile) -> int | None:
    """The frames that the header of a WAV file promises; libsndfile itself quietly shortens a cut file.

    Sizes of 0 and of nearly 4 GB are what programs write that record into a pipe, and promise nothing.
    """
    if file.format not in ("WAV", "WAVEX"):
        return file.frames
    raw.seek(12)
    while len(head := raw.read(8)) == 8:
        size = struct.unpack("<I", head[4:])[0]
        if head[:4] == b"data":
            if not 0 < size < 0xFFFF_F000:
                return None
            width = {
                "PCM_U8": 1,
                "PCM_S8": 1,
                "ULAW": 1,
                "ALAW": 1,
                "PCM_16": 2,
                "PCM_24": 3,
                "PCM_32": 4,
                "FLOAT": 4,
                "DOUBLE": 8,
            }.get(file.subtype)
            return size // (width * file.channels) if width else None
        raw.seek(size + (size & 1), os.SEEK_CUR)
    return None


def _notes(survey: _Survey, promised: int | None, recording: Recording) -> Iterator[str]:
    name = recording.name
    if promised is not None and survey.frames < promised:
        yield (
            f"{name}: the file ends early, {survey.frames / recording.source_rate:.1f} of "
            f"{promised / recording.source_rate:.1f} seconds can be read; what is there is heard."
        )
    if survey.not_numbers:
        yield f"{name}: {survey.not_numbers} samples are not numbers; they are heard as silence."
    if survey.peak > 1.0:
        yield f"{name}: samples reach {survey.peak:.3g} times full scale; the whole file is turned down."
    elif survey.clipped > CLIPPED_SHARE * survey.frames * recording.channels:
        share = 100.0 * survey.clipped / (survey.frames * recording.channels)
        yield f"{name}: {share:.1f} % of the samples are at full scale; it was recorded too loud and may be misheard."
    if survey.peak <= SILENT_BELOW:
        yield f"{name}: silence; nothing in it is louder than -70 dB of full scale."
