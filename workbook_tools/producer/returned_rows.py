"""What came back in a producer's copy: the rows of the daily sheets, and what was changed on the other pages.

Nothing is guessed. What cannot be read is said and left; a value of the wrong kind is given as it was typed, with a
remark. A cell's value is in the unit of the log's column: in copies with US units the heading says what was typed.
"""

from __future__ import annotations

import bisect
import datetime
import itertools
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from workbook_tools.errors import ReadError
from workbook_tools.functions.quantities import Quantity
from workbook_tools.layout import Layout, Table, case_log
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_key
from workbook_tools.log.checking.reading import Place, Remark, typed_value
from workbook_tools.producer.daily_sheet import KEYS, NUMBERS, heading_key, in_log_unit
from workbook_tools.producer.row_marks import (
    BLANK,
    UNMARKED,
    VERSION,
    Identity,
    from_line,
    from_properties,
    marks_in,
    row_texts,
    sheet_marks,
)
from workbook_tools.producer.words import log_word, table
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.opened import Opened
from workbook_tools.xlsx.reading import native_cells, native_workbook, properties_of

MOST_COPY_CELLS = 2_000_000  # of all sheets; a copy of ten years of daily rows has 200,000
MOST_NAMED = 1_000  # cells outside the columns of one sheet, and changed rows of one page
MOST_SHOWN = 200  # characters of a cell in a sentence
TELLING = tuple(key for key in KEYS if key not in ("day", "date", "stock"))  # a row with none of these is not filled


@dataclass(frozen=True)
class DailyRow:
    """A filled row of a daily sheet, by the keys of the log's Losses columns; `typed` is what the cells hold."""

    name: str | None
    values: Mapping[str, Any]
    typed: Mapping[str, Any]
    places: Mapping[str, Place]


@dataclass(frozen=True)
class ChangedRow:
    """A row of the veterinarian's pages that is not as it was written: what stands there now, and what happened.

    `what` is "changed", "added" or "gone". The old text is not in the copy; the log can give it again.
    """

    place: Place
    what: str
    texts: tuple[str, ...]


@dataclass
class Returned:
    """A copy that came back."""

    site: str
    made_on: datetime.datetime
    version: str
    log_version: str
    language: str
    units: str
    identity: Identity
    rows: list[DailyRow] = field(default_factory=list)
    changed: list[ChangedRow] = field(default_factory=list)
    remarks: list[Remark] = field(default_factory=list)


def returned_rows(file: Path | Opened, layout: Layout, site: str | None = None) -> Returned:
    """Read a copy that came back.

    Parameters
    ----------
    file : the .xlsx file, without a password.
    layout : the case log's layout.
    site : the site that is expected; a copy of another is said to be one, and none of its rows is read.

    Returns
    -------
    Filled rows, changed rows of the other pages, and remarks on everything that a reader must know.

    Raises
    ------
    ReadError : the file is not there, is no .xlsx workbook, is locked, or does not say that it is a copy of ours.
    """
    copy = Opened.of(file)
    path, content = copy.path, copy.archive.content
    sheets = _sheets(content, path)
    remarks: list[Remark] = []
    known = _identity(path, content, sheets, remarks)
    found = Returned(
        known.site, known.made, known.version, known.log_version, known.language, known.units, known, remarks=remarks
    )
    if site is not None and id_key(site) != id_key(known.site):
        say = f"The copy is for site {known.site}, not for {site}; its rows were not read."
        _say(found, "copy-of-another-site", say)
        return found
    if known.version != VERSION or known.units not in ("metric", "us"):
        say = f"The copy has layout version {known.version}, this program reads {VERSION}; its rows were not read."
        _say(found, "other-layout", say)
        return found
    if known.log_version != layout.version:
        say = (
            f"The copy was made from a log of layout version {known.log_version}, the log now has {layout.version}; "
            "rows are read by their headings."
        )
        _say(found, "older-log-layout", say, "notice")
    marks = _written_marks(sheets)
    _read_sheets(sheets, layout.tables["losses"], found, [name for name, own in marks.items() if own == UNMARKED])
    found.changed += _changes(sheets, {name: own for name, own in marks.items() if own != UNMARKED}, found)
    return found


