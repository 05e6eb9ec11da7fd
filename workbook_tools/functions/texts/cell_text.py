"""Translates a Python expression into cell text that computes the same.

The subset: numbers, words, names, + - * / **, comparisons and their chains, and/or/not, if-expressions, `math`
constants and functions, min, max, abs, `nearest`, calls of other formulas of ours; in functions also local
assignments, and `if` with a return in each branch. Anything else is refused with its line.

Left out with a reason: // and %, in which spreadsheets and Python differ for decimals (6 // 0.2 is 29 or 30), `and` and
`or` of numbers, and tests compared with numbers.

Traps it is written around: a cell's minus binds tighter than its power (-2^2 is 4), powers run from the left
(2^3^2 is 64), `round` halves to even in Python and away from zero in a cell (so `round` is refused and `nearest`
taken), int() and math.ceil of negative numbers.
"""

from __future__ import annotations

import ast
import inspect
import math
import textwrap
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from workbook_tools.errors import TranslationError
from workbook_tools.functions.catalogue import entry
from workbook_tools.functions.quantities import CheckedFunction, Choice, Parameter, Quantity, Series
from workbook_tools.functions.texts.worksheet_functions import FORMULA_LIMIT

ATOM, UNARY, POWER, PRODUCT, TOTAL, COMPARED = 10, 9, 8, 7, 6, 4
OPERATORS: dict[type[ast.operator], tuple[str, int]] = {
    ast.Add: ("+", TOTAL),
    ast.Sub: ("-", TOTAL),
    ast.Mult: ("*", PRODUCT),
    ast.Div: ("/", PRODUCT),
    ast.Pow: ("^", POWER),
}
COMPARISONS: dict[type[ast.cmpop], str] = {
    ast.Lt: "<",
    ast.LtE: "<=",
    ast.Gt: ">",
    ast.GtE: ">=",
    ast.Eq: "=",
    ast.NotEq: "<>",
}
# Python function -> cell text with the arguments' places
FUNCTIONS: dict[str, tuple[int, str]] = {
    "abs": (1, "ABS({0})"),
    "math.exp": (1, "EXP({0})"),
    "math.log": (1, "LN({0})"),
    "math.log10": (1, "LOG10({0})"),
    "math.sqrt": (1, "SQRT({0})"),
    "math.floor": (1, "INT({0})"),
    "math.ceil": (1, "-INT(-({0}))"),
    "math.trunc": (1, "TRUNC({0})"),
    "nearest": (2, "ROUND({0},{1})"),
    "normal_quantile": (1, "NORMSINV({0})"),
    "none_infected": (3, "IF({1}+{2}>{0},0,HYPGEOMDIST(0,{1},{2},{0}))"),
    "sum_above_zero": (1, 'SUMIF({0},">0")'),
}
CONSTANTS = {"math.pi": "PI()", "math.e": "EXP(1)"}


@dataclass(frozen=True)
class Piece:
    """Cell text with how tightly its outermost operator binds."""

    text: str
    binds: int = ATOM

    def inside(self, level: int) -> str:
        return self.text if self.binds > level else f"({self.text})"


def number_piece(value: float) -> Piece:
    """A number as cell text, with every digit."""
    if isinstance(value, bool) or not math.isfinite(value):
        raise ValueError(f"{value!r} cannot stand in a cell")
    written = repr(int(value)) if value == int(value) and abs(value) < 1e15 else repr(float(value)).upper()
    return Piece(written, UNARY if value < 0 else ATOM)


def text_piece(value: str) -> Piece:
    return Piece('"' + value.replace('"', '""') + '"')


def is_test(node: ast.expr) -> bool:
    """Whether an expression is true or false by its form."""
    negation = isinstance(node, ast.UnaryOp) and isinstance(node.op, ast.Not)
    return (
        negation
        or isinstance(node, ast.Compare | ast.BoolOp)
        or (isinstance(node, ast.Constant) and isinstance(node.value, bool))
    )


