"""Writes `formulas/unit_table.py` from pint, so that Python, cells and extension cannot disagree on a factor.

Run `python -m workbook_tools.functions.quantities.unit_table_writer` after a change of pint; a test compares the file.
"""

from __future__ import annotations

import contextlib
from pathlib import Path
from typing import Any

import pint

from workbook_tools.functions.quantities.boundary import registry

BASES = ("[length]", "[mass]", "[time]", "[temperature]", "[substance]", "[current]")
TARGET = Path(__file__).parents[1] / "formulas" / "unit_table.py"
HEADER = '''"""Units by their pint names: factor, offset and dimension. Written by a program; do not edit.

Value in SI base units = value * factor + offset. The dimension is the powers of metre, kilogram, second, kelvin,
mole and ampere. `python -m workbook_tools.functions.quantities.unit_table_writer` writes this file anew.
"""

'''


def units() -> dict[str, tuple[float, float, tuple[float, ...]]]:
    """Every plain unit name, symbol and alias of pint over our base dimensions."""
    found: dict[str, tuple[float, float, tuple[float, ...]]] = {}
    ureg: Any = registry()
    for name in sorted(ureg._units):
        if not name.isidentifier():
            continue
        with contextlib.suppress(pint.PintError, TypeError, ValueError, KeyError):
            entry = _entry(ureg, name)
            if entry is not None:
                found[name] = entry
    return found


def _entry(ureg: Any, name: str) -> tuple[float, float, tuple[float, ...]] | None:
    dimensions = dict(ureg.get_dimensionality(name))
    if any(dimension not in BASES for dimension in dimensions):
        return None
    zero = ureg.Quantity(0.0, name).to_base_units()
    one = ureg.Quantity(1.0, name).to_base_units()
    two = ureg.Quantity(2.0, name).to_base_units()
    factor = one.magnitude - zero.magnitude
    if abs(two.magnitude - zero.magnitude - 2 * factor) > 1e-9 * abs(factor):
        return None  # logarithmic units have no factor
    offset = float(zero.magnitude)
    # the difference above has lost digits; ask again for the factor alone
    factor = float(one.magnitude if offset == 0 else ureg.Quantity(1.0, f"delta_{name}").to_base_units().magnitude)
    powers = tuple(float(dimensions.get(base, 0)) for base in BASES)
    return factor, offset, powers


def source() -> str:
    """The text of the module."""
    lines = [HEADER]
    lines.append("PREFIXES: dict[str, float] = {\n")
    ureg: Any = registry()
    for name, prefix in sorted(ureg._prefixes.items()):
        if name:
            lines.append(f'    "{name}": {float(prefix.value)!r},\n')
    lines.append("}\n\nUNITS: dict[str, tuple[float, float, tuple[float, ...]]] = {\n")
    known = units()
    for name, (factor, offset, powers) in known.items():
        written = ", ".join(f"{power:g}" for power in powers)
        lines.append(f'    "{name}": ({factor!r}, {offset!r}, ({written})),\n')
    lines.append(
        "}\n\n# names of other dimensions: not to be taken for a prefix and a unit\nOTHERS = frozenset(\n    {\n"
    )
    others = sorted(name for name in ureg._units if name.isidentifier() and name not in known)
    lines += [f'        "{name}",\n' for name in others]
    lines.append("    }\n)\n")
    return "".join(lines)


if __name__ == "__main__":
    TARGET.write_text(source(), encoding="utf-8")
