"""Workings against other people's libraries, each skipped where it is not installed: ofire, fluids, CoolProp, pint."""

from __future__ import annotations

import math

import pytest

from fieldaid.workings import quantity, smoke, vents, wind_pressure

FOOT = 0.3048


def test_layer_temperature_against_ofire():
    ofire = pytest.importorskip("ofire")
    theirs = ofire.fire_dynamics_tools.chapter_2.equation_2_1.hot_gas_temperature_increase(
        200.0, [1.5656], [2.06], 106.4, 0.11)
    assert smoke.layer_rise(200, 1.5656, 2.06, 0.11, 106.4) == pytest.approx(theirs, rel=1e-9)


def test_flashover_and_air_limit_against_ofire():
    ofire = pytest.importorskip("ofire")
    part = ofire.pd_7974.part_1.section_8
    surface, opening, height = 106.0, 2.2, 2.4
    ours = smoke.flashover_heat(opening, height, surface, 0.0107)
    limit = part.equation_33.q_max_vc(opening, height)
    assert ours["Thomas"] == pytest.approx(part.equation_28.q_fo(surface, opening, height), rel=1e-9)
    assert ours["MQH"] == pytest.approx(part.equation_29.q_fo(0.0107, surface, opening, height), rel=1e-9)
    assert smoke.air_limited_heat(opening, height) == pytest.approx(limit, rel=1e-9)


def test_pressures_against_ofire():
    ofire = pytest.importorskip("ofire")
    chapter = ofire.sfpe_handbook.chapter_50
    assert vents.buoyant_pressure(1.52, 1073.15, 293.15) == pytest.approx(
        chapter.equation_50_2.pressure_difference(20.0, 800.0, 1.52), rel=0.01)
    assert 0.8 * wind_pressure.dynamic_pressure(15.6, 1.2) == pytest.approx(
        chapter.equation_50_4.wind_pressure(0.8, 1.2, 15.6), rel=1e-6)


def test_air_density_against_fluids():
    """International standard atmosphere at sea level."""
    fluids = pytest.importorskip("fluids")
    atmosphere = fluids.atmosphere.ATMOSPHERE_1976(0.0)
    assert pytest.approx(atmosphere.rho, rel=1e-3) == wind_pressure.AIR_DENSITY
    assert smoke.air_density(atmosphere.T) == pytest.approx(atmosphere.rho, rel=2e-3)


@pytest.mark.parametrize("celsius", [20, 100, 300, 600, 900])
def test_air_density_against_coolprop(celsius):
    """353/T is air at one atmosphere within half a percent, cold or hot; its heat capacity is not 1.0 when hot."""
    properties = pytest.importorskip("CoolProp.CoolProp")
    kelvin = celsius + 273.15
    theirs = properties.PropsSI("D", "T", kelvin, "P", 101325, "Air")
    assert smoke.air_density(kelvin) == pytest.approx(theirs, rel=5e-3)
    heat = properties.PropsSI("C", "T", kelvin, "P", 101325, "Air") / 1000
    assert smoke.HEAT <= heat <= smoke.HEAT * 1.2


@pytest.mark.parametrize(("kind", "unit", "theirs"), [
    ("length", "ft", "foot"), ("length", "in", "inch"), ("length", "cm", "centimeter"), ("speed", "mph", "mile/hour"),
    ("speed", "kt", "knot"), ("speed", "km/h", "kilometer/hour"), ("area", "ft2", "foot**2"),
    ("area", "in2", "inch**2"), ("volume", "ft3", "foot**3"), ("volume", "l", "liter"),
    ("flow", "l/min", "liter/minute"), ("flow", "cfm", "foot**3/minute"),
    ("pressure", "psi", "psi"), ("pressure", "bar", "bar"), ("pressure", "psf", "pound_force/foot**2"),
    ("mass", "lb", "pound"), ("power", "btu/s", "Btu/second"), ("density", "pcf", "pound/foot**3"),
])
def test_units_against_pint(kind, unit, theirs):
    pint = pytest.importorskip("pint")
    registry = pint.UnitRegistry()
    base = {"length": "m", "speed": "m/s", "area": "m**2", "volume": "m**3", "flow": "m**3/s", "pressure": "Pa",
            "mass": "kg", "power": "W", "density": "kg/m**3"}[kind]
    expected = registry.Quantity(7.25, theirs).to(base).magnitude
    assert quantity.read(f"7.25 {unit}", kind, "x") == pytest.approx(expected, rel=1e-5)


@pytest.mark.parametrize(("text", "theirs", "unit"), [("600F", 600, "degF"), ("20 C", 20, "degC"),
                                                      ("300K", 300, "kelvin")])
def test_temperatures_against_pint(text, theirs, unit):
    pint = pytest.importorskip("pint")
    registry = pint.UnitRegistry()
    expected = registry.Quantity(theirs, unit).to("kelvin").magnitude
    assert quantity.read(text, "temperature", "x") == pytest.approx(expected)
    assert math.isfinite(expected)
