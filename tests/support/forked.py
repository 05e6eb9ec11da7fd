"""Runs commands in processes of their own, under limits of memory and processor time, and says what each did.

One process loads the tools and forks for each command, so that a thousand commands cost little more than their work.
`run_all(jobs)` starts that process, so it can be called from anywhere.
"""

from __future__ import annotations

import contextlib
import gc
import hashlib
import json
import os
import resource
import signal
import subprocess
import sys
import tempfile
import traceback
from collections.abc import Sequence
from dataclasses import asdict, dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
MEMORY = 2 << 30  # bytes of address space that a command may have
SECONDS = 60  # of processor time that a command may take over one file
CAPBSET_DROP = 24  # of prctl
NO_OVERRIDE = (1, 2)  # CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH: with them, root may read what nobody may


@dataclass(frozen=True)
class Job:
    """A command with its words, to be run in a folder."""

    words: tuple[str, ...]
    folder: str


@dataclass(frozen=True)
class Run:
    """What a command did: exit code (negative for a signal), what it printed, processor seconds, peak bytes.

    `before` and `after` are the files of the folder with digests of their bytes.
    """

    code: int
    out: str
    error: str
    seconds: float
    peak: int
    before: dict[str, str]
    after: dict[str, str]


def run_all(jobs: Sequence[Job]) -> list[Run]:
    """Runs the jobs one after the other; the answers in their order."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.support.forked"],
        input=json.dumps([asdict(job) for job in jobs]),
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env={**os.environ, "NO_COLOR": "1", "COLUMNS": "1000", "PYTHONPATH": str(ROOT)},
        timeout=60 + len(jobs) * SECONDS,
    )
    return [Run(**run) for run in json.loads(done.stdout)]


def files_in(folder: Path) -> dict[str, str]:
    """Every file of a folder with a digest of its bytes; what is no ordinary file with its kind."""
    found = {}
    for path in sorted(folder.rglob("*")):
        content = b""
        if path.is_file():
            with contextlib.suppress(PermissionError):
                content = path.read_bytes()
        found[path.name] = f"{path.lstat().st_mode:o} {hashlib.sha256(content).hexdigest()}"
    return found


def _one(job: Job, scratch: Path) -> Run:
    folder = Path(job.folder)
    before = files_in(folder)
    out, error = scratch / "out.txt", scratch / "error.txt"
    child = os.fork()
    if child == 0:
        _child(job, out, error)
    _, status, used = os.wait4(child, 0)
    return Run(
        os.waitstatus_to_exitcode(status),
        out.read_text(encoding="utf-8", errors="replace"),
        error.read_text(encoding="utf-8", errors="replace"),
        used.ru_utime + used.ru_stime,
        used.ru_maxrss * 1024,
        before,
        files_in(folder),
    )


def _child(job: Job, out: Path, error: Path) -> None:
    """Becomes the command; never returns."""
    code = 70
    try:
        for number, path in ((1, out), (2, error)):
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
            os.dup2(handle, number)
        os.dup2(os.open(os.devnull, os.O_RDONLY), 0)
        os.chdir(job.folder)
        resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
        resource.setrlimit(resource.RLIMIT_CPU, (SECONDS, SECONDS + 1))
        resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
        signal.alarm(4 * SECONDS)  # one that waits for something that never comes ends, too
        sys.argv = ["workbook-tools", *job.words]
        from workbook_tools.cli import main

        main()
        code = 0
    except SystemExit as done:
        code = done.code if isinstance(done.code, int) else int(done.code is not None)
    except BaseException:  # noqa: BLE001 - whatever it is, it is shown, and the process ends here
        traceback.print_exc()
    finally:
        sys.stdout.flush()
        sys.stderr.flush()
        os._exit(code)


def read_in_a_fork(content: bytes) -> int:
    """How a process ends that lets a workbook in and reads all its sheets: 0, 2 for a refusal in words, or a signal."""
    from workbook_tools.errors import ReadError
    from workbook_tools.xlsx.reading import admitted, native_cells, native_workbook

    child = os.fork()
    if child == 0:
        code = 70
        try:
            resource.setrlimit(resource.RLIMIT_AS, (MEMORY, MEMORY))
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            os.dup2(os.open(os.devnull, os.O_WRONLY), 2)
            workbook = native_workbook(admitted("counts", content).content, "counts")
            for sheet in workbook.sheet_names:
                native_cells(workbook, sheet, "counts")
            code = 0
        except ReadError:
            code = 2
        finally:
            os._exit(code)
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])


def _obey_permissions() -> None:
    """As root, give up the right to read what nobody may read."""
    if os.geteuid() == 0:
        import ctypes

        system = ctypes.CDLL(None, use_errno=True)

        class Header(ctypes.Structure):
            _fields_ = (("version", ctypes.c_uint32), ("pid", ctypes.c_int))

        class Data(ctypes.Structure):
            _fields_ = (("effective", ctypes.c_uint32), ("permitted", ctypes.c_uint32), ("kept", ctypes.c_uint32))

        header, data = Header(0x20080522, 0), (Data * 2)()
        if system.capget(ctypes.byref(header), data) != 0:
            raise OSError(ctypes.get_errno(), "capget")
        for number in NO_OVERRIDE:
            data[0].effective &= ~(1 << number)
        for number in NO_OVERRIDE:
            if system.prctl(CAPBSET_DROP, number, 0, 0, 0) != 0:  # nor may a program started from here get it back
                raise OSError(ctypes.get_errno(), "prctl")
        if system.capset(ctypes.byref(header), data) != 0:
            raise OSError(ctypes.get_errno(), "capset")


def _warm(jobs: Sequence[Job]) -> None:
    """Loads what the commands need, once, by running each in an empty folder and over a good log."""
    from click.testing import CliRunner

    from tests.support.hostile import good
    from workbook_tools.cli.main import cli

    kinds = list(dict.fromkeys(job.words for job in jobs))
    with tempfile.TemporaryDirectory() as empty, contextlib.chdir(empty):
        for words in kinds:
            CliRunner().invoke(cli, list(words))
        for name in ("good.xlsx", "good2.xlsx", "bad.xlsx"):
            Path(name).write_bytes(good())
        for words in kinds:
            if words[0] != "responses":  # loads what takes long, and no run here comes so far
                CliRunner().invoke(cli, list(words))


def _main() -> None:
    jobs = [Job(tuple(job["words"]), job["folder"]) for job in json.load(sys.stdin)]
    _warm(jobs)
    gc.collect()
    gc.freeze()  # or each fork copies what the collector looks at
    _obey_permissions()
    with tempfile.TemporaryDirectory() as scratch:
        runs = [asdict(_one(job, Path(scratch))) for job in jobs]
    print(json.dumps(runs))


if __name__ == "__main__":
    _main()
