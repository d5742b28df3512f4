"""`work-out smoke`, `work-out fire` and `work-out timber`: teaching only, each with what was measured beside it."""

from __future__ import annotations

import argparse
import re

from fieldaid.errors import WrongUse
from fieldaid.session.work_out_answer import Answer, Value
from fieldaid.workings import smoke, timber, vents
from fieldaid.workings.limits import OutsideLimits
from fieldaid.workings.quantity import read
from fieldaid.workings.roof_model import FOOT, INCH

ZERO_C = 273.15
MPH = 0.44704
# Actual sizes of dressed lumber [in] and the size factor in bending for grades No.1 and No.2 (NDS supplement).
LUMBER = {"2x4": (1.5, 3.5, 1.5), "2x6": (1.5, 5.5, 1.3), "2x8": (1.5, 7.25, 1.2), "2x10": (1.5, 9.25, 1.1),
          "2x12": (1.5, 11.25, 1.0)}
# Reference bending value of spruce-pine-fir No.2 [psi]; from design value to average ultimate (NDS 16.2, from memory).
FB, TO_ULTIMATE, PSI = 875.0, 2.85, 6894.757


def smoke_options(parser: argparse.ArgumentParser) -> None:
    """The options of `work-out smoke`."""
    parser.add_argument("--heat", required=True, metavar="POWER", help="heat release of the fire: 1MW, 800kW")
    parser.add_argument("--diameter", default="4ft", metavar="LENGTH", help="of the fire (default: 4ft)")
    parser.add_argument("--clear", required=True, metavar="LENGTH", help="height of the smoke above the floor: 5ft")
    parser.add_argument("--vent-height", required=True, metavar="LENGTH", help="of the hole above the floor: 13ft")
    parser.add_argument("--inlet", required=True, metavar="AREA", help="open below the smoke: 20ft2")
    parser.add_argument("--opening", default="16ft2", metavar="AREA", help="a hole to compare (default: 16ft2)")


def work_smoke(told: argparse.Namespace) -> Answer:
    """What the vent equations say, and what was measured."""
    heat = read(told.heat, "power", "heat") / 1e3
    diameter, clear, height = (read(text, "length", name, "ft") for text, name in
                               ((told.diameter, "diameter"), (told.clear, "clear"), (told.vent_height, "vent height")))
    inlet, hole = (read(text, "area", name, "ft2") for text, name in ((told.inlet, "inlet"), (told.opening, "opening")))
    inputs = (Value("heat", "fire", 1e3 * heat, "kW"), Value("diameter", "its diameter", diameter, "ft"),
              Value("clear", "smoke above the floor", clear, "ft"),
              Value("vent_height", "hole above the floor", height, "ft"),
              Value("inlet", "inlet", inlet, "ft2"), Value("opening", "hole", hole, "ft2"))
    for name, value, low, high in (("heat", heat, 50, 10_000), ("inlet", inlet, 0.05, 50), ("opening", hole, 0.05, 20),
                                   ("diameter", diameter, 0.2, 5)):
        if not low <= value <= high:
            raise OutsideLimits(f"{value:.3g} is outside its limits", where=name,
                                why="the equations were tested on fires and holes of a house's size",
                                next_step=f"give {low:g} to {high:g} {'kW' if name == 'heat' else 'm2 or m'}")
    sized = vents.sized_hole(heat, diameter, clear, height, inlet)
    depth = height - clear
    both_ways = vents.exchange(hole, sized.temperature)
    results = (
        Value("flame_height", "flame height", smoke.flame_height(heat, diameter), "ft"),
        Value("plume_flow", "gas carried up into the smoke", sized.flow, "kg/s"),
        Value("layer_temperature", "its temperature", sized.temperature - ZERO_C, "C"),
        Value("buoyant_pressure", "its pressure at the hole", vents.buoyant_pressure(depth, sized.temperature), "Pa"),
        Value("flow_through_opening", "gas that this hole passes",
              vents.vent_flow(hole, inlet, depth, sized.temperature), "kg/s"),
        Value("equation_area", "hole that the equations ask for", sized.area, "ft2",
              "" if sized.area else "none: the inlet alone passes less, no hole is large enough"),
        Value("exchange_in", "air in through it as the only opening", both_ways.into, "kg/s",
              f"feeds {both_ways.into * 3:.1f} MW"),
        Value("cancelling_wind", "wind that stops it", vents.cancelling_wind(depth, sized.temperature, 0.9), "mph",
              "hole on the windward slope, inlet leeward"),
    )
    measured = [{"fire_kW": heat_kw, "vents": count, "layer_C": hot, "interface_m": high}
                for heat_kw, temperatures, interfaces in smoke.MEASURED_VENTS
                for count, (hot, high) in enumerate(zip(temperatures, interfaces, strict=True))]
    return Answer(
        "smoke", inputs, results,
        ("Heskestad plume as in the CFAST Technical Reference", "PD 7974-2 eq. 62 (Thomas and Hinkley)",
         "Cooper 1989, NISTIR 89-4052", "CFAST Validation Guide, UL/NIST vent experiments"),
        ("one steady fire, one uniform layer, still air, a free hole at the top; half of the heat stays in the gas",
         smoke.MEASURED_NOTE),
        "how large a hole this fire needs: with the air that a hole lets in an unwetted fire grows", "teaching only",
        {"measured": measured})


