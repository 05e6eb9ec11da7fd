"""The key of a log, with which it seals the copies that go to producers: a property of its file, made by chance.

Every copy of the log (lent, merged, marked) has it; no producer's copy has. Who has the log has the key.
"""

from __future__ import annotations

import secrets

from workbook_tools.intake import properties_of
from workbook_tools.workbook.editing import WorkbookEdit

NAME = "Log key"
BYTES = 16


def key_of(content: bytes) -> str:
    """The key of a log; empty where it has none."""
    return properties_of(content).get(NAME, "")


def put_key(edit: WorkbookEdit) -> None:
    """Give a log a key where it has none."""
    if not edit.property(NAME):
        edit.set_property(NAME, secrets.token_hex(BYTES))


def with_key(content: bytes) -> bytes:
    """A new log with a key."""
    edit = WorkbookEdit(content)
    put_key(edit)
    return edit.content()
