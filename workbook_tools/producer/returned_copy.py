"""A copy that came back, as merging reads it: the daily rows of its own site, and what else is to be said of it."""

from __future__ import annotations

import re
from collections.abc import Collection, Iterator
from dataclasses import dataclass
from pathlib import Path

from workbook_tools.errors import ReadError
from workbook_tools.layout import Layout
from workbook_tools.layout.ids import id_key
from workbook_tools.log.checking.reading import ReadLog, ReadTable
from workbook_tools.log.merging.merged import Note
from workbook_tools.producer.returned_rows import DailyRow, Returned, returned_rows
from workbook_tools.xlsx.opened import Opened

LOSSES = "losses"
ROW_NAME = re.compile(r"(.+)-\d{10}-")  # of a daily sheet's rows: site, when the copy was made, number
UNVERIFIED = "Where this copy is from cannot be verified: the log was made before logs had a key for seals."
SHOWN = 80  # characters of a changed text


@dataclass(frozen=True)
class TakenBack:
    """Rows to merge into the log, and what a person must know of the copy they came from.

    `whole` : everything on its daily sheet could be read and is among the rows.
    """

    log: ReadLog
    notes: tuple[Note, ...]
    whole: bool


def taken_back(
    copy: Path | Opened, layout: Layout, own: ReadLog, key: str = "", confirmed: Collection[str] = ()
) -> TakenBack:
    """Read a producer's copy for a merge into a log.

    Parameters
    ----------
    copy : the file that came back.
    layout : the case log's layout.
    own : the log that it goes into.
    key : the log's, with which it seals its copies; empty where it has none.
    confirmed : ids of sites of which a person has said that the copy is theirs, whatever speaks against it.

    Returns
    -------
    The daily rows whose group belongs to the copy's own site, as a log that holds nothing else; notes on everything
    that is not merged: rows of other groups, edits to the veterinarian's pages, what could not be read.

    Raises
    ------
    ReadError : the copy cannot be read, or does not say that it is one; or something speaks against its being the copy
        of the site that it names, and nobody has confirmed it.
    """
    copy = Opened.of(copy)
    found, path = returned_rows(copy, layout), copy.path
    file = str(path)
    notes = [
        Note(file, f"{remark.place}: {remark.say}" if remark.place.sheet else remark.say) for remark in found.remarks
    ]
    whole = not any(remark.severity == "fault" for remark in found.remarks)
    notes += _origin(path, found, key, confirmed)
    notes += _changes(file, found)
    sites = {id_key(row["site"]) for row in own.tables["sites"].rows if row["site"] is not None}
    groups = {
        id_key(row["stock"]): id_key(row["site"]) for row in own.tables["stocks"].rows if row["stock"] is not None
    }
    table = layout.tables[LOSSES]
    read = ReadTable(table, {column.key: table.letters[column.key] for column in table.typed})
    if id_key(found.site) not in sites:
        notes.append(Note(file, f"It is a copy for site {found.site}, which the log does not have: no row was merged."))
        whole = False
        found.rows.clear()
    for number, row in enumerate(found.rows, start=table.first_row):
        stock = row.values.get("stock")
        if groups.get(id_key(stock)) != id_key(found.site):
            say = f"The row {_name(row)} is of group {stock}, which is none of site {found.site}: not merged."
            notes.append(Note(file, say))
            whole = False
            continue
        values = {column.key: row.values.get(column.key) for column in table.typed}
        read.rows.append(values | {table.key_column.key: row.name})
        read.numbers.append(number)
    tables = {key: ReadTable(one) for key, one in layout.tables.items() if not one.key_source} | {LOSSES: read}
    return TakenBack(ReadLog(file, layout, tables, []), tuple(notes), whole)


def _origin(path: Path, found: Returned, key: str, confirmed: Collection[str]) -> Iterator[Note]:
    """What is to be said of where a copy is from; ReadError where it may be another site's and nobody has confirmed."""
    doubt = _doubt(found, key)
    if doubt and id_key(found.site) not in {id_key(site) for site in confirmed}:
        raise ReadError(
            path,
            f"{doubt} Nothing was merged. If you know that it is the copy of site {found.site}, say --confirm-site "
            f"{found.site}.",
        )
    if doubt:
        yield Note(str(path), f"{doubt} It was taken because you confirmed site {found.site}.")
    elif not key:
        yield Note(str(path), UNVERIFIED)


def _doubt(found: Returned, key: str) -> str:
    """What speaks against a copy's being that of the site it names; nothing where its seal or its rows' ids agree."""
    if key:
        if found.identity.is_sealed_with(key):
            return ""
        broken = "its seal is not the one that this log gave" if found.identity.seal else "it has no seal of this log"
        return (
            f"says that it is the copy for site {found.site}, but {broken}: the site or the day it was made was "
            "changed, or another log made it, or this one before it had a key."
        )
    others = {match[1] for row in found.rows if (match := ROW_NAME.match(row.name or ""))} - {None}
    strange = sorted(site for site in others if id_key(site) != id_key(found.site))
    if strange:
        return f"says that it is the copy for site {found.site}, but its rows have the ids of {', '.join(strange)}."
    return ""


def _changes(file: str, found: Returned) -> Iterator[Note]:
    """Edits to the veterinarian's pages: listed, never applied."""
    for change in found.changed:
        text = " | ".join(text for text in change.texts if text)
        now = f", now: {text[:SHOWN]}{'...' if len(text) > SHOWN else ''}" if text else ""
        yield Note(file, f"{change.place}: this row of your pages was {change.what}{now}. Not applied.")


def _name(row: DailyRow) -> str:
    place = next(iter(row.places.values()), None)
    return f"{row.name or 'without an id'} ({place})" if place else str(row.name)
