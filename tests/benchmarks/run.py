"""What case logs cost: time and memory of building, reading, checking, sharing and merging, beside what libraries take.

    python tests/benchmarks/run.py                              logs of 500 and 5,000 baths, and as many fish
    python tests/benchmarks/run.py 1000 10000 --repeat 5        sizes of your own, medians of five
    python tests/benchmarks/run.py 10000 --only read fastexcel  some jobs

Every figure is the median over repeats. Each job of each repeat runs in a process of its own, so that its peak memory
is its own, and the jobs take turns, so that a busy machine slows all of them. `seconds` pass on the clock; `cpu` is
what the processors worked, which a busy machine changes less. `of` compares both with the job named there.
Imports and what a job needs beforehand are not timed, but count for its memory.

    build             the log with rules, formats, formulas and stored results
    results           the results alone: what storing them adds to writing formulas
    openpyxl          the bare values of the same cells by openpyxl, no formulas, rules, tables or styles
    xlsxwriter        the same by XlsxWriter
    deflate           the floor of writing: the log's own parts deflated by zlib, at the level it is written with
    read              the rows in use, typed values by column, with their places; without stored results
    validate          read, and each typed column judged by its rules: required, kind, range, list, where it points
    check             everything that `workbook-tools check` looks at; reads stored results too, and computes the log
    fastexcel         all sheets into Arrow, every column as text: left to guess, it refuses columns of mixed kinds
    calamine          all sheets into lists by python-calamine
    pandas_calamine   all sheets by pandas.read_excel with calamine
    pandas_openpyxl   all sheets by pandas.read_excel with openpyxl
    parse             the floor of reading: the log's parts inflated and parsed by expat, nothing done with them
    share             a producer's copy of a site of one visit, looked through for leaks; reads and computes the log
    merge             a copy with 20 fish changed and 20 added merged into the log
    help, calc, pass  `workbook-tools --help`, `workbook-tools calc` and `python -c pass`, whatever the size
"""

from __future__ import annotations

import argparse
import datetime
import json
import math
import resource
import statistics
import subprocess
import sys
import tempfile
import time
import zipfile
import zlib
from collections.abc import Callable, Iterable, Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.benchmarks.logs import LITTLE, changed, data  # noqa: E402

SIZES = (500, 5_000)
MOMENT = datetime.datetime(2026, 3, 2, 12)
Timed = Callable[[], object]
Figures = dict[str, float]


def log_of(folder: Path) -> Path:
    return folder / "log.xlsx"


def parts_of(folder: Path) -> list[bytes]:
    with zipfile.ZipFile(log_of(folder)) as archive:
        return [archive.read(name) for name in archive.namelist()]


def values_of(folder: Path) -> list[tuple[str, list[list[Any]]]]:
    """Values of every cell of the log, by sheet."""
    import python_calamine

    book = python_calamine.load_workbook(str(log_of(folder)))
    return [(name, book.get_sheet_by_name(name).to_python(skip_empty_area=False)) for name in book.sheet_names]


# A job prepares, then gives back what is timed.

# ------------------------------------------------------------------------------------------------------ writing


def build(baths: int, folder: Path) -> Timed:
    from workbook_tools.layout import case_log
    from workbook_tools.log.building.log_workbook import build_log

    rows = data(baths)
    return lambda: (folder / "built.xlsx").write_bytes(build_log(case_log(), rows, rows=1))


def results(baths: int, folder: Path) -> Timed:
    from workbook_tools.layout import case_log
    from workbook_tools.layout.compute import Computed

    del folder
    rows = data(baths)
    return lambda: Computed(case_log(), rows)


def openpyxl(baths: int, folder: Path) -> Timed:
    import openpyxl as library

    del baths
    sheets = values_of(folder)

    def timed() -> None:
        book = library.Workbook()
        book.remove(book.worksheets[0])
        for name, rows in sheets:
            sheet = book.create_sheet(name)
            for row in rows:
                sheet.append(row)
        book.save(folder / "openpyxl.xlsx")

    return timed


def xlsxwriter(baths: int, folder: Path) -> Timed:
    import xlsxwriter as library

    del baths
    sheets = values_of(folder)

    def timed() -> None:
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

    return timed


def deflate(baths: int, folder: Path) -> Timed:
    from workbook_tools.xlsx.packing import COMPRESSION

    del baths
    parts = parts_of(folder)
    return lambda: [zlib.compress(part, COMPRESSION) for part in parts]


# ------------------------------------------------------------------------------------------------------ reading


