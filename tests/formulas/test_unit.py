"""Conversion between units, against pint: every pair of names a fish vet may meet, products, prefixes, refusals."""

from __future__ import annotations

import itertools
import math
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from tests.formulas.test_vessel import (
    Edge,
    check_limit,
    check_pair,
    check_published,
    check_refused,
    edges,
    limits,
    pairs,
)
from tests.support.published import Case, published
from workbook_tools.errors import ArgumentError
from workbook_tools.functions.formulas import unit
from workbook_tools.functions.formulas.unit_table import PREFIXES, UNITS
from workbook_tools.functions.quantities import unit_table_writer

ROOT = Path(__file__).parents[2]
# names of one dimension, as they stand on labels, meters, tank plates and in handbooks
GROUPS: dict[str, tuple[str, ...]] = {
    "length": ("m", "cm", "mm", "km", "um", "metre", "meter", "inch", "inches", "in", "ft", "foot", "feet", "yard"),
    "area": ("m**2", "m^2", "m²", "cm**2", "hectare", "acre", "foot**2", "ft**2", "square_foot", "inch**2", "yd**2"),
    "volume": (
        *("L", "l", "litre", "liter", "litres", "mL", "ml", "millilitre", "uL", "µL", "μL", "microliter", "dL"),
        *("m**3", "m³", "cm**3", "cc", "gallon", "gallons", "gal", "imperial_gallon", "quart", "pint", "fluid_ounce"),
        *("cup", "tablespoon", "teaspoon", "foot**3", "ft**3", "cubic_foot", "inch**3", "acre_foot", "acre_feet"),
    ),
    "mass": (
        *("g", "gram", "grams", "kg", "kilogram", "mg", "milligram", "ug", "µg", "μg", "microgram", "ng", "tonne"),
        *("metric_ton", "pound", "pounds", "lb", "lbs", "ounce", "oz", "grain", "short_ton", "long_ton", "stone"),
    ),
    "time": (
        *("s", "second", "seconds", "ms", "min", "minute", "minutes", "h", "hr", "hour", "hours", "d", "day", "days"),
        *("week", "month", "year"),
    ),
    "temperature": ("degC", "celsius", "degree_Celsius", "°C", "degF", "fahrenheit", "°F", "K", "kelvin", "degR"),
    "difference of temperatures": ("delta_degC", "delta_degF", "delta_degree_Celsius", "K", "kelvin"),
    "concentration": (
        *("mg/L", "g/L", "ug/L", "µg/mL", "mg/mL", "kg/m**3", "g/m^3", "g/gallon", "mg/gal", "ounce/gallon"),
        *("lb/acre_foot", "pound/foot**3", "grain/gallon"),
    ),
    "share": ("1", "percent", "%", "ppm", "mL/L", "uL/L", "mL/m**3", "g/kg", "mg/g", "fluid_ounce/gallon", "lb/ton"),
    "flow": (
        *("L/min", "L/s", "L/h", "m**3/h", "m³/day", "gallon/minute", "gal/min", "gal/hour", "foot**3/second"),
        *("acre_foot/day", "L/day"),
    ),
    "rate": ("1/min", "1/s", "1/day", "Hz", "1/h"),
    "dose by weight and day": ("1/day", "mg/kg/day", "g/(kg*day)", "mg/(kg d)", "percent/day"),
    "pressure": ("Pa", "kPa", "hPa", "mbar", "millibar", "bar", "atm", "atmosphere", "mmHg", "inHg", "psi", "torr"),
    "conductivity": ("S/m", "mS/cm", "uS/cm", "µS/cm", "dS/m", "siemens/meter"),
    "amount in volume": ("mol/L", "mmol/L", "umol/L", "mol/m**3", "molar", "millimolar", "M", "mM"),
    "power": ("W", "kW", "horsepower", "watt"),
}
NAMES = tuple(dict.fromkeys(itertools.chain.from_iterable(GROUPS.values())))
VALUES = (0.0, 1.0, -40.0, 37.25, 1e-6, 1e6)


@cache
def registry() -> Any:
    """A registry of pint's own, apart from the one that the unit table was written with."""
    units: pint.UnitRegistry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True, on_redefinition="ignore")
    units.define("acre = 43560 * foot ** 2")  # SRAC 410; pint has the retired survey foot
    units.define("acre_foot = 43560 * foot ** 3 = _ = acre_feet")
    return units


def by_pint(value: float, one: str, other: str) -> float:
    return float(registry().Quantity(value, one).to(other).magnitude)


def refused(value: float, one: str, other: str) -> bool:
    try:
        unit.convert(value, one, other)
    except ArgumentError:
        return True
    return False


def refused_by_pint(value: float, one: str, other: str) -> bool:
    try:
        by_pint(value, one, other)
    except pint.PintError:
        return True
    return False


def test_there_are_enough_names() -> None:
    assert len(NAMES) >= 150


