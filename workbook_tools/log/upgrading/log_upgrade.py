"""Brings a case log of an older layout to that of today, in place: nothing a person added or typed is lost."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from workbook_tools.errors import EditError, NameTakenError, ReadError
from workbook_tools.functions.texts.lambda_names import OURS_OR_BROKEN
from workbook_tools.layout import Layout, Table, load
from workbook_tools.layout.load import folder
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.building.seal_key import put_key
from workbook_tools.log.checking.current_layout import editable
from workbook_tools.log.checking.reading import ReadLog, read_log
from workbook_tools.log.checking.standing_layout import Placement, Standing, beside, filled_on, place, with_rows
from workbook_tools.log.upgrading.person_notes import put_anew
from workbook_tools.log.upgrading.refreshing import TableRefresh, merged
from workbook_tools.xlsx.addresses import column_number
from workbook_tools.xlsx.editing.cell_formulas import Area
from workbook_tools.xlsx.editing.column_models import Model
from workbook_tools.xlsx.editing.workbook_edit import NewColumn, WorkbookEdit
from workbook_tools.xlsx.opened import Opened
from workbook_tools.xlsx.reading import Archive, admitted
from workbook_tools.xlsx.saving.inputs import Seen
from workbook_tools.xlsx.saving.whole_file import save

LAYOUT, VERSION = "Layout", "Layout version"
CHOICES = "choices_"
Data = dict[str, Any]


@dataclass(frozen=True)
class Upgrade:
    """What was done to a log, or what would be. `content` is None where it is of today's layout already."""

    before: str
    after: str
    content: bytes | None = None
    changes: tuple[str, ...] = ()
    looks: tuple[str, ...] = ()  # what wants a look afterwards


def upgrade(file: Path | Opened, layout: Layout, out: Path | None = None) -> tuple[Upgrade, Path | None]:
    """Bring a log to a layout, in place with a dated backup, or into a new file `out`.

    Answers what was done, and the backup. Raises ReadError for what is no case log of a known layout, EditError where
    the person has to move or rename something first, SaveError; in all of them the log is as it was.
    """
    log = Opened.of(file)
    path, seen = log.path, Seen(log)
    done = upgraded(log, layout)
    if done.content is None:
        return done, None
    return done, save(path if out is None else out, done.content, replace=out is None, seen=seen, in_place=out is None)


def upgraded(log: Path | Opened, layout: Layout) -> Upgrade:
    """A log brought to a layout; nothing is written."""
    log = Opened.of(log)
    path, archive = log.path, log.archive
    edit = editable(path, archive)
    old = layout_before(edit, layout)
    if old is None:
        read_log(path, layout, archive)  # a log that is damaged is not said to be all right
        return Upgrade(layout.version, layout.version)
    read = read_log(path, layout, archive)
    before = place(old, edit)
    _refuse(edit, read, old, before, layout)
    edit, read = _with_longer_lists(edit, read, old, layout)
    work = Renewal(edit, read, old, before, place(layout, edit))
    work.run()
    put_key(edit, archive.content)
    content = edit.content()
    prove(path, archive, content, old, layout)
    return Upgrade(old.version, layout.version, content, tuple(work.changes), tuple(work.looks))


def layout_before(edit: WorkbookEdit, layout: Layout) -> Layout | None:
    """The layout that a log was made by; None where it is the given one. Raises ReadError for any other."""
    version = edit.property(VERSION)
    if edit.property(LAYOUT) != layout.name.rpartition("/")[2] or version is None:
        raise ReadError(
            edit.path, "does not say that it is a case log made by workbook-tools, so it was left as it is."
        )
    if version == layout.version:
        return None
    if version.isdecimal() and layout.version.isdecimal() and int(version) > int(layout.version):
        raise ReadError(
            edit.path,
            f"is of layout {version}, which is newer than this program knows ({layout.version}). Update "
            "workbook-tools, then try again.",
        )
    name = f"older/{layout.name}-{version}"
    if not re.fullmatch(r"[0-9]{1,6}", version) or not (folder() / f"{name}.toml").is_file():
        raise ReadError(edit.path, f"is of layout {version!r}, which this program does not know.")
    return load(name)


