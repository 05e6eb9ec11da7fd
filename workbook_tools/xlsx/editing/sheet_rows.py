"""A sheet part cut at its row tags: rows that are touched become trees, all others stay the bytes they are.

A sheet may hold millions of cells; a tree of all of them would take fifty times the bytes.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Iterator
from copy import deepcopy

from lxml import etree

from workbook_tools.errors import ReadError
from workbook_tools.xlsx.addresses import column_number, letter
from workbook_tools.xlsx.editing.parts import Element, as_utf8, local, parse, space, written
from workbook_tools.xlsx.reading.limits import MOST_COLUMNS, MOST_MERGED, MOST_ROWS

ATTRIBUTES = rb"(?:\"[^\"]*\"|'[^']*'|[^>\"'])*"
ASIDE = rb"<!--.*?-->|<!\[CDATA\[.*?\]\]>|<\?.*?\?>"
TAG = re.compile(ASIDE + rb"|<(/?)([^\s/>!?]+)(" + ATTRIBUTES + rb")>", re.DOTALL)
ROW_NUMBER = re.compile(rb"(?:^|\s)r\s*=\s*[\"'](\d+)[\"']")
DIGITS = "0123456789"
PLACE = re.compile(r"^([A-Z]{1,3})(\d{1,7})$")
MOST_TREES = 512  # rows of one sheet that are trees at a time
# ECMA-376 Part 1, 18.3.1.99: the order in which a worksheet's elements stand
ORDER = (
    *("sheetPr", "dimension", "sheetViews", "sheetFormatPr", "cols", "sheetData", "sheetCalcPr", "sheetProtection"),
    *("protectedRanges", "scenarios", "autoFilter", "sortState", "dataConsolidate", "customSheetViews", "mergeCells"),
    *("phoneticPr", "conditionalFormatting", "dataValidations", "hyperlinks", "printOptions", "pageMargins"),
    *("pageSetup", "headerFooter", "rowBreaks", "colBreaks", "customProperties", "cellWatches", "ignoredErrors"),
    *("smartTags", "drawing", "legacyDrawing", "legacyDrawingHF", "drawingHF", "picture", "oleObjects", "controls"),
    *("webPublishItems", "tableParts", "extLst"),
)


def place_of(text: str) -> tuple[int, int] | None:
    """Row and column of an address such as B7, dollars or not."""
    match = PLACE.match(text.replace("$", "").upper())
    return (int(match[2]), column_number(match[1])) if match else None


class SheetRow:
    """One row as a tree, with its cells by column."""

    def __init__(self, wrapper: Element, element: Element) -> None:
        self.wrapper = wrapper  # kept: it holds the namespaces
        self.element = element
        self.cells: dict[int, Element] = {}
        before = 0
        for cell in element:
            if local(cell) == "c":
                letters = str(cell.get("r", "")).rstrip(DIGITS)
                before = column_number(letters) if letters else before + 1
                self.cells[before] = cell

    def set_cell(self, column: int, cell: Element) -> None:
        """Put a cell in its place among the others."""
        old = self.cells.get(column)
        if old is not None:
            cell.tail = old.tail
            self.element.replace(old, cell)
        else:
            before = [number for number in self.cells if number < column]
            at = self.element.index(self.cells[max(before)]) + 1 if before else 0
            self.element.insert(at, cell)
            self._widen(column)
        self.cells[column] = cell

    def _widen(self, column: int) -> None:
        """`spans` says between which columns cells stand."""
        first, _, last = self.element.get("spans", "").partition(":")
        if first.isdigit() and last.isdigit():
            self.element.set("spans", f"{min(int(first), column)}:{max(int(last), column)}")
        elif self.element.get("spans") is not None:
            del self.element.attrib["spans"]


class SheetRows:
    """The part of one worksheet."""

    def __init__(self, content: bytes, name: str, path: object) -> None:
        self.name, self.path = name, path
        self.source = as_utf8(content, name, path)
        if b"<!DOCTYPE" in self.source[:4096]:
            raise ReadError(path, f"its part {name} brings a document type of its own, which no spreadsheet writes.")
        self.numbers: list[int] = []
        self.starts: list[int] = []
        self.edited: dict[int, SheetRow] = {}
        self.whole: dict[int, bytes] = {}  # edited rows that are bytes again
        self._looked: tuple[int, SheetRow] | None = None  # the row that was looked at last
        self._shared: int | None = None
        self.frame_changed = False
        self.cut()
        self._frame: Element | None = None

    # --------------------------------------------------------------------------------------------- the cuts

    def cut(self) -> None:
        """Find the root, the sheetData element and the start of every row."""
        root_tag = data = None
        for tag in TAG.finditer(self.source):
            if tag[2] is None:
                continue
            root_tag = root_tag or tag
            if tag[2].rpartition(b":")[2] == b"sheetData":
                data = tag
                break
        if root_tag is None or data is None:
            raise ReadError(self.path, f"its part {self.name} has no place for cells.")
        self.prefix = data[2].rpartition(b":")[0] + (b":" if b":" in data[2] else b"")
        self.opening = root_tag[0]
        self.data_tag = data[0]
        self.head_end = data.start()
        if data[3].rstrip().endswith(b"/"):
            self.data_tag = self.data_tag.rstrip(b">").rstrip().rstrip(b"/") + b">"
            self.body_start = self.body_end = self.tail_start = data.end()
            return
        self.body_start = data.end()
        self._cut_rows()

    def _cut_rows(self) -> None:
        tag = rb"<" + re.escape(self.prefix) + rb"row(?=[\s/>])(" + ATTRIBUTES + rb")>"
        end = rb"</" + re.escape(self.prefix) + rb"sheetData\s*>"
        if b"<!" in self.source or self.source.find(b"<?", self.body_start) >= 0:  # tags may stand in a comment
            tag = ASIDE + rb"|" + tag
            marks = re.finditer(ASIDE + rb"|(" + end + rb")", self.source, re.DOTALL)
            ends = [mark for mark in marks if mark[1] is not None and mark.start() >= self.body_start]
        else:
            ends = list(re.compile(end).finditer(self.source, self.source.rfind(b"</" + self.prefix + b"sheetData")))
        if not ends:
            raise ReadError(self.path, f"its part {self.name} is cut short.")
        self.body_end, self.tail_start = ends[0].span()
        number = 0
        for row in re.compile(tag, re.DOTALL).finditer(self.source, self.body_start, self.body_end):
            if row[1] is None:
                continue
            said = ROW_NUMBER.search(row[1])
            before, number = number, int(said[1]) if said else number + 1
            if number <= before:
                raise ReadError(self.path, f"its part {self.name} is damaged: row {number} stands after row {before}.")
            self.numbers.append(number)
            self.starts.append(row.start())

    def _raw(self, position: int) -> bytes:
        end = self.starts[position + 1] if position + 1 < len(self.starts) else self.body_end
        return self.source[self.starts[position] : end]

    def _position(self, number: int) -> int | None:
        position = bisect_left(self.numbers, number)
        there = position < len(self.numbers) and self.numbers[position] == number
        return position if there else None

    def _parsed(self, raw: bytes) -> SheetRow:
        closing = b"</" + self.prefix + b"sheetData></" + self.opening[1:].split(None, 1)[0].rstrip(b"/>") + b">"
        wrapper = parse(self.opening + self.data_tag + raw + closing, self.name, self.path)
        row = next(element for element in wrapper[0] if local(element) == "row")
        return SheetRow(wrapper, row)

    # ------------------------------------------------------------------------------------------------- rows

    @property
    def last_row(self) -> int:
        return max([*self.numbers[-1:], *self.edited, *self.whole], default=0)

    def row_numbers(self, first: int, last: int) -> list[int]:
        """Rows that are there, between two."""
        inside = self.numbers[bisect_left(self.numbers, first) : bisect_left(self.numbers, last + 1)]
        more = (number for number in (*self.edited, *self.whole) if first <= number <= last)
        return sorted({*inside, *more})

    def bytes_of(self, number: int) -> bytes:
        """A row as bytes, as it stands now; nothing for one that is not there."""
        if number in self.edited:
            return self._written(self.edited[number])
        if number in self.whole:
            return self.whole[number]
        position = self._position(number)
        return b"" if position is None else self._raw(position)

    def peek(self, number: int) -> SheetRow | None:
        """A row to look at; None where there is none. What is done to it is not kept."""
        if number in self.edited:
            return self.edited[number]
        if self._looked is None or self._looked[0] != number:
            raw = self.bytes_of(number)
            self._looked = (number, self._parsed(raw)) if raw else None
        return None if self._looked is None else self._looked[1]

    def edit(self, number: int) -> SheetRow:
        """A row to change; made where there is none. The row stays a tree until many others were edited after it."""
        row = self.edited.pop(number, None)
        looked, self._looked = self._looked, None
        if row is None and looked is not None and looked[0] == number:
            row = looked[1]
            self.whole.pop(number, None)
        elif row is None:
            raw = self.bytes_of(number) or b"<" + self.prefix + b'row r="%d"/>' % number
            row = self._parsed(raw)
            self.whole.pop(number, None)
        if len(self.edited) >= MOST_TREES:
            oldest = next(iter(self.edited))
            self.whole[oldest] = self._written(self.edited.pop(oldest))
        self.edited[number] = row
        return row

    def push_down(self, first: int, by: int) -> None:
        """Let every row from one on stand so many rows lower. What refers to them is not changed."""
        for number in reversed(self.row_numbers(first, self.last_row)):
            if self.peek(number) is None:
                continue
            row = self.edit(number)
            row.element.set("r", str(number + by))
            for column, cell in row.cells.items():
                cell.set("r", f"{letter(column)}{number + by}")
            self.whole[number + by] = self._written(self.edited.pop(number))
            self.whole[number] = b""
        self._looked = None

    def free_shared(self) -> int:
        """A number that no shared formula has."""
        if self._shared is None:
            numbers = re.finditer(rb"\ssi\s*=\s*[\"'](\d+)", self.source[self.body_start : self.body_end])
            self._shared = max((int(number[1]) for number in numbers), default=-1)
        self._shared += 1
        return self._shared

    def make_cell(self, row: int, column: int, style: str | None = None) -> Element:
        """A new cell, not yet in its row."""
        wrapper = self.edit(row).element
        cell = etree.Element(f"{{{space(wrapper)}}}c", nsmap=wrapper.nsmap)
        cell.set("r", f"{letter(column)}{row}")
        if style is not None:
            cell.set("s", style)
        return cell

    def edit_cell(self, row: int, column: int) -> Element:
        """A cell to change; made, in the style of its row or column, where there is none."""
        edited = self.edit(row)
        if column not in edited.cells:
            style = edited.element.get("s") if edited.element.get("customFormat") in ("1", "true") else None
            edited.set_cell(column, self.make_cell(row, column, style or self.column_style(column)))
            self.widen(row, column)
        return edited.cells[column]

    def column_style(self, column: int) -> str | None:
        """Style of a column's cells that were never touched."""
        for entry in self.frame().iter("{*}col"):
            if int(entry.get("min", "0")) <= column <= int(entry.get("max", "0")):
                return None if entry.get("style") is None else str(entry.get("style"))
        return None

    def widen(self, row: int, column: int) -> None:
        """Let the part say that its cells reach to a cell."""
        if not 1 <= row <= MOST_ROWS or not 1 <= column <= MOST_COLUMNS:
            raise ValueError(f"row {row}, column {column}: there is no such cell.")
        entry = self.child("dimension")
        first, _, last = (entry.get("ref", "") if entry is not None else "").partition(":")
        corners = [place for place in (place_of(first), place_of(last or first)) if place]
        if entry is None or not corners:
            return
        rows, columns = zip(*corners, strict=True)
        if not (min(rows) <= row <= max(rows) and min(columns) <= column <= max(columns)):
            rows, columns = (*rows, row), (*columns, column)
            self.frame(change=True)
            entry.set("ref", f"{letter(min(columns))}{min(rows)}:{letter(max(columns))}{max(rows)}")

    # ----------------------------------------------------------------------------------------- the rest of it

    def frame(self, change: bool = False) -> Element:
        """The part without its rows, as a tree."""
        if self._frame is None:
            data = self.data_tag[:-1] + b"/>"
            content = self.source[: self.head_end] + data + self.source[self.tail_start :]
            self._frame = parse(content, self.name, self.path)
            merged = sum(1 for _ in self._frame.iter("{*}mergeCell"))
            if merged > MOST_MERGED:
                raise ReadError(
                    self.path, f"its part {self.name} has {merged:,} merged areas; {MOST_MERGED:,} are allowed."
                )
        self.frame_changed |= change
        return self._frame

    def place_in_order(self, element: Element) -> None:
        """Put an element where its kind belongs in the part."""
        root = self.frame(change=True)
        rank = ORDER.index(local(element))
        before = [child for child in root if local(child) in ORDER and ORDER.index(local(child)) <= rank]
        root.insert(root.index(before[-1]) + 1 if before else 0, element)

    def child(self, name: str) -> Element | None:
        """The one element of a kind, such as cols."""
        return next((child for child in self.frame() if local(child) == name), None)

    def need(self, name: str) -> Element:
        """The one element of a kind; made where there is none."""
        found = self.child(name)
        self.frame(change=True)
        if found is None:
            found = etree.Element(f"{{{space(self.frame())}}}{name}", nsmap=self.frame().nsmap)
            self.place_in_order(found)
        return found

    def content(self) -> bytes:
        """The part as it stands now."""
        return b"".join(self._pieces())

    def _pieces(self) -> Iterator[bytes]:
        head, tail = self._around()
        changed = sorted({*self.edited, *self.whole})
        self_closing = self.body_start == self.tail_start
        if self_closing and not changed:
            yield head + self.source[self.head_end : self.tail_start] + tail
            return
        yield head + self.data_tag
        at = self.body_start
        for number in changed:
            position = bisect_left(self.numbers, number)
            start = self.starts[position] if position < len(self.starts) else self.body_end
            yield self.source[at:start]
            yield self.bytes_of(number)
            there = self._position(number) is not None
            at = start + len(self._raw(position)) if there else start
        yield self.source[at : self.body_end]
        yield b"</" + self.prefix + b"sheetData>" if self_closing else self.source[self.body_end : self.tail_start]
        yield tail

    def _around(self) -> tuple[bytes, bytes]:
        """What stands before and after the sheetData element."""
        if not self.frame_changed:
            return self.source[: self.head_end], self.source[self.tail_start :]
        content = written(self.frame())
        for tag in TAG.finditer(content):
            if tag[2] is not None and tag[2].rpartition(b":")[2] == b"sheetData":
                return content[: tag.start()], content[tag.end() :]
        raise ReadError(self.path, f"its part {self.name} has no place for cells.")

    def _written(self, row: SheetRow) -> bytes:
        """A row's bytes, without the namespaces that its surroundings declare already."""
        content = etree.tostring(row.wrapper, encoding="UTF-8")
        start = content.index(b"<" + self.prefix + b"row")
        return bytes(content[start : content.rindex(b"</" + self.prefix + b"sheetData")])


def copied(cell: Element) -> Element:
    """A cell that can be put elsewhere."""
    other = deepcopy(cell)
    other.tail = None
    return other