def fire_options(parser: argparse.ArgumentParser) -> None:
    """The options of `work-out fire`."""
    parser.add_argument("--room", nargs=3, required=True, metavar=("LONG", "WIDE", "HIGH"), help="20ft 15ft 8ft")
    parser.add_argument("--door", nargs=2, required=True, metavar=("WIDE", "HIGH"), help="the one opening: 3ft 7ft")
    parser.add_argument("--growth", default="fast", choices=tuple(smoke.GROWTH_S), help="of the fire (default: fast)")


def work_fire(told: argparse.Namespace) -> Answer:
    """Flashover and air-limited heat of a room with one opening."""
    long, wide, high = (read(text, "length", name, "ft") for text, name in
                        zip(told.room, ("room length", "room width", "room height"), strict=True))
    door_wide, door_high = (read(text, "length", name, "ft") for text, name in
                            zip(told.door, ("door width", "door height"), strict=True))
    if not (0 < door_high <= high and 0 < door_wide <= max(long, wide)):
        raise WrongUse("the door is larger than its wall", where="door", next_step="give a smaller width or height")
    if not (4 <= long * wide <= 60 and 2 <= high <= 5):
        floor = f"{long * wide / FOOT**2:.0f} ft2, {high / FOOT:.1f} ft high"
        raise OutsideLimits(f"a room of {floor} is outside its limits", where="room",
                            why="the methods were fitted to small rooms",
                            next_step="give 43 to 646 ft2 and 6.6 to 16.4 ft")
    door = door_wide * door_high
    walls = 2 * (long * wide + long * high + wide * high) - door
    methods = smoke.flashover_heat(door, door_high, walls)
    least, most = min(methods.values()), max(methods.values())
    limited = smoke.air_limited_heat(door, door_high)
    seconds = [smoke.GROWTH_S[told.growth] * (heat / 1055.0) ** 0.5 for heat in (least, most)]
    inputs = (Value("floor", "floor", long * wide, "ft2"), Value("height", "height", high, "ft"),
              Value("opening", "opening", door, "ft2"), Value("growth", "growth", told.growth))
    results = (
        Value("flashover_heat", "heat at flashover", (1e3 * least, 1e3 * most), "kW",
              ", ".join(f"{name} {heat:.0f}" for name, heat in methods.items())),
        Value("air_limited_heat", "heat that the opening's air can feed", 1e3 * limited, "kW"),
        Value("seconds", "from flaming to there, by the growth curve", tuple(seconds), "s"),
    )
    return Answer("fire", inputs, results,
                  ("PD 7974-1 eq. 28 and 33", "NUREG-1805 ch. 13", "NFPA 204 growth curves"),
                  ("small room, one wall opening, plaster-like walls; methods differ by half and more",
                   "the growth time starts at established flaming, which nobody saw"),
                  "when a room will flash over: furniture, air and what burns already decide that", "teaching only")


