"""The key of a log, with which it seals the copies that go to producers: a property of its file.

Every copy of the log (lent, merged, marked) has it; no producer's copy has. Who has the log has the key.
"""

from __future__ import annotations

import hashlib
import secrets

from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit
from workbook_tools.xlsx.reading import properties_of

NAME = "Log key"
BYTES = 16


def key_of(content: bytes) -> str:
    """The key of a log; empty where it has none."""
    return properties_of(content).get(NAME, "")


def put_key(edit: WorkbookEdit, before: bytes) -> None:
    """Give an older log a key where it has none: a digest of its file, so that the same log always gets the same one.

    Nobody who has only a producer's copy knows that file.
    """
    if not edit.property(NAME):
        edit.set_property(NAME, hashlib.sha256(before).hexdigest()[: 2 * BYTES])


def with_key(content: bytes) -> bytes:
    """A new log with a key, made by chance."""
    edit = WorkbookEdit(content)
    edit.set_property(NAME, secrets.token_hex(BYTES))
    return edit.content()
