"""Everything that people type has a stated outcome: read right, or a finding at its cell; never a wrong dose.

The rows stand in `tests/support/typed_rows.py`, from which the guide is written as well.
"""

from __future__ import annotations

import copy
import datetime
import pickle
import re
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from openpyxl.utils.datetime import CALENDAR_MAC_1904, CALENDAR_WINDOWS_1900, to_excel
from openpyxl.worksheet.worksheet import Worksheet

from tests.support.commands import run
from tests.support.office import Office
from tests.support.typed_rows import (
    DAY,
    DONE,
    IN_DAYS,
    IN_NUMBERS,
    IN_OFFICE,
    IN_TEXTS,
    NUMBERS,
    PERCENT,
    SHARE,
    Cell,
    Typed,
)
from tests.support.write_what_you_type import GUIDE, guide
from tests.test_check import clean, findings, made, placed, typed
from workbook_tools.functions.quantities import Quantity
from workbook_tools.layout import Column, case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.log.checking.log_check import CheckedLog, check_log
from workbook_tools.log.checking.reading import read_log
from workbook_tools.log.checking.silent_cells import Unread, sheet_parts
from workbook_tools.xlsx.addresses import column_number
from workbook_tools.xlsx.reading.archive import Archive

UNUSUAL = ("dose-outside-reference", "more-water")
FIRST = 6  # first row of every table
START, WATER = 80.0, 40.0  # of the bath that every row repeats
LETTERS = {key: table.letters for key, table in case_log().tables.items()}


def put(sheet: Worksheet, place: str, held: Cell) -> None:
    """A cell as a file holds it, past every rule."""
    cell = sheet[place]
    cell.value = held.value
    cell.number_format = held.format
    if held.kind:
        cell.data_type = held.kind
    elif isinstance(held.value, str):
        cell.data_type = "s"  # openpyxl takes '#N/A' and '=' for something else


def baths(count: int) -> dict[str, list[dict[str, Any]]]:
    """A clean log with so many equal baths of 40 L at 80 mg/L, named apart."""
    data = clean()
    plain = {key: value for key, value in data["baths"][1].items() if key not in NUMBERS} | {"start_dose": START}
    plain |= {"vessel": "T03", "fish_mass": None}
    data["baths"] = [{**plain, "bath": f"X{number:03d}"} for number in range(count)]
    for table in ("watch", "fish"):
        data[table] = []
    data["samples"][0]["fish"] = None
    return data


def of_cell(checked: CheckedLog, table: str, key: str, row: int) -> list[tuple[str, str]]:
    """Code and reason of what is found at a cell; that a dose is unusual is no matter of typing."""
    cell = f"{case_log().tables[table].sheet}!{LETTERS[table][key]}{row}"
    return [
        (finding.code, finding.reason)
        for finding in checked.findings
        if finding.cell == cell and finding.code not in UNUSUAL
    ]


def held(checked: CheckedLog, table: str, key: str, row: int) -> Any:
    read = checked.log.tables[table]
    return checked.computed.data[table][read.numbers.index(row)][key]


def outcome_faults(checked: CheckedLog, table: str, key: str, row: int, slip: Typed) -> Iterator[str]:
    """Where the stated outcome is not what happened."""
    found = of_cell(checked, table, key, row)
    value = held(checked, table, key, row)
    if slip.code:
        if not any(code == slip.code and slip.say in reason for code, reason in found):
            yield f"{slip.typed!r} in {table}.{key}: {slip.code}, {slip.say!r} wanted, found {found}"
    elif found or value != slip.read:
        yield f"{slip.typed!r} in {table}.{key}: read as {value!r}, found {found}"


