"""What is heard without the call sign, and what is heard while the tool's own voice sounds.

Without the call sign: "say again", "stop talking", the words of danger, an awaited answer. While the voice sounds over
a loudspeaker the microphone hears that voice as well, and a recogniser makes of it what it can: of 81 lines of its own
three came back as dangers ("Leave now. Soft deck, C." as "soft back charlie", and a line without a danger as "bowed").
So only "stop talking", "mayday" and "no play" count then, where the voice was not just saying them; a danger silences
the voice and is asked for again. It must never answer, confirm or report anything to itself.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from fieldaid.facts import fact
from fieldaid.grammar import Parsed
from fieldaid.session.dialogue_state import State

HEARD_OVER_VOICE = ("stop talking", "mayday", "no play")
HEARD_ALWAYS = ("say again", "leaving", *HEARD_OVER_VOICE)
"""Besides the design's own list "leaving" is heard: it only ends the repeat of a leave-now, never the leave."""
EMPTY_WORDS = frozenset(
    "a an the is are it its this that we're we i on at in of over by to from near now here there and or side slope "
    "corner alpha bravo charlie delta ridge eave eaves valley hip".split())
"""Words that report nothing by themselves: a place is no danger."""
DANGERS = frozenset(word for value in fact("deck.A").values if value != "solid" for word in value.split())
"""The words by which the voice itself names a bad deck."""


def is_message(parsed: Parsed, state: State, awaited: bool = True) -> bool:
    """Whether a line counts where messages must open with the call sign. `awaited`: whether the last question was
    asked a short while ago; a "yes" to somebody else, minutes later, is no answer."""
    return parsed.call_sign or is_urgent(parsed) or awaited and is_answer(parsed, state)


def is_urgent(parsed: Parsed) -> bool:
    """Whether a line is one of the commands that are always heard, or reports a bad deck and nothing else."""
    return parsed.command in HEARD_ALWAYS or bool(parsed.readings) and _only_danger(parsed)


def is_answer(parsed: Parsed, state: State) -> bool:
    """Whether a line is an answer of the kind that is being waited for."""
    if state.asked and (parsed.answer is not None or parsed.command in ("affirm", "negative")):
        return True
    return bool(parsed.readings) and {one.name for one in parsed.readings} == {state.question}


def counts_over_voice(parsed: Parsed, said: Iterable[str]) -> bool:
    """Whether a line counts that was heard while the voice was saying `said`."""
    return ({parsed.command, *parsed.also} <= {*HEARD_OVER_VOICE} and parsed.answer is None and _only_danger(parsed)
            and bool(Counter(_words(parsed.line)) - _own(said)))


def danger_over_voice(parsed: Parsed, said: Iterable[str]) -> bool:
    """Whether a line that was heard while the voice was saying `said` may be somebody's report of a danger."""
    own = _own(said)
    return bool(parsed.readings and parsed.command is None and parsed.answer is None and _only_danger(parsed)
                and Counter(_words(parsed.line)) - own and not DANGERS & set(own))


def _only_danger(parsed: Parsed) -> bool:
    """No facts but bad news of the deck: "soft on Charlie"."""
    return all(one.name.startswith("deck.") and one.value != "solid" for one in parsed.readings)


def _own(said: Iterable[str]) -> Counter[str]:
    return Counter(word for line in said for word in _words(line))


def _words(line: str) -> list[str]:
    return [word for word in re.findall(r"[a-z']+", line.lower()) if word not in EMPTY_WORDS]