@pytest.mark.parametrize("case", published("UNIT"), ids=lambda case: case.case)
def test_published(case: Case) -> None:
    check_published(case)


@pytest.mark.parametrize("edge", edges("unit"), ids=str)
def test_refused(edge: Edge) -> None:
    check_refused(edge)


@pytest.mark.parametrize("edge", limits("unit"), ids=str)
def test_limits_are_taken(edge: Edge) -> None:
    check_limit(edge)


@pytest.mark.parametrize("pair", pairs("unit"), ids=lambda pair: f"{pair[0]}-{pair[1]}")
def test_two_bad_arguments_are_both_named(pair: tuple[Edge, Edge]) -> None:
    check_pair(*pair)


@pytest.mark.parametrize("group", GROUPS)
def test_every_pair_of_a_dimension_agrees_with_pint(group: str) -> None:
    for one, other in itertools.product(GROUPS[group], repeat=2):
        for value in VALUES:
            expected = by_pint(value, one, other)
            # near 0 degrees the offset of 273.15 or 459.67 leaves its own last bits
            near_zero = 1e-10 if group == "temperature" else 0
            answer = unit.convert(value, one, other)
            assert answer == pytest.approx(expected, rel=1e-12, abs=near_zero), (value, one, other)


@pytest.mark.parametrize("group", GROUPS)
def test_there_and_back(group: str) -> None:
    for one, other in itertools.product(GROUPS[group], repeat=2):
        back = unit.convert(unit.convert(37.25, one, other), other, one)
        assert back == pytest.approx(37.25, rel=1e-12), (one, other)


def test_other_dimensions_are_refused_where_pint_refuses_them() -> None:
    firsts = [names[0] for group, names in GROUPS.items() if group != "difference of temperatures"] + [
        "m*m",
        "kg/day",
        "mg/kg/day",
    ]
    found = 0
    for one, other in itertools.product(firsts, repeat=2):
        expected = refused_by_pint(5, one, other)
        assert refused(5, one, other) == expected, (one, other)
        found += expected
    assert found > 200


@pytest.mark.parametrize(("one", "other"), [("degC", "delta_degC"), ("delta_degC", "degC"), ("degF", "delta_degC")])
def test_a_temperature_is_no_difference_of_temperatures(one: str, other: str) -> None:
    """5 degC as a difference would be 278.15: pint refuses it, and so must we."""
    assert refused_by_pint(5, one, other)
    assert refused(5, one, other)


prefixes = st.sampled_from(["", *sorted(PREFIXES)])
plain = st.sampled_from(sorted(name for name, (_, offset, _) in UNITS.items() if not offset))
ordinary = st.sampled_from([name for name in NAMES if name.isidentifier() and name not in GROUPS["temperature"]])
powers = st.sampled_from(["", "**2", "^3", "**0.5", "**1"])
factors = st.builds("{}{}".format, ordinary, powers)


@st.composite
def products(draw: st.DrawFn) -> str:
    """Units multiplied, divided and put in brackets."""
    text = draw(factors)
    for _ in range(draw(st.integers(0, 3))):
        sign = draw(st.sampled_from(["*", "/", " * ", " / "]))
        more = draw(st.one_of(factors, st.builds("({}*{})".format, factors, factors), st.just("100")))
        text = draw(st.sampled_from([f"{text}{sign}{more}", f"({text}){sign}{more}"]))
    return text


def in_base_units(text: str) -> tuple[float, tuple[float, ...]]:
    """Factor to SI base units and powers of them, by pint."""
    quantity = registry().Quantity(registry().parse_expression(text)).to_base_units()
    dimensions = dict(quantity.dimensionality)
    return float(quantity.magnitude), tuple(float(dimensions.get(base, 0)) for base in unit_table_writer.BASES)


@given(products().filter(lambda text: len(text) <= 100))
def test_products_and_powers_agree_with_pint(text: str) -> None:
    factor, offset, dimension = unit.parse(text)
    expected, powers_of_bases = in_base_units(text)
    assert factor == pytest.approx(expected, rel=1e-11)
    assert offset == 0
    assert dimension == pytest.approx(powers_of_bases, abs=1e-12)


@given(prefixes, plain, st.sampled_from(["", "s"]))
def test_prefixes_and_plurals_agree_with_pint(prefix: str, name: str, plural: str) -> None:
    """Every prefix before every name: never another unit than pint's, though pint reads some of them not at all."""
    text = f"{prefix}{name}{plural}"
    try:
        expected, dimension = in_base_units(text)
    except (pint.PintError, ValueError):
        return
    factor, offset, found = unit.parse(text)
    assert factor + offset == pytest.approx(expected, rel=1e-9), text
    assert found == dimension, text