def dose_faults(row: dict[str, Any], key: str, slip: Typed) -> Iterator[str]:
    """A drug or buffer that does not follow from what was read, or follows from a cell that was refused."""
    right = {"start_dose": START, "used": WATER, "active": 1.0, "ratio": 2.0}
    if not slip.code:
        right[key] = slip.read
    drug = right["used"] * right["start_dose"] / 1000 / right["active"]  # g: L x mg/L / 1000 / share
    wanted: dict[str, float | None] = {"drug": drug, "buffer": drug * right["ratio"]}
    if slip.code:
        wanted = {"drug": drug if key == "ratio" else None, "buffer": None}
    for name, amount in wanted.items():
        if row[name] != (amount if amount is None else pytest.approx(amount, rel=1e-12)):
            yield f"{slip.typed!r} in {key}: {name} is {row[name]!r}, should be {amount!r}"


def test_in_cells_for_numbers(tmp_path: Path) -> None:
    """Each row of the table in each of the four cells that a dose hangs on; what is refused gives no mass at all."""
    tried = [(key, slip) for key in NUMBERS for slip in (*IN_NUMBERS, *(SHARE if key == "active" else (PERCENT,)))]
    assert len(tried) > 120
    book = openpyxl.load_workbook(made(tmp_path, baths(len(tried)), rows=len(tried)))
    for number, (key, slip) in enumerate(tried):
        put(book["Baths"], f"{LETTERS['baths'][key]}{FIRST + number}", slip.cell)
    book.save(tmp_path / "typed.xlsx")
    checked = check_log(tmp_path / "typed.xlsx", case_log())
    faults = []
    for number, (key, slip) in enumerate(tried):
        faults += outcome_faults(checked, "baths", key, FIRST + number, slip)
        faults += dose_faults(checked.computed.data["baths"][number], key, slip)
    assert faults == []


@pytest.mark.parametrize(("table", "rows"), [("sites", IN_TEXTS), ("days", IN_DAYS)])
def test_in_other_cells(table: str, rows: tuple[tuple[str, Typed], ...], tmp_path: Path) -> None:
    """Each row of the table in a row of its own, of Sites, or of Visits and Water."""
    data = clean()
    places = []
    for number, (key, slip) in enumerate(rows):
        where = table if table != "days" else "visits" if key == "date" else "water"
        model = data[where][1]
        name = case_log().tables[where].key_column.key
        row = {**model, name: f"Z{number:03d}", "notes": f"row {number}"}
        if where == "water":
            row |= {"vessel": None}
        data[where].append(row)
        places.append((where, key, FIRST + len(data[where]) - 1, slip))
    book = openpyxl.load_workbook(made(tmp_path, data, rows=40))
    for where, key, row_number, slip in places:
        put(book[case_log().tables[where].sheet], f"{LETTERS[where][key]}{row_number}", slip.cell)
    book.save(tmp_path / "typed.xlsx")
    checked = check_log(tmp_path / "typed.xlsx", case_log())
    assert [fault for place in places for fault in outcome_faults(checked, *place)] == []


def test_the_day_of_the_rows_is_right() -> None:
    assert to_excel(datetime.datetime(2026, 3, 4)) == DAY


# ------------------------------------------------------------------------------------------------- in the file's XML


def in_part(path: Path, target: Path, name: str, change: Callable[[bytes], bytes]) -> Path:
    """A copy with one part changed; everything else as it was, stored results too."""
    with zipfile.ZipFile(path) as source, zipfile.ZipFile(target, "w") as copied:
        for entry in source.namelist():
            content = source.read(entry)
            if entry == name:
                before, content = content, change(content)
                assert content != before
            copied.writestr(entry, content)
    return target


