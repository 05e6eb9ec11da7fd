"""Python expressions as cell text: the same answer in Python, in formualizer and in LibreOffice, or a refusal."""

from __future__ import annotations

import ast
import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from fractions import Fraction
from typing import Any

import formualizer
import pytest
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from openpyxl.utils.cell import coordinate_to_tuple

from tests.support.office import CellValue, Office, OfficeError
from tests.support.plain_workbook import Formula
from tests.test_built_files import built, function_names, texts_of_formulas
from workbook_tools.errors import TranslationError
from workbook_tools.functions.catalogue import entries
from workbook_tools.functions.formulas.bath import mass
from workbook_tools.functions.formulas.rounding import nearest
from workbook_tools.functions.texts.cell_text import Piece, Translator, body_piece, cell_text, translatable
from workbook_tools.functions.texts.worksheet_functions import ALLOWED, FORMULA_LIMIT

Values = tuple[float, float, float]
SHEET = "Sheet1"
ERROR = "error"
LIMIT = -1.5
WHOLE = 10
TINY = 1.5e-7
SCOPE = {"math": math, "nearest": nearest, "LIMIT": LIMIT, "WHOLE": WHOLE, "TINY": TINY}


def by_formualizer(formulas: Sequence[str], cells: Mapping[str, Any]) -> list[Any]:
    """Results of formulas, as `Office.evaluate` gives LibreOffice's; an error is ERROR."""
    book = formualizer.Workbook()
    book.add_sheet(SHEET)
    for address, value in cells.items():
        if isinstance(value, Formula):
            book.set_formula(SHEET, *coordinate_to_tuple(address), f"={value.stored}")
        elif value is not None:
            book.set_value(SHEET, *coordinate_to_tuple(address), value)
    far = 1000  # a column right of every input
    for row, text in enumerate(formulas, start=1):
        book.set_formula(SHEET, row, far, f"={text}")
    found = book.evaluate_cells([(SHEET, row, far) for row in range(1, len(formulas) + 1)])
    return [ERROR if isinstance(value, dict) else as_cell(value) for value in found]


def by_libreoffice(office: Office, formulas: Sequence[str], cells: Mapping[str, Any]) -> list[Any]:
    return [as_office(value) for value in office.evaluate(formulas, cells)]


def as_cell(value: Any) -> Any:
    """A result as cells compare it: TRUE is 1."""
    return float(value) if isinstance(value, bool | int | float) else value


def as_office(value: CellValue) -> Any:
    return ERROR if isinstance(value, OfficeError) else value


def agree(one: Any, other: Any) -> bool:
    """Numbers to a billionth, everything else exactly."""
    if isinstance(one, float) and isinstance(other, float):
        return one == other or math.isclose(one, other, rel_tol=1e-9, abs_tol=1e-300)
    return bool(one == other)


def in_python(compute: Callable[[], Any]) -> Any:
    """An answer as a cell shows it: what Python refuses to compute is an error."""
    try:
        answer = compute()
    except (ZeroDivisionError, ValueError, OverflowError):
        return ERROR
    return as_cell(answer)


def addresses(row: int) -> dict[str, Piece]:
    return {name: Piece(f"{letter}{row}") for name, letter in zip("abc", "ABC", strict=True)}


def inputs(rows: Iterable[Values]) -> dict[str, float]:
    return {
        f"{letter}{row}": value
        for row, values in enumerate(rows, start=1)
        for letter, value in zip("ABC", values, strict=True)
    }


def translated(expression: str, row: int) -> str:
    node = ast.parse(expression, mode="eval").body
    return Translator("here", addresses(row), SCOPE).piece(node).text


def disagreements(office: Office, asked: Sequence[tuple[str, Values, str, Any]]) -> list[str]:
    """Each (source, values, cell text, Python's answer) that one of the two engines answers otherwise, in words."""
    texts = [text for _, _, text, _ in asked]
    cells = inputs(values for _, values, _, _ in asked)
    found = zip(asked, by_formualizer(texts, cells), by_libreoffice(office, texts, cells), strict=True)
    return [
        f"{source} of {values}, as {text}: Python {expected!r}, formualizer {one!r}, LibreOffice {other!r}"
        for (source, values, text, expected), one, other in found
        if not (agree(expected, one) and agree(expected, other))
    ]


