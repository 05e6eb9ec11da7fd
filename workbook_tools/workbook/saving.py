"""Puts a finished file in place so that the old one or the new one is always whole."""

from __future__ import annotations

import contextlib
import datetime
import os
import re
import shutil
import tempfile
from pathlib import Path

from workbook_tools.errors import BusyFileError, SaveError

BACKUP = re.compile(r"\.backup-\d{8}-\d{6}(-\d+)?\.[^.]+$")  # as `backup_name` makes them


def lock_files(path: Path) -> list[Path]:
    """Lock files that a spreadsheet program leaves beside a workbook while it is open."""
    marks = [path.with_name(f"~${path.name}"), path.with_name(f".~lock.{path.name}#")]
    if len(path.stem) > 6:  # the first family cuts two letters off longer names
        marks.append(path.with_name(f"~${path.name[2:]}"))
    return [mark for mark in marks if mark.exists()]


def is_lock_file(name: str) -> bool:
    """Whether a name is that of a lock file."""
    return name.startswith(("~$", ".~lock."))


def is_backup(name: str) -> bool:
    """Whether a name is that of a backup made here."""
    return BACKUP.search(name) is not None


def check_not_open(path: Path) -> None:
    """Raises BusyFileError while a spreadsheet program has the file open."""
    marks = lock_files(path)
    if marks:
        raise BusyFileError(
            path,
            f"is open in a spreadsheet program (its lock file {marks[0].name} is there). Close it and try again; if no "
            "program has it open, delete that lock file.",
        )


def backup_name(path: Path, moment: datetime.datetime) -> Path:
    """A dated name beside the file that nothing has yet."""
    stem = f"{path.stem}.backup-{moment:%Y%m%d-%H%M%S}"
    candidate = path.with_name(f"{stem}{path.suffix}")
    number = 2
    while candidate.exists():
        candidate = path.with_name(f"{stem}-{number}{path.suffix}")
        number += 1
    return candidate


def save(path: Path, content: bytes, replace: bool = False) -> Path | None:
    """Write a file: whole or not at all.

    Parameters
    ----------
    path : where to; its folder must exist.
    content : the file's bytes.
    replace : whether a file that is there may be replaced; it is kept beside it as a dated backup.

    Returns
    -------
    The backup, or None where there was nothing to replace.

    Raises
    ------
    BusyFileError : a spreadsheet program has it open. SaveError : anything else in the way; nothing was changed.
    """
    if path.is_dir():
        raise SaveError(path, "is a folder, not a file.")
    if not path.parent.is_dir():
        raise SaveError(path, f"the folder {path.parent} is not there.")
    path = path.resolve() if path.is_symlink() else path  # the link stays, what it points to is replaced
    there = path.exists()
    if there and not replace:
        raise SaveError(path, "is there already. Choose another name, or say --replace (a dated backup is kept).")
    check_not_open(path)
    temporary = _written(path, content)
    try:
        backup = _backed_up(path) if there else None
    except BaseException:  # an interruption as well
        temporary.unlink(missing_ok=True)
        raise
    try:
        temporary.replace(path)
    except OSError as error:
        if backup is not None:
            backup.unlink(missing_ok=True)  # the old file itself is still there
        if not isinstance(error, PermissionError):
            raise SaveError(path, f"cannot be replaced ({error.strerror}).", temporary) from error
        raise BusyFileError(path, f"cannot be replaced ({error.strerror}); is it open elsewhere?", temporary) from error
    except BaseException:  # an interruption: leave nothing lying about
        temporary.unlink(missing_ok=True)
        raise
    _settled(path.parent)
    return backup


def _written(path: Path, content: bytes) -> Path:
    try:
        handle, name = tempfile.mkstemp(prefix=f".{path.stem}-", suffix=".partial", dir=path.parent)
    except OSError as error:
        raise SaveError(path, f"the folder cannot be written to ({error.strerror}).") from error
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        temporary.chmod(path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask())
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise SaveError(path, f"cannot be written ({error.strerror}); nothing was changed.") from error
    except BaseException:
        temporary.unlink(missing_ok=True)
        raise
    return temporary


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _backed_up(path: Path) -> Path:
    """Copy a file beside itself under a dated name, which the copy gets only when it is whole."""
    backup = backup_name(path, datetime.datetime.now())
    partial = backup.with_name(f".{backup.stem}.partial")
    try:
        shutil.copy2(path, partial)
        with partial.open("rb") as file:
            os.fsync(file.fileno())
        partial.rename(backup)
    except OSError as error:
        partial.unlink(missing_ok=True)
        raise SaveError(path, f"no backup could be made ({error.strerror}); nothing was changed.") from error
    except BaseException:
        partial.unlink(missing_ok=True)
        raise
    return backup


def _settled(folder: Path) -> None:
    """Make the new name survive a power cut, where the system lets a folder be synced."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
