"""The sheets that a producer fills day by day and sends back: plain cells with rules, a name of its own for each row.

A row's name begins with the site's id and the moment at which the copy was made, so that neither the log nor another
copy has it. The headings are words of the producer's language for the log's columns; in US units those of feed and
temperature name pounds and Fahrenheit.
"""

from __future__ import annotations

import datetime
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass

from openpyxl.worksheet.datavalidation import DataValidation

from workbook_tools.functions.formulas import unit
from workbook_tools.functions.quantities import Quantity
from workbook_tools.layout import Table
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_text
from workbook_tools.layout.model import FIRST_DAY, LAST_DAY, quoted
from workbook_tools.producer.grid_sheets import Grid
from workbook_tools.producer.page_making import Making
from workbook_tools.xlsx.addresses import letter

KEYS = ("day", "date", "stock", "dead", "cause", "feed", "temperature", "oxygen", "notes")
WIDTHS = (21, 13, 12, 9, 16, 12, 12, 12, 38)
NUMBERS = ("dead", "feed", "temperature", "oxygen")
US_UNITS = {"feed": ("kilogram", "pound"), "temperature": ("degC", "degF")}  # the log's unit, and that of the US
ROWS_A_SHEET = 22
DAYS = 28
MOST_SHEETS = 4
HEADING_ROW = 4
ROW_HEIGHT = 17.5
DANGEROUS = ("=", "+", "-", "@", "\t", "\r", "'")
TITLE_LIMIT, PROMPT_LIMIT, ERROR_LIMIT = 32, 255, 224

NewGrid = Callable[[str, Sequence[float], str], Grid]  # name, widths of columns, orientation


@dataclass(frozen=True)
class Choices:
    """Where the groups and the causes to choose from stand: a sheet's name and the cells."""

    groups: str
    causes: str


def row_names(site: str, made: datetime.datetime, count: int) -> list[str]:
    """Names of the rows of one copy: site, year, month, day, hour and minute, then a number."""
    return [f"{site}-{made:%y%m%d%H%M}-{number:03d}" for number in range(1, count + 1)]


def kept_groups(making: Making) -> list[str]:
    """Groups that have not been harvested."""
    rows = making.site.rows["stocks"]
    gone = [is_number(row["harvested"]) and row["harvested"] <= making.today for row in rows]
    return [
        id_text(row["stock"]) for row, over in zip(rows, gone, strict=True) if row["stock"] is not None and not over
    ]


