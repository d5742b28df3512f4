"""One session: a line goes in, is journaled, changes the dialogue, is judged, and comes back as an answer.

The journal holds each utterance as it was parsed, and what was said after it. `begin` on a journal that was never
closed runs the utterances through the same reducer again, so that a session killed at any moment stands where its last
acknowledged line left it.
"""

from __future__ import annotations

from dataclasses import asdict, dataclass, field, replace
from typing import Any, Protocol

from fieldaid import __version__
from fieldaid.clock import Stopwatch, now, stamp
from fieldaid.errors import JournalError
from fieldaid.facts.picture import CANNOT_TELL
from fieldaid.grammar import Grammar, Parsed, Reading
from fieldaid.guidance.guide import Guide
from fieldaid.session.answer_data import answer_data
from fieldaid.session.dialogue import reduce
from fieldaid.session.dialogue_confirm import ask_to_confirm
from fieldaid.session.dialogue_state import CONFIRM_AT_ONCE, Effects, RequestKind, State, Utterance
from fieldaid.session.journal import Journal
from fieldaid.session.judging import Judged, judge
from fieldaid.session.notices import Reminders
from fieldaid.session.replies import Reply, Said, guidance_replies, in_order, leave_reasons, without_needs
from fieldaid.session.requests import requested
from fieldaid.session.retold import told_once_more
from fieldaid.session.urgent import counts_over_voice, danger_over_voice, is_message

LONGEST_LINE = 2000
ANSWER_WITHIN_S = 30.0
"""For so long after a question an answer needs no call sign."""
AHEAD_S = 0.5
NOT_A_MESSAGE = "No call sign: not a message."
OVER_THE_VOICE = "Not taken: the voice was speaking."
TALKED_OVER = "Talked over. Say again."
DANGER_OVER = "Danger? Say again."
LEAVING_OVER = "Leaving? Say again."


class Speaks(Protocol):
    """The part of the speaking room that a session uses."""

    @property
    def notices(self) -> list[str]: ...
    def say(self, lines: list[tuple[str, str]], name: str = "") -> float: ...
    def stop(self, repeated: bool = False) -> None: ...
    def mute(self, on: bool, *, mayday: bool = False) -> None: ...


@dataclass
class Answer:
    """What one line brought. `data` is the JSON object of the contract; `ms` the stage times in milliseconds;
    `ignored` says that the line was no message."""

    data: dict[str, Any]
    replies: list[Reply]
    judged: Judged
    ms: dict[str, float] = field(default_factory=dict)
    ignored: bool = False


