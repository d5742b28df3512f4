"""`fieldaid type`: lines in, answers out; as JSON for scripts, or by hand with history, completion and a glance."""

from __future__ import annotations

import argparse
import json
from typing import BinaryIO, TextIO

from fieldaid.errors import FieldaidError
from fieldaid.session.glance import glance, picture_table
from fieldaid.session.session import Answer, Session
from fieldaid.session.setting import Setting

END_WORDS = ("quit", "exit", "end session")
SHOW_WORDS = ("picture", "show picture")


def type_json(options: argparse.Namespace, source: BinaryIO, out: TextIO) -> int:
    """Writes one JSON object for each line of `source`, flushed at once. Ends with the input, exit code 0.

    The bytes are read as UTF-8; what is not UTF-8 is replaced, and the line is answered like any other.
    """
    setting = Setting(options, "type")
    session = None
    try:
        session = setting.session(as_heard=options.as_heard)
        for raw in iter(source.readline, b""):
            text = raw.decode("utf-8", errors="replace").rstrip("\r\n")
            answer = session.line(text)
            out.write(json.dumps(answer.data, ensure_ascii=False) + "\n")
            out.flush()
        session.close()
    finally:
        setting.close()
    return 0


def type_by_hand(options: argparse.Namespace, source: TextIO, out: TextIO) -> int:
    """The same, for a person: replies as text, dangers marked in words, never by colour alone."""
    setting = Setting(options, "type")
    try:
        session = setting.session(as_heard=options.as_heard)
        read = _prompt(session) if source.isatty() and out.isatty() else lambda: source.readline()
        if source.isatty():
            print("Tell short facts. Also: why, status, what do you need, scratch that, picture, draw, help. "
                  "Ctrl-D ends.\nTraining and practice aid: command and local procedure decide.", file=out)
        ended = False
        while not ended:
            try:
                line = read()
            except EOFError:
                line = ""
            except KeyboardInterrupt:
                print("(Ctrl-D ends the session)", file=out)
                continue
            if not line:
                break
            text = line.rstrip("\r\n")
            if text.strip().lower() in END_WORDS:
                ended = True
            elif text.strip().lower() in SHOW_WORDS:
                print(picture_table(session), file=out, flush=True)
            elif text.strip().lower().split(" ")[0] == "draw":
                print(_drawn(session, text), file=out, flush=True)
            else:
                print(_shown(session.line(text)), file=out, flush=True)
        session.close()
    finally:
        setting.close()
    return 0


def _drawn(session: Session, line: str) -> str:
    from fieldaid.session.drawing_room import draw_session

    try:
        return f"   {draw_session(session, line)}"
    except FieldaidError as error:
        return f"   Not drawn: {error}"


def _shown(answer: Answer) -> str:
    marks = {"leave": "!! ", "stop": " ! ", "caution": " * "}
    lines = [f"{marks.get(one.kind, '   ')}{one.text}" for one in answer.replies]
    return "\n".join([*lines, f"   [{glance(answer.data)}]"])


def _prompt(session: Session):  # type: ignore[no-untyped-def]
    """A line editor with history and completion from the grammar, and guidance at the foot of the screen."""
    from prompt_toolkit import PromptSession
    from prompt_toolkit.completion import Completer, Completion
    from prompt_toolkit.history import FileHistory, InMemoryHistory

    from fieldaid import data

    class FromGrammar(Completer):
        def get_completions(self, document, event):  # type: ignore[no-untyped-def]
            before = document.text_before_cursor
            word = before.split(" ")[-1]
            for text in session.grammar.complete(before):
                yield Completion(text, start_position=-len(word))

    try:
        data.state_home().mkdir(parents=True, exist_ok=True)
        history = FileHistory(str(data.state_home() / "history"))
    except OSError:
        history = InMemoryHistory()
    prompt = PromptSession(history=history, completer=FromGrammar(), complete_while_typing=False,
                           bottom_toolbar=lambda: glance(session.last_data) if session.last_data else "nothing told")

    def read() -> str:
        return prompt.prompt("> ") + "\n"

    return read


