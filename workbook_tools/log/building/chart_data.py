"""The cells that charts draw from, beside them: for each chart two columns, computed as a person types.

A chart may not look at the log's own columns: of rows not in use they hold an empty text, for which a spreadsheet
takes x as 1, 2, 3 and y as 0. Here every cell is a number. A row without a point has -1 for y, below the axis, which
begins at 0, and for x 0 too or, where x is a date, the latest there is and the day four weeks before in turns: an axis
of dates then neither reaches back to 1900 nor, while the log has one date, over centuries.
Names that end at the last row in use would need no such cells, but LibreOffice 7.4 does not follow a name: it draws the
values stored beside it, whatever is typed.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from workbook_tools.layout.expression_trees import is_number, same
from workbook_tools.layout.load import FORMATS
from workbook_tools.layout.model import FIRST_DAY, LAST_DAY, Chart, Layout, Table, quoted
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.writing.cells import (
    SheetCells,
    Strings,
    formula_cell,
    plain_formula,
    shared_again,
    shared_formula,
    value_cell,
)
from workbook_tools.xlsx.writing.styles import Styles

Row = Mapping[str, Any]
PointValue = float | None
NO_POINT = -1.0
DAYS_BACK = 28
WEEKS = 52
SPARE_ROW, HEAD_ROW, FIRST_ROW = 4, 5, 6
MOST = 1e6  # of any y; what lies above is a slip of the keys


@dataclass(frozen=True)
class Drawn:
    """What one chart draws: its place in the grid of charts, and the columns of its cells."""

    chart: Chart
    sheet: str
    table: Table
    layout: Layout
    rows: Sequence[Row]
    column: int
    choice: str  # cell in which a person chooses
    chosen: object = None  # what stands in it; None for all

    @property
    def dated(self) -> bool:
        return self.table.by_key[self.chart.x].format == FORMATS["date"]

    @property
    def limits(self) -> tuple[float, float]:
        """Least and greatest x that is drawn."""
        return (FIRST_DAY, LAST_DAY) if self.dated else (0, self.chart.x_most)

    @property
    def length(self) -> int:
        return WEEKS if self.chart.kind == "weeks" else self.table.rows

    def range(self, along: int) -> str:
        """Absolute cells of x (0) or y (1), sheet included."""
        place = letter(self.column + along)
        return f"{quoted(self.sheet)}!${place}${FIRST_ROW}:${place}${FIRST_ROW + self.length - 1}"

    # -------------------------------------------------------------------------------------------------- values

    @cached_property
    def spare(self) -> PointValue:
        """The x that rows without a point have, or the last day of the weeks; None where there is no date at all."""
        if not self.dated:
            return 0.0
        found = (row.get(self.chart.x) for row in self.rows)
        return max((float(day) for day in found if is_number(day) and FIRST_DAY <= day <= LAST_DAY), default=None)

    def _latest_text(self) -> str:
        """The latest date there is, past which what stands in the column is a slip."""
        days = self.table.cells(self.chart.x)
        found = f'SMALL({days},COUNTIF({days},"<={LAST_DAY}"))'
        return f'IFERROR(IF({found}>={FIRST_DAY},{found},""),"")'

    @cached_property
    def values(self) -> list[tuple[PointValue, PointValue]]:
        """x and y of each row, as the cells have them."""
        if self.chart.kind == "weeks":
            return self._weeks(self.spare)
        return self._points(float(FIRST_DAY) if self.spare is None else self.spare)

    def _points(self, spare: float) -> list[tuple[PointValue, PointValue]]:
        found: list[tuple[PointValue, PointValue]] = []
        for position in range(self.length):
            row = self.rows[position] if position < len(self.rows) else {}
            if self._is_point(row):
                found.append((float(row[self.chart.x]), float(row[self.chart.y])))
            else:
                back = DAYS_BACK * ((FIRST_ROW + position) % 2) if self.dated else 0
                found.append((spare - back, NO_POINT))
        return found

    def _is_point(self, row: Row) -> bool:
        x, y = row.get(self.chart.x), row.get(self.chart.y)
        low, high = self.limits
        drawn = is_number(x) and is_number(y) and low <= x <= high and 0 <= y <= MOST
        return drawn and self._is_chosen(row)

    def _is_chosen(self, row: Row) -> bool:
        return self.chosen is None or same(row.get(self.chart.choose), self.chosen)

    def _weeks(self, last: PointValue) -> list[tuple[PointValue, PointValue]]:
        if last is None:
            return [(None, None)] * WEEKS
        monday = int(last) - (int(last) - 2) % 7
        sums = dict.fromkeys((monday - 7.0 * number for number in reversed(range(WEEKS))), 0.0)
        for row in self.rows:
            day, number = row.get(self.chart.x), row.get(self.chart.y)
            if is_number(day) and is_number(number) and self._is_chosen(row):
                week = float(day // 7 * 7 + 2 - 7 * (day % 7 < 2))
                if week in sums:
                    sums[week] += number
        return [*sums.items()]

    def results(self) -> dict[tuple[int, int], PointValue]:
        """What its cells show, by row and column."""
        shown: dict[tuple[int, int], PointValue] = {(SPARE_ROW, self.column): self.spare} if self.dated else {}
        if self.chart.kind == "points":
            shown[SPARE_ROW, self.column + 1] = float(self.table.heading_row)
        for position, pair in enumerate(self.values):
            shown |= {(FIRST_ROW + position, self.column + along): value for along, value in enumerate(pair)}
        return shown

    # --------------------------------------------------------------------------------------------------- cells

    def write(self, cells: SheetCells, styles: Styles, strings: Strings, number: int) -> None:
        """Its two columns; `number` is of the first formula that cells share."""
        heads = [self.table.by_key[key].heading for key in (self.chart.x, self.chart.y)]
        if self.chart.kind == "weeks":
            heads[0] = self.chart.x_title
        for along, head in enumerate(heads):
            self._put(cells, HEAD_ROW, along, value_cell, styles.number("pivot_head"), head, strings)
        date = FORMATS["date"] if self.dated else "General"
        if self.dated:
            element = plain_formula(self._latest_text())
            self._put(cells, SPARE_ROW, 0, formula_cell, styles.number("drawn", date), element, self.spare)
        if self.chart.kind == "points":
            element = plain_formula(self.table.heading_place(self.chart.y))
            row = float(self.table.heading_row)
            self._put(cells, SPARE_ROW, 1, formula_cell, styles.number("drawn"), element, row)
        formats = [styles.number("drawn", date), styles.number("drawn")]
        for position, pair in enumerate(self.values):
            row = FIRST_ROW + position
            for along, value in enumerate(pair):
                element = self._element(along, position, number)
                self._put(cells, row, along, formula_cell, formats[along], element, value)

    def _put(self, cells: SheetCells, row: int, along: int, make: Any, style: int, *content: object) -> None:
        column = self.column + along
        cells.put(row, column, make(f"{letter(column)}{row}", style, *content))

    def _element(self, along: int, position: int, number: int) -> str:
        if self.chart.kind == "weeks":
            return plain_formula(self._week_sum(position) if along else self._week_start(position))
        if position:
            return shared_again(number + along)
        cells = self.range(along).partition("!")[2].replace("$", "")
        return shared_formula(self._y_text() if along else self._x_text(), cells, number + along)

    @property
    def _spare(self) -> str:
        return f"${letter(self.column)}${SPARE_ROW}"

    def _held(self, key: str) -> str:
        """A column of the log, as far below its heading as here. By INDEX: a deleted row of the log leaves no hole."""
        place = f"${letter(self.column + 1)}$"
        return f"INDEX({self.table.cells(key)},{place}{SPARE_ROW}+ROW()-ROW({place}{HEAD_ROW}))"

    def _x_text(self) -> str:
        there = f"${letter(self.column + 1)}{FIRST_ROW}>=0"
        latest = f'IF({self._spare}="",{FIRST_DAY},{self._spare})'
        spare = f"{latest}-{DAYS_BACK}*MOD(ROW(),2)" if self.dated else "0"
        return f"IF({there},{self._held(self.chart.x)},{spare})"

    def _y_text(self) -> str:
        x, y = self._held(self.chart.x), self._held(self.chart.y)
        low, high = self.limits
        chosen = f'OR({self.choice}="",{self._held(self.chart.choose)}={self.choice})'
        tests = f"{x}>={low:.0f},{x}<={high:.0f},{y}>=0,{y}<={MOST:.0f},{chosen}"
        return f"IF(AND(ISNUMBER({x}),ISNUMBER({y})),IF(AND({tests}),{y},{NO_POINT:.0f}),{NO_POINT:.0f})"

    def _week_start(self, position: int) -> str:
        before = 7 * (WEEKS - 1 - position)
        return f'IF({self._spare}="","",INT({self._spare})-MOD(INT({self._spare})-2,7)-{before})'

    def _week_sum(self, position: int) -> str:
        week = f"${letter(self.column)}{FIRST_ROW + position}"
        day, dead = self.table.cells(self.chart.x), self.table.cells(self.chart.y)
        within = f'{dead},{day},">="&{week},{day},"<"&{week}+7'
        of = f'{self.table.cells(self.chart.choose)},"="&{self.choice}'
        return f'IF({week}="","",IF({self.choice}="",SUMIFS({within}),SUMIFS({within},{of})))'

    def note_result(self, cell: Callable[[int, int], object]) -> str | None:
        """What the note says over the cells that a sheet has; `cell` gives what they hold, by row and column."""
        if self.chart.kind == "weeks":
            return None
        length = next(n for n in itertools.count() if cell(FIRST_ROW + n, self.column + 1) is None)
        last = self.table.heading_row + length
        beyond = max((row.get("own_row") or 0 for row in self.rows), default=0) > last
        return f"Rows of {self.table.sheet} below row {last} are not drawn." if beyond else None

    def note(self) -> str:
        """Formula that says so when the log has grown past what is drawn."""
        if self.chart.kind == "weeks":
            return '""'
        last = f"${letter(self.column + 1)}${SPARE_ROW}+{self.length}"
        beyond = f"MAX({self.table.cells_if_any('own_row')})>{last}"
        return f'IF({beyond},"Rows of {self.table.sheet} below row "&({last})&" are not drawn.","")'