def _refuse(edit: WorkbookEdit, read: ReadLog, old: Layout, before: Placement, layout: Layout) -> None:
    """Raises EditError, naming all at once, where the log is not as its own layout had it, or a heading is taken."""
    faults = [f"the sheet {name} is missing; was it renamed or deleted?" for name in before.new_sheets]
    ours = {sheet.name.casefold() for sheet in old.sheets}
    theirs = {name.casefold() for name in edit.sheet_names} - ours
    faults += [
        f"there is a sheet {sheet.name} of your own, a name that the new layout needs; rename yours."
        for sheet in layout.sheets
        if sheet.name.casefold() in theirs
    ]
    for key, standing in before.tables.items():
        table = standing.table
        if standing.there is None:
            faults.append(f"the table with {table.columns[0].heading!r} is missing on {table.sheet}.")
        faults += [
            f"the heading {column.heading!r} is missing on {table.sheet}; was it renamed?"
            for column in standing.missing
            if column.typed or not table.log
        ]
        if key in layout.tables and standing.there is not None:
            faults += list(_taken(standing, old.tables[key], layout.tables[key]))
            faults += list(_moved(standing, read, layout.tables[key]))
    if faults:
        raise EditError(edit.path, "not brought up to date", " ".join([*faults, "Mend this, then try again."]))


def _with_longer_lists(edit: WorkbookEdit, read: ReadLog, old: Layout, layout: Layout) -> tuple[WorkbookEdit, ReadLog]:
    """The log with its lists as long as what the new layout offers needs; one that cannot grow stays, and is said."""
    grown = False
    for key, standing in place(layout, edit).tables.items():
        if standing.there is None or standing.table.log:
            continue
        rows = {n: dict(row) for n, row in zip(read.tables[key].numbers, read.tables[key].rows, strict=True)}
        _, left = merged(standing, standing.table, old.tables.get(key), rows)
        more = max(layout.tables[key].rows - standing.table.rows, len(left))
        if left:
            with contextlib.suppress(EditError):
                if standing.table.stacked:
                    edit.make_room(standing.there.name, more)
                edit.grow(standing.there.name, more)
                grown = True
    if not grown:
        return edit, read
    longer = admitted(Path(read.path), edit.content())
    return editable(edit.path, longer), read_log(Path(read.path), layout, longer)


def _taken(standing: Standing, old: Table, new: Table) -> Iterator[str]:
    """Headings of a person's own columns that the new layout computes."""
    assert standing.there is not None
    own = {h.strip().casefold() for h in standing.there.headings} - {c.heading.casefold() for c in old.columns}
    for column in new.columns:
        if not column.typed and new.log and column.heading.casefold() in own:
            yield (
                f"{new.sheet} has a column {column.heading!r} of your own, which the new layout computes; rename yours."
            )


def _moved(standing: Standing, read: ReadLog, new: Table) -> Iterator[str]:
    """Headings that stand elsewhere than the table has them: doubled above it, or beside it."""
    found = read.tables[new.key].letters if new.key in read.tables else {}
    for column in standing.kept:
        where = standing.table.letters[column.key]
        if column.typed and found.get(column.key, where) != where:
            yield (
                f"the heading {column.heading!r} stands in column {found[column.key]} of {new.sheet} as well as in "
                f"{where}."
            )


