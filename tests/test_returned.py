"""Copies that came back: nothing lost, nothing guessed, changes of the veterinarian's pages seen."""

from __future__ import annotations

import datetime
import io
import random
import re
import time
import zipfile
from collections.abc import Callable
from pathlib import Path

import openpyxl
import pytest

from tests.support.office import Office
from tests.support.practices import MADE, TODAY, practice
from tests.test_sharing import log, shared, treated
from workbook_tools.errors import ReadError
from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout import case_log
from workbook_tools.producer.daily_sheet import in_log_unit, in_shown_unit
from workbook_tools.producer.locked import locked
from workbook_tools.producer.returned_rows import Returned, differing, returned_rows
from workbook_tools.producer.row_marks import marks_in, row_mark

FIRST = 5  # row of the first day
DATE = datetime.date(2026, 7, 25)
TYPED = {"B": DATE, "C": "K01", "D": 3, "E": "disease", "F": 12.5, "G": 14.25, "H": 7.5, "I": "=1+1 they gasped"}


def sent(tmp_path: Path, **options: str) -> Path:
    path = tmp_path / "copy.xlsx"
    path.write_bytes(shared(log(treatments=[treated()]), **options).content)
    return path


def edited(path: Path, change: Callable[[openpyxl.Workbook], None]) -> Path:
    """The copy as another program saved it after an edit."""
    book = openpyxl.load_workbook(path)
    change(book)
    target = path.with_name("back.xlsx")
    book.save(target)
    return target


def filled(book: openpyxl.Workbook, row: int = FIRST, sheet: str = "Daily sheet") -> None:
    for column, value in TYPED.items():
        cell = book[sheet][f"{column}{row}"]
        cell.value = value
        if isinstance(value, str):
            cell.data_type = "s"


def read(path: Path, site: str | None = None) -> Returned:
    return returned_rows(path, case_log(), site)


def codes(found: Returned) -> list[str]:
    return [remark.code for remark in found.remarks]


WANTED = {
    "date": serial(DATE), "stock": "K01", "dead": 3.0, "cause": "disease", "feed": 12.5, "temperature": 14.25,
    "oxygen": 7.5, "notes": "=1+1 they gasped",
}  # fmt: skip


def test_an_untouched_copy_gives_nothing(tmp_path: Path) -> None:
    found = read(sent(tmp_path))
    assert (found.site, found.made_on, found.version, found.log_version) == ("S01", MADE, "1", case_log().version)
    assert (found.rows, found.changed, found.remarks) == ([], [], [])


