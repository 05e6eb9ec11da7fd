"""The expressions of a layout, in two readings that must agree: as cell text and as Python over rows.

A column's expression is Python of a small subset over the columns of its own row:

- arithmetic, min, max, nearest and `math` functions over columns: blank as long as one of them is not a number;
- `bath.mass(...)` and every other catalogue function: blank as long as an argument is refused;
- `a if test else b`, and None for blank;
- `count(...)`, `total(...)`, `latest(...)`, `before(...)`, `nth(...)` over another table, as in `measures`: blank until
  the columns of the row are there;
- `order(reference, number)`: a number that sorts rows by the row that a reference or a value of a list points to, then
  by the number; blank unless that row is there and the number lies between 0 and its step (`ordering.STEPS`);
- `lookup(table.column, key)`: the value in the row that a reference or list column points to, blank if there is none;
  `lookup(table.column, key, 'words ')` puts words before the key;
- `default(x, value)`: x, or the value while x is blank;
- `month(date)`: year and month of a date as text, "2026-03", blank unless it is a date from 2000 to 2099;
- tests: comparisons (false unless both sides are there; numbers with numbers), `given(x)`, `blank(x)`, `number(x)`,
  `usable(x)` (a number within its range), `found(reference)`, `listed(x)`, `unfilled(reference)` (it points to a row
  not filled in yet), `again(id)` (a row above has the same id), and / or / not.

Nothing is computed from a typed cell that is refused. A number, date or time outside its column's range (`Column.span`)
or a text in its place is no number wherever a value is taken from it: by its name, in arithmetic, as an argument, by a
lookup from another table, by `row.x` of a measure. Comparisons and the tests see what is typed: `given(x)` is true of a
refused cell, `usable(x)` is not, so that an expression can tell it from a blank one, which may have a default.

Arithmetic, lookups and catalogue functions do not nest in each other: each step has a column that a person can see.
"""

from __future__ import annotations

import ast
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from workbook_tools.errors import ArgumentError, TranslationError
from workbook_tools.functions.catalogue import TOPICS, entry
from workbook_tools.functions.formulas.rounding import nearest
from workbook_tools.functions.quantities import Quantity
from workbook_tools.functions.texts.cell_text import Piece, Translator, body_piece, guarded, quantity_tests, range_tests
from workbook_tools.layout.expression_trees import column_names, is_number, parsed, same
from workbook_tools.layout.measures import is_tally, measure_of
from workbook_tools.layout.model import Column, Table
from workbook_tools.layout.months import month, month_text
from workbook_tools.layout.row_order import order, order_parts, step_of

ARITHMETIC = (ast.BinOp, ast.UnaryOp)
BLANK = Piece('""')


def is_none(node: ast.expr) -> bool:
    return isinstance(node, ast.Constant) and node.value is None


def called(node: ast.expr) -> str:
    """Name of the function that a call node calls, else an empty text."""
    return ast.unparse(node.func) if isinstance(node, ast.Call) else ""


def is_catalogue_call(node: ast.expr) -> bool:
    return called(node).split(".")[0] in TOPICS and "." in called(node)


def compares_words(node: ast.Compare) -> bool:
    """Whether a comparison asks if two values are the same, numbers or words, and neither side is arithmetic."""
    sides = (node.left, *node.comparators)
    plain = all(isinstance(op, ast.Eq | ast.NotEq) for op in node.ops) and len(sides) == 2
    numbers = any(isinstance(side, ast.Constant) and not isinstance(side.value, str) for side in sides)
    return plain and not numbers and not any(is_arithmetic(side) for side in sides)


def is_arithmetic(node: ast.expr) -> bool:
    if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
        return False
    return isinstance(node, ARITHMETIC) or called(node) in ("min", "max", "nearest", "abs") or "math." in called(node)


# ------------------------------------------------------------------------------------------------- cell text