class Renewal:
    """A log that is put anew: what there is, what it becomes, and the sentences about it.

    With `restore`, what a person took off or typed over is put back, too.
    """

    def __init__(
        self,
        edit: WorkbookEdit,
        read: ReadLog,
        old: Layout,
        before: Placement,
        after: Placement,
        restore: bool = False,
    ) -> None:
        self.edit, self.read, self.old, self.before, self.after = edit, read, old, before, after
        self.restore = restore
        self.layout = after.layout
        self.changes: list[str] = []
        self.looks: list[str] = []
        self.lists: dict[str, dict[int, Data]] = {}
        for key, standing in after.tables.items():
            if standing.there is not None and not standing.table.log:
                rows, left = merged(standing, standing.table, old.tables.get(key), self._rows(key))
                self.lists[key] = rows
                self.looks += [
                    f"{standing.table.sheet}: no room for {name!r} in {standing.table.name}." for name in left
                ]
        data = self._data()
        # through the layout, not as data, where one list stands below another: a summary's rows would grow into it
        below = {table.key for sheet in self.layout.sheets if not beside(sheet) for table in sheet.tables}
        offered = {
            key: tuple(
                tuple(row.get(column.key) for column in self.layout.tables[key].columns) for row in data.pop(key)
            )
            for key in self.lists.keys() & below
        }
        self.layout = with_rows(self.layout, offered)
        if restore:  # as many rows as there are, so that nothing but what is broken differs
            self.model = self.model_before = Model(edit, build_log(self.layout, data, rows=1))
        else:
            self.model = Model(edit, build_log(self.layout, data))
            drawn = {chart.table for sheet in old.sheets for chart in sheet.charts}  # a cell of Charts for each row
            drawn_rows = max((before.layout.tables[key].rows for key in drawn), default=1)
            self.model_before = Model(edit, build_log(before.layout, rows=drawn_rows))

    def _rows(self, key: str) -> dict[int, Data]:
        """Typed values by sheet row."""
        read = self.read.tables[key]
        rows = {number: dict(row) for number, row in zip(read.numbers, read.rows, strict=True)}
        name = read.table.key_column.key
        for value, number in getattr(read, "ahead", {}).items():
            rows.setdefault(number, {name: value})
        return rows

    def _data(self) -> dict[str, list[Data]]:
        """The log's rows for our own builder, each in the row of the sheet where it stands."""
        data = {}
        for key, standing in self.after.tables.items():
            if standing.there is None:
                continue
            rows = self.lists.get(key, self._rows(key) if key in self.read.tables else {})
            last = max([*rows, standing.there.last_row if standing.table.log else 0])
            data[key] = [rows.get(number, {}) for number in range(standing.table.first_row, last + 1)]
        for sheet in self.layout.sheets:
            for table in filled_on(sheet):
                if table.key in self.old.tables:
                    data[table.key] = self.read.tables[table.key].rows
        return data

    def _filled(self, name: str) -> list[Area]:
        """Rows that a command wrote on a sheet of the old layout."""
        tables = [table for sheet in self.old.sheets if sheet.name == name for table in filled_on(sheet)]
        return [
            Area(t.first_row, t.first_column, t.last_row, t.first_column + len(t.columns) - 1)
            for t in tables
            if t.key in self.layout.tables
        ]

    # -------------------------------------------------------------------------------------------------- the steps

    def run(self) -> None:
        tables = self.layout.tables
        for key, standing in self.after.tables.items():
            if standing.there is None:
                self.model.add_table(standing.table.name)
                self.changes.append(f"{standing.table.sheet}: new table {standing.table.name}.")
            elif standing.table.log:
                self._log(key, standing, tables)
            else:
                self._list(key, standing)
        summed = {sheet.name for sheet in self.old.sheets if sheet.pivots}  # they follow their tables by themselves
        for sheet in self.after.pages:
            if sheet in summed:
                continue
            before = self.model_before.book
            self.looks += put_anew(self.edit, self.model, before, sheet, self._filled(sheet), self.restore)
        for sheet in self.after.new_sheets:
            self.edit.graft(self.model.content, [sheet])
            self.changes.append(f"New sheet {sheet}.")
        self._names()
        self.edit.set_property(VERSION, self.layout.version)

    def _log(self, key: str, standing: Standing, tables: Mapping[str, Table]) -> None:
        refresh = TableRefresh(self.edit, self.model, standing, tables, self.restore)
        read = self.read.tables[key]
        refresh.formulas({*read.numbers, *getattr(read, "ahead", {}).values()})
        refresh.rules(self.model_before, self.before.tables.get(key, standing))
        refresh.purpose(self.model_before)
        refresh.add_columns()
        self.looks += refresh.looks
        self._said(standing)

    def _said(self, standing: Standing) -> None:
        shown = [column.heading for column in standing.missing if not column.hidden]
        if shown:
            self.changes.append(f"{standing.table.sheet}: new {', '.join(shown)}.")

    def _list(self, key: str, standing: Standing) -> None:
        """What a list offers: rows that are new, and those that the person had as the old layout gave them."""
        assert standing.there is not None
        sheet, rows, was = standing.there.sheet, self.lists[key], self._rows(key)
        if standing.missing:
            self.edit.append_columns(standing.there.name, list(self._new_list_columns(standing, rows)))
            self._said(standing)
        changed = 0
        for number, row in rows.items():
            for column in standing.kept:
                value = row.get(column.key)
                if value != was.get(number, {}).get(column.key):
                    self.edit.put(sheet, number, column_number(standing.table.letters[column.key]), value)
                    changed += 1
        if changed:
            self.changes.append(f"{sheet}: {standing.table.name} brought up to date.")

    def _new_list_columns(self, standing: Standing, rows: Mapping[int, Data]) -> Iterator[NewColumn]:
        assert standing.there is not None
        table, there = standing.table, standing.there
        keys = [column.key for column in table.columns]
        for column in standing.missing:
            number = table.first_column + keys.index(column.key)  # where our own builder puts it
            values = [rows.get(row, {}).get(column.key) for row in range(there.first_row, there.last_row + 1)]
            yield NewColumn(
                column.heading,
                results=values,
                heading_style=self.model.style(table.sheet, table.heading_row, number),
                style=self.model.style(table.sheet, table.first_row, number),
                width=column.width,
            )

    def _names(self) -> None:
        """The names behind the lists and those of our functions."""
        names = self.edit.need_in_workbook("definedNames")
        there = {n.get("name", "").casefold(): n.text or "" for n in names if n.get("localSheetId") is None}
        wanted = self.model.book.need_in_workbook("definedNames")
        taken = []
        for entry in wanted:
            name = entry.get("name", "")
            if entry.get("localSheetId") is not None or name.startswith("_xlnm."):
                continue
            text = there.get(name.casefold())
            if text is not None and not name.startswith(CHOICES) and not OURS_OR_BROKEN.match(text):
                taken.append(name)
            self.edit.set_name(name, entry.text or "", entry.get("comment"))
        if taken:
            raise NameTakenError(self.edit.path, taken)


