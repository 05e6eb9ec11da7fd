"""Bath arithmetic: what to weigh, what to add, how to lighten, how fast a bath flushes out."""

from __future__ import annotations

from workbook_tools.functions.formulas.bath.flow import drip, flush_time, flushed, replace
from workbook_tools.functions.formulas.bath.top_ups import step_count, step_dose, steps, top_up
from workbook_tools.functions.formulas.bath.weights import buffer, dose, liquid, mass, salt, solution, stock

# in the order of the catalogue
__all__ = [  # noqa: RUF022
    "mass",
    "stock",
    "dose",
    "buffer",
    "top_up",
    "step_count",
    "step_dose",
    "steps",
    "replace",
    "flushed",
    "flush_time",
    "drip",
    "liquid",
    "solution",
    "salt",
]