@dataclass
class RowText(Translator):
    """Cell text of a column's expression; `operand` writes a column of the same row as the host wants it."""

    table: Table = field(kw_only=True)
    tables: Mapping[str, Table] = field(kw_only=True)

    def result(self, node: ast.expr) -> Piece:  # noqa: PLR0911 - one return for each kind of expression
        """An expression whose value a cell shows."""
        if is_none(node):
            return BLANK
        if isinstance(node, ast.IfExp):
            body, other = self.result(node.body).text, self.result(node.orelse).text
            return Piece(f"IF({self.test(node.test)},{body},{other})")
        if is_catalogue_call(node):
            return self._catalogue(node)
        if is_tally(node):
            return self._measure(node)
        if is_arithmetic(node):
            return self._usable(column_names(node, self.table), self.piece(node).text)
        if called(node) == "default":
            assert isinstance(node, ast.Call)
            first, fallback = node.args
            return Piece(f'IF({self.piece(first).text}="",{self.result(fallback).text},{self.result(first).text})')
        if isinstance(node, ast.Name):
            text = self.piece(node).text
            column = self.table.by_key[node.id]
            if column.span is not None:
                return self._usable([node.id], text)
            return Piece(text) if not column.typed else Piece(f'IF({text}="","",{text})')
        return self.piece(node)

    def _usable(self, names: Sequence[str], value: str, others: Sequence[str] = ()) -> Piece:
        """A value that is blank as long as one of these columns is no number, or typed and refused.

        `others` are further tests.
        """
        numbers = [*others, *(f"ISNUMBER({self.names[name].text})" for name in names)]
        ranges = [test for name in names for test in within(self.table.by_key[name], self.names[name])]
        if ranges:  # nested, since AND computes all its arguments and a text has no whole part
            value = f'IF({_all(ranges)},{value},"")'
        return Piece(f'IF({_all(numbers)},{value},"")')

    def test(self, node: ast.expr) -> str:
        """An expression that is true or false."""
        if isinstance(node, ast.BoolOp):
            name = "AND" if isinstance(node.op, ast.And) else "OR"
            return f"{name}({','.join(self.test(value) for value in node.values)})"
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            return f"NOT({self.test(node.operand)})"
        if isinstance(node, ast.Compare):
            return self._comparison(node)
        if isinstance(node, ast.Call) and called(node) in TESTS:
            return TESTS[called(node)](self, node)
        raise self.refuse(node, f"{ast.unparse(node)!r} is not a test")

    def _comparison(self, node: ast.Compare) -> str:
        text = super()._compare(node).text
        names = [self.names[name].text for name in column_names(node, self.table)]
        if compares_words(node):
            there = [f'{name}<>""' for name in names]
            return f"AND({','.join([*there, text])})"
        # IF and not AND, since AND computes all its arguments and arithmetic on text is an error
        return f"IF({self._all_numbers(node)},{text},FALSE)"

    def _all_numbers(self, node: ast.expr) -> str:
        return _all([f"ISNUMBER({self.names[name].text})" for name in column_names(node, self.table)])

    def _catalogue(self, node: ast.expr) -> Piece:
        assert isinstance(node, ast.Call)
        found = entry(called(node))
        for argument in node.args:
            if is_arithmetic(argument):  # a blank in it would count as zero
                raise self.refuse(node, f"{ast.unparse(argument)!r} needs a column of its own")
        operands = [self.piece(argument) for argument in node.args]
        for parameter in found.parameters[len(operands) :]:
            if parameter.default is None:
                raise self.refuse(node, f"{found.name}: argument {parameter.label} is missing")
            operands.append(Piece(f"{parameter.default:g}"))
        body = body_piece(found.function, operands).text
        ranges = []  # of typed columns that take less than the function does
        for argument, parameter, operand in zip(node.args, found.parameters, operands, strict=False):
            tested = range_tests(parameter, operand)
            for name in column_names(argument, self.table):
                ranges += [test for test in within(self.table.by_key[name], operand) if test not in tested]
        if ranges:
            body = f'IF({_all(ranges)},{body},"")'
        return Piece(guarded(found.check, operands, body, ('""', '""')))

    def _measure(self, node: ast.expr) -> Piece:
        figure = measure_of(node, self.tables, self.where)
        own = {name: self.names[name].text for name in figure.asked}
        text = figure.cell_text("", own)
        numbers = [name for name in own if name in figure.asked_numbers]
        return self._usable(numbers, text, [f'{own[name]}<>""' for name in own if name not in figure.asked_numbers])

    def _call(self, node: ast.Call) -> Piece:
        name = called(node)
        if name == "lookup":
            return self._lookup(node)
        if name == "default":
            value, other = (self.piece(argument).text for argument in node.args)
            return Piece(f'IF({value}="",{other},{value})')
        if name == "month":
            return Piece(month_text(_one_name(self, node)[0]))
        if name == "order":
            return self._order(node)
        return super()._call(node)

    def _order(self, node: ast.Call) -> Piece:
        reference, number = (self.table.by_key[key] for key in order_parts(node, self.table, self.where))
        step, value = f"{step_of(reference):.0f}", self.names[number.key].text
        position = self.names.get(position_key(reference.key))
        if position is not None:
            placed, there = f"{position.text}*{step}+{value}", f"AND(ISNUMBER({position.text}),ISNUMBER({value}))"
        else:  # a computed column with the values of a list
            target, text = self.tables[reference.to], self.names[reference.key].text
            found = found_at(target, literal(text))
            placed, there = f'IF({no_key(target, text)},"",IFERROR({found}*{step}+{value},""))', f"ISNUMBER({value})"
        return Piece(f'IF({there},IF(AND({value}>=0,{value}<{step}),{placed},""),"")')

    def _lookup(self, node: ast.Call) -> Piece:
        target, column, key = lookup_parts(self, node)
        if key.kind == "key":
            value = f"INDEX({target.cells(column.key)},{self.names['key_row'].text})"
            return Piece(f'IF({self.names[key.key].text}="","",IFERROR(IF({value}="","",{value}),""))')
        place = self.names.get(position_key(key.key))
        if place is not None and len(node.args) == 2:
            value = f"INDEX({target.cells(column.key)},{place.text})"
            shown = value if not column.typed else f'IF({value}="","",{value})'
            if column.span is not None:
                shown = f'IF(ISNUMBER({value}),IF({_all(within(column, Piece(value)))},{value},""),"")'
            # IFERROR: formualizer 0.13 ends a column at its last filled cell
            return Piece(f'IF({place.text}="","",IFERROR({shown},""))')
        wanted = self.names[key.key].text
        if len(node.args) == 3:
            wanted = f"{self.piece(node.args[2]).text}&{wanted}"
        value = f"INDEX({target.cells(column.key)},{found_at(target, wanted)})"
        return Piece(f'IFERROR(IF({value}="","",{value}),"")')

    def position(self, column: Column) -> str:
        """Where a reference or a list's value stands in the column of the keys, blank if nowhere: on a sheet with one
        table in that column, the row of the sheet."""
        target = self.tables[column.to]
        text = self.names[column.key].text
        return f'IF({no_key(target, text)},"",IFERROR({found_at(target, literal(text))},""))'

    def listed(self, column: Column) -> str:
        """Test that a typed value is on its list."""
        place = self.names.get(position_key(column.key))
        if place is not None:
            return f'{place.text}<>""'
        target, text = self.tables[column.to], self.names[column.key].text
        return f"IF({no_key(target, text)},FALSE,ISNUMBER({found_at(target, literal(text))}))"


