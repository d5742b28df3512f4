"""The speech worker: a process that turns lines into WAV files and can be killed at any moment without harm.

Run as a script by `voice.Voice`; it imports nothing of fieldaid. JSON lines on pipes:

    in    {"id": 1, "text": "Leave now.", "file": "/…/1.wav"}
    out   {"ready": true}  or  {"failed": "why"}                    once, at the start
    out   {"id": 1, "done": true}  or  {"id": 1, "failed": "why"}   for each line

Traps of pyttsx3 that shape it: say() may be silent or hang, so only save_to_file() is used; a change of the
rate after the first line takes effect late or never, so one worker has one rate; save_to_file() prints on
standard output, so the protocol has a descriptor of its own; an error while the file is written is raised
inside a C callback, where Python can only report it and the engine's loop then never ends, so the report ends
the worker.
"""

from __future__ import annotations

import contextlib
import json
import os
import queue
import sys
import threading


def main(rate: int, accent: str) -> int:
    out = os.fdopen(os.dup(1), "w", encoding="utf-8")
    os.dup2(2, 1)

    def send(**message: object) -> None:
        out.write(json.dumps(message) + "\n")
        out.flush()

    try:
        import pyttsx3
    except Exception as error:
        send(failed=f"pyttsx3 cannot be imported ({_line(error)})")
        return 1
    try:
        engine = pyttsx3.init()
        engine.setProperty("rate", rate)
    except Exception as error:
        send(failed=f"espeak-ng is not installed or does not start ({_line(error)})")
        return 1
    try:
        engine.setProperty("voice", accent)
        engine.getProperty("voice")
    except Exception as error:
        print(f"accent {accent} is not available: {error}", file=sys.stderr)

    lines: queue.Queue[str] = queue.Queue()
    current: dict = {"id": 0, "file": ""}
    threading.Thread(target=_read, args=(lines, current), daemon=True).start()
    troubles: list[str] = []

    def in_callback(report: sys.UnraisableHookArgs) -> None:
        send(id=current["id"], failed=_line(report.exc_value))
        os._exit(1)

    sys.unraisablehook = in_callback
    engine.connect("error", lambda name, exception: troubles.append(_line(exception)))
    send(ready=True)
    while True:
        order = json.loads(lines.get())
        current.update(order)
        troubles.clear()
        try:
            engine.save_to_file(order["text"], order["file"])
            engine.runAndWait()
            size = os.path.getsize(order["file"])
        except Exception as error:
            troubles.append(_line(error))
            size = 0
        if troubles or size <= 44:
            send(id=order["id"], failed=troubles[0] if troubles else "the engine gave no sound")
        else:
            send(id=order["id"], done=True)


def _read(lines: queue.Queue[str], current: dict) -> None:
    """Ends the process when the parent is gone, even while the engine hangs, and clears up after both."""
    for line in sys.stdin:
        lines.put(line)
    with contextlib.suppress(OSError):
        os.unlink(current["file"])
    with contextlib.suppress(OSError):
        os.rmdir(os.path.dirname(current["file"]))
    os._exit(0)


def _line(error: BaseException | None) -> str:
    return " ".join(str(error).split()) or type(error).__name__


if __name__ == "__main__":
    sys.exit(main(int(sys.argv[1]), sys.argv[2]))
