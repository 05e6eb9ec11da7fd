"""The month of a date as text, "2026-03", as cell text and in Python: what PivotTables group by."""

from __future__ import annotations

import datetime

from workbook_tools.layout.model import FIRST_DAY, LAST_DAY
from workbook_tools.layout.shown_values import EPOCH


def month_text(date: str) -> str:
    """Year and month of a date cell as text. TEXT would do, but its codes are those of the reader's language."""
    shown = f'YEAR({date})&"-"&RIGHT("0"&MONTH({date}),2)'
    return f'IF(ISNUMBER({date}),IF(AND({date}>={FIRST_DAY},{date}<{LAST_DAY + 1}),{shown},""),"")'


def month(date: object) -> str | None:
    """The same in Python.

    >>> month(46083), month(73051), month("x")
    ('2026-03', None, None)
    """
    if not isinstance(date, int | float) or isinstance(date, bool) or not FIRST_DAY <= date < LAST_DAY + 1:
        return None
    return f"{EPOCH + datetime.timedelta(days=int(date)):%Y-%m}"
