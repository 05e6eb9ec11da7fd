"""Puts a finished file in place so that the old one or the new one is always whole."""

from __future__ import annotations

import contextlib
import datetime
import os
import re
import shutil
import tempfile
from pathlib import Path

from workbook_tools.errors import BusyFileError, ChangedFileError, ReadError, SaveError
from workbook_tools.xlsx.reading import Archive, file_content, properties_of, real_path
from workbook_tools.xlsx.reading.contents import sheets_of
from workbook_tools.xlsx.saving.inputs import Seen
from workbook_tools.xlsx.saving.program_locks import check_not_open

THERE_ALREADY = "is there already. Choose another name, or say --replace (a dated backup is kept)."
ONE_THAT_IS_READ = "is a file that this command reads, which stays as it is; choose another name."
A_CASE_LOG = "is a case log, which nothing but a case log may replace; choose another name."
LAYOUT, CASE_LOG = "Layout", "case-log"
LOG_SHEETS = {"sites", "vessels", "visits", "baths"}  # of a log whose properties a program has dropped
BACKUP = re.compile(r"\.backup-\d{8}-\d{6}(-\d+)?\.[^.]+$")  # as `backup_name` makes them


def is_backup(name: str) -> bool:
    """Whether a name is that of a backup made here."""
    return BACKUP.search(name) is not None


def backup_name(path: Path, moment: datetime.datetime) -> Path:
    """A dated name beside the file that nothing has yet."""
    stem = f"{path.stem}.backup-{moment:%Y%m%d-%H%M%S}"
    candidate = path.with_name(f"{stem}{path.suffix}")
    number = 2
    while os.path.lexists(candidate):
        candidate = path.with_name(f"{stem}-{number}{path.suffix}")
        number += 1
    return candidate


def layout_of(content: bytes) -> str | None:
    """Which layout a workbook was made from; None where it does not say so, or is none."""
    said = properties_of(content).get(LAYOUT)
    if said is not None:
        return said
    try:
        sheets = {name.casefold() for name in sheets_of(Archive(content, "file", strict=False, renamed=True))}
    except ReadError:
        return None
    return CASE_LOG if sheets >= LOG_SHEETS else None


def check_target(path: Path, seen: Seen | None = None, *, in_place: bool = False, log: bool = False) -> None:
    """Refuse a place that a command may not write to; `save` does so too, this is for before the work.

    Parameters
    ----------
    path : where to.
    seen : the files that the command reads; their hard links and links to them count as themselves.
    in_place : whether it is the command's work to write one of them.
    log : whether what it writes is a case log. Nothing else may take the place of one.

    Raises
    ------
    SaveError : it is one of the command's inputs, or a case log.
    """
    if seen is not None and not in_place and seen.has(path):
        raise SaveError(path, ONE_THAT_IS_READ)
    if log or not path.is_file():
        return
    try:
        there = file_content(path)
    except ReadError:
        return  # nothing that could be a log; what is wrong with it is said where it is replaced
    if layout_of(there) == CASE_LOG:
        raise SaveError(path, A_CASE_LOG)


def save(
    path: Path, content: bytes, replace: bool = False, seen: Seen | None = None, *, in_place: bool = False
) -> Path | None:
    """Write a file: whole or not at all.

    Parameters
    ----------
    path : where to; its folder must exist.
    content : the file's bytes.
    replace : whether a file that is there may be replaced; it is kept beside it as a dated backup.
    seen : the files that the content was made from; nothing is written where one of them has changed since, nor over
        one of them.
    in_place : it is the command's work to write one of them.

    Returns
    -------
    The backup, or None where there was nothing to replace.

    Raises
    ------
    BusyFileError : a spreadsheet program has it open. ChangedFileError : it, or a file that was read, has changed.
    SaveError : anything else in the way; the place is one of the files that were read, or a case log and the content is
        none. In all of them nothing was changed; what could not be cleared away is named.
    """
    try:
        path = _target(path)
        before = _state(path)
    except SaveError:
        raise
    except OSError as error:  # the folder cannot even be looked at
        raise SaveError(path, f"cannot be written ({error.strerror}); nothing was changed.") from error
    if before is not None:
        check_target(path, seen, in_place=in_place, log=layout_of(content) == CASE_LOG)
    if before is not None and not replace:
        raise SaveError(path, THERE_ALREADY)
    check_not_open(path)
    if seen is not None:
        seen.check_states()
    temporary = _written(path, content)
    try:
        backup = _backed_up(path, temporary) if before is not None else None
    except BaseException:  # an interruption as well
        _cleared(temporary)
        raise
    made = [temporary, *([backup] if backup else [])]
    try:
        if seen is not None:
            seen.check()
        _check_same(path, before)
        temporary.replace(path)
    except ChangedFileError as error:
        left = _cleared(*made)
        raise ChangedFileError(error.path, left) from error
    except OSError as error:
        left = _cleared(*made[1:])  # the old file itself is still there
        if not isinstance(error, PermissionError):
            raise SaveError(path, f"cannot be replaced ({error.strerror}).{left}", temporary) from error
        raise BusyFileError(
            path, f"cannot be replaced ({error.strerror}); is it open elsewhere?{left}", temporary
        ) from error
    except BaseException:  # an interruption: leave nothing lying about
        _cleared(*made)
        raise
    _settled(path.parent)
    return backup


def _target(path: Path) -> Path:
    """Where to really; a link stays, what it points to is replaced."""
    if path.is_dir():
        raise SaveError(path, "is a folder, not a file.")
    if not path.parent.is_dir():
        raise SaveError(path, f"the folder {path.parent} is not there.")
    target = real_path(path) if path.is_symlink() else path
    if target.exists() and not target.is_file():
        raise SaveError(path, "is no file but a device, a pipe or a socket; nothing was written.")
    return target


def _state(path: Path) -> tuple[int, int, int] | None:
    """What changes whenever another program saves the file; None where there is none."""
    try:
        there = path.stat()
    except FileNotFoundError:
        return None
    return there.st_ino, there.st_size, there.st_mtime_ns


def _check_same(path: Path, before: tuple[int, int, int] | None) -> None:
    if _state(path) != before:
        raise ChangedFileError(path)


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
        left = _cleared(temporary)
        raise SaveError(path, f"cannot be written ({error.strerror}); nothing was changed.{left}") from error
    except BaseException:
        _cleared(temporary)
        raise
    return temporary


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _backed_up(path: Path, temporary: Path) -> Path:
    """Copy a file beside itself under a dated name, which the copy gets only when it is whole."""
    backup = backup_name(path, datetime.datetime.now())
    partial = backup.with_name(f".{backup.stem}.partial")
    try:
        with path.open("rb") as source, partial.open("wb") as target:
            shutil.copyfileobj(source, target)
            target.flush()
            os.fsync(target.fileno())  # of a file open for writing: some systems sync no other
        shutil.copystat(path, partial)
        partial.rename(backup)
    except OSError as error:
        left = _cleared(partial, temporary)
        raise SaveError(path, f"no backup could be made ({error.strerror}); nothing was changed.{left}") from error
    except BaseException:
        _cleared(partial)
        raise
    _settled(path.parent)  # the old state has its name before the log gets its new one
    return backup


def _cleared(*files: Path) -> str:
    """Remove what a save that failed has made; a sentence that names what cannot be removed."""
    left = []
    for file in files:
        try:
            file.unlink(missing_ok=True)
        except OSError:
            left.append(file.name)
    return f" {' and '.join(left)} could not be removed; delete it." if left else ""


def _settled(folder: Path) -> None:
    """Make a new name survive a power cut, where the system lets a folder be synced."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
