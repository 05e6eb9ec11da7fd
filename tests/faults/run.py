"""Faults and power cuts at the calls by which the commands write; prints how many, and what they did.

    python -m tests.faults.run                 every power cut, and 1,500 other faults spread over all of them
    python -m tests.faults.run --faults 150    as many other faults, and power cuts in fewer ways

Ends with 0 where no row was lost, no file corrupted and nothing left lying about unsaid; else with 1.
"""

from __future__ import annotations

import argparse
import contextlib
import errno
import os
import random
import sys
import tempfile
from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path

from click.testing import CliRunner, Result
from openpyxl.worksheet._writer import ALL_TEMP_FILES

from tests.faults.disk import Call, Disk, Fault
from tests.faults.jobs import JOBS, LOG, Job, Judge, backups, finals, first_files, found_in, put
from tests.faults.power import cuts
from workbook_tools.cli.main import cli

SEED = 8
FULL, QUICK = 1_500, 150
RANDOM_CUTS, FEW_RANDOM_CUTS = 8, 2
NEWER = "newer"
INTERRUPT = "interrupted"


def _interrupt() -> None:
    raise KeyboardInterrupt


FAULTS = (
    Fault("disk full", errno.ENOSPC),
    Fault("disk full from then on", errno.ENOSPC, "on"),
    Fault("quota used up", errno.EDQUOT),
    Fault("input/output error", errno.EIO),
    Fault("not permitted", errno.EACCES),
    Fault("read-only from then on", errno.EROFS, "on"),
    Fault("folder closed from then on", errno.EACCES, "lost"),
    Fault(INTERRUPT, act=_interrupt),
    Fault(NEWER),  # another program saves the log; what it does is put in below
)


@dataclass
class Figures:
    """What was tried, and everything that went wrong, in words."""

    commands: int = 0
    calls: int = 0
    faults: Counter[str] = field(default_factory=Counter)
    power_cuts: int = 0
    corrupted: list[str] = field(default_factory=list)
    lost: list[str] = field(default_factory=list)
    left: list[str] = field(default_factory=list)
    unsaid: list[str] = field(default_factory=list)

    @property
    def injected(self) -> int:
        return self.faults.total() + self.power_cuts

    @property
    def wrong(self) -> list[str]:
        return [*self.lost, *self.corrupted, *self.left, *self.unsaid]

    def as_dict(self) -> dict[str, object]:
        """For the table of figures."""
        return {
            "commands that write": self.commands,
            "calls that write": self.calls,
            "faults injected": self.injected,
            "of them power cuts": self.power_cuts,
            "rows lost": len(self.lost),
            "files corrupted": len(self.corrupted),
            "files left unsaid": len(self.left),
            "refusals without a sentence": len(self.unsaid),
        }


