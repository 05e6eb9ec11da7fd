"""Edits in place: what was asked for is there, all else is as it was, part by part and cell by cell."""

from __future__ import annotations

import functools
import io
import warnings
import zipfile
from collections.abc import Iterable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import python_calamine
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st
from lxml import etree
from openxml_audit import OpenXmlValidator

from tests.support import plain_workbook
from tests.support.first_version import first_log
from tests.support.kitchen_sink import DIARY, OFFICE, THREAD, with_everything
from tests.support.office import Office
from tests.test_built_files import built
from tests.test_check import ROWS, clean
from workbook_tools.errors import DataError, EditError, ReadError
from workbook_tools.layout import case_log
from workbook_tools.xlsx.addresses import column_number, letter
from workbook_tools.xlsx.editing.workbook_edit import NewColumn, WorkbookEdit

MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
STOCKS, VISITS, BATHS = "xl/worksheets/sheet4.xml", "xl/worksheets/sheet5.xml", "xl/worksheets/sheet7.xml"
TEXTS = "xl/sharedStrings.xml"
STOCK = case_log().tables["stocks"].letters
NUMBER = {key: column_number(letters) for key, letters in STOCK.items()}


@functools.cache
def sink() -> bytes:
    """A filled log to which a person has added about everything."""
    return with_everything(built("filled log"))