def prove(path: Path, archive: Archive, content: bytes, old: Layout, layout: Layout) -> None:
    """Read both files and hold what was typed against each other; raises EditError, and nothing is saved."""
    was, is_now = read_log(path, old, archive), read_log(path, layout, admitted(path, content))
    for table in old.log_tables():
        if table.key not in is_now.tables:
            continue
        before, after = was.tables[table.key], is_now.tables[table.key]
        rows = dict(zip(after.numbers, after.rows, strict=True))
        keys = same_columns(table, after.table)
        for position, row in enumerate(before.rows):
            number = before.numbers[position]
            for key, value in row.items():
                now = rows.get(number, {}).get(keys.get(key, ""))
                given = value is None and key == table.key_column.key
                if key in keys and now != value and not given and not _is_id_ahead(table, row, key):
                    place_ = f"{table.sheet}!{before.letters.get(key, '')}{number}"
                    raise EditError(path, place_, f"would become {now!r} instead of {value!r}; nothing was changed.")


def same_columns(old: Table, new: Table) -> dict[str, str]:
    """Key in a newer layout of each column of an older one that is still there: headings are what stays the same."""
    there = {column.heading.casefold(): column.key for column in new.columns}
    return {c.key: there[c.heading.casefold()] for c in old.columns if c.heading.casefold() in there}


def _is_id_ahead(table: Table, row: Mapping[str, Any], key: str) -> bool:
    """Whether a value is the only one of its row, an id: a newer layout takes such a row for one not filled yet."""
    filled = [name for name, value in row.items() if value is not None]
    return filled == [table.key_column.key] == [key]
