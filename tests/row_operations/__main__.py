"""Tries row operations by the thousand: python3 -m tests.row_operations --sequences 2000 --seed 1

Prints what was tried, what was found, and the shortest sequences that show it; ends with 1 where anything was.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path

from tests.row_operations.filled import write_filled
from tests.row_operations.sequences import sequence
from tests.row_operations.trying import Report, Trial
from tests.support.office import Office


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, prog="python3 -m tests.row_operations")
    parser.add_argument("--sequences", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0, help="number of the first sequence")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--examples", type=int, default=3, help="shortened sequences of each kind of fault")
    parser.add_argument("--rewritten", type=int, default=200, help="sequences once more through saved files")
    choice = parser.parse_args()
    begin = time.monotonic()
    wrong = 0
    with tempfile.TemporaryDirectory() as folder, Office() as office:
        trial = Trial(write_filled(Path(folder) / "log.xlsx"), office)
        ways = {
            "read at once": (trial.at_once, choice.sequences),
            "saved as .ods and opened": (trial.reopened, choice.rewritten),
            "saved, rewritten by openpyxl and opened": (trial.rewritten, choice.rewritten),
        }
        for name, (way, count) in ways.items():
            report = Report(choice.examples)
            for number in range(choice.first, choice.first + count):
                steps = sequence(trial.log, choice.seed, number)
                report.note(steps, way(steps), way)
                if number % 50 == 49:
                    print(f"{name}: {number + 1}, {time.monotonic() - begin:.0f} s", file=sys.stderr, flush=True)
            print(f"\n{name}: seed {choice.seed}, {time.monotonic() - begin:.0f} s since the start")
            print(*report.lines(), sep="\n")
            wrong += report.tried - report.without
        print("steps refused by LibreOffice:", dict(trial.refused))
        print(f"{len(trial.ended)} times LibreOffice itself came to an end:", *trial.ended, sep="\n  ")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
