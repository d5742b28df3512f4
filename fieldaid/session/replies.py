"""What is said after an utterance: the guidance lines that are new, in order of danger, each once.

`Said` remembers what was said, so that only changes are spoken. A leave-now is the exception: it is said with every
answer until "leaving" is heard, and of many dangers those first that were not said yet.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from fieldaid.facts import FACTS, fact, split_section
from fieldaid.guidance import words
from fieldaid.guidance.guide import Conclusions
from fieldaid.guidance.outcome import Line
from fieldaid.guidance.pack import NO_GO
from fieldaid.session.conclusion_lines import access_text, gate_text, need_text, section_label, sentence
from fieldaid.session.judging import Judged
from fieldaid.session.wording import LINE_WORDS

LEAVES_AT_ONCE = 2
ORDER = ("leave", "stop", "readback", "caution", "advice", "note", "question")


@dataclass(frozen=True)
class Reply:
    """One line of an answer, as the contract of the command line writes it."""

    kind: str
    text: str
    rules: tuple[str, ...] = ()

    def to_data(self) -> dict[str, Any]:
        return {"kind": self.kind, "text": self.text, "rules": list(self.rules)}


@dataclass(frozen=True)
class Said:
    """What was already said: the access and gate lines, the keys of standing lines, the last question for needs.

    `access` and `gate` hold the line as it was said, or only its head ("Stay off: not told") where the rest is a need:
    the next need is then named as a need and not as another verdict.
    """

    access: str = ""
    gate: str = ""
    keys: frozenset[str] = frozenset()
    need: str = ""
    sections: tuple[tuple[str, str], ...] = ()

    def to_data(self) -> dict[str, Any]:
        return {"access": self.access, "gate": self.gate, "keys": sorted(self.keys), "need": self.need,
                "sections": [list(one) for one in self.sections]}

    def but_dangers(self, judged: Judged) -> Said:
        """The same without the dangers that stand, which are then said again: access that bars, and stops."""
        parts = {"": judged.main, **judged.sections}
        stops = {f"{name}/{line.key}" if name else line.key for name, found in parts.items() for line in found.stops}
        barred = [name for name, found in parts.items() if found.access_reason in ("hazard", "ordered")]
        return replace(self, keys=self.keys - stops, access="" if "" in barred else self.access,
                       sections=tuple(one for one in self.sections if one[0] not in barred))

    @classmethod
    def from_data(cls, data: dict[str, Any]) -> Said:
        return cls(data["access"], data["gate"], frozenset(data["keys"]), data["need"],
                   tuple((name, text) for name, text in data["sections"]))


def in_order(replies: list[Reply]) -> list[Reply]:
    """Danger first; within a kind, the order in which they came."""
    return sorted(replies, key=lambda reply: ORDER.index(reply.kind))


def guidance_replies(judged: Judged, said: Said, *, leaving: bool, took: bool) -> tuple[list[Reply], Said]:
    """The lines that guidance adds to an answer, and what has been said after it.

    `leaving`: the crew has answered "leaving". `took`: the utterance changed the picture, so a need may be named.
    """
    main = judged.main
    where = judged.known.get("crew.where")
    access_head = _access_head(main, on_the_roof=where is not None and where.value == "roof")
    gate_head = _gate_head(main)
    if main.access_reason == "not told" and not judged.known and not said.access:
        access_head = ""  # before anything was told there is nothing to conclude from
    keys = {line.key for line in main.triggers} & said.keys
    replies = _verdict(main, said, keys, access_head, gate_head, leaving)
    gate = gate_text(main)
    leave_stands = not leaving and any(one.access == "leave now" for one in (main, *judged.sections.values()))
    replies += _line_replies(main, said.keys, keys, leave_stands)
    section_texts = []
    opened = {split_section(name)[1] for name in judged.known if name.startswith("opening.")}
    for name, found in judged.sections.items():
        before = dict(said.sections).get(name, "")
        replies += _section_access(name, found, said, keys, leaving, main)
        section_texts.append((name, before if _same_bar(found, main) else access_text(found)))
        replies += _line_replies(found, said.keys, keys, leave_stands, name, opened=name in opened)
    need = need_text(main)
    same = access_head == said.access and (not gate or gate_head == said.gate)
    if took and same and need and need != said.need and main.access not in ("leave now", "come down"):
        replies.append(Reply("question", need))
        said = replace(said, need=need)
    return replies, Said(access_head, gate_head, frozenset(keys), said.need, tuple(section_texts))


def _verdict(main: Conclusions, said: Said, keys: set[str], access_head: str, gate_head: str, leaving: bool
             ) -> list[Reply]:
    """The access and gate of the main roof where they are new, as one line if that is short enough. The keys of the
    dangers that are said are added to `keys`."""
    if main.access == "leave now":
        return [] if leaving else _leave_lines(main, keys)
    found: list[Reply] = []
    if access_head not in ("", said.access) and not _heard_before(main, said):
        kind = "stop" if main.access_reason in ("hazard", "ordered") or main.access == "come down" else "caution"
        kind = "advice" if main.access == "no bar reported" else kind
        found.append(Reply(kind, access_text(main), main.access_rules))
        keys.update(line.key for line in main.triggers[:1] if main.access_reason == "hazard")
    more = [line for line in _placed(main.triggers) if line.key not in keys][:LEAVES_AT_ONCE - len(found)]
    keys.update(line.key for line in more)
    others = [Reply("stop", f"{main.access.capitalize()}. {sentence(line.text)}", line.rules) for line in more]
    gate = gate_text(main)
    if gate and gate_head != said.gate and not _said_by_a_stop(main, said):
        found.append(Reply("advice" if main.gate == "no hold reported" else "caution", gate, main.gate_rules))
    together = " ".join(one.text for one in found)
    if len(found) == 2 and words.count(together) <= LINE_WORDS:
        return [Reply(found[1].kind, together, found[0].rules + found[1].rules), *others]
    if len(found) == 2 and found[0].kind == "advice":
        found[0] = replace(found[0], kind=found[1].kind)  # the access is said first
    return found + others


def _heard_before(main: Conclusions, said: Said) -> bool:
    """Whether the access stands as it was said, for a danger that was said beside another one, which is gone."""
    return (main.access_reason == "hazard" and said.access.startswith(f"{main.access.capitalize()}. ")
            and any(line.key in said.keys for line in main.triggers[:1]))


def _access_head(main: Conclusions, on_the_roof: bool) -> str:
    """A bar that stands only for want of facts has one head, and another for a crew that went up all the same."""
    if main.access_reason != "not told":
        return access_text(main)
    return f"{main.access}: not told{', crew on the roof' if on_the_roof else ''}"


def _gate_head(main: Conclusions) -> str:
    """A hold that stands only for want of a fact has one head, whichever fact it names."""
    if main.gate == "hold" and main.gate_says and main.gate_says[0].need is not None:
        return "hold: not told"
    return gate_text(main)


def _said_by_a_stop(main: Conclusions, said: Said) -> bool:
    """Whether a stop of this answer tells the hold's cause: "Fan is on: hold the cut." needs no second line."""
    new = [line for line in main.stops if line.key not in said.keys]
    return main.gate == "hold" and bool(main.gate_says) and any(line.about == main.gate_says[0].about for line in new)


