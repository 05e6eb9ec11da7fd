"""Mends a log's formulas, lists, names, rules and ids, in place: what people typed stays as they typed it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from workbook_tools.layout import Layout
from workbook_tools.log.checking.broken_formulas import broken_formulas
from workbook_tools.log.checking.current_layout import opened
from workbook_tools.log.checking.reading import ReadLog, read_log
from workbook_tools.log.checking.standing_layout import place
from workbook_tools.log.checking.structure import Structure, structures
from workbook_tools.log.upgrading.log_upgrade import Renewal, prove
from workbook_tools.xlsx.addresses import column_number
from workbook_tools.xlsx.editing.growing import stretch_areas
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit
from workbook_tools.xlsx.opened import Opened
from workbook_tools.xlsx.reading import Archive
from workbook_tools.xlsx.saving.inputs import Seen
from workbook_tools.xlsx.saving.whole_file import save


@dataclass(frozen=True)
class Mended:
    """What was mended in a log, or would be; `content` is None where nothing was to mend."""

    content: bytes | None = None
    changes: tuple[str, ...] = ()
    looks: tuple[str, ...] = ()  # what wants a look afterwards


def mend(file: Path | Opened, layout: Layout, out: Path | None = None) -> tuple[Mended, Path | None]:
    """Mend a log, in place with a dated backup, or into a new file `out`.

    Answers what was done, and the backup. Raises ReadError for what is no case log of this layout, EditError where the
    person has to move or rename something first, SaveError; in all of them the log is as it was.
    """
    log = Opened.of(file)
    path, seen = log.path, Seen(log)
    done = mended(path, log.archive, layout)
    if done.content is None:
        return done, None
    return done, save(path if out is None else out, done.content, replace=out is None, seen=seen, in_place=out is None)


def mended(path: Path, archive: Archive, layout: Layout, read: ReadLog | None = None) -> Mended:
    """A log with everything put right that a spreadsheet or a hand has broken; nothing is written.

    Formulas of all computed columns, rows that have none, results that were typed over, lists and functions by name,
    rules, and ids of rows that were inserted. `read` is what was read of it already.
    """
    edit = opened(path, archive, layout)
    read = read or read_log(path, layout, archive)
    built = structures(archive, (read.tables[table.key] for table in layout.log_tables()))
    changes = [broken.say.removesuffix(" Run workbook-tools mend.") for broken in broken_formulas(edit, layout)]
    changes += _typed_over(read, built)
    _stretch(edit, read, layout, built)
    changes += _ids(edit, read, layout)
    changes += [
        f"{read.tables[key].table.sheet}: the rule of {read.tables[key].table.by_key[name].heading} is there again."
        for key, structure in built.items()
        for name in structure.without_rule
    ]
    changes += [
        f"{read.tables[key].table.sheet}: the table holds {len(structure.bare)} more rows, which are computed now."
        for key, structure in built.items()
        if structure.bare
    ]
    if not changes:
        return Mended()
    standing = place(layout, edit)
    work = Renewal(edit, read, layout, standing, standing, restore=True)
    work.run()
    content = edit.content()
    prove(path, archive, content, layout, layout)
    return Mended(content, tuple(dict.fromkeys(changes)), tuple(work.looks))


def _typed_over(read: ReadLog, built: Mapping[str, Structure]) -> list[str]:
    """What computed cells held that were typed over: the formula comes back, and the number is not lost from sight."""
    said = []
    for key, structure in built.items():
        table = read.tables[key].table
        for number, columns in sorted(structure.without_formula.items()):
            for name in sorted(columns):
                where = f"{table.sheet}!{read.tables[key].letters[name]}{number}"
                said.append(f"{where} ({table.by_key[name].heading}) held no formula; it is computed again.")
    return said


def _stretch(edit: WorkbookEdit, read: ReadLog, layout: Layout, built: Mapping[str, Structure]) -> None:
    """Let tables reach down to the last row that people filled below them."""
    places = {name.casefold(): there for name, there in edit.tables().items()}
    for table in layout.log_tables():
        there = places.get(table.name.casefold())
        bare = built.get(table.key, Structure()).bare
        last = max(bare, default=0)
        if there is not None and last > there.last_row and not there.totals:
            edit.stretch(there, last, there.last_column)
            stretch_areas(edit.rows(there.sheet), there, last)
            edit.formulas_changed = True


def _ids(edit: WorkbookEdit, read: ReadLog, layout: Layout) -> list[str]:
    """Give an id to each row in use that has none, as an inserted row has."""
    said = []
    for table in layout.log_tables():
        held = read.tables[table.key]
        key = table.key_column.key
        without = [position for position, row in enumerate(held.rows) if row[key] is None]
        if not table.gives_ids or not without or key not in held.letters:
            continue
        taken = [*(row[key] for row in held.rows), *held.ahead]
        for position, name in zip(without, table.ids_ahead(taken, len(without)), strict=True):
            edit.put(table.sheet, held.numbers[position], column_number(held.letters[key]), name)
            held.rows[position][key] = name
            said.append(f"{table.sheet} row {held.numbers[position]}: the new id {name}; it had none.")
    return said
