"""How long a case log takes to build, recalculate and check, and how that grows, beside two libraries that write cells.

    python tests/benchmarks/build_log.py                 500 and 5,000 baths
    python tests/benchmarks/build_log.py --full          50,000 baths as well (minutes)
    python tests/benchmarks/build_log.py 100 200 400     sizes of your own
    python tests/benchmarks/build_log.py --repeat 5      medians of five

Every figure is the median over repeats; each job of each repeat runs in a process of its own, so that its peak memory
is its own, and the jobs take turns, so that a busy machine slows all of them. A log of n baths has n fish as well, and
a tenth as many vessels and visits. The two libraries write the values of the same cells, typed and computed, without
formulas, rules, tables or styles: what is left of the difference is what a case log is more than its values.
"""

from __future__ import annotations

import argparse
import json
import math
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any

SIZES, FULL = (500, 5_000), 50_000
BASE = "build"  # what the others are compared with
Figures = dict[str, float]


def data(baths: int) -> dict[str, list[dict[str, Any]]]:
    """An invented log of so many baths and as many fish."""
    tenth = max(1, baths // 10)
    return {
        "sites": [{"site": "S01", "name": "Alder springs", "kind": "farm", "food_fish": "yes"}],
        "vessels": [
            {"vessel": f"T{n:05d}", "site": "S01", "shape": "rectangle", "unit": "cm", "length": 200 + n % 50,
             "breadth": 50, "depth": 40}
            for n in range(tenth)
        ],
        "visits": [{"visit": f"V{n:05d}", "date": 45_000 + n % 1000, "site": "S01"} for n in range(tenth)],
        "baths": [
            {"bath": f"B{n:06d}", "visit": f"V{n % tenth:05d}", "vessel": f"T{n % tenth:05d}", "use": "anaesthesia",
             "species": "rainbow trout", "agent": "tricaine methanesulfonate", "start_dose": 60 + n % 40, "step": 20,
             "limit": 120, "started": 0.4, "ended": 0.41, "topups": 0, "temperature": 8 + n % 10, "ph": 7.2}
            for n in range(baths)
        ],
        "fish": [
            {"fish": f"F{n:06d}", "bath": f"B{n:06d}", "weight": 200.5 + n % 300,
             "length": 25.5, "into": 0.4, "balance": 0.4008, "working": 0.4015 + n % 7 * 1e-5, "out": 0.404,
             "recovered": 0.406, "outcome": "recovered"}
            for n in range(baths)
        ],
    }  # fmt: skip


def values_of(path: Path) -> list[tuple[str, list[list[Any]]]]:
    """Values of every cell of a workbook, by sheet."""
    import python_calamine

    book = python_calamine.load_workbook(str(path))
    return [(name, book.get_sheet_by_name(name).to_python(skip_empty_area=False)) for name in book.sheet_names]


# Each job prepares, then gives back what is timed, which says how many cells or findings it met.


def build(baths: int, folder: Path) -> Callable[[], int]:
    from workbook_tools.layouts import case_log
    from workbook_tools.workbook.log import build_log

    rows = data(baths)

    def timed() -> int:
        return (folder / "log.xlsx").write_bytes(build_log(case_log(), rows, rows=1))

    return timed


def recalculate(baths: int, folder: Path) -> Callable[[], int]:
    import formualizer

    del baths

    def timed() -> int:
        summary = formualizer.recalculate_file(str(folder / "log.xlsx"), str(folder / "recalculated.xlsx"))
        return len(summary)

    return timed


def check(baths: int, folder: Path) -> Callable[[], int]:
    from workbook_tools.caselog.checking import check_log
    from workbook_tools.layouts import case_log

    del baths
    return lambda: len(check_log(folder / "log.xlsx", case_log()).findings)


def openpyxl(baths: int, folder: Path) -> Callable[[], int]:
    import openpyxl as library

    del baths
    sheets = values_of(folder / "log.xlsx")

    def timed() -> int:
        book = library.Workbook()
        book.remove(book.worksheets[0])
        for name, rows in sheets:
            sheet = book.create_sheet(name)
            for row in rows:
                sheet.append(row)
        book.save(folder / "openpyxl.xlsx")
        return len(sheets)

    return timed


def xlsxwriter(baths: int, folder: Path) -> Callable[[], int]:
    import xlsxwriter as library

    del baths
    sheets = values_of(folder / "log.xlsx")

    def timed() -> int:
        book = library.Workbook(folder / "xlsxwriter.xlsx", {"strings_to_formulas": False})
        date = book.add_format({"num_format": "yyyy-mm-dd"})
        for name, rows in sheets:
            sheet = book.add_worksheet(name)
            for number, row in enumerate(rows):
                for column, value in enumerate(row):
                    write = sheet.write_datetime if hasattr(value, "tzinfo") or hasattr(value, "day") else None
                    failed = write(number, column, value, date) if write else sheet.write(number, column, value)
                    if failed:
                        raise RuntimeError(f"{name}: XlsxWriter refused {value!r}")
        book.close()
        return len(sheets)

    return timed


JOBS: dict[str, Callable[[int, Path], Callable[[], int]]] = {
    job.__name__: job for job in (build, recalculate, check, openpyxl, xlsxwriter)
}


def one(job: str, baths: int, folder: Path) -> Figures:
    """Seconds and peak megabytes of one job; runs in a process of its own."""
    timed = JOBS[job](baths, folder)
    start = time.perf_counter()
    timed()
    seconds = time.perf_counter() - start
    unit = 1 if sys.platform == "darwin" else 1024
    return {"seconds": seconds, "megabytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6}


def apart(job: str, baths: int, folder: Path) -> Figures:
    """The same, in that process; no numbers where it was ended, as for want of memory."""
    command = [sys.executable, __file__, "--job", job, "--folder", str(folder), str(baths)]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
    if done.returncode != 0:
        print(f"{job} of {baths:,} baths ended with exit code {done.returncode}", file=sys.stderr)
        return {"seconds": math.nan, "megabytes": math.nan}
    found: Figures = json.loads(done.stdout)
    return found


def measured(sizes: Sequence[int], repeat: int, jobs: Sequence[str]) -> dict[tuple[str, int], Figures]:
    """Medians of every job at every size."""
    found = {}
    for size in sizes:
        with tempfile.TemporaryDirectory() as folder:
            rounds = [{job: apart(job, size, Path(folder)) for job in jobs} for _ in range(repeat)]
        for job in jobs:
            found[job, size] = {key: statistics.median(r[job][key] for r in rounds) for key in ("seconds", "megabytes")}
    return found


def table(sizes: Sequence[int], found: dict[tuple[str, int], Figures]) -> str:
    """The figures as a person reads them."""
    lines = [f"{'baths':>7}  {'job':<12} {'seconds':>9} {'of build':>9} {'ms a bath':>10} {'growth':>7} {'peak MB':>8}"]
    for before, size in zip((None, *sizes), sizes, strict=False):
        for job in (job for job in JOBS if (job, size) in found):
            seconds, megabytes = found[job, size]["seconds"], found[job, size]["megabytes"]
            growth = ""
            if before is not None:
                growth = f"{seconds / found[job, before]['seconds'] / (size / before):.2f}"
            ratio = seconds / found[BASE, size]["seconds"]
            lines.append(
                f"{size:>7,}  {job:<12} {seconds:>9.3f} {ratio:>9.2f} {1000 * seconds / size:>10.3f} {growth:>7} "
                f"{megabytes:>8.0f}"
            )
    lines.append("growth: seconds a bath, against the size before; 1 is linear")
    return "\n".join(lines)


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("sizes", nargs="*", type=int, help="numbers of baths; 500 and 5,000 when left out")
    parser.add_argument("--full", action="store_true", help=f"measure {FULL:,} baths as well")
    parser.add_argument("--repeat", type=int, default=3, help="how often each job runs; 3 when left out")
    parser.add_argument("--without", action="append", default=[], choices=[*JOBS][1:], help="leave a job out")
    parser.add_argument("--job", choices=JOBS, help=argparse.SUPPRESS)
    parser.add_argument("--folder", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.job:
        print(json.dumps(one(given.job, given.sizes[0], given.folder)))
        return
    sizes = sorted({*(given.sizes or SIZES), *([FULL] if given.full else [])})
    print(table(sizes, measured(sizes, given.repeat, [job for job in JOBS if job not in given.without])))


if __name__ == "__main__":
    main()
