"""Formulas of a sheet that is being edited: which cells belong to a block, who holds a shared formula's text."""

from __future__ import annotations

import itertools
import re
from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass

from openpyxl.formula.translate import Translator

from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.editing.parts import Element, local
from workbook_tools.xlsx.editing.sheet_rows import ATTRIBUTES, SheetRows, place_of

REF = re.compile(rb"\sref\s*=\s*[\"']([^\"']*)[\"']")


@dataclass(frozen=True)
class Area:
    """Cells from one corner to another, rows and columns from 1."""

    top: int
    left: int
    bottom: int
    right: int

    @classmethod
    def of(cls, ref: str) -> Area | None:
        """The cells of a reference such as B2:C7; None for whole rows, whole columns and what is no reference."""
        first, _, last = ref.partition(":")
        start, end = place_of(first), place_of(last or first)
        if start is None or end is None:
            return None
        return cls(min(start[0], end[0]), min(start[1], end[1]), max(start[0], end[0]), max(start[1], end[1]))

    def holds(self, row: int, column: int) -> bool:
        return self.top <= row <= self.bottom and self.left <= column <= self.right

    def meets(self, other: Area) -> bool:
        return not (
            self.right < other.left or other.right < self.left or self.bottom < other.top or other.bottom < self.top
        )

    def __str__(self) -> str:
        first, last = f"{letter(self.left)}{self.top}", f"{letter(self.right)}{self.bottom}"
        return first if first == last else f"{first}:{last}"


def formula_of(cell: Element | None) -> Element | None:
    """The formula element of a cell."""
    return None if cell is None else next((child for child in cell if local(child) == "f"), None)


def blocks(rows: SheetRows) -> list[Area]:
    """Cells that one array formula or data table fills together."""
    found = []
    if b"array" in rows.source or b"dataTable" in rows.source:
        tags = re.compile(rb"<" + re.escape(rows.prefix) + rb"f(?=[\s/>])(" + ATTRIBUTES + rb")>")
        for tag in tags.finditer(rows.source, rows.body_start, rows.body_end):
            ref = REF.search(tag[1])
            if ref is not None and re.search(rb"\st\s*=\s*[\"'](array|dataTable)[\"']", tag[1]):
                area = Area.of(ref[1].decode())
                if area is not None:
                    found.append(area)
    return found


def sharing(rows: SheetRows, number: str) -> Iterator[tuple[int, int, Element]]:
    """Row, column and formula element of every cell that shares a formula; the trees are to look at only."""
    hit = re.compile(rb"\ssi\s*=\s*[\"']" + number.encode() + rb"[\"']")
    found: set[int] = set(rows.edited)
    for match in hit.finditer(rows.source, rows.body_start, rows.body_end):
        found.add(rows.numbers[bisect_right(rows.starts, match.start()) - 1])
    found |= {row for row, content in rows.whole.items() if hit.search(content)}
    for row_number in sorted(found):
        row = rows.peek(row_number)
        for column, cell in row.cells.items() if row is not None else ():
            formula = formula_of(cell)
            if formula is not None and formula.get("t") == "shared" and formula.get("si") == number:
                yield row_number, column, formula


def formula_holder(rows: SheetRows, number: str) -> tuple[int, int, Element] | None:
    """The cell that holds the text of a shared formula; its formula element is to look at only."""
    hit = re.compile(rb"\ssi\s*=\s*[\"']" + number.encode() + rb"[\"']")
    raw = (match.start() for match in hit.finditer(rows.source, rows.body_start, rows.body_end))
    candidates = (
        *rows.edited,
        *(row for row, content in rows.whole.items() if hit.search(content)),
        *(rows.numbers[bisect_right(rows.starts, start) - 1] for start in itertools.islice(raw, 1)),
    )
    for row_number in itertools.chain(candidates, (row for row, _, _ in sharing(rows, number))):
        row = rows.peek(row_number)
        for column, cell in row.cells.items() if row is not None else ():
            formula = formula_of(cell)
            if formula is not None and formula.get("si") == number and formula.get("ref"):
                return row_number, column, formula
    return None


def translated(text: str, origin: tuple[int, int], target: tuple[int, int]) -> str:
    """A formula as it reads in another cell."""
    if origin == target or not text:
        return text
    start, end = (f"{letter(column)}{row}" for row, column in (origin, target))
    return str(Translator(f"={text}", start).translate_formula(end)).removeprefix("=")


def formula_text_of(rows: SheetRows, row: int, column: int, formula: Element) -> str:
    """The text of a cell's formula, also where another cell holds it."""
    if formula.get("t") == "shared" and not (formula.text or ""):
        held = formula_holder(rows, formula.get("si", ""))
        if held is not None:
            return translated(held[2].text or "", held[:2], (row, column))
    return formula.text or ""


def let_go(rows: SheetRows, row: int, column: int) -> None:
    """Before a cell loses its formula: hand on the text of a shared one to the next cell that shares it."""
    formula = formula_of(rows.edit_cell(row, column))
    if formula is None or formula.get("t") != "shared" or not formula.get("ref"):
        return
    number = formula.get("si", "")
    others = [(r, c) for r, c, _ in sharing(rows, number) if (r, c) != (row, column)]
    if not others:
        return
    heir = min(others)
    element = formula_of(rows.edit_cell(*heir))
    assert element is not None
    element.text = translated(formula.text or "", (row, column), heir)
    left, right = min(c for _, c in others), max(c for _, c in others)
    element.set("ref", str(Area(heir[0], left, max(r for r, _ in others), right)))