def parts(content: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert archive.testzip() is None
        return {name: archive.read(name) for name in archive.namelist()}


def changed(old: bytes, new: bytes) -> set[str]:
    """Parts that are not the same bytes, or came, or went."""
    before, after = parts(old), parts(new)
    return {name for name in before.keys() | after.keys() if before.get(name) != after.get(name)}


def cells(content: bytes) -> dict[str, list[list[Any]]]:
    """What another reader finds in every cell, from A1 on."""
    book = python_calamine.load_workbook(io.BytesIO(content))
    return {name: book.get_sheet_by_name(name).to_python(skip_empty_area=False) for name in book.sheet_names}


def at(content: bytes, sheet: str, row: int, column: int) -> Any:
    found = cells(content)[sheet]
    return found[row - 1][column - 1] if row <= len(found) and column <= len(found[row - 1]) else ""


def formula(content: bytes, sheet: str, address: str) -> Any:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # openpyxl says that it will drop what it does not know; it saves nothing here
        return openpyxl.load_workbook(io.BytesIO(content))[sheet][address].value


def canonical(part: bytes, without_cells: Iterable[str] = (), without_rows: Iterable[int] = ()) -> bytes:
    """A part in canonical XML without some cells and rows, and without what says how far its cells reach."""
    root = etree.fromstring(part)
    for cell in list(root.iter(f"{MAIN}c")):
        if cell.get("r") in without_cells:
            cell.getparent().remove(cell)
    for row in list(root.iter(f"{MAIN}row")):
        if int(row.get("r")) in without_rows:
            row.getparent().remove(row)
    for dimension in root.iter(f"{MAIN}dimension"):
        dimension.set("ref", "")
    return bytes(etree.tostring(root, method="c14n"))


def complaints(content: bytes, folder: Path) -> list[str]:
    path = folder / "audited.xlsx"
    path.write_bytes(content)
    return [str(error) for error in OpenXmlValidator().validate(path).errors]


# ---------------------------------------------------------------------------------------------- nothing is lost


def test_a_file_that_is_not_edited_keeps_every_entry() -> None:
    new = WorkbookEdit(sink()).content()
    assert changed(sink(), new) == set()
    with zipfile.ZipFile(io.BytesIO(sink())) as before, zipfile.ZipFile(io.BytesIO(new)) as after:
        kept = [(e.filename, e.date_time, e.CRC, e.compress_size) for e in before.infolist()]
        assert [(e.filename, e.date_time, e.CRC, e.compress_size) for e in after.infolist()] == kept


def edited() -> bytes:
    edit = WorkbookEdit(sink(), "River farm.xlsx")
    edit.put("Stocks", 8, 1, "K03")
    edit.put("Stocks", 8, NUMBER["number"], 300)
    edit.put("Stocks", 6, NUMBER["notes"], None)
    edit.put("Stocks", 6, NUMBER["as_of"], 46_100)
    edit.store("Stocks", 6, NUMBER["biomass"], 54.0)
    edit.store("Stocks", 8, NUMBER["check"], "Stock site is missing.")
    edit.put(DIARY, 2, 1, 4)
    return edit.content()


def test_edited_cells_and_nothing_else() -> None:
    new = edited()
    sheet = "xl/worksheets/sheet99.xml"
    assert changed(sink(), new) == {STOCKS, sheet, TEXTS}
    before, after = parts(sink()), parts(new)
    places = (("stock", 8), ("number", 8), ("notes", 6), ("as_of", 6), ("biomass", 6), ("check", 8))
    named = [f"{STOCK[key]}{row}" for key, row in places]
    assert canonical(before[STOCKS], named) == canonical(after[STOCKS], named)
    assert canonical(before[sheet], ["A2"]) == canonical(after[sheet], ["A2"])
    old_rows, new_rows = (part[STOCKS].split(b"<row ") for part in (before, after))
    assert [old for old, new in zip(old_rows, new_rows, strict=True) if old != new] == [old_rows[5], old_rows[7]]
    assert after[TEXTS].startswith(before[TEXTS].split(b"<si>", 1)[0].split(b" count", 1)[0])
    assert before[TEXTS].partition(b"<si>")[2].removesuffix(b"</sst>") in after[TEXTS]  # none is numbered anew
    assert at(new, "Stocks", 8, 1) == "K03"
    assert at(new, "Stocks", 8, NUMBER["number"]) == 300
    assert at(new, DIARY, 2, 1) == 4
    assert at(new, "Stocks", 6, NUMBER["biomass"]) == 54
    assert at(new, DIARY, 1, 4) == "kept as typed"
    biomass = f"{STOCK['biomass']}8"
    assert formula(new, "Stocks", biomass) == formula(sink(), "Stocks", biomass)


def test_an_edited_file_in_a_spreadsheet_program(tmp_path: Path, office: Office) -> None:
    """54 kg: 1,200 fish (the log's) of 45 g. 300 fish without a weight have no biomass."""
    new = edited()
    assert complaints(sink(), tmp_path) == complaints(new, tmp_path) == []
    path = tmp_path / "edited.xlsx"
    path.write_bytes(new)
    shown = office.values(path)
    stocks = {(key, row): shown["Stocks"].get(f"{letters}{row}") for key, letters in STOCK.items() for row in (6, 8)}
    assert (stocks["stock", 8], stocks["number", 8]) == ("K03", 300)
    assert (stocks["biomass", 6], stocks["biomass", 8]) == (54, "")
    assert "Stock site is missing." in str(stocks["check", 8])
    assert shown[DIARY]["C2"] == 6  # 4 + 2


def test_the_same_edits_give_the_same_bytes() -> None:
    assert edited() == edited()
    edit = WorkbookEdit(sink())
    edit.put("Stocks", 8, 1, "K03")
    assert edit.content() == edit.content()


VALUES = st.one_of(
    st.none(),
    st.booleans(),
    st.integers(-(2**53), 2**53),
    st.floats(allow_nan=False, allow_infinity=False),
    st.text(st.characters(exclude_categories=["Cs"], exclude_characters="\r"), min_size=1, max_size=20),
)
PUTS = st.dictionaries(st.tuples(st.integers(1, 60), st.integers(max(NUMBER.values()) + 1, 70)), VALUES, max_size=25)


@given(puts=PUTS)
@example(puts={(5, 50): "=1+1", (6, 51): "_x0041_", (7, 52): " a\n\tb ", (8, 53): "\x07", (9, 54): -0.0})
@settings(max_examples=80, deadline=None, suppress_health_check=[HealthCheck.too_slow])
def test_random_cells_read_back_and_all_others_are_as_they_were(puts: dict[tuple[int, int], Any]) -> None:
    """On the sheet of the stocks, beside and below its table."""
    edit = WorkbookEdit(sink())
    for (row, column), value in puts.items():
        edit.put("Stocks", row, column, value)
    new = edit.content()
    before, after = cells(sink()), cells(new)
    wide = max(len(row) for row in (*before["Stocks"], *after["Stocks"]))
    tall = max(len(before["Stocks"]), len(after["Stocks"]))
    for row in range(1, tall + 1):
        for column in range(1, wide + 1):
            expected = puts.get((row, column), at_in(before["Stocks"], row, column))
            found = at_in(after["Stocks"], row, column)
            assert found == ("" if expected is None else expected), (row, column)
            assert isinstance(found, bool) == isinstance(expected, bool)
    assert {name: rows for name, rows in before.items() if name != "Stocks"} == {
        name: rows for name, rows in after.items() if name != "Stocks"
    }
    assert changed(sink(), new) <= {STOCKS, TEXTS}


def at_in(rows: list[list[Any]], row: int, column: int) -> Any:
    return rows[row - 1][column - 1] if row <= len(rows) and column <= len(rows[row - 1]) else ""


# --------------------------------------------------------------------------------- files of other programs' making


def made(sheet: str, texts: str = "") -> bytes:
    """A workbook of one sheet, whose part is given."""
    kind = "application/vnd.openxmlformats-officedocument.spreadsheetml.sharedStrings+xml"
    override = f'<Override PartName="/xl/sharedStrings.xml" ContentType="{kind}"/></Types>'
    links = plain_workbook.RELATIONS.format(target="worksheets/sheet1.xml", kind="worksheet")
    strings = f'<Relationship Id="rId2" Target="sharedStrings.xml" Type="{OFFICE}/sharedStrings"/></Relationships>'
    content = {
        "[Content_Types].xml": plain_workbook.CONTENT_TYPES.replace("</Types>", override if texts else "</Types>"),
        "_rels/.rels": plain_workbook.RELATIONS.format(target="xl/workbook.xml", kind="officeDocument"),
        "xl/workbook.xml": plain_workbook.WORKBOOK,
        "xl/_rels/workbook.xml.rels": links.replace("</Relationships>", strings) if texts else links,
        "xl/worksheets/sheet1.xml": sheet,
        **({"xl/sharedStrings.xml": texts} if texts else {}),
    }
    target = io.BytesIO()
    with zipfile.ZipFile(target, "w") as archive:
        for name, part in content.items():
            archive.writestr(name, part)
    return target.getvalue()


SPACE = MAIN.strip("{}")
PREFIXED = (
    f'<x:worksheet xmlns:x="{SPACE}"><x:dimension ref="A1:B2"/><x:sheetData><x:row r="2" spans="1:2"><x:c r="A2" t="s">'
    '<x:v>0</x:v></x:c><x:c r="B2"><x:f>1+1</x:f><x:v>2</x:v></x:c></x:row><x:row r="5"/></x:sheetData></x:worksheet>'
)
PREFIXED_TEXTS = f'<x:sst xmlns:x="{SPACE}" count="1" uniqueCount="1"><x:si><x:t>kept</x:t></x:si></x:sst>'
BARE = (
    f"<worksheet xmlns='{SPACE}'><sheetData>\n<!-- <row r='9'> is no row -->\n<row><c><v>1</v></c>"
    "<c r='C1'><v>3</v></c><c><v>4</v></c></row>\n<row r='4'><c><v>5</v></c></row>"
    "<row ><c><v>6</v></c></row>\n</sheetData></worksheet>"
)
EMPTY = f'<?xml version="1.0" encoding="UTF-16"?><worksheet xmlns="{SPACE}"><sheetData/></worksheet>'.encode("utf-16")


@pytest.mark.parametrize(
    ("content", "there"),
    [
        (made(PREFIXED, PREFIXED_TEXTS), {(2, 1): "kept", (2, 2): 2.0}),
        (made(BARE), {(1, 1): 1.0, (1, 3): 3.0, (1, 4): 4.0, (4, 1): 5.0, (5, 1): 6.0}),
        (made(EMPTY), {}),
    ],
    ids=["prefixed", "without numbers", "empty, in another encoding"],
)
def test_sheets_as_other_programs_write_them(
    content: bytes, there: dict[tuple[int, int], Any], tmp_path: Path, office: Office
) -> None:
    puts = {(1, 2): "two", (1, 6): 6.5, (3, 1): False, (4, 2): "kept", (5, 1): -1.5, (7, 30): 7.0}
    edit = WorkbookEdit(content)
    for (row, column), value in puts.items():
        edit.put("Sheet1", row, column, value)
    new = edit.content()
    found = {
        (row, column): value
        for row, values in enumerate(cells(new)["Sheet1"], start=1)
        for column, value in enumerate(values, start=1)
        if value != ""
    }
    assert found == {**there, **puts}
    path = tmp_path / "new.xlsx"
    path.write_bytes(new)
    shown = office.values(path)["Sheet1"]
    assert shown == {f"{letter(column)}{row}": value for (row, column), value in {**there, **puts}.items()}
    assert cells(WorkbookEdit(new).content()) == cells(new)


def test_rows_that_are_not_touched_keep_their_bytes_whatever_they_are() -> None:
    edit = WorkbookEdit(made(BARE))
    edit.put("Sheet1", 4, 2, 1)
    part = parts(edit.content())["xl/worksheets/sheet1.xml"].decode()
    kept = "<row><c><v>1</v></c><c r='C1'><v>3</v></c><c><v>4</v></c></row>\n"
    assert part.startswith(f"<worksheet xmlns='{SPACE}'><sheetData>\n<!-- <row r='9'> is no row -->\n{kept}")
    assert part.endswith("<row ><c><v>6</v></c></row>\n</sheetData></worksheet>")


def test_a_shared_formula_whose_holder_is_typed_over(tmp_path: Path, office: Office) -> None:
    rows = (
        '<row r="1"><c r="A1"><v>1</v></c><c r="B1"><f t="shared" ref="B1:B4" si="3">A1*2+$A$1</f><v>3</v></c></row>'
        '<row r="2"><c r="A2"><v>2</v></c></row>'
        '<row r="3"><c r="A3"><v>3</v></c><c r="B3"><f t="shared" si="3"/><v>7</v></c></row>'
        '<row r="4"><c r="A4"><v>4</v></c><c r="B4"><f t="shared" si="3"/><v>9</v></c></row>'
    )
    edit = WorkbookEdit(made(f'<worksheet xmlns="{SPACE}"><sheetData>{rows}</sheetData></worksheet>'))
    with pytest.raises(EditError, match=r"Sheet1!B1: holds a formula, which is not typed over"):
        edit.put("Sheet1", 1, 2, 50)
    edit.put("Sheet1", 1, 2, 50, replace=True)
    new = edit.content()
    assert formula(new, "Sheet1", "B4") == "=A4*2+$A$1"
    path = tmp_path / "new.xlsx"
    path.write_bytes(new)
    shown = office.values(path)["Sheet1"]
    assert (shown["B1"], shown["B3"], shown["B4"]) == (50, 7, 9)
    part = parts(new)["xl/worksheets/sheet1.xml"]
    assert b'ref="B3:B4"' in part
    assert b'fullCalcOnLoad="1"' in parts(new)["xl/workbook.xml"]


# ---------------------------------------------------------------------------------------------------- refusals


@pytest.mark.parametrize(
    ("sheet", "row", "column", "value", "words"),
    [
        ("Nowhere", 1, 1, 1, "Nowhere: there is no such sheet"),
        ("Stocks", 6, NUMBER["biomass"], 1, f"Stocks!{STOCK['biomass']}6: holds a formula, which is not typed over"),
        (DIARY, 4, 3, 1, "belongs to a formula that fills several cells together"),
        ("Start", 4, 2, 1, "Start!B4: is covered by merged cells"),
        ("Stocks", 0, 1, 1, "there is no such cell"),
        ("Stocks", 1, 16_385, 1, "there is no such cell"),
    ],
)
def test_cells_that_cannot_be_typed_into(sheet: str, row: int, column: int, value: object, words: str) -> None:
    edit = WorkbookEdit(sink(), "River farm.xlsx")
    with pytest.raises(EditError, match=rf"^River farm\.xlsx: .*{words}"):
        edit.put(sheet, row, column, value)
    assert changed(sink(), edit.content()) == set()


@pytest.mark.parametrize("value", [float("nan"), float("inf"), "x" * 32_768, object(), 10**400])
def test_values_that_no_cell_can_hold(value: object) -> None:
    edit = WorkbookEdit(sink())
    with pytest.raises(DataError):
        edit.put("Stocks", 8, 1, value)
    assert changed(sink(), edit.content()) == set()


def test_a_result_is_stored_beside_formulas_only() -> None:
    with pytest.raises(EditError, match="Stocks!A6: holds no formula"):
        WorkbookEdit(sink()).store("Stocks", 6, 1, 5)


BOMB = (
    '<!DOCTYPE a [<!ENTITY b "bbbbbbbb"><!ENTITY c "&b;&b;&b;&b;">]>'
    f'<worksheet xmlns="{SPACE}"><sheetData><row r="1"><c r="A1"><v>1</v></c></row></sheetData></worksheet>'
)


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "is not an .xlsx workbook"),
        (b"PK\x05\x06" + bytes(18), "is not an .xlsx workbook, or is cut short"),
        (b"\xd0\xcf\x11\xe0" + bytes(600), "is locked with a password"),
        (made(BOMB), "brings a document type of its own"),
        (made(f'<worksheet xmlns="{SPACE}"><sheetData><row r="1">'), "is cut short"),
        (made(f'<worksheet xmlns="{SPACE}"><sheetData><row r="1"><c></row></sheetData></worksheet>'), "cannot be read"),
        (made(f'<worksheet xmlns="{SPACE}"><sheetData><row r="2"/><row r="1"/></sheetData></worksheet>'), "is damaged"),
    ],
)
def test_what_is_no_workbook_is_refused(content: bytes, words: str) -> None:
    with pytest.raises(ReadError, match=words):
        WorkbookEdit(content, "River farm.xlsx").put("Sheet1", 1, 1, 1)


