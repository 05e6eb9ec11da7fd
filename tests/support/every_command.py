"""Every command of the command line, run in a process of its own that is told an invented account, computer and folder.

As a program: runs them all and prints one line of JSON for each, `{"words": [...], "code": 0, "said": "...",
"network": [...]}`. Any way to the network is refused and written down, from the first import on. LibreOffice, which
`share --pdf` starts, is another program: it gets a new profile, and what it does is its own affair.
"""

from __future__ import annotations

import json
import os
import platform
import socket
import subprocess
import sys
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[2]
LOG, COPY, OLD_LOG, MINE = "River farm.xlsx", "tablet.xlsx", "River farm 2025.xlsx", "merged into.xlsx"
LOGS = "Logs"  # a folder with one log
SECRET, PASSWORD = "secret.txt", "heron-lantern-72"
COMMANDS: tuple[tuple[str, ...], ...] = (
    ("calc", "BATH.MASS", "12 gal", "80 mg/L"),
    ("functions",),
    ("functions", "BATH.STEPS", "--json"),
    ("new", "log", "new.xlsx", "--rows", "5"),
    ("new", "bench", "bench.xlsx"),
    ("check", LOG, "--annotate", "marked.xlsx"),
    ("check", COPY, "--json"),
    ("card", LOG, "--bath", "B001"),
    ("summary", LOG),
    ("extension", "functions.oxt"),
    ("excel", "functions.py"),
    ("guide", "functions.md"),
    ("guide", "functions.html"),
    ("merge", LOG, COPY, "--out", "merged.xlsx", "--base", LOG),
    ("merge", MINE, COPY, "--replace"),
    ("names", MINE),
    ("responses", MINE, "--into-log", "--replace"),
    ("responses", LOG, "--picture", "curves.png"),
    ("responses", LOG, "--picture", "curves.svg"),
    ("lend", LOG, "--out", "lent.xlsx", "--mark", "T"),
    ("plan", LOG, "--visit", "V001", "--out", "plan.xlsx"),
    ("share", LOG, "--site", "S01", "--out", "locked.xlsx", "--password-file", SECRET),
    ("share", LOG, "--site", "S01", "--out", "For S01.xlsx"),
    ("audit", "For S01.xlsx", "--against", LOG),
    ("upgrade", OLD_LOG),
    ("mend", LOG),
    ("gather", LOGS, "--out", "programme.parquet", "--summary", "overview.xlsx", "--workers", "1"),
    ("insight", "programme.parquet"),
    ("completion", "bash"),
)
PDF = ("share", LOG, "--site", "S01", "--out", "printed.xlsx", "--pdf")
ROADS = ("socket.", "urllib.", "http.client.", "ftplib.", "smtplib.", "poplib.", "imaplib.", "webbrowser.")
FILES = (".xlsx", ".oxt", ".py", ".md", ".html", ".png", ".svg", ".txt")
HARMLESS = ("socket.gethostname",)
USER, HOST, HOME = "quillonesta", "murgelstein-7", "vandorrimple"


def prepared(folder: Path) -> dict[str, bytes]:
    """The folder with the files that the commands begin with; their contents."""
    from tests.faults import jobs

    files = {**jobs.first_files(), SECRET: PASSWORD.encode()}
    files[MINE] = changed_log()
    for name, content in files.items():
        (folder / name).write_bytes(content)
    (folder / LOGS).mkdir()
    (folder / LOGS / LOG).write_bytes(files[LOG])
    return files


def changed_log() -> bytes:
    """A log that differs from the copy in one cell, so that merging lists a conflict."""
    import copy

    from tests.test_check import clean
    from workbook_tools.layout import case_log
    from workbook_tools.log.building.log_workbook import build_log

    data = copy.deepcopy(clean())
    data["visits"][0]["findings"] = "not so well"
    return build_log(case_log(), data, rows=12)


def environment(folder: Path) -> dict[str, str]:
    """Variables of an invented person at an invented computer; the folders are made."""
    home, temporary = folder / HOME, folder / f"temporary of {USER}"
    for place in (home, temporary):
        place.mkdir(exist_ok=True)
    kept = {name: os.environ[name] for name in ("PATH", "LANG", "LC_ALL") if name in os.environ}
    person = dict.fromkeys(("USER", "LOGNAME", "USERNAME"), USER)
    places = {"HOME": str(home), "USERPROFILE": str(home), "TMPDIR": str(temporary), "HOSTNAME": HOST}
    return kept | person | places | {"PYTHONPATH": str(ROOT), "MPLBACKEND": "Agg"}


def ran(folder: Path, *commands: tuple[str, ...]) -> list[dict[str, Any]]:
    """Run commands in a folder, all of them where none is named, and say how each ended."""
    done = subprocess.run(
        [sys.executable, "-m", "tests.support.every_command", str(folder)],
        input=json.dumps(commands or COMMANDS),
        capture_output=True,
        text=True,
        check=False,
        timeout=600,
        cwd=folder,
        env=environment(folder.parent),
    )
    if done.returncode:
        raise AssertionError(done.stderr[-3000:])
    return [json.loads(line) for line in done.stdout.splitlines() if line.startswith('{"words"')]


def written(folder: Path, before: Mapping[str, bytes]) -> Iterator[tuple[str, bytes]]:
    """Every file that is new or has another content, unlocked where it is locked, and what tables hold as text."""
    from workbook_tools.producer.locked import OLE, unlocked

    for file in sorted(path for path in folder.rglob("*") if path.is_file()):
        content = file.read_bytes()
        if content == before.get(file.name):
            continue
        yield file.name, content
        if file.suffix == ".parquet":
            yield f"{file.name}, as text", _text_of(content)
        if content.startswith(OLE):
            yield f"{file.name}, unlocked", unlocked(content, PASSWORD)


def _text_of(table: bytes) -> bytes:
    """Every value of a Parquet table, and what it says of itself, which are packed in the file."""
    import pyarrow
    import pyarrow.parquet

    found = pyarrow.parquet.read_table(pyarrow.BufferReader(table))
    return json.dumps([found.to_pylist(), str(found.schema)], default=str, ensure_ascii=False).encode()


def marks(folder: Path) -> list[str]:
    """What may stand in no file: the invented account and computer, the folders, and the real ones where distinct."""
    found = [USER, HOST, HOME, str(folder), folder.parent.name, "absPath", "/tmp/", "site-packages"]
    real = [platform.node(), os.environ.get("USER", ""), os.environ.get("LOGNAME", ""), str(Path.home())]
    return [*found, *(word for word in real if len(word) >= 6)]


def main(folder: Path) -> None:
    """Refuse the network, then run the commands that stand on the standard input."""
    taken: list[str] = []

    def watch(event: str, arguments: tuple[Any, ...]) -> None:
        if event.startswith(ROADS) and event not in HARMLESS:
            taken.append(f"{event} {arguments!r}"[:200])
            raise PermissionError("this process may not use the network")

    sys.addaudithook(watch)
    platform.node = socket.gethostname = lambda: HOST
    from click.testing import CliRunner

    from workbook_tools.cli.main import cli

    for words in json.load(sys.stdin):
        named = [str(folder / word) if word.endswith(FILES) else word for word in words]
        done = CliRunner().invoke(cli, named)
        print(json.dumps({"words": words, "code": done.exit_code, "said": done.output[-600:], "network": taken}))
        taken.clear()


if __name__ == "__main__":
    main(Path(sys.argv[1]))
