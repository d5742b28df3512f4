"""Flow through holes in a roof, in closed form. For teaching only: nothing here enters advice.

The hole is at the top of a uniform hot layer, air comes in low through an inlet, no wind, gas goes one way. Measured
beside them in the UL/NIST vent tests (`smoke.MEASURED_VENTS`): fed with the measured layer, the vent equation gave 1.04
times the measured inflow with one vent (0.79 to 1.37) and 0.82 with two (0.71 to 1.07); the whole chain flatters.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from fieldaid.workings.limits import within
from fieldaid.workings.smoke import AMBIENT, HEAT, G, air_density, plume_flow
from fieldaid.workings.wind_pressure import AIR_DENSITY

DISCHARGE = 0.6
FOOT = 0.3048


@dataclass(frozen=True)
class Exchange:
    """Flow both ways through one hole that is the only opening: volume [m3/s], mass out and in [kg/s], and the pressure
    across it above which it flows one way only [Pa]."""

    volume: float
    out: float
    into: float
    flooding: float


@dataclass(frozen=True)
class Sizing:
    """A hole that would hold the layer at a height: gas to carry away [kg/s], its temperature [K], area [m2].

    `area` is None when no hole is large enough: the inlet alone passes less.
    """

    flow: float
    temperature: float
    area: float | None


def buoyant_pressure(depth: float, hot: float, cold: float = AMBIENT) -> float:
    """Pressure of a hot layer `depth` [m] deep at its top, over the air at the same height [Pa].

    353 g d (1/T0 - 1/T1), temperatures in K.

    >>> round(buoyant_pressure(2, 673.15), 1)
    13.3
    """
    return 353.0 * G * (1 / cold - 1 / hot) * depth


def vent_flow(vent: float, inlet: float, depth: float, hot: float, cold: float = AMBIENT, discharge: float = DISCHARGE
              ) -> float:
    """Gas through a hole of `vent` [m2] over a layer `depth` [m] deep at `hot` [K], fed through `inlet` [m2] -> [kg/s].

    Thomas and Hinkley; PD 7974-2 eq. 62. It follows from Bernoulli, and the tests solve the pressure balance apart.
    """
    rise = hot - cold
    return air_density(cold) * discharge * vent * math.sqrt(
        2 * G * depth * rise * cold / (hot**2 + (vent / inlet) ** 2 * cold * hot))


def vent_area(flow: float, inlet: float, depth: float, hot: float, cold: float = AMBIENT, discharge: float = DISCHARGE
              ) -> float | None:
    """The hole [m2] that passes `flow` [kg/s], the inverse of `vent_flow`; None when the inlet alone passes less."""
    rise = hot - cold
    room = 2 * G * depth * air_density(cold) ** 2 * rise * cold - hot * cold * (flow / (inlet * discharge)) ** 2
    return flow * hot / (discharge * math.sqrt(room)) if room > 0 else None


def sized_hole(heat: float, diameter: float, clear: float, vent_height: float, inlet: float) -> Sizing:
    """The hole that would hold smoke at `clear` [m] above the floor, if the equations held.

    `heat` [kW] of a fire `diameter` [m] on the floor; hole at `vent_height` [m]; `inlet` [m2] below the layer. Half of
    the heat is taken to stay in the gas.

    Raises
    ------
    OutsideLimits : the layer would be thinner than a foot, or hotter than 900 C
    """
    within("clear height", clear / FOOT, 1.5, vent_height / FOOT - 1, "ft", "the equations need a layer with air below")
    flow = plume_flow(heat, diameter, clear)
    hot = AMBIENT + 0.5 * heat / (flow * HEAT)
    within("layer temperature", hot - 273.15, 20.0, 900.0, "C", "beyond it the plume equation is far outside its tests")
    return Sizing(flow, hot, vent_area(flow, inlet, vent_height - clear, hot))


def exchange(area: float, hot: float, cold: float = AMBIENT, *, square: bool = True) -> Exchange:
    """Gas out and air in through a hole of `area` [m2] that is the only opening (Cooper 1989, NISTIR 89-4052).

    V = 0.10 sqrt(g drho A^2.5 / rho); flooding pressure Cs^2 g drho D^5 / (2 A^2), Cs 0.942 square, 0.754 round.
    Steady, two rooms; the CFAST Validation Guide says that large roof vents are predicted badly.
    """
    dense, light = air_density(cold), air_density(hot)
    between = dense - light
    volume = 0.1 * math.sqrt(G * between * area**2.5 / ((dense + light) / 2))
    across = 2 * math.sqrt(area / math.pi)
    shape = 0.942 if square else 0.754
    return Exchange(volume, volume * light, volume * dense, shape**2 * G * between * across**5 / (2 * area**2))


def cancelling_wind(depth: float, hot: float, difference: float, cold: float = AMBIENT) -> float:
    """Wind [m/s] whose pressure just stops a layer `depth` [m] deep at `hot` [K] from leaving.

    `difference` of pressure coefficients between hole and inlet, above 0; from buoyancy against rho V^2 / 2.

    >>> round(cancelling_wind(2, 673.15, 0.9) / 0.44704)
    11
    """
    within("coefficient difference", difference, 0.05, 2.5, "", "between faces of one house codes give no more")
    return math.sqrt(2 * buoyant_pressure(depth, hot, cold) / (AIR_DENSITY * difference))
