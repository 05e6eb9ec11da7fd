"""How long 10,000 calls of the Calc extension take, beside the same 10,000 plain formulas, in one run of LibreOffice.

    python -m tests.benchmarks.extension_calls

Each figure is the median of several recalculations of an open workbook, the two by turns; what they compute is compared
before it is timed.
"""

from __future__ import annotations

import os
import statistics
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from tests.hosts.profile import new_profile
from tests.support import office_process
from tests.support.office_process import OfficeProcess
from tests.support.plain_workbook import CellContent, Formula, write
from workbook_tools.functions.texts.cell_text import cell_text
from workbook_tools.hosts import extension

CALLS = 10_000
REPEATS = 7
WORKER = Path(__file__).with_name("recalculation_worker.py")


def workbook(path: Path, formula: Callable[[int], str]) -> Path:
    """Arguments in A and B, a formula of them in C."""
    cells: dict[str, CellContent] = {}
    for row in range(1, CALLS + 1):
        cells[f"A{row}"], cells[f"B{row}"] = 10.0 + row, 40.0 + row % 80
        cells[f"C{row}"] = Formula(formula(row))
    write(path, cells)
    return path


def measure(folder: Path) -> dict[str, list[float]]:
    """Seconds of each recalculation."""
    profile = new_profile(folder)
    os.environ.update(profile.environment)
    extension.install(extension.build(folder / "workbook-tools.oxt"), profile.folder, shared=profile.shared)
    calls = workbook(folder / "calls.xlsx", lambda row: f"BATH.MASS(A{row},B{row})")
    plain = workbook(folder / "plain.xlsx", lambda row: cell_text("BATH.MASS", [f"A{row}", f"B{row}"]))
    office_process.WORKER = WORKER
    running = OfficeProcess(profile.folder, profile.environment, "en-US", 300)
    try:
        request: dict[str, Any] = {"action": "recalculate", "paths": [str(calls), str(plain)], "repeats": REPEATS}
        answer = running.ask(request | {"results": f"C1:C{CALLS}"})
    finally:
        running.close()
    if answer["different"]:
        raise SystemExit(f"{answer['different']} of {CALLS} calls differ from the plain formulas: nothing was timed")
    return dict(zip(("extension calls", "plain formulas"), answer["seconds"], strict=True))


def main() -> None:
    with tempfile.TemporaryDirectory() as folder:
        times = measure(Path(folder))
    for what, seconds in times.items():
        middle = statistics.median(seconds)
        print(f"{CALLS:,} {what}: median {middle:.3f} s of {len(seconds)}, {middle / CALLS * 1e6:.1f} us each")


if __name__ == "__main__":
    main()
