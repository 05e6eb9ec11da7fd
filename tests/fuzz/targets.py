"""What an input is tried on: it works, or an error of the tools says why not; any other exception comes through."""

from __future__ import annotations

import datetime
import warnings
from pathlib import Path

from lxml import etree

from tests.support.hostile import good, parts_of
from workbook_tools.errors import WorkbookToolsError
from workbook_tools.layout import case_log
from workbook_tools.log.checking.log_check import check_log
from workbook_tools.log.checking.reading import ReadLog, read_log
from workbook_tools.log.merging.merging_files import merge_files
from workbook_tools.producer.audit import audit_content
from workbook_tools.producer.returned_rows import identity
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit
from workbook_tools.xlsx.reading import admitted, foreign_in
from workbook_tools.xlsx.reading.archive import Archive

MOMENT = datetime.datetime(2026, 7, 1, 12)


def door(content: bytes, folder: Path) -> bool:
    """The door alone; whether the input was let in. Everything that was let in is unpacked."""
    del folder
    try:
        admitted("input", content)
        foreign_in(Archive(content, "input"))
    except WorkbookToolsError:
        return False
    finally:
        identity(content)
    return True


def parts(content: bytes, folder: Path) -> bool:
    """The door, and the cells of every sheet of a log behind it: with all results, and shortened.

    Of markup that is not broken both give the same; where it is, the reader of values finds its way or not.
    """
    path = folder / "input.xlsx"
    path.write_bytes(content)
    found: list[ReadLog | None] = []
    for results in (True, False):
        try:
            found.append(read_log(path, case_log(), results=results))
        except WorkbookToolsError:
            found.append(None)
    whole, short = found
    if whole is not None and all(map(_is_markup, parts_of(content).items())):
        assert short is not None, "refused when shortened alone"
        for key, table in whole.tables.items():
            other = short.tables[key]
            assert (table.rows, table.numbers, table.ahead) == (other.rows, other.numbers, other.ahead), (
                f"{key} differs"
            )
        assert whole.remarks == short.remarks
    return whole is not None


def _is_markup(part: tuple[str, bytes]) -> bool:
    name, content = part
    if not name.endswith((".xml", ".rels")):
        return True
    try:
        etree.fromstring(content, etree.XMLParser(resolve_entities=False, huge_tree=True))
    except etree.XMLSyntaxError:
        return False
    return True


def reading(content: bytes, folder: Path) -> bool:
    """check, as the command does it."""
    path = folder / "input.xlsx"
    path.write_bytes(content)
    try:
        check_log(path, case_log())
    except WorkbookToolsError:
        return False
    return True


def editing(content: bytes, folder: Path) -> bool:
    """merge in both directions; what comes out can be read and opened again."""
    path, log = folder / "input.xlsx", folder / "log.xlsx"
    path.write_bytes(content)
    log.write_bytes(good())
    worked = True
    for own, other in ((log, path), (path, log)):
        try:
            done = merge_files(own, [other], case_log(), MOMENT)
        except WorkbookToolsError:
            worked = False
        else:
            out = folder / "out.xlsx"
            out.write_bytes(done.content)
            admitted(out)
            read_log(out, case_log())
            WorkbookEdit(done.content, out)
    return worked


def sharing(content: bytes, folder: Path) -> bool:
    """audit against a good log."""
    log = folder / "log.xlsx"
    log.write_bytes(good())
    try:
        audit_content(content, read_log(log, case_log()).computed(), "S01", "input")
    except WorkbookToolsError:
        return False
    return True


TARGETS = {"door": door, "parts": parts, "reading": reading, "editing": editing, "sharing": sharing}
warnings.simplefilter("error")  # as in every test
