"""The child process that runs durable-rules: a pack in, then situations in and outcomes out.

Frames on standard input and output are four bytes of length, big-endian, then JSON. Requests:

    {"load": {"digest": …, "rules": [...]}}              -> {"ready": digest, "rules": n} | {"failed": reason}
    {"id": n, "values": {...}, "basis": {...}}            -> {"id": n, "outcome": {...}} | {"id": n, "failed": reason}

The process ends when standard input ends, when its parent dies, or when one evaluation takes longer than it may.
"""

from __future__ import annotations

import json
import os
import signal
import struct
import sys
from typing import Any, BinaryIO

# An evaluation takes milliseconds. One that loops inside the C module cannot be stopped otherwise.
LONGEST_RUN_S = 10
LENGTH = struct.Struct(">I")
MOST_BYTES = 16 * 1024 * 1024
_PR_SET_PDEATHSIG = 1


def read_frame(stream: BinaryIO) -> Any | None:
    """The next frame's data, or None at the end of the stream."""
    head = stream.read(LENGTH.size)
    if len(head) < LENGTH.size:
        return None
    (length,) = LENGTH.unpack(head)
    if length > MOST_BYTES:
        return None
    body = stream.read(length)
    return json.loads(body) if len(body) == length else None


def frame(data: Any) -> bytes:
    """`data` as one frame."""
    body = json.dumps(data, ensure_ascii=False, separators=(",", ":")).encode()
    return LENGTH.pack(len(body)) + body


def die_with_parent() -> None:
    """Asks the kernel to end this process when its parent ends. Linux only; elsewhere standard input's end does it."""
    try:
        import ctypes

        ctypes.CDLL(None).prctl(_PR_SET_PDEATHSIG, signal.SIGKILL)
    except (ImportError, OSError, AttributeError):
        pass


def serve(requests: BinaryIO, replies: BinaryIO) -> None:
    """Answers requests until they end."""
    from fieldaid.guidance.engine_compile import CompileError, compile_program
    from fieldaid.guidance.engine_run import EngineBroken, Runner

    def reply(data: Any) -> None:
        replies.write(frame(data))
        replies.flush()

    runner: Runner | None = None
    while (request := read_frame(requests)) is not None:
        signal.alarm(LONGEST_RUN_S)
        if "load" in request:
            try:
                runner = Runner(compile_program(request["load"]["rules"]))
            except (CompileError, EngineBroken) as error:
                reply({"failed": str(error)})
                return
            reply({"ready": request["load"]["digest"], "rules": len(request["load"]["rules"])})
        elif runner is None:
            reply({"id": request.get("id"), "failed": "no pack is loaded"})
        else:
            try:
                outcome = runner.run(request["values"], request["basis"])
            except ValueError as error:
                reply({"id": request["id"], "failed": str(error)})
            except EngineBroken as error:
                reply({"id": request["id"], "failed": str(error)})
                return
            else:
                reply({"id": request["id"], "outcome": outcome})
        signal.alarm(0)


def main() -> None:
    die_with_parent()
    # The terminal's Ctrl-C is for the parent, which then ends this process.
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # Whatever the C module prints must not run into the replies.
    replies = os.fdopen(os.dup(1), "wb")
    os.dup2(2, 1)
    try:
        serve(sys.stdin.buffer, replies)
    except BrokenPipeError:
        pass
    except Exception as error:  # the parent shows this one line; a person never sees a traceback
        print(f"{type(error).__name__}: {error}", file=sys.stderr, flush=True)
        sys.exit(1)


if __name__ == "__main__":
    main()
