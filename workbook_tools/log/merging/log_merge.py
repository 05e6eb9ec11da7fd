"""Makes one case log of several copies: the office computer's, a tablet's, one that a producer sent back.

The rules. "The log" is the file that the others are merged into.

- Rows are matched by the id in their id column, on the Lists and Reference sheets by their first column; the case of
  letters does not count there. Where rows stand, and in which order, does not count either.
- A row that only a copy has is added. A row that is equal in both is kept once. A row that a file does not have is
  never taken as deleted, nor a sheet or a column as emptied.
- A cell that is blank in the log takes the value of the copies. Filled with different values, it is a conflict: the
  log's own value stays, and both are listed. A cell that is blank in the log and differs between copies stays blank,
  and all its values are listed.
- A row whose only typed cell is an id of the kind that is given in advance counts as empty: it is never in conflict
  and never added, and a row with that id takes its place.
- Two things under one id: where a required cell (the visit of a bath, the bath of a fish, the date of a loss), or more
  than one of the others, is filled on both sides and differs, nothing of the copy's row is merged, lest one fish be
  filled up with the lengths and times of another; all that the log does not have is listed. Where two copies differ
  so in cells that are blank in the log, no copy's row of that id is merged, and all are listed.
- Rows without an id, and rows whose id stands more than once in the log or in the copy, cannot be matched: where the
  log has the same row cell by cell, all is well; where not, the copy's row is listed whole.
- With an older state of the log (a base), a cell that only one side changed takes the changed value, and a cell that
  was emptied counts as changed. Changed by two sides to different values, it is a conflict as above. An id that the
  base knows means the same thing everywhere.
- Numbers are equal as numbers, to 15 digits, and moments to the millisecond; texts are equal letter by letter, but for
  the sort of line ends.

So nothing typed is ever dropped: it is in the merged log, or on the list. Merging again changes nothing, the order of
the copies does not matter, and a log merged with itself is that log.
"""

from __future__ import annotations

import itertools
from collections import Counter
from collections.abc import Sequence
from typing import Any

from workbook_tools.errors import ReadError
from workbook_tools.layout import Table
from workbook_tools.layout.model import Column
from workbook_tools.log.checking.reading import ReadLog
from workbook_tools.log.merging.matching import (
    Row,
    Side,
    alike,
    alike_id,
    contradict,
    filled_cells,
    merged_columns,
    shape,
    side,
    value_order,
    whole,
)
from workbook_tools.log.merging.merged import Added, Change, Conflict, Merged, Note, Sources

__all__ = ["Merged", "conflict", "merge", "row_sources"]


def merge(log: ReadLog, copies: Sequence[ReadLog], base: ReadLog | None = None) -> Merged:
    """Merge copies of a log into it, by the rules at the top of this module. Nothing is written.

    Parameters
    ----------
    log : the log, as `reading.read_log` gives it.
    copies : the others, in any order.
    base : an older state that the log and the copies come from, where there is one.

    Returns
    -------
    The merged rows, what was added, filled and changed, the conflicts, and remarks on the files.

    Raises
    ------
    ReadError : the log has lost the sheet or the id column that rows of a copy belong to.
    """
    merged = Merged(log.layout)
    for file in (*copies, *([base] if base else [])):
        merged.remarks += [Note(file.path, remark.say) for remark in file.remarks]
    for key, read in log.tables.items():
        sides = [side(copy.path, copy.tables[key]) for copy in copies if key in copy.tables]
        before = side(base.path, base.tables[key]) if base and key in base.tables else None
        _TableMerge(merged, read.table, side(log.path, read, twins=True), sides, before).run()
    merged.sort()
    return merged


def row_sources(rows: Sequence[tuple[Side, int]]) -> Sources:
    """Where rows stand: file and sheet row, in one order."""
    return tuple(sorted({(copy.file, copy.read.numbers[position]) for copy, position in rows}))


def conflict(copy: Side, position: int, column: Column, kept: Any, other: Any, reason: str) -> Conflict:
    """The conflict of one cell of a copy."""
    table = copy.read.table
    name = copy.row(position).get(table.key_column.key)
    place = (copy.file, table.key, table.sheet, copy.read.numbers[position], name, column.key, column.heading)
    return Conflict(*place, kept, other, reason, column.format)


