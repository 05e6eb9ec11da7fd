"""In which turn the columns of a log are computed: each after what it is computed from, also across tables."""

from __future__ import annotations

import ast
from graphlib import CycleError, TopologicalSorter

from workbook_tools.errors import LayoutError
from workbook_tools.layout.expression_trees import column_names, is_own, parsed
from workbook_tools.layout.measures import is_tally
from workbook_tools.layout.model import Column, Layout, Table


def last_columns(layout: Layout) -> dict[str, frozenset[str]]:
    """By table, the columns that are computed once all tables are: they count over a table that stands later, or are
    computed from such a column, of their own table or of an earlier one.
    """
    turns = {table.key: turn for turn, table in enumerate(layout.log_tables())}
    found: dict[str, frozenset[str]] = {}
    for table in layout.log_tables():
        mine: set[str] = set()
        for column in in_order(table):
            tree = parsed(column.expression, column.key)
            counted = [_counted(part) for part in ast.walk(tree) if isinstance(part, ast.Call) and is_tally(part)]
            ahead = any(turns.get(key, -1) > turns[table.key] for key in counted)
            if ahead or mine & set(needed(tree, table)) or any(c in found.get(t, ()) for t, c in others_read(tree)):
                mine.add(column.key)
        found[table.key] = frozenset(mine)
    return found


def others_read(tree: ast.expr) -> list[tuple[str, str]]:
    """Table and column of everything that an expression reads of other tables: table.column, and tests of measures."""
    parts = [part for part in ast.walk(tree) if isinstance(part, ast.Attribute) and isinstance(part.value, ast.Name)]
    named = [(ast.unparse(part.value), part.attr) for part in parts]
    measures = [part for part in ast.walk(tree) if isinstance(part, ast.Call) and is_tally(part)]
    named += [(_counted(part), ast.unparse(word.value)) for part in measures for word in part.keywords]
    return named + [
        (_counted(part), test.left.id)
        for part in measures
        for test in part.args
        if isinstance(test, ast.Compare) and isinstance(test.left, ast.Name)
    ]


def own_tallies(table: Table) -> set[str]:
    """Columns that count over their own table, and those that are computed from them."""
    found: set[str] = set()
    for column in in_order(table):
        tree = parsed(column.expression, column.key)
        counts = any(_counts_over(part, table) for part in ast.walk(tree) if isinstance(part, ast.Call))
        if counts or found & set(needed(tree, table)):
            found.add(column.key)
    return found


def _counted(node: ast.Call) -> str:
    """Key of the table that a measure goes over."""
    return ast.unparse(node.args[0]).split(".")[0]


def _counts_over(node: ast.Call, table: Table) -> bool:
    return is_tally(node) and _counted(node) == table.key


def in_order(table: Table) -> list[Column]:
    """Computed columns, each after those it is computed from. Raises LayoutError where they go in a circle."""
    computed = {column.key: column for column in table.columns if column.kind == "computed"}
    needs = {
        key: [name for name in needed(parsed(column.expression, key), table) if name in computed]
        for key, column in computed.items()
    }
    try:
        return [computed[key] for key in TopologicalSorter(needs).static_order()]
    except CycleError as error:
        raise LayoutError(table.key, [f"columns computed from each other: {', '.join(error.args[1])}"]) from error


def needed(node: ast.expr, table: Table) -> list[str]:
    """Columns of its own table that an expression reads; names inside a measure are another table's, but for row.x."""
    if is_tally(node):
        own = [part.attr for part in ast.walk(node) if isinstance(part, ast.Attribute) and is_own(part)]
        return own + [key for other, key in others_read(node) if other == table.key]
    if isinstance(node, ast.IfExp):
        parts = (node.test, node.body, node.orelse)
        return [name for part in parts for name in needed(part, table)]
    return column_names(node, table)
