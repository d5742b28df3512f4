"""The one way to PortAudio: loaded late, quiet on the screen, and one sentence when it cannot be had."""

from __future__ import annotations

import contextlib
import ctypes
import threading
from dataclasses import dataclass
from typing import Any

from fieldaid.errors import SpeakingError

INSTALL = "Install the sound library (Debian and Ubuntu: apt-get install libportaudio2)"

OPENING = threading.RLock()
"""Held while a stream is opened or closed: PortAudio allows one thread at a time to do that."""


@dataclass(frozen=True)
class Device:
    """A sound device as PortAudio lists it.

    Attributes
    ----------
    number, name : either chooses it
    inputs, outputs : channels
    rate : its own samples a second [Hz]
    default_input, default_output : whether it is used when none is chosen
    """

    number: int
    name: str
    inputs: int
    outputs: int
    rate: int
    default_input: bool
    default_output: bool


def load() -> Any:
    """The module sounddevice, with PortAudio started.

    Raises
    ------
    SpeakingError : the package or the library is missing
    """
    try:
        import sounddevice
    except ImportError:
        raise SpeakingError("sound devices cannot be used", why="the package sounddevice is not installed",
                            next_step="Install fieldaid again") from None
    except OSError as error:
        raise SpeakingError("sound devices cannot be used", why=str(error), next_step=INSTALL) from None
    _silence_alsa()
    return sounddevice


def devices(library: Any) -> list[Device]:
    """Every device of the system, by number. `library` is what `load` returned."""
    default_input, default_output = library.default.device
    return [Device(number, str(one["name"]), int(one["max_input_channels"]), int(one["max_output_channels"]),
                   round(one["default_samplerate"]), number == default_input, number == default_output)
            for number, one in enumerate(library.query_devices())]


def _silence_alsa() -> None:
    """Keep ALSA from writing its own messages over the screen; PortAudio reports the same errors to us."""
    global _alsa_handler
    if _alsa_handler is not None:
        return
    with contextlib.suppress(OSError, AttributeError):
        text, line = ctypes.c_char_p, ctypes.c_int
        _alsa_handler = ctypes.CFUNCTYPE(None, text, line, text, line, text)(lambda *_: None)
        ctypes.CDLL("libasound.so.2").snd_lib_error_set_handler(_alsa_handler)


_alsa_handler = None  # kept, because ALSA calls it for as long as the process lives