# --------------------------------------------------------------------------------------------------- longer tables


def test_a_table_grows_with_its_rules_and_formulas(tmp_path: Path) -> None:
    edit = WorkbookEdit(sink())
    before = edit.tables()["Sites"]
    first = edit.grow("Sites", 3)
    after = edit.tables()["Sites"]
    assert (first, after.last_row) == (before.last_row + 1, before.last_row + 3)
    new = edit.content()
    sheet = "xl/worksheets/sheet2.xml"
    gone = {"xl/calcChain.xml", "[Content_Types].xml", "xl/_rels/workbook.xml.rels"}
    assert changed(sink(), new) == {sheet, "xl/tables/table1.xml", *gone}
    old_part, new_part = parts(sink())[sheet].decode(), parts(new)[sheet].decode()
    assert "xl/calcChain.xml" not in parts(new)
    old_last, new_last = str(before.last_row), str(after.last_row)
    rows = range(first, after.last_row + 1)
    shorter = canonical(new_part.encode(), without_rows=rows).decode()
    for column in range(1, before.last_column + 1):
        shorter = shorter.replace(f":{letter(column)}{new_last}", f":{letter(column)}{old_last}")
    assert shorter == canonical(old_part.encode()).decode()
    table = parts(new)["xl/tables/table1.xml"].decode()
    table = table.replace(f":{letter(before.last_column)}{new_last}", f":{letter(before.last_column)}{old_last}")
    assert canonical(table.encode()) == canonical(parts(sink())["xl/tables/table1.xml"])
    assert f"<xm:sqref>{letter(before.last_column)}6:{letter(before.last_column)}{new_last}</xm:sqref>" in new_part
    assert f'sqref="A6:A{new_last}"' in new_part
    model = etree.fromstring(parts(sink())[sheet]).find(f".//{MAIN}row[@r='{old_last}']")
    made_row = etree.fromstring(parts(new)[sheet]).find(f".//{MAIN}row[@r='{new_last}']")
    assert [cell.get("s") for cell in made_row] == [cell.get("s") for cell in model]
    assert complaints(new, tmp_path) == []


