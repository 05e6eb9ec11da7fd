"""What a reader of values is silent about, or gives another meaning: errors, formulas without a result, percent signs,
dates in cells for numbers, merged cells, days counted from 1904.

Each of them would pass for a blank, and so for the value that a blank stands for, or for a number that was not meant.
"""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from typing import Any
from xml.sax.saxutils import unescape

from workbook_tools.functions.quantities import Quantity
from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.model import Column
from workbook_tools.layout.shown_values import as_shown
from workbook_tools.xlsx.addresses import column_number, letter
from workbook_tools.xlsx.reading import Archive
from workbook_tools.xlsx.reading.contents import links_of, main_part, sheets_of, tree_of
from workbook_tools.xlsx.reading.markup import Element, double_quoted
from workbook_tools.xlsx.reading.shortened import Shortened

DAYS_TO_1904 = 1462.0  # from 1899-12-30, where other workbooks count from, to 1904-01-01 (ECMA-376 Part 1, 18.17.4.1)
PREFIX = rb"(?:[A-Za-z]\w*:)?"
MERGED = re.compile(rb"<" + PREFIX + rb'mergeCell\b[^>]*?\bref="([A-Z]+)(\d+):([A-Z]+)(\d+)"')
INSIDE = re.compile(rb"<" + PREFIX + rb"(f|v)\b([^>]*?)(?:/>|>(.*?)</" + PREFIX + rb"\1>)", re.DOTALL)
FORMULA = re.compile(rb"f(?<=[<:]f)[\s/>]")
TAG = re.compile(rb"<" + PREFIX + rb"c\b[^>]*?(/?)>")
PLACE = re.compile(rb'\br="([A-Z]{1,3})(\d+)"')
END = re.compile(rb"</" + PREFIX + rb"c>")
KIND = re.compile(rb'\bt="(\w+)"')
STYLE = re.compile(rb'\bs="(\d+)"')
QUOTED_OR_ESCAPED = re.compile(r'"[^"]*"|\\.')
LONGEST_PREFIX = 100
DATED = {datetime.datetime, datetime.date, datetime.time, datetime.timedelta}
PERCENTS = (9, 10)  # built-in formats 0% and 0.00% (ECMA-376 Part 1, 18.8.30)


class Unread(str):
    """What stands in a cell and cannot be taken for its value, as the text that it shows; `why` says it in words."""

    __slots__ = ("why",)
    why: str

    def __new__(cls, shown: str, why: str = "") -> Unread:
        made = super().__new__(cls, shown)
        made.why = why
        return made


def sheet_parts(archive: Archive) -> dict[str, str]:
    """The part of each sheet, by its name in small letters; raises ReadError where the file is no workbook."""
    return {name.casefold(): link.target for name, link in sheets_of(archive).items()}


def counts_from_1904(workbook: Element) -> bool:
    """Whether the workbook part says that its days are counted from 1904."""
    found = next(workbook.iterchildren("{*}workbookPr"), None)
    return found is not None and found.get("date1904", "0").lower() in ("1", "true", "on")


