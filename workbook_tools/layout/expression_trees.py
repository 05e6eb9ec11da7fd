"""What the readers of expressions and of measures share."""

from __future__ import annotations

import ast
from typing import TypeGuard

from workbook_tools.errors import TranslationError
from workbook_tools.layout.model import Table


def is_number(value: object) -> TypeGuard[float]:
    return type(value) is float or (isinstance(value, int | float) and not isinstance(value, bool))


def same(one: object, other: object) -> bool:
    """Equality as cells have it: letters' case does not count, a blank equals nothing."""
    if isinstance(one, str) and isinstance(other, str):
        return one.casefold() == other.casefold()
    return is_number(one) and is_number(other) and one == other


def parsed(expression: str, where: str) -> ast.expr:
    """The tree of an expression; raises TranslationError where it is not one."""
    try:
        return ast.parse(" ".join(expression.split()), mode="eval").body
    except SyntaxError as error:
        raise TranslationError(where, error.lineno or 1, f"{expression!r} is not an expression") from error


def column_names(node: ast.expr, table: Table) -> list[str]:
    """Columns used in an expression, in order, each once."""
    modules = {id(n.value) for n in ast.walk(node) if isinstance(n, ast.Attribute)}  # the stage of stage.level
    names = [n for n in ast.walk(node) if isinstance(n, ast.Name) and id(n) not in modules]
    return list(dict.fromkeys(name.id for name in names if name.id in table.by_key))


def is_own(node: ast.expr) -> bool:
    """Whether a part of a measure names a column of the asking row: `row.stock`."""
    return isinstance(node, ast.Attribute) and isinstance(node.value, ast.Name) and node.value.id == "row"