def timber_options(parser: argparse.ArgumentParser) -> None:
    """The options of `work-out timber`."""
    parser.add_argument("--member", default="2x6", metavar="SIZE", help=f"{', '.join(LUMBER)} (default: 2x6)")
    parser.add_argument("--span", default="13ft", metavar="LENGTH", help="level span (default: 13ft)")
    parser.add_argument("--spacing", default="16in", metavar="LENGTH", help="on centre (default: 16in)")
    parser.add_argument("--dead-load", default="10psf", metavar="PRESSURE", help="of the roof (default: 10psf)")
    parser.add_argument("--load", default="300lb", metavar="MASS", help="mid-span on the one member (default: 300lb)")
    parser.add_argument("--minutes", type=float, default=10.0, metavar="N", help="of standard exposure (default: 10)")
    parser.add_argument("--deck", default="osb", choices=tuple(timber.PANELS), help="panel (default: osb)")
    parser.add_argument("--deck-thickness", default="7/16in", metavar="LENGTH", help="(default: 7/16in)")


def work_timber(told: argparse.Namespace) -> Answer:
    """Char, what is left and when a charred member would fail in a furnace."""
    size = re.sub(r"\s", "", told.member.lower())
    if size not in LUMBER:
        raise OutsideLimits(f"no lumber of size {told.member!r}", where="member", next_step=f"use {', '.join(LUMBER)}")
    if not 0 < told.minutes <= 60:
        raise OutsideLimits(f"{told.minutes:g} minutes is outside its limits", where="minutes",
                            why="small members are gone long before an hour", next_step="give 1 to 60 minutes")
    breadth, depth, factor = LUMBER[size]
    breadth, depth = breadth * INCH, depth * INCH
    span, spacing = read(told.span, "length", "span", "ft"), read(told.spacing, "length", "spacing", "in")
    dead, person = read(told.dead_load, "pressure", "dead load", "psf"), read(told.load, "mass", "load", "lb")
    if not (1 <= span <= 12 and 0.15 <= spacing <= 2.5):
        raise OutsideLimits("span or spacing is outside its limits", where="span",
                            next_step="give a span of 3.3 to 39 ft and a spacing of 6 to 98 in")
    strength = TO_ULTIMATE * FB * factor * PSI
    alone, loaded = (timber.bending_demand(span, dead * spacing, mass * 9.81) for mass in (0.0, person))
    seconds = told.minutes * 60
    chars = (timber.effective_char_nds(seconds), timber.effective_char_eurocode(seconds))
    lefts = [timber.charred(breadth, depth, char, strength) for char in chars]
    whole = timber.charred(breadth, depth, 0.0, strength)

    def fails(demand: float) -> tuple[float, ...]:
        times = (timber.time_to_ultimate(breadth, depth, strength, demand, eurocode=one) for one in (True, False))
        return tuple(sorted(times))

    thickness = read(told.deck_thickness, "length", "deck thickness", "in")
    inputs = (Value("member", "member", size), Value("span", "span", span, "ft"),
              Value("spacing", "spacing on centre", spacing, "in"),
              Value("dead_load", "dead load", dead, "psf"), Value("load", "load mid-span on one member", person, "lb"),
              Value("minutes", "standard exposure", told.minutes * 60, "min"))
    results = (
        Value("char", "char with the weak wood below it", tuple(sorted(chars)), "in", "each side and below"),
        Value("strength_left", "bending strength left",
              tuple(sorted(100 * left.capacity / whole.capacity for left in lefts)), "%"),
        Value("fails_alone", "furnace time to failure, roof alone", fails(alone), "min"),
        Value("fails_loaded", "furnace time to failure, with the load", fails(loaded), "min"),
        Value("deck_burn_through", f"furnace time through the {told.deck}",
              timber.panel_burn_through(thickness, told.deck), "min"),
    )
    return Answer(
        "timber", inputs, results,
        ("NDS 16.2 and TR10 (char); factor 2.85 to ultimate from memory", "EN 1995-1-2 3.4, 4.2 as a public "
         "implementation has it; panel rates from memory", "strength: spruce-pine-fir No.2"),
        ("standard furnace exposure on three sides, bending of a sawn member; no joint, nail plate, truss or i-joist",
         "one member carries the load alone; a sound deck would share it, a burned one does not"),
        "minutes left on any roof: nobody knows when this fire reached the wood, and joints and plates fail first",
        "teaching only")