def test_a_grown_table_computes(tmp_path: Path, office: Office) -> None:
    edit = WorkbookEdit(sink())
    first = edit.grow("Stocks", 400)
    row = {"stock": "K40", "site": "S01", "species": "carp", "food_fish": "yes", "number": 50, "mean_weight": 200.0}
    for key, value in row.items():
        edit.put("Stocks", first + 399, NUMBER[key], value)
    path = tmp_path / "grown.xlsx"
    path.write_bytes(edit.content())
    shown = office.values(path)
    assert shown["Stocks"][f"{STOCK['biomass']}{first + 399}"] == 10  # kg: 50 x 200 g
    assert shown["Stocks"][f"{STOCK['check']}{first + 399}"] == "ok"
    (counted,) = [at for at, value in shown["Start"].items() if value == "Stocks" and at.startswith("A")]
    assert shown["Start"][f"B{counted[1:]}"] == 3  # rows of Stocks in use
    old = office.values(write(tmp_path / "old.xlsx", sink()))
    assert {k: v for k, v in shown["Stocks"].items() if int(k.lstrip("ABCDEFGHIJKLMNOPQRSTUVWXYZ")) < first} == old[
        "Stocks"
    ]


def write(path: Path, content: bytes) -> Path:
    path.write_bytes(content)
    return path