class _TableMerge:
    """Merges one table; everything it finds goes into `merged`."""

    def __init__(self, merged: Merged, table: Table, log: Side, copies: Sequence[Side], base: Side | None) -> None:
        self.merged = merged
        self.table = table
        self.log = log
        self.copies = copies
        self.base = base
        self.rows = [dict(row) for row in log.read.rows]
        self.numbers: list[int | None] = list(log.read.numbers)
        self.ahead: dict[object, str] = {alike_id(name): name for name in log.read.ahead}
        self.new: list[dict[str, Any]] = []

    def run(self) -> None:
        known = {identity for copy in self.copies for identity in copy.known}
        if known and not self.log.named:
            heading = self.table.key_column.heading
            raise ReadError(
                self.log.file,
                f"has no column {heading!r} on the sheet {self.table.sheet}, to which rows of the copies belong. Put "
                "the sheet and its heading back, then merge again.",
            )
        unmatched: list[tuple[object, Side, int]] = []
        for identity in sorted(known, key=lambda identity: value_order(str(identity))):
            unmatched += self._one_id(identity)
        self._place_new_rows()
        self._whole_rows(unmatched)
        self._nameless_rows()
        self.merged.rows[self.table.key] = self.rows
        self.merged.numbers[self.table.key] = self.numbers

    def _one_id(self, identity: object) -> list[tuple[object, Side, int]]:
        """Merge the rows under one id; gives back those that have to be found cell by cell."""
        own = self.log.known.get(identity, [])
        single = [copy for copy in self.copies if len(copy.known.get(identity, [])) == 1 and len(own) < 2]
        if single:
            self._same_thing(identity, own[0] if own else None, single)
        return [
            (identity, copy, position)
            for copy in self.copies
            if copy not in single
            for position in copy.known.get(identity, [])
        ]

    def _same_thing(self, identity: object, own: int | None, single: list[Side]) -> None:
        base = self.base.single(identity) if self.base else None
        mine: Row | None = None if own is None else self.rows[own]
        agreeing = single if base is not None else self._agreeing(mine, identity, single)
        rows = [(copy, copy.known[identity][0]) for copy in agreeing]
        if rows:
            merging = _RowMerge(self, mine, base, rows)
            if own is None:
                mine = self._add(identity, merging, rows, base)
            else:
                merging.into(self.rows[own], self.log.read.numbers[own])
        for copy in single:
            if copy not in agreeing:
                self._list_whole(copy, copy.known[identity][0], "other-thing", mine or {})

    def _agreeing(self, own: Row | None, identity: object, single: list[Side]) -> list[Side]:
        """Copies whose rows can be the same thing as the log's; none where two of them cannot be the same."""
        rows = {id(copy): copy.row(copy.known[identity][0]) for copy in single}
        fitting = [copy for copy in single if own is None or not contradict(self.table, own, rows[id(copy)])]
        pairs = itertools.combinations([rows[id(copy)] for copy in fitting], 2)
        return [] if any(contradict(self.table, one, other, own) for one, other in pairs) else fitting

    def _add(self, identity: object, merging: _RowMerge, rows: list[tuple[Side, int]], base: Row | None) -> Row | None:
        """A row that the log does not have; an id that the log has given in advance keeps the log's spelling."""
        key = self.table.key_column.key
        spellings = [copy.row(position)[key] for copy, position in rows]
        name = self.ahead.get(identity) or min(spellings, key=value_order)
        values = {column.key: None for column in merged_columns(self.table)} | merging.values() | {key: name}
        if self.table.gives_ids and all(value is None for k, value in values.items() if k != key):
            return None  # all its cells are in conflict, and stand on the list
        self.merged.added.append(Added(row_sources(rows), self.table.key, self.table.sheet, name, values))
        if base is not None:
            say = f"{self.table.sheet} {name} is in this older state and not in the log: the row was added again."
            self.merged.remarks.append(Note(self.base.file if self.base else "", say))
        self.new.append(dict(values))
        return values

    def _place_new_rows(self) -> None:
        key = self.table.key_column.key
        self.new.sort(key=lambda values: value_order(values[key]))
        self.rows += self.new
        self.numbers += [None] * len(self.new)

    # --------------------------------------------------------------------------- rows that no id can match

    def _whole_rows(self, unmatched: list[tuple[object, Side, int]]) -> None:
        """Rows of doubled ids: each row of the merged log answers for one row of a copy."""
        key = self.table.key_column.key
        for copy in self.copies:
            mine = [(identity, position) for identity, other, position in unmatched if other is copy]
            pool = Counter(shape(copy, row) for row in self.rows if mine and row.get(key) is not None)
            for _, position in mine:
                self._found_or_listed(pool, copy, position, "id-doubled")

    def _nameless_rows(self) -> None:
        """Rows without an id; those of a file without the column are looked for among all rows."""
        for copy in self.copies:
            rows = [self.rows[position] for position in self.log.nameless] if copy.named else self.rows
            pool = Counter(shape(copy, row) for row in rows if copy.nameless)
            for position in copy.nameless:
                self._found_or_listed(pool, copy, position, "no-id")

    def _found_or_listed(self, pool: Counter[tuple[object, ...]], copy: Side, position: int, reason: str) -> None:
        content = whole(copy, position)
        if pool[content] > 0:
            pool[content] -= 1
        else:
            self._list_whole(copy, position, reason, {})

    def _list_whole(self, copy: Side, position: int, reason: str, kept: Row) -> None:
        """List the cells of a row that are not the same in the log's."""
        for column, value in filled_cells(copy, position):
            if alike(column, value) != alike(column, kept.get(column.key)):
                self.list_cell(copy, position, column, kept.get(column.key), value, reason)

    def list_cell(self, copy: Side, position: int, column: Column, kept: Any, other: Any, reason: str) -> None:
        self.merged.conflicts.append(conflict(copy, position, column, kept, other, reason))