@pytest.mark.parametrize(
    ("xml", "read", "say"),
    [
        ('<c r="@"><f>1/2</f><v>0.5</v></c>', 0.5, ""),
        ('<c r="@"><f t="array" ref="@">1/2</f><v>0.5</v></c>', 0.5, ""),
        ('<c r="@"><f>1/2</f></c>', "=1/2", "Its formula was not computed"),
        ('<c r="@"><f>A1&lt;2</f><v></v></c>', "=A1<2", "Its formula was not computed"),
        ('<c r="@" t="e"><f>1/0</f><v>#DIV/0!</v></c>', "#DIV/0!", "The cell shows an error (#DIV/0!)"),
        ('<c t="e" r="@"><v>#N/A</v></c>', "#N/A", "The cell shows an error (#N/A)"),
        ('<c r="@" t="str"><f>"0.5"</f><v>0.5</v></c>', "0.5", "It is text that looks like a number"),
        ('<c r="@" t="inlineStr"><is><t>0,5</t></is></c>', "0,5", "It has a comma"),
        ('<c r="@" t="d"><v>2026-03-04T00:00:00</v></c>', "2026-03-04", "The spreadsheet made a date of it"),
        ('<c r="@" t="b"><v>1</v></c>', True, "It is TRUE or FALSE"),
        ('<x:c xmlns:x="@@" r="@" t="e"><x:v>#REF!</x:v></x:c>', "#REF!", "The cell shows an error (#REF!)"),
    ],
)
def test_as_programs_write_it(xml: str, read: object, say: str, tmp_path: Path) -> None:
    """An active share as spreadsheets and other writers store it; none of these may pass for a blank, which means 1."""
    space = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    place = f"{LETTERS['baths']['active']}6"

    def change(content: bytes) -> bytes:
        cell = xml.replace("@@", space).replace("@", place).encode()
        return re.sub(rb'<c r="' + place.encode() + rb'"[^>]*?/>', lambda _: cell, content, count=1)

    base = made(tmp_path, clean())
    path = in_part(base, tmp_path / "typed.xlsx", part_of(base, "Baths"), change)
    checked = check_log(path, case_log())
    assert held(checked, "baths", "active", 6) == read
    found = of_cell(checked, "baths", "active", 6)
    assert [code for code, _ in found] == (["not-a-number"] if say else [])
    assert say in "".join(reason for _, reason in found)
    # 400 L x 80 mg/L is 32 g of pure drug
    assert held(checked, "baths", "drug", 6) == (None if say else 64.0)


def test_days_counted_from_1904(tmp_path: Path) -> None:
    """Dates are those that openpyxl reads, with or without a date's format; nothing is written into such a file."""
    moved = to_excel(datetime.datetime(2026, 3, 4), epoch=CALENDAR_MAC_1904)
    assert to_excel(datetime.datetime(2026, 3, 4), epoch=CALENDAR_WINDOWS_1900) - moved == 1462
    book = openpyxl.load_workbook(made(tmp_path, clean()))
    book.epoch = CALENDAR_MAC_1904
    for sheet, table, key in (("Visits", "visits", "date"), ("Treatments", "treatments", "last")):
        book[sheet][f"{LETTERS[table][key]}6"].value = moved
        book[sheet][f"{LETTERS[table][key]}6"].number_format = "General"
        book[sheet][f"{LETTERS[table][key]}7"].value = datetime.datetime(2026, 3, 4)
    started = f"{LETTERS['baths']['started']}6"
    book["Baths"][started].value = datetime.time(10, 0)
    path = tmp_path / "old.xlsx"
    book.save(path)
    assert openpyxl.load_workbook(path)["Visits"][f"{LETTERS['visits']['date']}7"].value == datetime.datetime(
        2026, 3, 4
    )
    checked = check_log(path, case_log())
    for row in (6, 7):
        assert held(checked, "visits", "date", row) == DAY
        assert held(checked, "treatments", "last", row) == DAY
    assert held(checked, "baths", "started", 6) == pytest.approx(10 / 24)
    assert held(checked, "treatments", "release", 6) == DAY + 21  # 21 days after the last one
    assert "days-from-1904" in {finding.code for finding in checked.findings}
    before = path.read_bytes()
    for words in (("upgrade", str(path)), ("lend", str(path), "--out", str(tmp_path / "lent.xlsx"), "--mark", "T")):
        assert "counts its days from 1904" in run(*words, code=2).output
    assert path.read_bytes() == before


