"""Every written cell can be read: contrast by WCAG 2.2 (success criterion 1.4.3), and typed from computed in grey."""

from __future__ import annotations

import datetime
import functools
import io
import itertools
from collections.abc import Iterator

import openpyxl
import pytest
from openpyxl.cell import Cell
from openpyxl.workbook import Workbook

from demo.practice import practice
from workbook_tools.across.planning import visit_plan
from workbook_tools.across.visit_pages import visit_pages
from workbook_tools.layout import case_log, load
from workbook_tools.layout.compute import Computed
from workbook_tools.log.building.bench import build_bench
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.producer.copy import producer_copy
from workbook_tools.xlsx.printing.pages import build_pages

ENOUGH = 4.5  # WCAG 2.2, 1.4.3, level AA; 3 would do for large text
FILES = ("log", "bench", "plan", "copy")
NOW = datetime.datetime(2026, 9, 1, 8)


@functools.cache
def book(name: str) -> Workbook:
    computed = Computed(case_log(), practice())
    if name == "log":
        content = build_log(case_log(), practice())
    elif name == "bench":
        content = build_bench(load("bench"))
    elif name == "plan":
        content = build_pages("plan", visit_pages(visit_plan(computed, None, {}), computed, "A4", None))
    else:
        content = producer_copy(computed, "S01", NOW).content
    return openpyxl.load_workbook(io.BytesIO(content))


def luminance(rgb: str) -> float:
    """Relative luminance as WCAG 2.2 defines it."""
    parts = [int(rgb[place : place + 2], 16) / 255 for place in (0, 2, 4)]
    red, green, blue = (part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(first: str, second: str) -> float:
    light, dark = sorted((luminance(first), luminance(second)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def test_contrast_of_known_pairs() -> None:
    """Black on white is 21 : 1 and a colour on itself 1 : 1, by the definition; #767676 on white is just above 4.5."""
    assert contrast("000000", "FFFFFF") == pytest.approx(21)
    assert contrast("24505A", "24505A") == 1
    assert contrast("767676", "FFFFFF") == pytest.approx(4.54, abs=0.005)


def ink(cell: Cell) -> str:
    colour = cell.font.color
    return str(colour.rgb)[-6:] if colour is not None and colour.type == "rgb" else "000000"


def ground(cell: Cell) -> str:
    return str(cell.fill.fgColor.rgb)[-6:] if cell.fill.fill_type == "solid" else "FFFFFF"


def written(name: str) -> Iterator[tuple[str, Cell]]:
    for sheet in book(name):
        for row in sheet.iter_rows():
            yield from ((f"{sheet.title}!{cell.coordinate}", cell) for cell in row if cell.value is not None)


@pytest.mark.parametrize("name", FILES)
def test_every_cell_has_contrast(name: str) -> None:
    cells = list(written(name))
    hidden = [(place, cell) for place, cell in cells if cell.number_format == ";;;"]
    pale = {
        place: round(contrast(ink(cell), ground(cell)), 2)
        for place, cell in cells
        if contrast(ink(cell), ground(cell)) < ENOUGH and (place, cell) not in hidden
    }
    assert len(cells) > 60
    assert not pale


@pytest.mark.parametrize("name", FILES)
def test_notices_have_contrast(name: str) -> None:
    """A notice that colours a cell, on any ink that the cells below it have."""
    faint, tried = [], 0
    for sheet in book(name):
        for area in sheet.conditional_formatting:
            for rule in area.rules:
                look = rule.dxf
                if look is None or look.fill is None:
                    continue
                tried += 1
                colour = str(look.fill.bgColor.rgb)[-6:]
                text = str(look.font.color.rgb)[-6:] if look.font is not None and look.font.color is not None else None
                corner = min((part.min_row, part.min_col) for part in area.cells.ranges)
                first = sheet.cell(*corner)
                if contrast(text or ink(first), colour) < ENOUGH:
                    faint.append((sheet.title, str(area.sqref), colour))
    assert not faint
    assert tried or name in ("plan", "copy")


def test_typed_cells_are_told_from_computed_ones_without_colour() -> None:
    """A typed cell has a box and stands upright, a computed one has none and is slanted; headings the same in grey."""
    layout, log = case_log(), book("log")
    for table in layout.log_tables():
        sheet = log[table.sheet]
        heads = {cell.value: cell for cell in sheet[table.heading_row]}
        for column in table.columns:
            cell = sheet.cell(table.first_row, heads[column.heading].column)
            boxed = all(side is not None and side.style for side in (cell.border.left, cell.border.right))
            assert (boxed, bool(cell.font.italic)) == (column.typed, not column.typed), (table.sheet, column.heading)
        typed, computed = (
            {ground(heads[c.heading]) for c in table.columns if c.typed is typed} for typed in (True, False)
        )
        for one, other in itertools.product(typed, computed):
            assert contrast(one, other) > 3, table.sheet  # WCAG 2.2, 1.4.11: parts that must be told apart
