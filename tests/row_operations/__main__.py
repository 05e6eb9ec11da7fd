"""Tries row operations by the thousand: python3 -m tests.row_operations --sequences 2000 --seed 1

Prints what was tried, what was found, and the shortest sequences that show it; ends with 1 where anything was.
"""

from __future__ import annotations

import argparse
import itertools
import sys
import tempfile
import time
from pathlib import Path
from random import Random

from tests.prepare import engines
from tests.row_operations.filled import write_filled
from tests.row_operations.second_engine import of_rows_alone, wrong_after
from tests.row_operations.sequences import Sequence, of_whole_rows, sequence, told
from tests.row_operations.trying import Report, Trial, Way
from tests.support.office import Office

PROGRESS = 50  # sequences between two words of how far it is


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__, prog="python3 -m tests.row_operations")
    parser.add_argument("--sequences", type=int, default=2000)
    parser.add_argument("--first", type=int, default=0, help="number of the first sequence")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--examples", type=int, default=3, help="shortened sequences of each kind of fault")
    parser.add_argument("--rewritten", type=int, default=200, help="sequences once more through saved files")
    parser.add_argument("--minutes", type=float, default=60, help="the most that each way may take")
    parser.add_argument("--rows-alone", action="store_true", help="only sequences that cut and shift no single cells")
    parser.add_argument("--second", type=int, default=40, help="sequences in HyperFormula")
    choice = parser.parse_args()
    wrong = 0
    with tempfile.TemporaryDirectory() as folder, Office() as office:
        trial = Trial(write_filled(Path(folder) / "log.xlsx"), office)
        ways = {
            "read at once": (trial.at_once, choice.sequences),
            "saved as .ods and opened": (trial.reopened, choice.rewritten),
            "saved, rewritten by openpyxl and opened": (trial.rewritten, choice.rewritten),
        }
        for name, (way, count) in ways.items():
            if count:
                wrong += one_way(name, way, trial, choice, count)
        print("steps refused by LibreOffice:", dict(trial.refused))
        print(f"{len(trial.ended)} sequences over which LibreOffice itself came to an end:", *trial.ended, sep="\n  ")
        if choice.second:
            wrong += in_the_second_engine(trial, choice)
    return 1 if wrong else 0


def one_way(name: str, way: Way, trial: Trial, choice: argparse.Namespace, count: int) -> int:
    """Try so many sequences one way, or as many as the time allows, and print the report; how many showed something
    wrong."""
    begin, report = time.monotonic(), Report(choice.examples)
    drawn = ((number, sequence(trial.log, choice.seed, number)) for number in itertools.count(choice.first))
    wanted = (one for one in drawn if not choice.rows_alone or of_whole_rows(one[1]))
    for number, steps in itertools.islice(wanted, count):
        if time.monotonic() - begin > 60 * choice.minutes:
            break
        report.note(steps, way(steps), way)
        if report.tried % PROGRESS == 0:
            print(f"{name}: {number + 1}, {time.monotonic() - begin:.0f} s", file=sys.stderr, flush=True)
    print(f"\n{name}: seed {choice.seed}, {time.monotonic() - begin:.0f} s")
    print(*report.lines(), sep="\n", flush=True)
    return report.tried - report.without


def in_the_second_engine(trial: Trial, choice: argparse.Namespace) -> int:
    """Insert and delete whole rows in HyperFormula, and print what was wrong."""
    sequences = [
        of_rows_alone(trial.log, Sequence(trial.log, Random(f"{choice.seed} rows {number}")))
        for number in range(choice.second)
    ]
    own, found = wrong_after(trial.judge, trial.log, sequences, engines(install=True))
    print(f"\nHyperFormula: {len(sequences)} sequences, {sum(map(bool, found))} with something wrong; of itself:")
    print(sorted(own))
    for steps, violations in zip(sequences, found, strict=True):
        if violations:
            print(f"- after: {told(steps)}", *violations[:3], sep="\n      ")
    return len(own) + sum(map(bool, found))


if __name__ == "__main__":
    sys.exit(main())
