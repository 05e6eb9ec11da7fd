"""A layout as it stands in a person's workbook: which table is where, which column under which letters."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, fields, replace
from functools import cached_property

from workbook_tools.errors import EditError
from workbook_tools.layout import Layout, Sheet, Table
from workbook_tools.layout.formulas import TableFormulas
from workbook_tools.layout.model import Column
from workbook_tools.xlsx.addresses import column_number, letter
from workbook_tools.xlsx.editing.workbook_edit import TablePlace, WorkbookEdit

GAP = 1  # columns left free between lists that stand side by side
LINES = 3  # rows from the end of a table to the heading of the one below it


@dataclass(frozen=True)
class PlacedTable(Table):
    """A table whose columns stand where a person has them."""

    places: Mapping[str, str] = field(default_factory=dict)
    headed: int = 0  # row of the headings, which stays when a builder moves tables that stand below each other

    def __post_init__(self) -> None:
        object.__setattr__(self, "heading_row", self.headed or self.heading_row)

    @cached_property
    def letters(self) -> dict[str, str]:
        """Column key -> column letter on the sheet."""
        return dict(self.places)


class PlacedFormulas(TableFormulas):
    """Formulas of a table whose columns need not stand in the layout's order."""

    def _runs(self) -> list[str]:
        """The typed cells of a row as few ranges, none of which takes in a column that is not ours."""
        typed = [column for column in self.table.typed if not getattr(column, "give", "")]
        places = self.table.letters
        runs: list[list[Column]] = []
        for column in sorted(typed, key=lambda column: column_number(places[column.key])):
            number = column_number(places[column.key])
            if runs and column_number(places[runs[-1][-1].key]) == number - 1:
                runs[-1].append(column)
            else:
                runs.append([column])
        return [self._run(run) for run in runs]

    def _run(self, run: Sequence[Column]) -> str:
        first, last = (self.operands[column.key].text for column in (run[0], run[-1]))
        if len(run) == 1:
            return first
        if self.row is None:
            return f"{self.table.name}[[#This Row],[{run[0].heading}]:[{run[-1].heading}]]"
        return f"{first}:{last}"


@dataclass(frozen=True)
class Standing:
    """One table of a layout in a person's workbook. `there` is None where it is to be added."""

    table: PlacedTable
    there: TablePlace | None
    missing: tuple[Column, ...]  # columns to add at its end, in the layout's order

    @property
    def kept(self) -> tuple[Column, ...]:
        """Columns that stand there already."""
        gone = {column.key for column in self.missing}
        return tuple(column for column in self.table.columns if column.key not in gone)


@dataclass(frozen=True)
class Placement:
    """A layout as it is to stand in a workbook."""

    layout: Layout
    tables: Mapping[str, Standing]
    new_sheets: tuple[str, ...]
    pages: tuple[str, ...]  # sheets that are put anew as a whole


def place(layout: Layout, edit: WorkbookEdit) -> Placement:
    """Find every table of a layout in a workbook, by the headings of the sheet's tables; raises EditError, in words."""
    there = {name.casefold(): name for name in edit.sheet_names}
    by_sheet: dict[str, list[TablePlace]] = {}
    for found in edit.tables().values():
        by_sheet.setdefault(found.sheet.casefold(), []).append(found)
    standing: dict[str, Standing] = {}
    sheets, new, pages = [], [], []
    for sheet in layout.sheets:
        if sheet.name.casefold() not in there:
            new.append(sheet.name)
            sheets.append(sheet)
        elif is_page(sheet):
            pages.append(sheet.name)
            sheets.append(sheet)
        else:
            tables = _on_sheet(edit, sheet, by_sheet.get(sheet.name.casefold(), []))
            standing |= tables
            sheets.append(replace(sheet, tables=tuple(tables[table.key].table for table in sheet.tables)))
    return Placement(replace(layout, sheets=tuple(sheets)), standing, tuple(new), tuple(pages))


def is_page(sheet: Sheet) -> bool:
    """Whether a sheet is read only: nothing of its own is typed there, though the tools may have put values there."""
    return not sheet.tables or any(table.key_source for table in sheet.tables)


def filled_on(sheet: Sheet) -> list[Table]:
    """Tables of a page whose rows are values, written there by a command."""
    return [table for table in sheet.tables if is_page(sheet) and not table.key_source]


def with_rows(layout: Layout, rows: Mapping[str, tuple[tuple[object, ...], ...]]) -> Layout:
    """A layout whose lists offer given rows."""

    def filled(table: Table) -> Table:
        return replace(table, data=rows[table.key]) if table.key in rows else table

    sheets = tuple(replace(sheet, tables=tuple(map(filled, sheet.tables))) for sheet in layout.sheets)
    return replace(layout, sheets=sheets)


def beside(sheet: Sheet) -> bool:
    """Whether the tables of a sheet stand side by side."""
    return any(table.first_column > 1 for table in sheet.tables)


def _on_sheet(edit: WorkbookEdit, sheet: Sheet, there: Sequence[TablePlace]) -> dict[str, Standing]:
    found: dict[str, Standing] = {}
    free = list(there)
    for table in sheet.tables:
        own = _best(table, free)
        if own is not None:
            free.remove(own)
            found[table.key] = _standing(table, own)
    last_row = edit.rows(sheet.name).last_row
    last_column = max((place.last_column for place in there), default=0)
    for table in sheet.tables:
        if table.key in found:
            continue
        if table.log:
            raise EditError(
                edit.path,
                sheet.name,
                f"its table is gone; were its headings renamed, or was it made into plain cells? Select the headings "
                f"from {table.columns[0].heading!r} on with the rows below them, make them a table again, then try "
                "again.",
            )
        if beside(sheet):
            moved = replace(table, first_column=last_column + GAP + 1)
            last_column = moved.first_column + len(table.columns) - 1
        else:
            moved = replace(table, heading_row=last_row + LINES)
            last_row = moved.last_row
        found[table.key] = Standing(_placed(moved, moved.letters), None, ())
    return found


def _best(table: Table, there: Sequence[TablePlace]) -> TablePlace | None:
    """The table of a sheet with most of the headings; None where none has the first one or half of them."""
    wanted = {column.heading.casefold() for column in table.columns}
    key = table.key_column.heading.casefold()
    best, most = None, 0
    for place_ in there:
        own = {heading.strip().casefold() for heading in place_.headings}
        alike = len(wanted & own)
        if alike > most and (key in own or 2 * alike > len(wanted)):
            best, most = place_, alike
    return best


def _standing(table: Table, there: TablePlace) -> Standing:
    own = {heading.strip().casefold() for heading in there.headings}
    missing = tuple(column for column in table.columns if column.heading.casefold() not in own)
    letters = {c.key: letter(there.column(c.heading)) for c in table.columns if c not in missing}
    letters |= {column.key: letter(number) for number, column in enumerate(missing, start=there.last_column + 1)}
    moved = replace(
        table,
        name=there.name,
        sheet=there.sheet,
        heading_row=there.heading_row,
        rows=max(there.last_row - there.heading_row, 1),
        first_column=there.first_column,
    )
    return Standing(_placed(moved, letters), there, missing)


def _placed(table: Table, letters: Mapping[str, str]) -> PlacedTable:
    own = {part.name: getattr(table, part.name) for part in fields(Table)}
    return PlacedTable(**own, places=dict(letters), headed=table.heading_row)