def test_rows_typed_with_one_library_come_back(tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        filled(book)
        book["Daily sheet"]["D7"] = 0
        filled(book, 6, "Daily sheet 2")

    found = read(edited(sent(tmp_path), change), "s01")
    assert [row.name for row in found.rows] == [f"S01-2607221432-{number:03d}" for number in (1, 3, 24)]
    assert {key: value for key, value in found.rows[0].values.items() if key != "day"} == WANTED
    assert found.rows[1].values["dead"] == 0
    assert found.rows[1].values["date"] == TODAY + 3
    assert str(found.rows[0].places["dead"]) == "Daily sheet!D5"
    assert found.rows[2].places["notes"].sheet == "Daily sheet 2"
    assert (found.changed, found.remarks) == ([], [])


def test_rows_typed_in_a_spreadsheet_come_back(office: Office, tmp_path: Path) -> None:
    path = sent(tmp_path)
    typed = {"B5": "2026-07-25", "C5": "K01", "D5": "3", "E5": "disease", "F5": "12.5", "G5": "14.25", "H5": "7.5",
             "I5": "they gasped", "D9": "0"}  # fmt: skip
    back = office.type_into(path, {"Daily sheet": typed, "Daily sheet 2": {"I6": "ñandú; 池"}}, tmp_path / "back.xlsx")
    found = read(back)
    assert [row.name for row in found.rows] == [f"S01-2607221432-{number:03d}" for number in (1, 5, 24)]
    assert {key: value for key, value in found.rows[0].values.items() if key != "day"} == WANTED | {
        "notes": "they gasped"
    }
    assert found.rows[2].values["notes"] == "ñandú; 池"
    assert (found.changed, found.remarks) == ([], [])


@pytest.mark.parametrize("seed", range(4))
def test_copies_of_odd_practices_come_back_from_a_spreadsheet(seed: int, office: Office, tmp_path: Path) -> None:
    made = practice(100 + seed)
    path = tmp_path / "copy.xlsx"
    copy = shared(made.computed(), site=made.sites[0])
    path.write_bytes(copy.content)
    back = office.type_into(path, {"Daily sheet": {"D5": "2", "I6": "seen"}}, tmp_path / "back.xlsx")
    found = read(back, made.sites[0])
    assert found.site == made.sites[0]
    assert [(row.values["dead"], row.values["notes"]) for row in found.rows] == [(2.0, None), (None, "seen")]
    assert all(str(row.name).startswith(made.sites[0]) for row in found.rows)
    assert found.changed == []
    assert codes(found) == []


def test_us_units_and_another_language_become_the_logs(tmp_path: Path) -> None:
    """The inch-pound factors are exact: 1 lb = 0.45359237 kg; 59 F is 15 C."""

    def change(book: openpyxl.Workbook) -> None:
        sheet = book["Hoja diaria"]
        assert sheet["F4"].value == "Alimento dado lb"
        for place, value in (("D5", 1), ("E5", "enfermedad"), ("F5", 10), ("G5", 59), ("H5", 8)):
            sheet[place] = value

    found = read(edited(sent(tmp_path, language="es", units="us"), change))
    (row,) = found.rows
    assert row.values["cause"] == "disease"
    assert row.values["feed"] == pytest.approx(4.5359237, rel=1e-12)
    assert row.values["temperature"] == pytest.approx(15, rel=1e-12)
    assert row.values["oxygen"] == 8
    assert (row.typed["feed"], row.typed["temperature"], row.typed["cause"]) == (10, 59, "enfermedad")
    assert found.remarks == []


def test_another_sites_copy_is_said_and_not_read(tmp_path: Path) -> None:
    found = read(edited(sent(tmp_path), filled), "S02")
    assert found.rows == []
    assert codes(found) == ["copy-of-another-site"]
    assert "for site S01, not for S02" in found.remarks[0].say


def replaced(path: Path, old: str, new: str, parts: tuple[str, ...]) -> Path:
    """The copy with a text replaced in some parts."""
    target = path.with_name("other.xlsx")
    with zipfile.ZipFile(path) as source, zipfile.ZipFile(target, "w") as out:
        for entry in source.infolist():
            held = source.read(entry)
            out.writestr(entry, held.replace(old.encode(), new.encode()) if entry.filename in parts else held)
    return target


PROPERTY, LINE = "docProps/custom.xml", "xl/sharedStrings.xml"


def test_other_versions_are_said(tmp_path: Path) -> None:
    path = edited(sent(tmp_path), filled)
    with zipfile.ZipFile(path) as archive:
        held = archive.read(PROPERTY).decode()
    version = re.search(r'name="Copy version"[^>]*><[^>]*>1<', held)
    log_version = re.search(r'name="Log version"[^>]*><[^>]*>3<', held)
    assert version is not None
    assert log_version is not None
    line = {part for part in zipfile.ZipFile(path).namelist() if part == LINE or "/worksheets/" in part}
    newer = replaced(path, version[0], version[0][:-2] + "9<", (PROPERTY,))
    newer = replaced(
        newer.rename(tmp_path / "a.xlsx"), "producer-copy version=1", "producer-copy version=9", tuple(line)
    )
    found = read(newer)
    assert codes(found) == ["other-layout"]
    assert found.rows == []
    older = replaced(path, log_version[0], log_version[0][:-2] + "1<", (PROPERTY,))
    older = replaced(older.rename(tmp_path / "b.xlsx"), "version=1 log=3", "version=1 log=1", tuple(line))
    found = read(older)
    assert codes(found) == ["older-log-layout"]
    assert len(found.rows) == 1


def test_what_is_no_copy_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "plain.xlsx"
    openpyxl.Workbook().save(path)
    with pytest.raises(ReadError, match="does not say that it is a producer's copy"):
        read(path)
    with pytest.raises(ReadError, match="no such file"):
        read(tmp_path / "absent.xlsx")
    path.write_bytes(locked(shared(log()).content, "x"))
    with pytest.raises(ReadError, match="locked with a password"):
        read(path)


def test_a_copy_whose_properties_were_dropped_is_known_by_its_page(tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        filled(book)
        book.custom_doc_props.props.clear()

    found = read(edited(sent(tmp_path), change))
    assert codes(found) == ["identity-once"]
    assert len(found.rows) == 1
    path = edited(sent(tmp_path), lambda book: book["About this copy"].delete_rows(5))
    assert "identity-once" in codes(read(path))


def test_a_copy_that_says_two_things_of_itself_is_refused(tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["About this copy"]["A5"] = book["About this copy"]["A5"].value.replace("site=S01", "site=S02")

    with pytest.raises(ReadError, match="says two things of itself"):
        read(edited(sent(tmp_path), change))


def test_columns_and_sheets_may_be_moved(tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        filled(book)
        sheet = book["Daily sheet"]
        for row in range(4, 27):
            first, other = sheet.cell(row, 4), sheet.cell(row, 12)
            other.value, first.value = first.value, None
        book.move_sheet("Daily sheet", -3)
        sheet.title = "Renamed"

    found = read(edited(sent(tmp_path), change))
    assert found.rows[0].values["dead"] == 3
    assert str(found.rows[0].places["dead"]) == "Renamed!L5"


def test_what_cannot_be_read_is_said_and_given_as_typed(tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        sheet = book["Daily sheet"]
        for place, value in (
            ("D5", "3 fish"), ("D6", 2.5), ("G7", 99), ("B8", "yesterday"), ("D8", 1), ("C9", None), ("D9", 1),
            ("K6", "beside the table"), ("A10", None), ("D10", 1), ("A11", "S01-2607221432-001"), ("D11", 4),
            ("A12", "D0001"), ("D12", 5), ("F13", "1,5"),
        ):  # fmt: skip
            sheet[place] = value

    found = read(edited(sent(tmp_path), change))
    assert len(found.rows) == 9
    assert found.rows[0].values["dead"] == "3 fish"
    assert found.rows[3].values["date"] == "yesterday"
    said = {(remark.code, str(remark.place)) for remark in found.remarks}
    assert said == {
        ("not-a-number", "Daily sheet!D5"), ("out-of-range", "Daily sheet!D6"), ("out-of-range", "Daily sheet!G7"),
        ("not-a-date", "Daily sheet!B8"), ("missing", "Daily sheet!C9"), ("outside-columns", "Daily sheet!K6"),
        ("row-without-name", "Daily sheet!A10"), ("row-name-twice", "Daily sheet!A11"),
        ("row-name-foreign", "Daily sheet!A12"), ("not-a-number", "Daily sheet!F13"),
    }  # fmt: skip
    beside = next(remark for remark in found.remarks if remark.code == "outside-columns")
    assert beside.value == "beside the table"


def test_a_heading_that_was_changed_is_said(tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        filled(book)
        book["Daily sheet"]["D4"] = "Mortality"

    found = read(edited(sent(tmp_path), change))
    missing = [remark for remark in found.remarks if remark.code == "heading-missing"]
    assert [str(remark.place) for remark in missing] == ["Daily sheet row 4"]
    assert [remark.value for remark in found.remarks if remark.code == "outside-columns"] == [3.0]
    assert found.rows[0].values["dead"] is None


def test_a_daily_sheet_that_is_gone_is_said(tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        for name in [name for name in book.sheetnames if name.startswith("Daily")]:
            del book[name]

    assert codes(read(edited(sent(tmp_path), change))) == ["daily-sheet-missing"]


def test_one_daily_sheet_of_several_that_is_gone_is_named(tmp_path: Path) -> None:
    """Rows of the others come back; without the words, a day of losses would be missing unseen."""

    def deleted(book: openpyxl.Workbook) -> None:
        filled(book, 6, "Daily sheet 2")
        del book["Daily sheet"]

    def without_headings(book: openpyxl.Workbook) -> None:
        filled(book, 6, "Daily sheet 2")
        book["Daily sheet"].delete_rows(FIRST - 1)

    for change in (deleted, without_headings):
        found = read(edited(sent(tmp_path), change))
        assert [row.name for row in found.rows] == ["S01-2607221432-024"]
        (remark,) = found.remarks
        assert (remark.code, remark.severity) == ("daily-sheet-missing", "fault")
        assert remark.say.endswith("Not found: Daily sheet.")


def test_a_daily_sheet_of_another_name_is_none_that_is_gone(tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["Daily sheet 2"].title = "August"
        filled(book, 6, "August")

    found = read(edited(sent(tmp_path), change))
    assert [row.name for row in found.rows] == ["S01-2607221432-024"]
    assert found.remarks == []


def test_a_copy_of_before_daily_sheets_were_listed_is_read(tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        filled(book)
        about = book["About this copy"]
        listed = [cell for (cell,) in about.iter_rows(max_col=1) if str(cell.value).startswith("Daily sheet")]
        assert len(listed) > 1
        for cell in listed:
            cell.value = None
            about.cell(cell.row, 2).value = None
        del book["Daily sheet 2"]

    found = read(edited(sent(tmp_path), change))
    assert (len(found.rows), found.remarks) == (1, [])


def test_changes_on_the_pages_are_listed(tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        sheet = book["What to give"]
        row = next(cell.row for line in sheet.iter_rows() for cell in line if str(cell.value).startswith("Each time"))
        sheet.cell(row, 1).value = "Each time: 30 g"
        book["What comes next"]["A40"] = "We will call"
        first = next(cell for line in book["When fish may go"].iter_rows() for cell in line if cell.value)
        first.value = None

    found = read(edited(sent(tmp_path), change))
    assert {(one.place.sheet, one.what, one.texts) for one in found.changed} == {
        ("What to give", "changed", ("Each time: 30 g",)),
        ("What comes next", "added", ("We will call",)),
        ("When fish may go", "gone", ()),
    }
    assert found.remarks == []


def test_a_page_that_was_renamed_is_said(tmp_path: Path) -> None:
    def change(book: openpyxl.Workbook) -> None:
        book["What to give"].title = "Give"

    assert codes(read(edited(sent(tmp_path), change))) == ["page-missing"]


def test_a_row_that_was_put_in_moves_the_others_and_is_the_only_change(tmp_path: Path) -> None:
    content = shared(log(treatments=[treated()])).content
    book = openpyxl.load_workbook(io.BytesIO(content))
    sheet = book["What we found"]
    sheet.merged_cells.ranges.clear()
    sheet.insert_rows(3)
    sheet["A3"] = "Put in"
    path = tmp_path / "back.xlsx"
    book.save(path)
    assert [(one.what, one.texts) for one in read(path).changed] == [("added", ("Put in",))]


# --------------------------------------------------------------------------------------------- rows that were compared


def applied(before: list[str], after: list[str]) -> list[str]:
    """The first list with the stretches in which they differ taken from the second: the second, if they are right."""
    made, place = [], 0
    for start, stop, other, other_stop in differing(before, after):
        assert before[start:stop] != after[other:other_stop]
        made += before[place:start] + after[other:other_stop]
        place = stop
    return made + before[place:]


def test_what_differs_gives_the_second_list_from_the_first() -> None:
    """2,000 pairs of lists, most of their marks more than once, from a seeded generator."""
    chance = random.Random(5)
    for _ in range(2_000):
        marks = [f"{n:05}" for n in range(chance.randint(1, 12))]
        before = [chance.choice(marks) for _ in range(chance.randint(0, 25))]
        after = list(before)
        for _ in range(chance.randint(0, 5)):
            place = chance.randint(0, len(after))
            after[place : place + chance.randint(0, 3)] = [chance.choice(marks) for _ in range(chance.randint(0, 3))]
        assert applied(before, after) == after


@pytest.mark.parametrize(
    ("before", "after", "wanted"),
    [
        ("abcdef", "abXcdef", [(2, 2, 2, 3)]),  # a row put in
        ("abcdef", "abdef", [(2, 3, 2, 2)]),  # one taken out
        ("abcdef", "abXdef", [(2, 3, 2, 3)]),
        ("a00b00c", "a00X0b00c", [(3, 3, 3, 5)]),  # between blank rows
        ("", "", []),
        ("abc", "", [(0, 3, 0, 0)]),
    ],
)
def test_where_lists_differ(before: str, after: str, wanted: list[tuple[int, int, int, int]]) -> None:
    assert list(differing(before, after)) == wanted


@pytest.mark.parametrize(
    "before",
    [["0"] * 100_000, ["0", "1"] * 50_000, [str(n) for n in range(100_000)], [str(n % 7) for n in range(100_000)]],
)
def test_marks_that_come_with_a_file_cannot_hold_a_merge(before: list[str]) -> None:
    """Matching every pair of equal marks took 155 s for a copy of 0.6 MB; 100,000 rows take less than 2 s."""
    for after in (before[::-1], before[1:] + before[:1], ["x", *before[: len(before) // 2]]):
        started = time.process_time()
        list(differing(before, after))
        assert time.process_time() - started < 2


def test_a_rows_mark_is_the_first_five_digits_of_its_digest() -> None:
    """Copies that were sent out have marks of this length: SHA-256 (FIPS 180-4) of the texts with a unit separator."""
    assert row_mark(["Site", 12.5, None, "two  blanks"]) == "35de3"
    assert row_mark([None, ""]) == "00000"
    assert marks_in("35de3" + "00000") == ["35de3", "00000"]
    assert marks_in("35de3" + "0") == []


def test_feed_and_temperatures_of_a_us_sheet() -> None:
    """10 lb are 4.5359237 kg, a pound being 0.45359237 kg; 50 F are 10 C: by definition."""
    assert in_log_unit("feed", 10, True) == pytest.approx(4.5359237, rel=1e-12)
    assert in_shown_unit("feed", 4.5359237, True) == pytest.approx(10, rel=1e-12)
    assert in_log_unit("temperature", 50, True) == pytest.approx(10, rel=1e-12)
    assert in_shown_unit("temperature", 10, True) == pytest.approx(50, rel=1e-12)
    assert in_log_unit("feed", 10, False) == 10
    assert in_log_unit("dead", 10, True) == 10


def test_the_day_of_a_daily_row_may_be_any_from_2000_to_2099() -> None:
    book = openpyxl.load_workbook(io.BytesIO(shared(log()).content))
    rules = [rule for sheet in book for rule in sheet.data_validations.dataValidation if rule.type == "date"]
    first, last = (f"{serial(datetime.date(*day)):.0f}" for day in ((2000, 1, 1), (2099, 12, 31)))
    assert {(rule.operator, rule.formula1, rule.formula2) for rule in rules} == {("between", first, last)}