def test_plain_formulas_of_a_person_grow_too() -> None:
    edit = WorkbookEdit(sink())
    place = edit.tables()["Sites"]
    rows = edit.rows("Sites")
    cell = rows.edit_cell(place.last_row, place.last_column)
    etree.SubElement(cell, f"{MAIN}f").text = f"LEN(A{place.last_row})+$B$6"
    first = edit.grow("Sites", 2)
    gate = letter(place.last_column)
    assert formula(edit.content(), "Sites", f"{gate}{first + 1}") == f"=LEN(A{first + 1})+$B$6"


@pytest.mark.parametrize(
    ("row", "words"), [(1, "something stands in C18, where Stocks needs room"), (40, "something stands in C57")]
)
def test_something_below_a_table_is_in_its_way(row: int, words: str) -> None:
    edit = WorkbookEdit(sink())
    last = edit.tables()["Stocks"].last_row
    edit.put("Stocks", last + row, 3, "keep")
    content = edit.content()
    again = WorkbookEdit(content)
    with pytest.raises(EditError, match=words):
        again.grow("Stocks", 40)
    assert changed(content, again.content()) == set()


def with_totals(edit: WorkbookEdit) -> None:
    place = edit.tables()["Stocks"]
    root = edit.package.tree(place.part, change=True)
    root.set("ref", root.get("ref").replace("17", "18"))
    root.set("totalsRowCount", "1")


