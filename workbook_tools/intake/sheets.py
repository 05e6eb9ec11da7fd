"""How far a sheet's cells reach and in which order its rows stand, before a reader makes room for all of them.

One stray cell in the last row makes a sheet of 60 columns a block of 63 million cells. A reader that trusts the order
of rows loses cells that stand in another row than they say. Both are seen here without parsing: rows are cut at their
tags, and a row whose cells all begin `<c r="` with one or two letters and the row's own number is done with a few
counts. Any other row is read tag by tag.
"""

from __future__ import annotations

import re
from collections.abc import Iterator

from workbook_tools.errors import ReadError
from workbook_tools.intake.archive import Archive, shown
from workbook_tools.intake.limits import LARGEST_ROW, MEBI, MOST_CELLS, MOST_COLUMNS, MOST_ROWS

WIDEST_PLAIN = 702  # column ZZ
# every capital letter is an A, and what stands behind a prefix looks as if it had none
PLAINER = bytes.maketrans(b"ABCDEFGHIJKLMNOPQRSTUVWXYZ:", b"A" * 26 + b"<")
NO_PREFIX = re.compile(rb"[\s/>]")
LESS, LONGEST_NAME = ord("<"), 128
FIRST = re.compile(rb'\s+r="(\d{1,9})"')
# tags are bounded, so that nothing is searched through again and again for an end that is not there
INSIDE = rb"""((?:[^<>"']|"[^"]{0,999}"|'[^']{0,999}'){0,999})>"""
TAG = re.compile(INSIDE)
ROW_END = re.compile(rb"</(?:[^\s<>/:!?]{1,99}:)?row\s*>")
CELL_NAME = re.compile(rb"<(?:[^\s<>/:!?]{1,99}:)?c(?=[\s/>])")
CELL = re.compile(CELL_NAME.pattern + INSIDE)
ATTRIBUTE = re.compile(rb"""([^\s=<>"']+)\s*=\s*(?:"([^"]*)"|'([^']*)')""")
PLACE = re.compile(rb"([A-Za-z]{1,3})(\d{1,10})$")
TWO_LETTERS = re.compile(rb'c r="([A-Z]{1,2})\d')
AFTER_NAME = b" \t\r\n/>"


class _Extent:
    """What one sheet was found to have so far."""

    def __init__(self, part: str, path: object) -> None:
        self.part, self.path = part, path
        self.row = self.rows = self.width = 0
        self.exact = True  # whether `width` counts every cell

    def damaged(self, what: str) -> ReadError:
        return ReadError(self.path, f"its part {shown(self.part)} is damaged: {what}.")

    def note_row(self, raw: bytes) -> None:
        """A row that begins with the attributes of its tag."""
        first = FIRST.match(raw)
        said = first[1] if first is not None else self._said(TAG.match(raw))
        if said is None:
            number = self.row + 1
        elif said.isdigit() and len(said) < 10:
            number = int(said)
        else:
            raise self.damaged("a row has a number that is none")
        if not self.row < number <= MOST_ROWS:
            what = (
                f"row {number:,} stands after row {self.row:,}" if number <= MOST_ROWS else f"it has a row {number:,}"
            )
            raise self.damaged(what)
        self.row = number
        if not raw.endswith(b"</row><") and ROW_END.search(raw) is None:
            tag = TAG.match(raw)
            if tag is None or not tag[1].endswith(b"/"):
                raise self.damaged(f"row {number:,} has no end")

    def _said(self, tag: re.Match[bytes] | None) -> bytes | None:
        """What the attribute r of a tag says; None where there is none."""
        if tag is None:
            raise self.damaged("a row or cell has a tag that cannot be read")
        values = (one[2] if one[2] is not None else one[3] for one in ATTRIBUTE.finditer(tag[1]) if one[1] == b"r")
        return next(values, None)

    def note_cells(self, plain: bytes, raw: bytes) -> None:
        """The cells of the row that was noted last; `plain` is what PLAINER makes of `raw`."""
        cells = plain.count(b"<c")
        if not cells:
            return
        number = b'A%d"' % self.row
        if cells == plain.count(b'<c r="' + number) + plain.count(b'<c r="A' + number):
            self.exact = False
        else:
            self._note_one_by_one(raw)
        self.rows = self.row

    def _note_one_by_one(self, raw: bytes) -> None:
        column = 0
        for name in CELL_NAME.finditer(raw):
            said = self._said(CELL.match(raw, name.start()))
            if said is None:
                column += 1
            else:
                place = PLACE.match(said)
                if place is None:
                    raise self.damaged(f"a cell of row {self.row:,} has an address that is none")
                if int(place[2]) != self.row:
                    raise self.damaged(f"the cell {said.decode()} stands in row {self.row:,}")
                column = column_number(place[1].decode().upper())
            if column > MOST_COLUMNS:
                raise self.damaged(f"row {self.row:,} has a cell in column {column:,}; there are {MOST_COLUMNS:,}")
            self.width = max(self.width, column)

    def check(self) -> None:
        if self.rows * self.width > MOST_CELLS:
            raise ReadError(
                self.path,
                f"the sheet in {shown(self.part)} reaches to row {self.rows:,} and column {self.width:,}, a block of "
                f"more than {MOST_CELLS:,} cells: a stray cell lies far outside its table. Delete the rows and columns "
                "beyond the table, save, and try again.",
            )