def test_a_log_with_days_from_1904_moves_into_a_new_one(tmp_path: Path) -> None:
    """The way out that the finding names."""

    def change(content: bytes) -> bytes:
        return content.replace(b"<workbookPr/>", b'<workbookPr date1904="1"/>')

    path = in_part(made(tmp_path, clean()), tmp_path / "old.xlsx", "xl/workbook.xml", change)
    new = tmp_path / "new.xlsx"
    run("new", "log", str(new), "--rows", "30")
    run("merge", str(new), str(path), "--replace")
    assert {finding.code for finding in findings(new)} <= {"future-day"}  # read as shown, they lie four years ahead
    old = read_log(path, case_log()).data()
    assert old["visits"][0]["date"] == clean()["visits"][0]["date"] + 1462
    moved = read_log(new, case_log()).data()
    assert {key: old[key] for key in clean()} == {key: moved[key] for key in clean()}


# --------------------------------------------------------------------------------------------------- in LibreOffice


@pytest.fixture(scope="module")
def german() -> Iterator[Office]:
    with Office(locale="de-DE") as running:
        yield running


def check_in_office(running: Office, language: str, folder: Path) -> None:
    """Type every row into Water used L, save, and read what LibreOffice made of it."""
    place = LETTERS["baths"]["used"]
    path = made(folder, baths(len(IN_OFFICE)), rows=len(IN_OFFICE))
    cells = {f"{place}{FIRST + number}": row.typed for number, row in enumerate(IN_OFFICE)}
    saved = running.type_into(path, {"Baths": cells}, folder / "typed.xlsx")
    checked = check_log(saved, case_log())
    faults: list[str] = []
    for number, row in enumerate(IN_OFFICE):
        outcome = row.english if language == "english" else row.german
        slip = (
            Typed(row.typed, Cell(None), code=outcome) if isinstance(outcome, str) else Typed("", Cell(None), outcome)
        )
        found = [code for code, _ in of_cell(checked, "baths", "used", FIRST + number)]
        value = held(checked, "baths", "used", FIRST + number)
        if found != ([slip.code] if slip.code else []) or (not slip.code and value != slip.read):
            faults.append(f"{row.typed!r} in {language}: {value!r}, {found}")
        faults += dose_faults(checked.computed.data["baths"][number], "used", slip)
    assert faults == []


def test_typed_in_english(office: Office, tmp_path: Path) -> None:
    check_in_office(office, "english", tmp_path)


@pytest.mark.libreoffice
def test_typed_in_german(german: Office, tmp_path: Path) -> None:
    check_in_office(german, "german", tmp_path)


@pytest.mark.libreoffice
def test_days_and_names_in_german(german: Office, tmp_path: Path) -> None:
    """Day before month, as typed there; lots keep their zeros in cells for text."""
    cells = {
        "Visits": {f"{LETTERS['visits']['date']}6": "4.3.2026", f"{LETTERS['visits']['date']}7": "03/04/2026"},
        "Baths": {f"{LETTERS['baths']['lot']}6": "0012", f"{LETTERS['baths']['started']}6": "26:30"},
        "Sites": {f"{LETTERS['sites']['name']}6": "NA", f"{LETTERS['sites']['telephone']}6": "0012 345"},
    }
    checked = check_log(german.type_into(made(tmp_path, clean()), cells, tmp_path / "typed.xlsx"), case_log())
    assert held(checked, "visits", "date", 6) == DAY
    assert [code for code, _ in of_cell(checked, "visits", "date", 7)] == ["not-a-date"]
    assert held(checked, "baths", "lot", 6) == "0012"
    assert [code for code, _ in of_cell(checked, "baths", "started", 6)] == ["out-of-range"]
    assert held(checked, "sites", "name", 6) == "NA"
    assert held(checked, "sites", "telephone", 6) == "0012 345"


# ------------------------------------------------------------------------------------------- what is done to sheets