def read(baths: int, folder: Path) -> Timed:
    from workbook_tools.layout import case_log
    from workbook_tools.log.checking.reading import read_log

    def timed() -> None:
        log = read_log(log_of(folder), case_log())
        if len(log.tables["fish"].rows) != baths:
            raise RuntimeError("rows were lost")

    return timed


def validate(baths: int, folder: Path) -> Timed:
    from workbook_tools.layout import case_log
    from workbook_tools.log.checking.reading import read_log

    def timed() -> None:
        log = read_log(log_of(folder), case_log())
        if len(log.tables["fish"].rows) != baths or log.typed().broken_alone():
            raise RuntimeError("rows were lost, or good ones found fault with")

    return timed


def check(baths: int, folder: Path) -> Timed:
    from workbook_tools.layout import case_log
    from workbook_tools.log.checking.log_check import check_log

    del baths
    return lambda: check_log(log_of(folder), case_log())


def fastexcel(baths: int, folder: Path) -> Timed:
    import fastexcel as library

    del baths

    def timed() -> None:
        book = library.read_excel(log_of(folder))
        for name in book.sheet_names:
            book.load_sheet(name, header_row=None, dtypes="string").__arrow_c_array__()

    return timed


def calamine(baths: int, folder: Path) -> Timed:
    del baths
    return lambda: values_of(folder)


def _pandas(folder: Path, engine: Any) -> Timed:
    import pandas

    return lambda: pandas.read_excel(log_of(folder), sheet_name=None, header=None, engine=engine)


def pandas_calamine(baths: int, folder: Path) -> Timed:
    del baths
    return _pandas(folder, "calamine")


def pandas_openpyxl(baths: int, folder: Path) -> Timed:
    del baths
    return _pandas(folder, "openpyxl")


def parse(baths: int, folder: Path) -> Timed:
    from xml.parsers import expat

    del baths

    def timed() -> None:
        for part in parts_of(folder):
            if part.startswith(b"<"):
                expat.ParserCreate().Parse(part, True)

    return timed


# ------------------------------------------------------------------------------------------ sharing and merging


def share(baths: int, folder: Path) -> Timed:
    from workbook_tools.layout import case_log
    from workbook_tools.log.checking.reading import read_log
    from workbook_tools.producer.audit import audit
    from workbook_tools.producer.copy import producer_copy

    del baths

    def timed() -> None:
        computed = read_log(log_of(folder), case_log()).computed()
        made = producer_copy(computed, LITTLE, MOMENT)
        if audit(made.content, computed, made.site):
            raise RuntimeError("the copy leaks")

    return timed


def merge(baths: int, folder: Path) -> Timed:
    from workbook_tools.layout import case_log
    from workbook_tools.log.merging.merging_files import merge_files

    del baths
    return lambda: merge_files(log_of(folder), [folder / "copy.xlsx"], case_log(), MOMENT)


# ---------------------------------------------------------------------------------------------------- processes


def _process(*command: str) -> Timed:
    return lambda: subprocess.run(command, stdout=subprocess.DEVNULL, check=True)


def help_text(baths: int, folder: Path) -> Timed:
    del baths, folder
    return _process(str(Path(sys.executable).with_name("workbook-tools")), "--help")


def calc(baths: int, folder: Path) -> Timed:
    del baths, folder
    return _process(str(Path(sys.executable).with_name("workbook-tools")), "calc", "bath.mass", "40", "80")


def nothing(baths: int, folder: Path) -> Timed:
    del baths, folder
    return _process(sys.executable, "-c", "pass")


Job = Callable[[int, Path], Timed]
GROUPS: dict[str, dict[str, Job]] = {  # by the job that the others of a group are compared with
    "openpyxl": {job.__name__: job for job in (build, results, openpyxl, xlsxwriter, deflate)},
    "fastexcel": {
        job.__name__: job
        for job in (read, validate, check, fastexcel, calamine, pandas_calamine, pandas_openpyxl, parse)
    },
    "check": {job.__name__: job for job in (share, merge)},
    "pass": {"help": help_text, "calc": calc, "pass": nothing},
}
JOBS = {name: job for jobs in GROUPS.values() for name, job in jobs.items()}
BASE = {name: base for base, jobs in GROUPS.items() for name in jobs}
ONCE = ("help", "calc", "pass")


def prepare(baths: int, folder: Path, copy: bool) -> None:
    """The files that jobs read."""
    from workbook_tools.layout import case_log
    from workbook_tools.log.building.log_workbook import build_log

    log_of(folder).write_bytes(build_log(case_log(), data(baths), rows=1))
    if copy:
        (folder / "copy.xlsx").write_bytes(build_log(case_log(), changed(baths), rows=1))