@dataclass
class Translator:
    """Translates expressions; `names` gives the cell text of each name. Hosts add names and calls by subclassing."""

    where: str
    names: Mapping[str, Piece]
    globals: Mapping[str, Any] = field(default_factory=dict)

    def refuse(self, node: ast.AST, reason: str) -> TranslationError:
        return TranslationError(self.where, getattr(node, "lineno", 0), reason)

    def piece(self, node: ast.expr) -> Piece:
        """Cell text of one expression. Raises TranslationError for what the subset leaves out."""
        method: Callable[[Any], Piece] | None = getattr(self, f"_{type(node).__name__.lower()}", None)
        if method is None:
            raise self.refuse(node, f"{ast.unparse(node)!r} has no equal in cell text")
        return method(node)

    def _constant(self, node: ast.Constant) -> Piece:
        if isinstance(node.value, bool):
            return Piece("TRUE" if node.value else "FALSE")
        if isinstance(node.value, int | float):
            return self._number(node, node.value)
        if isinstance(node.value, str):
            return text_piece(node.value)
        raise self.refuse(node, f"{node.value!r} has no equal in cell text")

    def _number(self, node: ast.expr, value: float) -> Piece:
        try:
            return number_piece(value)
        except (ValueError, OverflowError) as error:
            raise self.refuse(node, str(error)) from error

    def _name(self, node: ast.Name) -> Piece:
        if node.id in self.names:
            return self.names[node.id]
        value = self.globals.get(node.id)
        if isinstance(value, int | float) and not isinstance(value, bool):
            return self._number(node, value)
        raise self.refuse(node, f"the name {node.id!r} is not known")

    def _attribute(self, node: ast.Attribute) -> Piece:
        name = ast.unparse(node)
        if name in CONSTANTS:
            return Piece(CONSTANTS[name])
        raise self.refuse(node, f"{name!r} has no equal in cell text")

    def _unaryop(self, node: ast.UnaryOp) -> Piece:
        if isinstance(node.op, ast.Not):
            return Piece(f"NOT({self.piece(node.operand).text})")
        operand = self.piece(node.operand)
        if isinstance(node.op, ast.USub):
            return Piece(f"-{operand.inside(UNARY)}", UNARY)
        if isinstance(node.op, ast.UAdd):
            return operand
        raise self.refuse(node, f"{ast.unparse(node)!r} has no equal in cell text")

    def _binop(self, node: ast.BinOp) -> Piece:
        left, right = self.piece(node.left), self.piece(node.right)
        if isinstance(node.op, ast.FloorDiv | ast.Mod):
            raise self.refuse(node, f"{ast.unparse(node)!r}: spreadsheets differ in // and % of decimals")
        if type(node.op) not in OPERATORS:
            raise self.refuse(node, f"{ast.unparse(node)!r} has no equal in cell text")
        sign, level = OPERATORS[type(node.op)]
        if level == POWER:
            return Piece(f"{left.inside(UNARY)}^{right.inside(UNARY)}", POWER)
        after = f"({right.text})" if right.text.startswith("-") else right.inside(level)
        return Piece(f"{left.inside(level - 1)}{sign}{after}", level)

    def _compare(self, node: ast.Compare) -> Piece:
        sides = [node.left, *node.comparators]
        if 0 < sum(is_test(side) for side in sides) < len(sides):
            raise self.refuse(node, f"{ast.unparse(node)!r} compares a test with a number")
        parts = []
        for left, sign, right in zip(sides, node.ops, sides[1:], strict=False):
            if type(sign) not in COMPARISONS:
                raise self.refuse(node, f"{ast.unparse(node)!r} has no equal in cell text")
            one, other = self.piece(left).inside(COMPARED), self.piece(right).inside(COMPARED)
            parts.append(f"{one}{COMPARISONS[type(sign)]}{other}")
        return Piece(parts[0], COMPARED) if len(parts) == 1 else Piece(f"AND({','.join(parts)})")

    def _boolop(self, node: ast.BoolOp) -> Piece:
        if not all(is_test(value) or isinstance(value, ast.Call) for value in node.values):
            raise self.refuse(node, f"{ast.unparse(node)!r}: `and` and `or` join tests only")
        name = "AND" if isinstance(node.op, ast.And) else "OR"
        return Piece(f"{name}({','.join(self.piece(value).text for value in node.values)})")

    def _ifexp(self, node: ast.IfExp) -> Piece:
        parts = (self.piece(part).text for part in (node.test, node.body, node.orelse))
        return Piece(f"IF({','.join(parts)})")

    def _call(self, node: ast.Call) -> Piece:
        name = ast.unparse(node.func)
        if node.keywords or any(isinstance(argument, ast.Starred) for argument in node.args):
            raise self.refuse(node, f"{ast.unparse(node)!r}: arguments by name or spread have no equal in cell text")
        if name in ("max", "min") and len(node.args) > 1:
            return Piece(f"{name.upper()}({','.join(self.piece(argument).text for argument in node.args)})")
        if name in FUNCTIONS:
            count, pattern = FUNCTIONS[name]
            if len(node.args) != count:
                raise self.refuse(node, f"{name} takes {count} arguments here")
            text = pattern.format(*(self.piece(argument).text for argument in node.args))
            return Piece(text, UNARY if text.startswith("-") else ATOM)
        if name == "round":
            raise self.refuse(node, "round() takes halves to even; use nearest()")
        function = self.globals.get(name)
        if inspect.isfunction(function):
            try:
                return body_piece(function, [self.piece(argument) for argument in node.args])
            except RecursionError as error:
                raise self.refuse(node, f"{name!r} calls itself without end") from error
        raise self.refuse(node, f"the function {name!r} has no equal in cell text")


