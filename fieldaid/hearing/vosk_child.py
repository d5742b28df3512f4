"""The process that holds the Vosk library: a damaged model may abort the library, and then only this process dies.

Run by its path with the bare interpreter, so it imports nothing of fieldaid. Two uses:

    vosk_child.py recognise FOLDER     loads the model, then answers orders until its input ends
    vosk_child.py fetch NAME FOLDER    fetches a model with Vosk's own downloader

Orders are lines of JSON; `hear` is followed by that many bytes of 16-bit sound. Each order and the start are answered
by one line of JSON; {"failed": why} says what went wrong. The library's own messages go to standard error.
"""

from __future__ import annotations

import ctypes
import hashlib
import json
import os
import resource
import socket
import sys
import tempfile
from pathlib import Path
from typing import Any, BinaryIO

LIBRARY_QUIET = -1
WAIT_S = 30.0
MIRROR = "FIELDAID_VOSK_MIRROR"


def say(answer: dict[str, Any]) -> None:
    """One line to the parent."""
    sys.stdout.write(json.dumps(answer) + "\n")
    sys.stdout.flush()


def recognise(folder: str, orders: BinaryIO) -> None:
    """Load the model and answer orders: find, phrases, hear."""
    import vosk

    vosk.SetLogLevel(LIBRARY_QUIET)
    try:
        model = vosk.Model(folder)
        recogniser = None
    except Exception as error:
        # The library knows one kind of exception; which file it was stands in its messages.
        say({"failed": str(error)})
        return
    say({"ready": folder})
    for line in iter(orders.readline, b""):
        order = json.loads(line)
        try:
            if "find" in order:
                say({"known": [word for word in order["find"] if model.vosk_model_find_word(word) >= 0]})
            elif "phrases" in order:
                grammar = order["phrases"]
                extra = [json.dumps(grammar, ensure_ascii=False)] if grammar is not None else []
                recogniser = vosk.KaldiRecognizer(model, float(order["rate"]), *extra)
                recogniser.SetWords(True)
                say({"memory_mb": round(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)})
            else:
                say({"finals": hear(recogniser, orders.read(order["hear"]))})
        except Exception as error:
            say({"failed": str(error)})


def hear(recogniser: Any, sound: bytes) -> list[dict[str, Any]]:
    """The finals of one utterance. It is handed over whole and ended once: a result asked for at a pause would cut it
    there, and would carry what was learnt of the voice into the next utterance. The library adds faint noise from the
    C library's random numbers; begun anew, they give the same answer to the same sound."""
    if sys.platform == "linux":
        ctypes.CDLL(None).srand(1)
    recogniser.AcceptWaveform(sound)
    return [json.loads(recogniser.FinalResult())]


def fetch(name: str, folder: Path) -> None:
    """Download, compare with the checksum of Vosk's list (MD5) and with one given in the environment (SHA-256),
    unpack beside `folder`'s models, and move the whole into place."""
    import requests
    import vosk

    class Downloader(vosk.Model):
        """Vosk's downloader without a loaded model."""

        def __init__(self) -> None:
            pass

        def __del__(self) -> None:
            pass

    socket.setdefaulttimeout(WAIT_S)
    vosk.MODEL_PRE_URL = os.environ.get(MIRROR) or vosk.MODEL_PRE_URL
    try:
        reply = requests.get(vosk.MODEL_PRE_URL + "model-list.json", timeout=10)
        reply.raise_for_status()
        listed = {one["name"]: one for one in reply.json()}
    except requests.RequestException as error:
        say({"failed": "no network", "why": type(error).__name__})
        return
    except (ValueError, KeyError, TypeError):
        say({"failed": "bad list", "why": "the list of models is not one"})
        return
    if name not in listed:
        say({"failed": "not listed", "listed": sorted(one for one in listed if "-en-" in one)})
        return
    sums = {"md5": listed[name].get("md5"), "sha256": os.environ.get("FIELDAID_VOSK_SHA256")}
    compared = [kind for kind, value in sums.items() if value]
    open_zip = vosk.ZipFile

    def checked(path: str, mode: str) -> Any:
        for kind in compared:
            with open(path, "rb") as file:
                found = hashlib.file_digest(file, kind).hexdigest()
            if found != str(sums[kind]).lower():
                raise ValueError(f"its {kind} is {found}, not {sums[kind]}")
        return open_zip(path, mode)

    vosk.ZipFile = checked
    try:
        folder.mkdir(parents=True, exist_ok=True)
        with tempfile.TemporaryDirectory(prefix=".fetching-", dir=folder) as place:
            Downloader().download_model(Path(place) / name)
            (Path(place) / name).rename(folder / name)
    except ValueError as error:
        say({"failed": "checksum", "why": str(error)})
    except Exception as error:
        say({"failed": "broken off", "why": f"{type(error).__name__}: {error}"})
    else:
        say({"fetched": str(folder / name), "compared": compared})


if __name__ == "__main__":
    if sys.argv[1] == "fetch":
        fetch(sys.argv[2], Path(sys.argv[3]))
    else:
        recognise(sys.argv[2], sys.stdin.buffer)
