"""Cell text of each translatable function, computed by a spreadsheet engine, against Python on a grid."""

from __future__ import annotations

import itertools
import re
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import formualizer
import openpyxl
import pytest
from openpyxl.utils import get_column_letter
from python_calamine import CalamineWorkbook

from tests.formulas.cases import attempt
from workbook_tools.errors import ArgumentError
from workbook_tools.functions.catalogue import entries, entry
from workbook_tools.functions.texts.cell_text import cell_text, translatable
from workbook_tools.functions.texts.worksheet_functions import ALLOWED, FORMULA_LIMIT

TOPICS = ("ph", "water", "dose", "feed", "hold", "sample", "clean")
WRONG = ("wrong type", "out of range")

TEMPERATURES = (0, 12.3, 30, 80)
ACIDITIES = (5.5, 7.2, 8.3, 10.6, 15)
ALKALINITIES = (0, 35, 400, "soft")
DRUGS = (0, 80, 300)
CARBONS = (0, 0.02, 1, 12)
# One list for each argument; every combination is a row. None is a blank cell, and a range one column of cells.
GRIDS: dict[str, tuple[tuple[Any, ...], ...]] = {
    "PH.BICARBONATE": (ACIDITIES, ALKALINITIES, TEMPERATURES, (0, 80), (6.5, 7.4, 8.2, 8.6)),
    "PH.ALKALINITYUSED": ((0, 80, 250, -1, None, "x"),),
    "PH.ALKALINITYLEFT": (ALKALINITIES, DRUGS, DRUGS),
    "PH.CARBON": (ACIDITIES, ALKALINITIES, TEMPERATURES, (0, 160, None)),
    "PH.FIRSTPK": (TEMPERATURES,),
    "PH.SECONDPK": (TEMPERATURES,),
    "PH.WATERPK": (TEMPERATURES,),
    "PH.ESTIMATE": ((-40, 0, 30, 60, 400), CARBONS, (6.4, 6.58), (10.33, 10.6), (14, 14.9)),
    "PH.REFINE": ((4, 7, 9), (-40, 0, 30, 60, 400), CARBONS, (6.4, 6.58), (10.33, 10.6), (14, 14.9)),
    "WATER.AMMONIAFRACTION": ((6, 8.3, 15), (-2, 12.3, 40, 80), (0, 0.01, 12, 35, 200, None)),
    "WATER.AMMONIAFRACTIONTOTAL": ((6, 8.3, 15), (-2, 12.3, 40, 80), (0, 0.01, 12, 35, 200)),
    "WATER.AMMONIA": ((0, 1.5), (7, 8.3), (4, 24), (0, 35)),
    "WATER.OXYGEN": ((-2, 12.3, 40, 80), (0, 12, 42, None), (30, 84.56, 101.325, 120, None)),
    "WATER.OXYGENPERCENT": ((0, 7.5), (4, 24), (0, 35), (84.56, None)),
    "WATER.PRESSURE": ((-500, 0, 1234, 9000, 9001),),
    "WATER.CO2": (ACIDITIES, ALKALINITIES, TEMPERATURES),
    "WATER.SALINITY": ((0, 0.05, 1, 5, 30, 60, 100), (-2, 4, 15, 25, 35)),
    "WATER.DENSITY": ((-2, 4, 15, 40), (0, 0.5, 35, 42, None)),
    "DOSE.INJECTION": ((0, 0.5, 750), (5, 20), (2.5, 100)),
    "DOSE.WEIGHT": ((3, 30.5), (0.008, 0.02), (2.8, 3, 3.25)),
    "DOSE.BIOMASS": ((0, 2.5, 2000), (0.2, 45)),
    "DOSE.CONDITION": ((1, 270), (4.2, 30)),
    "DOSE.DENSITY": ((0, 90), (40, 4000)),
    "FEED.DRUG": ((2.5, 90), (10, 75), (1, 1.5, 10)),
    "FEED.INCLUSION": ((10, 75, 10_000), (0.5, 3), (0.1, 1, None)),
    "FEED.RATION": ((2.5, 90), (0.5, 3)),
    "FEED.RECEIVED": ((0.4, 15), (0.5, 3), (0.1, None)),
    "HOLD.DATE": ((46_082, 46_082.5, None), (0, 21, 21.5)),
    "HOLD.DEGREEDAYS": ((70, 500), (0, 0.1, 7, 8, 12.5)),
    "HOLD.SUM": (((8, 9.5, -0.5, 0), (8, None, 9, 1), (8, "cold", 9, 1), (8, 80, 9, 1), (-11, 8, 9, 1), (1, 2, 3, 4)),),
    "SAMPLE.ABOUT": ((1, 20, 137, 5000), (0.01, 0.07, 0.3, 1.2), (0.5, 0.95, None)),
    "SAMPLE.PERFECT": ((1, 20, 137, 5000), (1, 19, 60, 137), (0.01, 0.07, 0.3, 1.2)),
    "SAMPLE.LOW": ((0, 1, 23, 60, 61), (29, 60), (0.5, 0.95, 0.999, None)),
    "SAMPLE.HIGH": ((0, 1, 23, 60, 61), (29, 60), (0.5, 0.95, 0.999, None)),
    "CLEAN.THIOSULFATE": ((1000, 378.5), (0, 0.4, 2), (7, 4.46, None)),
}
NOT_IN_CELLS = {"PH.AFTER", "SAMPLE.SIZE", "SAMPLE.DETECT"}


