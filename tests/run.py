"""Run every check of the project with one command, on a person's machine and in continuous integration alike.

    python3 tests/run.py                                    everything
    python3 tests/run.py --without-libreoffice              everything that needs no LibreOffice
    python3 tests/run.py --without-engines                  everything that needs no Gnumeric and no Node
    python3 tests/run.py tests/test_office_harness.py -x    only these tests; arguments go to pytest

The first run makes .environments/tests and .environments/engines (pinned packages) and installs LibreOffice, Gnumeric
and Node where it may; without them the run fails unless told otherwise. Formatting, lint and types come first and end
the run when they fail; they are left out when pytest arguments are given. Paths are read from the project's root. The
last line printed says how it went.
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from prepare import ROOT, PreparationError, clean_environment, engines, environment, office, say

WITHOUT_OFFICE, WITHOUT_ENGINES = "--without-libreoffice", "--without-engines"
CHECKS = {
    "format": ["ruff", "format", "--check", "--extend-exclude", ".environments", "."],
    "lint": ["ruff", "check", "--extend-exclude", ".environments", "."],
    "types": ["mypy"],
}


def main(arguments: list[str]) -> int:
    """Prepare, check, test; the exit code is 0 only when all of it passed."""
    if arguments in (["-h"], ["--help"]):
        say((__doc__ or "").strip())
        return 0
    with_office, with_engines = WITHOUT_OFFICE not in arguments, WITHOUT_ENGINES not in arguments
    pytest_arguments = [argument for argument in arguments if argument not in (WITHOUT_OFFICE, WITHOUT_ENGINES)]
    try:
        python = environment(ROOT / ".environments" / "tests", ROOT / "tests" / "requirements.txt")
        if with_office:
            programs = office(install=True)
            say(f"LibreOffice: {programs.soffice}")
        if with_engines:
            found = engines(install=True)
            say(f"engines: {found.ssconvert}, {found.node} with {found.packages}")
    except PreparationError as error:
        say(str(error))
        say("FAILED before any test ran: what the tests need is not there (see above)")
        return 1
    failed = {} if pytest_arguments else check(python)
    if failed:
        names = ", ".join(f"{name} (exit code {code})" for name, code in failed.items())
        say(f"FAILED before any test ran: {names}")
        return next(iter(failed.values()))
    variables = clean_environment() | {
        "WORKBOOK_TOOLS_LIBREOFFICE": "yes" if with_office else "no",
        "WORKBOOK_TOOLS_ENGINES": "yes" if with_engines else "no",
    }
    # a file's tests stay together: some share workbooks that take long to make
    together = ["-n", "2", "--dist", "loadfile"] if with_office and with_engines and not pytest_arguments else []
    command = [str(python), "-m", "pytest", *together, *pytest_arguments]
    return subprocess.run(command, cwd=ROOT, env=variables, stdin=subprocess.DEVNULL, check=False).returncode


def check(python: Path) -> dict[str, int]:
    """Run every check, so that all problems show at once; the exit codes of those that failed, by name."""
    failed = {}
    for name, command in CHECKS.items():
        say(f"{name}: {' '.join(command)}")
        done = subprocess.run(
            [str(python), "-m", *command], cwd=ROOT, env=clean_environment(), stdin=subprocess.DEVNULL, check=False
        )
        if done.returncode != 0:
            failed[name] = done.returncode
    return failed


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
