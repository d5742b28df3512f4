"""What the words around a fact add to it: how it is known, who says it, and which section of the house it is about."""

from __future__ import annotations

from dataclasses import dataclass

from fieldaid.grammar.cover import Item
from fieldaid.grammar.outputs import Values


@dataclass(frozen=True)
class Mood:
    """`section` is "" when none was said, "main" when the main roof was named; `section_before`: the section that an
    earlier part of the sentence was about; `unclear`: the section could belong to the fact before or after its words.
    """

    basis: str = ""
    who: str = ""
    section: str = ""
    unclear: bool = False
    section_before: str = ""

    def joined(self, other: Mood) -> Mood:
        """Both together. A guess stays a guess; else the later word counts."""
        basis = "guess" if "guess" in (self.basis, other.basis) else other.basis or self.basis
        return Mood(basis, other.who or self.who, other.section or self.section, self.unclear or other.unclear,
                    other.section_before or self.section_before)


def mood_of(item: Item, values: Values) -> Mood:
    """The mood that a modifier sets."""
    output, slots = item.found[0]
    env = values.env(slots)
    sets = {key: env.get(told[1:-1], "") if told.startswith("{") else told
            for key, told in output.extra["sets"].items()}
    return Mood(sets.get("basis", ""), sets.get("who", ""), sets.get("section", ""))


def moods(said: list[list[Item]], values: Values) -> dict[int, Mood]:
    """The mood of each fact of a sentence, by `id` of its item. `said` holds the parts of the sentence, without those
    that were refused."""
    found: dict[int, Mood] = {}

    def add(items: list[Item], mood: Mood) -> None:
        for item in items:
            found[id(item)] = found.get(id(item), Mood()).joined(mood)

    about = ""
    facts = [[item for item in part if item.kind == "facts"] for part in said]
    for number, part in enumerate(said):
        sections = [mood_of(item, values).section for item in part if item.kind == "modifier"]
        if not any(sections) and about not in ("", "main"):
            add(facts[number], Mood(section_before=about))
        elif any(sections):
            opens = part[0].kind == "modifier" and mood_of(part[0], values).section
            about = opens or ""
        for at, item in enumerate(part):
            if item.kind != "modifier":
                continue
            mood = mood_of(item, values)
            both = item.found[0][0].extra["sets"].get("reach") == "both"
            before = [one for one in part[:at] if one.kind == "facts"][-1:]
            after = [one for one in part[at:] if one.kind == "facts"]
            if not before and not after:
                following = next((row for row in facts[number + 1:] if row), [])
                previous = next((row for row in reversed(facts[:number]) if row), [])
                add(following or previous, mood)
                if both and following:
                    add(previous, mood)
            elif after and before and mood.section:
                add(before + after, Mood(section=mood.section, unclear=True))
            elif after:
                add(after + (before if both else []), mood)
            else:
                add(before, mood)
    return found