def merged_below(edit: WorkbookEdit) -> None:
    rows = edit.rows("Stocks")
    etree.SubElement(rows.need("mergeCells"), f"{MAIN}mergeCell").set("ref", "B19:C20")


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (with_totals, "Stocks: has a row of totals right below it"),
        (merged_below, "the merged cells B19:C20 stand where Stocks needs room"),
    ],
)
def test_what_else_is_in_a_tables_way(spoil: Any, words: str) -> None:
    edit = WorkbookEdit(sink())
    spoil(edit)
    content = edit.content()
    again = WorkbookEdit(content)
    with pytest.raises(EditError, match=words):
        again.grow("Stocks", 5)
    assert changed(content, again.content()) == set()


def test_a_table_does_not_grow_into_another() -> None:
    edit = WorkbookEdit(built("filled log"))
    agents = edit.tables()["Agents"]
    below = min(
        (
            place
            for place in edit.tables().values()
            if place.sheet == "Reference" and place.heading_row > agents.last_row
        ),
        key=lambda place: place.heading_row,
    )
    with pytest.raises(EditError, match=rf"something stands in A{below.heading_row - 1}, where Agents needs room"):
        edit.grow("Agents", below.heading_row - agents.last_row + 1)


def test_entries_that_were_written_as_a_stream_are_kept() -> None:
    """Their sizes stand behind them, and not in front."""

    class Stream(io.BytesIO):
        def seekable(self) -> bool:
            return False

        def seek(self, *_: Any) -> int:
            raise io.UnsupportedOperation

        def tell(self) -> int:
            raise io.UnsupportedOperation

    target = Stream()
    with zipfile.ZipFile(target, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, part in parts(sink()).items():
            archive.writestr(name, part)
    content = target.getvalue()
    with zipfile.ZipFile(io.BytesIO(content)) as archive:
        assert all(entry.flag_bits & 8 for entry in archive.infolist())
    edit = WorkbookEdit(content)
    edit.put("Stocks", 8, 1, "K03")
    assert changed(sink(), edit.content()) == {STOCKS, TEXTS}


# ----------------------------------------------------------------------------------------------------------- notes


def test_notes_are_added_to_those_there(tmp_path: Path, office: Office) -> None:
    edit = WorkbookEdit(sink())
    edit.remark("Baths", 6, 1, "B001 & its <lid>")
    edit.remark("Baths", 7, 3, "a\nb")
    edit.remark("Visits", 6, 2, "new on this sheet")
    with pytest.raises(EditError, match="Baths!B6: has a thread of comments, which is left as it is"):
        edit.remark("Baths", 6, 2, "not here")
    new = edit.content()
    assert changed(sink(), new) == {
        *("xl/comments1.xml", "xl/drawings/vmlDrawing1.vml", VISITS, "[Content_Types].xml"),
        *("xl/comments2.xml", "xl/drawings/vmlDrawing2.vml", "xl/worksheets/_rels/sheet5.xml.rels"),
    }
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(new))
    assert book["Baths"]["A6"].comment.text == "Lid was cracked.\n\nB001 & its <lid>"
    assert book["Baths"]["A6"].comment.author == "the vet"
    assert book["Baths"]["C7"].comment.text == "a\nb"
    assert book["Visits"]["B6"].comment.text == "new on this sheet"
    root = etree.fromstring(parts(new)["xl/comments1.xml"])
    thread = root.find(f".//{MAIN}comment[@ref='B6']")
    assert etree.tostring(thread, encoding="unicode").endswith(
        'ref="B6" authorId="1"><text><t>[Threaded comment] Weigh again?</t></text></comment>'
    )
    assert f"tc={THREAD}" in [author.text for author in root.iter(f"{MAIN}author")]
    drawing = etree.fromstring(parts(new)["xl/drawings/vmlDrawing1.vml"])
    shapes = [shape.get("id") for shape in drawing.iter("{urn:schemas-microsoft-com:vml}shape")]
    assert len(shapes) == len(set(shapes)) == 3
    assert complaints(new, tmp_path) == []
    path = write(tmp_path / "noted.xlsx", new)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        saved = openpyxl.load_workbook(io.BytesIO(office.convert(path, tmp_path / "saved.xlsx", "xlsx").read_bytes()))
    assert saved["Baths"]["C7"].comment.text == "a\nb"
    assert saved["Visits"]["B6"].comment.text == "new on this sheet"