def one(job: str, baths: int, folder: Path) -> Figures:
    """Figures of one job; runs in a process of its own."""
    from workbook_tools.layout import case_log

    case_log()  # read from its files once
    timed = JOBS[job](baths, folder)
    start, worked = time.perf_counter(), _worked()
    timed()
    found = {"seconds": time.perf_counter() - start, "cpu": _worked() - worked}
    unit = 1 if sys.platform == "darwin" else 1024
    return found | {"megabytes": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * unit / 1e6}


def _worked() -> float:
    """Processor seconds of this process and of those it waited for."""
    waited = resource.getrusage(resource.RUSAGE_CHILDREN)
    return time.process_time() + waited.ru_utime + waited.ru_stime


def apart(arguments: Iterable[str], folder: Path) -> Figures:
    """This file in a process of its own; no figures where it was ended, as for want of memory."""
    command = [sys.executable, __file__, *arguments, "--folder", str(folder)]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
    if done.returncode != 0:
        print(f"{' '.join(arguments)} ended with exit code {done.returncode}", file=sys.stderr)
        return dict.fromkeys(("seconds", "cpu", "megabytes"), math.nan)
    found: Figures = json.loads(done.stdout or "{}")
    return found


def measured(sizes: Sequence[int], repeat: int, jobs: Sequence[str]) -> dict[tuple[str, int], Figures]:
    """Medians of every job at every size."""
    found: dict[tuple[str, int], Figures] = {}
    for size in sizes:
        wanted = [job for job in jobs if size == sizes[0] or job not in ONCE]
        with tempfile.TemporaryDirectory() as name:
            folder = Path(name)
            apart(["--prepare", *(["--copy"] if "merge" in jobs else []), str(size)], folder)
            rounds = [{job: apart(["--job", job, str(size)], folder) for job in wanted} for _ in range(repeat)]
        for job in wanted:
            found[job, size] = {key: statistics.median(r[job][key] for r in rounds) for key in rounds[0][job]}
        print(table(size, sizes[0], found), flush=True)
    return found


def table(size: int, first: int, found: dict[tuple[str, int], Figures]) -> str:
    """The figures of one size as a person reads them; growth is cpu a bath, against the first size."""
    lines = [
        f"{size:,} baths, {2 * size:,} rows of baths and fish",
        f"{'job':<16} {'seconds':>9} {'cpu':>9} {'of':>10} {'seconds':>8} {'cpu':>6} {'growth':>7} {'peak MB':>8}",
    ]
    for job in (job for job in JOBS if (job, size) in found):
        figures, base = found[job, size], found.get((BASE[job], size))
        ratios = f"{'':>10} {'':>8} {'':>6}"
        if base is not None and job != BASE[job]:
            ratios = (
                f"{BASE[job]:>10} {figures['seconds'] / base['seconds']:>8.2f} {figures['cpu'] / base['cpu']:>6.2f}"
            )
        growth = "" if size == first else f"{figures['cpu'] / found[job, first]['cpu'] / (size / first):.2f}"
        lines.append(
            f"{job:<16} {figures['seconds']:>9.3f} {figures['cpu']:>9.3f} {ratios} {growth:>7} "
            f"{figures['megabytes']:>8.0f}"
        )
    return "\n".join(lines) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(
        description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter, allow_abbrev=False
    )
    parser.add_argument("sizes", nargs="*", type=int, help="numbers of baths; 500 and 5,000 when left out")
    parser.add_argument("--repeat", type=int, default=3, help="how often each job runs; 3 when left out")
    parser.add_argument("--only", nargs="+", choices=JOBS, metavar="JOB", help="these jobs alone")
    parser.add_argument("--without", nargs="+", default=[], choices=JOBS, metavar="JOB", help="leave jobs out")
    parser.add_argument("--gather", type=int, nargs="*", metavar="LOGS", help="then gather_logs.py, so many logs")
    for hidden in ("--job", "--folder"):
        parser.add_argument(hidden, help=argparse.SUPPRESS)
    for hidden in ("--prepare", "--copy"):
        parser.add_argument(hidden, action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.prepare:
        prepare(given.sizes[0], Path(given.folder), given.copy)
    elif given.job:
        print(json.dumps(one(given.job, given.sizes[0], Path(given.folder))))
    else:
        jobs = [job for job in given.only or JOBS if job not in given.without]
        measured(sorted(set(given.sizes or SIZES)), given.repeat, jobs)
        if given.gather is not None:  # many logs have sizes and a table of their own
            gathering = [sys.executable, str(Path(__file__).with_name("gather_logs.py"))]
            subprocess.run([*gathering, *map(str, given.gather)], check=True)


if __name__ == "__main__":
    main()