class _RowMerge:
    """Merges the rows of one thing, cell by cell."""

    def __init__(self, table: _TableMerge, own: Row | None, base: Row | None, rows: list[tuple[Side, int]]) -> None:
        self.table = table
        self.own = own
        self.base = base
        self.rows = rows
        self.taken: list[tuple[Column, Any, Any, Sources]] = []
        self.differing: set[str] = set()
        for column in merged_columns(table.table):
            if column.key != table.table.key_column.key:
                self._cell(column)

    def _cell(self, column: Column) -> None:
        key = column.key
        given = [(copy, at, copy.row(at).get(key)) for copy, at in self.rows if copy.has(key)]
        if not self.table.log.has(key):
            for copy, at, value in given:
                if value is not None:
                    self.table.list_cell(copy, at, column, None, value, "no-column")
            return
        based = self.base is not None and self.table.base is not None and self.table.base.has(key)
        start = self.base.get(key) if based and self.base is not None else None
        mine = start if self.own is None else self.own.get(key)
        asking = [
            (copy, at, value)
            for copy, at, value in given
            if (alike(column, value) != alike(column, start) if based else value is not None)
        ]
        wanted = {alike(column, value) for _, _, value in asking}
        settled = alike(column, mine) != alike(column, start)  # the log has its own say; without a base: it is filled
        if not settled and len(wanted) == 1:
            value = min((value for _, _, value in asking), key=value_order)
            self.taken.append((column, mine, value, row_sources([(copy, at) for copy, at, _ in asking])))
            return
        for copy, at, value in asking:
            if alike(column, value) != alike(column, mine):
                self.differing.add(copy.file)
                self.table.list_cell(copy, at, column, mine, value, "cell-differs" if settled else "copies-differ")

    def values(self) -> dict[str, Any]:
        """Cells of a row that is new to the log: what the base had, and what the copies have."""
        has = self.table.log.has
        known = {c.key: (self.base or {}).get(c.key) for c in merged_columns(self.table.table) if has(c.key)}
        return known | {column.key: value for column, _, value, _ in self.taken}

    def into(self, row: dict[str, Any], number: int) -> None:
        """Put what was taken into the log's own row."""
        table = self.table.table
        name = row[table.key_column.key]
        for column, before, after, taken_from in self.taken:
            row[column.key] = after
            place = (taken_from, table.key, table.sheet, number, name, column.key, column.heading)
            change = Change(*place, before, after, column.format)
            (self.table.merged.filled if before is None else self.table.merged.changed).append(change)
        mixed = {file for _, _, _, taken_from in self.taken for file, _ in taken_from} & self.differing
        for file in mixed if self.base is None else ():
            say = (
                f"{table.sheet} {name}: blank cells were filled from this copy, which differs from the log in others; "
                "see that both mean the same."
            )
            self.table.merged.remarks.append(Note(file, say))