# --------------------------------------------------------------------------------------------- expressions

VALUES: tuple[Values, ...] = (
    (1, 2, 3),
    (3, 2, 1),
    (2, 2, 2),
    (-2.5, 1.5, 0.25),
    (7, -3, 2),
    (-0.5, -1.5, 4),
    (0.125, -0.125, -1),
    (0, 5, -2),
)
EXPRESSIONS = {
    "powers": (
        *("-2**2", "(-2)**2", "2**3**2", "(2**3)**2", "2**-1", "-2**-2", "-a**2", "(-a)**2", "a**-2", "a**2*b"),
        *("-a**2*b", "(a*b)**2", "a*b**2", "2**(a<b)", "(-a*b)**2", "-(-a)**2", "a**2**1", "(a**2)**2", "--a**2"),
    ),
    "signs": (
        *("a-(b-c)", "a-b-c", "(a-b)-c", "a-(b+c)", "a-(-b)", "a- -b", "a+-b", "a*-b", "-a*b", "-(a*b)", "-a-b"),
        *("-(a+b)", "-(-a)", "+a", "-+a", "a-(-(-b))", "a*-b*-c", "-a+-b*-c", "a-(b-(c-1))", "-1.5*a", "LIMIT*a"),
        *(
            "a-LIMIT",
            "a**2-LIMIT**2",
            "LIMIT**2",
            "WHOLE*a",
            "a-TINY",
            "TINY*a+1e-12",
            "a*1e20",
            "a+0.1",
            "a*123456789",
        ),
    ),
    "quotients": (
        *("a/(b/c)", "a/b/c", "(a/b)/c", "a/(b*c)", "a*(b/c)", "a*b/c", "a/b*c", "a/-b", "-a/b", "a/(b+c)"),
        *("(a+b)/(b-c)", "1/(a-b)", "a/b-b/a"),
    ),
    "comparisons": (
        *("a<b", "a<=b", "a>b", "a>=b", "a==b", "a!=b", "a<b<c", "a<b<=c", "a<=b==c", "a>b>c", "a!=b!=c", "a+1<b*2"),
        *("-a<b", "(a<b)+1", "-(a<b)", "(a<b)*c", "(a<b)==(b<c)", "(a<b<c)*2", "(a<b)-(b<c)", "(a<b)/2"),
        *("a<b and b<c", "a<b or b<c", "not a<b", "not (a<b and b<c)", "not a<b and b<c", "not (a<b or b<c)"),
        *("a<b or b<c and a<c", "(a<b or b<c) and a<c", "not not a<b", "a<b and b<c or not a<c", "(a<b and b<c)+1"),
    ),
    "branches": (
        *("a if a<b else b", "a if a<b else b if b<c else c", "(a if a<b else b) if b<c else (c if a<c else -c)"),
        *("(a if a<b else b)**2", "-(a if a<b else b)", "-(a if a<b else b)**2", "a-(b if a<b else c)*2"),
        *("a if a<b<c else -a", "1/b if b!=0 else 0", "1/a if a!=0 else 0", "'yes' if a<b else 'no'"),
        *("'say \"yes\"' if a<b else ''", "a if not a<b or b<c else b", "(a<b) if a<c else (b<c)"),
    ),
    "functions": (
        *("math.floor(a)", "math.ceil(a)", "math.trunc(a)", "math.floor(-a)", "math.ceil(-a)", "math.trunc(-a)"),
        *("math.ceil(a)-math.ceil(b)", "2**math.ceil(a)", "math.ceil(a)**2", "-math.ceil(a)", "a*math.ceil(b)"),
        *("math.ceil(a)*b", "-math.ceil(a)**2", "math.ceil(a)/2", "math.ceil(a)-1", "abs(a-b)"),
        *("nearest(a,0)", "nearest(a,1)", "nearest(a/7,3)", "nearest(-a/7,3)", "nearest(a*1234.5,-2)", "-abs(a)**2"),
        *("nearest(a+0.005,2)", "nearest(-a-0.005,2)", "max(a,b)", "min(a,b)", "max(a,b,c)", "min(a,b,c)"),
        *("-max(a,b)**2", "max(-a,b)-min(a,-b)", "max(a<b,c)", "math.exp(a)", "math.exp(-a**2)", "math.log(abs(a)+1)"),
        *("math.log(a)", "math.log10(abs(a)+1)", "math.log10(a)", "math.sqrt(abs(a))", "math.sqrt(a)", "math.pi*a**2"),
        *("math.e**a", "-math.pi", "math.exp(math.log(abs(a)+2))", "math.sqrt(a**2+b**2)"),
    ),
}