# ------------------------------------------------------------------------------------------------ sheets and columns


def test_sheets_of_another_workbook(tmp_path: Path, office: Office) -> None:
    """The stocks of the demo in a bench workbook, with the lists that they choose from there already."""
    log, bench = built("demo log"), built("filled bench")
    edit = WorkbookEdit(bench)
    with pytest.raises(EditError, match="Lists: there is a sheet of that name already"):
        edit.graft(log, ["Lists"])
    edit.graft(log, ["Sites", "Vessels", "Stocks"])
    new = edit.content()
    assert edit.sheet_names == ("Bench", "Card", "Sampling", "Treatment", "Functions", "Lists", "Reference", *SHEETS)
    assert complaints(new, tmp_path) == []
    found, old = cells(new), cells(log)
    assert {name: found[name] for name in SHEETS} == {name: old[name] for name in SHEETS}
    assert {k: v for k, v in found.items() if k not in SHEETS} == cells(bench)
    shown = office.values(write(tmp_path / "new.xlsx", new))
    wanted = office.values(write(tmp_path / "log.xlsx", log))
    assert shown["Vessels"] == wanted["Vessels"]  # stocks count over sheets that are not there
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        book, source = openpyxl.load_workbook(io.BytesIO(new)), openpyxl.load_workbook(io.BytesIO(log))
    for row in source["Stocks"].iter_rows(max_row=8):
        for cell in row:
            copy = book["Stocks"][cell.coordinate]
            for look in ("font", "fill", "border", "alignment"):
                assert repr(getattr(copy, look)) == repr(getattr(cell, look))
            assert copy.number_format == cell.number_format
    assert book["Stocks"].print_title_rows == "$1:$5"
    assert {"choices_sites", "choices_vessels"} <= set(book.defined_names)
    ids = [table.id for sheet in book for table in sheet.tables.values()]
    assert len(ids) == len(set(ids))


SHEETS = ("Sites", "Vessels", "Stocks")


def test_a_sheet_between_others_moves_what_counts_sheets() -> None:
    old = built("filled log")
    edit = WorkbookEdit(with_everything(old))
    bench = built("filled bench")
    edit.graft(bench, ["Card"])
    names = edit.sheet_names
    assert names.index("Card") == len(names) - 1  # nothing of the bench's order stands in the log
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(edit.content()))
    assert book["Baths"].print_title_rows == "$1:$5"
    again = WorkbookEdit(bench)
    again.graft(old, ["Start"])
    assert again.sheet_names[-1] == "Start"


def test_a_sheet_put_anew_keeps_a_persons_note(tmp_path: Path) -> None:
    edit = WorkbookEdit(sink())
    edit.remark("Summary", 6, 2, "asked by the co-op")
    edit.graft(built("demo log"), ["Summary"], replaces=True)
    new = edit.content()
    assert edit.sheet_names == WorkbookEdit(sink()).sheet_names
    assert cells(new)["Summary"] == cells(built("demo log"))["Summary"]
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        assert openpyxl.load_workbook(io.BytesIO(new))["Summary"]["B6"].comment.text == "asked by the co-op"
    assert complaints(new, tmp_path) == []


def test_a_sheet_put_anew_keeps_a_persons_drawings_beside_ours(tmp_path: Path, office: Office) -> None:
    """A chart, a picture and a text box, on a sheet that has drawings of ours as well: the same ones, for the test."""
    log = with_everything(first_log(clean(), ROWS))
    edit = WorkbookEdit(log)
    with pytest.raises(EditError, match="Pond diary: has a slicer of your own, which would be lost; move it"):
        edit.graft(log, [DIARY], replaces=True)
    edit = WorkbookEdit(log)
    edit.package.unrelate("xl/worksheets/sheet99.xml", "rId2")
    edit.graft(log, [DIARY], replaces=True)
    new = edit.content()
    package = WorkbookEdit(new).package
    links = package.relations(WorkbookEdit(new).part_of(DIARY))
    (drawing,) = [link.target for link in links if link.kind == "drawing"]
    assert len(package.tree(drawing)) == 8
    behind = sorted((link.kind, link.target) for link in package.relations(drawing))
    assert behind == [
        *(("chart", "xl/charts/chart1.xml"), ("chart", "xl/charts/chart2.xml")),
        *(("image", "xl/media/image1.png"), ("image", "xl/media/image2.png")),
    ]
    named = {link.id for link in package.relations(drawing)}
    root = package.tree(drawing)
    used = [v for e in root.iter() for n, v in e.attrib.items() if "/relationships}" in str(n)]
    assert sorted(used) == sorted(named)
    ids = [shape.get("id") for shape in root.iter("{*}cNvPr") if shape.get("name")]
    assert len(ids) == len(set(ids))
    assert complaints(new, tmp_path) == []
    assert office.values(write(tmp_path / "new.xlsx", new))[DIARY]["C2"] == 3.5  # 1.5 + 2


