"""pH of an anaesthetic bath: what tricaine takes from the alkalinity, what sodium bicarbonate gives back.

Fresh water, closed to the air, only the carbonate system and the drug's acid. The equations stand in carbonate.py.
"""

from __future__ import annotations

from workbook_tools.functions.formulas.ph.alkalinity import alkalinity_left, alkalinity_used, carbon
from workbook_tools.functions.formulas.ph.prediction import after, bicarbonate
from workbook_tools.functions.formulas.ph.search import estimate, first_pk, refine, second_pk, water_pk

# in the order of the catalogue
__all__ = [  # noqa: RUF022
    "after",
    "bicarbonate",
    "alkalinity_used",
    "alkalinity_left",
    "carbon",
    "first_pk",
    "second_pk",
    "water_pk",
    "estimate",
    "refine",
]