def body_piece(function: Callable[..., Any], operands: Sequence[Piece]) -> Piece:
    """Cell text of a Python function's body with its arguments replaced, argument checks left out."""
    check = getattr(function, "checked", None)
    plain = check.function if isinstance(check, CheckedFunction) else function
    where = f"{plain.__module__}.{plain.__name__}"
    tree = ast.parse(textwrap.dedent(inspect.getsource(plain))).body[0]
    assert isinstance(tree, ast.FunctionDef)
    arguments = [a.arg for a in tree.args.args]
    if len(operands) != len(arguments):
        raise TranslationError(where, tree.lineno, f"takes {len(arguments)} arguments, {len(operands)} were given")
    names = dict(zip(arguments, operands, strict=True))
    return _block(tree.body, Translator(where, names, plain.__globals__), tree)


def _block(statements: Sequence[ast.stmt], translator: Translator, parent: ast.AST) -> Piece:
    names = dict(translator.names)
    here = Translator(translator.where, names, translator.globals)
    for number, statement in enumerate(statements):
        if isinstance(statement, ast.Expr) and isinstance(statement.value, ast.Constant):
            continue  # docstring
        if isinstance(statement, ast.Return) and statement.value is not None:
            return here.piece(statement.value)
        if isinstance(statement, ast.Assign) and len(statement.targets) == 1:
            target = statement.targets[0]
            if isinstance(target, ast.Name):
                names[target.id] = here.piece(statement.value)
                if len(names[target.id].text) > FORMULA_LIMIT:  # steps upon steps would grow without end
                    raise here.refuse(statement, f"{target.id!r} alone is longer than a cell holds")
                continue
        if isinstance(statement, ast.If):
            test = here.piece(statement.test).text
            then = _block(statement.body, here, statement).text
            rest = statement.orelse or statements[number + 1 :]
            return Piece(f"IF({test},{then},{_block(rest, here, statement).text})")
        raise here.refuse(statement, f"{ast.unparse(statement).splitlines()[0]!r} has no equal in cell text")
    raise here.refuse(parent, "ends without a return")


def type_tests(parameter: Parameter, operand: Piece) -> list[str]:
    """Cell tests that an argument is there and of the right type."""
    if isinstance(parameter.kind, Quantity):
        return [f"ISNUMBER({operand.text})"]
    if isinstance(parameter.kind, Series):  # COUNT passes over blanks and texts, so it finds them
        return [f"COUNT({operand.text})=ROWS({operand.text})*COLUMNS({operand.text})"]
    return [f"ISTEXT({operand.text})"]


def range_tests(parameter: Parameter, operand: Piece) -> list[str]:
    """Cell tests that an argument of the right type lies in its range."""
    kind = parameter.kind
    value = operand.inside(COMPARED)
    if isinstance(kind, Choice):
        return [f"OR({','.join(f'{value}={text_piece(word).text}' for word in kind.words)})"]
    if isinstance(kind, Series):
        low, high = number_piece(kind.item.low).text, number_piece(kind.item.high).text
        too_low, too_high = "<=" if kind.item.above else "<", ">=" if kind.item.below else ">"
        return [f'COUNTIF({operand.text},"{too_low}{low}")=0', f'COUNTIF({operand.text},"{too_high}{high}")=0']
    return quantity_tests(kind, operand) if isinstance(kind, Quantity) else []