def written(sheet: Any, row: int, arguments: tuple[Any, ...]) -> list[str]:
    """Puts the arguments into a row, and says what the formula calls them."""
    names = []
    column = 2
    for argument in arguments:
        cells = argument if isinstance(argument, tuple) else (argument,)
        for offset, value in enumerate(cells):
            if value is not None:
                sheet.cell(row, column + offset, value)
        first = f"${get_column_letter(column)}{row}"
        names.append(first if len(cells) == 1 else f"{first}:${get_column_letter(column + len(cells) - 1)}{row}")
        column += len(cells)
    return names


def combinations(name: str) -> Iterator[tuple[Any, ...]]:
    yield from itertools.product(*GRIDS[name])


@pytest.fixture(scope="module")
def computed(tmp_path_factory: pytest.TempPathFactory) -> dict[str, list[Any]]:
    """What the engine shows for every row of every function."""
    folder: Path = tmp_path_factory.mktemp("cells")
    book = openpyxl.Workbook()
    book.remove(book.worksheets[0])
    for name in GRIDS:
        sheet = book.create_sheet(name)
        for row, arguments in enumerate(combinations(name), start=1):
            text = cell_text(name, written(sheet, row, arguments), fails=(f'"{WRONG[0]}"', f'"{WRONG[1]}"'))
            sheet.cell(row, 1, f"={text}")
    book.save(folder / "asked.xlsx")
    formualizer.recalculate_file(str(folder / "asked.xlsx"), str(folder / "answered.xlsx"))
    answered = CalamineWorkbook.from_path(str(folder / "answered.xlsx"))
    return {name: [row[0] for row in answered.get_sheet_by_name(name).to_python()] for name in GRIDS}


@pytest.mark.parametrize("name", GRIDS)
def test_cells_agree_with_python(name: str, computed: dict[str, list[Any]]) -> None:
    answers = computed[name]
    rows = list(combinations(name))
    assert len(answers) == len(rows)
    numbers = 0
    for arguments, answer in zip(rows, answers, strict=True):
        expected = attempt(name, *arguments)
        if isinstance(expected, ArgumentError):
            assert answer == WRONG[expected.kind == "range"], (name, arguments, answer, str(expected))
            continue
        numbers += 1
        assert isinstance(answer, int | float), (name, arguments, answer, expected)
        assert answer == pytest.approx(expected, rel=1e-9, abs=1e-12), (name, arguments)
    assert numbers > 1


def test_every_function_is_in_a_grid_or_named_as_not_for_cells() -> None:
    names = {found.name for found in entries() if found.topic in TOPICS}
    assert names == set(GRIDS) | NOT_IN_CELLS
    assert {name for name in names if translatable(name)} == set(GRIDS)


@pytest.mark.parametrize("name", sorted(NOT_IN_CELLS))
def test_notes_say_what_cells_do_instead(name: str) -> None:
    notes = entry(name).words.notes
    assert "No single cell holds this formula. Cell by cell" in notes or "there is no plain-cell route" in notes


@pytest.mark.parametrize("name", GRIDS)
def test_cells_use_only_functions_of_every_host(name: str) -> None:
    references = [f"$F{number}" for number in range(1, len(entry(name).parameters) + 1)]
    text = cell_text(name, references)
    assert set(re.findall(r"([A-Z][A-Z0-9.]*)\(", text)) <= ALLOWED
    assert len(text) < FORMULA_LIMIT


def test_ph_by_cells_agrees_with_the_function(tmp_path: Path) -> None:
    """The row of cells that the notes of PH.AFTER name, in a workbook."""
    waters = list(itertools.product((6, 7.4, 9), (10, 40, 400), (2, 12, 30), (0, 80, 300), (0, 160, 600)))
    book = openpyxl.Workbook()
    sheet = book.worksheets[0]
    for row, water in enumerate(waters, start=1):
        for column, value in enumerate(water, start=1):
            sheet.cell(row, column, value)
        ph, alkalinity, temperature, tricaine, bicarbonate = (f"{letter}{row}" for letter in "ABCDE")
        cells = [
            cell_text("PH.FIRSTPK", [temperature]),
            cell_text("PH.SECONDPK", [temperature]),
            cell_text("PH.WATERPK", [temperature]),
            cell_text("PH.ALKALINITYLEFT", [alkalinity, tricaine, bicarbonate]),
            cell_text("PH.CARBON", [ph, alkalinity, temperature, bicarbonate]),
            cell_text("PH.ESTIMATE", [f"{letter}{row}" for letter in "IJFGH"]),
        ]
        cells += [cell_text("PH.REFINE", [f"{letter}{row}" for letter in (before, *"IJFGH")]) for before in "KLMN"]
        for column, text in enumerate(cells, start=6):
            sheet.cell(row, column, f"={text}")
    book.save(tmp_path / "asked.xlsx")
    formualizer.recalculate_file(str(tmp_path / "asked.xlsx"), str(tmp_path / "answered.xlsx"))
    rows = CalamineWorkbook.from_path(str(tmp_path / "answered.xlsx")).get_sheet_by_index(0).to_python()
    assert len(rows) == len(waters)
    for water, answers in zip(waters, rows, strict=True):
        assert answers[14] == pytest.approx(entry("PH.AFTER").call(*water), abs=1e-9), water
