"""Build the packages, install the wheel in empty environments of several Pythons, and try it there.

    python3 tests/try_package.py [--python PATH ...]

Without --python it takes every python3.11 to python3.13 that the path leads to. Packages come from wherever pip gets
them. Runs on a bare python3: it makes (or reuses) the environment of the tests for the build.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
from pathlib import Path

sys.path.insert(0, str(Path(__file__).resolve().parent.parent))

from tests.prepare import ROOT, PreparationError, environment
from tests.support import packages


def main() -> int:
    """One line for each Python; 1 where one failed."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("--python", nargs="+", default=[], metavar="PATH", help="interpreters to try")
    pythons = packages.interpreters(parser.parse_args().python)
    if not pythons:
        print("No python3.11 to python3.13 was found; name one with --python.")
        return 1
    try:
        builder = environment(ROOT / ".environments" / "tests", ROOT / "tests" / "requirements.txt")
    except PreparationError as error:
        print(error)
        return 1
    failed = 0
    with tempfile.TemporaryDirectory(prefix="workbook-tools-package-") as name:
        folder = Path(name)
        source, wheel = packages.build(builder, folder)
        for fault in [*packages.source_faults(source), *packages.wheel_faults(wheel)]:
            print(f"FAILED  package: {fault}")
            failed = 1
        for number, python in enumerate(pythons):
            failed |= tried(python, wheel, folder / str(number))
    return failed


def tried(python: Path, wheel: Path, folder: Path) -> int:
    """Install and try with one Python, first without and then with the extra `share`."""
    folder.mkdir()
    try:
        version = packages.run([python, "--version"], folder).strip()
        for extra in ("", "[share]"):
            place = folder / (extra or "plain")
            place.mkdir()
            inside = packages.new_environment(python, place / "environment")
            # pip's own warnings are none of ours
            packages.run([inside, "-m", "pip", "install", "-q", f"{wheel}{extra}"], place, 0, {"PYTHONWARNINGS": ""})
            trial = packages.Trial(inside, place)
            trial.smoke(with_share=bool(extra))
            trial.as_ready()
            print(f"ok      {version}: {wheel.name}{extra}", flush=True)
    except (packages.PackageFaultError, OSError) as error:
        print(f"FAILED  {python}: {error}", flush=True)
        return 1
    return 0


if __name__ == "__main__":
    sys.exit(main())