def _leave_lines(main: Conclusions, keys: set[str]) -> list[Reply]:
    """The dangers to leave for, those first that were not said yet; `keys` tells which, and takes up what is said."""
    lines = sorted(_placed(main.triggers), key=lambda line: line.key in keys)[:LEAVES_AT_ONCE]
    keys.update(line.key for line in lines)
    texts = [Reply("leave", f"Leave now. {sentence(line.text)}", line.rules)
             for line in lines or main.access_says[:LEAVES_AT_ONCE]]
    return texts or [Reply("leave", "Leave now.", main.access_rules)]


def _placed(lines: tuple[Line, ...]) -> list[Line]:
    """The dangers less those without a place where the same danger has one."""
    placed = {line.rules for line in lines if ":" in line.key and not line.key.endswith(":unsaid")}
    return [line for line in lines if line.rules not in placed or not line.key.endswith(":unsaid")]


def leave_reasons(found: Conclusions) -> tuple[Line, ...]:
    """What a leave-now is said for; nothing while none stands."""
    return (found.triggers or found.access_says) if found.access == "leave now" else ()


def _section_access(name: str, found: Conclusions, said: Said, keys: set[str], leaving: bool, main: Conclusions
                    ) -> list[Reply]:
    """A section's access when it is a danger or changed. What it only shares with the main roof is said there."""
    label, text = section_label(name), access_text(found)
    shared = {line.key for line in (*main.triggers, *leave_reasons(main))}
    own = [line for line in _placed(found.triggers) if line.key not in shared]
    old = {line.key for line in own if f"{name}/{line.key}" in said.keys}
    keys.update(f"{name}/{key}" for key in old)
    if found.access == "leave now":
        if leaving:
            return []
        keys.update(f"{name}/{line.key}" for line in own)
        return [Reply("leave", f"Leave now. {label}: {sentence(line.text, upper=False)}", line.rules)
                for line in own or leave_reasons(found) if line.key not in shared]
    kind = "stop" if found.access_reason == "hazard" else "caution"
    changed = text != dict(said.sections).get(name, "") and not _same_bar(found, main)
    new = [text] if changed else []
    first = found.triggers[0].key if new and found.triggers and found.access_reason == "hazard" else ""
    for line in own:
        if line.key not in old:
            keys.add(f"{name}/{line.key}")
            new += [f"{found.access}. {sentence(line.text)}"] if line.key != first else []
    return [Reply(kind, f"{label}: {one[:1].lower()}{one[1:]}", found.access_rules) for one in new]


