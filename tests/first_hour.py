"""The first hour of three new users, gone through unattended on empty machines with a real LibreOffice.

    python3 tests/first_hour.py [--pictures FOLDER] [--python PATH]

A vet with Python installs the wheel, makes a log, types a whole visit and shares a copy. A vet with a spreadsheet
program alone takes the ready-made files. A producer fills in the copy and sends it back. Each has an empty home
folder and an empty LibreOffice profile; the first has an empty environment made with --python (default: the python
that runs this), into which pip installs the wheel with its extras from wherever pip is set to look. One line tells
each step; a surprise is told with what to mend, and the exit code is 1. Pictures of what was seen go to FOLDER
(default demo/pictures/first-hour).
"""

from __future__ import annotations

import argparse
import subprocess
import sys
import tempfile
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
sys.path.insert(0, str(ROOT))

from tests.prepare import PreparationError, clean_environment, environment, office  # noqa: E402

PICTURES = ROOT / "demo" / "pictures" / "first-hour"


def main() -> int:
    """Prepare and start again inside the environment of the tests, or walk; the exit code."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--pictures", type=Path, default=PICTURES, metavar="FOLDER")
    parser.add_argument("--python", type=Path, default=Path(sys.executable), metavar="PATH")
    parser.add_argument("--prepared", action="store_true", help=argparse.SUPPRESS)
    given = parser.parse_args()
    if given.prepared:
        return walk(given.pictures, given.python)
    try:
        python = environment(ROOT / ".environments" / "tests", ROOT / "tests" / "requirements.txt")
        office(install=True)
    except PreparationError as error:
        print(error)
        return 1
    command = [str(python), str(Path(__file__).resolve()), "--prepared", "--pictures", str(given.pictures.resolve())]
    command += ["--python", str(given.python.absolute())]
    return subprocess.run(command, cwd=ROOT, env=clean_environment(), check=False).returncode


def walk(pictures: Path, python: Path) -> int:
    """All three people, one after the other; what the third needs, the first has made."""
    from tests.support import first_people
    from tests.support.walk import Walk

    pictures.mkdir(parents=True, exist_ok=True)
    steps = Walk()
    with tempfile.TemporaryDirectory(prefix="workbook-tools-first-hour-") as name:
        folder = Path(name)
        vet = first_people.VetWithPython(steps, folder / "vet", pictures, python)
        with steps.person("A vet with Python"):
            vet.all()
        with steps.person("A vet with a spreadsheet program alone"):
            first_people.VetWithSpreadsheet(steps, folder / "spreadsheet", pictures).all()
        with steps.person("A producer, and the vet who takes the copy back"):
            first_people.Producer(steps, folder / "producer", pictures, vet).all()
    print()
    if steps.surprises:
        print(
            f"{len(steps.surprises)} of three people were surprised (see FAILED above); {steps.steps} steps went well."
        )
        return 1
    print(f"No surprise in {steps.steps} steps. Pictures: {pictures}")
    return 0


if __name__ == "__main__":
    sys.exit(main())