@pytest.mark.parametrize("group", EXPRESSIONS)
def test_expressions(group: str, office: Office) -> None:
    asked: list[tuple[str, Values, str, Any]] = []
    for expression in EXPRESSIONS[group]:
        for values in VALUES:
            scope = SCOPE | dict(zip("abc", map(float, values), strict=True))
            expected = in_python(lambda e=expression, s=scope: eval(e, s))  # type: ignore[misc]
            asked.append((expression, values, translated(expression, len(asked) + 1), expected))
    assert sum(expected != ERROR for *_, expected in asked) > len(asked) * 0.8
    found = disagreements(office, asked)
    assert not found, "\n".join(found)


@pytest.mark.parametrize("expression", ["a // b", "a % b", "-(a // 2) + 1", "2 * a % 3"])
def test_whole_quotients_are_refused(expression: str) -> None:
    """7 // 0.1 is 69 in Python, since 0.1 is a hair more than a tenth; 7 / 0.1 rounds to 70 before INT sees it."""
    with pytest.raises(TranslationError, match="spreadsheets differ in // and %"):
        translated(expression, 1)


def test_or_and_and_of_numbers_are_refused() -> None:
    """Python's `a or b` is a number, OR(a,b) is TRUE or FALSE."""
    for expression in ("a or b", "a and b", "(a or b) * 2"):
        with pytest.raises(TranslationError):
            translated(expression, 1)


def test_a_test_compared_with_a_number_is_refused() -> None:
    """Python's True is 1; in Excel TRUE=1 is FALSE, in LibreOffice it is TRUE."""
    for expression in ("(a < b) == c", "(a < b) > 0", "1 == (a < b)"):
        with pytest.raises(TranslationError):
            translated(expression, 1)


# ----------------------------------------------------------------------------------------------- functions


def branches(a: float, b: float, c: float) -> float:
    if a > b:
        return a - c
    if b > c:
        return (b - c) ** 2
    return -c


def branches_within(a: float, b: float, c: float) -> float:
    """A docstring is no statement."""
    if a > b:
        if b > c:
            return a
        return b
    elif a == b:  # noqa: RET505 - else and elif are part of what is tried
        return -a
    else:
        return c if c > a else -(a - c)


def locals_upon_locals(a: float, b: float, c: float) -> float:
    total = a + b
    half = total / 2
    total = half - c
    return total**2 - half * total


def locals_before_branches(a: float, b: float, c: float) -> float:
    low = min(a, b)
    if low < c:
        gap = c - low
        return gap * 2
    gap = low - c
    return -gap


def helper(value: float, limit: float) -> float:
    over = value - limit
    return over if over > 0 else 0


def calls_others(a: float, b: float, c: float) -> float:
    return helper(a - b, c) - helper(-a, LIMIT) ** 2 + WHOLE


def shadows_a_constant(a: float, b: float, c: float) -> float:
    LIMIT = a * 2  # noqa: N806 - a local of the name of a constant of the module
    return LIMIT - b


def calls_a_formula(a: float, b: float, c: float) -> float:
    return mass(abs(a) + 1, abs(b) + 1, 0.5) - c


FUNCTIONS: tuple[Callable[..., float], ...] = (
    *(branches, branches_within, locals_upon_locals, locals_before_branches, calls_others, shadows_a_constant),
    calls_a_formula,
)


@pytest.mark.parametrize("function", FUNCTIONS, ids=lambda function: function.__name__)
def test_functions(function: Callable[..., float], office: Office) -> None:
    asked = [
        (
            function.__name__,
            values,
            body_piece(function, list(addresses(row).values())).text,
            as_cell(function(*values)),
        )
        for row, values in enumerate(VALUES, start=1)
    ]
    found = disagreements(office, asked)
    assert not found, "\n".join(found)


# ------------------------------------------------------------------------------------------------ refusals


