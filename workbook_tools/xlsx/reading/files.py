"""What lies at a path, before a byte of it is taken for a workbook."""

from __future__ import annotations

import errno
import os
import stat
from pathlib import Path

from workbook_tools.errors import ReadError
from workbook_tools.xlsx.reading.limits import LARGEST_FILE, MEBI

OLE = b"\xd0\xcf\x11\xe0"
PDF = b"%PDF"
LOCKED = "EncryptedPackage".encode("utf-16-le")  # the name of a stream of such a file
ENTRY = b"PK\x03\x04"
LOCKED_OR_OLD = "is locked with a password, or is an old .xls workbook; save it as .xlsx without one."
NOT_OR_CUT = "is not an .xlsx workbook, or is cut short."
# how a file begins -> what it is
BEGINNINGS = (
    (b"%PDF", "is a PDF document, not an .xlsx workbook."),
    (b"{\\rtf", "is a text document (.rtf), not an .xlsx workbook."),
    (b"MZ", "is a program, not an .xlsx workbook; do not start it."),
    (b"\x7fELF", "is a program, not an .xlsx workbook; do not start it."),
    (b"\x1f\x8b", "is a compressed file (.gz), not an .xlsx workbook."),
    (b"7z\xbc\xaf", "is a compressed folder (.7z), not an .xlsx workbook."),
    (b"Rar!", "is a compressed folder (.rar), not an .xlsx workbook."),
)
MARKUP = (b"<?xml", b"<html", b"<!doc", b"<work", b"<tabl")
SHOWN = 4096  # bytes from which text is told from other things


def file_content(path: Path) -> bytes:
    """The bytes of an ordinary file; a pipe or device is never opened, so that nothing waits for it.

    Raises ReadError, in words, where there is no such file, it is none, is empty, is too large or may not be read.
    """
    try:
        found = os.stat(path)  # noqa: PTH116 - Path.stat would do the same; this one takes what is no Path, too
    except (OSError, ValueError) as error:
        raise ReadError(path, why_not(error)) from error
    if stat.S_ISDIR(found.st_mode):
        raise ReadError(path, "is a folder, not a workbook.")
    if not stat.S_ISREG(found.st_mode):
        raise ReadError(path, "is no file but a device, a pipe or a socket; it was not opened.")
    if found.st_size == 0:
        raise ReadError(path, "is empty: it has 0 bytes.")
    if found.st_size > LARGEST_FILE:
        raise ReadError(
            path, f"has {found.st_size // MEBI:,} MB; a workbook of more than {LARGEST_FILE // MEBI:,} MB is not read."
        )
    try:
        return path.read_bytes()
    except OSError as error:
        raise ReadError(path, why_not(error)) from error


def real_path(path: Path) -> Path:
    """Where a path really leads, its links followed; a link that leads back to itself stays, where some raise."""
    return Path(os.path.realpath(path))


def why_not(error: OSError | ValueError) -> str:
    """Why the system did not give a file, to follow its name."""
    if isinstance(error, FileNotFoundError):
        return "there is no such file."
    if isinstance(error, OSError) and error.errno == errno.ELOOP:
        return "is a link that leads back to itself."
    if isinstance(error, PermissionError):
        return "cannot be read (Permission denied)."
    if isinstance(error, OSError):
        return f"cannot be read ({error.strerror})."
    return "cannot be read: that is no name of a file."


def what_it_is(content: bytes) -> str:
    """A sentence about bytes that are no zip: what they seem to be."""
    if content.startswith(OLE):
        wide = LOCKED in content
        old = "Workbook".encode("utf-16-le") in content or "Book".encode("utf-16-le") in content
        if wide:
            return "is locked with a password; take the password off in a spreadsheet program, save, and try again."
        return "is an old .xls workbook; save it as .xlsx." if old else LOCKED_OR_OLD
    for beginning, sentence in BEGINNINGS:
        if content.startswith(beginning):
            return sentence
    head = content[:SHOWN].lstrip(b"\xef\xbb\xbf \t\r\n").lower()
    if head.startswith(MARKUP):
        return "is a page or data in XML or HTML, not an .xlsx workbook; open it in a spreadsheet and save it as .xlsx."
    if not content or content.startswith(ENTRY) or b"\0" in content[:SHOWN]:
        return NOT_OR_CUT
    return "is not an .xlsx workbook but text (was a .csv renamed?); open it in a spreadsheet and save it as .xlsx."
