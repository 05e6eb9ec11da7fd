"""A copy of a case log for one producer: a workbook made anew from that site's rows, never a stripped copy of the log.

The pages are protected without a password. That keeps the hand from slipping and is no lock: anyone can take it off.
Who may read the copy is a matter of encryption (`locked`), what stands in it one of `audit`.
"""

from __future__ import annotations

import datetime
import io
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import python_calamine
from openpyxl import Workbook

from workbook_tools.errors import DataError
from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout.compute import Computed
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_text
from workbook_tools.log.checking.log_check import CheckedLog
from workbook_tools.log.gate import Despite, passed
from workbook_tools.producer.about_sheet import about_sheet, choices
from workbook_tools.producer.chart_sheet import chart_sheet
from workbook_tools.producer.daily_sheet import daily_sheets
from workbook_tools.producer.finding_pages import finding_pages
from workbook_tools.producer.grid_sheets import Grid
from workbook_tools.producer.next_pages import next_pages
from workbook_tools.producer.page_making import Making
from workbook_tools.producer.release import as_of, release_pages
from workbook_tools.producer.row_marks import UNMARKED, VERSION, Identity, sheet_marks
from workbook_tools.producer.selection import WAITS_HANG_ON, drawn_on, site_rows
from workbook_tools.producer.treatment_pages import due, treatment_pages
from workbook_tools.producer.units import SYSTEMS, Units
from workbook_tools.producer.words import Words
from workbook_tools.xlsx.printing.page_room import PAPERS
from workbook_tools.xlsx.printing.pages import build_pages
from workbook_tools.xlsx.writing.cells import SheetCells, Strings
from workbook_tools.xlsx.writing.styles import Styles

FOOTER_LIMIT = 120


@dataclass(frozen=True)
class ProducerCopy:
    """A copy, ready to be looked through and saved. `remarks` say what of the log is not in it, and why."""

    content: bytes
    site: str
    made: datetime.datetime
    sheets: tuple[str, ...]
    remarks: tuple[str, ...]
    despite: tuple[str, ...] = ()


def producer_copy(
    log: CheckedLog | Computed,
    site: str,
    made: datetime.datetime,
    *,
    since: float | None = None,
    paper: str = "A4",
    language: str = "en",
    units: str = "metric",
    path: object = "log",
    key: str = "",
    overrides: Sequence[Despite] = (),
) -> ProducerCopy:
    """The workbook of one site.

    Parameters
    ----------
    log : a log that was checked, or only computed: see `log.gate.passed`.
    site : the site's id, capitals or not.
    made : when it is made: what runs and what is to come goes by it, and the names of the daily sheet's rows.
    since : day number; earlier visits, water, samples, losses in the charts and finished treatments are left out. A
        release date that still runs is never left out.
    paper : "A4" or "Letter".
    language : of the words, see `words.languages`.
    units : "metric" or "us".
    path : of the log, for what is said of it.
    key : of the log, for the copy's seal; without one it has none.
    overrides : open faults that are known; they are said on the page of the waits.

    Returns
    -------
    The copy; the same input gives the same bytes.

    Raises
    ------
    ReadError : no such site, or names of its rows that stand for another site's too. FaultError : a row that it draws
        on has an open fault. DataError : paper, language or units that do not exist.
    """
    if units not in SYSTEMS:
        raise DataError([f"there are no units {units!r}; there are {', '.join(SYSTEMS)}"])
    if paper not in PAPERS:
        raise DataError([f"there is no paper {paper!r}; there are {', '.join(PAPERS)}"])
    computed = log.computed if isinstance(log, CheckedLog) else log
    site_rows(computed, site, path)  # no such site is said first
    given = passed(log, drawn_on(computed, site), "producer's copy", overrides, path)
    computed = as_of(computed, serial(made.date()))
    rows = site_rows(computed, site, path, since)
    making = Making(rows, Words(language), Units(units), made.replace(second=0, microsecond=0, tzinfo=None), paper)
    return copy_of(computed, replace(making, despite=given, faulty=_waits_hang_on(computed, given)), key)


def _waits_hang_on(computed: Computed, given: Sequence[Despite]) -> bool:
    """Whether a wait may be wrong by a fault that was let pass."""
    sheets = {computed.layout.tables[table].sheet for table in WAITS_HANG_ON}
    return any(sheets.intersection(one.sheets) for one in given)


def copy_of(computed: Computed, making: Making, key: str = "") -> ProducerCopy:
    """The workbook of rows that have passed the gate."""
    rows, language, units = making.site, making.words.language, making.units.system
    identity = Identity(VERSION, computed.layout.version, rows.name, making.made, language, units).sealed(key)
    pages = [*finding_pages(making), *treatment_pages(making), *release_pages(making), *next_pages(making)]
    title = making.words("copy_title", site=rows.name)
    content = build_pages(title, pages, _More(making, identity, computed))
    names = python_calamine.load_workbook(io.BytesIO(content)).sheet_names
    remarks = (*rows.remarks, *_unsettled(making), *_to_come(making))
    return ProducerCopy(
        content, rows.name, making.made, tuple(names), remarks, tuple(str(one) for one in making.despite)
    )


def _unsettled(making: Making) -> list[str]:
    """Treatments to be given whose row the log's own rules find something wrong with."""
    return [
        f"Treatment {id_text(row['treatment'])} is to be given, and its Check column says: {row['check']}"
        for row in due(making)
        if row["check"] not in (None, "ok")
    ]


def _to_come(making: Making) -> list[str]:
    """Daily rows of days that have not come yet."""
    return [
        f"Losses row {id_text(row['day'])} is of a day that has not come yet: its temperature was not counted."
        for row in making.site.rows["losses"]
        if is_number(row["date"]) and row["date"] >= making.today + 1
    ]


@dataclass(frozen=True)
class _More:
    """Adds to the pages: daily sheets, charts, the page about the copy, footers, protection, properties."""

    making: Making
    identity: Identity
    computed: Computed

    def __call__(
        self, frame: Workbook, styles: Styles, strings: Strings, pages: Mapping[str, SheetCells]
    ) -> dict[str, SheetCells]:
        making = self.making
        grids: list[Grid] = []

        def new_grid(name: str, widths: Sequence[float], orientation: str) -> Grid:
            grids.append(Grid(frame, styles, strings, name, widths, making.paper, orientation))
            return grids[-1]

        causes = [row["value"] for row in self.computed.data["causes"]]
        losses = self.computed.layout.tables["losses"]
        daily = list(daily_sheets(making, losses, new_grid, choices(making, causes)))
        chart = chart_sheet(making, new_grid)
        marked = {**pages, **({chart.sheet.title: chart.cells} if chart else {})}
        marks = {name: sheet_marks(cells.values(strings)) for name, cells in marked.items()}
        marks |= {grid.sheet.title: UNMARKED for grid in daily}
        about_sheet(making, self.identity, causes, marks, new_grid)
        self._finish(frame)
        return {grid.sheet.title: grid.cells for grid in grids}

    def _finish(self, frame: Workbook) -> None:
        words = self.making.words
        footer = self.identity.footer[:FOOTER_LIMIT].replace("&", "&&")
        for sheet in frame.worksheets:
            sheet.protection.sheet = True
            sheet.oddFooter.left.text = "&A"
            sheet.oddFooter.center.text = " ".join(footer.split())
            sheet.oddFooter.right.text = words("page_of", page="&P", pages="&N")
        self.identity.put_into(frame)
