"""Practices typed by a generator that knows the log as a file alone, and every figure worked out on another road.

Practices are taken as they are drawn, with and without slips of typing. The rule: a figure is what the typed cells
give, to a billionth, and blank where a cell that it needs is blank or refused; a cell is refused where it holds a text
for a number, a number out of range, a word not on its list, or an id that is on no row in use. A blank cell has a
default only where its column says so (sea level, one, none, the bath's own); a refused one never has. A sum over rows
is blank where the amount of one of its rows is not known, and a lot has no balance where an amount is in another unit.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.outsider import recomputation
from tests.outsider.run import Compared, compared, empty_log, tried
from tests.outsider.sheet import EmptyLog

PRACTICES = 20


@pytest.fixture(scope="module")
def log(tmp_path_factory: pytest.TempPathFactory) -> EmptyLog:
    return empty_log(tmp_path_factory.mktemp("outsider"))


def test_every_figure_is_what_another_road_gives(log: EmptyLog, tmp_path: Path) -> None:
    found, flawless = Compared(), 0
    for one in compared(range(PRACTICES), tmp_path, log):
        found.add(one)
        flawless += one.slips == 0
    assert found.practices == PRACTICES
    assert 0 < flawless < PRACTICES
    assert found.slips > 20
    assert found.numbers > 2_000
    assert found.blanks > 400
    assert not found.wrong, "\n".join(found.wrong[:20])


def test_a_figure_that_differs_is_found(log: EmptyLog, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A formula of the outsider made wrong by a millionth, and a range made wider: each is named with its cell."""
    wrong = recomputation.trade.grams
    monkeypatch.setattr(recomputation.trade, "grams", lambda *given: wrong(*given) * 1.000001)
    said = [line for one in compared(range(1), tmp_path, log) for line in one.wrong]
    assert any("Drug to weigh g" in line for line in said)
    monkeypatch.setattr(recomputation.trade, "grams", wrong)
    monkeypatch.setattr(recomputation, "REFUSED", None)  # what is refused counts as blank
    said = [line for one in compared(range(1), tmp_path, log) for line in one.wrong]
    assert any("Final dose mg/L: None, by the outsider" in line for line in said)  # top-ups given: "n/a"


def test_parts_of_a_run_make_the_whole(log: EmptyLog, tmp_path: Path) -> None:
    """Over several processes as in one."""
    alone = Compared()
    for one in compared(range(3, 5), tmp_path, log):
        alone.add(one)
    assert tried(2, first=3) == alone
