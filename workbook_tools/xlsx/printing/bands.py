"""Blocks of a page turned into bands: rows of a sheet with their cells, places and heights, so that no text is cut.

Heights follow from the width of the text (`text_width`) in the room that a column has in the narrower of two
renderings: a column of one width unit is 5.25 pt wide where seven pixels of 96 an inch stand for a character, and
5.55 pt in LibreOffice; the page is laid out for the wider one and text is broken for the narrower one.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import singledispatch

from workbook_tools.xlsx.printing.blocks import (
    Block,
    Cards,
    Caution,
    Drawing,
    Facts,
    Figure,
    Heading,
    Lines,
    PageBreak,
    Paragraph,
    PrintedTable,
    Ticks,
    TickTable,
    Together,
    Value,
    text_of,
)
from workbook_tools.xlsx.printing.page_room import TICK_BOX
from workbook_tools.xlsx.writing.picture import Picture
from workbook_tools.xlsx.writing.styles import ROLES
from workbook_tools.xlsx.writing.text_width import INSET, NARROW, WIDE, lines, text_width

SNAP = 4.0  # edges nearer than this become one [pt]
INDENT = 10.0  # one step of indent [pt]
LEADING, LEAD = 1.16, 2.0  # line height: so many times the font size, and so many points for whole pixels
PADDING = 3.0  # above and below the lines of a cell [pt]
TALLEST = 400.0  # a row can be 409.5 pt high
GAP = 7.0  # between blocks [pt]


@dataclass(frozen=True)
class BandPiece:
    """A cell of a band, from its left to its right edge on the page [pt]."""

    left: float
    right: float
    value: Value
    role: str

    @property
    def is_number(self) -> bool:
        return isinstance(self.value, int | float | Figure)


@dataclass(frozen=True)
class Band:
    """One row of the sheet. `keep` holds it on the page of the next one; `repeat` stands again on top of a new page."""

    height: float
    pieces: tuple[BandPiece, ...] = ()
    keep: bool = False
    repeat: tuple[Band, ...] = ()
    new_page: bool = False
    picture: Picture | None = None
    share: float = 1
    blank: bool = False  # a gap: not wanted on top of a page


def room(piece: BandPiece) -> float:
    """Width that text has in a cell, in the narrower rendering. [pt]"""
    alignment = ROLES[piece.role].get("alignment")
    indent = INDENT * (alignment.indent if alignment else 0)
    return max((piece.right - piece.left - SNAP) * NARROW / WIDE - INSET - indent, 1)


def broken(piece: BandPiece) -> list[str]:
    """Lines that a cell's text takes."""
    font = ROLES[piece.role]["font"]
    return lines(text_of(piece.value), font.sz, room(piece), bool(font.b))


def drawing_width(width: float, share: float) -> float:
    """Width of a drawing: short of the last column in both renderings, or it would ask for a page more. [pt]"""
    return 0.99 * width * share * NARROW / WIDE


def line_height(role: str) -> float:
    return float(ROLES[role]["font"].sz) * LEADING + LEAD


def bands_of(pieces: Sequence[BandPiece], least: float = 0, keep: bool = False) -> list[Band]:
    """A row of cells as one band, or as several where its text is higher than a row can be."""
    heights = {}
    for piece in pieces:
        count = 1 if piece.is_number else len(broken(piece))
        heights[piece] = count * line_height(piece.role) + PADDING
    height = max([least, *heights.values()])
    if height <= TALLEST:
        return [Band(height, tuple(pieces), keep)]
    parts = [_in_parts(piece) for piece in pieces]
    found: list[Band] = []
    for row in itertools.zip_longest(*parts):
        cells = [part or replace(piece, value=None) for piece, part in zip(pieces, row, strict=True)]
        found += bands_of(cells, least, keep)
    return found


