"""The columns of the gathered tables, read off the layout: what they are called, what they hold, in which unit."""

from __future__ import annotations

import ast
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache

from workbook_tools.functions.quantities import Quantity
from workbook_tools.layout import Column, Layout, Table, case_log
from workbook_tools.layout.expression_trees import parsed
from workbook_tools.layout.load import FORMATS

TEXT, NUMBER, DATE, TIME, DAYS, WHOLE, TRUTH = "text", "number", "date", "time", "days", "whole", "truth"
KINDS = {"id": TEXT, "text": TEXT, "list": TEXT, "reference": TEXT, "number": NUMBER, "date": DATE, "check": TEXT}


@dataclass(frozen=True)
class Field:
    """One column of a gathered table.

    `kind` is TEXT, NUMBER, DATE, TIME (of day), DAYS (a time that may be of day or by stopwatch, as the cell has it: in
    days), WHOLE or TRUTH. `column` is the layout's, None for what gathering itself adds.
    """

    name: str
    kind: str
    says: str = ""
    unit: str = ""
    column: Column | None = None


@dataclass(frozen=True)
class ColumnKind:
    """One kind of row: its table's name, its columns, and what one row is."""

    name: str
    says: str
    fields: tuple[Field, ...]


FROM = (
    Field("log_file", TEXT, "File of the log, from the folder on"),
    Field("log_site", TEXT, "Site that the row leads to, by its id in that log"),
    Field("log_layout", TEXT, "Layout version of the log"),
    Field("log_row", WHOLE, "Row of the sheet"),
)
FILES = ColumnKind(
    "files",
    "A file that was found",
    (
        FROM[0],
        Field("state", TEXT, "read, other (no case log) or unreadable"),
        Field("reason", TEXT, "Why it was not read"),
        FROM[2],
        Field("sites", WHOLE, "Rows of the Sites sheet"),
        Field("rows", WHOLE, "Rows gathered from all sheets"),
        Field("problems", WHOLE, "Rows of the table problems"),
        Field("size", WHOLE, "Size", "bytes"),
        Field("changed", WHOLE, "Time of last change", "ns"),
        Field("digest", TEXT, "Digest of the content (BLAKE2b)"),
    ),
)
PROBLEMS = ColumnKind(
    "problems",
    "A cell whose value does not fit its column, or a column or sheet that is not there",
    (
        FROM[0],
        Field("sheet", TEXT),
        Field("row", WHOLE),
        Field("column", TEXT, "Heading"),
        Field("cell", TEXT),
        Field("value", TEXT, "What was typed, as text"),
        Field("reason", TEXT),
    ),
)
RESPONSES = ColumnKind(
    "responses",
    "A fish of an anaesthetic bath, as the answers about start doses count it",
    (
        FROM[0],
        FROM[2],
        Field("species", TEXT),
        Field("agent", TEXT),
        Field("band", WHOLE, "Lower edge of the temperature band", "C"),
        Field("dose", NUMBER, "Start dose", "mg/L"),
        Field("bath", TEXT),
        Field("day", NUMBER, "Day number of the bath"),
        Field("seconds", NUMBER, "To the working stage, or how long it was seen not to reach it", "s"),
        Field("reached", TRUTH),
        Field("left_out", TEXT, "Why it says nothing of the time"),
        Field("recovery", NUMBER, "To recovery", "s"),
        Field("adverse", TEXT),
        Field("died", TRUTH),
        Field("ending_known", TRUTH),
        Field("range_low", NUMBER, "Reference range of the log", "mg/L"),
        Field("range_high", NUMBER, "Reference range of the log", "mg/L"),
    ),
)
FINDINGS = ColumnKind(
    "findings",
    "A sample that names a finding, as the answers about prevalence count it",
    (
        FROM[0],
        FROM[2],
        Field("found", TEXT),
        Field("species", TEXT),
        Field("examined", WHOLE, "Fish looked at, empty where they cannot be counted"),
        Field("positive", WHOLE),
    ),
)
DRUG_USE = ColumnKind(
    "drug_use",
    "A bath that was made or a treatment, as the answers about drugs count it",
    (
        FROM[0],
        FROM[2],
        Field("agent", TEXT),
        Field("species", TEXT),
        Field("month", TEXT),
        Field("source", TEXT, "bath or treatment"),
        Field("grams", NUMBER, "Product used", "g"),
        Field("millilitres", NUMBER, "Product used", "mL"),
    ),
)
ANSWERS = (RESPONSES, FINDINGS, DRUG_USE)


@cache
def kinds() -> dict[str, ColumnKind]:
    """Every table by its name: a sheet's table each, what the answers count, problems, and last the files."""
    layout = case_log()
    tables = [_kind(table, layout) for table in layout.log_tables()]
    return {kind.name: kind for kind in (*tables, *ANSWERS, PROBLEMS, FILES)}


def _kind(table: Table, layout: Layout) -> ColumnKind:
    return ColumnKind(table.key, f"A row of the sheet {table.sheet}", (*FROM, *_fields(table, layout)))


def _fields(table: Table, layout: Layout) -> Iterator[Field]:
    """Columns that a person types or reads; private ones and steps of a computation are left out."""
    for column in table.columns:
        if column.private or column.hidden:
            continue
        quantity = column.quantity
        unit = quantity.unit if isinstance(quantity, Quantity) else ""
        yield Field(column.key, kind_of(column, table, layout), column.heading, unit, column)


def kind_of(column: Column, table: Table, layout: Layout) -> str:
    """What a column holds; of a computed one, what its expression gives."""
    if column.kind == "time":
        return DAYS if column.elapsed else TIME
    if column.kind != "computed":
        return KINDS[column.kind]
    kind = _result(parsed(column.expression, column.key), table, layout)
    if kind == NUMBER and column.format == FORMATS["date"]:
        return DATE
    return kind or NUMBER


def _result(node: ast.expr, table: Table, layout: Layout) -> str | None:
    """The kind of an expression's answer; None for a blank."""
    if isinstance(node, ast.IfExp):
        return _result(node.body, table, layout) or _result(node.orelse, table, layout)
    if isinstance(node, ast.Constant):
        return None if node.value is None else TEXT if isinstance(node.value, str) else NUMBER
    if isinstance(node, ast.Name):
        return kind_of(table.by_key[node.id], table, layout)
    if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
        if node.func.id == "month":
            return TEXT
        if node.func.id == "lookup" and isinstance(node.args[0], ast.Attribute):
            other = layout.tables[ast.unparse(node.args[0].value)]
            return kind_of(other.by_key[node.args[0].attr], other, layout)
    return NUMBER