class BesideValues:
    """The parts of a workbook, for what its values do not say. `from_1904` : its days are counted from 1904.

    Raises ReadError where one of them cannot be read.
    """

    def __init__(self, archive: Archive) -> None:
        self._archive = archive
        main = main_part(archive)
        self._parts = sheet_parts(archive)
        self.from_1904 = counts_from_1904(tree_of(archive, main))
        styles = next((link.target for link in links_of(archive, main) if link.kind == "styles"), "")
        self._percents = _percent_styles(tree_of(archive, styles)) if archive.has(styles) else []
        self._looked: dict[tuple[str, frozenset[tuple[int, bool]]], list[int]] = {}

    def sheet(self, name: str) -> bytes:
        """The part of a sheet, up to the end of its rows where these were shortened; empty where there is none."""
        short = self._short(name)
        return self._whole(name) if short is None else short.rows

    def after_rows(self, name: str) -> bytes:
        """What follows the rows of a sheet: all of it where they were not shortened."""
        short = self._short(name)
        return self._whole(name) if short is None else short.after

    def _short(self, name: str) -> Shortened | None:
        return self._archive.shortened.get(self._parts.get(name.casefold(), ""))

    def _whole(self, name: str) -> bytes:
        part = self._parts.get(name.casefold())
        return b"" if part is None else double_quoted(self._archive.read(part))

    def seen(self, name: str) -> tuple[int | None, int | None]:
        """How many rows at the top of a sheet are whole, and how many columns there are below; None : all."""
        short = self._short(name)
        return (None, None) if short is None else (short.whole, short.columns)

    def forget(self, name: str) -> None:
        """Look into a sheet anew: there is more of it to be seen."""
        self._looked = {key: found for key, found in self._looked.items() if key[0] != name.casefold()}

    def look_for(self, sheet: str, columns: Mapping[int, Column]) -> list[int]:
        """Where the cells begin that may be silent, in some columns of a sheet; asked again it is known."""
        # tables above each other may have other kinds of columns in the same places
        key = sheet.casefold(), frozenset((index, _takes_percent(column)) for index, column in columns.items())
        if key not in self._looked:
            self._looked[key] = sorted(_suspects(self.sheet(sheet), columns, self._percents)) if columns else []
        return self._looked[key]

    def put_into(self, cells: list[list[Any]], sheet: str, columns: Mapping[int, Column], after: int) -> None:
        """Put an `Unread` in the place of each error, formula without a result, and percent sign where none belongs.

        Parameters
        ----------
        cells : the values of a sheet, row by row from A1 on; changed in place.
        sheet : its name.
        columns : the typed columns by their index from 0.
        after : the heading row; nothing is changed down to it.
        """
        for row, index, silent in _silent(self.sheet(sheet), columns, self.look_for(sheet, columns), self._percents):
            if row > after:
                cells.extend([] for _ in range(row - len(cells)))
                line = cells[row - 1]
                line.extend([None] * (index + 1 - len(line)))
                found = _percent(line[index], columns[index]) if silent is None else silent
                line[index] = line[index] if found is None else found


def merged_areas(part: bytes, columns: Iterable[int], first: int, last: int) -> Iterator[str]:
    """Merged cells that reach into some rows of some columns (indices from 0), as "B7:B9"."""
    indices = set(columns)
    start = part.find(b"mergeCell")  # a plain search is quick; it stands behind all rows
    for left, top, right, bottom in MERGED.findall(part, max(start - LONGEST_PREFIX, 0)) if start >= 0 else ():
        low, high = column_number(left.decode()) - 1, column_number(right.decode()) - 1
        if int(top) <= last and int(bottom) >= first and any(low <= index <= high for index in indices):
            yield f"{left.decode()}{int(top)}:{right.decode()}{int(bottom)}"


def dates_told(values: Sequence[Any], column: Column, from_1904: bool) -> list[Any]:
    """The values of a typed column, an `Unread` for each date and time where something else belongs.

    In a workbook from 1904, day numbers without a date's format count from there.
    """
    if column.kind not in ("date", "time"):
        return [_dated(value, column) if type(value) in DATED else value for value in values]
    if from_1904 and column.kind == "date":
        return [value + DAYS_TO_1904 if isinstance(value, float) and value >= 1 else value for value in values]
    return list(values)


def _dated(value: datetime.date | datetime.time | datetime.timedelta, column: Column) -> Unread:
    days = serial(value)
    wanted = "number" if column.kind == "number" else "text"
    if isinstance(value, datetime.date):
        shown, what = str(value)[:10] if days == int(days) else str(value), "date"
    else:
        shown, what = as_shown(days, "[hh]:mm:ss"), "time"
    how = "give the cell the format Number and type the number again"
    if column.kind != "number":
        how = "give the cell the format Text and type it again"
    return Unread(shown, f"The spreadsheet made a {what} of it, {shown}, not a {wanted}: {how}.")


def _takes_percent(column: Column) -> bool:
    """Whether a percent sign belongs to a column's numbers, or does no harm where it holds none."""
    if column.kind != "number" or "%" in column.format:
        return True
    quantity = column.quantity
    return isinstance(quantity, Quantity) and bool(quantity.parts or (quantity.low, quantity.high) == (0, 1))


