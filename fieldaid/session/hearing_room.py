"""`fieldaid hear`: sound files in, the same answers out as for typed lines."""

from __future__ import annotations

import argparse
import json
from pathlib import Path
from typing import Any, TextIO

from fieldaid import clock, data
from fieldaid.errors import SoundError, WrongUse
from fieldaid.grammar import Grammar
from fieldaid.hearing.gate import Gate, Segment
from fieldaid.hearing.heard import DEFAULT, Heard, Recogniser, make
from fieldaid.hearing.sound import Recording
from fieldaid.session.doubt import take
from fieldaid.session.glance import glance
from fieldaid.session.session import Answer, Session
from fieldaid.session.setting import Setting


def hear_files(options: argparse.Namespace, out: TextIO, err: TextIO) -> int:
    """Answers every utterance of every readable file. An unreadable file gets one message on `err`, and the exit code
    is 1; the others go on."""
    setting = Setting(options, "hear")
    unreadable = 0
    try:
        recogniser = recogniser_of(options, setting.grammar)
        gate = Gate()
        limits = (*recogniser.notices, *([gate.notice] if gate.notice else []))
        shared = _session(setting, options, "", limits) if options.one_session else None
        for path in options.files:
            session = shared
            try:
                recording = Recording(path)
                session = session or _session(setting, options, path.name, limits)
                _hear_one(session, recording, path, gate, recogniser, options.json, out)
            except SoundError as error:
                unreadable += 1
                print(f"fieldaid: {error}", file=err)
            # A file that broke off in the middle must not hand its session on to the next one.
            if session is not None and shared is None:
                session.close()
        if shared is not None:
            shared.close()
        recogniser.close()
    finally:
        setting.close()
    return 1 if unreadable else 0


def recogniser_of(options: argparse.Namespace, grammar: Grammar) -> Recogniser:
    """The recogniser that the options name, or the best of those installed. `--model` names a Vosk model.

    Raises
    ------
    WrongUse : it is not installed, or the model leads nowhere
    BrokenData : a data file of it is damaged
    """
    name = getattr(options, "recogniser", None) or DEFAULT
    model = getattr(options, "model", None)
    if model is not None and name not in (DEFAULT, "both", "vosk"):
        raise WrongUse("--model names a Vosk model", why=f"the recogniser {name} does not use one",
                       next_step=f"leave --recogniser out, or use --recogniser vosk, {DEFAULT} or both")
    more = {} if model is None else {"model": model}
    return make(name, grammar=grammar, pronunciations=data.folder("grammars") / "pronunciations.tsv", **more)


def _session(setting: Setting, options: argparse.Namespace, name: str, limits: tuple[str, ...]) -> Session:
    session = setting.session(name, as_heard=True, call_sign=options.call_sign)
    for text in limits:
        session.notice(text)
    return session


def _hear_one(session: Session, recording: Recording, path: Path, gate: Gate, recogniser: Recogniser, as_json: bool,
              out: TextIO) -> None:
    """Every utterance of one file; a file without speech is answered once, too."""
    began = clock.now()
    watch = clock.Stopwatch()
    found = False
    for note in recording.notes:
        session.notice(note)
    for segment in gate.segments(recording):
        found = True
        gated = watch.lap()
        heard = recogniser.hear(segment, session.state.expecting)
        decoded = watch.lap()
        _write(session, path, heard, segment, began, {"gate": gated, "decode": decoded}, as_json, out)
        watch.lap()
    if not found:
        heard = Heard("", recogniser.name)
        _write(session, path, heard, None, began, {"gate": watch.lap(), "decode": 0.0}, as_json, out)


def _write(session: Session, path: Path, heard: Heard, segment: Segment | None, began: float, ms: dict[str, float],
           as_json: bool, out: TextIO) -> None:
    if segment is None:
        session.notice("No speech found in the recording.")
    answer = take(session, heard, at=began + heard.end_s,
                  figures={"file": path.name, "recogniser": heard.recogniser, **heard.figures})
    written = _data(answer, path, heard, ms)
    if as_json:
        out.write(json.dumps(written, ensure_ascii=False) + "\n")
    else:
        out.write(f"{path.name} {heard.start_s:6.2f} s  heard: {heard.text or '(nothing understood)'}\n")
        out.writelines(f"   {one.kind}: {one.text}\n" for one in answer.replies)
        out.write(f"   [{glance(answer.data)}]\n")
    out.flush()


def _data(answer: Answer, path: Path, heard: Heard, ms: dict[str, float]) -> dict[str, Any]:
    stages = {**ms, "guidance": answer.ms["parse"] + answer.ms["guidance"], "journal": answer.ms["journal"],
              "speech": answer.ms["speech"]}
    return {**answer.data, "file": str(path), "heard": heard.text, "figures": dict(heard.figures),
            "recogniser": heard.recogniser, "start_s": round(heard.start_s, 3), "end_s": round(heard.end_s, 3),
            "ms": {name: round(value, 2) for name, value in stages.items()}}
