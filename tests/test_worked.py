"""Every computed cell that a person sees, held to a number worked by hand: in Python and in the cells of a workbook.

The numbers stand in `tests/worked`, each with its working and its source. They do not come from the product: an
expression of a layout is compiled into two readings that agree with each other, right or wrong.
"""

from __future__ import annotations

import datetime
import io
from collections.abc import Iterator
from functools import cache
from pathlib import Path
from typing import Any

import pytest
import python_calamine

from tests.support.office import Office
from tests.support.worked import Book, PagesCase, Shown, address_of, books, pages_cases, plain, row_number, wanted
from workbook_tools.across.planning import visit_plan
from workbook_tools.across.visit_pages import visit_pages
from workbook_tools.layout import load
from workbook_tools.layout.compute import Computed
from workbook_tools.log.building.bench import build_bench
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.producer.copy import producer_copy
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.printing.pages import build_pages

BOOKS = books()
BY_NAME = {book.name: book for book in BOOKS}
CELLS = [(book.name, number) for book in BOOKS for number in range(len(book.shown))]


@cache
def computed(name: str) -> Computed:
    """A book in the Python reading."""
    book = BY_NAME[name]
    if not book.layout.forms:
        return Computed(book.layout, book.typed)
    blank = {
        key: dict.fromkeys(column.key for column in form.table.columns) for key, (_, form) in book.layout.forms.items()
    }
    return Computed(book.layout, {key: [row | book.typed.get(key, [{}])[0]] for key, row in blank.items()})


@cache
def built(name: str) -> bytes:
    book = BY_NAME[name]
    if book.layout.forms:
        return build_bench(book.layout, {key: rows[0] for key, rows in book.typed.items()})
    return build_log(book.layout, book.typed, rows=3)


@cache
def stored(name: str, sheet: str) -> dict[str, Any]:
    """The cells of a sheet with the results that are stored in the file."""
    rows = python_calamine.load_workbook(io.BytesIO(built(name))).get_sheet_by_name(sheet)
    return {
        f"{letter(column)}{line}": plain(value)
        for line, row in enumerate(rows.to_python(skip_empty_area=False), start=1)
        for column, value in enumerate(row, start=1)
        if value != ""
    }


def by_python(book: Book, shown: Shown) -> Any:
    if shown.on_a_sheet:
        cells = stored(book.name, shown.sheet)
        return cells.get(address_of(cells, shown.at))
    rows = computed(book.name).data[shown.table]
    table = book.layout.tables[shown.table]
    place = 0 if shown.table in book.layout.forms else row_number(table, shown.row, rows)
    return rows[place][shown.column]


def place_of(book: Book, shown: Shown, cells: dict[str, dict[str, Any]]) -> tuple[str, str]:
    """Sheet and address of a cell."""
    if shown.on_a_sheet:
        return shown.sheet, address_of(cells[shown.sheet], shown.at)
    if shown.table in book.layout.forms:
        sheet, form = book.layout.forms[shown.table]
        return sheet.name, form.place(shown.column).replace("$", "")
    table = book.layout.tables[shown.table]
    row = table.first_row + row_number(table, shown.row, computed(book.name).data[shown.table])
    return table.sheet, f"{table.letters[shown.column]}{row}"


@pytest.mark.parametrize(
    ("name", "number"), CELLS, ids=[f"{name}-{BY_NAME[name].shown[n].at}-{n}" for name, n in CELLS]
)
def test_python_shows_what_was_worked_by_hand(name: str, number: int) -> None:
    shown = BY_NAME[name].shown[number]
    found = by_python(BY_NAME[name], shown)
    assert shown.agrees(found), f"{shown}; it shows {found!r}"


@pytest.mark.parametrize("name", BY_NAME)
def test_the_cells_show_what_was_worked_by_hand(name: str, tmp_path: Path, office: Office) -> None:
    """In LibreOffice, which computes the workbook anew."""
    book = BY_NAME[name]
    path = tmp_path / "book.xlsx"
    path.write_bytes(built(name))
    cells = office.values(path)
    wrong = list(_wrong(book, cells))
    assert not wrong, "\n".join([f"{len(wrong)} of {len(book.shown)} cells of {name}", *wrong])


def _wrong(book: Book, cells: dict[str, dict[str, Any]]) -> Iterator[str]:
    for shown in book.shown:
        sheet, address = place_of(book, shown, cells)
        found = cells[sheet].get(address)
        if not shown.agrees(found):
            yield f"{shown}; {sheet}!{address} shows {found!r}"


@pytest.mark.parametrize("layout", ["case-log", "bench"])
def test_every_computed_cell_that_a_person_sees_was_worked_by_hand(layout: str) -> None:
    """With a value: a blank alone proves no expression."""
    proved = {
        (shown.table, shown.column)
        for book in BOOKS
        if book.layout.name == layout
        for shown in book.shown
        if not shown.on_a_sheet and shown.value != ""
    }
    asked = wanted(load(layout))
    missing = sorted(f"{table}.{column}" for table, column in asked - proved)
    assert not missing, f"{len(missing)} of {len(asked)} columns have no row worked by hand: {', '.join(missing)}"
    assert len(asked) > 50


# ------------------------------------------------------------------------------------------------------- pages

PAGES = {case.name: case for case in pages_cases()}


def made(case: PagesCase) -> bytes:
    log = Computed(load("case-log"), case.typed)
    if case.kind == "plan":
        return build_pages("Plan", visit_pages(visit_plan(log, today=case.made), log))
    moment = datetime.datetime.combine(case.made, datetime.time())
    return producer_copy(log, "S01", moment, units=case.units).content


@pytest.mark.parametrize("name", PAGES)
def test_pages_say_what_was_worked_by_hand(name: str) -> None:
    case = PAGES[name]
    book = python_calamine.load_workbook(io.BytesIO(made(case)))
    sheets: dict[str, list[list[Any]]] = {}
    for title in book.sheet_names:
        rows = [[_read(value) for value in row if value != ""] for row in book.get_sheet_by_name(title).to_python()]
        sheets[title] = [row for row in rows if row]
    wrong = []
    for said in case.says:
        rows = [row for title, held in sheets.items() if title.startswith(said.on) for row in held]
        assert rows, f"no sheet {said.on}"
        wrong += [] if said.holds(rows) else [str(said)]
    assert not wrong, "\n".join([f"{len(wrong)} of {len(case.says)}: {case.title}", *wrong, str(sheets)])


def _read(value: Any) -> Any:
    """A cell as a person reads it: dates as the calendar writes them, blanks that break."""
    if isinstance(value, datetime.date):
        return value.isoformat()
    return value.replace("\N{NO-BREAK SPACE}", " ") if isinstance(value, str) else value