def _same_bar(found: Conclusions, main: Conclusions) -> bool:
    """Whether a section is barred like the main roof, and for the same first reason."""
    return found.access == main.access and found.access in NO_GO and access_text(found) == access_text(main)


def _line_replies(found: Conclusions, old: frozenset[str], keys: set[str], leave_stands: bool,
                  section: str = "", opened: bool = True) -> list[Reply]:
    """The standing lines that are new; the keys of those that have been said are added to `keys`.

    Beside a leave-now that nobody has answered yet, only dangers are said and what looks at access itself ("counted
    as on the roof"); the rest comes after it. A section gives advice of its own where the crew `opened` it, and what
    the main roof gave is not given again for it.
    """
    replies: list[Reply] = []
    kinds = [(found.stops, "stop"), (found.cautions, "caution")]
    if opened:
        kinds.append((found.advice, "advice"))
    for lines, kind in kinds:
        for line in lines:
            key = f"{section}/{line.key}" if section else line.key
            later = leave_stands and kind != "stop" and "access" not in line.about
            if key not in old and (later or waits(line, found)):
                continue
            known = key in old or line.key in keys
            keys.add(key)
            if known or section and kind == "advice" and not _of_a_section(line):
                continue
            text = f"{section_label(section)}: {sentence(line.text, upper=False)}" if section else sentence(line.text)
            replies.append(Reply(kind, text, line.rules))
    return replies


def _of_a_section(line: Line) -> bool:
    """Whether a line looks at anything that one part of the roof may have for itself, such as its hole."""
    return any(name not in FACTS or fact(name).section for name in line.about - {"access", "access_reason", "gate"})


def waits(line: Line, found: Conclusions) -> bool:
    """Whether a line is not said of itself as things stand: only "status" tells it.

    What bars the roof is said first; a caution with the same cause then says nothing new.
    """
    barred = found.access in NO_GO and found.access_reason in ("hazard", "ordered")
    if barred and line.kind == "caution" and found.access_says and line.about <= found.access_says[0].about:
        return True
    return line.said == "when asked" or barred and line.said == "unless barred"


def without_needs(found: Conclusions, names: frozenset[str]) -> Conclusions:
    """The conclusions less the needs that were answered with "cannot tell": asked once is enough."""
    return replace(found, missing=tuple(name for name in found.missing if name not in names))
