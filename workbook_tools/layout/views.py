"""Reads what a layout file says of PivotTables and charts, and what in it contradicts the tables."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from workbook_tools.layout.model import Chart, Layout, Pivot, PivotValue

SUMMED = ("count", "numbers", "sum", "average")
VALUE_FORMATS = ("whole", "hundredths")
CHARTS = ("points", "weeks")


def read_pivots(entries: list[dict[str, Any]]) -> tuple[Pivot, ...]:
    """PivotTables of a sheet, side by side: each may grow downwards."""
    placed: list[Pivot] = []
    for entry in entries:
        first = placed[-1].first_column + placed[-1].width + 1 if placed else 1
        values = tuple(PivotValue(**value) for value in entry["value"])
        given = {name: entry[name] for name in ("key", "name", "caption", "table", "only")}
        placed.append(Pivot(**given, rows=tuple(entry["rows"]), values=values, first_column=first))
    return tuple(placed)


def read_charts(entries: list[dict[str, Any]]) -> tuple[Chart, ...]:
    """Charts of a sheet, in order."""
    return tuple(Chart(**entry) for entry in entries)


def view_faults(layout: Layout) -> list[str]:
    """Faults of PivotTables and charts: tables and columns that are not there, words that mean nothing."""
    faults = []
    for sheet in layout.sheets:
        for pivot in sheet.pivots:
            faults += [f"{sheet.name}.{pivot.key}: {fault}" for fault in _pivot_faults(pivot, layout)]
        for chart in sheet.charts:
            faults += [f"{sheet.name}.{chart.key}: {fault}" for fault in _chart_faults(chart, layout)]
    return faults


def _pivot_faults(pivot: Pivot, layout: Layout) -> Iterator[str]:
    columns = [pivot.only, *pivot.rows, *(value.column for value in pivot.values)]
    yield from _missing(pivot.table, columns, layout)
    if pivot.table in layout.tables:
        headings = {column.heading.casefold() for column in layout.tables[pivot.table].columns}
        for value in pivot.values:
            if value.name.casefold() in headings:
                yield f"the figure {value.name!r} is named as a column of its table, which no spreadsheet takes"
    for value in pivot.values:
        if value.by not in SUMMED:
            yield f"{value.by!r} is not one of {', '.join(SUMMED)}"
        if value.format not in VALUE_FORMATS:
            yield f"{value.format!r} is not one of {', '.join(VALUE_FORMATS)}"


def _chart_faults(chart: Chart, layout: Layout) -> Iterator[str]:
    yield from _missing(chart.table, [chart.x, chart.y, chart.choose], layout)
    if chart.of not in layout.tables:
        yield f"there is no table {chart.of!r}"
    if chart.kind not in CHARTS:
        yield f"the kind {chart.kind!r} is not one of {', '.join(CHARTS)}"


def _missing(table: str, columns: list[str], layout: Layout) -> Iterator[str]:
    if table not in layout.tables:
        yield f"there is no table {table!r}"
        return
    for column in dict.fromkeys(columns):
        if column not in layout.tables[table].by_key:
            yield f"there is no column {table}.{column}"
