"""Fire, plume and hot layer in closed form. For teaching only: nothing here enters advice.

Each equation holds for a room with walls that were measured in steady, tidy tests; a house fire is not one. Symbols and
units of the sources are kept: kW, m, K, s, kg/s. Air is 353/T kg/m3 and 1.0 kJ/(kg K).

Sources: NIST SP 1169 (Verification and validation of fire models, closed-form correlations), NUREG-1805, the CFAST
Technical Reference, NFPA 204 (growth), PD 7974-1 (flashover, as a public implementation has it).
"""

from __future__ import annotations

import math

from fieldaid.workings.limits import within

G = 9.81
HEAT = 1.0  # kJ/(kg K)
AMBIENT = 293.15
GROWTH_S = {"slow": 600.0, "medium": 300.0, "fast": 150.0, "ultra-fast": 75.0}

# UL/NIST vent tests, gas burner in a 6.1 x 4.3 x 2.4 m room with a door, no, one and two 1.2 m square ceiling vents
# (CFAST Validation Guide, "UL/NIST Vent Experiments"; data in firemodels/exp): fire [kW], layer [C], interface [m].
MEASURED_VENTS = (
    (450.0, (246, 120, 118), (1.14, 1.42, 1.45)),
    (1011.0, (396, 212, 210), (0.94, 1.21, 1.29)),
    (2170.0, (550, 382, 368), (0.66, 0.96, 1.01)),
)
MEASURED_NOTE = ("measured beside it (UL/NIST vent tests): the first 4x4 ft ceiling vent took 31 to 55 % of the "
                 "temperature rise away, the second at most 3 points more; this chain of equations put the smoke layer "
                 "0.35 to 0.65 m higher than it was measured, so it flatters")


def air_density(temperature: float) -> float:
    """353/T of air at `temperature` [K] -> [kg/m3], at sea level."""
    return 353.0 / temperature


def growing_fire(seconds: float, growth: str) -> float:
    """Heat release of a t-squared fire [kW]: 1055 (t/tg)^2, 1055 kW at the growth time (NFPA 204).

    >>> growing_fire(150, "fast")
    1055.0
    """
    return 1055.0 * (seconds / GROWTH_S[growth]) ** 2


def flame_height(heat: float, diameter: float) -> float:
    """Mean flame height over the base [m], -1.02 D + 3.7 D Q*^0.4 (Heskestad; CFAST Technical Reference).

    `heat` in kW, `diameter` of the fire in m. Open fire, no ceiling in reach.

    >>> round(flame_height(1000, 1), 2)
    2.53
    """
    star = heat / (air_density(AMBIENT) * HEAT * AMBIENT * math.sqrt(G * diameter) * diameter**2)
    return diameter * (-1.02 + 3.7 * star**0.4)


def plume_flow(heat: float, diameter: float, height: float, radiated: float = 0.35) -> float:
    """Mass carried up by the plume through `height` [m] above the fire -> [kg/s] (Heskestad, as CFAST has it).

    `heat` in kW, `diameter` in m. Axisymmetric; below the flame's tip taken as a straight line. At a wall or in a
    corner less air is drawn in.
    """
    star = heat / (air_density(AMBIENT) * HEAT * AMBIENT * math.sqrt(G * diameter) * diameter**2)
    tip, origin = (diameter * (-1.02 + factor * star**0.4) for factor in (3.7, 1.4))
    convected = heat * (1 - radiated)

    def flow(at: float) -> float:
        above = at - origin
        dense = air_density(AMBIENT)
        swelling = 2.9 * convected ** (2 / 3) / ((math.sqrt(G) * HEAT * dense * AMBIENT) ** (2 / 3) * above ** (5 / 3))
        return 0.196 * (G * dense**2 / (HEAT * AMBIENT)) ** (1 / 3) * convected ** (1 / 3) * above ** (5 / 3) * (
            1 + swelling)

    return flow(height) if height >= tip else flow(tip) * height / tip


def plume_temperature_rise(heat: float, area: float, height: float, radiated: float = 0.35, ambient: float = AMBIENT
                           ) -> float:
    """Centre-line rise [K] at `height` [m] over a fire of `area` [m2] (Heskestad; SP 1169, NUREG-1805 ch. 9).

    Above the flame's tip, open.
    """
    diameter = math.sqrt(4 * area / math.pi)
    origin = -1.02 * diameter + 0.083 * heat**0.4
    factor = (ambient / (G * HEAT**2 * air_density(ambient) ** 2)) ** (1 / 3)
    return 9.1 * factor * (heat * (1 - radiated)) ** (2 / 3) / (height - origin) ** (5 / 3)


