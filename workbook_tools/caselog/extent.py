"""How far the cells of a workbook's sheets reach, before a reader makes room for all of them.

One stray cell in the last row makes a sheet of 60 columns a block of 63 million cells.
"""

from __future__ import annotations

import re
import zipfile
import zlib
from collections.abc import Iterator
from pathlib import Path

from workbook_tools.errors import ReadError
from workbook_tools.layouts.model import column_number

MOST_CELLS = 20_000_000
CHUNK = 1 << 20
OVERLAP = 64  # longer than any row or cell tag up to its r
# a pattern that begins with plain letters is found twenty times as fast, so what stands before them is asked after them
ROW = re.compile(rb'row(?<=[<:]row)\b[^>]{0,40}?\br="(\d{1,8})"')
FAR_COLUMN = re.compile(rb'r="(?<=\Wr=")([A-Z]{3})\d{1,8}"')
COLUMN = re.compile(rb'r="(?<=\Wr=")([A-Z]{1,3})\d{1,8}"')
SHEET = re.compile(r"^xl/worksheets/[^/]+\.xml$")
WIDEST_PLAIN = 702  # column ZZ


def check_extent(path: Path) -> None:
    """Raises ReadError where a sheet's cells reach too far to be read, naming its part and how far."""
    try:
        with zipfile.ZipFile(path) as archive:
            for name in archive.namelist():
                if SHEET.match(name):
                    _check_part(path, archive, name)
    # RuntimeError is zipfile's word for an encrypted part, NotImplementedError for a compression it does not know
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise ReadError(path, f"is not an .xlsx workbook, or is cut short ({error}).") from error


def _check_part(path: Path, archive: zipfile.ZipFile, name: str) -> None:
    rows, width = 1, 1
    for text in _chunks(archive, name):
        rows = max([rows, *(int(row) for row in ROW.findall(text))])
        width = max([width, *(column_number(column.decode()) for column in set(FAR_COLUMN.findall(text)))])
    if width == 1 and rows * WIDEST_PLAIN > MOST_CELLS:
        for text in _chunks(archive, name):
            width = max([width, *(column_number(column.decode()) for column in set(COLUMN.findall(text)))])
    if rows * width > MOST_CELLS:
        raise ReadError(
            path,
            f"the sheet in {name} reaches to row {rows:,} and column {width:,}: a stray cell lies far outside its "
            "table. Delete the rows and columns beyond the table, save, and try again.",
        )


def _chunks(archive: zipfile.ZipFile, name: str) -> Iterator[bytes]:
    """The part in pieces that overlap, so that no tag is cut in all of them."""
    with archive.open(name) as part:
        before = b""
        while piece := part.read(CHUNK):
            yield before + piece
            before = piece[-OVERLAP:]
