"""The microphone as a stream of blocks: float32, mono, RATE a second, whatever the device itself gives.

The device's own thread only copies and queues. Whoever reads may be late by `WAITING_S`; what is lost beyond that is
counted. A device that vanishes is noticed by its stream ending, or by no sound coming for `STALLED_S`.
"""

from __future__ import annotations

import contextlib
import queue
import threading
from collections.abc import Iterator
from contextlib import AbstractContextManager
from dataclasses import dataclass
from typing import Any

import numpy as np

from fieldaid.clock import monotonic
from fieldaid.errors import SoundError
from fieldaid.hearing.sound import RATE

BLOCK_S = 0.032
WAITING_S = 20.0
STALLED_S = 3.0
"""A device that is started anew may take 2 s before its first sound."""
PATIENCE_S = 0.25
BUFFER_S = 0.2
"""What the device keeps for a reader that is late; without it a busy machine loses sound after 64 ms."""
CLOSING_S = 2.0
"""A device that has vanished may keep whoever closes it waiting for ever."""


@dataclass(frozen=True)
class Block:
    """Sound as it came: `samples` float32, shape (n,), RATE a second; `at` is when its last sample had arrived, on
    `clock.monotonic` [s]."""

    samples: np.ndarray
    at: float


class Microphone:
    """An input device that can be opened again after it was lost.

    Parameters
    ----------
    library : the module sounddevice
    device : PortAudio name or number; the system's default unless given
    opening : held while a stream is opened or closed, because PortAudio allows one thread at a time to do that

    Attributes
    ----------
    dropped : blocks lost because nobody took them in time, or lost by the device itself
    """

    def __init__(self, library: Any, device: str | int | None = None,
                 opening: AbstractContextManager[Any] | None = None) -> None:
        self._sd, self._device = library, device
        self._opening = opening if opening is not None else threading.Lock()
        self._blocks: queue.Queue[tuple[np.ndarray, float]] = queue.Queue(round(WAITING_S / BLOCK_S))
        self._stream: Any = None
        self._resample: Any = None
        self.name = "" if device is None else str(device)
        self.dropped = 0

    def open(self) -> None:
        """Opens the device and starts it.

        Raises
        ------
        SoundError : there is no microphone, or it cannot be used
        """
        with self._opening:
            try:
                found = self._sd.query_devices(self._device, "input")
                self.name = str(found["name"])
                rate, channels = self._settings(found)
                self._resample = _resampler(rate)
                self._blocks = queue.Queue(self._blocks.maxsize)
                self._stream = self._sd.InputStream(
                    samplerate=rate, blocksize=round(rate * BLOCK_S), device=self._device, channels=channels,
                    dtype="float32", latency=BUFFER_S, callback=self._take)
                self._stream.start()
            except (self._sd.PortAudioError, ValueError, OSError) as error:
                self._stream = None
                raise SoundError("no microphone", why=f"{self._called()} cannot be used ({error})", next_step=(
                    "Connect one, or choose one with --device; `fieldaid talk --list-devices` shows what there is")
                ) from None

    def blocks(self) -> Iterator[Block | None]:
        """Blocks as they come, for as long as the reader likes; None when none came for a moment.

        Raises
        ------
        SoundError : the device was lost
        """
        last = monotonic()
        while True:
            try:
                samples, at = self._blocks.get(timeout=PATIENCE_S)
            except queue.Empty:
                if not self._stream_lives():
                    raise self._lost("ended its sound") from None
                if monotonic() - last > STALLED_S:
                    raise self._lost(f"gave no sound for {STALLED_S:.0f} s") from None
                yield None
                continue
            last = monotonic()
            yield Block(self._resample(samples), at)

    def close(self) -> None:
        """Lets the device go. Closing twice does no harm."""
        stream, self._stream = self._stream, None
        if stream is not None:
            closer = threading.Thread(target=self._close, args=(stream,), name="microphone's end", daemon=True)
            closer.start()
            closer.join(CLOSING_S)

    def _close(self, stream: Any) -> None:
        with self._opening, contextlib.suppress(self._sd.PortAudioError):
            stream.abort(ignore_errors=True)
            stream.close(ignore_errors=True)

    def _settings(self, found: Any) -> tuple[int, int]:
        """The first rate and number of channels that the device takes: speech as we need it, else as it is."""
        own = int(found["default_samplerate"])
        most = max(1, int(found["max_input_channels"]))
        tried = [(rate, channels) for channels in dict.fromkeys((1, min(2, most), most)) for rate in (RATE, own)]
        for rate, channels in tried[:-1]:
            with contextlib.suppress(self._sd.PortAudioError):
                self._sd.check_input_settings(self._device, channels, "float32", samplerate=rate)
                return rate, channels
        return tried[-1]

    def _take(self, data: np.ndarray, frames: int, time: Any, status: Any) -> None:
        """In the device's own thread."""
        if status and status.input_overflow:
            self.dropped += 1
        try:
            self._blocks.put_nowait((data.mean(axis=1) if data.shape[1] > 1 else data[:, 0].copy(), monotonic()))
        except queue.Full:
            self.dropped += 1

    def _stream_lives(self) -> bool:
        try:
            return self._stream is not None and bool(self._stream.active)
        except self._sd.PortAudioError:
            return False

    def _lost(self, why: str) -> SoundError:
        return SoundError("microphone lost", why=f"{self._called()} {why}")

    def _called(self) -> str:
        return f"the device {self.name!r}" if self.name else "the default sound device"


def _resampler(rate: int) -> Any:
    if rate == RATE:
        return lambda samples: samples
    import soxr

    # Quality "MQ" keeps speech whole and holds back 8 to 36 ms, by the rate.
    return soxr.ResampleStream(rate, RATE, 1, dtype="float32", quality="MQ").resample_chunk