def test_names_outside_the_table_are_not_taken_for_others() -> None:
    """candela, decibel and their like have no factor over our base units: "cd" must not become centiday."""
    outside = [name for name in pint.UnitRegistry()._units if name.isidentifier() and name not in UNITS]
    assert "candela" in outside
    assert [name for name in outside if readable(name)] == []


def readable(name: str) -> bool:
    try:
        unit.parse(name)
    except ValueError:
        return False
    return True


@given(st.text(max_size=12))
def test_any_text_is_a_unit_or_is_refused_in_words(text: str) -> None:
    if refused(1, text, text):
        with pytest.raises(ArgumentError) as caught:
            unit.convert(1, text, "m")
        assert caught.value.problems[0].reason
    else:
        assert unit.convert(1, text, text) == 1


@pytest.mark.parametrize(
    ("text", "reason"),
    [
        ("metres per second", "is not a unit that is known"),
        ("gallonz", "is not a unit that is known"),
        ("m**", "lacks a power after the power sign"),
        ("(m", "lacks a closing bracket"),
        ("m)", "cannot be read as a unit at ')'"),
        ("m/", "ends where a unit is expected"),
        ("*m", "cannot be read as a unit at '*'"),
        ("m $", "cannot be read as a unit at ' $'"),
        ("degC*m", "a temperature with an offset cannot be part of a product"),
        ("degC/day", "a temperature with an offset cannot be part of a product"),
        ("degF**2", "a temperature with an offset has no powers"),
        ("fl_oz", "is not a unit that is known"),
        ("m**-1", "cannot be read as a unit at '-1'"),
        ("kdegC", "is not a unit that is known"),
    ],
)
def test_refusals_say_why(text: str, reason: str) -> None:
    with pytest.raises(ArgumentError) as caught:
        unit.convert(1, text, "m")
    (problem,) = caught.value.problems
    assert problem.argument == "from unit"
    assert reason in problem.reason
    assert caught.value.kind == "value"


@pytest.mark.parametrize("text", ["g/(100*L)", "oz/(100 gal)", "lb / (1000 * gallon)", "2 L/min"])
def test_numbers_in_a_unit(text: str) -> None:
    """Doses are written for so many gallons; pint reads the same product."""
    expected, dimension = in_base_units(text)
    factor, _, found = unit.parse(text)
    assert factor == pytest.approx(expected, rel=1e-12)
    assert found == dimension


def test_two_unknown_units_are_both_named() -> None:
    with pytest.raises(ArgumentError) as caught:
        unit.convert(1, "gallonz", "litrez")
    assert [problem.argument for problem in caught.value.problems] == ["from unit", "to unit"]


def test_a_text_of_over_100_letters_is_no_unit() -> None:
    assert unit.convert(1, "m" + "*1" * 49, "m") == 1
    with pytest.raises(ArgumentError, match="longer than 100 letters"):
        unit.convert(1, "m" + "*1" * 50, "m")


def test_brackets_without_end_are_refused_in_words() -> None:
    with pytest.raises(ArgumentError):
        unit.convert(1, "(" * 3000 + "m" + ")" * 3000, "m")


def test_a_conversion_past_every_number_is_refused() -> None:
    with pytest.raises(ArgumentError, match="result = inf: is not a finite number"):
        unit.convert(1e300, "Qm", "m")


def test_ppm_is_only_a_number() -> None:
    """By weight and by volume "ppm" names different doses, so it does not become mg/L."""
    assert unit.convert(5, "ppm", "1") == pytest.approx(5e-6)
    with pytest.raises(ArgumentError, match="have different dimensions"):
        unit.convert(5, "ppm", "mg/L")


WRITE = (
    "from workbook_tools.functions.quantities.unit_table_writer import source; import sys; sys.stdout.write(source())"
)


def test_the_table_is_what_the_writer_writes() -> None:
    """In a process of its own: pint adds every unit that it has read to its list."""
    done = subprocess.run(
        [sys.executable, "-X", "utf8", "-c", WRITE], cwd=ROOT, capture_output=True, check=True, timeout=300
    )
    assert done.stdout.decode() == unit_table_writer.TARGET.read_text(encoding="utf-8")


def test_factors_from_their_definitions() -> None:
    """NIST: inch 0.0254 m, pound 0.45359237 kg, US gallon 231 cubic inches, imperial gallon 4.54609 L."""
    assert unit.convert(1, "inch", "cm") == pytest.approx(2.54, rel=1e-14)
    assert unit.convert(1, "pound", "g") == pytest.approx(453.59237, rel=1e-14)
    assert unit.convert(1, "gallon", "inch**3") == pytest.approx(231, rel=1e-14)
    assert unit.convert(1, "imperial_gallon", "L") == pytest.approx(4.54609, rel=1e-14)
    assert unit.convert(-40, "degF", "degC") == pytest.approx(-40, abs=1e-10)
    assert math.isclose(unit.convert(0, "degC", "degF"), 32, abs_tol=1e-10)
