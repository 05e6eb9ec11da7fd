"""How long a typed cell takes to be computed in LibreOffice, in logs of more and more baths and fish.

    python tests/benchmarks/type_row.py [SIZE ...]

Each size is a number of baths, with as many fish. A cell is typed into the last baths and the last fish, five times;
the median is printed, and beside it what computing the whole log takes.
"""

from __future__ import annotations

import statistics
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
sys.path.insert(0, str(ROOT))

from tests.benchmarks.logs import data  # noqa: E402
from tests.support.office import Office  # noqa: E402
from workbook_tools.layout import case_log  # noqa: E402
from workbook_tools.log.building.log_workbook import build_log  # noqa: E402

SIZES = (2_000, 20_000)
TIMES = 5


def seconds(office: Office, path: Path, sheet: str, key: str, column: str, row: int) -> tuple[float, float]:
    """Median seconds of a typed cell, and seconds of the whole log."""
    place = case_log().tables[key].letters[column]
    cells = {f"{place}{row - number}": "0.402" if column == "working" else "75" for number in range(TIMES)}
    found = office.timed(path, {sheet: cells})
    return statistics.median(found[f"{sheet}!{cell}"] for cell in cells), found["everything"]


def main(sizes: list[int]) -> None:
    print(f"{'baths':>8} {'typed bath ms':>14} {'typed fish ms':>14} {'whole log s':>12}")
    with tempfile.TemporaryDirectory() as folder, Office(seconds=1800) as office:
        for size in sizes:
            path = Path(folder) / f"{size}.xlsx"
            path.write_bytes(build_log(case_log(), data(size), rows=1))
            row = 5 + size
            bath, _ = seconds(office, path, "Baths", "baths", "start_dose", row)
            fish, whole = seconds(office, path, "Fish", "fish", "working", row)
            print(f"{size:>8,} {1000 * bath:>14.1f} {1000 * fish:>14.1f} {whole:>12.1f}", flush=True)


if __name__ == "__main__":
    main([int(text) for text in sys.argv[1:]] or list(SIZES))
