"""Conversion between units, by their names in the pint library."""

from __future__ import annotations

import re

from workbook_tools.errors import ArgumentError, Problem
from workbook_tools.functions.formulas.unit_table import OTHERS, PREFIXES, UNITS
from workbook_tools.functions.quantities import RealNumber, UnitName, checked

Unit = tuple[float, float, tuple[float, ...]]
TOKEN = re.compile(r"\s*(\*\*|[*/^()]|\d+(?:\.\d+)?|[^\W\d]\w*|%)")
NONE = (0.0,) * 6
LONGEST = 100
SPELLINGS = str.maketrans({"°": "deg", "μ": "µ", "²": "^2", "³": "^3", "·": "*"})


@checked
def convert(value: RealNumber, from_unit: UnitName, to_unit: UnitName) -> RealNumber:
    """A value in another unit.

    Parameters
    ----------
    value : number to convert. [number]
    from_unit : its unit: gallon, foot**3, acre_foot, mg/L, degF, uS/cm ... [unit]
    to_unit : the unit wanted, of the same dimension. [unit]

    Returns
    -------
    The value in the unit wanted. [number]

    Raises
    ------
    ArgumentError : a unit that is not known, or two units of different dimensions.

    Notes
    -----
    (value * factor + offset - offset wanted) / factor wanted. Names, symbols and prefixes as in pint, products,
    quotients and powers of them. Gallons and ounces are those of the US. "ppm" is only a number here: by weight and
    by volume it names different doses.

    Examples
    --------
    >>> f"{convert(1, 'acre_foot', 'gallon'):.0f}", f"{convert(50, 'degF', 'degC'):.2f}"
    ('325851', '10.00')

    References
    ----------
    Factors of the pint library (NIST SP 811 values).
    """
    units = []
    problems = []
    for name, text in (("from unit", from_unit), ("to unit", to_unit)):
        try:
            units.append(parse(text))
        except ValueError as error:
            problems.append(Problem(name, text, str(error), ""))
    if not problems and _mixes_temperatures(units[0], units[1], from_unit, to_unit):
        problems.append(Problem("from unit and to unit", (from_unit, to_unit), "a temperature is no difference", ""))
    if not problems and any(abs(a - b) > 1e-9 for a, b in zip(units[0][2], units[1][2], strict=True)):
        problems.append(Problem("from unit and to unit", (from_unit, to_unit), "have different dimensions", ""))
    if problems:
        raise ArgumentError("unit.convert", problems, "value")
    (factor, offset, _), (wanted_factor, wanted_offset, _) = units
    if (factor, offset) == (wanted_factor, wanted_offset):
        return value
    if offset == wanted_offset:
        return value * (factor / wanted_factor)
    return (value * factor + offset - wanted_offset) / wanted_factor


def _mixes_temperatures(one: Unit, other: Unit, from_unit: str, to_unit: str) -> bool:
    """A reading such as 5 degC is not the difference 5 delta_degC: it would become 278.15."""
    differences = [text.strip().lower().startswith(("delta_", "Δ")) for text in (from_unit, to_unit)]
    return (one[1] != 0 and differences[1]) or (other[1] != 0 and differences[0])


def parse(text: str) -> Unit:
    """Factor, offset and dimension of a unit expression such as `mg/L` or `foot**3`. Raises ValueError in words."""
    if len(text) > LONGEST:
        raise ValueError(f"is longer than {LONGEST} letters")
    tokens = _tokens(text.translate(SPELLINGS))
    single = len(tokens) == 1
    unit, rest = _product(tokens, text)
    if rest:
        raise ValueError(f"cannot be read as a unit at {rest[0]!r}")
    if unit[1] and not single:
        raise ValueError("a temperature with an offset cannot be part of a product; use its delta_ form")
    return unit


def _tokens(text: str) -> list[str]:
    found = []
    position = 0
    while position < len(text.rstrip()):
        match = TOKEN.match(text, position)
        if not match:
            raise ValueError(f"cannot be read as a unit at {text[position:]!r}")
        found.append(match[1])
        position = match.end()
    return found


def _product(tokens: list[str], text: str) -> tuple[Unit, list[str]]:
    unit, tokens = _power(tokens, text)
    while tokens and tokens[0] != ")":
        sign = -1.0 if tokens[0] == "/" else 1.0
        other, tokens = _power(tokens[1:] if tokens[0] in "*/" else tokens, text)
        if unit[1] or other[1]:
            raise ValueError("a temperature with an offset cannot be part of a product; use its delta_ form")
        powers = tuple(a + sign * b for a, b in zip(unit[2], other[2], strict=True))
        unit = (unit[0] * other[0] ** sign, 0.0, powers)
    return unit, tokens


def _power(tokens: list[str], text: str) -> tuple[Unit, list[str]]:
    if not tokens:
        raise ValueError("ends where a unit is expected")
    head, rest = tokens[0], tokens[1:]
    if head == "(":
        unit, rest = _product(rest, text)
        if not rest:
            raise ValueError("lacks a closing bracket")
        rest = rest[1:]
    elif head[0].isdigit():
        unit = (float(head), 0.0, NONE)
    elif head in ("*", "/", "**", "^", ")"):
        raise ValueError(f"cannot be read as a unit at {head!r}")
    else:
        unit = _named(head)
    if rest and rest[0] in ("**", "^"):
        if len(rest) < 2 or not rest[1][0].isdigit():
            raise ValueError("lacks a power after the power sign")
        if unit[1]:
            raise ValueError("a temperature with an offset has no powers")
        power = float(rest[1])
        unit = (unit[0] ** power, 0.0, tuple(p * power for p in unit[2]))
        rest = rest[2:]
    return unit, rest


def _named(name: str) -> Unit:
    name = {"%": "percent"}.get(name, name)
    if name in UNITS:
        return UNITS[name]
    if name in OTHERS:
        raise ValueError("measures something else than length, mass, time, temperature, amount and current")
    for stem in (name, name.removesuffix("s")):
        if stem in UNITS:
            return UNITS[stem]
        for length in range(len(stem) - 1, 0, -1):
            prefix, rest = stem[:length], stem[length:]
            if prefix in PREFIXES and rest in UNITS and not UNITS[rest][1]:
                factor, _, powers = UNITS[rest]
                return factor * PREFIXES[prefix], 0.0, powers
    raise ValueError("is not a unit that is known")
