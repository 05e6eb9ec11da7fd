"""The empty log as a file: where its headings stand, which ids it gives in advance, and filling it in as a person does.

Only openpyxl is used; nothing of the package that made the file.
"""

from __future__ import annotations

import datetime
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import openpyxl
from openpyxl.utils import get_column_letter

HEADING_ROW = 5
SHEETS = (
    *("Sites", "Vessels", "Stocks", "Visits", "Water", "Baths", "Watch", "Fish", "Samples", "Losses"),
    *("Treatments", "Stores"),
)
Cells = dict[str, Any]  # what one row holds, by heading
Typing = dict[str, dict[int, Cells]]  # by sheet and its row number


@dataclass
class EmptyLog:
    """An empty log that is filled, saved and emptied again, as often as wanted."""

    path: Path
    columns: dict[str, dict[str, int]] = field(default_factory=dict)
    ids: dict[str, dict[int, str]] = field(default_factory=dict)
    agents: dict[str, float | None] = field(default_factory=dict)  # agents of baths, and their bicarbonate by weight
    treatment_agents: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        self.book = openpyxl.load_workbook(self.path)
        for name in SHEETS:
            sheet = self.book[name]
            headings = {str(cell.value): cell.column for cell in sheet[HEADING_ROW] if cell.value is not None}
            self.columns[name] = headings
            first = sheet.cell(HEADING_ROW, 1).column
            rows = range(HEADING_ROW + 1, sheet.max_row + 1)
            self.ids[name] = {row: str(sheet.cell(row, first).value or "") for row in rows}
        self.agents = {row["Agent listed"]: row["Buffer by weight"] for row in self._listed("Agent listed")}
        self.treatment_agents = [row["Treatment agent listed"] for row in self._listed("Treatment agent listed")]

    def _listed(self, heading: str) -> list[Cells]:
        """Filled rows under a heading of the Reference sheet, up to the first blank one."""
        sheet = self.book["Reference"]
        top = next(cell.row for cell in sheet["A"] if cell.value == heading)
        names = [cell.value for cell in sheet[top]]
        found = []
        for values in sheet.iter_rows(min_row=top + 1, values_only=True):
            if values[0] is None:
                break
            found.append(dict(zip(names, values, strict=True)))
        return found

    def fill(self, typing: Typing, path: Path) -> None:
        """Save the log with these cells typed into it; the log in memory is empty again afterwards."""
        before = []
        for name, rows in typing.items():
            sheet = self.book[name]
            for number, cells in rows.items():
                for heading, value in cells.items():
                    cell = sheet.cell(number, self.columns[name][heading])
                    before.append((cell, cell.value, cell.number_format))
                    cell.value = value
                    if isinstance(value, str):
                        cell.data_type = "s"
        self.book.save(path)
        for cell, value, look in reversed(before):
            cell.value = value
            cell.number_format = look

    def cell(self, sheet: str, row: int, heading: str) -> str:
        return f"{sheet}!{get_column_letter(self.columns[sheet][heading])}{row}"


def stopwatch(seconds: int) -> datetime.timedelta:
    """What a spreadsheet keeps of a reading typed m:ss: hours and minutes."""
    return datetime.timedelta(minutes=seconds)