class Session:
    """A dialogue with its grammar, guide, journal and, if there is one, a voice.

    Parameters
    ----------
    as_heard : typed lines wait for confirmation like spoken ones
    call_sign : without the call sign only urgent words and awaited answers are messages
    repeats : whether `tick` is called, so that a leave-now which is silenced comes again
    """

    def __init__(self, grammar: Grammar, guide: Guide, journal: Journal, *, speaker: Speaks | None = None,
                 mode: str = "type", as_heard: bool = False, call_sign: bool = False, repeats: bool = False) -> None:
        self.grammar, self.guide, self.journal, self.speaker = grammar, guide, journal, speaker
        self.mode, self.as_heard, self.call_sign, self.repeats = mode, as_heard, call_sign, repeats
        self.state = State()
        self.said = Said()
        self.last: list[Reply] = []
        self.count = 0
        self.lines = 0
        self.last_data: dict[str, Any] = {}
        values = guide.pack.parameter_values()
        self._reminders = Reminders(values.get("notice_minutes"), values.get("air_low_fraction"))
        self._triggers: frozenset[str] = frozenset()
        self._notices: list[str] = []
        self._given: set[str] = set()
        self._asked_at = float("-inf")

    # -- beginning and end -------------------------------------------------------------------------------------------

    def begin(self, resume: bool = True) -> None:
        """Begins a session in the journal, or resumes the one that was never closed."""
        row = self.journal.open_session() if resume else None
        if row is None or not row.events:
            self.journal.begin(now(), self.mode, __version__)
            return
        self.journal.resume(row.id)
        self._replay()
        self._notices.append(f"Resumed the session of {stamp(row.started)}: {self.count} lines.")

    def close(self) -> None:
        """Closes the session: it will not be resumed."""
        try:
            self.journal.close_session(now())
        finally:
            self.journal.close()

    def notice(self, text: str) -> None:
        """A sentence for the next answer, given once."""
        if text not in self._given:
            self._given.add(text)
            self._notices.append(text)

    def take_notices(self) -> list[str]:
        """The sentences that the next answer would have given, for a screen that need not wait for it."""
        taken, self._notices = self._notices, []
        return taken

    def _replay(self) -> None:
        for event in self.journal.events():
            body = event.body
            self.state = told_once_more(self.state, event, self._phrase)
            if event.kind == "line":
                self.count = max(self.count, body["u"])
            elif event.kind in ("answer", "tick"):
                self._triggers = frozenset(body["triggers"])
                self.state = replace(self.state, leaving=body["leaving"])
                self._reminders.restore(body.get("reminders"))
            if event.kind == "answer":
                self.said = Said.from_data(body["said"])
                self.last = [Reply(one["kind"], one["text"], tuple(one["rules"])) for one in body["last"]]
                self._note_question(body["replies"], event.at)

    def _note_question(self, replies: list[dict[str, Any]], at: float) -> None:
        if any(one["kind"] == "question" for one in replies):
            self._asked_at = at

    # -- one line ----------------------------------------------------------------------------------------------------

    def line(self, text: str, *, spoken: bool | None = None, at: float | None = None,
             figures: dict[str, Any] | None = None, over: tuple[str, ...] = (), addressed: bool = False) -> Answer:
        """Answers one line.

        Parameters
        ----------
        figures : what the recogniser measured, for the journal
        over : what the tool's own voice was saying into the same microphone meanwhile
        addressed : the line is a message although its call sign was not understood, nor perhaps any of it

        Raises
        ------
        JournalError : it could not be written down; then it does not count
        """
        watch = Stopwatch()
        self.lines += 1
        spoken = self.as_heard if spoken is None else spoken
        at = now() if at is None else at
        parsed = self._parse(text)
        ignored = self._ignored(parsed, at, over, addressed)
        said = Utterance(self.count + 1, at, parsed, spoken)
        self.journal.append(at, "line", {"u": said.n, "spoken": spoken, "ignored": bool(ignored),
                                         "parsed": asdict(parsed), "figures": figures or {}})
        self.count = said.n
        was_silent = self.state.mayday
        if ignored:
            asks = ignored in (DANGER_OVER, LEAVING_OVER)
            effects = Effects(replies=(("question" if asks or ignored.endswith("?") else "note", ignored),),
                              understood=False, stop_voice=asks)
        else:
            self.state, effects = reduce(self.state, said, self._phrase)
        ms = {"parse": watch.lap()}
        judged = self._judge(at)
        ms["guidance"] = watch.lap()
        before = self.said, self.last
        if was_silent and not self.state.mayday:
            self.said = self.said.but_dangers(judged)  # nobody heard them while a mayday was called
        try:
            replies, effects = self._replies(effects, judged, at, keep=not ignored)
            written = [one.to_data() for one in replies]
            self.journal.append(at, "answer", {
                "said": self.said.to_data(), "last": [one.to_data() for one in self.last],
                "triggers": sorted(self._triggers), "leaving": self.state.leaving, "replies": written,
                "reminders": self._reminders.to_data()})
        except JournalError:
            self.said, self.last = before  # nothing of it will be said now: the next answer says it
            raise
        self._note_question(written, at)
        ms["journal"] = watch.lap()
        ms["speech"] = self._speak(replies, effects, said.n)
        data = answer_data(self.lines, text, said, effects, replies, judged, self.state, ignored=bool(ignored))
        self.last_data = data
        return Answer(data, replies, judged, ms, bool(ignored))

    def _parse(self, text: str) -> Parsed:
        if len(text) > LONGEST_LINE:
            return Parsed(text[:LONGEST_LINE], refused=(f"a line of {len(text)} characters",))
        parsed = self.grammar.parse(text, expecting=self.state.expecting)
        if self.state.asked and self.state.question and not _says_anything(parsed):
            # Something waits for affirm, and another question was asked after it: the bare answer may be to that one.
            return self.grammar.parse(text, expecting=self.state.question)
        return parsed

    def tick(self, at: float | None = None) -> list[Reply]:
        """Time has passed: says a standing leave-now again, unless the crew has answered "leaving".

        Raises
        ------
        JournalError : it was said, and could not be written down
        """
        at = now() if at is None else at
        judged = self._judge(at)
        replies = [one for one in guidance_replies(judged, self.said, leaving=self.state.leaving, took=False)[0]
                   if one.kind == "leave"]
        if replies:
            self._say(replies, "tick")  # a danger is said, whatever becomes of the journal
            self.journal.append(at, "tick", {"triggers": sorted(self._triggers), "leaving": self.state.leaving,
                                             "replies": [one.to_data() for one in replies]})
        return replies

    def remind(self, at: float | None = None) -> list[Reply]:
        """Time has passed: the time and air notices that are due. Nothing while a danger, a mayday or "quiet" stands.

        Raises
        ------
        JournalError : it was said, and could not be written down
        """
        at = now() if at is None else at
        replies = self._reminded(at)
        if replies:
            self._say(replies, "tick")
            self.journal.append(at, "tick", {"triggers": sorted(self._triggers), "leaving": self.state.leaving,
                                             "replies": [one.to_data() for one in replies],
                                             "reminders": self._reminders.to_data()})
        return replies

    def _reminded(self, at: float) -> list[Reply]:
        if self._triggers or self.state.mayday or self.state.quiet:
            return []
        return [Reply("note", text) for text in self._reminders.due(self.state.picture, at)]

    def times(self, n: int, ms: dict[str, float]) -> None:
        """Writes down how long the stages of utterance `n` took [ms]."""
        self.journal.append(now(), "times", {"u": n, "ms": {name: round(value, 1) for name, value in ms.items()}})

    def awaiting(self, at: float) -> str | None:
        """What a bare answer, begun at `at` seconds, would answer: "affirm", a fact, or nothing any more or yet."""
        return self.state.expecting if -AHEAD_S <= at - self._asked_at <= ANSWER_WITHIN_S else None

    def question_said(self, at: float) -> None:
        """The voice has come to its last answer at `at` seconds: a question in it may be answered from now on."""
        if self.state.expecting is not None:
            self._asked_at = max(self._asked_at, at)

    def _ignored(self, parsed: Parsed, at: float, over: tuple[str, ...], addressed: bool) -> str:
        """Why a line is not heard as a message; empty when it is one."""
        if over and not counts_over_voice(parsed, over):
            if danger_over_voice(parsed, over):
                return DANGER_OVER
            if "leaving" in (parsed.command, *parsed.also):
                return LEAVING_OVER
            return TALKED_OVER if parsed.call_sign else OVER_THE_VOICE
        awaited = self.awaiting(at) is not None
        if not self.call_sign or addressed or over or is_message(parsed, self.state, awaited):
            return ""
        if self.state.asked and {"affirm", "negative"} & set(parsed.line.lower().rstrip(".").split()):
            return f"Heard: {'; '.join(one.text for one in self.state.asked)}. Affirm?"  # too late: it is asked anew
        return NOT_A_MESSAGE

    def _judge(self, at: float) -> Judged:
        judged = judge(self.guide, self.state, at)
        cannot = frozenset(name for name, one in judged.known.items() if one.value == CANNOT_TELL)
        triggers = _dangers(judged)
        stands = any(found.access == "leave now" for found in (judged.main, *judged.sections.values()))
        if self.state.leaving and (triggers - self._triggers or not stands):
            self.state = replace(self.state, leaving=False)
        self._triggers = triggers
        for text in judged.main.notices:
            self.notice(text)
        main = without_needs(judged.main, cannot) if cannot else judged.main
        return replace(judged, main=self.guide.most_decisive_first(main))

    def _replies(self, effects: Effects, judged: Judged, at: float, keep: bool) -> tuple[list[Reply], Effects]:
        """The lines of an answer. `keep`: whether "say again" repeats them: the line was a message."""
        replies = [Reply(kind, text) for kind, text in effects.replies]
        if self.repeats and not keep:
            return replies, effects  # what others say to each other must not make the voice speak
        guidance, self.said = guidance_replies(judged, self.said, leaving=self.state.leaving,
                                               took=bool(effects.taken) and not effects.asked)
        replies += guidance
        for kind, about in effects.requests:
            # "Say again" while a leave-now stands: the leave is in this answer already.
            replies += [one for one in self._requested(kind, about, judged, at) if one not in replies]
        if judged.unconfirmed and not self.state.asked:
            names = tuple(one.name for one in judged.unconfirmed[:CONFIRM_AT_ONCE])
            self.journal.append(at, "confirm", {"names": list(names)})
            self.state, asked = ask_to_confirm(self.state, names, at, self._phrase)
            replies += [Reply(kind, text) for kind, text in asked]
            effects = replace(effects, asked=True)
        if self.speaker is not None:
            for text in self.speaker.notices:
                self.notice(text)
        replies += self._reminded(at) if keep else []
        replies += [Reply("note", text) for text in self._notices]
        self._notices.clear()
        silenced = effects.stop_voice and not effects.replies
        if keep and replies and not silenced and not any(kind == "say again" for kind, _ in effects.requests):
            self.last = in_order(replies)
        return in_order(replies), effects

    def _requested(self, kind: RequestKind, about: str | None, judged: Judged, at: float) -> list[Reply]:
        if kind == "say again":
            return self.last or [Reply("note", "Nothing was said yet.")]
        return requested(kind, about, judged, self.state, self.guide.pack, self._phrase, at)

    def _speak(self, replies: list[Reply], effects: Effects, n: int) -> float:
        watch = Stopwatch()
        if effects.stop_voice and self.speaker is not None:
            self.speaker.stop(repeated=self.repeats)
        # "Stop talking" is answered with silence; a leave-now that still stands comes again with the next tick.
        silent = effects.stop_voice and not effects.replies and self.repeats
        self._say([] if silent else [one for one in replies if one.text not in (NOT_A_MESSAGE, OVER_THE_VOICE)],
                  f"{n:04d}")
        return watch.ms()

    def _say(self, replies: list[Reply], name: str) -> None:
        if self.speaker is not None:
            self.speaker.mute(self.state.quiet or self.state.mayday, mayday=self.state.mayday)
            self.speaker.say([(one.kind, one.text) for one in replies], name=name)

    def _phrase(self, name: str, value: Any, basis: str) -> str:
        return self.grammar.spoken(Reading(name, value, basis or "told"))


def _dangers(judged: Judged) -> frozenset[str]:
    """The keys of what a crew leaves for. What only a section has is another danger than the main roof's."""
    main = {line.key for line in (*judged.main.triggers, *leave_reasons(judged.main))}
    return frozenset(main) | {f"{name}/{line.key}" for name, found in judged.sections.items()
                              for line in (*found.triggers, *leave_reasons(found)) if line.key not in main}


def _says_anything(parsed: Parsed) -> bool:
    return bool(parsed.readings or parsed.asks or parsed.command or parsed.answer)