def within(column: Column, operand: Piece) -> list[str]:
    """Cell tests that a number lies in the range of its column; none for a column without one."""
    return [] if column.span is None else quantity_tests(column.span, operand)


def _all(tests: Sequence[str]) -> str:
    return tests[0] if len(tests) == 1 else f"AND({','.join(tests)})"


def found_at(table: Table, wanted: str) -> str:
    """Where a key stands in the column of a table's keys: how every lookup begins."""
    return f"MATCH({wanted},{table.cells(table.key_column.key)},0)"


def no_key(table: Table, text: str) -> str:
    """Test that a text is blank or one of those that stand above a table's keys."""
    tests = ",".join(f'{text}="{word}"' for word in ("", *table.not_keys))
    return f"OR({tests})"


def literal(text: str) -> str:
    """A key for MATCH, in which * ? ~ of a text stand for themselves."""
    escaped = text
    for mark in "~*?":
        escaped = f'SUBSTITUTE({escaped},"{mark}","~{mark}")'
    return f"IF(ISTEXT({text}),{escaped},{text})"


def position_key(reference: str) -> str:
    """Key of the column that holds where a reference points."""
    return f"{reference}_row"


def lookup_parts(translator: RowText | RowPython, node: ast.Call) -> tuple[Table, Column, Column]:
    """Table, column and key column of a lookup; raises TranslationError where they do not fit."""
    if (
        len(node.args) not in (2, 3)
        or not isinstance(node.args[0], ast.Attribute)
        or not isinstance(node.args[1], ast.Name)
    ):
        raise translator.refuse(node, "lookup takes table.column and a reference or list column")
    table, column = ast.unparse(node.args[0]).split(".")
    key = translator.table.by_key.get(node.args[1].id)
    target = translator.tables.get(table)
    if target is None or column not in target.by_key:
        raise translator.refuse(node, f"there is no column {table}.{column}")
    if key is None or (len(node.args) == 2 and (key.kind not in ("reference", "list", "key") or key.to != table)):
        raise translator.refuse(node, f"{node.args[1].id} does not point to {table}")
    return target, target.by_key[column], key


