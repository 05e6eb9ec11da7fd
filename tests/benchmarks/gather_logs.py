"""How long it takes to gather many logs, beside loops over other readers, on a cluster, and again with nothing changed.

    python tests/benchmarks/gather_logs.py               50 and 500 logs
    python tests/benchmarks/gather_logs.py 50 5000       numbers of your own
    python tests/benchmarks/gather_logs.py --only ours_2 --only again 5000

A log is a year of an invented practice with about 500 filled rows, made by the project's own builder. So many
different ones are built as DIFFERENT says; the others are further names of the same files, since building takes longer
than reading. Every job runs in a process of its own, and the jobs of one size follow each other. Loops over other
readers read a sample of the logs and are scaled; the sample is in the table. They read the values of all sheets and do
nothing with them, where gathering reads, computes, checks every cell's kind and writes. The cluster is Dask's own on
this computer; it is started before the clock.

CPU s is the processor time of all processes of a job together: on a computer that has other work, the seconds of the
clock are too many, and these are not. peak MB is of the process that gathers, workers MB that of the largest worker.
`same` says whether all tables hold the same rows in the same order as those of two processes.

The questions (`ask_...`) sum findings, drug use and losses by their names over the gathered tables: how many seconds
with the library's import, and how many without it, the median of five.
"""

from __future__ import annotations

import argparse
import contextlib
import gc
import hashlib
import io
import json
import math
import os
import resource
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
SIZES = (50, 500)
DIFFERENT = 25
SAMPLE = 20
BASE = "ours_2"
Figures = dict[str, Any]


def make(folder: Path, logs: int) -> None:
    """So many logs in folders of a hundred."""
    from demo.practice import practice
    from workbook_tools.layout import case_log
    from workbook_tools.log.building.log_workbook import build_log

    made = folder / ".made"
    made.mkdir(parents=True, exist_ok=True)
    for seed in range(min(DIFFERENT, logs)):
        path = made / f"{seed}.xlsx"
        if not path.exists():
            path.write_bytes(build_log(case_log(), practice(seed)))
    for number in range(logs):
        place = folder / f"{number // 100:04d}" / f"{number:06d}.xlsx"
        place.parent.mkdir(exist_ok=True)
        if not place.exists():
            os.link(made / f"{number % DIFFERENT}.xlsx", place)


# Each job says how many logs it read; what comes before `yield` is not timed.

Job = Callable[[Path, Path], Iterator[Any]]


def _gather(logs: Path, out: Path, place: Any) -> Iterator[Any]:
    from workbook_tools.across.many_logs.gathering import gather

    yield None
    with place as work:
        yield len(gather(logs, out, work).logs)


def ours_1(logs: Path, out: Path) -> Iterator[Any]:
    from workbook_tools.across.many_logs.fan_out import local_work

    return _gather(logs, out, local_work(1))


def ours_2(logs: Path, out: Path) -> Iterator[Any]:
    from workbook_tools.across.many_logs.fan_out import local_work

    return _gather(logs, out, local_work(2))


def again(logs: Path, out: Path) -> Iterator[Any]:
    return ours_2(logs, out.with_name(f"{BASE}.parquet"))


def _dask(logs: Path, out: Path, workers: int) -> Iterator[Any]:
    import distributed

    from workbook_tools.across.many_logs.fan_out import cluster

    with distributed.LocalCluster(
        n_workers=workers, threads_per_worker=1, dashboard_address=None, silence_logs=50
    ) as there:
        yield from _gather(logs, out, cluster(there.scheduler_address))


def dask_1(logs: Path, out: Path) -> Iterator[Any]:
    return _dask(logs, out, 1)


def dask_2(logs: Path, out: Path) -> Iterator[Any]:
    return _dask(logs, out, 2)


