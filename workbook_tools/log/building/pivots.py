"""PivotTables: their parts, which a desktop spreadsheet refreshes on opening, and the cells that they show until then.

A PivotTable stands over a whole log table, so that it grows with it. Of the empty rows that a log provides, computed
cells hold an empty text, which a PivotTable would count: a page field lets only rows pass whose column `only` says yes.
No record of the source is kept in the file: the parts hold the names of the groups and nothing else of the rows.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from openpyxl.pivot.cache import CacheDefinition, CacheField, CacheSource, SharedItems, WorksheetSource
from openpyxl.pivot.fields import Index, Number, Text
from openpyxl.pivot.table import (
    DataField,
    FieldItem,
    Location,
    PageField,
    PivotField,
    PivotTableStyle,
    RowColField,
    RowColItem,
    TableDefinition,
)
from openpyxl.worksheet.worksheet import Worksheet

from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import cell_key
from workbook_tools.layout.model import Layout, Pivot, PivotValue, Sheet, Table
from workbook_tools.log.building.frame import steady_rows
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.writing.cells import SheetCells, Strings, escaped_cell, value_cell
from workbook_tools.xlsx.writing.styles import Styles

Row = Mapping[str, Any]
Item = float | str
YES = "yes"
SAID = ("", YES)  # all that a column named by `only` may say: the item not chosen must be listed to be left out
CAPTION_ROW, PAGE_ROW, TOP_ROW = 4, 5, 7  # a page field stands two rows above its table
TOTAL = "All"
CHARACTERS_A_PAGE = 200  # small print, so that no PivotTable is cut
LEAST_WIDTH, MOST_WIDTH, GAP_WIDTH = 12.0, 40.0, 3.0
SUBTOTALS = {"count": "count", "numbers": "countNums", "sum": "sum", "average": "average"}
FORMATS = {"whole": (1, "0"), "hundredths": (2, "0.00")}  # built-in number formats, ECMA-376 Part 1, 18.8.30
LONG_TEXT = 255  # characters; of a longer item the file format wants to be told
VERSION = 6  # of the application that could have made it; refreshing takes 3, which is Excel 2007


class PivotPart(TableDefinition):  # type: ignore[misc]
    """openpyxl's part of a PivotTable, less the link to its cache that openpyxl repeats where the schema has none."""

    tagname = TableDefinition.tagname
    __attrs__ = tuple(name for name in TableDefinition.__attrs__ if name != "id")
    __elements__ = TableDefinition.__elements__
    __nested__ = TableDefinition.__nested__


def item_order(item: Item) -> tuple[bool, float, str]:
    """Numbers first, then words."""
    return (isinstance(item, str), 0.0, item.casefold()) if isinstance(item, str) else (False, float(item), "")


@dataclass(frozen=True)
class Filled:
    """A PivotTable with what it shows for the rows of a log."""

    pivot: Pivot
    rows: Sequence[Row]

    @cached_property
    def chosen(self) -> list[Row]:
        return [row for row in self.rows if row.get(self.pivot.only) == YES]

    @cached_property
    def groups(self) -> list[tuple[tuple[Item, ...], list[Row]]]:
        """Items of each group, outermost first, and its rows, in the order shown."""
        spelled: dict[tuple[Item, ...], tuple[Item, ...]] = {}
        found: dict[tuple[Item, ...], list[Row]] = {}
        first: dict[tuple[str, object], Item] = {}
        for row in self.chosen:
            items = tuple(_item(row.get(key)) for key in self.pivot.rows)
            items = tuple(
                first.setdefault((key, cell_key(i)), i) for key, i in zip(self.pivot.rows, items, strict=True)
            )
            spelled.setdefault(items, items)
            found.setdefault(items, []).append(row)
        return sorted(found.items(), key=lambda group: [item_order(item) for item in group[0]])

    def items(self, key: str) -> list[Item]:
        """The items of one of its columns, in order."""
        place = self.pivot.rows.index(key)
        return sorted({items[place] for items, _ in self.groups}, key=item_order)


def _item(value: object) -> Item:
    if isinstance(value, bool):
        return str(value).upper()
    return float(value) if isinstance(value, int | float) else str(value or "")


def pivot_figure(value: PivotValue, rows: Sequence[Row]) -> float | None:
    """One figure over the rows of a group; None where nothing is there to count, add or average."""
    held = [row.get(value.column) for row in rows]
    numbers = [float(number) for number in held if isinstance(number, int | float) and is_number(number)]
    if value.by == "count":
        return float(sum(entry is not None for entry in held)) or None
    if not numbers:
        return None
    return {"numbers": float(len(numbers)), "sum": sum(numbers), "average": sum(numbers) / len(numbers)}[value.by]


# ------------------------------------------------------------------------------------------------------------ parts