def _one_name(translator: RowText, node: ast.Call) -> tuple[str, Column]:
    if len(node.args) != 1 or not isinstance(node.args[0], ast.Name) or node.args[0].id not in translator.table.by_key:
        raise translator.refuse(node, f"{ast.unparse(node)!r}: a column of the same row is wanted")
    name = node.args[0].id
    return translator.names[name].text, translator.table.by_key[name]


def _found(translator: RowText, node: ast.Call) -> str:
    _, column = _one_name(translator, node)
    return f"{translator.names[position_key(column.key)].text}<>{BLANK.text}"


def _unfilled(translator: RowText, node: ast.Call) -> str:
    _, column = _one_name(translator, node)
    target = translator.tables[column.to]
    position = translator.names[position_key(column.key)].text
    places = (target.cells(column.key) for column in target.telling)
    # IFERROR: as in _lookup
    blank = [f'IFERROR(INDEX({cells},{position})="",TRUE)' for cells in places]
    return f'IF({position}="",FALSE,AND({",".join(blank)}))'


def _is_usable(translator: RowText, node: ast.Call) -> str:
    text, column = _one_name(translator, node)
    return f"IF(ISNUMBER({text}),{_all([*within(column, Piece(text)), 'TRUE'])},FALSE)"


def _again(translator: RowText, node: ast.Call) -> str:
    """Whether a row above has the same id. The first row answers every lookup; one MATCH a row, as lookups have."""
    text, _ = _one_name(translator, node)
    ids = translator.table.cells(translator.table.key_column.key).rpartition("!")[2]
    return f'IF({text}="",FALSE,IFERROR(MATCH({literal(text)},{ids},0)<>ROW(),FALSE))'


TESTS: dict[str, Callable[[RowText, ast.Call], str]] = {
    "given": lambda t, node: f'{_one_name(t, node)[0]}<>""',
    "blank": lambda t, node: f'{_one_name(t, node)[0]}=""',
    "number": lambda t, node: f"ISNUMBER({_one_name(t, node)[0]})",
    "usable": _is_usable,
    "found": _found,
    "unfilled": _unfilled,
    "listed": lambda t, node: t.listed(_one_name(t, node)[1]),
    "again": _again,
}


# ---------------------------------------------------------------------------------------------------- Python


def joined_texts(words: str, key: object) -> object:
    """A key with words before it; no key, nothing."""
    return None if key is None else f"{words}{key}"


def unfilled(row: Mapping[str, object], told: Sequence[str]) -> bool:
    """Whether a row that was found has nothing in the columns that tell a filled one."""
    return row is not NOTHING and all(row.get(key) is None for key in told)


def python_answer(function: Callable[..., Any], *args: object) -> object:
    """A catalogue function's answer, None where it refuses its arguments.

    A blank cell never stands for an argument's default, as it would in Python: the expression says `default(x, value)`.
    """
    if None in args:
        return None
    try:
        return function(*args)
    except ArgumentError:
        return None


