"""How long 1,000 cells take to be set in a log that is there, and what else of the file changes, beside a library.

    python tests/benchmarks/edit_log.py            a log of 5,000 baths
    python tests/benchmarks/edit_log.py 500        another size

The cells are spread over the Baths sheet, every second one a text. Each job of each repeat runs in a process of its
own, so that its peak memory is its own. What is listed as changed are parts whose bytes differ, or that came or went.
"""

from __future__ import annotations

import argparse
import json
import resource
import statistics
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Callable, Iterator
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
CELLS = 1_000
FIRST_ROW, TEXT_COLUMN, NUMBER_COLUMN = 6, 13, 7  # of the Baths sheet


def wanted(baths: int) -> Iterator[tuple[int, int, object]]:
    """Cells to set: row, column, value."""
    for number in range(CELLS):
        row = FIRST_ROW + number * (baths - 1) // CELLS
        yield (row, TEXT_COLUMN, f"lot {number:05d}") if number % 2 else (row, NUMBER_COLUMN, 50 + number / 100)


def own(source: Path, target: Path, baths: int) -> None:
    from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit

    edit = WorkbookEdit(source.read_bytes(), source)
    for row, column, value in wanted(baths):
        edit.put("Baths", row, column, value, replace=True)
    target.write_bytes(edit.content())


def wolfxl(source: Path, target: Path, baths: int) -> None:
    import wolfxl as library

    book = library.load_workbook(source, modify=True)
    for row, column, value in wanted(baths):
        book["Baths"].cell(row=row, column=column).value = value
    book.save(target)


def openpyxl(source: Path, target: Path, baths: int) -> None:
    import openpyxl as library

    book = library.load_workbook(source)
    for row, column, value in wanted(baths):
        book["Baths"].cell(row=row, column=column).value = value
    book.save(target)


JOBS: dict[str, Callable[[Path, Path, int], None]] = {job.__name__: job for job in (own, wolfxl, openpyxl)}


def changed(source: Path, target: Path) -> list[str]:
    """Parts that are not the same in both files."""
    with zipfile.ZipFile(source) as old, zipfile.ZipFile(target) as new:
        parts = [{name: file.read(name) for name in file.namelist()} for file in (old, new)]
    return sorted(name for name in parts[0].keys() | parts[1].keys() if parts[0].get(name) != parts[1].get(name))


def main() -> None:
    sys.path.insert(0, str(ROOT))
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("baths", nargs="?", type=int, default=5_000)
    parser.add_argument("--repeat", type=int, default=3, help="how often each job runs; 3 when left out")
    parser.add_argument("--job", choices=JOBS, help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.job:
        start = time.perf_counter()
        JOBS[given.job](given.folder / "log.xlsx", given.folder / f"{given.job}.xlsx", given.baths)
        seconds = time.perf_counter() - start
        unit = 1 if sys.platform == "darwin" else 1024
        peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6
        print(json.dumps({"seconds": seconds, "megabytes": peak}))
        return
    from tests.benchmarks.logs import data
    from workbook_tools.layout import case_log
    from workbook_tools.log.building.log_workbook import build_log

    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        (folder / "log.xlsx").write_bytes(build_log(case_log(), data(given.baths), rows=1))
        print(f"{'job':<10} {'seconds':>8} {'peak MB':>8}  parts changed")
        for job in JOBS:
            command = [sys.executable, __file__, "--job", job, "--folder", name, str(given.baths)]
            runs = [json.loads(subprocess.check_output(command, text=True)) for _ in range(given.repeat)]
            seconds, peak = (statistics.median(run[key] for run in runs) for key in ("seconds", "megabytes"))
            parts = changed(folder / "log.xlsx", folder / f"{job}.xlsx")
            said = ", ".join(parts) if len(parts) < 6 else f"{len(parts)} of them"
            print(f"{job:<10} {seconds:>8.2f} {peak:>8.0f}  {said}")


if __name__ == "__main__":
    main()
