"""The safety invariants as properties of one evaluation: what was told, and what came of it.

Each property bears the number of its invariant and is written from the trade facts and the design's closed list, in
words and code of its own: it reads nothing of the rules, so that a rule that is lost, or one that loosens, breaks it.
A property says True (holds), False (broken) or None (the situation is not one it speaks of).

`properties_seen` holds what a property sees of a situation, `properties_steps` those about one more telling,
`properties_session` those about the dialogue, and `properties_pack` those about the words of the pack.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from fieldaid.authoring.properties_seen import SIDES, Seen

SLIDES = ("ice", "snow", "frost")

Check = Callable[[Seen], bool | None]


@dataclass(frozen=True)
class Property:
    """One property of an invariant. `rows` names the sources behind it."""

    number: int
    says: str
    rows: str
    check: Check

    @property
    def key(self) -> str:
        return f"{self.number:02d} {self.says}"


PROPERTIES: list[Property] = []


def _property(number: int, says: str, rows: str) -> Callable[[Check], Check]:
    def keep(check: Check) -> Check:
        PROPERTIES.append(Property(number, says, rows, check))
        return check
    return keep


@_property(1, "a no-go leaves no answer about an opening", "N02, N03, F03")
def _(one: Seen) -> bool | None:
    if not one.no_go:
        return None
    out = one.out
    return (out.gate, out.place, out.kind, out.size_ft, out.opening_rules) == ("no opening", None, None, None, ())


@_property(2, "nothing bars only if every need of the closed list is told and good", "N01, L25, T17, S33")
def _(one: Seen) -> bool | None:
    if not one.free:
        return None
    told = one.told
    return (one.looked and one.struck and told.get("command.roof") in ("go up", "open", "hold")
            and told.get("command.mode") != "defensive" and told.get("crew.count", 0) >= 2
            and told.get("crew.masks") in ("on", "breathing air") and one.computed.get("ways.usable", 0) >= 2
            and told.get("roof.wires") == "none" and told.get("roof.surface") == "dry" and "roof.solar" in told
            and (one.framing == "solid" or not one.attic_sign))


@_property(2, "what is not told of the closed list is asked for by name", "N01, L25, T17")
def _(one: Seen) -> bool | None:
    told, missing = one.told, one.out.missing
    asked = [name for name in ("crew.count", "crew.masks", "command.roof", "roof.wires", "roof.surface", "roof.solar")
             if name not in told]
    asked += ["crew.ways_off"] if "ways.usable" not in one.computed else []
    asked += ["deck.eave"] if not one.struck else []
    asked += ["fire.attic"] if "fire.attic" not in told and not one.looked and not _at_a_tip(one) else []
    return all(name in missing for name in asked) if asked else None


@_property(2, "a need of the gate that is not told holds the cut", "W11, V24, S02")
def _(one: Seen) -> bool | None:
    told = one.told
    lacks = not one.backdraft and (not one.water and "water.on_fire" not in told or not one.called
                                   or "interior.answers" not in told)
    lacks = lacks or "fire.side" not in told or "roof.form" not in told
    lacks = lacks or "wind.from" not in told and told.get("wind.mph") != 0
    return not one.open if lacks else None


@_property(2, "an answer of not told names what is missing", "N01")
def _(one: Seen) -> bool | None:
    if one.out.access_reason != "not told" or one.out.access not in ("stay off", "ladder tip only", "aerial only"):
        return None
    return bool(one.out.missing)


@_property(3, "fire in a cockloft or knee wall void sends everyone off, whatever the framing", "N02, N03, A11")
def _(one: Seen) -> bool | None:
    burns = any(one.told.get(f"fire.{place}") in ("suspected", "confirmed") for place in ("cockloft", "knee_wall"))
    return one.sends_off if burns else None


@_property(3, "an attic sign over engineered framing sends everyone off", "N02, N03, N05")
def _(one: Seen) -> bool | None:
    return one.sends_off if one.attic_sign and one.framing == "engineered" else None


@_property(3, "an attic sign over unknown framing lets nobody onto the surface", "N01, S33")
def _(one: Seen) -> bool | None:
    if not one.attic_sign or one.framing != "unknown":
        return None
    return not one.free and (one.out.access == "leave now" or not one.maybe_on_roof)


@_property(3, "a strong attic sign over unknown framing leaves no ladder tip and no aerial", "S33")
def _(one: Seen) -> bool | None:
    told = one.told
    strong = (any(told.get(f"fire.{place}") == "confirmed" for place in ("attic", "cockloft", "knee_wall", "eaves"))
              or told.get("opening.shows") == "flame"
              or any(name.startswith("camera.") and value == "hot" for name, value in told.items()))
    return one.no_go if strong and one.framing != "solid" else None


@_property(3, "a truss in the hole sends everyone off", "N03, N08, G12")
def _(one: Seen) -> bool | None:
    return one.sends_off if one.told.get("opening.shows") == "truss" else None


@_property(5, "only kinds of opening that leave the carrying parts whole are named", "N04, S02, C19, C25, G13")
def _(one: Seen) -> bool | None:
    if one.out.kind is None:
        return None
    # A trapezoid fits between hips and jacks only where that was worked out.
    worked = ("trapezoid",) if one.computed.get("place.worked") == "yes" else ()
    return one.out.kind in ("rectangle", "louvred panels", "triangle", "inspection", "existing opening", *worked)


@_property(5, "whenever a cut may come, the crew is told that only the deck is cut", "N04, S02, C19, C25")
def _(one: Seen) -> bool | None:
    at_work = one.told.get("crew.where") in ("roof", "ladder", "aerial")
    if not at_work or one.out.gate not in ("no hold reported", "inspection only"):
        return None
    return "deck only" in one.out.advice


@_property(6, "no full opening before water, a call and an answer, save a backdraft order with crews out",
           "V20, V24, V25, A04, G25, F10")
def _(one: Seen) -> bool | None:
    if not one.open:
        return None
    return one.backdraft or (one.water and one.called and one.told.get("interior.answers") == "yes")


@_property(6, "water lost, interior backing out, a search, a fan or a hold keeps the cut held", "V13, V20, F10, W02")
def _(one: Seen) -> bool | None:
    told = one.told
    lost = (told.get("line.attack") == "lost" or told.get("interior.crew") == "backing out"
            or told.get("interior.searching") == "yes" or told.get("fan.state") == "on"
            or "hold" in (told.get("interior.calls"), told.get("command.roof"))
            or not one.backdraft and (told.get("water.on_fire") == "no" or told.get("interior.answers") == "none"))
    return not one.open if lost else None


@_property(6, "water or line lost, backing out and a fan are said as a stop", "V13, V20, F10, W02")
def _(one: Seen) -> bool | None:
    told = one.told
    lost = (told.get("water.on_fire") == "no" or told.get("line.attack") == "lost"
            or told.get("interior.crew") == "backing out" or told.get("fan.state") == "on")
    return bool(one.out.stops) if lost else None


@_property(6, "water lost with the roof open brings everyone down", "V13, V20, F10")
def _(one: Seen) -> bool | None:
    lost = one.told.get("water.on_fire") == "no" or one.told.get("line.attack") == "lost"
    if not lost or one.backdraft or one.told.get("opening.made") not in ("part", "full"):
        return None
    return one.comes_down


@_property(6, "a fire short of air waits for water on it or a backdraft order", "T10, A04, F08")
def _(one: Seen) -> bool | None:
    if "fire.signs" not in one.told or one.told.get("water.on_fire") == "yes" or one.backdraft:
        return None
    return not one.open


@_property(6, "a backdraft order with people inside, or nobody knows, holds", "G25, V20")
def _(one: Seen) -> bool | None:
    if one.told.get("command.backdraft_order") != "yes" or one.backdraft:
        return None
    return not one.open


@_property(7, "fewer than two usable separate ways off means leave", "S02, S34, N07")
def _(one: Seen) -> bool | None:
    ways = _ways(one.told)
    return one.sends_off if ways is not None and ways < 2 else None


@_property(8, "with nothing holding, a crew on the roof is told to keep the way off behind it", "S34, G10")
def _(one: Seen) -> bool | None:
    return "stand upwind" in one.out.advice if one.open and one.on_roof else None


@_property(8, "an open hole is a caution", "S02, S34")
def _(one: Seen) -> bool | None:
    return "fresh hole" in one.out.cautions if one.told.get("opening.made") in ("part", "full") else None


@_property(8, "no face left clear of obstacles holds the cut", "S34, P14")
def _(one: Seen) -> bool | None:
    return not one.open if one.computed.get("place.found") != "yes" else None


@_property(9, "one member alone, or out of contact, is no roof crew", "S06, S07")
def _(one: Seen) -> bool | None:
    alone = one.told.get("crew.count", 2) < 2 or one.told.get("crew.in_contact") == "no"
    return one.comes_down if alone else None


@_property(9, "a crew that nobody counted stays off", "S06")
def _(one: Seen) -> bool | None:
    return one.no_go if "crew.count" not in one.told else None


@_property(9, "at a ladder tip the partner at the foot is named", "S06, S23")
def _(one: Seen) -> bool | None:
    return "partner at foot" in one.out.advice if one.out.access == "ladder tip only" else None


@_property(10, "a mask off, or not told, keeps everyone off", "F01, F02, N16")
def _(one: Seen) -> bool | None:
    return one.no_go if one.told.get("crew.masks") in (None, "off") else None


@_property(10, "low air, or a mask off in smoke, means leave", "F01, F02, T22, T23")
def _(one: Seen) -> bool | None:
    low = _air_low(one.told.get("crew.air"))
    return one.sends_off if low or one.told.get("crew.masks") == "off" and one.smoke else None


@_property(10, "a mask on where smoke shows is said not to be breathing air", "F02, N16")
def _(one: Seen) -> bool | None:
    return "mask without air" in one.out.cautions if one.told.get("crew.masks") == "on" and one.smoke else None


@_property(12, "a bad deck, or smoke through it, sends everyone off", "F16, G27")
def _(one: Seen) -> bool | None:
    return one.sends_off if one.bad_deck else None


@_property(13, "panels are a caution wherever they are", "P12, P14")
def _(one: Seen) -> bool | None:
    return "panels" in one.out.cautions if one.panels else None


@_property(13, "panels at the fire's side, or at a place that names no face, keep everyone off", "P12, P14")
def _(one: Seen) -> bool | None:
    if not one.panels:
        return None
    side = one.told.get("fire.side", "")
    vague = set(one.panels) & {"everywhere", "unsaid", "ridge", "eave", "valley", "hip"}
    over = any(letter in place for place in one.panels if place not in vague for letter in side if letter in SIDES)
    return one.no_go if vague or over else None


@_property(13, "the face for an opening never carries panels", "P12, P14")
def _(one: Seen) -> bool | None:
    if not one.panels or not one.open:
        return None
    return not any(one.computed.get("place.face", "") in place for place in one.panels)


@_property(14, "skylights are a caution, and only when they were told", "F05, N16, P18")
def _(one: Seen) -> bool | None:
    return ("skylights" in one.out.cautions) == (one.told.get("roof.skylight", "none") != "none")


@_property(15, "a stream at the opening is stopped, and nobody is on that roof", "S04, F14")
def _(one: Seen) -> bool | None:
    if one.told.get("line.aims") != "roof opening":
        return None
    return "stream at the hole" in one.out.stops and one.no_go


@_property(16, "the face for an opening is never one that the wind blows onto", "W01-W06, W11, W12")
def _(one: Seen) -> bool | None:
    if not one.open:
        return None
    face = one.computed.get("place.face")
    return face is not None and one.computed.get(f"wind.on.{face}") in ("leeward", "along")


@_property(16, "if only the windward face is left there is no opening", "W11, W12")
def _(one: Seen) -> bool | None:
    return one.out.gate == "no opening" if one.computed.get("place.why_not") == "windward" else None


@_property(16, "a shifting wind, or a window failed upwind, holds the cut", "W04-W06, F08")
def _(one: Seen) -> bool | None:
    if not one.window_upwind and one.told.get("wind.shifting") != "yes":
        return None
    return not one.open and ("window upwind" in one.out.stops or not one.window_upwind)


@_property(16, "wind that blows into the hole holds the cut and is said", "W11, W12")
def _(one: Seen) -> bool | None:
    return not one.open and "wind into the hole" in one.out.stops if one.told.get("opening.wind") == "into" else None


@_property(16, "wind onto the fire's side is said", "W01, W03, W04")
def _(one: Seen) -> bool | None:
    side = one.told.get("fire.side", "centre")
    onto = side != "centre" and any(one.computed.get(f"wind.on.{letter}") == "windward" for letter in side)
    return "wind on the fire side" in one.out.cautions if onto else None


@_property(17, "the ceiling waits for water and for the interior's answer", "A08, G20, N09")
def _(one: Seen) -> bool | None:
    told = one.told
    if told.get("opening.made") not in ("part", "full") or told.get("opening.ceiling") in ("pushed", "none"):
        return None
    return ("ceiling" in one.out.stops) == (not (one.water and told.get("interior.answers") == "yes"))


@_property(18, "an order to leave, or defensive mode, sends everyone off", "S19, N03")
def _(one: Seen) -> bool | None:
    ordered = one.told.get("command.roof") == "come off" or one.told.get("command.mode") == "defensive"
    return one.sends_off if ordered else None


@_property(19, "without command's order for the roof nothing is free", "S05, S16")
def _(one: Seen) -> bool | None:
    return one.no_go if one.told.get("command.roof") in (None, "not assigned") else None


@_property(21, "a bad deck at one place outweighs a solid one at another", "T17, F16")
def _(one: Seen) -> bool | None:
    return one.sends_off if one.bad_deck and one.struck else None


@_property(21, "a hot camera outweighs a cool one and a look that saw nothing", "T15, T17")
def _(one: Seen) -> bool | None:
    hot = any(name.startswith("camera.") and value == "hot" for name, value in one.told.items())
    if not hot or one.told.get("fire.attic") != "not seen" or one.framing == "solid":
        return None
    return one.no_go


@_property(22, "a missing member is a mayday first, and everyone comes down", "S21")
def _(one: Seen) -> bool | None:
    if one.told.get("crew.missing") != "yes":
        return None
    return "member missing" in one.out.stops and one.comes_down


@_property(23, "with the job done, come down", "S02, S34")
def _(one: Seen) -> bool | None:
    return one.comes_down if one.done else None


@_property(23, "two tries without relief bring everyone down", "G21, G23, S34")
def _(one: Seen) -> bool | None:
    failed = sum(value == "no relief" for name, value in one.told.items() if name.startswith("tried."))
    return one.comes_down if failed >= 2 and one.told.get("interior.relief") == "no change" else None


@_property(24, "a guess or a plan is no look into the attic and no struck deck", "C17, A15")
def _(one: Seen) -> bool | None:
    guessed = any(one.basis(name) in ("guess", "preplan") for name in one.told
                  if name.startswith("deck.") or name in ("fire.attic", "fire.cockloft"))
    return not (one.free and not (one.looked and one.struck)) if guessed else None


@_property(26, "no answer from the interior is no permission", "derived")
def _(one: Seen) -> bool | None:
    return not one.open if one.told.get("interior.answers") != "yes" and not one.backdraft else None


@_property(26, "where nothing was told, nobody goes up and nothing is cut", "derived")
def _(one: Seen) -> bool | None:
    if one.told:
        return None
    return (one.out.access, one.out.gate) == ("stay off", "no opening")


@_property(27, "before a cut, nobody is below it", "common practice, no source")
def _(one: Seen) -> bool | None:
    if one.out.gate not in ("no hold reported", "inspection only") or one.told.get("crew.where", "ground") == "ground":
        return None
    return "drop path" in one.out.advice


@_property(27, "a crew on the roof that stays is told that its ladders stay", "S27")
def _(one: Seen) -> bool | None:
    if not one.on_roof or "crew.ladders" not in one.told or one.out.access in ("leave now", "come down"):
        return None
    return "ladders stay" in one.out.advice


@_property(28, "lightning, ice, wires and streams on the roof mean stay off", "F04, S02")
def _(one: Seen) -> bool | None:
    told = one.told
    there = (told.get("weather.lightning") == "yes" or told.get("roof.surface") in SLIDES
             or told.get("roof.wires", "none") != "none" or told.get("line.aims") == "roof opening")
    return one.no_go if there else None


@_property(33, "a roof that has vented itself gets no further cut", "common practice, no source")
def _(one: Seen) -> bool | None:
    if one.told.get("fire.stage") != "through the roof":
        return None
    return one.out.gate in ("no opening", "other means")


def _at_a_tip(one: Seen) -> bool:
    told = one.told
    return (told.get("crew.where") in ("ladder", "aerial") and told.get("crew.count", 0) >= 2
            and told.get("crew.masks") in ("on", "breathing air"))


def _ways(told: Mapping[str, Any]) -> int | None:
    """Ways off as told, less those that two ladders share or that stand at a venting window, and less roof ladders;
    None when not told. Counted here anew, apart from the workings."""
    counts = [told["crew.ways_off"]] if "crew.ways_off" in told else []
    ladders = [ladder for ladder in told.get("crew.ladders", ()) if ladder["kind"] in ("ground", "aerial")]
    if ladders:
        venting = {name.split(".")[2] for name, value in told.items()
                   if name.startswith("smoke.window.") and name.count(".") == 3 and value != "none"}
        venting |= {name[-1] for name, value in told.items() if name.startswith("window.") and value == "failed"}
        usable = {ladder["place"] for ladder in ladders if ladder["usable"] == "yes"} - venting
        named = usable - {"unsaid"}
        if "unsaid" not in usable or not counts:
            counts.append(len(named) or len(usable))
    return min(counts, default=None)


def _air_low(air: Mapping[str, Any] | None) -> bool:
    """The alarm of NFPA 1981 from its 2013 edition: a third of the cylinder; and five minutes."""
    if air is None:
        return False
    return air.get("low") == "yes" or air.get("fraction", 1.0) <= 0.33 or air.get("minutes", 99) <= 5
