"""Samples to a loudspeaker through PortAudio, cut short within milliseconds when asked."""

from __future__ import annotations

import threading

import numpy as np

from fieldaid.errors import SpeakingError
from fieldaid.speaking.cut import Cut

STALLED = 3.0  # [s] beyond a sound's own length after which the device is taken to be stuck
INSTALL = "Install the sound library (Debian and Ubuntu: apt-get install libportaudio2)"


class Player:
    """Plays one sound at a time on `device` (a PortAudio name or number; the system's default unless given).

    PortAudio is loaded with the first sound. All calls on a stream are made by the thread in `play`: a cut
    only wakes it, so that a stuck device can never hold up the one who cuts.
    """

    def __init__(self, device: str | int | None = None) -> None:
        self._device = device
        self._cut: Cut | None = None
        self._library = None
        self._missing = ""

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
            return str(sd.query_devices(self._device, "output")["name"])
        except (sd.PortAudioError, ValueError) as error:
            raise self._trouble(error) from None

    def _load(self):
        if self._missing:
            raise SpeakingError("no loudspeaker", why=self._missing, next_step=INSTALL)
        if self._library is None:
            try:
                import sounddevice
            except ImportError:
                self._missing = "the package sounddevice is not installed"
                raise SpeakingError("no loudspeaker", why=self._missing,
                                    next_step="Install fieldaid again") from None
            except OSError as error:
                self._missing = str(error)
                raise SpeakingError("no loudspeaker", why=self._missing, next_step=INSTALL) from None
            self._library = sounddevice
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

    def fill(out: np.ndarray, frames: int, time: object, status: object) -> None:
        nonlocal at
        if cut.is_cut:
            out.fill(0)
            raise sd.CallbackAbort
        part = samples[at:at + frames]
        out[:len(part)] = part[:, None]
        out[len(part):] = 0
        at += len(part)
        if at >= len(samples):
            raise sd.CallbackStop

    def ended() -> None:
        finished.set()
        cut.nudge()

    return sd.OutputStream(samplerate=rate, device=device, channels=channels, dtype="float32", callback=fill,
                           finished_callback=ended)