def _in_parts(piece: BandPiece) -> list[BandPiece]:
    """A cell's text in pieces, each low enough for a row."""
    if piece.is_number:
        return [piece]
    most = int((TALLEST - PADDING) // line_height(piece.role))
    text = broken(piece)
    return [replace(piece, value=" ".join(text[start : start + most])) for start in range(0, len(text), most)]


def edges(width: float, shares: Sequence[float], count: int) -> list[float]:
    """Edges of so many columns over a width, by shares."""
    weights = list(shares) or [1.0] * count
    total = sum(weights)
    return [width * part / total for part in itertools.accumulate(weights, initial=0.0)]


def gap(height: float = GAP) -> Band:
    return Band(height, blank=True)


@singledispatch
def bands(block: Block, width: float) -> list[Band]:
    """The bands of a block on a page of a width [pt]."""
    raise TypeError(f"{type(block).__name__} is no block of a page")


@bands.register
def _(block: Heading, width: float) -> list[Band]:
    return [gap(), *bands_of([BandPiece(0, width, block.text, "page_heading")], keep=True), replace(gap(3), keep=True)]


@bands.register
def _(block: Paragraph, width: float) -> list[Band]:
    return bands_of([BandPiece(0, width, block.text, f"page_{block.look}")])


@bands.register
def _(block: Caution, width: float) -> list[Band]:
    return [gap(4), *bands_of([BandPiece(0, width, block.text, "page_caution")])]


@bands.register
def _(block: Facts, width: float) -> list[Band]:
    across = block.across
    label = min(
        max([text_width(name, 10) for name, _ in block.pairs], default=0) * WIDE / NARROW + INSET + SNAP + 4,
        0.45 * width / across,
    )
    found = []
    for start in range(0, len(block.pairs), across):
        pieces = []
        for number, (name, value) in enumerate(block.pairs[start : start + across]):
            left = number * width / across
            shown = str(text_of(value))  # beside a label a number stands to the left, as text does
            low = "_low" if block.line else ""
            pieces.append(BandPiece(left, left + label, name, f"page_label{low}"))
            role = "page_fill" if block.line and not shown else f"page_value{low}"
            end = left + width / across - (8 if number < across - 1 else 0)
            pieces.append(BandPiece(left + label, end, shown, role))
        found += bands_of(pieces, least=24 if block.line else 0)
    return found


def _headings(block: PrintedTable | TickTable, places: Sequence[float], names: Sequence[str]) -> list[Band]:
    found = []
    groups = block.groups if isinstance(block, PrintedTable) else ()
    if groups:
        pieces, start = [], 0
        for text, count in groups:
            pieces.append(BandPiece(places[start], places[start + count], text, "page_group"))
            start += count
        found += bands_of(pieces, keep=True)
    cells = [BandPiece(places[n], places[n + 1], name, "page_head") for n, name in enumerate(names)]
    return [*found, *bands_of(cells, keep=True)]


def _body(head: Sequence[Band], rows: Sequence[list[Band]]) -> list[Band]:
    """Rows under headings that stand again on each page."""
    return [*head, *(replace(band, repeat=tuple(head)) for row in rows for band in row)]


@bands.register
def _(block: PrintedTable, width: float) -> list[Band]:
    places = edges(width, block.widths, len(block.headings))
    head = _headings(block, places, block.headings)
    rows = []
    for row in block.rows:
        pieces = []
        for number, value in enumerate(row):
            right = number in block.numeric or isinstance(value, int | float | Figure)
            pieces.append(BandPiece(places[number], places[number + 1], value, "page_figure" if right else "page_cell"))
        rows.append(bands_of(pieces, block.least))
    return _body(head, rows)


@bands.register
def _(block: TickTable, width: float) -> list[Band]:
    box = TICK_BOX
    left = width - box * len(block.days)
    if left < width / 4:
        left, box = width / 4, 0.75 * width / len(block.days)
    places = [*edges(left, block.widths, len(block.headings))]
    places += [left + box * number for number in range(1, len(block.days) + 1)]
    head = _headings(block, places, [*block.headings, *block.days])
    rows = []
    for row in block.rows:
        wanted = set(range(len(block.days)) if row.days is None else row.days)
        pieces = [BandPiece(places[n], places[n + 1], value, "page_cell") for n, value in enumerate(row.values)]
        for day in range(len(block.days)):
            start = len(block.headings) + day
            value, role = (None, "page_box") if day in wanted else ("–", "page_crossed")
            pieces.append(BandPiece(places[start], places[start + 1], value, role))
        rows.append(bands_of(pieces, block.least))
    return _body(head, rows)


@bands.register
def _(block: Ticks, width: float) -> list[Band]:
    found = []
    for start in range(0, len(block.texts), block.across):
        pieces = []
        for number, text in enumerate(block.texts[start : start + block.across]):
            left = number * width / block.across
            pieces.append(BandPiece(left, left + 22, "[   ]", "page_tick"))
            end = left + width / block.across - (10 if number < block.across - 1 else 0)
            pieces.append(BandPiece(left + 22, end, text, "page_text"))
        found += bands_of(pieces)
    return found


@bands.register
def _(block: Lines, width: float) -> list[Band]:
    label = text_width(block.label, 10) * WIDE / NARROW + INSET + SNAP + 4 if block.label else 0
    label = min(label, width / 2)
    first = [BandPiece(0, label, block.label, "page_label_low")] if block.label else []
    found = bands_of([*first, BandPiece(label, width, None, "page_line")], block.least)
    for _ in range(block.count - 1):
        found += bands_of([BandPiece(0, width, None, "page_line")], block.least)
    return found


@bands.register
def _(block: Cards, width: float) -> list[Band]:
    places = edges(width, (), block.across)
    most = max((len(card.lines) for card in block.cards), default=0)
    found = []
    for start in range(0, len(block.cards), block.across):
        rank = block.cards[start : start + block.across]
        for number in range(most):
            edge = "only" if most == 1 else "first" if number == 0 else "last" if number == most - 1 else "middle"
            pieces = []
            for place, card in enumerate(rank):
                text, look = card.lines[number] if number < len(card.lines) else ("", "small")
                pieces.append(BandPiece(places[place], places[place + 1], text, f"card_{look}_{edge}"))
            row = bands_of(pieces)
            found += [replace(band, keep=number < most - 1) for band in row]
    return found


@bands.register
def _(block: Drawing, width: float) -> list[Band]:
    across = drawing_width(width, block.share)
    whole = across * block.picture.height / block.picture.width + PADDING
    rows = max(1, int(-(-whole // TALLEST)))
    first = Band(whole / rows, (), rows > 1, picture=block.picture, share=block.share)
    return [gap(4), first, *(Band(whole / rows, keep=number < rows - 1) for number in range(1, rows))]


@bands.register
def _(block: PageBreak, width: float) -> list[Band]:
    return [Band(0, new_page=True)]


@bands.register
def _(block: Together, width: float) -> list[Band]:
    found = list(stacked(block.blocks, width))
    last = max((number for number, band in enumerate(found) if not band.blank), default=0)
    return [replace(band, keep=number < last) for number, band in enumerate(found)]


def stacked(blocks: Sequence[Block], width: float) -> Iterator[Band]:
    """All bands of a page's blocks, with a gap after each block but headings."""
    for block in blocks:
        yield from bands(block, width)
        if not isinstance(block, Heading | PageBreak | Together):
            yield gap()
