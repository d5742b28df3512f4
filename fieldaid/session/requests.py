"""What a crew asks for, answered: why, status, needs, marks, the reports for a person to send."""

from __future__ import annotations

from fieldaid.guidance.pack import NO_GO, Pack
from fieldaid.guidance.why import why, why_not
from fieldaid.session import drafts
from fieldaid.session.conclusion_lines import access_text, gate_text, need_text, section_label, sentence
from fieldaid.session.dialogue_state import Phrase, RequestKind, State
from fieldaid.session.judging import Judged
from fieldaid.session.marks import marks_lines
from fieldaid.session.replies import Reply, waits

HELP = "Tell short facts. Ask: why, status, what do you need, scratch that."


def requested(kind: RequestKind, about: str | None, judged: Judged, state: State, pack: Pack, phrase: Phrase, at: float
              ) -> list[Reply]:
    """The lines that answer a request at `at` seconds; `about` is the rule or fact that was named with it."""
    main = judged.main
    rules = main.access_rules + main.gate_rules
    if kind == "why":
        return [Reply("advice", sentence(why(main, pack)), rules)]
    if kind == "why not":
        named = about if about is not None and about.upper() in pack else None
        wanted = named or ("no bar reported" if main.access in NO_GO else "no hold reported")
        return [Reply("advice", sentence(why_not(main, pack, wanted)), rules)]
    if kind == "need":
        return [Reply("question", need_text(main) or "Nothing more is needed to decide.")]
    if kind == "status":
        return _status(judged, state)
    if kind == "marks":
        return [Reply("note", text) for text in marks_lines(state.picture, at)]
    if kind == "handover":
        return drafts.handover(judged, phrase, tuple(one.text for one in state.pending), marks_lines(state.picture, at))
    if kind in drafts.REPORTS:
        return drafts.REPORTS[kind](judged, phrase)
    if kind == "mayday":
        return drafts.mayday_form(judged.known)
    return [Reply("note", HELP)]


def _status(judged: Judged, state: State) -> list[Reply]:
    """Access with every danger, other parts of the roof, gate and needs, what waits for an affirm, and the lines that
    are not said of themselves."""
    main = judged.main
    lines = [access_text(main), *(sentence(line.text) for line in main.triggers[1:])]
    for name, found in judged.sections.items():
        text = access_text(found)
        if text != lines[0]:
            lines.append(f"{section_label(name)}: {text[:1].lower()}{text[1:]}")
    lines += [gate_text(main) or f"Gate: {main.gate}.", need_text(main)]
    waiting = "; ".join(one.text for one in state.pending)
    lines.append(f"Waits for affirm: {waiting}." if waiting else "")
    quiet = [line for line in (*main.cautions, *main.advice) if waits(line, main)]
    return [*(Reply("note", text, main.access_rules) for text in lines if text),
            *(Reply("note", line.text, line.rules) for line in quiet)]
