"""Makes a session from the options of a command: grammar, guide, journal, voice."""

from __future__ import annotations

import argparse
from pathlib import Path

from fieldaid import clock, data
from fieldaid.errors import FieldaidError, JournalError
from fieldaid.grammar import load_grammar
from fieldaid.guidance.guide import Guide
from fieldaid.guidance.pack import load_pack
from fieldaid.session.journal import Journal
from fieldaid.session.session import Session

HOUSE_PACK = "house"


class Setting:
    """What the sessions of one run share: grammar, guide, voice.

    `options` are those of `type`, `hear` and `talk`: journal, rules, overlay, grammar, say_to, speak, no_engine, and
    output_device where there is one.

    Raises
    ------
    BrokenData : the pack or the grammar cannot be used
    """

    def __init__(self, options: argparse.Namespace, mode: str) -> None:
        self.options, self.mode = options, mode
        self.sessions: list[Session] = []
        rules = options.rules or data.folder("rules") / HOUSE_PACK
        pack = load_pack(rules, options.overlay)
        self.guide = Guide(pack, engine=not options.no_engine)
        self.grammar = load_grammar(options.grammar)
        self.speaker = None
        if options.say_to or options.speak:
            from fieldaid.speaking.speaker import Speaker

            self.speaker = Speaker(say_to=options.say_to, play=options.speak,
                                   device=getattr(options, "output_device", None))

    def session(self, name: str = "", *, as_heard: bool = False, call_sign: bool = False, repeats: bool = False
                ) -> Session:
        """A new session, or the one that `--journal` resumes. `name` tells sessions of one run apart; the rest is as
        in `Session`."""
        journal, notice = self._journal(name)
        session = Session(self.grammar, self.guide, journal, speaker=self.speaker, mode=self.mode, as_heard=as_heard,
                          call_sign=call_sign, repeats=repeats)
        if notice:
            session.notice(notice)
        session.begin()
        self.sessions.append(session)
        return session

    def _journal(self, name: str) -> tuple[Journal, str]:
        """The journal asked for; without one a file of its own, or memory with a notice when that fails."""
        if self.options.journal:
            return Journal(self.options.journal), ""
        notice = unfinished_notice()  # before there is a newer journal
        try:
            return Journal(new_journal_path(self.mode, name)), notice
        except JournalError as error:
            return Journal(":memory:"), f"This session is not kept: {error}"

    def close(self, patience_s: float = 30.0) -> None:
        """Ends voice and guide; sessions are closed by whoever knows that they ended well. What is still to be said is
        waited for, at most `patience_s`."""
        if self.speaker is not None:
            self.speaker.wait(patience_s)
            self.speaker.close()
        self.guide.close()


def journals_folder() -> Path:
    """Where journals are kept that were given no path of their own."""
    return data.state_home() / "journals"


def new_journal_path(mode: str, name: str) -> Path:
    """A file name that no journal has yet."""
    moment = clock.stamp(clock.now()).replace(":", "").replace("-", "")
    stem = f"{moment}-{mode}" + (f"-{Path(name).stem}" if name else "")
    folder = journals_folder()
    path, count = folder / f"{stem}.journal", 1
    while path.exists():
        count += 1
        path = folder / f"{stem}-{count}.journal"
    return path


def unfinished_notice() -> str:
    """A sentence about the newest journal, if it was never closed while a leave-now stood, on any part of the roof."""
    try:
        newest = sorted(journals_folder().glob("*.journal"), key=lambda path: path.stat().st_mtime)[-1:]
        for path in newest:
            journal = Journal(path)
            try:
                row = journal.open_session()
                last = [event for event in journal.events(row.id) if event.kind == "answer"][-1:] if row else []
            finally:
                journal.close()
            said = last[0].body["said"] if last else {"access": "", "sections": []}
            if any(text.startswith("Leave now") for text in (said["access"], *(text for _, text in said["sections"]))):
                return f"A leave now still stands in a session that was never closed. Resume it with --journal {path}"
    except (OSError, FieldaidError, KeyError):
        return ""
    return ""