def rounds(a: float) -> float:
    share = a / 3
    return round(share)


def loops(a: float) -> float:
    total = 0.0
    for _ in range(3):
        total += a
    return total


def turns(a: float) -> float:
    while a > 1:
        a = a / 2
    return a


def unknown(a: float) -> float:
    return a + nowhere  # type: ignore[name-defined]  # noqa: F821


def unknown_function(a: float) -> float:
    return elsewhere(a)  # type: ignore[name-defined]  # noqa: F821


def by_name(a: float) -> float:
    return nearest(a, digits=2)


def of_text(a: str) -> str:
    return a.upper()


def attribute(a: float) -> float:
    return a.real


def picks(a: Sequence[float]) -> float:
    return a[0]


def grows(a: float) -> float:
    a += 1
    return a


def two_at_once(a: float) -> float:
    low, high = a, a + 1
    return high - low


def falls_through(a: float) -> float:
    if a > 0:  # noqa: SIM108 - a branch without a return is what is tried
        result = a
    else:
        result = -a
    return result


def no_return(a: float) -> None:
    double = a * 2  # noqa: F841


def raises(a: float) -> float:
    if a > 0:
        return a
    raise ValueError


def made_up(a: float) -> float:
    return sum(part for part in (a, 1))


def formatted(a: float) -> str:
    return f"{a}"


def one_argument(a: float) -> float:
    return max(a)  # type: ignore[call-overload,no-any-return]


def spread(a: float) -> float:
    return max(*(a, 1.0))


def with_base(a: float) -> float:
    return math.log(a, 2)


def is_nothing(a: float | None) -> bool:
    return a is None


def among(a: float) -> bool:
    return a in (1, 2)


def bits(a: int) -> int:
    return a << 1


def endless(a: float) -> float:
    return a * 1e999


REFUSALS: tuple[tuple[Callable[..., Any], int, str], ...] = (
    (rounds, 3, "round() takes halves to even"),
    (loops, 3, "for _ in range(3):"),
    (turns, 2, "while a > 1:"),
    (unknown, 2, "the name 'nowhere' is not known"),
    (unknown_function, 2, "the function 'elsewhere'"),
    (by_name, 2, "arguments by name"),
    (of_text, 2, "a.upper"),
    (attribute, 2, "'a.real'"),
    (picks, 2, "a[0]"),
    (grows, 2, "a += 1"),
    (two_at_once, 2, "low, high"),
    (falls_through, 2, "without a return"),
    (no_return, 1, "without a return"),
    (raises, 4, "raise ValueError"),
    (made_up, 2, "'sum'"),
    (formatted, 2, "has no equal"),
    (one_argument, 2, "'max'"),
    (spread, 2, "max(*(a, 1.0))"),
    (with_base, 2, "math.log takes 1 argument"),
    (is_nothing, 2, "a is None"),
    (among, 2, "a in (1, 2)"),
    (bits, 2, "a << 1"),
    (endless, 2, "inf"),
)


@pytest.mark.parametrize(("function", "line", "reason"), REFUSALS, ids=[case[0].__name__ for case in REFUSALS])
def test_refused_with_where_and_line(function: Callable[..., Any], line: int, reason: str) -> None:
    """Lines are counted from the function's own first line."""
    with pytest.raises(TranslationError) as caught:
        body_piece(function, [Piece("A1")])
    error = caught.value
    assert error.where == f"{__name__}.{function.__name__}"
    assert error.line == line
    assert reason in error.reason
    assert str(error) == f"{error.where}, line {line}: {error.reason}"


def test_wrong_numbers_of_arguments_are_refused() -> None:
    with pytest.raises(TranslationError, match="takes 3 arguments, 1 were given"):
        body_piece(branches, [Piece("A1")])
    with pytest.raises(TranslationError, match="takes 3 arguments, not 4"):
        cell_text("BATH.MASS", ["A1", "B1", "C1", "D1"])
    with pytest.raises(TranslationError, match="argument dose is missing"):
        cell_text("BATH.MASS", ["A1"])


def test_a_text_too_long_for_a_cell_is_refused() -> None:
    with pytest.raises(TranslationError, match="a cell holds 8192"):
        cell_text("BATH.STEPDOSE", ["A1+" * 700 + "1", "B1", "C1", "D1"])


