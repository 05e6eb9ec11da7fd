"""How the cells of a workbook look, as values that can be compared between files."""

from __future__ import annotations

from collections.abc import Iterator

from openpyxl.styles.numbers import BUILTIN_FORMATS

from workbook_tools.xlsx.editing.book import Book
from workbook_tools.xlsx.editing.cell_formulas import Area
from workbook_tools.xlsx.editing.parts import Element, local
from workbook_tools.xlsx.editing.sheet_rows import SheetRows

BLACK, SIDES = "000000", ("left", "right", "top", "bottom")
Look = tuple[object, ...]


class Looks:
    """The looks that a workbook's cell styles give: number format, font, fill and borders."""

    def __init__(self, book: Book) -> None:
        root = book.package.tree(book.package.related(book.package.workbook, "styles"))
        self.formats = {e.get("numFmtId"): e.get("formatCode") for e in root.iter("{*}numFmt")}
        self.groups = {local(group): [e for e in group if isinstance(e.tag, str)] for group in root}
        self._known: dict[int, Look] = {}

    def look(self, style: int) -> Look:
        """The look of a style number."""
        if style not in self._known:
            self._known[style] = self._of(self.groups["cellXfs"][style])
        return self._known[style]

    def _of(self, style: Element) -> Look:
        number = style.get("numFmtId", "0")
        font = self.groups["fonts"][int(style.get("fontId", "0"))]
        fill = self.groups["fills"][int(style.get("fillId", "0"))]
        border = self.groups["borders"][int(style.get("borderId", "0"))]
        return (
            _plain_format(self.formats.get(number) or BUILTIN_FORMATS.get(int(number), number)),
            *_font(font),
            _fill(fill),
            tuple(_side(border, side) for side in SIDES),
        )


def _plain_format(text: str) -> str:
    """A number format without the marks that a program may leave out."""
    return text.casefold().replace("\\", "").replace('"', "")


def styles_of(rows: SheetRows) -> Iterator[tuple[int, int, int]]:
    """Row, column and style number of every cell of a sheet that can be seen: of merged cells, the first."""
    merged = [Area.of(entry.get("ref", "")) for entry in rows.frame().iter("{*}mergeCell")]
    areas = [area for area in merged if area is not None]
    for number in rows.row_numbers(1, rows.last_row):
        row = rows.peek(number)
        for column, cell in row.cells.items() if row is not None else ():
            first = (number, column)
            if all(not area.holds(*first) or first == (area.top, area.left) for area in areas):
                yield number, column, int(cell.get("s", "0"))


def _child(element: Element, name: str) -> Element | None:
    return next((child for child in element if local(child) == name), None)


def _on(font: Element, name: str) -> bool:
    mark = _child(font, name)
    return mark is not None and mark.get("val", "1") not in ("0", "false", "none")


def _font(font: Element) -> Look:
    size = _child(font, "sz")
    colour = _colour(_child(font, "color")) or BLACK
    return (
        float(size.get("val", "11")) if size is not None else 11.0,
        colour,
        *(_on(font, n) for n in ("b", "i", "u")),
    )


def _fill(fill: Element) -> str:
    pattern = _child(fill, "patternFill")
    if pattern is None:
        return local(fill[0]) if len(fill) else ""
    kind = pattern.get("patternType", "none")
    return "" if kind == "none" else f"{kind} {_colour(_child(pattern, 'fgColor'))}"


def _side(border: Element, side: str) -> str:
    line = _child(border, side)
    return line.get("style", "") if line is not None else ""


def _colour(colour: Element | None) -> str:
    """A colour without its transparency; the theme's first text colour is black."""
    if colour is None or colour.get("auto") == "1" or colour.get("indexed") == "64":
        return ""
    if colour.get("rgb") is not None:
        return str(colour.get("rgb"))[-6:].upper()
    if colour.get("theme") is not None:
        shade = "" if float(colour.get("tint", "0")) == 0 else f" {float(colour.get('tint')):.3f}"
        return BLACK if colour.get("theme") == "1" and not shade else f"theme {colour.get('theme')}{shade}"
    return f"indexed {colour.get('indexed')}"