class Pivots:
    """The PivotTables of a workbook; those over one table share its cache."""

    def __init__(self, layout: Layout, data: Mapping[str, Sequence[Row]]) -> None:
        self.layout = layout
        self.filled = {pivot.key: Filled(pivot, data[pivot.table]) for sheet in layout.sheets for pivot in sheet.pivots}
        self.tables = list(dict.fromkeys(filled.pivot.table for filled in self.filled.values()))
        self.items = {key: self._items(key) for key in self.tables}
        self.caches = {key: _cache(layout.tables[key], self.items[key]) for key in self.tables}

    def _items(self, table: str) -> dict[str, list[Item]]:
        """Items of every column that a PivotTable of a table groups or chooses by."""
        found: dict[str, set[Item]] = {}
        for filled in self.filled.values():
            if filled.pivot.table == table:
                for key in filled.pivot.rows:
                    found.setdefault(key, set()).update(filled.items(key))
                found[filled.pivot.only] = set(SAID)
        # a field that groups has an item at least, as over the empty rows of a log
        return {key: sorted(items or {""}, key=item_order) for key, items in found.items()}

    def add(self, worksheet: Worksheet, sheet: Sheet, cells: SheetCells, styles: Styles, strings: Strings) -> None:
        """Put the PivotTables of a sheet on it, and into its cells what they show."""
        if not sheet.pivots:
            return
        across = 0.0
        for pivot in sheet.pivots:
            table = self.layout.tables[pivot.table]
            part = self._part(self.filled[pivot.key])
            part.cache = self.caches[pivot.table]
            worksheet.add_pivot(part)
            widths = [*self._widths(self.filled[pivot.key], table), GAP_WIDTH]
            for number, width in enumerate(widths, start=pivot.first_column):
                worksheet.column_dimensions[letter(number)].width = width
            across += sum(widths)
            write_cells(self.filled[pivot.key], table, cells, styles, strings)
        worksheet.page_setup.fitToWidth = max(1, round(across / CHARACTERS_A_PAGE))
        steady_rows(worksheet)

    @staticmethod
    def _widths(filled: Filled, table: Table) -> list[float]:
        """Widths of its columns: a refreshed heading does not wrap, and neither do names of groups."""
        heads = [table.by_key[key].heading for key in filled.pivot.rows]
        longest = [max((len(str(item)) for item in filled.items(key)), default=0) for key in filled.pivot.rows]
        names = [max(len(head), long) for head, long in zip(heads, longest, strict=True)]
        return [
            min(max(LEAST_WIDTH, 1.1 * n + 2), MOST_WIDTH)
            for n in [*names, *(len(v.name) for v in filled.pivot.values)]
        ]

    def _part(self, filled: Filled) -> PivotPart:
        pivot, table, items = filled.pivot, self.layout.tables[filled.pivot.table], self.items[filled.pivot.table]
        place = {column.key: number for number, column in enumerate(table.columns)}
        several = len(pivot.values) > 1
        first, last = letter(pivot.first_column), letter(pivot.first_column + pivot.width - 1)
        return PivotPart(
            name=pivot.name,
            cacheId=self.tables.index(pivot.table) + 1,
            dataCaption="Figures",
            grandTotalCaption=TOTAL,
            createdVersion=VERSION,
            updatedVersion=VERSION,
            minRefreshableVersion=3,
            itemPrintTitles=True,
            showError=True,  # an average of nothing shows nothing
            errorCaption="",
            compact=False,
            compactData=False,
            multipleFieldFilters=False,
            location=Location(
                ref=f"{first}{TOP_ROW}:{last}{last_row(filled)}",
                firstHeaderRow=1,
                firstDataRow=1 + several,
                firstDataCol=len(pivot.rows),
                rowPageCount=1,
                colPageCount=1,
            ),
            pivotFields=[_field(pivot, column.key, items) for column in table.columns],
            rowFields=[RowColField(x=place[key]) for key in pivot.rows],
            rowItems=_row_items(filled, items),
            colFields=[RowColField(x=-2)] if several else (),
            colItems=_column_items(len(pivot.values)),
            pageFields=[PageField(fld=place[pivot.only], item=items[pivot.only].index(YES), hier=-1)],
            dataFields=[
                DataField(
                    name=value.name,
                    fld=place[value.column],
                    subtotal=SUBTOTALS[value.by],
                    baseField=0,
                    baseItem=0,
                    numFmtId=FORMATS[value.format][0],
                )
                for value in pivot.values
            ],
            pivotTableStyleInfo=PivotTableStyle(
                name="PivotStyleLight1",
                showRowHeaders=True,
                showColHeaders=True,
                showRowStripes=False,
                showColStripes=False,
                showLastColumn=True,
            ),
        )


def last_row(filled: Filled) -> int:
    """Row of the totals."""
    return TOP_ROW + (len(filled.pivot.values) > 1) + len(filled.groups) + 1


