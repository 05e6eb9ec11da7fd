"""What an argument, a result or a column can be: a number with unit and range, a word from a list, a text, a table."""

from __future__ import annotations

import inspect
import math
import typing
from collections.abc import Callable, Iterator
from dataclasses import dataclass

# words of an argument's name that are not written in plain small letters
SPELLINGS = {"ph": "pH"}
SHOWN = 5  # items of a series that one error names


def number_text(value: float) -> str:
    """A number as a person writes it: no trailing .0, thousands apart from 10,000 up."""
    if value == int(value) and abs(value) < 1e15:
        return f"{int(value):,}" if abs(value) >= 10_000 else str(int(value))
    return f"{value:g}"


@dataclass(frozen=True)
class Quantity:
    """A number with a unit and a closed range; `above` and `below` make an end open.

    `parts` is true where the range names a share: a percent typed as a whole number is then the likely slip.
    """

    name: str
    unit: str
    low: float
    high: float
    above: bool = False
    below: bool = False
    whole: bool = False
    parts: bool = False

    @property
    def allowed(self) -> str:
        """The range in words, with its unit."""
        unit = "" if self.unit in ("", "1") else f" {self.unit}"
        whole = "a whole number, " if self.whole else ""
        low, high = number_text(self.low), number_text(self.high)
        if self.above and not self.below:
            return f"{whole}above {low} up to {high}{unit}"
        if self.below and not self.above:
            return f"{whole}{low} up to but not {high}{unit}"
        if self.above and self.below:
            return f"{whole}above {low} and below {high}{unit}"
        return f"{whole}{low} to {high}{unit}"

    def fault(self, value: object) -> tuple[str, str] | None:
        """Why `value` cannot be used, as (kind, reason), or None. Kind is "value" or "range"."""
        if value is None:
            return "value", "is blank"
        if isinstance(value, bool):
            return "value", "is TRUE or FALSE, not a number"
        if isinstance(value, str):
            return "value", "is blank" if not value.strip() else "is text, not a number"
        if not isinstance(value, int | float):
            return "value", f"is a {type(value).__name__}, not a number"
        return self._range_fault(value)

    def _range_fault(self, value: float) -> tuple[str, str] | None:
        if isinstance(value, float) and not math.isfinite(value):
            return "range", "is not a finite number"
        if value < self.low or (self.above and value == self.low):
            reason = "is zero" if value == 0 else "is negative" if value < 0 <= self.low else "is too small"
            return "range", reason
        if value > self.high or (self.below and value == self.high):
            slip = self.parts and 1 < value <= 100
            return "range", f"is too large; for {value:g} % write {value / 100:g}" if slip else "is too large"
        if self.whole and value != int(value):
            return "range", "is not a whole number"
        return None


@dataclass(frozen=True)
class Choice:
    """One word of a fixed list; upper and lower case count as the same, as they do in a spreadsheet."""

    name: str
    words: tuple[str, ...]

    @property
    def unit(self) -> str:
        return ""

    @property
    def allowed(self) -> str:
        return ", ".join(self.words)

    def fault(self, value: object) -> tuple[str, str] | None:
        if value is None or (isinstance(value, str) and not value.strip()):
            return "value", "is blank"
        if not isinstance(value, str):
            return "value", "is not a word"
        if self.canonical(value) is None:
            return "value", "is not a word of the list"
        return None

    def canonical(self, value: str) -> str | None:
        """The list's own spelling of `value`, or None when it is not on the list."""
        return next((word for word in self.words if word.casefold() == value.casefold()), None)


@dataclass(frozen=True)
class Text:
    """A short text such as the name of a unit."""

    name: str
    allowed: str

    @property
    def unit(self) -> str:
        return ""

    def fault(self, value: object) -> tuple[str, str] | None:
        if value is None or (isinstance(value, str) and not value.strip()):
            return "value", "is blank"
        return None if isinstance(value, str) else ("value", "is not text")


@dataclass(frozen=True)
class Series:
    """Several numbers of one quantity, such as a cell range; a blank or a text among them is an error, not a gap."""

    name: str
    item: Quantity

    @property
    def unit(self) -> str:
        return self.item.unit

    @property
    def allowed(self) -> str:
        return f"one or more numbers, each {self.item.allowed}"

    def values(self, value: object) -> list[object]:
        """The items one after another, row by row where a range came as rows."""
        return list(_items(value))

    def _faults(self, value: object) -> list[tuple[int, object, str, str]]:
        checked = ((number, item, self.item.fault(item)) for number, item in enumerate(self.values(value), start=1))
        return [(number, item, *fault) for number, item, fault in checked if fault is not None]

    def fault(self, value: object) -> tuple[str, str] | None:
        """Why the series cannot be used, naming the position of each item at fault, counted from 1."""
        if value is None or (isinstance(value, str) and not value.strip()):
            return "value", "is blank"
        if not isinstance(value, list | tuple):
            return "value", "is one value, not several"
        if not self.values(value):
            return "value", "holds no values"
        faults = self._faults(value)
        if not faults:
            return None
        reasons = [f"item {number} {reason}" for number, _, _, reason in faults[:SHOWN]]
        more = [f"and {len(faults) - SHOWN} more"] if len(faults) > SHOWN else []
        kind = "value" if any(kind == "value" for _, _, kind, _ in faults) else "range"
        return kind, "; ".join([*reasons, *more])

    def shown(self, value: object) -> object:
        """What an error repeats of the series: the items at fault alone, since a series can be long."""
        if not isinstance(value, list | tuple):
            return value
        return [item for _, item, _, _ in self._faults(value)[:SHOWN]]


def _items(value: object) -> Iterator[object]:
    if isinstance(value, list | tuple):
        for item in value:
            yield from _items(item)
    else:
        yield value


@dataclass(frozen=True)
class TableResult:
    """A result of several rows; `columns` are (name, unit) pairs."""

    name: str
    columns: tuple[tuple[str, str], ...]

    @property
    def unit(self) -> str:
        return ", ".join(f"{name} {unit}".strip() for name, unit in self.columns)

    @property
    def allowed(self) -> str:
        return ""


Kind = Quantity | Choice | Text | Series


@dataclass(frozen=True)
class Parameter:
    """One argument of a catalogue function."""

    name: str
    kind: Kind
    default: float | None = None

    @property
    def optional(self) -> bool:
        return self.default is not None

    @property
    def label(self) -> str:
        return " ".join(SPELLINGS.get(word, word) for word in self.name.split("_"))


def parameters_of(function: Callable[..., object]) -> tuple[Parameter, ...]:
    """The arguments of a function with their quantities, in order. Raises TypeError where one names no quantity."""
    hints = typing.get_type_hints(function, include_extras=True)
    found = []
    for name, parameter in inspect.signature(function).parameters.items():
        kind = _annotated(hints.get(name))
        if not isinstance(kind, Quantity | Choice | Text | Series):
            raise TypeError(f"{function.__qualname__}: argument {name} names no quantity")
        default = None if parameter.default is inspect.Parameter.empty else float(parameter.default)
        found.append(Parameter(name, kind, default))
    return tuple(found)


def result_of(function: Callable[..., object]) -> Quantity | TableResult:
    """The quantity, or table, that a function answers with."""
    kind = _annotated(typing.get_type_hints(function, include_extras=True).get("return"))
    if not isinstance(kind, Quantity | TableResult):
        raise TypeError(f"{function.__qualname__}: the result names no quantity")
    return kind


def _annotated(hint: object) -> object:
    return next(iter(getattr(hint, "__metadata__", ())), None)