def _loop(logs: Path, read: Callable[[Path], Any]) -> Iterator[Any]:
    paths = sorted(logs.glob("*/*.xlsx"))
    paths = paths[:: max(len(paths) // SAMPLE, 1)][:SAMPLE]
    yield None
    for path in paths:
        read(path)
    yield len(paths)


def pandas_openpyxl(logs: Path, out: Path) -> Iterator[Any]:
    import pandas

    del out
    return _loop(logs, lambda path: pandas.read_excel(path, sheet_name=None, header=None))


def calamine(logs: Path, out: Path) -> Iterator[Any]:
    import python_calamine

    def read(path: Path) -> None:
        book = python_calamine.load_workbook(str(path))
        for name in book.sheet_names:
            book.get_sheet_by_name(name).to_python(skip_empty_area=False)

    del out
    return _loop(logs, read)


def fastexcel(logs: Path, out: Path) -> Iterator[Any]:
    import logging

    import fastexcel as library

    logging.getLogger("fastexcel").setLevel(logging.CRITICAL)

    def read(path: Path) -> None:
        book = library.read_excel(path)
        for name in book.sheet_names:
            book.load_sheet(name, header_row=None, dtypes="string").to_arrow()

    del out
    return _loop(logs, read)


def ask_pyarrow(logs: Path, out: Path) -> Iterator[Any]:
    from workbook_tools.across.many_logs.answers import Programme

    path = out.with_name(f"{BASE}.parquet")
    yield None
    yield lambda: [Programme(path).prevalences(), Programme(path).drug_use(), Programme(path).losses()]


SQL = {
    "findings": "select found, species, sum(examined), sum(positive), count(*) from {} group by all",
    "drug_use": "select agent, species, month, source, sum(grams), sum(millilitres), count(*) from {} group by all",
    "losses": "select cause, sum(dead), count(dead) from {} group by all",
}


def ask_duckdb(logs: Path, out: Path) -> Iterator[Any]:
    path = out.with_name(f"{BASE}.parquet")
    yield None
    import duckdb

    duckdb.execute("set autoinstall_known_extensions=false; set autoload_known_extensions=false")
    yield lambda: [
        duckdb.execute(text.format(f"read_parquet('{path}/{name}/*.parquet')")).fetchall() for name, text in SQL.items()
    ]


def ask_polars(logs: Path, out: Path) -> Iterator[Any]:
    path = out.with_name(f"{BASE}.parquet")
    yield None
    import polars

    def asked() -> list[Any]:
        tables = {name: polars.scan_parquet(f"{path}/{name}/*.parquet") for name in SQL}
        return [
            polars.SQLContext(tables).execute(text.format(name).replace("group by all", by)).collect()
            for (name, text), by in zip(
                SQL.items(),
                ("group by found, species", "group by agent, species, month, source", "group by cause"),
                strict=True,
            )
        ]

    yield asked


JOBS: dict[str, Job] = {
    job.__name__: job
    for job in (
        *(ours_1, ours_2, again, dask_1, dask_2, pandas_openpyxl, calamine, fastexcel),
        *(ask_pyarrow, ask_duckdb, ask_polars),
    )
}


def one(job: str, logs: Path, out: Path) -> Figures:
    """Figures of one job; runs in a process of its own."""
    steps = JOBS[job](logs, out)
    next(steps)
    gc.collect()
    before_cpu = sum(os.times()[:2])
    start = time.perf_counter()
    done = next(steps)
    figures: Figures = {}
    if callable(done):
        done()
        rounds = []
        for _ in range(5):
            before = time.perf_counter()
            done()
            rounds.append(time.perf_counter() - before)
        figures = {"seconds": before - start - sum(rounds[:-1]), "asked": statistics.median(rounds), "logs": 0}
    else:
        figures = {"seconds": time.perf_counter() - start, "logs": done}
    with contextlib.suppress(StopIteration):
        next(steps)
    spent = os.times()
    figures["cpu"] = spent.user + spent.system + spent.children_user + spent.children_system - before_cpu
    unit = 1 if sys.platform == "darwin" else 1024
    for key, who in (("own", resource.RUSAGE_SELF), ("workers", resource.RUSAGE_CHILDREN)):
        figures[key] = resource.getrusage(who).ru_maxrss * unit / 1e6
    return figures


def apart(job: str, logs: Path, out: Path, *more: str) -> Any:
    """The same, in that process; no numbers where it ended otherwise, as for want of a library.

    This process itself stays small: a process that it starts would count its memory as its own.
    """
    command = [sys.executable, __file__, "--job", job, "--logs", str(logs), "--out", str(out), *more]
    environment = os.environ | {"PYTHONPATH": str(ROOT)}
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False, env=environment)
    if done.returncode:
        print(f"{job} ended with exit code {done.returncode}", file=sys.stderr)
        return dict.fromkeys(("seconds", "cpu", "own", "workers"), math.nan) | {"logs": 0}
    return json.loads(done.stdout.splitlines()[-1])


def digest(table: Path) -> str:
    """A digest of all rows of all tables, in their order."""
    import pyarrow.csv

    from workbook_tools.across.many_logs.columns import kinds
    from workbook_tools.across.many_logs.dataset import Dataset

    data, found = Dataset(table), hashlib.sha256()
    for name in kinds():
        for key in data.keys(name):
            sink = io.BytesIO()
            pyarrow.csv.write_csv(data.rows(name, key), sink, pyarrow.csv.WriteOptions(include_header=False))
            found.update(sink.getvalue())
    return found.hexdigest()


def measured(sizes: Sequence[int], folder: Path, jobs: Sequence[str]) -> list[tuple[int, str, Figures]]:
    """Figures of every job at every size."""
    found = []
    for size in sizes:
        logs = folder / f"{size} logs"
        if apart("make", logs, folder, str(size)) is not None:
            raise SystemExit("the logs could not be made")
        digests = {}
        for job in jobs:
            out = folder / f"{size} tables" / f"{job}.parquet"
            out.parent.mkdir(exist_ok=True)
            figures = apart(job, logs, out)
            if out.exists():
                digests[job] = apart("digest", logs, out)
                figures["same"] = "yes" if digests[job] == digests.get(BASE, digests[job]) else "NO"
            found.append((size, job, figures))
            print(line(size, job, figures, found), flush=True)
    return found


HEAD = (
    f"{'logs':>6}  {'job':<16} {'read':>6} {'seconds':>9} {'of ours_2':>9} {'CPU s':>9} {'of ours_2':>9} "
    f"{'peak MB':>8} {'workers MB':>10}  same"
)


def line(size: int, job: str, figures: Figures, found: Sequence[tuple[int, str, Figures]]) -> str:
    """A job's figures as a person reads them; loops over a sample are scaled to all logs."""
    if "asked" in figures:
        return f"{size:>6,}  {job:<16} {figures['seconds']:.3f} s with the import, {figures['asked']:.4f} s without"
    share = size / figures["logs"] if figures["logs"] else math.nan
    seconds = figures["seconds"] * share
    base: Figures = next((f for s, j, f in found if (s, j) == (size, BASE)), {"seconds": math.nan, "cpu": math.nan})
    return (
        f"{size:>6,}  {job:<16} {figures['logs']:>6,} {seconds:>9.2f} {seconds / base['seconds']:>9.2f} "
        f"{figures['cpu'] * share:>9.2f} {figures['cpu'] * share / base['cpu']:>9.2f} {figures['own']:>8.0f} "
        f"{figures['workers']:>10.0f}  {figures.get('same', '')}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n", 1)[0])
    parser.add_argument("sizes", nargs="*", type=int, help="numbers of logs; 50 and 500 when left out")
    parser.add_argument("--only", action="append", default=[], choices=JOBS, help="only this job (may be repeated)")
    parser.add_argument("--folder", type=Path, help="where logs and tables are kept; left out: a temporary folder")
    parser.add_argument("--job", help=argparse.SUPPRESS)
    parser.add_argument("--logs", type=Path, help=argparse.SUPPRESS)
    parser.add_argument("--out", type=Path, help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.job == "make":
        print(json.dumps(make(given.logs, given.sizes[0])))
        return
    if given.job == "digest":
        print(json.dumps(digest(given.out)))
        return
    if given.job:
        print(json.dumps(one(given.job, given.logs, given.out)))
        return
    with tempfile.TemporaryDirectory() as temporary:
        print(HEAD)
        jobs = given.only or [BASE, *(job for job in JOBS if job != BASE)]
        measured(given.sizes or SIZES, given.folder or Path(temporary), jobs)


if __name__ == "__main__":
    sys.path.insert(0, str(ROOT))
    main()