def _sheets(content: bytes, path: Path) -> dict[str, list[list[Any]]]:
    """The values of every sheet; all of them are kept, so their cells are counted together."""
    workbook = native_workbook(content, path)
    sheets: dict[str, list[list[Any]]] = {}
    cells = 0
    for name in workbook.sheet_names:
        sheets[name] = native_cells(workbook, name, path)
        cells += sum(map(len, sheets[name]))
        if cells > MOST_COPY_CELLS:
            raise ReadError(path, f"has more than {MOST_COPY_CELLS:,} cells; no producer's copy has so many.")
    return sheets


def _say(
    found: Returned, code: str, say: str, severity: str = "fault", place: Place | None = None, value: object = None
) -> None:
    found.remarks.append(Remark(code, severity, place or Place("", 0), say, value))


# --------------------------------------------------------------------------------------------------- identity


def identity(source: Path | Opened | bytes) -> Identity | None:
    """Which copy a file says it is, by its properties; None where it says nothing, or cannot be read at all."""
    try:
        content = source if isinstance(source, bytes) else Opened.of(source).content
    except ReadError:
        return None
    return from_properties(properties_of(content))


def _identity(
    path: Path, content: bytes, sheets: Mapping[str, Sequence[Sequence[Any]]], remarks: list[Remark]
) -> Identity:
    """By the file's properties, or where a program dropped them by the line on the page about the copy."""
    by_properties = identity(content)
    by_line = None
    for cells in sheets.values():
        for row in cells:
            for value in row:
                by_line = by_line or (from_line(value) if isinstance(value, str) else None)
    if by_properties is None and by_line is None:
        raise ReadError(path, "is a workbook, but does not say that it is a producer's copy.")
    if by_properties is None or by_line is None:
        where = "properties do" if by_properties is None else "page about the copy does"
        say = f"The file's {where} not say any more which copy it is; the other place does."
        remarks.append(Remark("identity-once", "notice", Place("", 0), say))
    elif by_properties != by_line:
        raise ReadError(path, "says two things of itself: its properties and its page about the copy differ.")
    chosen = by_properties or by_line
    assert chosen is not None
    return chosen


# ------------------------------------------------------------------------------------------------------- rows


def headings() -> dict[str, tuple[str, bool]]:
    """Every heading of a daily sheet, in small letters, with the log's column and whether it names a unit of the US.

    The log's own headings are known as well: early copies had them.
    """
    losses = case_log().tables["losses"]
    found: dict[str, tuple[str, bool]] = {losses.by_key[key].heading.casefold(): (key, False) for key in KEYS}
    for texts in table().values():
        for key in KEYS:
            for us in (True, False):
                found[texts[heading_key(key, us)].casefold()] = (
                    key,
                    us and heading_key(key, True) != heading_key(key, False),
                )
    return found


def _read_sheets(
    sheets: Mapping[str, Sequence[Sequence[Any]]], losses: Table, found: Returned, given: Sequence[str]
) -> None:
    """Read the daily sheets, whatever they are called now; `given` are the names that they were given."""
    read = 0
    for name, cells in sheets.items():
        start, columns = _heading_row(cells)
        if start is None:
            continue
        read += 1
        _missing(name, start, columns, losses, found)
        for number, row in enumerate(cells[start:], start=start + 1):
            _row(name, number, row, columns, losses, found)
        _unknown(name, start, cells, columns, found)
    if not read:
        _say(found, "daily-sheet-missing", "The copy has no daily sheet any more; were its headings changed?")
    elif read < len(given):
        lost = [name for name in given if name not in sheets or _heading_row(sheets[name])[0] is None]
        say = (
            f"The copy was given {len(given)} daily sheets, {read} can be read; was one deleted, or were its headings "
            f"changed? Not found: {', '.join(lost)}."
        )
        _say(found, "daily-sheet-missing", say)
    _names(found)


def _heading_row(cells: Sequence[Sequence[Any]]) -> tuple[int | None, dict[int, tuple[str, bool]]]:
    """Number of the row with the headings, and the column and unit of each index; None where a sheet has none."""
    known = headings()
    for number, row in enumerate(cells, start=1):
        columns: dict[int, tuple[str, bool]] = {}
        for index, value in enumerate(row):
            match = known.get(" ".join(value.split()).casefold()) if isinstance(value, str) else None
            if match is not None and match[0] not in {key for key, _ in columns.values()}:
                columns[index] = match
        if {"day", "date", "stock"} <= {key for key, _ in columns.values()}:
            return number, columns
    return None, {}


