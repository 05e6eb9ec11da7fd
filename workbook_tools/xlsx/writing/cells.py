"""The cells of a sheet as package text.

Written by hand and not by a library, by measurement: openpyxl stores no result beside a formula, and takes about ten
times as long for the same cells.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

ILLEGAL = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\ufffe\uffff]")
LOOKS_ESCAPED = re.compile(r"_(?=x[0-9A-Fa-f]{4}_)")
TEXT_LIMIT = 32_767


def escaped_cell(text: str) -> str:
    """Text without characters that XML cannot hold; they have the _xHHHH_ form of ECMA-376 Part 1, 22.4.2.4."""
    text = LOOKS_ESCAPED.sub("_x005F_", text)
    return ILLEGAL.sub(lambda match: f"_x{ord(match[0]):04X}_", text)


def xml_text(text: str) -> str:
    """Text as it may stand in a package part."""
    return escaped_cell(text).replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;").replace("\r", "_x000D_")


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
    unmarked: str = ""  # cells that Excel shall not mark for differing from the formula that their table holds

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

    def xml(self) -> Iterator[str]:
        """The content of the sheetData element."""
        for row in sorted(self.rows.keys() | self.whole_rows.keys()):
            height = f' ht="{self.heights[row]:g}" customHeight="1"' if row in self.heights else ""
            height += ' hidden="1"' if row in self.hidden else ""
            cells = self.whole_rows.get(row)
            if cells is None:
                cells = "".join(cell for _, cell in sorted(self.rows[row], key=lambda pair: pair[0]))
            yield f'<row r="{row}"{height}>{cells}</row>'


ROW_MARK = "\x01"  # stands for a row's number until it is known; no text of a cell can hold it


class RowMarkup:
    """The cells of many rows of the same columns, as text.

    Rows whose values are of the same kinds differ in values and row number alone: a text is made for each set of kinds
    once, and a row costs two calls.

    `styles` : style number of each column, by its letters. `formulas` : formula element of those that have one; their
    values are stored results.
    """

    def __init__(self, styles: Mapping[str, int], formulas: Mapping[str, str], strings: Strings) -> None:
        self.styles, self.formulas, self.strings = styles, formulas, strings
        self.made: dict[tuple[type, ...], tuple[str, list[int], list[int]]] = {}

    def row(self, number: int, values: Sequence[object]) -> str:
        """The cells of row `number`; a value for each column, None for a blank."""
        kinds = tuple(map(type, values))
        if kinds not in self.made:
            self.made[kinds] = self._made(values)
        text, typed_texts, results = self.made[kinds]
        filled = list(values)
        for column in typed_texts:
            filled[column] = self.strings.number(str(values[column]))
        for column in results:
            filled[column] = xml_text(str(values[column]))
        return (text % tuple(filled)).replace(ROW_MARK, str(number))

    def _made(self, values: Sequence[object]) -> tuple[str, list[int], list[int]]:
        """Text of such rows, the columns of typed texts and those of stored texts."""
        cells: list[str] = []
        typed: list[int] = []
        results: list[int] = []
        for column, ((letters, style), value) in enumerate(zip(self.styles.items(), values, strict=True)):
            formula = self.formulas.get(letters, "").replace("%", "%%")
            start = f'<c r="{letters}{ROW_MARK}" s="{style}"'
            if value is None:
                cells.append(f'{start} t="str">{formula}<v></v></c>' if formula else f"{start}/>")
                cells.append("%.0s")  # nothing of it
            elif isinstance(value, bool):
                cells.append(f'{start} t="b">{formula}<v>%d</v></c>')
            elif isinstance(value, int | float):
                cells.append(f"{start}>{formula}<v>%r</v></c>")
            elif formula:
                cells.append(f'{start} t="str">{formula}<v>%s</v></c>')
                results.append(column)
            else:
                cells.append(f'{start} t="s"><v>%d</v></c>')
                typed.append(column)
        return "".join(cells), typed, results
