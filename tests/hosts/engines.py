"""Engines that compute workbooks in this process, each answering formulas with numbers, texts and kinds of error."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path

import formualizer
import ironcalc
import openpyxl
from openpyxl.utils import column_index_from_string

from tests.support.office import OfficeError
from tests.support.plain_workbook import SHEET, CellContent, Formula, write
from workbook_tools.hosts.workbook_names import put_names

RESULT = "AAA"
KINDS = {"#VALUE!": "value", "#NUM!": "range", "Value": "value", "Num": "range"}


def with_formualizer(formulas: Sequence[str], cells: Mapping[str, CellContent], folder: Path) -> list[object]:
    path = folder / "formualizer.xlsx"
    write(path, {**cells, **{f"{RESULT}{row}": Formula(text) for row, text in enumerate(formulas, 1)}})
    book = formualizer.Workbook.load_path(str(path))
    book.evaluate_all()
    column = column_index_from_string(RESULT)
    answers: list[object] = []
    for row in range(1, len(formulas) + 1):
        value = book.get_value(SHEET, row, column)
        answers.append(KINDS.get(value["kind"], value["kind"]) if isinstance(value, dict) else value)
    return answers


def with_ironcalc(formulas: Sequence[str], cells: Mapping[str, CellContent], folder: Path) -> list[object]:
    """Computed from a workbook into which `put_names` has put the functions' names."""
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = SHEET
    for address, content in cells.items():
        sheet[address] = content
    for row, text in enumerate(formulas, 1):
        sheet[f"{RESULT}{row}"] = f"={text}"
    book.save(folder / "plain.xlsx")
    (folder / "named.xlsx").write_bytes(put_names(folder / "plain.xlsx")[1])
    model = ironcalc.load_from_xlsx(str(folder / "named.xlsx"), "en", "UTC", "en")
    model.evaluate()
    column = column_index_from_string(RESULT)
    answers: list[object] = []
    for row in range(1, len(formulas) + 1):
        value = model.get_cell_value(0, row, column)
        is_error = model.get_cell_type(0, row, column) == ironcalc.CellType.ErrorValue
        answers.append(KINDS.get(value, value) if is_error else value)
    return answers


def of_office(value: object) -> object:
    """A value from LibreOffice, an error as its kind."""
    return KINDS.get(value.text, value.text) if isinstance(value, OfficeError) else value
