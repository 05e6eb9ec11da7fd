"""A workbook that asks for a password when it is opened: encryption as ECMA-376 and MS-OFFCRYPTO lay it down.

The password is read from a file or typed at a terminal; it is never an argument, where other users of the computer
could read it.
"""

from __future__ import annotations

import io
from pathlib import Path
from typing import Any

from workbook_tools.errors import MissingLibraryError, ReadError

LONGEST = 255  # characters that spreadsheet programs take
OLE = b"\xd0\xcf\x11\xe0"


def password_of(path: Path) -> str:
    """The password in a file: its first line, without the line end.

    Raises ReadError where the file cannot be read, is not UTF-8 (UTF-16 with its mark is taken too), is empty, or
    holds more than one line or more characters than a password may have.
    """
    try:
        content = path.read_bytes()
    except OSError as error:
        raise ReadError(path, f"the password cannot be read ({error.strerror}).") from error
    wide = content.startswith((b"\xff\xfe", b"\xfe\xff"))
    try:
        text = content.decode("utf-16" if wide else "utf-8-sig")
    except UnicodeDecodeError as error:
        raise ReadError(path, "the password is not text in UTF-8; save the file as UTF-8.") from error
    return checked_password(text, path)


def checked_password(text: str, source: object) -> str:
    """A password that can be used; raises ReadError, in words that do not show it, for any other."""
    line = text.removesuffix("\n").removesuffix("\r")
    if not line.strip():
        raise ReadError(source, "the password is empty.")
    if "\n" in line or "\r" in line:
        raise ReadError(source, "the password is more than one line.")
    if any(ord(character) < 32 for character in line):
        raise ReadError(source, "the password holds control characters.")
    if len(line) > LONGEST:
        raise ReadError(source, f"the password has more than {LONGEST} characters.")
    return line


def locked(content: bytes, password: str) -> bytes:
    """A workbook under a password. Raises MissingLibraryError where the library for it is not installed."""
    ooxml = _library()
    target = io.BytesIO()
    ooxml.OOXMLFile(io.BytesIO(content)).encrypt(password, target)
    return target.getvalue()


def unlocked(content: bytes, password: str, path: object = "file") -> bytes:
    """The workbook under a password. Raises ReadError where it is not locked or the password is another."""
    ooxml = _library()
    from msoffcrypto.exceptions import DecryptionError, FileFormatError, InvalidKeyError

    if not content.startswith(OLE):
        raise ReadError(path, "is not locked with a password.")
    target = io.BytesIO()
    try:
        file = ooxml.OOXMLFile(io.BytesIO(content))
        file.load_key(password=password, verify_password=True)
        file.decrypt(target)
    except InvalidKeyError as error:
        raise ReadError(path, "the password is not the right one.") from error
    except (DecryptionError, FileFormatError, OSError, ValueError) as error:
        raise ReadError(path, "is locked in a way that cannot be opened.") from error
    return target.getvalue()


def _library() -> Any:
    try:
        from msoffcrypto.format import ooxml
    except ImportError as error:
        raise MissingLibraryError("msoffcrypto-tool", "share", "A workbook with a password") from error
    return ooxml