def prefilled(making: Making) -> list[tuple[float | None, str | None]]:
    """Day and group of each row: as many days as fit for every group, then blank rows to the end of the sheet."""
    groups = kept_groups(making)
    days = min(DAYS, MOST_SHEETS * ROWS_A_SHEET // len(groups)) if groups else 0
    rows: list[tuple[float | None, str | None]] = [
        (making.today + number, group) for number in range(1, days + 1) for group in groups
    ]
    sheets = max(1, -(-len(rows) // ROWS_A_SHEET))
    return rows + [(None, None)] * (sheets * ROWS_A_SHEET - len(rows))


def heading_key(key: str, us: bool) -> str:
    """Key of a heading in the table of words."""
    return f"losses_{key}_us" if us and key in US_UNITS else f"losses_{key}"


def daily_sheets(making: Making, losses: Table, new_grid: NewGrid, choices: Choices) -> Iterator[Grid]:
    """The daily sheets, each on one page."""
    rows = prefilled(making)
    names = row_names(making.site.name, making.made, len(rows))
    for start in range(0, len(rows), ROWS_A_SHEET):
        number = start // ROWS_A_SHEET + 1
        name = making.words("daily_sheet") if number == 1 else f"{making.words('daily_sheet')} {number}"
        grid = new_grid(name, WIDTHS, "landscape")
        _heads(grid, making)
        for position, (day, group) in enumerate(rows[start : start + ROWS_A_SHEET]):
            _row(grid, HEADING_ROW + 1 + position, names[start + position], day, group)
        _rules(grid, making, losses, choices)
        grid.sheet.freeze_panes = f"B{HEADING_ROW + 1}"
        yield grid


def _heads(grid: Grid, making: Making) -> None:
    words, site = making.words, making.site
    title = words("daily_title", site=f"{site.name} {id_text(site.site['name'])}".strip())
    grid.across(1, title, "page_title")
    grid.across(2, words("daily_intro"), "page_text")
    grid.height(3, 5)
    for column, key in enumerate(KEYS, start=1):
        grid.put(HEADING_ROW, column, words(heading_key(key, making.units.us)), "page_head")
    grid.height(HEADING_ROW, 30)


def _row(grid: Grid, row: int, name: str, day: float | None, group: str | None) -> None:
    grid.height(row, ROW_HEIGHT)
    for column, key in enumerate(KEYS, start=1):
        if key == "day":
            grid.put(row, column, name, "page_cell")
        elif key == "date":
            grid.put(row, column, day, "page_input", "yyyy-mm-dd")
        elif key == "stock":
            risky = group is not None and group.startswith(DANGEROUS)
            grid.put(row, column, group, "page_input_quoted" if risky else "page_input", "@")
        elif key in NUMBERS:
            grid.put(row, column, None, "page_input_number")
        else:
            grid.put(row, column, None, "page_input", "@")


def _rules(grid: Grid, making: Making, losses: Table, choices: Choices) -> None:
    words = making.words
    for column, key in enumerate(KEYS, start=1):
        if key == "day":
            continue
        rule = _rule(key, losses, making, choices)
        heading = words(heading_key(key, making.units.us))
        rule.showInputMessage = True
        rule.promptTitle = heading[:TITLE_LIMIT]
        rule.prompt = words(f"daily_help_{key}")[:PROMPT_LIMIT]
        if rule.type is not None:
            rule.showErrorMessage = True
            rule.errorTitle = heading[:TITLE_LIMIT]
            rule.error = words(f"daily_error_{key}")[:ERROR_LIMIT]
        place = letter(column)
        rule.add(f"{place}{HEADING_ROW + 1}:{place}{HEADING_ROW + ROWS_A_SHEET}")
        grid.sheet.add_data_validation(rule)


def _rule(key: str, losses: Table, making: Making, choices: Choices) -> DataValidation:
    if key == "date":
        bounds = {"formula1": str(FIRST_DAY), "formula2": str(LAST_DAY)}
        return DataValidation(type="date", operator="between", allow_blank=True, **bounds)
    if key in ("stock", "cause"):
        where = choices.groups if key == "stock" else choices.causes
        return DataValidation(type="list", formula1=where, allow_blank=True) if where else DataValidation(type=None)
    quantity = losses.by_key[key].quantity
    if isinstance(quantity, Quantity):
        low, high = (in_shown_unit(key, end, making.units.us) for end in (quantity.low, quantity.high))
        kind = "whole" if quantity.whole else "decimal"
        bounds = {"formula1": f"{low:.10g}", "formula2": f"{high:.10g}"}
        return DataValidation(type=kind, operator="between", allow_blank=True, **bounds)
    return DataValidation(type=None)


def in_shown_unit(key: str, value: float, us: bool) -> float:
    """A value of the log's column in the unit of the daily sheet's heading."""
    return unit.convert(value, *US_UNITS[key]) if us and key in US_UNITS else value


def in_log_unit(key: str, value: float, us: bool) -> float:
    """A value typed under the daily sheet's heading in the unit of the log's column."""
    return unit.convert(value, *reversed(US_UNITS[key])) if us and key in US_UNITS else value


def absolute(sheet: str, column: int, first: int, last: int) -> str:
    """Cells for a rule on another sheet."""
    return f"{quoted(sheet)}!${letter(column)}${first}:${letter(column)}${last}"
