"""Every command that writes, each on small files of its own, and what must be true of the folder afterwards."""

from __future__ import annotations

import copy
import functools
import hashlib
import io
import os
import zipfile
import zlib
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from tests.support.first_version import OLDER, first_log
from tests.support.packages import without_column_formulas
from tests.test_check import clean
from workbook_tools.layout import Layout, case_log, load
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.log_check import check_log
from workbook_tools.log.checking.reading import read_log

LOG, COPY = "River farm.xlsx", "tablet.xlsx"
OLD_LOG, BROKEN_LOG = "River farm 2025.xlsx", "River farm saved elsewhere.xlsx"
ROWS = 12
Cells = dict[tuple[str, str], dict[str, Any]]


@dataclass(frozen=True)
class Job:
    """A command that writes: its words, the file it writes, and whether that is the log itself."""

    name: str
    words: tuple[str, ...]
    target: str
    in_place: bool = False
    log: str = LOG
    most: int = 1_000  # faults of one run, fewer for a command that takes seconds

    def command(self, folder: Path) -> list[str]:
        """The words with the folder's files in them."""
        names = {LOG, COPY, OLD_LOG, BROKEN_LOG, self.target}
        return [str(folder / word) if word in names else word for word in self.words]


JOBS = (
    Job("merge", ("merge", LOG, COPY, "--replace", "--quiet"), LOG, in_place=True),
    Job("upgrade", ("upgrade", OLD_LOG, "--quiet"), OLD_LOG, in_place=True, log=OLD_LOG, most=40),
    Job("mend", ("mend", BROKEN_LOG, "--quiet"), BROKEN_LOG, in_place=True, log=BROKEN_LOG),
    Job("responses --into-log", ("responses", LOG, "--into-log", "--replace", "--json"), LOG, in_place=True),
    Job("names", ("names", LOG), LOG, in_place=True),
    Job("merge --out", ("merge", LOG, COPY, "--out", "merged.xlsx", "--quiet"), "merged.xlsx"),
    Job("check --annotate", ("check", LOG, "--annotate", "marked.xlsx", "--replace", "--quiet"), "marked.xlsx"),
    Job("share", ("share", LOG, "--site", "S01", "--out", "For S01.xlsx", "--replace"), "For S01.xlsx"),
    Job("lend", ("lend", LOG, "--out", "lent.xlsx", "--mark", "T", "--replace"), "lent.xlsx"),
    Job("plan", ("plan", LOG, "--out", "plan.xlsx", "--replace", "--json"), "plan.xlsx"),
    Job("new log", ("new", "log", "new.xlsx", "--rows", "5", "--replace", "--quiet"), "new.xlsx"),
    Job("new bench", ("new", "bench", "bench.xlsx", "--replace", "--quiet"), "bench.xlsx"),
    Job("responses --picture", ("responses", LOG, "--picture", "curves.svg", "--replace", "--json"), "curves.svg"),
    Job("extension", ("extension", "functions.oxt", "--replace"), "functions.oxt"),
    Job("excel", ("excel", "functions.py", "--replace"), "functions.py"),
    Job("guide", ("guide", "functions.html", "--replace"), "functions.html"),
)


@functools.cache
def first_files() -> Mapping[str, bytes]:
    """The files that every job begins with: a log, a copy with a row more, a log of the first layout, a log to mend."""
    data = clean()
    other = copy.deepcopy(data)
    other["losses"].append({"day": "D0005", "date": 46100.0, "stock": "K01", "dead": 3})
    other["visits"][0]["findings"] = "all well"
    log, tablet = (build_log(case_log(), rows, rows=ROWS) for rows in (data, other))
    return {LOG: log, COPY: tablet, OLD_LOG: first_log(data, ROWS), BROKEN_LOG: without_column_formulas(log)}


def put(folder: Path, files: Mapping[str, bytes]) -> None:
    """Make a folder hold these files and no others."""
    for there in folder.iterdir():
        there.unlink()
    for name, content in files.items():
        (folder / name).write_bytes(content)