def quantity_tests(kind: Quantity, operand: Piece) -> list[str]:
    """Cell tests that a number lies in its range."""
    value = operand.inside(COMPARED)
    tests = [
        f"{value}{'>' if kind.above else '>='}{number_piece(kind.low).text}",
        f"{value}{'<' if kind.below else '<='}{number_piece(kind.high).text}",
    ]
    return [*tests, f"{value}=INT({operand.text})"] if kind.whole else tests


def guarded(check: CheckedFunction, operands: Sequence[Piece], body: str, fails: tuple[str, str]) -> str:
    """`body` behind the tests of the arguments; `fails` are what stands for a wrong type and for a wrong range."""
    pairs = list(zip(check.parameters, operands, strict=True))
    types = [test for parameter, operand in pairs for test in type_tests(parameter, operand)]
    words = [pair for pair in pairs if isinstance(pair[0].kind, Choice)]  # a word off its list is of the wrong kind
    listed = [test for parameter, operand in words for test in range_tests(parameter, operand)]
    ranges = [test for pair in pairs if pair not in words for test in range_tests(*pair)]
    names = {parameter.name: operand for parameter, operand in pairs}
    relations = [
        Translator(check.name, names, relation.names).piece(ast.parse(relation.expression, mode="eval").body).text
        for relation in check.relations
    ]
    # nested, since AND computes all its arguments: a relation may divide by what the range refuses
    if relations:
        body = f"IF(AND({','.join(relations)}),{body},{fails[1]})"
    if ranges:
        body = f"IF(AND({','.join(ranges)}),{body},{fails[1]})"
    if listed:
        body = f"IF(AND({','.join(listed)}),{body},{fails[0]})"
    return f"IF(AND({','.join(types)}),{body},{fails[0]})"


def cell_text(name: str, operands: Sequence[str], fails: tuple[str, str] | None = ('""', '""')) -> str:
    """Formula text of a catalogue function over cell references, table references or numbers.

    Parameters
    ----------
    name : worksheet name, "BATH.MASS".
    operands : cell text of each argument, "$F5", "Baths[[#This Row],[Start dose mg/L]]" or "80". Optional ones may be
        left out; an optional one given as a reference counts as left out while its cell is blank.
    fails : what the cell shows for an argument missing or of a wrong type, and for one out of range. None leaves the
        tests out.

    Returns
    -------
    The formula without its equals sign.

    Raises
    ------
    UnknownFunctionError, TranslationError (also when the text passes the 8,192 characters a cell can hold).

    Examples
    --------
    >>> cell_text("VESSEL.FILLTEST", ["A1", "B1"], fails=None)
    'A1*B1'
    """
    found = entry(name)
    pieces = operand_pieces(found.check, operands)
    body = body_piece(found.function, pieces).text
    text = body if fails is None else guarded(found.check, pieces, body, fails)
    if len(text) > FORMULA_LIMIT:
        raise TranslationError(found.name, 1, f"the cell text has {len(text)} characters; a cell holds {FORMULA_LIMIT}")
    return text


def operand_pieces(check: CheckedFunction, operands: Sequence[str]) -> list[Piece]:
    """Operands as pieces, defaults filled in. Raises TranslationError for a wrong number of them."""
    if len(operands) > len(check.parameters):
        raise TranslationError(check.name, 1, f"takes {len(check.parameters)} arguments, not {len(operands)}")
    pieces = []
    for number, parameter in enumerate(check.parameters):
        default = None if parameter.default is None else number_piece(parameter.default)
        if number >= len(operands):
            if default is None:
                raise TranslationError(check.name, 1, f"argument {parameter.label} is missing")
            pieces.append(default)
            continue
        given = operand_piece(operands[number])
        optional = default is not None and not _is_literal(operands[number])
        pieces.append(Piece(f'IF({given.text}="",{default.text},{given.text})') if optional and default else given)
    return pieces


def operand_piece(text: str) -> Piece:
    return Piece(text, UNARY if text.startswith("-") else ATOM)


def _is_literal(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


def translatable(name: str) -> bool:
    """Whether a catalogue function has an exact equal as cell text."""
    try:
        cell_text(name, [f"A{number}" for number in range(1, len(entry(name).parameters) + 1)])
    except TranslationError:
        return False
    return True
