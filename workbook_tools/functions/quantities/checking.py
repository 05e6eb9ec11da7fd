"""The check of arguments, done once for every function and every host."""

from __future__ import annotations

import functools
import math
from collections.abc import Callable
from typing import Any, ParamSpec, TypeVar

from workbook_tools.errors import ArgumentError, Problem
from workbook_tools.functions.quantities.kinds import Choice, Parameter, Quantity, Series, parameters_of, result_of

P = ParamSpec("P")
R = TypeVar("R")
LARGE = 10**300  # whole numbers beyond it are no floats


class Relation:
    """A condition between arguments, in the translatable subset, and the sentence said when it fails.

    `functions` are the plain functions of ours that the expression calls.
    """

    def __init__(self, expression: str, sentence: str, functions: tuple[Callable[..., Any], ...] = ()) -> None:
        self.expression = expression
        self.sentence = sentence
        self.names: dict[str, Any] = {"__builtins__": {}} | {f.__name__: f for f in functions}
        self.code = compile(expression, f"<relation {expression}>", "eval")

    def holds(self, values: dict[str, Any]) -> bool:
        return bool(eval(self.code, self.names, values))  # the expression is written beside the function


def requires(
    expression: str, sentence: str, *functions: Callable[..., Any]
) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """State a condition between the arguments of the function below, such as `target >= now`.

    `functions` are those that the expression calls, where it calls any.
    """

    def attach(function: Callable[P, R]) -> Callable[P, R]:
        relations: tuple[Relation, ...] = getattr(function, "relations", ())
        function.relations = (Relation(expression, sentence, functions), *relations)  # type: ignore[attr-defined]
        return function

    return attach


def topic_of(module: str) -> str:
    """Topic of the functions in a module: workbook_tools.functions.formulas.bath and all within it is "bath"."""
    within = module.partition(".formulas.")[2] or module.rpartition(".")[2]
    return within.partition(".")[0]


class CheckedFunction:
    """What the decorator knows of a function; kept on it as `checked`."""

    def __init__(self, function: Callable[..., Any]) -> None:
        self.function = function
        self.topic = topic_of(function.__module__)
        self.name = f"{self.topic}.{function.__name__}"
        self.parameters: tuple[Parameter, ...] = parameters_of(function)
        self.result = result_of(function)
        self.relations: tuple[Relation, ...] = getattr(function, "relations", ())

    @functools.cached_property
    def fits(self) -> Callable[..., bool]:
        """Whether arguments are all right as they are: a quick look that spares most calls the whole check."""
        return _fits(self.parameters, self.relations)

    def faults(self, values: dict[str, Any]) -> tuple[list[Problem], str]:
        """All problems of a set of arguments, with the graver kind ("value" before "range")."""
        problems: list[Problem] = []
        kind = "range"
        for parameter in self.parameters:
            fault = parameter.kind.fault(values[parameter.name])
            if fault is not None:
                value = values[parameter.name]
                shown = parameter.kind.shown(value) if isinstance(parameter.kind, Series) else value
                problems.append(Problem(parameter.label, shown, fault[1], parameter.kind.allowed))
                kind = "value" if "value" in (kind, fault[0]) else "range"
        if not problems:
            problems = [
                Problem(" and ".join(self._named(relation)), self._given(relation, values), relation.sentence, "")
                for relation in self.relations
                if not relation.holds(values)
            ]
        return problems, kind

    def _named(self, relation: Relation) -> list[str]:
        return [parameter.label for parameter in self.parameters if parameter.name in relation.code.co_names]

    def _given(self, relation: Relation, values: dict[str, Any]) -> object:
        return tuple(values[p.name] for p in self.parameters if p.name in relation.code.co_names)

    def bind(self, args: tuple[Any, ...], kwargs: dict[str, Any]) -> dict[str, Any]:
        """Arguments by name; an optional one that is missing or None takes its default."""
        if len(args) > len(self.parameters):
            raise TypeError(f"{self.name} takes {len(self.parameters)} arguments, not {len(args)}")
        values: dict[str, Any] = {p.name: None for p in self.parameters}
        values.update(zip(values, args, strict=False))
        for name, value in kwargs.items():
            if name not in values:
                raise TypeError(f"{self.name} has no argument {name!r}")
            values[name] = value
        for parameter in self.parameters:
            value = values[parameter.name]
            if value is None and parameter.optional:
                values[parameter.name] = parameter.default
            elif isinstance(value, str) and isinstance(parameter.kind, Choice):
                values[parameter.name] = parameter.kind.canonical(value) or value
            elif isinstance(value, list | tuple) and isinstance(parameter.kind, Series):
                values[parameter.name] = parameter.kind.values(value)
            elif type(value) is int and abs(value) < LARGE:
                values[parameter.name] = float(value)
        return values

    def __call__(self, *args: Any, **kwargs: Any) -> Any:
        numbers = [float(value) if type(value) is int and abs(value) < LARGE else value for value in args]
        if kwargs or len(numbers) != len(self.parameters) or not self.fits(*numbers):
            values = self.bind(args, kwargs)
            problems, kind = self.faults(values)
            if problems:
                raise ArgumentError(self.name, problems, kind)
            numbers = [*values.values()]
        try:
            answer = self.function(*numbers)
        except (OverflowError, ZeroDivisionError):  # numbers within range, together too far from any that a farm meets
            answer = math.inf
        if not isinstance(self.result, Quantity):
            if not all(math.isfinite(number) for row in answer for number in row):
                raise ArgumentError(self.name, [Problem("result", None, "is not finite numbers", "")], "range")
            return answer
        if not math.isfinite(answer):
            raise ArgumentError(self.name, [Problem("result", answer, "is not a finite number", "")], "range")
        return float(answer)


def _fits(parameters: tuple[Parameter, ...], relations: tuple[Relation, ...]) -> Callable[..., bool]:
    """A test of all arguments at once, true only for those that pass the check and that `bind` leaves as they are.

    Words in another spelling and series are not looked at: for those it is false.
    """
    scope: dict[str, Any] = {}
    tests = []
    for number, parameter in enumerate(parameters):
        name, kind = parameter.name, parameter.kind
        if isinstance(kind, Quantity) and math.isfinite(kind.low) and math.isfinite(kind.high):
            scope[f"low_{number}"], scope[f"high_{number}"] = kind.low, kind.high
            low, high = ("<" if kind.above else "<="), ("<" if kind.below else "<=")
            tests += [f"type({name}) is float", f"low_{number} {low} {name} {high} high_{number}"]
            tests += [f"{name}.is_integer()"] if kind.whole else []
        elif isinstance(kind, Choice):
            scope[f"words_{number}"] = frozenset(kind.words)
            tests += [f"type({name}) is str", f"{name} in words_{number}"]
        else:
            return lambda *args: False
    for relation in relations:
        scope |= {name: value for name, value in relation.names.items() if name != "__builtins__"}
        tests.append(f"({relation.expression})")
    text = f"lambda {', '.join(parameter.name for parameter in parameters)}: {' and '.join(tests) or True}"
    fits: Callable[..., bool] = eval(text, scope)  # the expressions are written beside their functions
    return fits


def checked(function: Callable[P, R]) -> Callable[P, R]:
    """Check the arguments of a formula against their quantities before it runs.

    Raises `ArgumentError`, naming every bad argument at once, each with its value, the allowed range and the unit.
    """
    check = CheckedFunction(function)

    @functools.wraps(function)
    def call(*args: P.args, **kwargs: P.kwargs) -> R:
        return check(*args, **kwargs)  # type: ignore[no-any-return]

    call.checked = check  # type: ignore[attr-defined]
    return call
