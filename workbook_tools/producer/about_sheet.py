"""The last page of a copy: which copy it is, what may be chosen on the daily sheets, marks of the pages' rows."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import zip_longest

from workbook_tools.layout.ids import id_text
from workbook_tools.producer.daily_sheet import Choices, NewGrid, absolute, kept_groups
from workbook_tools.producer.grid_sheets import Grid
from workbook_tools.producer.page_making import Making
from workbook_tools.producer.row_marks import Identity

WIDTHS = (26, 30, 3, 38)
CHOICES_ROW = 7  # headings of what may be chosen


def cause_words(making: Making, causes: Sequence[object]) -> list[str]:
    """The causes of the log's list, in the copy's language."""
    return [making.words.listed(id_text(cause)) for cause in causes if cause is not None]


def choices(making: Making, causes: Sequence[object]) -> Choices:
    """Where the groups and causes stand."""
    sheet, first = making.words("about_sheet"), CHOICES_ROW + 1
    groups, listed = kept_groups(making), cause_words(making, causes)
    return Choices(
        absolute(sheet, 1, first, CHOICES_ROW + len(groups)) if groups else "",
        absolute(sheet, 4, first, CHOICES_ROW + len(listed)) if listed else "",
    )


def about_sheet(
    making: Making, identity: Identity, causes: Sequence[object], marks: Mapping[str, Sequence[str]], new_grid: NewGrid
) -> Grid:
    """The page about the copy; `marks` by the names of sheets."""
    words = making.words
    grid = new_grid(words("about_sheet"), WIDTHS, "portrait")
    grid.across(1, words("about_title"), "page_title")
    grid.across(2, words("about_intro"), "page_text")
    grid.across(3, words("about_protected"), "page_text")
    grid.across(4, words("about_identity"), "page_strong")
    grid.across(5, identity.line, "page_text")
    grid.height(6, 8)
    for column, key in ((1, "about_group"), (2, "about_fish"), (4, "about_cause")):
        grid.put(CHOICES_ROW, column, words(key), "page_head")
    groups = kept_groups(making)
    row = CHOICES_ROW
    for group, cause in zip_longest(groups, cause_words(making, causes)):
        row += 1
        grid.height(row, 15)
        if group is not None:
            grid.put(row, 1, group, "page_cell", "@")
            stock = making.site.stock(group)
            fish = ", ".join(
                part for part in (words.listed(stock.get("species")), making.tank(stock.get("vessel"))) if part
            )
            grid.across(row, fish or "-", "page_cell", 2, 2)
        if cause is not None:
            grid.put(row, 4, cause, "page_cell", "@")
    grid.across(row + 2, words("about_marks"), "page_strong")
    grid.across(row + 3, words("about_marks_intro"), "page_small")
    row += 4
    for sheet, found in marks.items():
        grid.put(row, 1, sheet, "page_small")
        grid.across(row, "".join(found), "page_small", 2)
        row += 1
    return grid