def _percent(value: object, column: Column) -> Unread | None:
    """A number that was typed with a percent sign, where none belongs; None where it does."""
    if _takes_percent(column) or not is_number(value):
        return None
    whole = f"{value * 100:.10g}"
    why = f"It was typed with a percent sign, which makes {value:.10g} of it: format Number, then type {whole} alone."
    return Unread(f"{whole}%", why)


def _silent(
    part: bytes, columns: Mapping[int, Column], suspects: Iterable[int], percents: list[bytes]
) -> Iterator[tuple[int, int, Unread | None]]:
    """Row, column index and what stands there, for errors and formulas without a result; None for a percent format."""
    by_letter = {letter(index + 1).encode(): index for index in columns}
    for start in suspects:
        tag = TAG.match(part, start)
        place = PLACE.search(tag[0]) if tag else None
        if tag is None or tag[1] or place is None or place[1] not in by_letter:
            continue
        closed = END.search(part, tag.end())
        inside = part[tag.end() : closed.start() if closed else len(part)]
        kind, style = KIND.search(tag[0]), STYLE.search(tag[0])
        found = _of_cell(kind[1] if kind else b"n", inside)
        if found is not None or (style and style[1] in percents):
            yield int(place[2]), by_letter[place[1]], found


def _suspects(part: bytes, columns: Mapping[int, Column], percents: list[bytes]) -> set[int]:
    """Where the tags start of cells that may hold an error, a formula in one of the columns, or a percent format in one
    that takes none.

    Searches that begin with plain letters: one pattern for all of it takes four times as long.
    """
    letters = {index: letter(index + 1).encode() for index in columns}
    without = [letters[index] for index, column in columns.items() if not _takes_percent(column)]
    marks = [rb't="e"'] if b't="e"' in part else []
    if FORMULA.search(part):
        marks += [rb'r="(?:' + _any_of(letters.values()) + rb')\d+"[^>]*>\s*<' + PREFIX + rb"f[\s/>]"]
    there = [number for number in percents if b's="%b"' % number in part] if without else []
    if there:
        place, style = rb'r="(?:' + _any_of(without) + rb')\d+"', rb's="(?:' + b"|".join(there) + rb')"'
        marks += [place + rb"[^>]*" + style, style + rb"[^>]*" + place]  # attributes stand in any order
    return {part.rfind(b"<", 0, match.start()) for mark in marks for match in re.finditer(mark, part)}


def _any_of(letters: Iterable[bytes]) -> bytes:
    """A pattern for any of some columns, by sets of last letters: quicker than one after the other."""
    lasts: dict[bytes, bytes] = {}
    for place in letters:
        lasts[place[:-1]] = lasts.get(place[:-1], b"") + place[-1:]
    return b"|".join(first + b"[" + last + b"]" for first, last in lasts.items())


def _of_cell(kind: bytes, inside: bytes) -> Unread | None:
    held = {match[1]: match[3] or b"" for match in INSIDE.finditer(inside)}
    value, formula = held.get(b"v", b"").decode(errors="replace"), held.get(b"f")
    if kind == b"e":
        return Unread(value or "#ERROR", f"The cell shows an error ({value or '#ERROR'}): type the value itself.")
    if formula is not None and not value and kind != b"str":
        text = "=" + unescape(formula.decode(errors="replace"), {"&quot;": '"', "&apos;": "'"})
        why = "Its formula was not computed: open the file in a spreadsheet and save it, or type the value itself."
        return Unread(text, why)
    return None


def _percent_styles(root: Element) -> list[bytes]:
    """Numbers of the cell styles whose format has a percent sign."""
    formats = {
        entry.get("numFmtId"): "%" in QUOTED_OR_ESCAPED.sub("", entry.get("formatCode", ""))
        for entry in root.iter("{*}numFmt")
    }
    own = next(root.iterchildren("{*}cellXfs"), ())
    found = []
    for number, style in enumerate(entry for entry in own if isinstance(entry.tag, str)):
        used = style.get("numFmtId", "0")
        if formats.get(used, used.isdigit() and int(used) in PERCENTS):
            found.append(str(number).encode())
    return found