class _RowEntries(ast.NodeTransformer):
    """Writes each column's name as an entry of `row`."""

    def __init__(self, table: Table) -> None:
        self.table = table

    def visit_Attribute(self, node: ast.Attribute) -> ast.expr:
        return node

    def visit_Name(self, node: ast.Name) -> ast.expr:
        return ast.parse(f"row[{node.id!r}]", mode="eval").body if node.id in self.table.by_key else node


@dataclass
class RowPython:
    """Python source of a column's expression over a dict `row`; `find(table, key)` gives the row pointed to."""

    where: str
    table: Table
    tables: Mapping[str, Table]

    def refuse(self, node: ast.AST, reason: str) -> TranslationError:
        return TranslationError(self.where, getattr(node, "lineno", 0), reason)

    def result(self, node: ast.expr) -> str:  # noqa: PLR0911 - one return for each kind of expression
        if isinstance(node, ast.IfExp):
            return f"({self.result(node.body)} if {self.test(node.test)} else {self.result(node.orelse)})"
        if is_catalogue_call(node):
            assert isinstance(node, ast.Call)
            arguments = ", ".join(self.result(argument) for argument in node.args)
            return f"answer({called(node).replace('.', '_')}, {arguments})"
        if is_tally(node):
            return self._tally(node)
        if is_arithmetic(node):
            names = column_names(node, self.table)
            tests = [self._all_numbers(node), *(test for name in names for test in self._within(name))]
            return f"({self._plain(node)} if {' and '.join(tests)} else None)"
        if isinstance(node, ast.Call) and called(node) in ("lookup", "default", "month", "order"):
            write = {"lookup": self._lookup, "default": self._default, "month": self._month, "order": self._order}
            return write[called(node)](node)
        if isinstance(node, ast.Name) and node.id in self.table.by_key:
            value, tests = f"row[{node.id!r}]", self._within(node.id)
            return f"({value} if is_number({value}) and {' and '.join(tests)} else None)" if tests else value
        if isinstance(node, ast.Constant):
            return repr(node.value)
        raise self.refuse(node, f"{ast.unparse(node)!r} is not of the subset")

    def _within(self, name: str) -> list[str]:
        """Tests that a number in a column lies in its range."""
        span = self.table.by_key[name].span
        return [] if span is None else within_range(span, f"row[{name!r}]")

    def _tally(self, node: ast.expr) -> str:
        names = measure_of(node, self.tables, self.where).asked_numbers
        tests = [test for name in sorted(names) for test in (f"is_number(row[{name!r}])", *self._within(name))]
        figure = f"tally({ast.unparse(node)!r}, row)"
        return f"({figure} if {' and '.join(tests)} else None)" if tests else figure

    def _lookup(self, node: ast.Call) -> str:
        target, column, key = lookup_parts(self, node)
        wanted = f"row[{key.key!r}]"
        if key.kind == "key":
            return f"log.at({target.key!r}, row['key_row']).get({column.key!r})"
        if len(node.args) == 3:
            wanted = f"joined({ast.unparse(node.args[2])}, {wanted})"
        value = f"find({target.key!r}, {wanted}).get({column.key!r})"
        if column.span is None:
            return value
        return (
            f"(value if is_number(value := {value}) and {' and '.join(within_range(column.span, 'value'))} else None)"
        )

    def _default(self, node: ast.Call) -> str:
        value, other = (self.result(argument) for argument in node.args)
        typed = _RowEntries(self.table).visit(ast.parse(ast.unparse(node.args[0]), mode="eval").body)
        return f"({other} if {ast.unparse(typed)} is None else {value})"

    def _month(self, node: ast.Call) -> str:
        return f"month({', '.join(self.result(argument) for argument in node.args)})"

    def _order(self, node: ast.Call) -> str:
        reference, number = (self.table.by_key[key] for key in order_parts(node, self.table, self.where))
        place = f"log.position({reference.to!r}, row[{reference.key!r}])"
        return f"order({place}, row[{number.key!r}], {step_of(reference)!r})"

    def _plain(self, node: ast.expr) -> str:
        """Arithmetic with columns written as row entries."""
        return ast.unparse(_RowEntries(self.table).visit(ast.parse(ast.unparse(node), mode="eval").body))

    def _all_numbers(self, node: ast.expr) -> str:
        return " and ".join(f"is_number(row[{name!r}])" for name in column_names(node, self.table)) or "True"

    def test(self, node: ast.expr) -> str:
        if isinstance(node, ast.BoolOp):
            word = " and " if isinstance(node.op, ast.And) else " or "
            return "(" + word.join(self.test(value) for value in node.values) + ")"
        if isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not):
            return f"(not {self.test(node.operand)})"
        if isinstance(node, ast.Compare):
            return self._comparison(node)
        if isinstance(node, ast.Call) and len(node.args) == 1 and isinstance(node.args[0], ast.Name):
            value = f"row[{node.args[0].id!r}]"
            column = self.table.by_key.get(node.args[0].id)
            if column is not None and called(node) == "usable":
                return f"({' and '.join([f'is_number({value})', *self._within(column.key)])})"
            if column is not None and called(node) in PYTHON_TESTS:
                told = tuple(told.key for told in self.tables[column.to].telling) if column.to else ()
                own = repr(self.table.key)
                return PYTHON_TESTS[called(node)].format(value=value, table=repr(column.to), told=told, own=own)
        raise self.refuse(node, f"{ast.unparse(node)!r} is not a test")

    def _comparison(self, node: ast.Compare) -> str:
        if compares_words(node):
            one, other = (self.result(side) for side in (node.left, node.comparators[0]))
            wanted = f"same({one}, {other})"
            there = " and ".join(f"row[{name!r}] is not None" for name in column_names(node, self.table))
            return f"({there} and {wanted if isinstance(node.ops[0], ast.Eq) else f'not {wanted}'})"
        return f"({self._all_numbers(node)} and {self._plain(node)})"


