"""Practices typed by the outsider, held against what the product makes of the same file: which figures differ."""

from __future__ import annotations

import datetime
import multiprocessing
import tempfile
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path

from click.testing import CliRunner

from tests.outsider.generator import Practice, practice
from tests.outsider.recomputation import Recomputation
from tests.outsider.sheet import EmptyLog
from workbook_tools.cli.main import cli
from workbook_tools.layout import case_log
from workbook_tools.log.checking.reading import read_log

ROWS = 60
SEED = 1
PROCESSES = 2
DAY_ZERO = datetime.date(1899, 12, 30)
CLOSE = 1e-9


@dataclass
class Compared:
    """What came of comparing."""

    practices: int = 0
    slips: int = 0
    numbers: int = 0  # figures that both must show
    blanks: int = 0  # figures that must be blank
    wrong: list[str] = field(default_factory=list)

    def add(self, other: Compared) -> None:
        self.practices += other.practices
        self.slips += other.slips
        self.numbers += other.numbers
        self.blanks += other.blanks
        self.wrong += other.wrong


def empty_log(folder: Path) -> EmptyLog:
    """A log that the product made, with nothing typed in it."""
    path = folder / "empty.xlsx"
    made = CliRunner().invoke(cli, ["new", "log", str(path), "--rows", str(ROWS)])
    if made.exit_code:
        raise RuntimeError(made.output)
    return EmptyLog(path)


def compare(done: Practice, log: EmptyLog, path: Path) -> Compared:
    """One practice, typed into the log and saved at `path`."""
    log.fill(done.typing, path)
    read = read_log(path, case_log())
    computed = read.computed()
    mine = Recomputation(done.typing, log.ids, log.agents)
    found = Compared(practices=1, slips=len(done.slips))
    for table in case_log().log_tables():
        rows = dict(zip(read.numbers()[table.key], computed.data[table.key], strict=True))
        keys = {column.heading: column.key for column in table.columns}
        for line in mine.lines.get(table.sheet, ()):
            for heading, figure in line.figures.items():
                right = float((figure - DAY_ZERO).days) if isinstance(figure, datetime.date) else figure
                shown = rows[line.number][keys[heading]]
                found.numbers += right is not None
                found.blanks += right is None
                if not _same(shown, right):
                    found.wrong.append(f"{table.sheet} row {line.number}, {heading}: {shown}, by the outsider {right}")
    return found


def _same(shown: object, right: object) -> bool:
    if isinstance(shown, int | float) and isinstance(right, int | float):
        return abs(shown - right) <= CLOSE * max(1, abs(right))
    return shown is right is None


def tried(practices: int, first: int = 0) -> Compared:
    """So many practices, over the processors there are."""
    total = Compared()
    if practices:
        step = max(1, practices // (PROCESSES * 10))
        parts = [range(at, min(at + step, first + practices)) for at in range(first, first + practices, step)]
        with ProcessPoolExecutor(PROCESSES, multiprocessing.get_context("spawn")) as pool:
            for part in pool.map(_part, parts):
                total.add(part)
    return total


def _part(numbers: range) -> Compared:
    with tempfile.TemporaryDirectory(prefix="outsider-") as name:
        total = Compared()
        for one in compared(numbers, Path(name)):
            total.add(one)
        return total


def compared(numbers: range, folder: Path, log: EmptyLog | None = None) -> Iterator[Compared]:
    """The practices of these numbers, one after the other."""
    log = log or empty_log(folder)
    for number in numbers:
        path = folder / f"{number}.xlsx"
        one = compare(practice(SEED, number, log), log, path)
        path.unlink()
        one.wrong = [f"practice {number}: {said}" for said in one.wrong]
        yield one