def found_in(folder: Path) -> dict[str, bytes]:
    return {file.name: file.read_bytes() for file in sorted(folder.iterdir())}


class Judge:
    """Says whether a content is whole, and which rows a log has lost; what was judged once is remembered."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self._known: dict[tuple[str, bytes], str] = {}
        self._allowed: dict[bytes, set[str]] = {}

    def allow(self, content: bytes, before: bytes) -> None:
        """What the check finds in a log that a command made undisturbed is no fault of a disturbance."""
        self._allowed[before] = set(self._found(content))

    def fault(self, name: str, content: bytes, before: bytes | None = None) -> str:
        """What is wrong with a file, "" where nothing is; `before` is the log whose rows it must hold."""
        key = (Path(name).suffix if before is None else f"{hashlib.sha256(before).hexdigest()}", _digest(content))
        if key not in self._known:
            self._known[key] = self._look(name, content, before)
        return self._known[key]

    def _look(self, name: str, content: bytes, before: bytes | None) -> str:
        if content == before:
            return ""
        kind = Path(name).suffix
        if kind == ".py":
            return _broken_source(content)
        if kind in (".html", ".svg"):
            return "" if content.rstrip().endswith((b"</html>", b"</svg>")) else "is cut short"
        try:
            with zipfile.ZipFile(io.BytesIO(content)) as archive:
                bad = archive.testzip()
        except (zipfile.BadZipFile, zlib.error, EOFError, OSError, ValueError) as error:
            return f"cannot be opened: {error}"
        if bad:
            return f"its part {bad} is damaged"
        return "" if before is None else self._lost(content, before)

    def _lost(self, content: bytes, before: bytes) -> str:
        """What a log's check finds, and rows of the log before that it has not."""
        now, was = self.folder / "now.xlsx", self.folder / "was.xlsx"
        faults = [fault for fault in self._found(content) if fault not in self._allowed.get(before, ())]
        now.write_bytes(content)
        was.write_bytes(before)
        layout = case_log() if before != first_files()[OLD_LOG] else load(OLDER)
        after = _rows(now, case_log())
        lost = [place for place, row in _rows(was, layout).items() if not _holds(after.get(place), row)]
        return "; ".join([*faults[:3], *(f"lost: {place}" for place in lost)])

    def _found(self, content: bytes) -> list[str]:
        path = self.folder / "now.xlsx"
        path.write_bytes(content)
        return [f"{fault.cell} {fault.code}" for fault in check_log(path, case_log()).faults]


def _digest(content: bytes) -> bytes:
    return hashlib.sha256(content).digest()


def _broken_source(content: bytes) -> str:
    try:
        compile(content, "module", "exec")
    except (SyntaxError, ValueError) as error:
        return f"is no module: {error}"
    return "" if content.endswith(b"\n") else "is cut short"


def _rows(path: Path, layout: Layout) -> Cells:
    """Every typed row by its sheet and id, its values by their headings."""
    found: Cells = {}
    for table in layout.log_tables():
        read = read_log(path, layout).tables[table.key]
        headings = {column.key: column.heading.casefold() for column in table.columns}
        for row in read.rows:
            values = {headings[key]: value for key, value in row.items() if value is not None}
            found[table.sheet, str(row[table.key_column.key])] = values
    return found


def _holds(after: Mapping[str, Any] | None, before: Mapping[str, Any]) -> bool:
    """Whether a row has every value that it had, as far as its columns are still there."""
    return after is not None and all(after[key] == value for key, value in before.items() if key in after)


def finals(files: Mapping[str, bytes]) -> Iterator[tuple[str, bytes]]:
    """The files that a person takes for finished: all that are not hidden."""
    return ((name, content) for name, content in files.items() if not name.startswith((".", "~$")))


def backups(name: str, files: Mapping[str, bytes]) -> list[bytes]:
    """Contents of a file's backups."""
    stem, suffix = os.path.splitext(name)  # noqa: PTH122
    return [held for other, held in files.items() if other.startswith(f"{stem}.backup-") and other.endswith(suffix)]