@pytest.mark.parametrize("value", [math.inf, math.nan])
def test_a_constant_that_no_cell_holds_is_refused_with_its_line(value: float) -> None:
    node = ast.parse("a * 2 + BOUND", mode="eval").body
    with pytest.raises(TranslationError, match="here, line 1: "):
        Translator("here", addresses(1), {"BOUND": value}).piece(node)


# ---------------------------------------------------------------------------------------------- allow-list


@pytest.mark.parametrize("name", [entry.name for entry in entries() if translatable(entry.name)])
def test_formulas_use_only_functions_of_every_host(name: str) -> None:
    count = next(len(entry.parameters) for entry in entries() if entry.name == name)
    text = cell_text(name, [f"$F{number}" for number in range(1, count + 1)])
    assert function_names(text) <= ALLOWED
    assert len(text) <= FORMULA_LIMIT


@pytest.mark.parametrize("which", ["empty log", "filled log", "empty bench", "filled bench"])
def test_workbooks_use_only_functions_of_every_host(which: str) -> None:
    """Cells, columns of tables, rules, notices and names alike."""
    texts = texts_of_formulas(built(which))
    assert len(texts) > 50
    used = {name for text in texts for name in function_names(text)}
    assert {"IF", "ISNUMBER", "AND"} <= used <= ALLOWED


def test_function_names_are_found() -> None:
    text = "IF(A1=\"SUM(x)\",'LEFT(1)'!B2,_xlfn.XLOOKUP(a1,INDEX(C:C,ROW( ) ),lower(D1)))"
    assert function_names(text) == {"IF", "_xlfn.XLOOKUP", "INDEX", "ROW", "lower"}


# --------------------------------------------------------------------------------------- random expressions

leaves = st.one_of(st.sampled_from("abc"), st.sampled_from(["2", "3", "0.5", "10", "1", "-1"]))
signs = st.sampled_from(["<", "<=", ">", ">=", "==", "!="])


def numeric(inner: st.SearchStrategy[str]) -> st.SearchStrategy[str]:
    """Expressions over smaller ones, in brackets throughout; `ast.unparse` takes off those not needed."""
    pairs = st.tuples(inner, inner)
    comparison = st.builds("({} {} {})".format, inner, signs, inner)
    test = st.one_of(
        comparison,
        st.builds("({} {} {} {} {})".format, inner, signs, inner, signs, inner),
        st.builds("({} {} {})".format, comparison, st.sampled_from(["and", "or"]), comparison),
        st.builds("(not {})".format, comparison),
    )
    return st.one_of(
        st.builds("({} {} {})".format, inner, st.sampled_from("+-*/"), inner),
        st.builds("({} {} {})".format, inner, st.sampled_from("+-*/"), inner),
        st.builds("({} ** {})".format, inner, st.sampled_from(["2", "-1", "3", "(-2)", "(2 ** 1)", "b"])),
        st.builds("(-{})".format, inner),
        st.builds("({} if {} else {})".format, inner, test, inner),
        pairs.map(lambda pair: f"min({pair[0]}, {pair[1]})"),
        st.builds("max({}, {}, {})".format, inner, inner, inner),
        st.builds("({} + {})".format, comparison, inner),
        st.builds("({} * {})".format, inner, test),
    )


expressions = st.recursive(leaves, numeric, max_leaves=10).map(lambda text: ast.unparse(ast.parse(text)))
numbers = st.sampled_from([-4.0, -2.5, -1.0, -0.75, 0.0, 0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 7.0, 12.5])


class UnclearError(Exception):
    """The last bits of a float would decide: no two programs need agree."""


