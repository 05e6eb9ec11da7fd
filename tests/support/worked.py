"""Numbers worked by hand: the files of `tests/worked`, each a workbook's typed cells and what they must come to.

A file holds one case log (`typed` rows of the whole file and of its cases go into the same log), or with `layout =
"bench"` one bench workbook for each case. A case says for each cell that it proves: where it is, its value, the working
and the source. Nothing here computes.
"""

from __future__ import annotations

import datetime
import tomllib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout import Column, Layout, Table, load

FOLDER = Path(__file__).resolve().parent.parent / "worked"
RELATIVE = 1e-6  # unless a case says `within`: for values printed with few digits
Rows = dict[str, list[dict[str, Any]]]


@dataclass(frozen=True)
class Shown:
    """One cell and what it must show; `value` is "" for a blank, dates and times are day numbers.

    `at` is "table.row.column" (on a form "form.field"). A cell that belongs to no column is "Sheet!row!heading", by the
    text at the left end of its row and the heading above it, "Sheet!label!" for what stands right of a label, or
    "Sheet!A1".
    """

    title: str
    at: str
    value: float | str
    working: str
    source: str
    within: float | None = None

    def __str__(self) -> str:
        return f"{self.title}: {self.at} is {self.value!r}: {self.working} ({self.source})"

    @property
    def table(self) -> str:
        return self.at.split(".")[0]

    @property
    def column(self) -> str:
        return self.at.rsplit(".", maxsplit=1)[-1]

    @property
    def row(self) -> str:
        return self.at.removeprefix(f"{self.table}.").removesuffix(f".{self.column}")

    @property
    def on_a_sheet(self) -> bool:
        return "!" in self.at

    @property
    def sheet(self) -> str:
        return self.at.split("!")[0]

    def agrees(self, found: object) -> bool:
        if isinstance(self.value, str):
            return ("" if found is None else found) == self.value
        if isinstance(found, bool) or not isinstance(found, int | float):
            return False
        within = RELATIVE * abs(self.value) if self.within is None else self.within
        return abs(found - self.value) <= within + 1e-12


@dataclass
class Book:
    """One workbook: what is typed in it, by table or form, and what it must show."""

    name: str
    layout: Layout
    typed: Rows = field(default_factory=dict)
    shown: list[Shown] = field(default_factory=list)

    def __str__(self) -> str:
        return self.name


@cache
def books() -> tuple[Book, ...]:
    """Every workbook of every file."""
    return tuple(book for path in sorted(FOLDER.glob("*.toml")) for book in _books(path))


def source_of(path: Path) -> dict[str, Any]:
    with path.open("rb") as file:
        return tomllib.load(file)


def _books(path: Path) -> Iterator[Book]:
    source = source_of(path)
    if "pages" in source:
        return
    layout = load(source.get("layout", "case-log"))
    book = Book(path.stem, layout)
    add_rows(book.typed, source.get("typed", {}), layout)
    for number, case in enumerate(source["case"], start=1):
        if layout.forms:
            book = Book(f"{path.stem} {number}", layout)
        add_rows(book.typed, case.get("typed", {}), layout)
        book.shown += [_shown(entry, case) for entry in case["shows"]]
        if layout.forms:
            yield book
    if not layout.forms:
        yield book


def _shown(entry: dict[str, Any], case: dict[str, Any]) -> Shown:
    source = entry.get("source", case.get("source", ""))
    if not entry["working"] or not source:
        raise ValueError(f"{case['title']}: {entry['at']} has no working or no source")
    unknown = entry.keys() - {"at", "value", "working", "source", "within"}
    if unknown:
        raise ValueError(f"{case['title']}: {entry['at']} has {', '.join(sorted(unknown))}")
    return Shown(case["title"], entry["at"], plain(entry["value"]), entry["working"], source, entry.get("within"))


def add_rows(data: Rows, typed: dict[str, Any], layout: Layout) -> None:
    """Put typed rows below those there; raises ValueError for a key that is none of a typed column, or a doubled id."""
    for key, rows in typed.items():
        table = layout.tables[key]
        held = data.setdefault(key, [])
        for row in [rows] if isinstance(rows, dict) else rows:
            for name in row:
                if name not in table.by_key or not table.by_key[name].typed:
                    raise ValueError(f"{key}.{name} is no column to type in")
            new = {name: _typed(table.by_key[name], value) for name, value in row.items()}
            name = table.key_column.key
            if table.id_column and new[name] in [other[name] for other in held]:
                raise ValueError(f"{key} has two rows {new[name]}")
            held.append(new)