def with_cells(path: Path, target: Path, sheet: str, cells: dict[str, str]) -> Path:
    """A copy in which cells of a sheet, all of which are there, hold other XML: what stands between their tags."""

    def change(content: bytes) -> bytes:
        for place, inside in cells.items():
            kind = ' t="inlineStr"' if inside.startswith("<is>") else ""
            cell = f'<c r="{place}"{kind}>{inside}</c>'.encode()
            pattern = rb'<c r="' + place.encode() + rb'"[^>]*?(?:/>|>.*?</c>)'
            content, count = re.subn(pattern, lambda _, cell=cell: cell, content, count=1)
            assert count == 1, place
        return content

    return in_part(path, target, part_of(path, sheet), change)


def part_of(path: Path, sheet: str) -> str:
    return sheet_parts(Archive(path.read_bytes(), path))[sheet.casefold()]


def check_no_amounts(path: Path, why: str) -> None:
    """Card, plan and copy are refused in a sentence that says why."""
    out = str(path.with_name("out.xlsx"))
    for words in (("card", str(path)), ("plan", str(path)), ("share", str(path), "--site", "S01", "--out", out)):
        said_there = run(*words, code=2).output
        assert "no amounts are given from it before this is mended" in said_there
        assert why in said_there
    assert not Path(out).exists()


def test_a_heading_deleted(tmp_path: Path) -> None:
    """An active share of 0.8 must not be taken for the 1 of a blank."""
    place = f"{LETTERS['baths']['active']}5"
    path = with_cells(made(tmp_path, clean()), tmp_path / "done.xlsx", "Baths", {place: ""})
    assert ("Baths", 5, "Active share", "heading-missing") in placed(findings(path))
    check_no_amounts(path, "The heading 'Active share' is missing on Baths")


def test_a_sheet_renamed(tmp_path: Path) -> None:
    def rename(content: bytes) -> bytes:
        return content.replace(b'name="Vessels"', b'name="Tanks"')

    path = in_part(made(tmp_path, clean()), tmp_path / "done.xlsx", "xl/workbook.xml", rename)
    assert ("Vessels", 1, "", "sheet-missing") in placed(findings(path))
    check_no_amounts(path, "The sheet Vessels is missing")


def merged(folder: Path, *areas: str) -> Path:
    def merge(content: bytes) -> bytes:
        cells = "".join(f'<mergeCell ref="{area}"/>' for area in areas).encode()
        return content.replace(b"</sheetData>", b"</sheetData><mergeCells>" + cells + b"</mergeCells>")

    path = made(folder, clean())
    return in_part(path, folder / "done.xlsx", part_of(path, "Baths"), merge)


def test_cells_merged(tmp_path: Path) -> None:
    """One active share over two rows: the lower row is blank, and must not be dosed as if it were pure."""
    area = "{0}6:{0}7".format(LETTERS["baths"]["active"])
    path = merged(tmp_path, area)
    (finding,) = [finding for finding in findings(path) if finding.code == "merged-cells"]
    assert finding.cell == f"Baths!{area.split(':')[0]}"
    assert area in finding.reason
    check_no_amounts(path, f"The cells {area} are merged")


def test_merged_cells_elsewhere_are_no_fault(tmp_path: Path) -> None:
    assert findings(merged(tmp_path, "A1:D1", "A40:B41")) == []


def test_rows_sorted(tmp_path: Path) -> None:
    data = clean()
    for rows in data.values():
        rows.reverse()
    checked = check_log(made(tmp_path, data), case_log())
    assert checked.findings == []
    # 400 L and 29.5 L at 80 mg/L, the latter of a product of 80 %
    assert {row["bath"]: row["drug"] for row in checked.computed.data["baths"]} == {
        "B001": pytest.approx(32.0),
        "B002": pytest.approx(29.5 * 80 / 1000 / 0.8),
    }


