"""Practices typed by a generator that knows the log as a file alone, and every figure worked out on another road.

A row typed without a slip shows what the outsider works out, to a billionth. Of rows with a slip it says what must be
blank; those are not compared yet, since some cells still show what follows from a neighbour that was refused.
"""

from __future__ import annotations

import datetime
from itertools import count, islice
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.outsider.generator import Practice, practice
from tests.outsider.recomputation import Recomputation
from tests.outsider.sheet import EmptyLog
from workbook_tools.cli.main import cli
from workbook_tools.layout import case_log
from workbook_tools.log.checking.reading import read_log

PRACTICES = 20
DAY_ZERO = datetime.date(1899, 12, 30)
CLOSE = 1e-9


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> EmptyLog:
    path = tmp_path_factory.mktemp("outsider") / "empty.xlsx"
    done = CliRunner().invoke(cli, ["new", "log", str(path), "--rows", "60"])
    assert done.exit_code == 0, done.output
    return EmptyLog(path)


def without_slips(log: EmptyLog) -> list[Practice]:
    drawn = (practice(1, number, log) for number in count())
    return list(islice((done for done in drawn if not done.slips), PRACTICES))


def differences(done: Practice, log: EmptyLog, path: Path) -> tuple[int, list[str]]:
    """How many figures were compared, and those that differ."""
    log.fill(done.typing, path)
    read = read_log(path, case_log())
    computed = read.computed()
    mine = Recomputation(done.typing, log.ids, log.agents)
    compared, wrong = 0, []
    for table in case_log().log_tables():
        rows = dict(zip(read.numbers()[table.key], computed.data[table.key], strict=True))
        keys = {column.heading: column.key for column in table.columns}
        for line in mine.lines.get(table.sheet, ()):
            for heading, figure in line.figures.items():
                right = float((figure - DAY_ZERO).days) if isinstance(figure, datetime.date) else figure
                shown = rows[line.number][keys[heading]]
                compared += 1
                if not (right is shown is None) and not (
                    right is not None and shown is not None and abs(shown - right) <= CLOSE * max(1, abs(right))
                ):
                    wrong.append(f"{table.sheet} row {line.number}, {heading}: {shown}, by the outsider {right}")
    return compared, wrong


def test_every_figure_is_what_another_road_gives(log: EmptyLog, tmp_path: Path) -> None:
    figures, wrong = 0, []
    for number, done in enumerate(without_slips(log)):
        compared, differing = differences(done, log, tmp_path / f"{number}.xlsx")
        figures += compared
        wrong += [f"practice {number}: {said}" for said in differing]
    assert figures > 2_000
    assert not wrong, "\n".join(wrong[:20])
