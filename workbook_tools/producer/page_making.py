"""What every page of a producer's copy needs at hand, and how blocks are laid onto pages of one sheet of paper each."""

from __future__ import annotations

import datetime
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from workbook_tools.functions.quantities.amounts import JOINT
from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout.compute import Row
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_text
from workbook_tools.layout.shown_values import EPOCH
from workbook_tools.log.gate import Despite
from workbook_tools.producer.selection import SiteRows, day_text
from workbook_tools.producer.units import Units
from workbook_tools.producer.words import Words
from workbook_tools.xlsx.printing.bands import BandPiece as PagePiece
from workbook_tools.xlsx.printing.bands import bands_of, stacked
from workbook_tools.xlsx.printing.blocks import Block, Heading, Page, Paragraph, PrintedTable, TickTable
from workbook_tools.xlsx.printing.page_room import sized
from workbook_tools.xlsx.printing.pages import LEAST_SCALE, one_page_scale

READABLE = 0.9  # letters of 10 pt stay above 8.5 pt
DASH = "-"
NO_DATE = 2_958_466  # the first day number after the last date that a spreadsheet has


@dataclass(frozen=True)
class Making:
    """One copy in the making."""

    site: SiteRows
    words: Words
    units: Units
    made: datetime.datetime
    paper: str = "A4"
    despite: tuple[Despite, ...] = ()  # open faults that the copy was given despite
    faulty: bool = False  # whether a wait may hang on one of them

    @property
    def today(self) -> float:
        """The day it is made, as a day number."""
        return serial(self.made.date())

    def long_day(self, number: float) -> str:
        """A date in words: 12 March 2026. Joined so that it is one word on paper."""
        if not 1 <= number < NO_DATE:
            return day_text(number)
        day = (EPOCH + datetime.timedelta(days=int(number))).date()
        text = self.words("long_date", day=day.day, month=self.words(MONTHS[day.month - 1]), year=day.year)
        return text.replace(" ", JOINT)

    def short_day(self, number: float) -> str:
        """The same for a narrow column: 12 Mar."""
        if not 1 <= number < NO_DATE:
            return day_text(number)
        day = (EPOCH + datetime.timedelta(days=int(number))).date()
        return f"{day.day} {self.words(MONTHS[day.month - 1])[:3]}"

    def group(self, stock: Row) -> str:
        """A group of fish by its id, species and tank."""
        tank = self.tank(stock.get("vessel"))
        parts = [id_text(stock.get("stock")), self.words.listed(stock.get("species"))]
        text = " ".join(part for part in parts if part)
        return f"{text}, {tank}" if tank else text or DASH

    def stock_name(self, name: object) -> str:
        """A group's id where it is one of this site; a dash for any other."""
        return id_text(self.site.stock(name).get("stock")) or DASH

    def tank(self, name: object) -> str:
        """A tank by its name and id; nothing where it is not one of this site."""
        vessel = self.site.vessel(name)
        if not vessel:
            return ""
        said, identifier = id_text(vessel.get("name")), id_text(vessel["vessel"])
        return f"{said} ({identifier})" if said else identifier


MONTHS = (
    *("month_january", "month_february", "month_march", "month_april", "month_may", "month_june", "month_july"),
    *("month_august", "month_september", "month_october", "month_november", "month_december"),
)


def day_or_dash(value: object) -> str:
    return day_text(value) or DASH


def text_or_dash(value: object) -> str:
    return id_text(value) or DASH


def count_text(value: object) -> str:
    """A number of fish; joined to nothing."""
    return f"{value:g}" if is_number(value) else text_or_dash(value)


# ------------------------------------------------------------------------------------------------------- pages


def packed_pages(
    title: str, name: str, groups: Sequence[Sequence[Block]], making: Making, side: str = "portrait"
) -> list[Page]:
    """Groups of blocks on as few pages as stay easy to read, each page one sheet of paper.

    Parameters
    ----------
    title : on top of each page.
    name : of the sheet; a number is put after it from the second on.
    groups : blocks that stay together; a group longer than a page is cut between rows and between blocks.
    making : the copy; its paper is the paper.
    side : "portrait" or "landscape".

    Returns
    -------
    Pages. A single text longer than a page takes as many sheets as it needs.
    """
    empty = Page(title, [], making.paper, side)
    room = sized(empty)
    most = (
        room.height / READABLE
        - sum(band.height for band in bands_of([PagePiece(0, room.width, title, "page_title")]))
        - 4
    )
    pages: list[Page] = []
    held: list[Block] = []
    height = 0.0
    for whole in groups:
        for number, part in enumerate(_parts(list(whole), room.width, most)):
            group = part
            if held and height + _height(group, room.width) > most:
                pages.append(replace(empty, blocks=tuple(held)))
                held, height = [], 0.0
                if number and isinstance(whole[0], Heading):
                    group = [Heading(making.words("continued", heading=whole[0].text)), *part]
            held += group
            height += _height(group, room.width)
    if held:
        pages.append(replace(empty, blocks=tuple(held)))
    named = [replace(page, name=name if number == 1 else f"{name} {number}") for number, page in enumerate(pages, 1)]
    return [page if one_page_scale(page) >= LEAST_SCALE else replace(page, one_page=False) for page in named]


def _height(blocks: Sequence[Block], width: float) -> float:
    return sum(band.height for band in stacked(blocks, width))


def _parts(group: list[Block], width: float, most: float) -> Iterator[list[Block]]:
    """A group in parts that each fit a page, room left for its heading on top of each; the first part has it."""
    if _height(group, width) <= most or not isinstance(group[0], Heading):
        yield from _cut(group, width, most)
        return
    head = Heading(f"{group[0].text} {'m' * 20}")  # as long as a heading that says it goes on
    parts = list(_cut(group[1:], width, most - _height([head], width)))
    yield [group[0], *parts[0]]
    yield from parts[1:]


def _cut(group: list[Block], width: float, most: float) -> Iterator[list[Block]]:
    """Blocks in parts that each fit; what cannot be cut stays whole."""
    if _height(group, width) <= most:
        yield group
        return
    if len(group) == 1:
        halves = _halves(group[0])
        if halves is None:
            yield group
            return
        for half in halves:
            yield from _cut([half], width, most)
        return
    middle = len(group) // 2
    yield from _cut(group[:middle], width, most)
    yield from _cut(group[middle:], width, most)


def _halves(block: Block) -> tuple[Block, Block] | None:
    if isinstance(block, PrintedTable | TickTable) and len(block.rows) > 1:
        middle = len(block.rows) // 2
        return replace(block, rows=block.rows[:middle]), replace(block, rows=block.rows[middle:])  # type: ignore[arg-type]
    if isinstance(block, Paragraph) and len(block.text) > 200:
        middle = block.text.find(" ", len(block.text) // 2)
        if middle > 0:
            return replace(block, text=block.text[:middle]), replace(block, text=block.text[middle + 1 :])
    return None