def within_range(span: Quantity, value: str) -> list[str]:
    """Python tests that a number lies in its range."""
    tests = [
        f"{value} {'>' if span.above else '>='} {span.low!r}",
        f"{value} {'<' if span.below else '<='} {span.high!r}",
    ]
    return [*tests, f"{value} == math.floor({value})"] if span.whole else tests


PYTHON_TESTS = {
    "given": "({value} is not None)",
    "blank": "({value} is None)",
    "number": "is_number({value})",
    "found": "(find({table}, {value}) is not NOTHING)",
    "listed": "(find({table}, {value}) is not NOTHING)",
    "unfilled": "unfilled(find({table}, {value}), {told})",
    "again": "({value} is not None and find({own}, {value}) is not row)",
}

NOTHING: dict[str, object] = {}


def python_function(expression: str, table: Table, tables: Mapping[str, Table], where: str, test: bool = False) -> Any:
    """A function (rows, find, tally, log) -> the values of an expression, one for each row.

    With `test`, for a rule's condition, the positions of the rows for which it holds. One call goes through all rows: a
    call for each takes three times as long. `find(table, key)` gives the row pointed to, `tally(measure, row)` a figure
    over another table; `log` knows in which rows of its sheets things stand.
    """
    writer = RowPython(where, table, tables)
    node = parsed(expression, where)
    scope: dict[str, Any] = {
        "answer": python_answer,
        "is_number": is_number,
        "same": same,
        "nearest": nearest,
        "math": math,
        "NOTHING": NOTHING,
        "joined": joined_texts,
        "unfilled": unfilled,
        "month": month,
        "order": order,
    }
    for call_node in ast.walk(node):
        if isinstance(call_node, ast.Call) and is_catalogue_call(call_node):
            found = entry(called(call_node))
            scope[called(call_node).replace(".", "_")] = found.function
    if test:
        text = f"lambda rows, find, tally, log: [position for position, row in enumerate(rows) if {writer.test(node)}]"
    else:
        text = f"lambda rows, find, tally, log: [{writer.result(node)} for row in rows]"
    return eval(compile(text, where, "eval"), scope)  # written above from a checked tree