def _missing(sheet: str, start: int, columns: Mapping[int, tuple[str, bool]], losses: Table, found: Returned) -> None:
    there = {key for key, _ in columns.values()}
    for key in KEYS:
        if key not in there:
            heading = losses.by_key[key].heading
            say = f"The column {heading!r} is missing on {sheet}; it cannot be read."
            _say(found, "heading-missing", say, place=Place(sheet, start, heading))


def _unknown(
    sheet: str, start: int, cells: Sequence[Sequence[Any]], columns: Mapping[int, tuple[str, bool]], found: Returned
) -> None:
    """What stands on a daily sheet outside its columns: said, cell by cell, as far as anybody would read."""
    outside = (
        (number, index, value)
        for number, row in enumerate(cells[start:], start=start + 1)
        for index, value in enumerate(row)
        if index not in columns and typed_value(value) is not None
    )
    for count, (number, index, value) in enumerate(outside):
        if count == MOST_NAMED:
            more = 1 + sum(1 for _ in outside)
            _say(found, "outside-columns", f"{sheet} holds {more:,} cells more outside the columns.", "notice")
            return
        place = Place(sheet, number, "", letter(index + 1))
        say = f"{place} holds something outside the columns: {str(value)[:MOST_SHOWN]}"
        _say(found, "outside-columns", say, "notice", place, value)


def _row(
    sheet: str, number: int, row: Sequence[Any], columns: Mapping[int, tuple[str, bool]], losses: Table, found: Returned
) -> None:
    typed: dict[str, Any] = dict.fromkeys(KEYS)
    values: dict[str, Any] = dict.fromkeys(KEYS)
    places: dict[str, Place] = {}
    for index, (key, us) in columns.items():
        value = typed_value(row[index]) if index < len(row) else None
        if isinstance(value, str) and not value.strip():
            value = None
        typed[key] = value
        places[key] = Place(sheet, number, losses.by_key[key].heading, letter(index + 1))
        values[key] = _in_log(key, value, us)
    if all(typed[key] is None for key in TELLING):
        return
    name = None if typed["day"] is None else str(typed["day"])
    found.rows.append(DailyRow(name, values, typed, places))
    for key, place in places.items():
        _judge(key, values[key], typed[key], place, losses, found)


def _in_log(key: str, value: Any, us: bool) -> Any:
    if key in NUMBERS and is_number(value):
        return in_log_unit(key, float(value), us)
    if key == "cause" and isinstance(value, str):
        return log_word(value)
    return value


def _judge(key: str, value: Any, typed: Any, place: Place, losses: Table, found: Returned) -> None:
    """Says where a value is not of the kind that its column has."""
    if value is None:
        if key in ("date", "stock"):
            _say(found, "missing", f"{place}: {place.column} is missing in a filled row.", place=place)
    elif key == "date" and not is_number(value):
        _say(found, "not-a-date", f"{place}: {typed!r} is not a date.", place=place, value=typed)
    elif key in NUMBERS:
        quantity = losses.by_key[key].quantity
        fault = quantity.fault(value) if isinstance(quantity, Quantity) else None
        if fault is not None:
            code = "not-a-number" if fault[0] == "value" else "out-of-range"
            _say(found, code, f"{place}: {typed!r} {fault[1]}.", place=place, value=typed)


def _names(found: Returned) -> None:
    """Says which rows have no name, one that another has, or one that this copy did not give."""
    begin = f"{found.site}-{found.made_on:%y%m%d%H%M}-".casefold()
    first: dict[str, Place] = {}
    for row in found.rows:
        place = row.places["day"]
        if row.name is None:
            _say(found, "row-without-name", f"{place}: the row has no name in its first column.", place=place)
            continue
        name = row.name.casefold()
        if name in first:
            _say(
                found,
                "row-name-twice",
                f"{place}: {row.name} is the name of {first[name]} already.",
                place=place,
                value=row.name,
            )
        elif not name.startswith(begin):
            _say(
                found,
                "row-name-foreign",
                f"{place}: {row.name} is no name that this copy gave.",
                place=place,
                value=row.name,
            )
        first.setdefault(name, place)


