"""Other people's readers and engines, each given a workbook file and answering with its cells.

read_by_exceljs(path, programs)     what the file holds, as exceljs reads it; so do xlsx and calamine
by_gnumeric(path, programs)         what the engine computes for each formula cell; so do the others
"""

from __future__ import annotations

import datetime
import json
import re
import subprocess
from collections.abc import Mapping
from pathlib import Path
from typing import Any, NamedTuple

import formualizer
import ironcalc
import python_calamine
from openpyxl.utils import coordinate_to_tuple, get_column_letter

from tests.prepare import EnginePrograms, clean_environment
from tests.support.office import Office, OfficeError
from tests.support.packages import replaced_in_sheets
from tests.test_built_files import Package

SCRIPTS = Path(__file__).resolve().parent
SECONDS = 240  # a time limit for one file
EPOCH = datetime.datetime(1899, 12, 30)
MEMORY = "--max-old-space-size=1500"  # megabytes for Node, enough for any of the files
# Gnumeric's words for a formula that it cannot read, in a cell or behind a name; but LAMBDA, which no cell uses, and
# print titles of rows and columns at once, which are no formula
GNUMERIC_REFUSED = re.compile(
    r"^(?:\S.* : )?At [A-Z]+\d+: '(?!_xlfn\.LAMBDA\()(?!.*' Multiple expressions are not supported).*$", re.MULTILINE
)
ESCAPED = re.compile(r"_x([0-9A-Fa-f]{4})_")
DAY = datetime.timedelta(days=1)
Place = tuple[str, str]  # sheet and address
Results = dict[Place, Any]


class Cell(NamedTuple):
    """A cell as a reader gives it: a number, text or truth value, and the formula where it has one."""

    formula: str | None
    value: Any


class Failure(NamedTuple):
    """An error cell, or a formula that the engine does not understand."""

    text: str


Cells = dict[Place, Cell]


def in_file(content: bytes) -> Cells:
    """What the parts of the file say, read without a spreadsheet library."""
    package = Package(content)
    return {
        (sheet, address): Cell(cell.formula, Failure(str(cell.value)) if cell.kind == "e" else _typed(cell))
        for sheet in package.sheets
        for address, cell in package.cells(sheet).items()
    }


def _typed(cell: Any) -> Any:
    if cell.kind == "b":
        return bool(float(cell.value))
    if isinstance(cell.result, str):  # ECMA-376 Part 1, 22.9.2.19: how a text escapes what XML cannot hold
        return ESCAPED.sub(lambda found: chr(int(found[1], 16)), cell.result)
    return cell.result


def read_by_exceljs(path: Path, programs: EnginePrograms) -> Cells:
    return _cells(_node(programs, "exceljs_cells.js", str(path)))


def exceljs_rules(path: Path, programs: EnginePrograms) -> int:
    """How many entries exceljs keeps for the rules of the first sheet."""
    return int(_node(programs, "exceljs_rules.js", str(path)))


def read_by_xlsx(path: Path, programs: EnginePrograms) -> Cells:
    return _cells(_node(programs, "xlsx_cells.js", str(path)))


def read_by_calamine(path: Path) -> Results:
    """The values alone; calamine gives no formulas here, and a blank cell as an empty text."""
    found = {}
    book = python_calamine.CalamineWorkbook.from_path(str(path))
    for name in book.sheet_names:
        for row, line in enumerate(book.get_sheet_by_name(name).to_python(skip_empty_area=False), start=1):
            for column, value in enumerate(line, start=1):
                if value != "":
                    found[name, f"{get_column_letter(column)}{row}"] = _number(value)
    return found


def by_gnumeric(path: Path, programs: EnginePrograms) -> Results:
    """Computed anew and written to a workbook, which is read as parts."""
    target = path.with_name(f"{path.stem}-gnumeric.xlsx")
    done = _started([str(programs.ssconvert), "--recalc", str(path), str(target)])
    assert done.returncode == 0, f"Gnumeric refused {path.name}: {done.stderr[-2000:]}"
    refused = GNUMERIC_REFUSED.findall(done.stderr)
    assert not refused, "\n".join(
        [f"Gnumeric does not understand {len(refused)} formulas of {path.name}", *refused[:12]]
    )
    return {place: cell.value for place, cell in in_file(target.read_bytes()).items()}


