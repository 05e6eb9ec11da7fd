"""The built files that every reader and engine is given."""

from __future__ import annotations

import functools
import tempfile
from collections.abc import Callable
from pathlib import Path

from click.testing import CliRunner

from tests.support.practices import Practice, practice
from tests.test_built_files import BENCH, built
from tests.test_check import clean
from workbook_tools.cli.main import cli
from workbook_tools.layout import case_log, load
from workbook_tools.log.building.bench import build_bench
from workbook_tools.log.building.log_workbook import build_log

FEW = 3  # rows provided
SEED = 4  # of the practice whose texts give trouble


@functools.cache
def troubled() -> Practice:
    return practice(SEED)


def _by_command(name: str, *words: str) -> bytes:
    """What a command writes from the filled log."""
    with tempfile.TemporaryDirectory() as folder:
        log, target = Path(folder, "River farm.xlsx"), Path(folder, name)
        log.write_bytes(built("filled log"))
        done = CliRunner().invoke(cli, [words[0], str(log), *words[1:], "--out", str(target)])
        assert done.exit_code == 0, done.output
        return target.read_bytes()


FILES: dict[str, Callable[[], bytes]] = {
    "empty log": lambda: build_log(case_log(), rows=FEW),
    "filled log": lambda: build_log(case_log(), clean(), rows=FEW),
    "log of a troubled practice": lambda: build_log(case_log(), troubled().rows, rows=FEW),
    "filled bench": lambda: build_bench(load("bench"), BENCH),
    "plan": lambda: _by_command("plan.xlsx", "plan", "--visit", "V001"),
    "copy for a producer": lambda: _by_command("For S01.xlsx", "share", "--site", "S01"),
}
LOGS = [name for name in FILES if "log" in name]
WITH_FORMULAS = [*LOGS, "filled bench"]


@functools.cache
def content_of(name: str) -> bytes:
    return FILES[name]()
