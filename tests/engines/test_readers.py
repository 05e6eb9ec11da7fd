"""Every built file in other people's readers: nothing refused, and every value, result and formula as it is stored."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from tests.engines.agreeing import MILLISECOND, SHOWN, check_read, same
from tests.engines.files import FILES, troubled
from tests.engines.readers import Cell, Cells, Place, read_by_calamine, read_by_exceljs
from tests.prepare import EnginePrograms
from workbook_tools.layout import case_log

FileOf = Callable[[str], Path]
CellsOf = Callable[[str], Cells]


@pytest.mark.parametrize("name", FILES)
def test_exceljs_reads(name: str, file_of: FileOf, cells_of: CellsOf, engines: EnginePrograms) -> None:
    check_read(cells_of(name), _without_merged(read_by_exceljs(file_of(name), engines), cells_of(name)), MILLISECOND)


def _without_merged(found: Cells, cells: Cells) -> Cells:
    """exceljs repeats a merged cell's value in all that it covers; those are not in the file."""
    return {place: cell for place, cell in found.items() if place in cells or cell.formula is not None}


@pytest.mark.parametrize("name", FILES)
def test_xlsx_reads(name: str, cells_of: CellsOf, read_of: CellsOf) -> None:
    check_read(cells_of(name), read_of(name))


@pytest.mark.parametrize("name", FILES)
def test_calamine_reads(name: str, file_of: FileOf, cells_of: CellsOf) -> None:
    found = {place: Cell(None, value) for place, value in read_by_calamine(file_of(name)).items()}
    check_read({place: Cell(None, cell.value) for place, cell in cells_of(name).items()}, found)


def typed(name: str) -> dict[Place, Any]:
    """What was typed into a log, from the rows themselves and the places of the layout."""
    assert name == "log of a troubled practice"
    rows = troubled().rows
    return {
        (table.sheet, f"{table.letters[key]}{table.first_row + number}"): value
        for table in case_log().log_tables()
        for number, row in enumerate(rows[table.key])
        for key, value in row.items()
        if value is not None
    }


@pytest.mark.parametrize("reader", ["exceljs", "xlsx", "calamine"])
def test_what_was_typed(reader: str, file_of: FileOf, read_of: CellsOf, engines: EnginePrograms) -> None:
    name = "log of a troubled practice"
    if reader == "calamine":
        found = read_by_calamine(file_of(name))
    else:
        cells = read_of(name) if reader == "xlsx" else read_by_exceljs(file_of(name), engines)
        found = {place: cell.value for place, cell in cells.items()}
    wanted = typed(name)
    wrong = [
        f"{sheet}!{address}: {value!r} is read as {found.get((sheet, address))!r}"
        for (sheet, address), value in wanted.items()
        if not same(float(value) if isinstance(value, int) else value, found.get((sheet, address)), MILLISECOND)
    ]
    assert len(wanted) > 300
    assert not wrong, "\n".join([f"{len(wrong)} of {len(wanted)} values differ", *wrong[:SHOWN]])
