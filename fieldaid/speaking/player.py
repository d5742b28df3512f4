"""Samples to a loudspeaker through PortAudio, cut short within milliseconds when asked."""

from __future__ import annotations

import threading
from typing import Any

import numpy as np

from fieldaid.clock import monotonic
from fieldaid.errors import SpeakingError
from fieldaid.speaking import portaudio
from fieldaid.speaking.cut import Cut

STALLED = 3.0  # [s] beyond a sound's own length after which the device is taken to be stuck
# PortAudio on ALSA loses up to 30 ms of a stream's beginning and a buffer of its end: let that be silence.
LEAD = 0.03  # [s]
TAIL = 1.5  # of the stream's latency, and at least as long as LEAD
LONGEST_DELAY = 1.0  # [s]; a device that promises its sound later than that does not know


class Player:
    """Plays one sound at a time on `device` (a PortAudio name or number; the system's default unless given).

    PortAudio is loaded with the first sound. All calls on a stream are made by the thread in `play`: a cut
    only wakes it, so that a stuck device can never hold up the one who cuts.
    """

    def __init__(self, device: str | int | None = None) -> None:
        self._device = device
        self._cut: Cut | None = None
        self._library: Any = None

    def play(self, samples: np.ndarray, rate: int, cut: Cut | None = None) -> bool:
        """Play `samples` (float32, mono, at `rate` [Hz]) to the end, or until `cut` or `stop`.

        Returns
        -------
        whole : False when it was cut short

        Raises
        ------
        SpeakingError : PortAudio is missing, there is no device, or the device fails or is stuck
        """
        sd = self._load()
        cut = cut or Cut()
        self._cut = cut
        finished = threading.Event()
        try:
            with portaudio.OPENING:
                settings = sd.query_devices(self._device, "output")
                channels = min(2, int(settings["max_output_channels"]))
                rate, samples = self._as_accepted(sd, settings, channels, samples, rate)
                stream = _stream(sd, self._device, samples, rate, channels, finished, cut)
        except (sd.PortAudioError, ValueError, OSError) as error:
            raise self._trouble(error) from None
        try:
            stream.start()
            whole = cut.wait_for(finished.is_set, len(samples) / rate + STALLED)
        except sd.PortAudioError as error:
            raise self._trouble(error) from None
        finally:
            self._cut = None
            with portaudio.OPENING:
                stream.abort(ignore_errors=True)
                stream.close(ignore_errors=True)
        if not whole and not cut.is_cut:
            raise self._trouble("the sound did not end")
        return whole

    def stop(self) -> None:
        """Silence what is playing. Returns at once; the sound ends within milliseconds."""
        cut = self._cut
        if cut:
            cut.cut()

    def check(self) -> str:
        """The name of the device that would be used.

        Raises
        ------
        SpeakingError : as `play`
        """
        sd = self._load()
        try:
            with portaudio.OPENING:
                found = sd.query_devices(self._device, "output")
                # Asking is not enough: a listed device may have gone, and opening it is what fails.
                sd.check_output_settings(self._device, min(2, int(found["max_output_channels"])), "float32")
            return str(found["name"])
        except (sd.PortAudioError, ValueError) as error:
            raise self._trouble(error) from None

    def _load(self) -> Any:
        if self._library is None:
            try:
                self._library = portaudio.load()
            except SpeakingError as error:
                raise SpeakingError("no loudspeaker", why=error.why, next_step=error.next_step) from None
        return self._library

    def _as_accepted(self, sd, settings, channels, samples, rate):
        try:
            sd.check_output_settings(self._device, channels, "float32", samplerate=rate)
            return rate, samples
        except sd.PortAudioError:
            import soxr

            own = int(settings["default_samplerate"])
            return own, soxr.resample(samples, rate, own)

    def _trouble(self, error: object) -> SpeakingError:
        device = "the default sound device" if self._device is None else f"the sound device {self._device!r}"
        return SpeakingError("no loudspeaker", why=f"{device} cannot be used ({error})",
                             next_step="Connect or choose a sound output")


def _stream(sd, device, samples, rate, channels, finished, cut):
    at = 0
    samples = np.concatenate([np.zeros(round(LEAD * rate), np.float32), samples])
    end = len(samples)

    def fill(out: np.ndarray, frames: int, time: Any, status: object) -> None:
        nonlocal at
        if cut.is_cut:
            out.fill(0)
            raise sd.CallbackAbort
        if not at:
            cut.begin(monotonic() + LEAD + min(max(time.outputBufferDacTime - time.currentTime, 0.0), LONGEST_DELAY))
        part = samples[at:at + frames]
        out[:len(part)] = part[:, None]
        out[len(part):] = 0
        at += frames
        if at >= end:
            raise sd.CallbackStop

    def ended() -> None:
        finished.set()
        cut.nudge()

    stream = sd.OutputStream(samplerate=rate, device=device, channels=channels, dtype="float32",
                             callback=fill, finished_callback=ended)
    end += round(max(TAIL * stream.latency, LEAD) * rate)
    return stream