# ---------------------------------------------------------------------------------------------------- changes


def _changes(
    sheets: Mapping[str, Sequence[Sequence[Any]]], marks: Mapping[str, Sequence[str]], found: Returned
) -> Iterator[ChangedRow]:
    """Rows of the pages that are not as they were written, by the marks on the page about the copy."""
    if not marks:
        _say(found, "marks-missing", "The marks of the pages are gone: changes on them cannot be seen.", "notice")
        return
    for name, written_marks in marks.items():
        if name not in sheets:
            _say(
                found,
                "page-missing",
                f"The page {name} is missing; was it renamed or deleted?",
                "notice",
                Place(name, 1),
            )
            continue
        cells = sheets[name]
        now = sheet_marks(cells)
        changes = _changed_rows(name, written_marks, now, cells)
        yield from itertools.islice(changes, MOST_NAMED)
        more = sum(1 for _ in changes)
        if more:
            say = f"{more:,} rows more of the page {name} are not as they were written."
            _say(found, "more-changes", say, "notice", Place(name, 1))


def _changed_rows(
    name: str, written_marks: Sequence[str], now: Sequence[str], cells: Sequence[Sequence[Any]]
) -> Iterator[ChangedRow]:
    """The rows of one page that are not as they were written."""
    for before, before_end, after, after_end in differing(written_marks, now):
        for number in range(max(before_end - before, after_end - after)):
            row = after + number
            is_now = row < after_end and now[row] != BLANK
            was = before + number < before_end and written_marks[before + number] != BLANK
            if is_now:
                yield ChangedRow(Place(name, row + 1), "changed" if was else "added", tuple(row_texts(cells[row])))
            elif was:
                yield ChangedRow(Place(name, before + number + 1), "gone", ())


def differing(before: Sequence[str], after: Sequence[str]) -> Iterator[tuple[int, int, int, int]]:
    """Stretches in which two lists of marks differ: from and to in the first, from and to in the second.

    Marks that each list has once are matched, as many as stand in the same order in both; what is equal before and
    behind a match is left out. The time grows with n log n, whatever the marks are: they come with the file.
    """
    matches = [*_in_order(_once(before), _once(after)), (len(before), len(after))]
    start, other = 0, 0
    for end, other_end in matches:
        while start < end and other < other_end and before[start] == after[other]:
            start, other = start + 1, other + 1
        stop, other_stop = end, other_end
        while stop > start and other_stop > other and before[stop - 1] == after[other_stop - 1]:
            stop, other_stop = stop - 1, other_stop - 1
        if start < stop or other < other_stop:
            yield start, stop, other, other_stop
        start, other = end, other_end


def _once(marks: Sequence[str]) -> dict[str, int]:
    """Where each mark stands that the list has once."""
    counts = Counter(marks)
    return {mark: place for place, mark in enumerate(marks) if counts[mark] == 1}


def _in_order(before: Mapping[str, int], after: Mapping[str, int]) -> list[tuple[int, int]]:
    """The most places of marks that both have which stand in the same order: a longest increasing run."""
    pairs = [(place, after[mark]) for mark, place in before.items() if mark in after]
    ends: list[int] = []  # of the runs of each length, the least end
    last: list[int] = []  # the pair that it belongs to
    earlier: list[int] = []
    for number, (_, other) in enumerate(pairs):
        length = bisect.bisect_left(ends, other)
        earlier.append(last[length - 1] if length else -1)
        ends[length : length + 1] = [other]
        last[length : length + 1] = [number]
    found, number = [], last[-1] if last else -1
    while number >= 0:
        found.append(pairs[number])
        number = earlier[number]
    return found[::-1]


def _written_marks(sheets: Mapping[str, Sequence[Sequence[Any]]]) -> dict[str, list[str]]:
    """The marks as they stand on the page about the copy: a page's name, then its marks."""
    found: dict[str, list[str]] = {}
    begun = {texts["about_marks"].casefold() for texts in table().values()}
    for cells in sheets.values():
        inside = False
        for row in cells:
            texts = row_texts(row)
            if texts and texts[0].casefold() in begun:
                inside = True
            elif inside and len(texts) == 2 and marks_in(texts[1]):
                found[texts[0]] = marks_in(texts[1])
    return found
