"""The cells of a sheet as package text.

Written by hand and not by a library, by measurement: openpyxl stores no result beside a formula, and takes about ten
times as long for the same cells.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field

ILLEGAL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
LOOKS_ESCAPED = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")
TEXT_LIMIT = 32_767


def escaped(text: str) -> str:
    """Text without characters that XML cannot hold; they have the _xHHHH_ form of ECMA-376 Part 1, 22.4.2.4."""
    text = LOOKS_ESCAPED.sub("_x005F_", text)
    return ILLEGAL.sub(lambda match: f"_x{ord(match[0]):04X}_", text)


def xml_text(text: str) -> str:
    """Text as it may stand in a package part."""
    return escaped(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace("\r", "_x000D_")


class Strings:
    """The texts of a workbook, each once, as the package's shared table holds them."""

    def __init__(self) -> None:
        self.numbers: dict[str, int] = {}

    def number(self, text: str) -> int:
        return self.numbers.setdefault(text, len(self.numbers))

    def xml(self) -> str:
        items = "".join(f'<si><t xml:space="preserve">{xml_text(text)}</t></si>' for text in self.numbers)
        count = len(self.numbers)
        return (
            '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\n'
            '<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main" '
            f'count="{count}" uniqueCount="{count}">{items}</sst>'
        )


def value_cell(place: str, style: int, value: object, strings: Strings) -> str:
    """One cell with a typed value, or an empty one for None. Text is never taken for a formula."""
    if value is None:
        return f'<c r="{place}" s="{style}"/>'
    if isinstance(value, bool):
        return f'<c r="{place}" s="{style}" t="b"><v>{int(value)}</v></c>'
    if isinstance(value, int | float):
        return f'<c r="{place}" s="{style}"><v>{value!r}</v></c>'
    return f'<c r="{place}" s="{style}" t="s"><v>{strings.number(str(value))}</v></c>'


def formula_cell(place: str, style: int, formula: str, value: object) -> str:
    """One cell with a formula element and its stored result; a blank result is the empty text."""
    if value is None or isinstance(value, str):
        return f'<c r="{place}" s="{style}" t="str">{formula}<v>{xml_text(value or "")}</v></c>'
    if isinstance(value, bool):
        return f'<c r="{place}" s="{style}" t="b">{formula}<v>{int(value)}</v></c>'
    return f'<c r="{place}" s="{style}">{formula}<v>{value!r}</v></c>'


def plain_formula(text: str) -> str:
    return f"<f>{xml_text(text)}</f>"


def array_formula(text: str, place: str) -> str:
    return f'<f t="array" ref="{place}">{xml_text(text)}</f>'


def shared_formula(text: str, cells: str, number: int) -> str:
    """The first cell of a column that shares one formula; the others use `shared_again`."""
    return f'<f t="shared" ref="{cells}" si="{number}">{xml_text(text)}</f>'


def shared_again(number: int) -> str:
    return f'<f t="shared" si="{number}"/>'


A_VALUE = re.compile(r'<c r="[A-Z]+(\d+)"[^>]*?(?: t="(\w+)")?><v>([^<]*)</v></c>')


@dataclass
class SheetCells:
    """Rows of one sheet, gathered in any order and written in order."""

    rows: dict[int, list[tuple[int, str]]] = field(default_factory=dict)
    whole_rows: dict[int, str] = field(default_factory=dict)
    heights: dict[int, float] = field(default_factory=dict)
    hidden: set[int] = field(default_factory=set)
    width: int = 1

    def put(self, row: int, column: int, cell: str) -> None:
        self.rows.setdefault(row, []).append((column, cell))
        self.width = max(self.width, column)

    def put_row(self, row: int, cells: str, width: int) -> None:
        """A whole row at once; nothing else may be put into it."""
        self.whole_rows[row] = cells
        self.width = max(self.width, width)

    def last_row(self) -> int:
        return max((*self.rows, *self.whole_rows), default=1)

    def values(self, strings: Strings) -> list[list[object]]:
        """Texts and numbers of each row, from the first row on, without blanks and without formulas."""
        texts = list(strings.numbers)
        found: list[list[object]] = []
        for row in range(1, self.last_row() + 1):
            cells = sorted(self.rows.get(row, ()), key=lambda pair: pair[0])
            held = [match for _, cell in cells if (match := A_VALUE.match(cell))]
            found.append([texts[int(one[3])] if one[2] == "s" else float(one[3]) for one in held])
        return found

    def xml(self) -> Iterable[str]:
        """The content of the sheetData element."""
        for row in sorted(self.rows.keys() | self.whole_rows.keys()):
            height = f' ht="{self.heights[row]:g}" customHeight="1"' if row in self.heights else ""
            height += ' hidden="1"' if row in self.hidden else ""
            cells = self.whole_rows.get(row)
            if cells is None:
                cells = "".join(cell for _, cell in sorted(self.rows[row], key=lambda pair: pair[0]))
            yield f'<row r="{row}"{height}>{cells}</row>'


def row_template(cells: Sequence[str]) -> tuple[str, ...]:
    """Cells of a row, written for row number {r}, cut at the row number: joined by a number they are that row."""
    return tuple("".join(cells).split("{r}"))
