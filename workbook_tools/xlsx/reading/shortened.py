"""Sheets whose rows end after the columns that are asked for.

Two thirds of a log's cells are results, and who reads what was typed does not ask for them; a reader of values takes as
long for each of them as for a typed one. So the rows are cut behind the columns that are asked for, while the sheet is
looked at, blank cells before them with them, and the reader gets a workbook of what is left.
"""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterable
from dataclasses import dataclass
from functools import cache

from workbook_tools.xlsx.addresses import letter

MOST = 26 * 27 - 1  # columns behind which rows can be cut: the next one has two letters at most
CELL_CLOSED, ROWS_CLOSED, SHEET_CLOSED = b"</c>", b"</sheetData>", b"</worksheet>"


@dataclass(frozen=True, slots=True)
class Shortened:
    """A sheet up to the end of its rows, all but `whole` of these shortened to so many columns, and what follows."""

    whole: int
    columns: int
    rows: bytes
    after: bytes

    def part(self) -> bytes:
        """The sheet for a reader of values."""
        return self.rows + ROWS_CLOSED + SHEET_CLOSED


class Shortening:
    """A sheet in the course of being shortened.

    Parameters
    ----------
    whole : how many rows at the top are left as they are, so that their headings are seen in whichever column.
    columns : how many columns are asked for below them, from A on.
    """

    def __init__(self, whole: int, columns: int) -> None:
        self.whole = whole
        self.columns = columns + (columns % 26 == 0)  # what is behind a Z takes another pattern
        self._next = b'<c r="' + letter(self.columns + 1).encode()
        self._beyond, self._other = _patterns(self.columns)
        self.taken: list[bytes] = []
        self._after: bytes | None = None

    def end_of(self, raw: bytes, start: int, end: int, number: bytes) -> int:
        """Where a row that has `number` and its cells from `start` to `end` may be cut; its end where it may not."""
        at = raw.find(self._next + number + b'"', start, end)
        if at < 0:
            found = self._beyond.search(raw, start, end)
            at = found.start() if found is not None else end
        if self._other.search(raw, at, end):  # cells of a row may stand in any order
            return end
        filled = raw.rfind(b"</c", start, at)
        if filled < 0:
            return start
        return filled + len(CELL_CLOSED) if raw.startswith(CELL_CLOSED, filled) else end

    def take(self, pieces: Iterable[bytes]) -> None:
        """The next of what is kept."""
        self.taken += pieces

    def end(self, after: bytes) -> None:
        """No row follows."""
        self._after = after

    def done(self) -> Shortened | None:
        """The sheet; None where its rows did not end as they should."""
        if self._after is None:
            return None
        return Shortened(self.whole, self.columns, b"".join(self.taken), self._after)


@cache
def _patterns(columns: int) -> tuple[re.Pattern[bytes], re.Pattern[bytes]]:
    """Where a cell begins that is not asked for, and one that may be."""
    last = letter(columns)
    first, second = last[:-1], chr(ord(last[-1]) + 1)
    if first:
        further = f"|[{chr(ord(first) + 1)}-Z][A-Z]" if first < "Z" else ""
        places = f"{first}[{second}-Z]{further}|[A-Z]{{3}}"
    else:
        places = f"[{second}-Z][A-Z]{{0,2}}|[A-Z]{{2,3}}"
    beyond = f' r="(?:{places})[0-9]'.encode()
    return re.compile(rb"<c" + beyond), re.compile(rb"<c(?!" + beyond + rb")[\s/>]")


def packed(parts: Iterable[tuple[str, bytes]]) -> bytes:
    """A zip of parts as they are, for a reader in the same process."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_STORED) as archive:
        for name, content in parts:
            archive.writestr(zipfile.ZipInfo(name), content)
    return out.getvalue()
