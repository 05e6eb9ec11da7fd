"""Tries changed workbooks on everything that reads them, and prints what came of it.

    python -m tests.fuzz.run --inputs 100000 --target door       changes to the zip
    python -m tests.fuzz.run --inputs 5000 --target reading      changes to the markup, read and checked
    python -m tests.fuzz.run --inputs 5000 --seed 7 --json       all targets, as many inputs each

Inputs follow from the seed alone. An input passes where the tools take it or say with an error of their own why not.
Whatever else happens is a fault: the input is kept in --keep and the run goes on. An input that takes longer than
--seconds is a fault as well; the process may have no more than 2 GiB of memory.
"""

from __future__ import annotations

import argparse
import json
import random
import resource
import signal
import sys
import tempfile
import time
import traceback
from collections.abc import Callable
from pathlib import Path
from types import FrameType
from typing import Any

from tests.fuzz.mutations import structural, zip_change
from tests.fuzz.targets import TARGETS
from tests.support.forked import MEMORY

SECONDS = 20
MAKERS: dict[str, Callable[[random.Random], bytes]] = {"door": zip_change}


class TookTooLongError(Exception):
    """An input held the tools for longer than is allowed."""


def _stop(_signal: int, _frame: FrameType | None) -> None:
    raise TookTooLongError


def fuzz(
    target: str, inputs: int, seed: int, keep: Path | None = None, seconds: int = SECONDS, minutes: float = 0
) -> dict[str, Any]:
    """So many inputs on one target, or as many as there is time for where `minutes` says how long; the figures."""
    taken = refused = largest = 0
    faults: list[str] = []
    slowest = 0.0
    make, work = MAKERS.get(target, structural), TARGETS[target]
    before = signal.signal(signal.SIGALRM, _stop)
    started = time.perf_counter()
    try:
        with tempfile.TemporaryDirectory() as scratch:
            for number in range(inputs):
                if minutes and time.perf_counter() - started > 60 * minutes:
                    break
                content = make(random.Random(f"{target} {seed} {number}"))
                begun = time.perf_counter()
                signal.alarm(seconds)
                try:
                    worked = work(content, Path(scratch))
                except BaseException as error:
                    signal.alarm(0)
                    if isinstance(error, KeyboardInterrupt):
                        raise
                    where = traceback.extract_tb(error.__traceback__)[-1]
                    faults.append(
                        f"{target} {seed} {number}: {error!r:.200} at {Path(where.filename).name}:{where.lineno}"
                    )
                    if keep is not None:
                        keep.mkdir(exist_ok=True)
                        (keep / f"{target}-{seed}-{number}.bin").write_bytes(content)
                else:
                    taken, refused = taken + worked, refused + (not worked)
                finally:
                    signal.alarm(0)
                slowest, largest = max(slowest, time.perf_counter() - begun), max(largest, len(content))
    finally:
        signal.signal(signal.SIGALRM, before)
    return {
        "target": target,
        "seed": seed,
        "inputs tried": taken + refused + len(faults),
        "taken": taken,
        "refused": refused,
        "faults": faults,
        "slowest input s": round(slowest, 3),
        "largest input bytes": largest,
        "peak memory": resource.getrusage(resource.RUSAGE_SELF).ru_maxrss * 1024,
        "wall s": round(time.perf_counter() - started, 1),
    }


def main() -> None:
    asked = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    asked.add_argument("--inputs", type=int, default=1000)
    asked.add_argument("--seed", type=int, default=1)
    asked.add_argument("--target", choices=list(TARGETS))
    asked.add_argument("--keep", type=Path, help="Folder for inputs that show a fault.")
    asked.add_argument("--seconds", type=int, default=SECONDS, help="That one input may take.")
    asked.add_argument("--minutes", type=float, default=0, help="Stop after so long, whatever --inputs says.")
    asked.add_argument("--json", action="store_true")
    said = asked.parse_args()
    resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
    targets = [said.target] if said.target else list(TARGETS)
    every = [fuzz(t, said.inputs, said.seed, said.keep, said.seconds, said.minutes) for t in targets]
    if said.json:
        print(json.dumps(every, indent=2))
    else:
        for one in every:
            print(", ".join(f"{name}: {len(value) if name == 'faults' else value}" for name, value in one.items()))
            for fault in one["faults"]:
                print(f"  {fault}")
    sys.exit(1 if any(one["faults"] for one in every) else 0)


if __name__ == "__main__":
    main()
