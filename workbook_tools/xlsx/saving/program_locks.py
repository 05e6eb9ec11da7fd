"""Who has a workbook open in a spreadsheet program: read, carefully, from the lock file that the program leaves.

Two families of programs leave two kinds. `.~lock.NAME#` is a line of text: name, account, computer, moment, profile,
between commas; a comma in a name is written `\\,`. `~$NAME` is 165 bytes: the length of the name, the name in 54 bytes
of the system's code page, then its length and the name again in UTF-16. Both as seen, from memory; a file that is
neither still counts as a lock, of somebody unknown.
"""

from __future__ import annotations

import datetime
import math
import os
import re
import stat
import time
import unicodedata
from dataclasses import dataclass
from pathlib import Path

from workbook_tools.errors import BusyFileError

MOST_READ = 4_096  # bytes of a lock file; whole ones are far shorter
LONGEST_NAME = 60  # characters that are shown of a name
OLD = datetime.timedelta(hours=24)  # from this age on, a lock file may well be left over from a crash
OWNER_BYTES, WIDE_AT = 54, 55
FIELD = re.compile(r"(?<!\\),")


@dataclass(frozen=True)
class OpenElsewhere:
    """A lock file: who has the workbook open, at which computer ("" where it does not say), for how long."""

    file: Path
    who: str
    where: str
    age: datetime.timedelta

    def sentence(self) -> str:
        """Who has the file open, since when, and what to do."""
        owner = (self.who or "somebody") + (f" on {self.where}" if self.where else "")
        first = f"is open in a spreadsheet program: {owner} has had it open for {lasting(self.age)}"
        if self.age < OLD:
            return (
                f"{first}. Close it there and try again; if no program has it open, delete the lock file "
                f"{self.file.name}."
            )
        return (
            f"{first}, by its lock file {self.file.name}. After more than {lasting(OLD)} it may be left over from a "
            "program that crashed: if nobody has the workbook open, delete that lock file and try again."
        )


def is_lock_file(name: str) -> bool:
    """Whether a name is that of a lock file of either family."""
    return name.startswith(("~$", ".~lock."))


def lock_files(path: Path) -> list[Path]:
    """Lock files that a spreadsheet program leaves beside a workbook while it is open."""
    marks = [path.with_name(f"~${path.name}"), path.with_name(f".~lock.{path.name}#")]
    if len(path.stem) > 6:  # the first family cuts two letters off longer names
        marks.append(path.with_name(f"~${path.name[2:]}"))
    return [mark for mark in marks if os.path.lexists(mark)]


def check_not_open(path: Path) -> None:
    """Raises BusyFileError, which says who and what to do, while a spreadsheet program has the file open."""
    for mark in lock_files(path):
        raise BusyFileError(path, open_elsewhere(mark).sentence())


def open_elsewhere(mark: Path) -> OpenElsewhere:
    """What a lock file says; whatever cannot be read of it is left blank."""
    try:
        there = mark.lstat()
        # nothing else is opened: a pipe would wait for ever, a link lead elsewhere
        raw = _begin(mark) if stat.S_ISREG(there.st_mode) else b""
        age = datetime.timedelta(seconds=max(time.time() - there.st_mtime, 0))
    except OSError:
        raw, age = b"", datetime.timedelta(0)
    who, where = _owner_of_text(raw) if mark.name.startswith(".~lock.") else (_owner_of_bytes(raw), "")
    return OpenElsewhere(mark, plain(who), plain(where), age)


def _begin(file: Path) -> bytes:
    with file.open("rb") as lock:
        return lock.read(MOST_READ)


def _owner_of_text(raw: bytes) -> tuple[str, str]:
    fields = [re.sub(r"\\(.)", r"\1", field) for field in FIELD.split(raw.decode("utf-8", "replace"))]
    name, account, computer = (*fields, "", "", "")[:3]
    return name or account, computer


def _owner_of_bytes(raw: bytes) -> str:
    wide = raw[WIDE_AT + 2 :][: 2 * int.from_bytes(raw[WIDE_AT : WIDE_AT + 2], "little")]
    if 0 < len(wide) <= 2 * OWNER_BYTES:
        return wide.decode("utf-16-le", "replace")
    return raw[1 : 1 + min(raw[0], OWNER_BYTES)].decode("cp1252", "replace") if raw else ""


def plain(text: str) -> str:
    """Text from somebody's file for a sentence of ours: one line, no control or direction characters, not long."""
    kept = "".join(" " if char.isspace() else char for char in text if char.isspace() or not _unseen(char))
    line = " ".join(kept.split())
    return line if len(line) <= LONGEST_NAME else f"{line[: LONGEST_NAME - 1]}…"


def _unseen(char: str) -> bool:
    """Control, format, surrogate, private and unassigned characters, and what could not be decoded."""
    return unicodedata.category(char).startswith("C") or char == "\ufffd"


def lasting(age: datetime.timedelta) -> str:
    """A length of time in one unit.

    >>> lasting(datetime.timedelta(seconds=5)), lasting(datetime.timedelta(minutes=61)), lasting(OLD)
    ('5 seconds', '61 minutes', '24 hours')
    """
    units = ("second", 1, 100), ("minute", 60, 100), ("hour", 3_600, 48), ("day", 86_400, math.inf)
    counts = ((int(age.total_seconds() // size), unit, most) for unit, size, most in units)
    count, unit = next((count, unit) for count, unit, most in counts if count < most)
    return f"{count} {unit}" if count == 1 else f"{count} {unit}s"