def column_number(letters: str) -> int:
    """Column number from 1 of capital letters."""
    number = 0
    for sign in letters:
        number = number * 26 + ord(sign) - 64
    return number


def check_sheet(archive: Archive, part: str) -> None:
    """Raises ReadError where a sheet's cells reach too far, or its rows or cells do not stand where they say."""
    found = _Extent(part, archive.path)
    for number, (plain, raw) in enumerate(_rows(archive, part)):
        if number:
            found.note_row(raw)
            found.note_cells(plain, raw)
        elif CELL_NAME.search(raw):
            raise found.damaged("a cell stands in no row")
        if found.exact:
            found.check()
    if not found.exact and found.rows * max(found.width, WIDEST_PLAIN) > MOST_CELLS:
        before = b""
        for piece in archive.chunks(part):
            text = before + piece
            columns = (column_number(letters.decode()) for letters in set(TWO_LETTERS.findall(text)))
            found.width = max([found.width, *columns])
            before = piece[-16:]
    found.check()


def _rows(archive: Archive, part: str) -> Iterator[tuple[bytes, bytes]]:
    """What stands before the rows, then each row from behind its name to the next one's; in plain and raw bytes."""
    pieces: list[bytes] = []  # of the row that is not at its end
    waiting, size = b"", 0
    for piece in archive.chunks(part):
        raw = waiting + piece
        plain = raw.translate(PLAINER)
        start = 0
        for at in _row_names(plain, raw):
            whole = b"".join([*pieces, raw[start:at]]) if pieces else raw[start:at]
            yield whole.translate(PLAINER) if pieces else plain[start:at], whole
            pieces, start, size = [], at + 3, 0
        keep = max(start, len(raw) - LONGEST_NAME)  # a name may be cut in two
        pieces.append(raw[start:keep])
        size += keep - start
        waiting = raw[keep:]
        if size > LARGEST_ROW:
            raise ReadError(
                archive.path,
                f"a row of the sheet in {shown(part)}, or what stands before or after its rows, has more than "
                f"{LARGEST_ROW // MEBI} MB; no real one has.",
            )
    whole = b"".join([*pieces, waiting])
    yield whole.translate(PLAINER), whole


def _row_names(plain: bytes, raw: bytes) -> Iterator[int]:
    """Where the name of a row's opening tag stands, whatever its prefix; not at the very end of the bytes."""
    at = plain.find(b"<row")
    while 0 <= at < len(plain) - 4:
        if plain[at + 4] in AFTER_NAME and (raw[at] == LESS or _begins_tag(raw[max(0, at - LONGEST_NAME) : at])):
            yield at + 1
        at = plain.find(b"<row", at + 4)


def _begins_tag(before: bytes) -> bool:
    """Whether what stands before a colon is the beginning of an opening tag, and not of a closing one or a text."""
    prefix = before[before.rfind(b"<") + 1 :]
    return not NO_PREFIX.search(prefix)
