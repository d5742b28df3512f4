"""Samples to a loudspeaker through PortAudio, cut short within milliseconds when asked."""

from __future__ import annotations

import contextlib
import ctypes
import threading

import numpy as np

from fieldaid.errors import SpeakingError
from fieldaid.speaking.cut import Cut

STALLED = 3.0  # [s] beyond a sound's own length after which the device is taken to be stuck
# PortAudio on ALSA loses up to 30 ms of a stream's beginning and a buffer of its end: let that be silence.
LEAD = 0.03  # [s]
TAIL = 1.5  # of the stream's latency, and at least as long as LEAD
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
            _silence_alsa()
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


def _silence_alsa() -> None:
    """Keep ALSA from writing its own messages over the screen; PortAudio reports the same errors to us."""
    global _alsa_handler
    with contextlib.suppress(OSError, AttributeError):
        text, line = ctypes.c_char_p, ctypes.c_int
        _alsa_handler = ctypes.CFUNCTYPE(None, text, line, text, line, text)(lambda *_: None)
        ctypes.CDLL("libasound.so.2").snd_lib_error_set_handler(_alsa_handler)


_alsa_handler = None  # kept, because ALSA calls it for as long as the process lives


def _stream(sd, device, samples, rate, channels, finished, cut):
    at = 0
    samples = np.concatenate([np.zeros(round(LEAD * rate), np.float32), samples])
    end = len(samples)

    def fill(out: np.ndarray, frames: int, time: object, status: object) -> None:
        nonlocal at
        if cut.is_cut:
            out.fill(0)
            raise sd.CallbackAbort
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
