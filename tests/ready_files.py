"""Build the ready-made files of templates/ready anew; the tests refuse files that are out of step.

    python3 tests/ready_files.py

Run it after any change of a layout, of a writer or of a function, and commit what it wrote. Runs on a bare python3: it
makes (or reuses) the environment of the tests. The same sources give the same bytes.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

FOLDER = ROOT / "templates" / "ready"
INSIDE = "--prepared"


def main(arguments: list[str]) -> int:
    """Prepare and start again inside the environment, or build."""
    if arguments == [INSIDE]:
        for file in build_all(FOLDER):
            print(f"{file.relative_to(ROOT)}  {file.stat().st_size / 1000:.0f} kB")
        return 0
    if arguments:
        print((__doc__ or "").strip())
        return 0 if arguments in (["-h"], ["--help"]) else 2
    from tests.prepare import PreparationError, clean_environment, environment

    try:
        python = environment(ROOT / ".environments" / "tests", ROOT / "tests" / "requirements.txt")
    except PreparationError as error:
        print(error)
        return 1
    command = [str(python), str(Path(__file__).resolve()), INSIDE]
    return subprocess.run(command, cwd=ROOT, env=clean_environment(), check=False).returncode


def build_all(folder: Path) -> list[Path]:
    """The three files, as the commands `new log`, `new bench` and `extension` make them when left to themselves."""
    from workbook_tools.hosts import extension
    from workbook_tools.layout import case_log, load
    from workbook_tools.log.building.bench import build_bench
    from workbook_tools.log.building.log_workbook import build_log

    log, bench = folder / "case-log.xlsx", folder / "bench.xlsx"
    log.write_bytes(build_log(case_log(), rows=200))
    bench.write_bytes(build_bench(load("bench")))
    return [log, bench, extension.build(folder / "functions.oxt")]


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