def test_rows_filtered_or_rows_and_columns_hidden(tmp_path: Path) -> None:
    """As a filter leaves them. Moved and added columns are tried in test_check."""

    def hide(content: bytes) -> bytes:
        content = content.replace(b'<row r="6"', b'<row r="6" hidden="1"')
        return re.sub(rb"<col ", b'<col hidden="1" ', content)

    path = made(tmp_path, clean())
    hidden = in_part(path, tmp_path / "done.xlsx", part_of(path, "Baths"), hide)
    assert findings(hidden) == []
    assert typed(hidden) == typed(path)


def test_a_column_pasted_one_row_down(tmp_path: Path) -> None:
    """The first row lacks its dose, and a row that is none holds the last one."""
    place = LETTERS["baths"]["start_dose"]
    cells = {f"{place}6": "", f"{place}7": "<v>80</v>", f"{place}8": "<v>80</v>"}
    path = with_cells(made(tmp_path, clean()), tmp_path / "done.xlsx", "Baths", cells)
    found = placed(findings(path))
    assert ("Baths", 6, "Start dose mg/L", "missing") in found
    assert ("Baths", 8, "Bath vessel", "missing") in found


def test_a_row_twice(tmp_path: Path) -> None:
    data = clean()
    data["baths"].append(copy.deepcopy(data["baths"][1]))
    found = placed(findings(made(tmp_path, data)))
    assert ("Baths", 8, "Bath", "id-used-twice") in found
    assert ("Baths", 8, "Bath", "row-twice") in found


def test_rows_pasted_below_the_provided_rows(tmp_path: Path) -> None:
    """The row counts, and its dose is that of its cells."""
    values: dict[str, Any] = {**clean()["baths"][1], "bath": "B090", "start_dose": 100, "active": 0.5}
    del values["fish_mass"], values["used"]

    def paste(content: bytes) -> bytes:
        cells = b""
        for key, value in sorted(values.items(), key=lambda item: column_number(LETTERS["baths"][item[0]])):
            inside = f"<is><t>{value}</t></is>" if isinstance(value, str) else f"<v>{value}</v>"
            kind = ' t="inlineStr"' if isinstance(value, str) else ""
            cells += f'<c r="{LETTERS["baths"][key]}12"{kind}>{inside}</c>'.encode()
        return content.replace(b"</sheetData>", b'<row r="12">' + cells + b"</row></sheetData>")

    path = made(tmp_path, clean(), rows=3)
    path = in_part(path, tmp_path / "done.xlsx", part_of(path, "Baths"), paste)
    checked = check_log(path, case_log())
    assert ("Baths", 12, "Bath", "row-outside-table") in placed(checked.findings)
    assert held(checked, "baths", "drug", 12) == pytest.approx(8.0)  # 40 L x 100 mg/L / 0.5


def test_a_computed_cell_typed_over(tmp_path: Path) -> None:
    place = f"{LETTERS['baths']['drug']}7"
    path = with_cells(made(tmp_path, clean()), tmp_path / "typed.xlsx", "Baths", {place: "<v>99</v>"})
    checked = check_log(path, case_log())
    assert ("Baths", 7, "Drug to weigh g", "typed-over") in placed(checked.findings)
    assert held(checked, "baths", "drug", 7) == pytest.approx(29.5 * 80 / 1000 / 0.8)
    assert f"Baths!{place} (B002)" in run("card", str(path), "--bath", "B002", code=2).output
    known = run("card", str(path), "--bath", "B002", "--despite", "B002: the cell was typed over").output
    assert "99" not in known
    assert "2.95" in known


def test_a_formula_for_a_number(tmp_path: Path, office: Office) -> None:
    """LibreOffice computes it, and its result is what is read."""
    cells = {"Baths": {f"{LETTERS['baths']['used']}7": "=6*5", f"{LETTERS['baths']['active']}7": "=MAX(0.2,0.4)"}}
    saved = office.type_into(made(tmp_path, clean()), cells, tmp_path / "typed.xlsx")
    checked = check_log(saved, case_log())
    assert held(checked, "baths", "used", 7) == 30
    # (30 L less 0.5 L that the fish displace) x 80 mg/L / 0.4
    assert held(checked, "baths", "drug", 7) == pytest.approx(29.5 * 80 / 1000 / 0.4)


