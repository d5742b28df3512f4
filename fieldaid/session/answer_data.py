"""An answer as the JSON object of the contract: what was meant and taken, what was said, what guidance concludes."""

from __future__ import annotations

from typing import Any

from fieldaid.facts.picture import told_values
from fieldaid.grammar import Parsed
from fieldaid.guidance.guide import Conclusions
from fieldaid.session.dialogue_state import Effects, State, Utterance
from fieldaid.session.judging import Judged
from fieldaid.session.replies import Reply


def answer_data(n: int, text: str, said: Utterance, effects: Effects, replies: list[Reply], judged: Judged,
                state: State, *, ignored: bool) -> dict[str, Any]:
    """Plain JSON data of the answer to the `n`-th line; `ignored`: the line was no message."""
    main = judged.main
    usable = {name: one for name, one in judged.known.items() if not one.stale}
    return {
        "n": n,
        "line": text,
        "result": _result(said.parsed, effects, ignored),
        "meant": {one.name: one.value for one in said.meant},
        "guess": {one.name: one.value for one in said.guesses},
        "taken": effects.taken,
        "pending": [name for one in state.pending for name in one.names],
        "replies": [one.to_data() for one in replies],
        "picture": told_values(usable),
        "derived": dict(main.derived),
        "computed": {name: getattr(one, "value", one) for name, one in main.computed.items()},
        "stale": [name for name, one in judged.known.items() if one.stale],
        "guidance": {
            **_guidance(main),
            "sections": {name: _guidance(found) for name, found in judged.sections.items()},
            "missing": list(main.missing),
            "channels_agree": main.channels_agree,
        },
    }


def _guidance(found: Conclusions) -> dict[str, Any]:
    return {
        "access": found.access,
        "access_reason": found.access_reason,
        "access_rules": list(found.access_rules),
        "opening": {
            "gate": found.gate,
            "gate_rules": list(found.gate_rules),
            "slope": found.slope,
            "place": found.place,
            "kind": found.kind,
            "size_ft": list(found.size_ft) if found.size_ft else None,
            "rules": list(found.opening_rules),
        },
    }


def _result(parsed: Parsed, effects: Effects, ignored: bool) -> str:
    """What came of the line, in a word."""
    if effects.taken:
        return "taken"
    if ignored or not effects.understood:
        return "not understood"
    if effects.asked:
        return "question"
    return "command" if parsed.command or parsed.answer else "question"
