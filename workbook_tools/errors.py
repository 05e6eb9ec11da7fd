"""Every error the tools raise, in one tree. Sentences are built here, from facts kept as attributes."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


class WorkbookToolsError(Exception):
    """Any refusal of the tools; its text is one or more whole sentences for the person at the keyboard."""


def one_line(text: str) -> str:
    """A text from a file for a sentence: line ends and signs that steer a terminal are blanks."""
    return "".join(" " if sign < " " or "\x7f" <= sign <= "\x9f" else sign for sign in text)


def printed(value: object) -> str:
    """A value for a sentence; a whole number of thousands of digits, which Python refuses to print, by its kind."""
    try:
        return repr(value)
    except ValueError:
        return "a number of thousands of digits"


@dataclass(frozen=True)
class Problem:
    """One bad argument: which, what was given, why it cannot be used and what can."""

    argument: str
    value: object
    reason: str
    allowed: str

    def __str__(self) -> str:
        left_out = self.value is None and self.reason == "is missing"
        given = "" if left_out else f" = {printed(self.value)}:"
        sentence = f"{self.argument}{given} {self.reason}"
        return f"{sentence} (allowed: {self.allowed})" if self.allowed else sentence


class ArgumentError(WorkbookToolsError, ValueError):
    """One or more arguments of a function cannot be used; all are listed in `problems`.

    `kind` is "value" where an argument is missing or not of the right type, "range" where each has the right type but
    one lies outside its range: the spreadsheet hosts answer #VALUE! and #NUM! accordingly.
    """

    def __init__(self, function: str, problems: Sequence[Problem], kind: str) -> None:
        self.function = function
        self.problems = tuple(problems)
        self.kind = kind
        super().__init__(f"{function}: " + "; ".join(str(problem) for problem in self.problems))


class UnitError(WorkbookToolsError, ValueError):
    """A unit is not known, or cannot be turned into the one asked for."""


class UnknownFunctionError(WorkbookToolsError, KeyError):
    """No function of that name in the catalogue."""

    def __init__(self, name: str, near: Sequence[str]) -> None:
        self.name = name
        self.near = tuple(near)
        hint = f" Near it: {', '.join(near)}." if near else " `workbook-tools functions` lists them."
        self.sentence = f"There is no function {name!r} in the catalogue.{hint}"
        super().__init__(self.sentence)

    def __str__(self) -> str:  # KeyError would show the quoted key
        return self.sentence


class TranslationError(WorkbookToolsError, ValueError):
    """A Python expression leaves the subset that has an exact equal in cell text."""

    def __init__(self, where: str, line: int, reason: str) -> None:
        self.where = where
        self.line = line
        self.reason = reason
        super().__init__(f"{where}, line {line}: {reason}")


class LayoutError(WorkbookToolsError, ValueError):
    """A layout file contradicts itself; all faults are listed in `faults`."""

    def __init__(self, layout: str, faults: Sequence[str]) -> None:
        self.layout = layout
        self.faults = tuple(faults)
        super().__init__(f"layout {layout}: " + "; ".join(faults))


class DataError(WorkbookToolsError, ValueError):
    """Values that no cell can hold; all are listed in `faults`."""

    def __init__(self, faults: Sequence[str]) -> None:
        self.faults = tuple(faults)
        super().__init__("; ".join(faults))


class ReadError(WorkbookToolsError, OSError):
    """A file cannot be read as a workbook of ours."""

    def __init__(self, path: object, reason: str) -> None:
        self.path = str(path)
        self.reason = one_line(reason)
        super().__init__(f"{path}: {self.reason}")


class SaveError(WorkbookToolsError, OSError):
    """A file could not be put in place; what was there before is untouched.

    `kept` is where the new file lies, where it was kept.
    """

    def __init__(self, path: object, reason: str, kept: object = None) -> None:
        self.path = str(path)
        self.reason = reason
        self.kept = None if kept is None else str(kept)
        more = "" if kept is None else f" The new file is whole and lies at {kept}."
        super().__init__(f"{path}: {reason}{more}")


class BusyFileError(SaveError):
    """The file is open in a spreadsheet program, or another command is writing it."""


class ChangedFileError(SaveError):
    """A file was changed by another program while a command worked on it; nothing was written."""

    def __init__(self, path: object, more: str = "") -> None:
        super().__init__(path, f"was changed by another program meanwhile; nothing was written. Try again.{more}")


class EditError(WorkbookToolsError, ValueError):
    """A workbook cannot be edited as wanted; nothing of that edit was done."""

    def __init__(self, path: object, place: str, reason: str) -> None:
        self.path = str(path)
        self.place = one_line(place)
        self.reason = one_line(reason)
        super().__init__(f"{path}: {self.place}: {self.reason}")


class LeakError(WorkbookToolsError, ValueError):
    """A copy holds what is another site's or private; nothing was written. `hits` are sentences, one for each."""

    def __init__(self, site: str, hits: Sequence[str]) -> None:
        self.site = site
        self.hits = tuple(hits)
        shown = [f"  {hit}" for hit in self.hits[:20]]
        more = [f"  and {len(self.hits) - 20} more"] if len(self.hits) > 20 else []
        first = f"The copy for site {site} was not written: it holds what is private or another site's."
        last = "Mend it in the log, or say --allow with the text where it may be there."
        super().__init__("\n".join([first, *shown, *more, last]))


@dataclass(frozen=True)
class Obstacle:
    """An open fault in the way of an output: where, of which row, which rule, why, and what to do about it."""

    sheet: str
    row: int
    cell: str
    name: str
    code: str
    reason: str
    to_do: str

    def __str__(self) -> str:
        return one_line(f"{self.cell} ({self.name}): {self.reason} What to do: {self.to_do}")


class FaultError(WorkbookToolsError, ValueError):
    """Rows that an output draws on have open faults; all are listed in `obstacles`. Nothing was given."""

    def __init__(self, path: object, output: str, obstacles: Sequence[Obstacle]) -> None:
        self.path = str(path)
        self.output = output
        self.obstacles = tuple(obstacles)
        first = f"{path}: no {output} is given: rows that it draws on have open faults."
        name = one_line(self.obstacles[0].name) if self.obstacles else "ID"
        last = (
            f"Mend them in the log, or, where you know better, name the row and say why: --despite {f'{name}: why'!r}."
        )
        super().__init__("\n".join([first, *(f"  {one}" for one in self.obstacles), last]))


class HostError(WorkbookToolsError, RuntimeError):
    """A spreadsheet program is absent, running or refuses; the text says what to do."""


class NameTakenError(WorkbookToolsError, ValueError):
    """A workbook uses names of our functions for something else; they are in `names`."""

    def __init__(self, path: object, names: Sequence[str]) -> None:
        self.path = str(path)
        self.names = tuple(names)
        super().__init__(
            f"{path}: the workbook uses {', '.join(names)} for something else. Rename it in the spreadsheet's list of "
            "names, then try again."
        )


class MissingLibraryError(WorkbookToolsError, ImportError):
    """A library that only some answers need is not installed; the text says how to install it.

    `library` is its name, `extra` the package's extra that brings it.
    """

    def __init__(self, library: str, extra: str, answer: str) -> None:
        self.library = library
        self.extra = extra
        super().__init__(
            f"{answer} needs {library}, which is not installed: pip install 'workbook-tools[{extra}]' brings it."
        )