def mccaffrey_temperature_rise(heat: float, height: float, ambient: float = AMBIENT) -> float:
    """Centre-line temperature rise [K] at `height` [m] (McCaffrey 1979, NBSIR 79-1910; SP 1169). Open."""
    z = height / heat**0.4
    eta, kappa = (0.5, 6.8) if z < 0.08 else (0.0, 1.9) if z < 0.2 else (-1 / 3, 1.1)
    return (kappa / (0.9 * math.sqrt(2 * G))) ** 2 * z ** (2 * eta - 1) * ambient


def ceiling_jet_rise(heat: float, height: float, radius: float) -> float:
    """Temperature rise under a flat ceiling [K] (Alpert; SP 1169): `height` [m] over the fire, `radius` [m] aside."""
    if radius / height <= 0.18:
        return 16.9 * heat ** (2 / 3) / height ** (5 / 3)
    return 5.38 * (heat / radius) ** (2 / 3) / height


def wall_conductance(k: float, density: float, heat: float, thickness: float, seconds: float) -> float:
    """Heat taken by walls [kW/(m2 K)]: sqrt(k rho c / t) until heat is through them, k/delta after (SP 1169).

    `k` [kW/(m K)], `density` [kg/m3], `heat` [kJ/(kg K)], `thickness` [m].
    """
    through = density * heat / k * (thickness / 2) ** 2
    return math.sqrt(k * density * heat / seconds) if seconds <= through else k / thickness


def layer_rise(heat: float, opening: float, opening_height: float, conductance: float, surface: float) -> float:
    """Temperature rise of the hot layer [K]: 6.85 (Q^2 / (A sqrt(H) hk AT))^(1/3) (MQH; SP 1169, NUREG-1805 ch. 2).

    One wall opening of area A [m2] and height H [m], walls AT [m2] with hk [kW/(m2 K)]; steady, fuel-controlled, below
    some 600 K of rise. Not for a hole in the roof.

    Raises
    ------
    OutsideLimits : the rise would be above 600 K, where the room flashes over
    """
    rise = 6.85 * (heat**2 / (opening * math.sqrt(opening_height) * conductance * surface)) ** (1 / 3)
    return within("layer temperature", rise, 0.0, 600.0, "K above air", "the correlation was fitted below flashover")


def layer_depth(heat: float, area: float, height: float, seconds: float, ambient: float = AMBIENT) -> float:
    """Depth of smoke [m] after `seconds` under a ceiling at `height` [m] of a room of `area` [m2], not vented.

    dz/dt = -(0.21 (g / (rho c T))^(1/3) Q^(1/3) z^(5/3) + Q/353) / A (Zukoski; SP 1169), in steps of a second.
    """
    clear, time = height, 0.0
    factor = 0.21 * (G / (air_density(ambient) * HEAT * ambient)) ** (1 / 3)
    while time < seconds - 1e-9 and clear > 0:
        step = min(1.0, seconds - time)
        clear -= (factor * heat ** (1 / 3) * clear ** (5 / 3) + heat / 353.0) / area * step
        time += step
    return height - max(clear, 0.0)


def flashover_heat(opening: float, opening_height: float, surface: float, conductance: float | None = None
                   ) -> dict[str, float]:
    """Heat release at flashover [kW] by each method: Babrauskas, Thomas, and MQH where the walls are known.

    Small rooms with one wall opening (PD 7974-1, NUREG-1805 ch. 13). The methods differ by half and more.

    >>> {name: round(heat) for name, heat in flashover_heat(2.0, 9.0, 1.0).items()}
    {'Babrauskas': 4500, 'Thomas': 2276}
    """
    flow = opening * math.sqrt(opening_height)
    found = {"Babrauskas": 750 * flow, "Thomas": 7.8 * surface + 378 * flow}
    if conductance is not None:
        found["MQH"] = 610 * math.sqrt(conductance * surface * flow)
    return found


def air_limited_heat(opening: float, opening_height: float) -> float:
    """Heat that the air through one wall opening can feed after flashover [kW]: 1500 A sqrt(H) (PD 7974-1 eq. 33).

    >>> air_limited_heat(3, 9)
    13500.0
    """
    return 1500.0 * opening * math.sqrt(opening_height)
