"""How far a sheet's cells reach and in which order its rows stand, before a reader makes room for all of them.

One stray cell in the last row makes a sheet of 60 columns a block of 63 million cells. A reader that trusts the order
of rows loses cells that stand in another row than they say. Both are seen here without parsing: rows are cut at their
tags, and a row whose cells all begin `<c r="` with one or two letters and the row's own number is done with a few
counts. Any other row is read tag by tag. Rows that were done with counts can be shortened on the way.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from itertools import pairwise

from workbook_tools.errors import ReadError
from workbook_tools.xlsx.addresses import column_number
from workbook_tools.xlsx.reading.archive import Archive, shown
from workbook_tools.xlsx.reading.limits import LARGEST_ROW, MEBI, MOST_CELLS, MOST_COLUMNS, MOST_ROWS
from workbook_tools.xlsx.reading.shortened import MOST, ROWS_CLOSED, Shortened, Shortening

WIDEST_PLAIN = 702  # column ZZ
# every capital letter is an A, and what stands behind a prefix looks as if it had none
PLAINER = bytes.maketrans(b"ABCDEFGHIJKLMNOPQRSTUVWXYZ:", b"A" * 26 + b"<")
NO_PREFIX = re.compile(rb"[\s/>]")
LESS, CLOSES, LONGEST_NAME = ord("<"), ord("/"), 128
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
CELL_OR_ROW = re.compile(rb"<c[\s/>]"), re.compile(rb"<row[\s/>]")
PLAIN_ROW = re.compile(rb'<row r="([0-9]{1,7})"[^<>]*>')
ROW_CLOSED = b"</row>"


class _Extent:
    """What one sheet was found to have so far."""

    def __init__(self, part: str, path: object) -> None:
        self.part, self.path = part, path
        self.row = self.rows = self.width = 0
        self.exact = True  # whether `width` counts every cell

    def damaged(self, what: str) -> ReadError:
        return ReadError(self.path, f"its part {shown(self.part)} is damaged: {what}.")

    def note_plain(self, raw: bytes, short: Shortening | None) -> bool:
        """Whole rows that are all spelt as every program spells them; False, and nothing noted, where one is not.

        Of a row that is shortened, what is kept; the rest was seen to hold only cells that are not asked for.
        """
        stop = len(raw) if raw.endswith(ROW_CLOSED) else raw.rfind(ROWS_CLOSED)
        seen = len(raw) if short is None else stop  # what follows the rows is read by who reads all of it
        if stop < 0 or _is_odd(raw, seen) or any(name.search(raw, stop, seen) for name in CELL_OR_ROW):
            return False
        row, rows, start, kept = self.row, self.rows, 0, []
        while start < stop:
            opened = PLAIN_ROW.match(raw, start)
            if opened is None or not row < (here := int(number := opened[1])) <= MOST_ROWS:
                return False
            row, begun = here, opened.end()
            end = raw.find(b"<row", begun, stop)
            end = stop if end < 0 else end
            if end > begun if raw[begun - 2] == CLOSES else not raw.startswith(ROW_CLOSED, end - len(ROW_CLOSED)):
                return False
            at = end if short is None or row <= short.whole else short.end_of(raw, begun, end, number)
            plain = raw[begun:at].translate(PLAINER)
            cells = plain.count(b"<c")
            if cells:
                own = plain.count(b'<c r="A%b"' % number)
                if own != cells and own + plain.count(b'<c r="AA%b"' % number) != cells:
                    return False
                rows = row
            kept += [raw[start:at]] if at == end else [raw[start:at], ROW_CLOSED]
            start = end
        if rows != self.rows:
            self.exact = False
        self.row, self.rows = row, rows
        if short is not None:
            short.take(kept)
            if stop < len(raw):
                short.end(raw[stop + len(ROWS_CLOSED) :])
        return True

    def note_rows(self, raw: bytes) -> None:
        """Whole rows, however they are spelt, and what follows the last of them."""
        plain = raw.translate(PLAINER)
        for start, end in pairwise([*_row_names(plain, raw), len(raw)]):
            self.note_row(raw[start + 3 : end])
            self.note_cells(plain[start + 3 : end], raw[start + 3 : end])

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


def check_sheet(archive: Archive, part: str, whole: int = 0, columns: int = 0) -> Shortened | None:
    """Raises ReadError where a sheet's cells reach too far, or its rows or cells do not stand where they say.

    Parameters
    ----------
    archive, part : the sheet.
    whole, columns : how many rows at its top are asked for, and how many columns, from A on, of the others; 0 : all.

    Returns
    -------
    The sheet with its rows shortened to these; None where it is to be taken as it is. What was cut off was not looked
    at: whoever wants more of the sheet has it checked again.
    """
    short = _looked_at(archive, part, Shortening(whole, columns)) if 0 < columns <= MOST else None
    if short is None:
        _looked_at(archive, part, None)
    return short


def _looked_at(archive: Archive, part: str, short: Shortening | None) -> Shortened | None:
    """Looks at a sheet, and shortens it; None, and not all was looked at, where that cannot be done."""
    found = _Extent(part, archive.path)
    for has_rows, raw in _blocks(archive, part):
        if not has_rows:
            if CELL_NAME.search(raw):
                raise found.damaged("a cell stands in no row")
            if short is not None:
                short.take([raw])
        elif not found.note_plain(raw, short):
            if short is not None:
                return None
            found.note_rows(raw)
        if found.exact:
            found.check()
    if not found.exact and found.rows * max(found.width, WIDEST_PLAIN) > MOST_CELLS:
        before = b""
        for piece in archive.chunks(part) if short is None else short.taken:
            text = before + piece
            there = (column_number(letters.decode()) for letters in set(TWO_LETTERS.findall(text)))
            found.width = max([found.width, *there])
            before = piece[-16:]
    found.check()
    return None if short is None else short.done()


def _blocks(archive: Archive, part: str) -> Iterator[tuple[bool, bytes]]:
    """What stands before the rows, then many whole rows at once, with what follows the last; and whether it is rows."""
    waiting: list[bytes] = []
    before, size, has_rows = b"", 0, False
    for piece in archive.chunks(part):
        text = before + piece  # a name may be cut in two
        waiting.append(piece)
        size += len(piece)
        for find in (_first_row, _last_row):
            at = -1 if has_rows and find is _first_row else find(text)
            cut = size - len(text) + at
            if at >= 0 and (cut or not has_rows):
                whole = b"".join(waiting)
                yield has_rows, whole[:cut]
                waiting, size, text, has_rows = [whole[cut:]], size - cut, text[at:], True
            if not has_rows:
                break
        before = text[-LONGEST_NAME:]
        if size > LARGEST_ROW:
            raise ReadError(
                archive.path,
                f"a row of the sheet in {shown(part)}, or what stands before or after its rows, has more than "
                f"{LARGEST_ROW // MEBI} MB; no real one has.",
            )
    yield has_rows, b"".join(waiting)


def _first_row(raw: bytes) -> int:
    """Where the first row's tag begins, or -1."""
    at = raw.find(b"<row")
    if 0 <= at < len(raw) - 4 and raw[at + 4] in AFTER_NAME and raw.find(b":row", 0, at) < 0:
        return at
    at = next(_row_names(raw.translate(PLAINER), raw), -1)
    return raw.rfind(b"<", 0, at) if at >= 0 else -1


def _last_row(raw: bytes) -> int:
    """Where the tag of a row begins, the last one if it has no prefix, or -1."""
    at = raw.rfind(b"<row", 0, -1)
    while at >= 0 and raw[at + 4] not in AFTER_NAME:
        at = raw.rfind(b"<row", 0, at)
    if at >= 0:
        return at
    names = list(_row_names(raw.translate(PLAINER), raw))
    return raw.rfind(b"<", 0, names[-1]) if names else -1


def _is_odd(raw: bytes, stop: int) -> bool:
    """Whether names up to `stop` have a prefix, or there are sections such as comments, which may hold anything.

    Sought by signs that are rare, one after the other: a pattern takes eight times as long.
    """
    for sign in (b":", b"!", b"?"):
        at = raw.find(sign, 0, stop)
        while at >= 0:
            if raw.startswith((b"c", b"row"), at + 1) if sign == b":" else raw[at - 1] == LESS:
                return True
            at = raw.find(sign, at + 1, stop)
    return False


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