def test_columns_at_the_end_of_a_table(tmp_path: Path, office: Office) -> None:
    edit = WorkbookEdit(sink())
    before = edit.tables()["Sites"]
    rule = '<dataValidation type="custom" showErrorMessage="1"><formula1>FALSE</formula1></dataValidation>'
    notice = '<cfRule type="expression" dxfId="0"><formula>$A6="S01"</formula></cfRule>'
    edit.append_columns(
        "Sites",
        [
            NewColumn("Twice", "$A6&$A6", ["S01S01", "S02S02"], "Sites[[#This Row],[Site]]&1", 5, 7, 20, rule=rule),
            NewColumn("Gates", results=[2, None, "none"], style=6, notices=[notice], above="if known", above_style=4),
        ],
    )
    place = edit.tables()["Sites"]
    assert place.headings == (*before.headings, "Twice", "Gates")
    new = edit.content()
    twice, gates = letter(place.last_column - 1), letter(place.last_column)
    assert [at(new, "Sites", row, place.last_column) for row in (4, 5, 6, 7, 8)] == ["if known", "Gates", 2, "", "none"]
    shown = office.values(write(tmp_path / "new.xlsx", new))["Sites"]
    assert (shown[f"{twice}7"], shown[f"{gates}6"]) == ("S02S02", 2)
    assert formula(new, "Sites", f"{twice}9") == "=$A9&$A9"
    assert complaints(new, tmp_path) == []
    with pytest.raises(EditError, match="Sites: has a column 'gates' already"):
        edit.append_columns("Sites", [NewColumn("gates")])
    part = parts(new)["xl/worksheets/sheet2.xml"].decode()
    assert f'sqref="{twice}6:{twice}{place.last_row}"' in part
    ids = {
        int(column.get("id"))
        for column in etree.fromstring(parts(new)["xl/tables/table1.xml"]).iter(f"{MAIN}tableColumn")
    }
    assert ids == set(range(1, len(place.headings) + 1))


def test_something_beside_a_table_is_in_the_way_of_columns() -> None:
    edit = WorkbookEdit(sink())
    place = edit.tables()["Stocks"]
    edit.put("Stocks", 9, place.last_column + 1, "my own")
    with pytest.raises(
        EditError, match=f"something stands in {letter(place.last_column + 1)}9, where Stocks needs room"
    ):
        edit.append_columns("Stocks", [NewColumn("More")])


def test_properties() -> None:
    edit = WorkbookEdit(sink())
    edit.set_property("Layout version", "7")
    edit.set_property("Farm", "Reed & pond")
    new = WorkbookEdit(edit.content())
    assert (new.property("Layout version"), new.property("Farm"), new.property("Layout")) == (
        "7",
        "Reed & pond",
        "case-log",
    )
    assert new.property("None") is None
    plain = WorkbookEdit(made(BARE))
    plain.set_property("Layout version", "1")
    assert WorkbookEdit(plain.content()).property("Layout version") == "1"


def test_merged_cells_that_are_not_in_a_tables_way() -> None:
    """Above it, beside it, and below the rows that it takes."""
    edit = WorkbookEdit(sink())
    place = edit.tables()["Stocks"]
    beside = letter(place.last_column + 2)
    rows = edit.rows("Stocks")
    last = place.last_row
    for area in (f"B{place.heading_row - 2}:C{place.heading_row - 2}", f"{beside}{last + 1}:{beside}{last + 3}",
                 f"B{last + 6}:C{last + 7}"):  # fmt: skip
        etree.SubElement(rows.need("mergeCells"), f"{MAIN}mergeCell").set("ref", area)
    again = WorkbookEdit(edit.content())
    assert again.grow("Stocks", 5) == last + 1
    with pytest.raises(EditError, match=f"the merged cells B{last + 6}:C{last + 7} stand where"):
        again.grow("Stocks", 1)