class Exact:
    """Computes an expression in fractions, and stops where floats would lose what matters."""

    def __init__(self, values: Values) -> None:
        self.values = {name: Fraction(value) for name, value in zip("abc", values, strict=True)}

    def number(self, node: ast.expr) -> Fraction:
        value = self._number(node)
        if value and not Fraction(1, 10**9) < abs(value) < 10**9:
            raise UnclearError
        return value

    def _number(self, node: ast.expr) -> Fraction:  # noqa: PLR0911 - one return for each kind of expression
        match node:
            case ast.Constant():
                return Fraction(node.value)
            case ast.Name():
                return self.values[node.id]
            case ast.UnaryOp(op=ast.USub()):
                return -self.number(node.operand)
            case ast.BinOp():
                return self._binary(node.op, self.number(node.left), self.number(node.right))
            case ast.IfExp():
                return self.number(node.body if self.test(node.test) else node.orelse)
            case ast.Call():
                choose = {"min": min, "max": max}[ast.unparse(node.func)]
                return choose(self.number(argument) for argument in node.args)
        return Fraction(self.test(node))

    def _binary(self, sign: ast.operator, left: Fraction, right: Fraction) -> Fraction:
        match sign:
            case ast.Mult():
                return left * right
            case ast.Div() if right:
                return left / right
            case ast.Pow() if right.denominator == 1 and abs(right) <= 4 and left:
                return left ** int(right)
            case ast.Add() | ast.Sub():
                result = left + right if isinstance(sign, ast.Add) else left - right
                return self._clear(result, left, right)
        raise UnclearError

    def _clear(self, difference: Fraction, one: Fraction, other: Fraction) -> Fraction:
        """Refuses a difference that is small beside what it is a difference of, unless floats hold both exactly."""
        whole = all(Fraction(float(value)) == value and value.denominator < 2**20 for value in (one, other))
        if abs(difference) < max(abs(one), abs(other)) / 10**4 and not (whole and difference == 0):
            raise UnclearError
        return difference

    def test(self, node: ast.expr) -> bool:
        match node:
            case ast.BoolOp():
                found = [self.test(value) for value in node.values]
                return all(found) if isinstance(node.op, ast.And) else any(found)
            case ast.UnaryOp(op=ast.Not()):
                return not self.test(node.operand)
            case ast.Compare():
                sides = [self.number(side) for side in (node.left, *node.comparators)]
                return all(
                    SIGNS[type(sign)](self._clear(one - other, one, other), Fraction(0))
                    for one, sign, other in zip(sides, node.ops, sides[1:], strict=False)
                )
        return bool(self.number(node))


SIGNS: dict[type[ast.cmpop], Callable[[Fraction, Fraction], bool]] = {
    ast.Lt: Fraction.__lt__,
    ast.LtE: Fraction.__le__,
    ast.Gt: Fraction.__gt__,
    ast.GtE: Fraction.__ge__,
    ast.Eq: Fraction.__eq__,
    ast.NotEq: lambda one, other: one != other,
}


def random_expressions(count: int) -> dict[tuple[str, Values], Any]:
    """So many different expressions and values by hypothesis, each with Python's answer."""
    found: dict[tuple[str, Values], Any] = {}

    @settings(
        max_examples=count * 4,
        deadline=None,
        database=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(expressions, st.tuples(numbers, numbers, numbers))
    def gather(expression: str, values: Values) -> None:
        if len(found) >= count or expression in "abc":
            return
        try:
            exact = Exact(values).number(ast.parse(expression, mode="eval").body)
        except UnclearError:
            return
        answer = as_cell(eval(expression, dict(zip("abc", values, strict=True))))
        assert answer == pytest.approx(float(exact), rel=1e-9)
        found[expression, values] = answer

    gather()
    return found


def test_random_expressions(office: Office) -> None:
    drawn = random_expressions(600)
    assert len(drawn) >= 300
    assert sum(len(expression) > 25 for expression, _ in drawn) >= 100
    asked = [
        (expression, values, translated(expression, row), answer)
        for row, ((expression, values), answer) in enumerate(drawn.items(), start=1)
    ]
    found = disagreements(office, asked)
    assert not found, "\n".join(found)


# ---------------------------------------------------------------------------------------------- named gaps


def test_gaps_of_libreoffice_that_no_cell_text_closes(office: Office) -> None:
    """Where LibreOffice differs from Excel, formualizer and Python in the last bits, and on TRUE as a number."""
    texts = ["INT(A1)", "A2=A3", "A2>A3", "ISNUMBER(A4)", "MOD(1,0.1)"]
    cells = {"A1": 2.9999999999999996, "A2": 0.30000000000000004, "A3": 0.3, "A4": True}
    assert by_libreoffice(office, texts, cells) == [3, 1, 0, 1, 0]
    assert by_formualizer(texts, cells) == [2, 0, 1, 0, pytest.approx(1 % 0.1)]
