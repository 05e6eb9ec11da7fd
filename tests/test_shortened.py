"""Rows that are shortened while a sheet is looked at, against the whole sheet read by the same reader of values."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, event, given, settings
from hypothesis import strategies as st

from tests.fuzz.mutations import tiny
from tests.support.hostile import MAIN, RELATIONS, parts_of, replaced, zipped
from workbook_tools.errors import ReadError
from workbook_tools.layout import case_log
from workbook_tools.log.checking.reading import read_log
from workbook_tools.xlsx.addresses import column_number
from workbook_tools.xlsx.reading import admitted, sheets_ahead, whole_sheet

PARTS, SHEET, NAME = parts_of(tiny()), "xl/s.xml", "Sites"
WHOLE, COLUMNS = 2, 3  # rows at the top, and columns below them, that are asked for
PLAIN, PLAIN_BLANK, PLAIN_END = '<c r="{}"><v>{}</v></c>', '<c r="{}" s="1"/>', "</row>"
# how programs, and nobody, spell a cell
CELLS = (
    *('<c r="{}" s="1"><v>{}</v></c>', '<c r="{}"><f>1+1</f><v>{}</v></c>', "<c r='{}'><v>{}</v></c>"),
    *('<c r="{}" t="str"><f>A1</f><v>{}</v></c>', '<c s="1" r="{}"><v>{}</v></c >', '<c\n r="{}" ><v>{}</v></c>'),
    *('<y:c r="{}"><y:v>{}</y:v></y:c>', '<c r="{}"><v><![CDATA[{}]]></v></c>', '<c r="{}"><v>{}</v></c><c r="AB1"/>'),
    *(
        '<c r="{}"><v>{}</v></c><!-- </c> -->',
        '<c r="{}"><v>{}</v></c><?note </c></row>?>',
        '<c r="{}"><v>{}</v></c><!--',
    ),
    *(
        '--><c r="{}"><v>{}</v></c>',
        '<c r="{}"><v>{}</v></c><!-- <c r="D9"> -->',
        '<c r="{}" s="1"></c>',
        "<c><v>{1}</v></c>",
    ),
)
ENDS = ("</row >", "</y:row>", "/>", "</row></row>", "")
ROWS = st.lists(
    st.lists(st.tuples(st.sampled_from(("A", "B", "C", "D", "E", "Z", "AA", "AC")), st.booleans()), max_size=5),
    min_size=WHOLE + 1,
    max_size=7,
)
# which cell, row's end or order of cells is odd, and how
ODD = st.lists(st.tuples(st.integers(0, 20), st.sampled_from((*CELLS, *ENDS, "order", "number"))), max_size=2)


def written(rows: list[list[tuple[str, bool]]], odd: dict[int, str]) -> str:
    text, at = "", 0
    for number, cells in enumerate(rows, start=1):
        end = odd.get(number, PLAIN_END)
        end = end if end in ENDS else PLAIN_END
        if end == "/>":
            text += f'<row r="{number}"/>'
            continue
        text += f'<y:row r="{number}">' if "y:" in end else f'<row r="{number}" spans="1:9">'
        each = dict(cells)  # a cell stands once in its row
        for letters in each if odd.get(number) == "order" else sorted(each, key=column_number):
            at += 1
            how = odd.get(at, PLAIN)
            place = f"{letters}{number + (how == 'number')}"
            how = how if how in CELLS else PLAIN if each[letters] else PLAIN_BLANK
            text += how.format(place, at)
        text += end
    return text


def in_sheet(rows: str) -> bytes:
    part = f'<worksheet xmlns="{MAIN}" xmlns:y="{MAIN}"><sheetData>{rows}</sheetData><pageMargins/></worksheet>'
    return zipped(PARTS | {SHEET: part.encode()}, zipfile.ZIP_STORED)


def values(content: bytes, asked: bool) -> tuple[list[tuple[int, int, object]], bool]:
    """What stands where, in the part of the sheet that is asked for; and whether rows were shortened for it."""
    archive = admitted("input", content, {NAME.casefold(): (WHOLE, COLUMNS)} if asked else None)
    with sheets_ahead(archive, [NAME]) as ahead:
        ((_, cells),) = ahead
    return [
        (row, column, value)
        for row, line in enumerate(cells, start=1)
        for column, value in enumerate(line, start=1)
        if value != "" and (row <= WHOLE or column <= COLUMNS)
    ], bool(archive.shortened)


@settings(derandomize=True, max_examples=1_500, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(ROWS, ODD)
def test_nothing_asked_for_is_lost(rows: list[list[tuple[str, bool]]], odd: list[tuple[int, str]]) -> None:
    content = in_sheet(written(rows, dict(odd)))
    try:
        wanted, _ = values(content, asked=False)
    except ReadError:
        event("the whole is refused")
        return
    found, shortened = values(content, asked=True)
    event(f"shortened: {shortened}")
    assert found == wanted


def test_rows_are_shortened_where_nothing_is_odd() -> None:
    """The test above would pass if no row ever was."""
    rows = "".join(
        f'<row r="{n}"><c r="A{n}"><v>{n}</v></c><c r="B{n}" s="1"/><c r="E{n}"><v>9</v></c></row>' for n in range(1, 6)
    )
    archive = admitted("input", in_sheet(rows), {NAME.casefold(): (WHOLE, COLUMNS)})
    (short,) = archive.shortened.values()
    assert short.rows.count(b'r="E') == WHOLE
    assert short.rows.count(b'r="B') == WHOLE
    assert short.rows.count(b'r="A') == 5
    assert [row[4] for row in whole_sheet(archive, NAME)] == [9.0] * 5  # the rest is still to be had
    assert not archive.shortened


@pytest.mark.parametrize("where", ["A", "E"])
@pytest.mark.parametrize("asked", [None, {NAME.casefold(): (WHOLE, COLUMNS)}], ids=["whole", "asked"])
def test_a_row_inside_a_row_is_damage(asked: dict[str, tuple[int, int]] | None, where: str) -> None:
    """In the part of the row that is kept, and in what is cut off."""
    cells = "".join(f'<c r="{letters}3"><v>1</v>{"<row/>" if letters == where else ""}</c>' for letters in "ABCDEF")
    with pytest.raises(ReadError, match="row 3 has no end"):
        admitted("input", in_sheet(f'<row r="3">{cells}</row><row r="4"/>'), asked)


@pytest.mark.parametrize("columns", [1, 25, 26, 27, 51, 52, 53, 676, 701])
def test_every_number_of_columns_can_be_asked_for(columns: int) -> None:
    letters = [chr(65 + n // 26 - 1) * (n >= 26) + chr(65 + n % 26) for n in range(702)]
    assert [column_number(one) for one in letters] == list(range(1, 703))
    cells = "".join(PLAIN.format(f"{one}3", number) for number, one in enumerate(letters, start=1))
    archive = admitted("input", in_sheet(f'<row r="3">{cells}</row>'), {NAME.casefold(): (WHOLE, columns)})
    with sheets_ahead(archive, [NAME]) as ahead:
        ((_, found),) = ahead
    assert found[2][:columns] == list(range(1, columns + 1))
    assert len(found[2]) <= columns + 1


def test_a_stray_cell_behind_the_columns_stops_whoever_asks_for_more() -> None:
    """It is cut off unseen; the whole sheet is looked at again before room is made for it."""
    far = '<row r="3"><c r="A3"><v>1</v></c><c r="ZZ1048576"><v>1</v></c></row>'
    archive = admitted("input", in_sheet(far), {NAME.casefold(): (WHOLE, COLUMNS)})
    with sheets_ahead(archive, [NAME]) as ahead:
        ((_, cells),) = ahead
    assert cells[2][0] == 1
    with pytest.raises(ReadError, match="the cell ZZ1048576 stands in row 3"):
        whole_sheet(archive, NAME)


def test_a_sheet_that_cannot_be_shortened_to_its_end_is_looked_at_from_the_beginning() -> None:
    """What was cut from its first rows would otherwise never be looked at, and the whole sheet be read."""
    many = "".join(f'<row r="{n}"><c r="A{n}"><v>{n}</v></c></row>' for n in range(4, 20_000))
    for odd in (" ", "<!---->"):
        far = f'<row r="3"><c r="A3"><v>1</v></c><c r="ZZ1048576"><v>1</v></c></row>{many}<row r="20000">{odd}</row >'
        with pytest.raises(ReadError, match="the cell ZZ1048576 stands in row 3"):
            admitted("input", in_sheet(far), {NAME.casefold(): (WHOLE, COLUMNS)})


def test_texts_come_with_the_sheets_whatever_points_to_them(tmp_path: Path) -> None:
    """The reader of values finds them by their name; a workbook whose link to them is damaged reads alike both ways."""
    path = tmp_path / "log.xlsx"
    path.write_bytes(replaced(RELATIONS, b'relationships/sharedStrings"', b'relationships/others"'))
    whole, short = (read_log(path, case_log(), results=results) for results in (True, False))
    assert short.tables["sites"].rows[0]["name"] == "Alder springs"
    assert short.tables["sites"].rows == whole.tables["sites"].rows