class Trial:
    """One command in a folder of its own, undisturbed first."""

    def __init__(self, job: Job, folder: Path, judge: Judge, figures: Figures) -> None:
        self.job, self.judge, self.figures = job, judge, figures
        self.folder, self.temporary = folder / "work", folder / "temporary"
        for place in (self.folder, self.temporary):
            place.mkdir()
        self.before = dict(first_files())
        self.journal, self.new = self._undisturbed()
        if not job.in_place and "--replace" in job.words:  # there is one from before
            self.before[job.target] = self.new
            self.journal, self.new = self._undisturbed()
        if job.in_place:
            judge.allow(self.new, self.before[job.target])

    def _undisturbed(self) -> tuple[list[Call], bytes]:
        disk, result = self.run(None, None)
        if result.exit_code != 0:
            raise AssertionError(f"{self.job.name} undisturbed: {result.output} {result.exception!r}")
        after = found_in(self.folder)
        there = {**self.before, self.job.target: after[self.job.target]}
        extra = {name for name in after if name not in there} - set(_backup_names(self.job.target, after))
        if extra:
            raise AssertionError(f"{self.job.name} undisturbed leaves {extra}")
        return disk.calls, after[self.job.target]

    def run(self, fault: Fault | None, at: int | None) -> tuple[Disk, Result]:
        """The command with a fault at one of its calls."""
        put(self.folder, self.before)
        disk = Disk((self.folder, self.temporary), fault, at)
        disk.know(str(self.folder / name) for name in self.before)
        kept = tempfile.tempdir
        tempfile.tempdir = str(self.temporary)
        try:
            with disk.between():
                return disk, CliRunner().invoke(cli, self.job.command(self.folder))
        finally:
            tempfile.tempdir = kept

    # ---------------------------------------------------------------------------------------------- other faults

    def strikes(self) -> Iterator[tuple[Fault, int]]:
        """Every fault at every call; another program's save not at the very rename, after which it is too late."""
        target = str(self.folder / self.job.target)
        final = next((number for number, call in enumerate(self.journal) if call.other == target), None)
        for fault in FAULTS:
            if fault.name == NEWER and LOG not in self.job.words and self.job.log not in self.job.words:
                continue
            for number in range(len(self.journal)):
                if not (fault.name == NEWER and number == final):
                    yield fault, number

    def strike(self, fault: Fault, at: int) -> None:
        """Run the command with a fault and look at everything afterwards."""
        newer = b""
        if fault.name == NEWER:
            newer = self.before[self.job.log] + b""
            newer = _saved_elsewhere(newer)
            fault = Fault(NEWER, act=lambda: _save_elsewhere(self.folder / self.job.log, newer))
        disk, result = self.run(fault, at)
        assert disk.struck, (self.job.name, fault.name, at)
        self.figures.faults[fault.name] += 1
        call = self.journal[at]
        where = f"{self.job.name}, {fault.name} at call {at} ({call.what} {Path(call.path).name})"
        after = found_in(self.folder)
        self._look_at_files(where, after, newer)
        self._look_at_words(where, fault, result, after, newer)
        self._look_at_leavings(where, fault, result, after)

    def _look_at_files(self, where: str, after: Mapping[str, bytes], newer: bytes) -> None:
        before = {**self.before, self.job.log: newer} if newer else self.before
        log = before[self.job.log]
        if self.job.log not in after:
            self.figures.lost.append(f"{where}: the log is gone")
            return
        for name, content in finals(after):
            own = name == self.job.log or (self.job.in_place and name.startswith(Path(self.job.log).stem + ".backup-"))
            if newer and own:
                if content not in (newer, self.new, self.before[self.job.log]):
                    self.figures.corrupted.append(f"{where}: {name} is neither")
            elif fault := self.judge.fault(name, content, log if own else None):
                kind = self.figures.lost if fault.startswith("lost") else self.figures.corrupted
                kind.append(f"{where}: {name} {fault}")
            if name in before and name != self.job.target and content != before[name]:
                self.figures.corrupted.append(f"{where}: {name} was changed")
        if newer and after[self.job.log] != newer:
            self.figures.lost.append(f"{where}: what another program saved is gone")
        old = self.before.get(self.job.target)
        if (
            old is not None
            and after.get(self.job.target) not in (old, newer)
            and old not in backups(self.job.target, after)
        ):
            self.figures.lost.append(f"{where}: replaced without a backup")

    def _look_at_words(
        self, where: str, fault: Fault, result: Result, after: Mapping[str, bytes], newer: bytes
    ) -> None:
        done = result.exit_code == 0
        if result.exit_code not in (0, 2) and not (fault.name == INTERRUPT and result.exit_code == 1):
            self.figures.unsaid.append(f"{where}: exit code {result.exit_code}, {result.exception!r}")
        if result.exit_code == 2 and (not result.stderr.strip() or "Traceback" in result.output):
            self.figures.unsaid.append(f"{where}: {result.output!r}")
        kept = (self.before.get(self.job.target), newer)
        if done and not newer and after.get(self.job.target) in kept and self.new not in kept:
            self.figures.unsaid.append(f"{where}: it says done, and nothing was written")

    def _look_at_leavings(self, where: str, fault: Fault, result: Result, after: Mapping[str, bytes]) -> None:
        fine = {*self.before, self.job.target, *_backup_names(self.job.target, after)}
        left = [name for name in after if name not in fine]
        if fault.lasting == "once":  # a disk that stays broken keeps what is in the system's own temporary folder
            at_exit = {Path(file) for file in ALL_TEMP_FILES}  # openpyxl removes these when the program ends
            left += [file.name for file in self.temporary.iterdir() if file not in at_exit]
        words = " ".join(result.output.split())
        self.figures.left += [f"{where}: {name}" for name in left if name not in words]
        _emptied(self.temporary)

    # ------------------------------------------------------------------------------------------------- power cuts

    def power_cuts(self, random_ones: int) -> None:
        """Cut the power after each call, in several ways; the journal is that of the undisturbed command."""
        here = f"{self.folder}{os.sep}"
        journal = [call for call in self.journal if call.path == str(self.folder) or call.path.startswith(here)]
        before = {f"{here}{name}": content for name, content in self.before.items()}
        for number, state in cuts(before, journal, SEED, random_ones):
            self.figures.power_cuts += 1
            after = {name.removeprefix(here): content for name, content in state.items()}
            self._look_at_files(f"{self.job.name}, power cut after call {number}", after, b"")


