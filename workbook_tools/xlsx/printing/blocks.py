"""What a printed page consists of, as plain data: every word comes from the caller."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from workbook_tools.functions.quantities.amounts import JOINT, amount, decimals, short
from workbook_tools.xlsx.writing.picture import Picture


@dataclass(frozen=True)
class Figure:
    """A number that a cell holds as a number and shows with so many places; None for as many as `amounts` says."""

    value: float
    places: int | None = None
    unit: str = ""

    @property
    def shown(self) -> int:
        return decimals(self.value) if self.places is None else self.places

    @property
    def text(self) -> str:
        """What stands on paper."""
        number = f"{self.value:.{self.shown}f}"
        return f"{number}{JOINT}{self.unit}" if self.unit else number

    @property
    def format(self) -> str:
        number = "0." + "0" * self.shown if self.shown else "0"
        return f'{number}"{JOINT}{self.unit}"' if self.unit else number


Value = str | int | float | Figure | None


def figure(value: float | None, unit: str = "") -> Figure | None:
    """An amount as a figure; a blank stays a blank."""
    return None if value is None else Figure(value, None, unit)


def counted(value: float | None) -> Figure | None:
    """A number as a figure without zeros after its point."""
    if value is None:
        return None
    return Figure(value, len(short(value).partition(".")[2]))


def text_of(value: Value) -> str:
    """What a value shows on paper; a blank shows nothing."""
    if value is None:
        return ""
    if isinstance(value, Figure):
        return value.text
    return value if isinstance(value, str) else amount(value)


@dataclass(frozen=True)
class Heading:
    """A heading; it stays with what follows it."""

    text: str


@dataclass(frozen=True)
class Paragraph:
    """Running text. `look` is "text", "strong", "small" or "large"."""

    text: str
    look: str = "text"


@dataclass(frozen=True)
class Caution:
    """A warning, set apart by a thick rule at its side."""

    text: str


@dataclass(frozen=True)
class Facts:
    """Labels with their values, so many pairs beside each other; `line` rules a line under values to be filled in."""

    pairs: Sequence[tuple[str, Value]]
    across: int = 2
    line: bool = False


@dataclass(frozen=True)
class PrintedTable:
    """Rows under headings.

    `widths` are shares, equal where left out; `numeric` positions stand to the right; `groups` is a second row of
    headings above the first, each over so many columns; `least` is the least height of a row [pt], for handwriting.
    """

    headings: Sequence[str]
    rows: Sequence[Sequence[Value]]
    widths: Sequence[float] = ()
    numeric: Sequence[int] = ()
    groups: Sequence[tuple[str, int]] = ()
    least: float = 0


@dataclass(frozen=True)
class TickRow:
    """A row of a tick table: its values, and the positions of the days that have a box; None for every day."""

    values: Sequence[Value]
    days: Sequence[int] | None = None


@dataclass(frozen=True)
class TickTable:
    """Rows with a box to tick for each day; a day without one is crossed out. `widths` are those of the headings."""

    headings: Sequence[str]
    days: Sequence[str]
    rows: Sequence[TickRow]
    widths: Sequence[float] = ()
    least: float = 20


@dataclass(frozen=True)
class Ticks:
    """Things to tick off, so many beside each other."""

    texts: Sequence[str]
    across: int = 1


@dataclass(frozen=True)
class Lines:
    """Lines to write on, after a label where there is one."""

    count: int
    label: str = ""
    least: float = 24


@dataclass(frozen=True)
class CutCard:
    """A card to cut out: lines of text, each with a look: "title", "strong", "mass", "text" or "small"."""

    lines: Sequence[tuple[str, str]]


@dataclass(frozen=True)
class Cards:
    """Cards in a grid with lines to cut along; all have as many lines as the longest."""

    cards: Sequence[CutCard]
    across: int = 3


@dataclass(frozen=True)
class Drawing:
    """A drawing over a share of the page's width."""

    picture: Picture
    share: float = 1


@dataclass(frozen=True)
class PageBreak:
    """What follows starts on a new page; not on a page that is said to be one page."""


@dataclass(frozen=True)
class Together:
    """Blocks that stay on one page where a page is long enough for them."""

    blocks: Sequence[Block]


Block = (
    Heading
    | Paragraph
    | Caution
    | Facts
    | PrintedTable
    | TickTable
    | Ticks
    | Lines
    | Cards
    | Drawing
    | PageBreak
    | Together
)


@dataclass(frozen=True)
class Page:
    """One sheet of a workbook of pages.

    `paper` is "A4" or "Letter", `orientation` "portrait" or "landscape". With `one_page` all of it prints on one page,
    made smaller where it must be, and is refused where it would become too small to read; without, it takes as many
    pages as it needs, and headings of tables are repeated. `name` is the name of the sheet, the title where left out.
    """

    title: str
    blocks: Sequence[Block]
    paper: str = "A4"
    orientation: str = "portrait"
    one_page: bool = True
    name: str = ""
