"""Keeps two commands from writing one log at the same time: a lock file of ours beside it.

It holds the command, its process number, the computer's name and the moment, for these decide whether the lock still
means anything and what a person is told; no account, no folder. A lock whose process is gone on this very computer is
taken away, and that is said. Any other is refused with its owner and age: whether it still means anything cannot be
known from here.
"""

from __future__ import annotations

import contextlib
import datetime
import json
import os
import platform
import stat
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from workbook_tools.errors import BusyFileError, SaveError, WorkbookToolsError
from workbook_tools.xlsx.reading import real_path
from workbook_tools.xlsx.saving.program_locks import MOST_READ, check_not_open, lasting, plain

LONGEST = datetime.timedelta(hours=1)  # no command takes as long


@dataclass(frozen=True)
class Holder:
    """What a lock says; `command` is "" where it cannot be read, `begun` then the moment the lock was made."""

    raw: bytes
    command: str
    host: str
    process: int
    begun: datetime.datetime

    @property
    def age(self) -> datetime.timedelta:
        return max(_now() - self.begun, datetime.timedelta(0))

    def is_gone(self) -> bool:
        """Whether it is certain that the command has ended: a process of this computer that is there no more."""
        if self.host != this_host() or self.process <= 0 or sys.platform == "win32":
            return False  # Windows has no question that a wrong number survives
        try:
            os.kill(self.process, 0)
        except (ProcessLookupError, OverflowError):
            return True
        except OSError:
            return False
        return False

    def words(self) -> str:
        """`workbook-tools merge` on desk-1 (process 4711)."""
        if not self.command:
            return "another command of workbook-tools, which its lock file does not name"
        return f"`workbook-tools {self.command}` on {self.host} (process {self.process})"


def lock_file(path: Path) -> Path:
    """Our lock file beside a log."""
    return path.with_name(f".{path.name}.in-use")


def this_host() -> str:
    """This computer and its system: two systems on one computer count processes apart."""
    return plain(f"{platform.node() or 'a computer without a name'}, {sys.platform}")


@contextlib.contextmanager
def in_place(path: Path, command: str) -> Iterator[str | None]:
    """Hold a log while a command reads it and writes it in place.

    Parameters
    ----------
    path : the log; where it is not there, nothing is held and the reader says so.
    command : the command's name, for the one that has to wait.

    Yields
    ------
    A sentence for the person where a lock that a broken-off command left was taken away.

    Raises
    ------
    BusyFileError : a spreadsheet program or another command has the log. SaveError : no lock can be made or removed.
    """
    if not path.is_file():
        yield None
        return
    path = real_path(path) if path.is_symlink() else path
    check_not_open(path)
    lock = lock_file(path)
    note = _free(path, lock)
    raw = _taken(path, lock, command)
    try:
        yield note
    except BaseException as error:
        try:
            _release(lock, raw)
        except OSError:
            if not isinstance(error, WorkbookToolsError | OSError):
                raise error from None  # an interruption, or a fault of ours: nothing to add to
            more = f"The lock file {lock.name} could not be removed either; delete it."
            raise _with(path, error, more) from error
        raise
    try:
        _release(lock, raw)
    except OSError as error:
        raise SaveError(
            path, f"was written, but the lock file {lock.name} cannot be removed ({error.strerror}); delete it."
        ) from error


def _with(path: Path, error: WorkbookToolsError | OSError, more: str) -> SaveError:
    """A refusal with a sentence more."""
    if isinstance(error, SaveError):
        return SaveError(error.path, f"{error.reason} {more}", error.kept)
    return SaveError(path, f"{error if isinstance(error, WorkbookToolsError) else error.strerror} {more}")


def _free(path: Path, lock: Path) -> str | None:
    """Take away the lock of a command that is certainly gone; raises BusyFileError for any other."""
    held = holder(lock)
    if held is None:
        return None
    if not held.is_gone():
        raise BusyFileError(path, _refusal(held, lock))
    aside = lock.with_name(f"{lock.name}-{os.getpid()}")
    try:
        lock.rename(aside)  # of two commands that find it, one gets it
        now = aside.read_bytes()
        if now == held.raw:
            aside.unlink()
        else:  # a third one had done the same already: this lock is its own
            aside.rename(lock)
    except FileNotFoundError:
        return None
    except OSError as error:
        raise SaveError(
            path, f"the lock file {lock.name} of a command that has ended cannot be removed ({error.strerror})."
        ) from error
    if now != held.raw:
        raise BusyFileError(path, f"another command has just begun to write it (lock file {lock.name}). Try again.")
    return (
        f"Note: {held.words()}, begun {lasting(held.age)} ago, ended without finishing; its lock file was removed. "
        "A command that is broken off leaves the log as it was, or finished."
    )


def _refusal(held: Holder, lock: Path) -> str:
    first = f"is being written by {held.words()}, begun {lasting(held.age)} ago."
    if held.age < LONGEST:
        return (
            f"{first} Wait until it has ended, then try again; if it was broken off, delete the lock file {lock.name}."
        )
    return (
        f"{first} No command takes {lasting(LONGEST)}: it was probably broken off. If it does not run any more, delete "
        f"the lock file {lock.name} and try again."
    )


def holder(lock: Path) -> Holder | None:
    """What a lock file says; None where there is none."""
    try:
        there = lock.lstat()
        made = datetime.datetime.fromtimestamp(there.st_mtime, datetime.UTC)
        if not stat.S_ISREG(there.st_mode):  # a pipe would wait for ever
            return Holder(b"", "", "", 0, made)
        with lock.open("rb") as file:
            raw = file.read(MOST_READ)
    except FileNotFoundError:
        return None
    except OSError:
        return Holder(b"", "", "", 0, _now())
    try:
        said = json.loads(raw)
        begun = datetime.datetime.fromisoformat(said["begun"]).astimezone(datetime.UTC)
        return Holder(raw, plain(str(said["command"])), plain(str(said["host"])), int(said["process"]), begun)
    except (ValueError, TypeError, KeyError, OverflowError, RecursionError):
        return Holder(raw, "", "", 0, made)


def _taken(path: Path, lock: Path, command: str) -> bytes:
    """Make the lock, which only one can; its bytes."""
    said = {"command": command, "process": os.getpid(), "host": this_host(), "begun": _now().isoformat()}
    raw = json.dumps(said).encode()
    try:
        file = lock.open("xb")
    except FileExistsError as error:
        raise BusyFileError(
            path, f"another command has just begun to write it (lock file {lock.name}). Try again."
        ) from error
    except OSError as error:
        raise SaveError(path, _no_lock(error)) from error
    try:
        with file:
            file.write(raw)
    except BaseException as error:
        left = ""
        try:
            lock.unlink()
        except OSError:
            left = f" The lock file {lock.name}, begun and empty, could not be removed; delete it."
        if not isinstance(error, OSError):
            raise
        raise SaveError(path, _no_lock(error) + left) from error
    return raw


def _no_lock(error: OSError) -> str:
    return f"no lock file can be made beside it ({error.strerror}); nothing was changed."


def _release(lock: Path, raw: bytes) -> None:
    """Remove the lock, unless it is somebody else's by now."""
    with contextlib.suppress(FileNotFoundError):
        if lock.read_bytes() == raw:
            lock.unlink()


def _now() -> datetime.datetime:
    return datetime.datetime.now(datetime.UTC)