def test_every_row_of_the_guide_about_sheets_has_its_test() -> None:
    assert [row.done for row in DONE if "test_" + re.sub(r"\W+", "_", row.done) not in globals()] == []


def test_the_guide_is_that_of_the_rows() -> None:
    """`python3 -m tests.support.write_what_you_type` writes it anew."""
    assert GUIDE.read_text(encoding="utf-8") == guide()


def test_a_part_with_entities_is_refused_in_words(tmp_path: Path) -> None:
    def declare(content: bytes) -> bytes:
        return b'<!DOCTYPE workbook [<!ENTITY a "b">]>' + content

    path = in_part(made(tmp_path, clean()), tmp_path / "bad.xlsx", "xl/workbook.xml", declare)
    said = "bad.xlsx: its part xl/workbook.xml brings a document type of its own"
    assert said in run("check", str(path), code=2).output


def test_what_cannot_be_read_keeps_its_reason_between_processes() -> None:
    found = pickle.loads(pickle.dumps(Unread("#N/A", "The cell shows an error")))
    assert (found, found.why) == ("#N/A", "The cell shows an error")


# ------------------------------------------------------------------------- nothing is computed from a refused cell

Place = tuple[str, int, str]
# what a treatment rests on is said in words; a group's dates are those that are known, beside how many are not
IN_WORDS = {"basis"}
KNOWN_ONES = {"dated", "latest"}


def shown(table: str, row: int, key: str, value: object) -> dict[Place, Any]:
    """Every computed cell and figure of the Summary of a log in which one cell is another than it should be."""
    data = clean()
    data[table][row][key] = value
    computed = Computed(case_log(), data).data
    return {
        (name, number, column.key): cells[column.key]
        for name, rows in computed.items()
        for number, cells in enumerate(rows)
        for column in case_log().tables[name].columns
        if column.kind in ("computed", "measure")
    }


def refused(span: Quantity) -> tuple[object, ...]:
    step = max(1, abs(span.high)) * 1e-6
    return ("12 gal", span.low - step, span.high + step, *([span.low + 0.5] if span.whole else []))


RANGED = [
    pytest.param(table.key, column, id=f"{table.key}.{column.key}")
    for table in case_log().log_tables()
    for column in table.typed
    if column.span is not None
]


@pytest.mark.parametrize(("table", "column"), RANGED)
def test_what_a_refused_cell_holds_changes_nothing(table: str, column: Column) -> None:
    """A text, a number too small, one too large, a part of a whole one: every computed cell is the same for all."""
    assert column.span is not None
    for row in range(len(clean()[table])):
        first, *others = (shown(table, row, column.key, value) for value in refused(column.span))
        for other in others:
            assert other == first


@pytest.mark.parametrize(("table", "column"), RANGED)
def test_nothing_in_a_row_is_computed_from_a_refused_cell(table: str, column: Column) -> None:
    """Whatever changes with a good value is blank for a refused one: in its row, and in what is left of a lot."""
    assert column.span is not None
    for row, cells in enumerate(clean()[table]):
        value = cells.get(column.key)
        if value is None:
            continue
        other = value + 1 if column.span.whole or column.kind == "date" else value * 1.01
        other = other if other <= column.span.high else value * 0.99
        before, after = (shown(table, row, column.key, good) for good in (value, other))
        without = shown(table, row, column.key, "12 gal")
        for place in before:
            own = place[:2] == (table, row) and place[2] not in IN_WORDS
            group = place[0] in ("stores", "stocks") and place[2] not in KNOWN_ONES
            if (own or group) and before[place] != after[place]:
                assert without[place] is None, place
