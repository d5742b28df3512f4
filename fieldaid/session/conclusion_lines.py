"""What guidance concludes, as short lines: access, gate, place, needs."""

from __future__ import annotations

from fieldaid.guidance.guide import Conclusions
from fieldaid.guidance.outcome import Line
from fieldaid.guidance.pack import NO_GO
from fieldaid.session.wording import called

NEEDS_AT_ONCE = 3


def access_text(found: Conclusions) -> str:
    """Access as one short line."""
    lines: tuple[Line, ...] = found.access_says
    if found.triggers and found.access_reason == "hazard":
        lines = found.triggers
    why = sentence(lines[0].text).rstrip(".") if lines else ""
    if found.access == "no bar reported":
        return "No bar reported. Your decision."
    name = found.access.capitalize()
    if found.access_reason == "not told" and why:
        return f"{name}: {why[:1].lower()}{why[1:]}."
    return f"{name}. {why}." if why else f"{name}."


def gate_text(found: Conclusions) -> str:
    """The gate as one short line; empty where access has already said all there is to say."""
    why = sentence(found.gate_says[0].text, upper=False).rstrip(".") if found.gate_says else ""
    if found.access in NO_GO:
        return ""
    if found.gate == "hold":
        return f"Hold cut: {why}." if why else "Hold cut."
    if found.gate == "no hold reported":
        where = place_text(found)
        return f"No hold reported. {where}" if where else "No hold reported. Your decision."
    if found.gate == "made":
        return ""
    name = found.gate.capitalize()
    return f"{name}: {why}." if why else f"{name}."


def place_text(found: Conclusions) -> str:
    """Where the opening would go, in a few words: "C side, high." """
    if found.slope is None:
        return ""
    side = f"Side {found.slope}" if len(found.slope) == 1 else f"{found.slope} side".capitalize()
    return f"{side}, high. Way off behind you."


def need_text(found: Conclusions) -> str:
    """At most three facts that are not told, the most decisive first."""
    named = needs(found)
    return f"Need: {', '.join(named[:NEEDS_AT_ONCE])}." if named else ""


def needs(found: Conclusions) -> list[str]:
    """The missing facts as they are called, without repeats."""
    return list(dict.fromkeys(called(name) for name in found.missing))


def sentence(text: str, upper: bool = True) -> str:
    """A fragment as a sentence: one full stop, first letter as asked (a side letter keeps its capital)."""
    text = text.strip().rstrip(".")
    if not text:
        return text
    keep = len(text) == 1 or not text[1].islower()
    first = text[0].upper() if upper else text[0] if keep else text[0].lower()
    return f"{first}{text[1:]}{'' if text.endswith(('?', '!')) else '.'}"


def section_label(section: str) -> str:
    """A section as it is named at the head of a line: "Neighbour B"."""
    label = section.replace("_", " ")
    return label[:1].upper() + label[1:]