def _backup_names(name: str, files: Mapping[str, bytes]) -> list[str]:
    return [other for other in files if other.startswith(f"{Path(name).stem}.backup-")]


def _saved_elsewhere(log: bytes) -> bytes:
    """The log as another program might save it: it still opens, and is not the one that was read."""
    import io
    import zipfile

    target = io.BytesIO(log)
    with zipfile.ZipFile(target, "a") as archive:
        archive.comment = b"saved by another program"
    return target.getvalue()


def _save_elsewhere(path: Path, content: bytes) -> None:
    beside = path.with_name(".other-program")
    beside.write_bytes(content)
    beside.replace(path)


def _emptied(folder: Path) -> None:
    import shutil

    for there in folder.iterdir():
        shutil.rmtree(there) if there.is_dir() else there.unlink()


@contextlib.contextmanager
def one_trial(job: Job) -> Iterator[Trial]:
    """A command in folders of its own, which go away afterwards."""
    with (
        tempfile.TemporaryDirectory(prefix="faults-") as name,
        tempfile.TemporaryDirectory(prefix="faults-judge-") as judge,
    ):
        yield Trial(job, Path(name).resolve(), Judge(Path(judge)), Figures())


def tried(faults: int, jobs: tuple[Job, ...] = JOBS, random_cuts: int | None = None) -> Figures:
    """Power cuts at every call of every job, and that many other faults, spread over all there are."""
    figures = Figures()
    if random_cuts is None:
        random_cuts = RANDOM_CUTS if faults >= FULL else FEW_RANDOM_CUTS
    with tempfile.TemporaryDirectory(prefix="faults-") as name, contextlib.ExitStack() as stack:
        judge = Judge(Path(stack.enter_context(tempfile.TemporaryDirectory(prefix="faults-judge-"))))
        trials = []
        for number, job in enumerate(jobs):
            place = Path(name).resolve() / str(number)
            place.mkdir()
            trial = Trial(job, place, judge, figures)
            figures.commands += 1
            figures.calls += len(trial.journal)
            trial.power_cuts(random_cuts)
            trials.append(trial)
        chance = random.Random(SEED)
        for number, trial in enumerate(trials):  # as many for each command, as far as it has so many
            every = list(trial.strikes())
            share = faults * (number + 1) // len(trials) - faults * number // len(trials)
            share = min(share, trial.job.most, len(every))
            for fault, at in chance.sample(every, share):
                trial.strike(fault, at)
    return figures


def main(arguments: list[str]) -> int:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--faults", type=int, default=FULL, metavar="N")
    figures = tried(parser.parse_args(arguments).faults)
    for name, value in figures.as_dict().items():
        print(f"{name:<30}{value:>8,}")
    for kind, count in sorted(figures.faults.items()):
        print(f"  {kind:<28}{count:>8,}")
    for line in figures.wrong:
        print(f"! {line}")
    return 1 if figures.wrong else 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