def _typed(column: Column, value: Any) -> Any:
    """What a spreadsheet stores; "3:20" in a column of times is a stopwatch's reading, which it takes for hours."""
    if column.kind == "time" and isinstance(value, str):
        hours, minutes = value.split(":")
        return (int(hours) + int(minutes) / 60) / 24
    return plain(value)


def plain(value: Any) -> Any:
    """Dates and times as a spreadsheet stores them, in days."""
    return serial(value) if isinstance(value, datetime.date | datetime.time) else value


def wanted(layout: Layout) -> set[tuple[str, str]]:
    """Every computed cell of a layout that a person sees, by table and column."""
    kinds = ("computed", "measure", "check", "key")
    return {
        (table.key, column.key)
        for table in layout.tables.values()
        for column in table.columns
        if column.kind in kinds and not column.hidden
    }


def address_of(cells: Mapping[str, Any], at: str) -> str:
    """Address of a cell that belongs to no column; raises ValueError where a label is not on its sheet once.

    `cells` are the cells of its sheet by address, whichever program has read them.
    """
    _, row, *heading = at.split("!")
    if not heading:
        return row
    column, line = _labelled(cells, row)
    if heading[0]:
        return f"{_labelled(cells, heading[0])[0]}{line}"
    right = (f"{chr(place)}{line}" for place in range(ord(column) + 1, ord("Z")))
    return next(place for place in right if cells.get(place) not in (None, ""))


def _labelled(cells: Mapping[str, Any], text: str) -> tuple[str, int]:
    """Column and row of the one cell that holds a text."""
    (address,) = (place for place, value in cells.items() if value == text)
    column = address.rstrip("0123456789")
    return column, int(address.removeprefix(column))


def row_number(table: Table, name: str, rows: list[dict[str, Any]]) -> int:
    """Place of a row among those of its table; raises ValueError where no row has the name."""
    key = "key" if table.key_source else table.key_column.key
    return [str(row[key]) for row in rows].index(name)


@dataclass(frozen=True)
class Said:
    """What must be on a sheet of pages: a cell with a text, or with a part of it; cells beside each other; or nothing
    with that text."""

    on: str  # how the names of its sheets begin
    how: str  # "text", "part", "row" or "absent"
    what: Any
    working: str
    source: str

    def __str__(self) -> str:
        return f"{self.on}, {self.how}: {self.what!r}: {self.working} ({self.source})"

    def holds(self, rows: list[list[Any]]) -> bool:
        """Whether it is so, of the filled cells of each row."""
        texts = [str(value) for row in rows for value in row]
        if self.how == "row":
            return any(self._stands_in(row) for row in rows)
        if self.how == "text":
            return self.what in texts
        return any(self.what in text for text in texts) == (self.how == "part")

    def _stands_in(self, row: list[Any]) -> bool:
        width = len(self.what)
        return any(all(map(_alike, row[at : at + width], self.what)) for at in range(len(row) - width + 1))


def _alike(found: Any, value: Any) -> bool:
    return Shown("", "", value, "", "").agrees(found)


@dataclass(frozen=True)
class PagesCase:
    """Pages of one kind ("copy" or "plan"), made on a day from the rows typed, and what they must say."""

    name: str
    kind: str
    title: str
    typed: Rows
    made: datetime.date
    units: str
    says: tuple[Said, ...]


@cache
def pages_cases() -> tuple[PagesCase, ...]:
    """Every case of the files whose cases are pages."""
    found = []
    for path in sorted(FOLDER.glob("*.toml")):
        source = source_of(path)
        for number, case in enumerate(source["case"] if "pages" in source else (), start=1):
            typed: Rows = {}
            for rows in (source["typed"], case.get("typed", {})):
                add_rows(typed, rows, load("case-log"))
            says = tuple(_said(entry, case) for entry in case["says"])
            name, units = f"{path.stem} {number}", case.get("units", "metric")
            found.append(PagesCase(name, source["pages"], case["title"], typed, case["made"], units, says))
    return tuple(found)


def _said(entry: dict[str, Any], case: dict[str, Any]) -> Said:
    (how,) = entry.keys() - {"on", "working", "source"}
    if how not in ("text", "part", "row", "absent") or not entry["working"]:
        raise ValueError(f"{case['title']}: {entry}")
    return Said(entry["on"], how, entry[how], entry["working"], entry.get("source", case["source"]))
