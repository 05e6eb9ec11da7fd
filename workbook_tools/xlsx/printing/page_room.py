"""The room that a page's paper leaves, and what cannot be put on it: said before anything is written."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from workbook_tools.xlsx.printing.blocks import (
    Block,
    Cards,
    Facts,
    Figure,
    Page,
    PrintedTable,
    Ticks,
    TickTable,
    Together,
)

PAPERS = {"A4": (595.3, 841.9, 9), "Letter": (612.0, 792.0, 1)}  # width, height [pt], number in the file
ORIENTATIONS = ("portrait", "landscape")
SIDE, TOP, BOTTOM, EDGE = 0.4, 0.5, 0.6, 0.3  # margins, and from the footer to the paper's edge [inch]
SLACK = 0.98  # share of the page that is used: renderings differ by a hair
TICK_BOX = 26.0  # width of a box to tick, where the days leave it [pt]
NARROWEST = 16.0  # a column, with room for one letter [pt]
MOST_ACROSS = 6


@dataclass(frozen=True)
class Sized:
    """A page with the room that its paper leaves. [pt]"""

    page: Page
    width: float
    height: float


def sized(page: Page) -> Sized:
    """A page's room on its paper, margins taken off."""
    across, down, _ = PAPERS[page.paper]
    if page.orientation == "landscape":
        across, down = down, across
    return Sized(page, (across - 144 * SIDE) * SLACK, (down - 72 * (TOP + BOTTOM)) * SLACK)


def single(blocks: Sequence[Block]) -> Iterator[Block]:
    """Blocks one by one, those that are kept together included."""
    for block in blocks:
        if isinstance(block, Together):
            yield from single(block.blocks)
        else:
            yield block


def page_faults(pages: Sequence[Page]) -> Iterator[str]:
    """Every fault of every page, in words."""
    if not pages:
        yield "there is no page to make"
    for page in pages:
        where = f"page {page.title!r}:"
        known = True
        if page.paper not in PAPERS:
            known = False
            yield f"{where} there is no paper {page.paper!r}; there are {', '.join(PAPERS)}"
        if page.orientation not in ORIENTATIONS:
            known = False
            yield f"{where} there is no orientation {page.orientation!r}; there are {', '.join(ORIENTATIONS)}"
        for block in single(page.blocks):
            for fault in _of_block(block, sized(page).width if known else None):
                yield f"{where} {fault}"


def _of_block(block: Block, width: float | None) -> Iterator[str]:
    if isinstance(block, Facts | Ticks | Cards) and not 1 <= block.across <= MOST_ACROSS:
        yield f"{block.across} beside each other are not possible, 1 to {MOST_ACROSS} are"
    if isinstance(block, Facts):
        yield from _of_values([value for _, value in block.pairs])
    elif isinstance(block, PrintedTable | TickTable):
        yield from _of_table(block, width)


def _of_table(block: PrintedTable | TickTable, width: float | None) -> Iterator[str]:
    count = len(block.headings)
    rows = [row.values for row in block.rows] if isinstance(block, TickTable) else list(block.rows)
    if not count:
        yield "a table has no headings"
        return
    if isinstance(block, PrintedTable) and block.groups and sum(number for _, number in block.groups) != count:
        yield f"the groups of a table cover other columns than its {count} headings"
    if block.widths and (len(block.widths) != count or min(block.widths) <= 0):
        yield f"a table has {count} headings and other widths, or widths that are none"
    elif width is not None and _narrowest(block, width) < NARROWEST:
        yield "the columns of a table would be too narrow to write in"
    if isinstance(block, TickTable):
        for number, tick_row in enumerate(block.rows, start=1):
            if any(not 0 <= day < len(block.days) for day in tick_row.days or ()):
                yield f"row {number} of a tick table has days that its headings have not"
    for number, row in enumerate(rows, start=1):
        if len(row) != count:
            yield f"row {number} of a table has {len(row)} values under {count} headings"
        yield from _of_values(row)


def _narrowest(block: PrintedTable | TickTable, width: float) -> float:
    """Width of the narrowest column of a table. [pt]"""
    boxes = TICK_BOX * len(block.days) if isinstance(block, TickTable) else 0.0
    room = max(width - boxes, width / 4)
    weights = list(block.widths) or [1.0] * len(block.headings)
    found = room * min(weights) / sum(weights)
    if isinstance(block, TickTable) and block.days:
        found = min(found, (width - room) / len(block.days))
    return found


def _of_values(values: Sequence[object]) -> Iterator[str]:
    for value in values:
        number = value.value if isinstance(value, Figure) else value
        if isinstance(number, bool) or (isinstance(number, int | float) and not _finite(number)):
            yield f"{number!r} is no number for paper"


def _finite(number: float) -> bool:
    try:
        return math.isfinite(number)
    except OverflowError:  # a whole number past every float
        return False