def _cache(table: Table, items: Mapping[str, Sequence[Item]]) -> CacheDefinition:
    return CacheDefinition(
        saveData=False,
        refreshOnLoad=True,
        refreshedBy="workbook-tools",
        createdVersion=VERSION,
        refreshedVersion=VERSION,
        minRefreshableVersion=3,
        cacheSource=CacheSource(type="worksheet", worksheetSource=WorksheetSource(name=table.name)),
        cacheFields=[
            CacheField(name=c.heading, numFmtId=0, sharedItems=_shared(items.get(c.key, ()))) for c in table.columns
        ],
    )


def _shared(items: Sequence[Item]) -> SharedItems:
    """Items of a field, with what the file format wants said of their kinds."""
    numbers = [item for item in items if not isinstance(item, str)]
    said: dict[str, Any] = {}
    if numbers:
        whole = all(number == int(number) for number in numbers)
        said = {"containsNumber": True, "minValue": min(numbers), "maxValue": max(numbers)}
        said |= {"containsInteger": True} if whole else {}
        mixed = len(numbers) < len(items)
        said |= {"containsMixedTypes": True} if mixed else {"containsSemiMixedTypes": False, "containsString": False}
    if any(isinstance(item, str) and len(item) > LONG_TEXT for item in items):
        said["longText"] = True
    fields = [Text(v=escaped_cell(item)) if isinstance(item, str) else Number(v=item) for item in items]
    return SharedItems(_fields=fields, **said)


def _field(pivot: Pivot, key: str, items: Mapping[str, Sequence[Item]]) -> PivotField:
    axis = "axisRow" if key in pivot.rows else "axisPage" if key == pivot.only else None
    listed = [FieldItem(x=number) for number in range(len(items[key]))] if axis else ()
    return PivotField(
        axis=axis,
        items=listed,
        dataField=any(value.column == key for value in pivot.values) or None,
        compact=False,
        outline=False,
        showAll=False,
        subtotalTop=False,
        defaultSubtotal=False,
        sortType="ascending" if axis == "axisRow" else "manual",
    )


def _row_items(filled: Filled, items: Mapping[str, Sequence[Item]]) -> list[RowColItem]:
    """For each row shown, how many items it takes over from the row above and the numbers of its own."""
    found: list[RowColItem] = []
    before: tuple[Item, ...] = ()
    for group, _ in filled.groups:
        alike = _alike(group, before)
        own = [items[key].index(item) for key, item in zip(filled.pivot.rows[alike:], group[alike:], strict=True)]
        found.append(RowColItem(r=alike, x=[Index(v=number) for number in own]))
        before = group
    return [*found, RowColItem(t="grand", x=[Index(v=0)])]


def _alike(group: tuple[Item, ...], before: tuple[Item, ...]) -> int:
    """How many of its first items a group shares with the one above it."""
    return next((n for n, (one, other) in enumerate(zip(group, before, strict=False)) if one != other), 0)


def _column_items(values: int) -> list[RowColItem]:
    if values == 1:
        return [RowColItem()]
    return [RowColItem(i=number, x=[Index(v=number)]) for number in range(values)]


# ------------------------------------------------------------------------------------------------------------ cells


def write_cells(filled: Filled, table: Table, cells: SheetCells, styles: Styles, strings: Strings) -> None:
    """What the PivotTable shows, as plain cells, for whatever opens the file without refreshing it."""
    pivot = filled.pivot
    outer = len(pivot.rows)

    def put(row: int, along: int, role: str, value: object, number_format: str = "General") -> None:
        column = pivot.first_column + along
        style = styles.number(role, number_format)
        cells.put(row, column, value_cell(f"{letter(column)}{row}", style, value, strings))

    def put_row(row: int, role: str, items: Sequence[object], figures: Sequence[object]) -> None:
        """Items stand on the left, figures on the right."""
        for along, item in enumerate(items):
            put(row, along, role, item)
        for value, (along, shown) in zip(pivot.values, enumerate(figures, start=outer), strict=True):
            put(row, along, f"{role}_figure", shown, FORMATS[value.format][1])

    put(CAPTION_ROW, 0, "heading", pivot.caption)
    put(PAGE_ROW, 0, "pivot_item", table.by_key[pivot.only].heading)
    put(PAGE_ROW, 1, "pivot_item", YES)
    row = TOP_ROW
    if len(pivot.values) > 1:
        put_row(row, "pivot_head", [None] * outer, ["Figures", *[None] * (len(pivot.values) - 1)])
        row += 1
    heads = [table.by_key[key].heading for key in pivot.rows]
    put_row(row, "pivot_head", heads, [value.name for value in pivot.values])
    before: tuple[Item, ...] = ()
    for items, rows in filled.groups:
        row += 1
        alike = _alike(items, before)
        put_row(row, "pivot_item", [None] * alike + list(items[alike:]), [pivot_figure(v, rows) for v in pivot.values])
        before = items
    total = [TOTAL, *[None] * (outer - 1)]
    put_row(row + 1, "pivot_total", total, [pivot_figure(value, filled.chosen) for value in pivot.values])