def by_hyperformula(
    cells: Cells, programs: EnginePrograms, names: Mapping[str, str] | None = None, mended: bool = True
) -> Results:
    """Computed from the cells that another reader has read, HyperFormula having no reader of files.

    `mended` : with the functions in the place of its own that `defects` lists.
    """
    sheets: dict[str, list[list[Any]]] = {}
    for (sheet, address), cell in cells.items():
        row, column = coordinate_to_tuple(address)
        lines = sheets.setdefault(sheet, [])
        lines.extend([] for _ in range(row - len(lines)))
        line = lines[row - 1]
        line.extend(None for _ in range(column - len(line)))
        # a text without an apostrophe would be read as if someone typed it: "0012" as 12, "=1" as a formula
        typed = f"'{cell.value}" if isinstance(cell.value, str) else cell.value
        line[column - 1] = typed if cell.formula is None else f"={for_hyperformula(cell.formula)}"
    # TRUE and FALSE as words are names there, by its guide to compatibility with Excel
    expressions = {name: f"={for_hyperformula(text)}" for name, text in (names or {}).items()}
    words = {"TRUE": "=TRUE()", "FALSE": "=FALSE()"}
    given = {"sheets": sheets, "names": expressions | words, "mended": mended}
    answer = _node(programs, "hyperformula_results.js", given=json.dumps(given))
    return {(sheet, address): _value(value) for sheet, found in answer.items() for address, value in found.items()}


def for_hyperformula(formula: str) -> str:
    """A stored formula as HyperFormula takes it: no prefix of future functions, an exponent with a small e."""
    pieces = re.split(r'("(?:[^"]|"")*")', formula)  # texts in quotation marks stay
    pieces[::2] = [re.sub(r"\b(\d+\.?\d*)E([+-]?\d)", r"\1e\2", p.replace("_xlfn.", "")) for p in pieces[::2]]
    return "".join(pieces)


def by_ironcalc(path: Path, cells: Cells) -> Results:
    """Computed anew; asked for the cells that the file has."""
    model = ironcalc.load_from_xlsx(str(path), "en", "UTC", "en")
    model.evaluate()
    sheets = [sheet["name"] for sheet in model.get_worksheets_properties()]
    found: Results = {}
    for sheet, address in cells:
        row, column = coordinate_to_tuple(address)
        number = sheets.index(sheet)
        value = model.get_cell_value(number, row, column)
        wrong = model.get_cell_type(number, row, column) == ironcalc.CellType.ErrorValue
        found[sheet, address] = Failure(str(value)) if wrong else _number(value)
    return found


def by_formualizer(path: Path, mended: bool = True) -> Results:
    """Computed anew and written to a workbook, which is read as parts; `mended`: ISFORMULA is taken for true."""
    source = path.with_name(f"{path.stem}-for-formualizer.xlsx")
    content = path.read_bytes()
    source.write_bytes(replaced_in_sheets(content, b"_xlfn.ISFORMULA(", b"ISREF(") if mended else content)
    target = path.with_name(f"{path.stem}-formualizer.xlsx")
    formualizer.recalculate_file(str(source), str(target))
    return {place: cell.value for place, cell in in_file(target.read_bytes()).items()}


def by_office(path: Path, office: Office) -> Results:
    return {
        (sheet, address): Failure(str(value)) if isinstance(value, OfficeError) else value
        for sheet, cells in office.values(path).items()
        for address, value in cells.items()
    }


def _cells(answer: Mapping[str, Mapping[str, Any]]) -> Cells:
    return {
        (sheet, address): Cell(cell.get("formula"), _value(cell["value"]))
        for sheet, cells in answer.items()
        for address, cell in cells.items()
    }


def _value(value: Any) -> Any:
    """What a script gives for a value: errors and dates are marked."""
    if isinstance(value, Mapping):
        return Failure(value["error"]) if "error" in value else float(value["day"])
    return _number(value)


def _number(value: Any) -> Any:
    """A date or a time as its day number, every number as a float."""
    if isinstance(value, bool):
        return value
    if isinstance(value, datetime.timedelta):
        return value / DAY
    if isinstance(value, datetime.time):
        return (datetime.datetime.combine(EPOCH, value) - EPOCH) / DAY
    if isinstance(value, datetime.date):
        moment = value if isinstance(value, datetime.datetime) else datetime.datetime.combine(value, datetime.time())
        return (moment - EPOCH) / DAY
    return float(value) if isinstance(value, int) else value


def _node(programs: EnginePrograms, script: str, *arguments: str, given: str = "") -> Any:
    return json.loads(_run([str(programs.node), MEMORY, str(SCRIPTS / script), *arguments], programs.packages, given))


def _run(command: list[str], packages: Path, given: str) -> str:
    """What a script prints; one that fails or complains fails the test, with what it said."""
    done = _started(command, {"NODE_PATH": str(packages)}, given)
    assert (done.returncode, done.stderr) == (0, ""), f"{Path(command[2]).name} refused: {done.stderr[-2000:]}"
    return done.stdout


def _started(
    command: list[str], variables: Mapping[str, str] | None = None, given: str = ""
) -> subprocess.CompletedProcess[str]:
    surroundings = clean_environment() | {"LC_ALL": "C.UTF-8"} | dict(variables or {})
    return subprocess.run(
        command, env=surroundings, input=given, capture_output=True, text=True, check=False, timeout=SECONDS
    )
