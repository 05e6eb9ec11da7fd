"""Tries sequences in one LibreOffice, judges what it shows, and shortens a sequence that shows something wrong."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field, replace

import openpyxl

from tests.row_operations.filled import FilledLog
from tests.row_operations.judging import KINDS, TELLING, Judge, Seen, Violation
from tests.row_operations.sequences import Step, of_whole_rows, told
from tests.support.office import Office
from tests.support.office_process import OfficeFailedError

Way = Callable[[list[Step]], list[Violation]]


class Trial:
    """One log in one LibreOffice."""

    def __init__(self, log: FilledLog, office: Office) -> None:
        self.log, self.office = log, office
        self.judge = Judge(log.layout, Seen(**office.after_steps(log.path, [], [""], hard=True)))
        self.refused: Counter[str] = Counter()
        self.ended: list[str] = []  # sequences over which LibreOffice itself came to an end

    def shown(self, steps: list[Step], hard: bool = False) -> Seen:
        seen = Seen(**self.office.after_steps(self.log.path, steps, TELLING, hard=hard))
        self.refused.update(steps[number]["do"] for number in seen.refused)
        return seen

    def at_once(self, steps: list[Step]) -> list[Violation]:
        """What is wrong right after the steps, as a person sees it."""
        seen = self._again(steps, lambda: self.shown(steps))
        found = [] if seen is None else self.judge.violations(seen)
        everything = self._again(steps, lambda: self.shown(steps, hard=True)) if found else None
        if everything is None:
            return found
        lasting = self.judge.violations(everything)
        return lasting + [replace(one, kind="stale") for one in _without(found, lasting)]

    def _again(self, steps: list[Step], ask: Callable[[], Seen]) -> Seen | None:
        """What is asked; once more where LibreOffice came to an end over it, and None where it does so again."""
        for _ in range(2):
            try:
                return ask()
            except OfficeFailedError as error:
                why = str(error)
        self.ended.append(f"{why.splitlines()[0]}: {told(steps)}")
        return None

    def reopened(self, steps: list[Step]) -> list[Violation]:
        """What more is wrong after the steps, saving as .ods and opening that."""
        return self._more(steps, "saved.ods")

    def rewritten(self, steps: list[Step]) -> list[Violation]:
        """What more is wrong after the steps, saving as .xlsx, loading and saving that by openpyxl, and opening it."""
        return self._more(steps, "saved.xlsx")

    def _more(self, steps: list[Step], name: str) -> list[Violation]:
        path = self.log.path.with_name(name)

        def saved() -> Seen:
            self.office.after_steps(self.log.path, steps, TELLING, target=path)
            if path.suffix == ".xlsx":
                openpyxl.load_workbook(path).save(path)
            return Seen(**self.office.after_steps(path, [], TELLING, hard=True))

        seen = self._again(steps, saved)
        found = [] if seen is None else self.judge.violations(seen)
        return _without(found, self.at_once(steps)) if found else []


def _without(found: list[Violation], known: list[Violation]) -> list[Violation]:
    """Those that are not known of the same cell."""
    places = {(one.sheet, one.row, one.column) for one in known}
    return [one for one in found if (one.sheet, one.row, one.column) not in places]


def shortened(steps: list[Step], kind: str, way: Way) -> tuple[list[Step], list[Violation]]:
    """Steps left out one by one while the same kind of thing is still wrong."""
    found = [violation for violation in way(steps) if violation.kind == kind]
    number = len(steps) - 1
    while number >= 0:
        fewer = steps[:number] + steps[number + 1 :]
        still = [violation for violation in way(fewer) if violation.kind == kind]
        if still:
            steps, found = fewer, still
        number -= 1
    return steps, found


@dataclass
class Report:
    """What was tried and what was found."""

    examples: int  # sequences of a kind that are shortened
    tried: int = 0
    steps: Counter[str] = field(default_factory=Counter)
    wrong: Counter[str] = field(default_factory=Counter)  # sequences by kind
    cells: Counter[str] = field(default_factory=Counter)
    without: int = 0
    of_rows: Counter[bool] = field(default_factory=Counter)  # sequences of whole rows, by whether one was wrong
    minimal: dict[tuple[str, ...], tuple[list[Step], Violation, int]] = field(default_factory=dict)

    def note(self, steps: list[Step], violations: Iterable[Violation], way: Way) -> None:
        self.tried += 1
        self.steps.update(step["do"] for step in steps)
        self.cells.update(violation.kind for violation in violations)
        kinds = [kind for kind in KINDS if any(violation.kind == kind for violation in violations)]
        self.wrong.update(kinds)
        self.without += not kinds
        if of_whole_rows(steps):
            self.of_rows[bool(set(kinds) - {"stale"})] += 1
        for kind in kinds:
            if sum(key[0] == kind for key in self.minimal) < self.examples:
                short, found = shortened(steps, kind, way)
                if found:
                    key = kind, *(step["do"] for step in short), *(step.get("sheet", "") for step in short)
                    self.minimal.setdefault(key, (short, found[0], len(found)))

    def lines(self) -> Iterator[str]:
        yield f"{self.tried} sequences, {self.steps.total()} steps; {self.without} sequences with nothing wrong"
        yield f"{self.of_rows.total()} of them of whole rows alone; {self.of_rows[True]} with more than stale cells"
        yield from (f"    {name:14}{count:7}" for name, count in sorted(self.steps.items()))
        for kind, meaning in KINDS.items():
            yield f"{self.wrong[kind]:6} sequences, {self.cells[kind]:7} cells  {kind}: {meaning}"
        for key, (steps, violation, count) in self.minimal.items():
            yield f"- {key[0]} ({count} cells) after: {told(steps)}"
            yield f"      {violation}"
