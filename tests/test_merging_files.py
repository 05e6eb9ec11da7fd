"""Merging whole files: what is written into a log that people have rearranged, and a merge that is killed half way."""

from __future__ import annotations

import copy
import datetime
import errno
import io
import json
import os
import random
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import time
import zipfile
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from click.testing import CliRunner, Result
from openxml_audit import OpenXmlValidator

from demo.practice import practice
from tests.support.kitchen_sink import DIARY
from tests.support.office import Office
from tests.test_built_files import Package
from tests.test_check import Data, clean, fish, site
from tests.test_editing import sink
from tests.test_log_agrees import differences, opened, stored
from workbook_tools.cli.main import cli
from workbook_tools.errors import ReadError
from workbook_tools.layout import case_log, load
from workbook_tools.log.building.bench import build_bench
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.log_check import Finding, check_log
from workbook_tools.log.checking.reading import read_log
from workbook_tools.log.merging.matching import alike, merged_columns
from workbook_tools.log.merging.merging_files import MergedFile, merge_files
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit

LAYOUT = case_log()
MOMENT = datetime.datetime(2026, 11, 25, 9, 30)
LATER = datetime.datetime(2026, 12, 1, 8, 0)
SHEET = "Merge conflicts"


BUILT: dict[tuple[str, int], bytes] = {}


def made(path: Path, data: Data, rows: int = 12) -> Path:
    key = repr(data), rows
    BUILT[key] = BUILT.get(key) or build_log(LAYOUT, data, rows=rows)
    path.write_bytes(BUILT[key])
    return path


def changed(data: Data, table: str, row: int, **cells: Any) -> Data:
    other = copy.deepcopy(data)
    other[table][row] |= cells
    return other


def merged_file(log: Path, *copies: Path, base: Path | None = None, moment: datetime.datetime = MOMENT) -> MergedFile:
    return merge_files(log, copies, LAYOUT, moment, base)


def by_id(path: Path) -> dict[str, Counter[tuple[Any, ...]]]:
    """Rows of every table, wherever they stand."""
    found = {}
    for key, table in read_log(path, LAYOUT).tables.items():
        columns = merged_columns(table.table)
        found[key] = Counter(tuple(alike(c, row[c.key]) for c in columns) for row in table.rows)
    return found


def said(path: Path) -> Counter[tuple[Any, ...]]:
    """What the check finds, wherever the rows stand."""

    def what(finding: Finding) -> tuple[Any, ...]:
        value = finding.value
        return finding.sheet, finding.column, finding.code, float(f"{value:.9g}") if isinstance(value, float) else value

    return Counter(what(finding) for finding in check_log(path, LAYOUT).findings)


def audited(path: Path) -> Counter[str]:
    return Counter(f"{e.part_uri} {e.description}" for e in OpenXmlValidator().validate(path).errors)


def lines(path: Path) -> list[list[Any]]:
    """Lines of the sheet of conflicts."""
    sheet = openpyxl.load_workbook(path)[SHEET]
    rows = [[cell.value for cell in row] for row in sheet.iter_rows(min_row=6)]
    return [row for row in rows if any(value is not None for value in row)]


# ---------------------------------------------------------------------------------- three copies of the demo log

# J27: somebody's own cell in a row that is empty but for it
OWN = {"C5": "My remark", "C6": "bring boots", "J5": "My mark", "J27": "keep free"}
NEW_FISH = {"fish": "F0155", "bath": "B047", "weight": 5400, "length": 93.5}


@pytest.fixture(scope="module")
def demo(tmp_path_factory: pytest.TempPathFactory, office: Office) -> dict[str, Path]:
    """The office computer's log, rearranged and typed into by LibreOffice; a tablet's; one that a producer sent back.

    `wanted` is a log built from what the merged one must hold.
    """
    folder = tmp_path_factory.mktemp("demo")
    data = practice()
    base = made(folder / "base.xlsx", data, rows=40)
    end = {key: list(LAYOUT.tables[key].letters.values())[-1] for key in ("fish", "losses")}
    office.rearrange(
        base,
        [
            {"sheet": "Fish", "do": "sort", "cells": f"A6:{end['fish']}159", "column": 0, "descending": True},
            {"sheet": "Losses", "do": "sort", "cells": f"A6:{end['losses']}82", "column": 3, "descending": True},
            {"sheet": "Baths", "do": "move", "column": "F", "before": "B"},
            {"sheet": "Fish", "do": "hide", "column": "E"},
            {"sheet": "Visits", "do": "insert", "before": "C"},
            {"sheet": "Visits", "do": "insert", "before": "J"},
            *({"sheet": "Visits", "do": "enter", "cell": cell, "text": text} for cell, text in OWN.items()),
            {"sheet": "Stocks", "do": "enter", "cell": "G6", "text": "6150"},
        ],
        folder / "office.xlsx",
    )
    tablet = changed(changed(data, "stocks", 0, number=6100), "visits", 20, findings="All of them in good order.")
    tablet["fish"].append(dict(NEW_FISH))
    tablet["baths"][46]["drug_weighed"] = 21.6
    tablet["visits"].append({"visit": "V022", "date": 46360.0, "site": "S01", "notes": "=new"})
    made(folder / "tablet.xlsx", tablet, rows=40)
    day = {"A83": "D0078", "B83": "2026-08-29", "C83": "K02", "D83": "4", "G83": "15.3"}
    office.type_into(base, {"Losses": day | {"E82": "oxygen"}}, folder / "back.xlsx")
    wanted = copy.deepcopy(tablet)
    wanted["stocks"][0]["number"] = 6150
    wanted["losses"][76]["cause"] = "oxygen"
    wanted["losses"].append({"day": "D0078", "date": 46263.0, "stock": "K02", "dead": 4, "temperature": 15.3})
    made(folder / "wanted.xlsx", wanted, rows=40)
    done = merged_file(folder / "office.xlsx", folder / "tablet.xlsx", folder / "back.xlsx")
    (folder / "merged.xlsx").write_bytes(done.content)
    return {path.stem: path for path in folder.glob("*.xlsx")}


def test_the_merged_demo_log_holds_what_it_must(demo: dict[str, Path]) -> None:
    assert by_id(demo["merged"]) == by_id(demo["wanted"])


def test_the_conflicts_of_the_demo_are_listed(demo: dict[str, Path]) -> None:
    """The number of K01 was changed in the office and on the tablet; what came back has the old one."""
    why = "another value than in the log"
    assert lines(demo["merged"]) == [
        [MOMENT, "back.xlsx", "Stocks", "K01", 6, "Number of fish", 6150, 6200, why],
        [MOMENT, "tablet.xlsx", "Stocks", "K01", 6, "Number of fish", 6150, 6100, why],
    ]


def test_a_base_knows_which_number_is_the_old_one(demo: dict[str, Path]) -> None:
    done = merged_file(demo["office"], demo["tablet"], demo["back"], base=demo["base"])
    assert [(Path(c.file).name, c.other) for c in done.merged.conflicts] == [("tablet.xlsx", 6100)]


def test_the_merged_demo_log_is_checked_like_one_built_from_it(demo: dict[str, Path]) -> None:
    """The same findings, and no stored result that its row does not give."""
    found = said(demo["merged"])
    assert found == said(demo["wanted"])
    assert not {code for _, _, code, _ in found} & {"result-differs", "results-not-stored", "heading-missing"}


def test_libreoffice_computes_what_is_stored(demo: dict[str, Path], tmp_path: Path, office: Office) -> None:
    content = demo["merged"].read_bytes()
    mine, other = stored(content), opened(content, tmp_path, office)
    assert len(mine) > 10_000
    assert differences(mine, other) == []
    assert SHEET not in {name for name, _ in mine}


def test_what_people_added_to_the_demo_log_stays(demo: dict[str, Path]) -> None:
    before, after = (Package(demo[name].read_bytes()) for name in ("office", "merged"))
    assert {place: after.cells("Visits")[place].value for place in OWN} == OWN
    assert after.cells("Visits")["A27"].value == "V022"  # in the row that had its id, somebody's own cell beside it
    assert after.cells("Visits")["A28"].value == "V023"
    headings = [
        Package(demo[name].read_bytes()).cells("Baths")[f"{c}5"].value for name in ("office", "merged") for c in "ABC"
    ]
    assert headings[:3] == headings[3:] == ["Bath", "Agent", "Bath visit"]
    hidden = [node.get("min") for node in after.sheet("Fish").iter() if node.get("hidden") in ("1", "true")]
    assert "5" in hidden
    changed = {name for name, part in before.sheets.items() if after.parts[after.sheets[name]] != before.parts[part]}
    # The Plan shows the check of its visit's bath, which now says that the drug weighed is not the drug to weigh.
    # LibreOffice saved it, so that every table of the log is mended on the way; lists and pages without changes stay.
    assert changed == {table.sheet for table in LAYOUT.log_tables()} | {"Start", "Plan", "Summary", "Charts"}
    assert after.cells("Plan")["M8"].value != before.cells("Plan")["M8"].value


def test_merging_the_demo_again_writes_nothing(demo: dict[str, Path]) -> None:
    done = merged_file(demo["merged"], demo["back"], demo["tablet"], moment=LATER)
    assert not done.differs
    assert [c.column for c in done.merged.conflicts] == ["Number of fish"] * 2


def test_the_order_of_the_files_does_not_matter(demo: dict[str, Path]) -> None:
    done = merged_file(demo["office"], demo["back"], demo["tablet"])
    assert done.content == demo["merged"].read_bytes()


def test_with_the_base_the_demo_has_a_changed_cell(demo: dict[str, Path]) -> None:
    """The tablet changed the number of K01, the base log did not."""
    done = merged_file(demo["base"], demo["tablet"], demo["back"], base=demo["base"])
    assert [(c.id, c.column, c.before, c.after) for c in done.merged.changed] == [
        ("K01", "Number of fish", 6200.0, 6100.0)
    ]
    assert done.merged.conflicts == []
    assert SHEET not in WorkbookEdit(done.content).sheet_names


# --------------------------------------------------------------------------------------------------- small logs


def small(folder: Path, *datas: Data) -> list[Path]:
    return [made(folder / f"{name}.xlsx", data) for name, data in zip(("log", "one", "two"), datas, strict=False)]


def kept(folder: Path, done: MergedFile) -> Path:
    path = folder / "merged.xlsx"
    path.write_bytes(done.content)
    return path


def test_a_log_built_by_these_tools_passes_the_audit_after_a_merge(tmp_path: Path) -> None:
    other = changed(clean(), "fish", 0, weight=311)
    other["losses"] += [{"day": f"D{n:04d}", "date": 46100.0 + n, "stock": "K01", "dead": n} for n in range(5, 40)]
    log, one = small(tmp_path, clean(), other)
    path = kept(tmp_path, merged_file(log, one))
    assert audited(path) == Counter()
    found = read_log(path, LAYOUT).tables["losses"]
    assert found.numbers == list(range(6, 6 + 39))
    assert stored(path.read_bytes()).keys() >= {("Losses", f"M{row}") for row in found.numbers}
    assert said(path) == said(made(tmp_path / "wanted.xlsx", changed(other, "fish", 0, weight=310.5)))


def test_a_log_saved_by_libreoffice_gets_no_fault_from_a_merge(tmp_path: Path, office: Office) -> None:
    log, one = small(tmp_path, clean(), changed(changed(clean(), "fish", 0, weight=311), "visits", 0, findings="well"))
    saved = office.convert(log, tmp_path / "saved.xlsx", "xlsx")
    done = merged_file(saved, one)
    assert (len(done.merged.conflicts), len(done.merged.filled)) == (1, 1)
    assert not audited(kept(tmp_path, done)) - audited(saved)


def test_a_log_with_about_everything_in_it_keeps_everything(tmp_path: Path, office: Office) -> None:
    """Text box, picture, chart, slicer, sparklines, notes, own column: all parts but those that a merge concerns."""
    other = changed(changed(changed(clean(), "fish", 0, weight=311), "visits", 0, findings="well"), "baths", 1, used=28)
    other["sites"].append(site("S03", "Willow lake", "pond", "no"))
    other["baths"][1]["drug_weighed"] = 3.75
    other["losses"] += [{"day": f"D{n:04d}", "date": 46100.0 + n, "stock": "K01", "dead": n} for n in range(5, 20)]
    log = tmp_path / "log.xlsx"
    log.write_bytes(sink())
    done = merged_file(log, made(tmp_path / "one.xlsx", other))
    path = kept(tmp_path, done)
    assert {(c.column, c.other) for c in done.merged.conflicts} == {("Weight g", 311), ("Water used L", 28)}
    assert audited(path) == audited(log) == Counter()
    before, after = Package(sink()), Package(done.content)
    new = {after.sheets[SHEET]}
    names = ("Start", "Sites", "Stocks", "Visits", "Baths", "Losses", "Treatments", "Plan", "Summary", "Charts")
    touched = {before.sheets[name] for name in names}
    common = {"[Content_Types].xml", "xl/workbook.xml", "xl/_rels/workbook.xml.rels", "xl/sharedStrings.xml"}
    tables = {"xl/tables/table10.xml"}  # of Losses, which grew
    differing = {n for n in before.parts.keys() | after.parts.keys() if before.parts.get(n) != after.parts.get(n)}
    assert differing - touched == new | common | tables | {"xl/styles.xml", "xl/calcChain.xml"}
    assert b"<t>green &amp; white</t>" in after.parts[after.sheets["Sites"]]
    mine, theirs = stored(done.content), opened(done.content, tmp_path, office)
    ours = [{place: value for place, value in found.items() if place[0] != DIARY} for found in (mine, theirs)]
    assert differences(*ours) == []


def test_merging_with_itself_gives_the_same_bytes(tmp_path: Path) -> None:
    (log,) = small(tmp_path, clean())
    done = merged_file(log, log)
    assert done.content == log.read_bytes()
    assert done.merged.conflicts == done.merged.remarks == []


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@SUM(1)", "=cmd|'/c x'!A1"])
def test_text_that_looks_like_a_formula_stays_text(text: str, tmp_path: Path) -> None:
    one = changed(changed(clean(), "visits", 0, findings=text), "visits", 1, findings=text)
    log, one_path = small(tmp_path, clean(), one)
    package = Package(merged_file(log, one_path).content)
    cells = [c for name in ("Visits", SHEET) for c in package.cells(name).values() if c.value == text]
    assert [(c.kind, c.formula) for c in cells] == [("s", None)] * 2


def test_dates_and_times_on_the_list_look_like_them(tmp_path: Path) -> None:
    one = changed(changed(clean(), "fish", 0, working=0.42), "stocks", 0, as_of=46100.0)
    log, path = small(tmp_path, clean(), one)
    found = {line[5]: line[7] for line in lines(kept(tmp_path, merged_file(log, path)))}
    working = datetime.timedelta(hours=10, minutes=4, seconds=48)  # shown so because it may be a stopwatch's
    assert found == {"Working stage": working, "Counted on": datetime.datetime(2026, 3, 19)}


def test_new_conflicts_go_below_the_old_ones(tmp_path: Path) -> None:
    """A line is not listed twice, what somebody wrote beside it stays, and the new one looks the same."""
    log, one, two = small(
        tmp_path, clean(), changed(clean(), "fish", 0, weight=311), changed(clean(), "fish", 0, working=0.42)
    )
    first = kept(tmp_path, merged_file(log, one))
    edit = WorkbookEdit(first.read_bytes())
    edit.put(SHEET, 6, 11, "asked the tablet's owner")
    first.write_bytes(edit.content())
    done = merged_file(first, one, two, moment=LATER)
    assert done.newly_listed == 1
    found = lines(kept(tmp_path, done))
    assert [(line[0], line[1], line[5]) for line in found] == [
        (MOMENT, "one.xlsx", "Weight g"), (LATER, "two.xlsx", "Working stage"),
    ]  # fmt: skip
    assert found[0][10] == "asked the tablet's owner"
    assert found[1][7] == datetime.timedelta(hours=10, minutes=4, seconds=48)
    assert audited(tmp_path / "merged.xlsx") == Counter()
    assert not merged_file(tmp_path / "merged.xlsx", two, one).differs


def test_a_sheet_of_that_name_that_is_somebodys_own(tmp_path: Path) -> None:
    log, one = small(tmp_path, clean(), changed(clean(), "fish", 0, weight=311))
    book = openpyxl.load_workbook(log)
    book.create_sheet(SHEET)["A1"] = "with the neighbours, over water"
    book.save(log)
    found = openpyxl.load_workbook(kept(tmp_path, merged_file(log, one)))
    assert found[SHEET]["A1"].value == "with the neighbours, over water"
    assert found[f"{SHEET} (2)"]["F6"].value == "Weight g"


@pytest.mark.parametrize(("result", "reason"), [(' t="str"><f>IF(1=2,"x","")</f><v></v>', "formula"),
                                                ('><f>IF(1=2,"x","")</f>', "cell-differs")])  # fmt: skip
def test_a_cell_with_a_formula_is_not_typed_over(result: str, reason: str, tmp_path: Path) -> None:
    """Neither where it shows nothing, nor where it was never computed, which is no blank."""
    log, one = small(tmp_path, clean(), changed(clean(), "visits", 0, findings="all well"))
    column = LAYOUT.tables["visits"].letters["findings"]
    log.write_bytes(with_cell(log.read_bytes(), "Visits", f"{column}6", f'<c r="{column}6"{result}</c>'))
    done = merged_file(log, one)
    assert [(c.column, c.other, c.reason) for c in done.merged.conflicts] == [
        ("Findings in a sentence", "all well", reason)
    ]
    assert done.merged.filled == []


def test_an_emptied_cell_that_holds_a_formula_in_the_log_is_listed(tmp_path: Path) -> None:
    base, one = small(tmp_path, changed(clean(), "visits", 0, findings="all well"), changed(clean(), "visits", 0))
    column = LAYOUT.tables["visits"].letters["findings"]
    cell = f'<c r="{column}6" t="str"><f>"all "&amp;"well"</f><v>all well</v></c>'
    log = tmp_path / "computed.xlsx"
    log.write_bytes(with_cell(base.read_bytes(), "Visits", f"{column}6", cell))
    done = merged_file(log, one, base=base)
    assert [(c.kept, c.other, c.reason) for c in done.merged.conflicts] == [("all well", None, "formula")]
    assert done.merged.changed == []


def with_cell(content: bytes, sheet: str, address: str, cell: str) -> bytes:
    """A workbook with one of its cells written anew."""
    part = Package(content).sheets[sheet]
    target = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(content)) as old, zipfile.ZipFile(target, "w") as new:
        for name in old.namelist():
            text = old.read(name)
            if name == part:
                there = rf'<c r="{address}"(?:[^>]*/>|(?:[^>]*[^/])?>.*?</c>)'.encode()
                text, count = re.subn(there, cell.encode(), text)
                assert count == 1
            new.writestr(name, text)
    return target.getvalue()


def test_rows_that_only_somebodys_own_formulas_fill_are_empty(tmp_path: Path) -> None:
    """An id that was not given in advance goes there, and no further than to the first row with nothing beside it."""
    other = clean()
    other["losses"].append({"day": "D0005T", "date": 46100.0, "stock": "K01"})
    log, one = small(tmp_path, clean(), other)
    edit = WorkbookEdit(log.read_bytes())
    column = len(LAYOUT.tables["losses"].columns) + 3
    edit.put("Losses", 10, column, 1)
    content = edit.content()
    address = f"{letter(column)}10"
    log.write_bytes(with_cell(content, "Losses", address, f'<c r="{address}"><f>ROW()</f><v>10</v></c>'))
    assert read_log(kept(tmp_path, merged_file(log, one)), LAYOUT).tables["losses"].numbers == [6, 7, 8, 9, 10]
    log.write_bytes(content)
    assert read_log(kept(tmp_path, merged_file(log, one)), LAYOUT).tables["losses"].numbers == [6, 7, 8, 9, 11]


def test_a_list_without_room_says_so(tmp_path: Path) -> None:
    """The words of a list that formulas rest on have no further row."""
    other = clean() | {"gill_colours": [{"value": "red"}, {"value": "violet"}]}
    log, one = small(tmp_path, clean(), other)
    data = clean() | {"gill_colours": [{"value": w} for w in ("red", "pale", "brown", "mottled", "white patches")]}
    made(log, data)
    done = merged_file(log, one)
    assert [(c.sheet, c.id, c.other, c.reason) for c in done.merged.conflicts] == [
        ("Lists", "violet", "violet", "no-room")
    ]
    assert done.merged.added == []
    assert not merged_file(kept(tmp_path, done), one).differs


def test_a_sheet_that_is_no_table_any_more_takes_no_rows(tmp_path: Path) -> None:
    """Turned into plain cells by somebody: formulas and rules would not reach a new row."""
    other = clean()
    other["losses"].append({"day": "D0005", "date": 46100.0, "stock": "K01"})
    log, one = small(tmp_path, clean(), other)
    book = openpyxl.load_workbook(log)
    del book["Losses"].tables["Losses"]
    book.save(log)
    done = merged_file(log, one)
    assert [(c.column, c.other, c.reason) for c in done.merged.conflicts] == [
        ("Day", 46100.0, "no-room"), ("Losses stock", "K01", "no-room"),
    ]  # fmt: skip
    mended, lost = [note.say for note in done.merged.remarks]
    assert mended.startswith("Its formulas could not be mended: ")
    assert lost == "Its sheet Losses has lost its table Losses: no rows can be added to it."


def test_rows_fill_ids_given_in_advance_and_empty_rows(tmp_path: Path) -> None:
    data = clean()
    data["losses"] = [*data["losses"][:2], {}, {}, {"day": "north pen"}]
    other = clean()
    other["losses"] = [other["losses"][0], *other["losses"][2:], {"day": "x1", "date": 46100.0, "stock": "K01"}]
    log, one = small(tmp_path, data, other)
    assert read_log(log, LAYOUT).tables["losses"].ahead == {
        "D0003": 8, "D0004": 9, "north pen": 10, **{f"D{n:04d}": n + 6 for n in range(5, 12)},
    }  # fmt: skip
    done = merged_file(log, one)
    read = read_log(kept(tmp_path, done), LAYOUT).tables["losses"]
    assert [(n, r["day"], r["dead"]) for n, r in zip(read.numbers, read.rows, strict=True)] == [
        (6, "D0001", 1), (7, "D0002", 0), (8, "D0003", 1), (9, "D0004", 0), (11, "x1", None),
    ]  # fmt: skip
    # a name that somebody typed stays; the id whose row was taken is the next row's
    assert read.ahead == {"north pen": 10, **{f"D{n:04d}": n + 7 for n in range(5, 11)}}
    assert done.merged.conflicts == []
    assert check_log(tmp_path / "merged.xlsx", LAYOUT).findings == []


def test_ids_that_other_rows_name_are_not_lost_for_want_of_rows(tmp_path: Path) -> None:
    """Two looks at the last bath of the sheet, which is yet to be filled, when another bath needs a row."""
    other = clean()
    other["baths"].append({"bath": "B003T", "visit": "V001", "vessel": "T01", "agent": "tricaine methanesulfonate"})
    data = clean()
    data["watch"].append({"look": "L003", "bath": "B012", "time": 0.4})
    log, one = small(tmp_path, data, other)
    done = merged_file(log, one)
    read = read_log(kept(tmp_path, done), LAYOUT).tables["baths"]
    assert dict(zip((row["bath"] for row in read.rows), read.numbers, strict=True))["B003T"] == 8
    assert read.ahead == {**{f"B{n:03d}": n + 6 for n in range(3, 11)}, "B012": 17}
    findings = check_log(tmp_path / "merged.xlsx", LAYOUT).findings
    assert [f.code for f in findings if f.sheet == "Watch"] == ["empty-row"]  # as in the log before: no unknown bath
    assert not [f for f in findings if f.code in ("result-differs", "id-used-twice")]


def test_a_table_that_grew_has_rows_with_ids_to_go_on_with(tmp_path: Path, office: Office) -> None:
    other = clean()
    other["losses"] += [{"day": f"D{n:04d}", "date": 46100.0 + n, "stock": "K01", "dead": n} for n in range(5, 15)]
    other["losses"].append({"day": "x1", "date": 46200.0, "stock": "K01"})
    log, one = small(tmp_path, clean(), other)
    path = kept(tmp_path, merged_file(log, one))
    read = read_log(path, LAYOUT).tables["losses"]
    assert read.numbers == list(range(6, 6 + 15))
    assert read.ahead == {f"D{n:04d}": n + 6 for n in range(15, 35)}
    mine, theirs = stored(path.read_bytes()), opened(path.read_bytes(), tmp_path, office)
    assert ("Losses", "M40") in mine
    assert differences(mine, theirs) == []


def test_remarks_name_what_was_not_merged(tmp_path: Path) -> None:
    log, one = small(tmp_path, clean(), clean())
    book = openpyxl.load_workbook(one)
    del book["Water"]
    book.create_sheet("My notes")["A1"] = "x"
    book["Fish"].insert_cols(3)
    book["Fish"]["C5"], book["Fish"]["C6"], book["Fish"]["C7"] = "My remark", "jumps", "calm"
    book["Losses"]["D5"] = "Dead fish"
    book.custom_doc_props["Layout version"].value = "0"
    book.save(one)
    done = merged_file(log, one)
    assert not done.differs
    assert {note.say for note in done.merged.remarks} == {
        "It is of layout version 0, the log of 3: what both have was merged.",
        "The sheet My notes is in this file alone and was not merged.",
        "The column My remark on Fish is none of a case log's: 2 cells were not merged.",
        "The column Dead fish on Losses is none of a case log's: 4 cells were not merged.",
        "The heading 'Dead' is missing on Losses; its column cannot be read.",
        "The sheet Water is missing; was it renamed or deleted?",
    }


def test_a_log_of_another_version_is_refused(tmp_path: Path) -> None:
    log, one = small(tmp_path, clean(), clean())
    edit = WorkbookEdit(log.read_bytes())
    edit.set_property("Layout version", "0")
    log.write_bytes(edit.content())
    with pytest.raises(ReadError, match=r"log\.xlsx: is of layout version 0, these tools are of"):
        merged_file(log, one)


# -------------------------------------------------------------------------------------------------- the command


def run(*words: object) -> Result:
    return CliRunner().invoke(cli, ["merge", *map(str, words)])


def refused(log: Path, *words: object, says: str) -> None:
    """The command refuses, in these words, and no file of the folder changes."""
    before = {path: path.read_bytes() for path in log.parent.iterdir()}
    done = run(log, *words)
    assert done.exit_code == 2, done.output
    assert says in " ".join(done.output.split())
    assert {path: path.read_bytes() for path in log.parent.iterdir()} == before


def plain(path: Path) -> Path:
    book = openpyxl.Workbook()
    book.active.title = "Prices"
    book.save(path)
    return path


def bench(path: Path) -> Path:
    path.write_bytes(build_bench(load("bench")))
    return path


def torn(path: Path) -> Path:
    path.write_bytes(build_log(LAYOUT, clean(), rows=12)[:3000])
    return path


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (plain, "other.xlsx: is a workbook, but has none of the sheets of a case log."),
        (bench, "other.xlsx: is a workbook, but has none of the sheets of a case log."),
        (torn, "other.xlsx: is not an .xlsx workbook, or is cut short."),
        (lambda path: path, "other.xlsx: there is no such file."),
    ],
)
def test_what_is_no_case_log_is_refused_by_name(make: Callable[[Path], Path], says: str, tmp_path: Path) -> None:
    log, one = small(tmp_path, clean(), changed(clean(), "fish", 0, weight=311))
    other = make(tmp_path / "other.xlsx")
    refused(log, one, other, "--replace", says=says)
    refused(log, one, "--base", other, "--out", tmp_path / "out.xlsx", says=says)


def test_the_command_says_what_it_did(tmp_path: Path) -> None:
    other = changed(changed(clean(), "fish", 0, weight=311), "visits", 0, findings="all well")
    other["sites"].append(site("S03", "Willow lake", "pond", "no"))
    other["fish"].append(fish("", into=0.5) | {"fish": None})
    log, one = small(tmp_path, clean(), other)
    done = run(log, one, "--out", tmp_path / "out")
    assert done.exit_code == 1
    for words in (
        f"Added to Sites: 1 row, S03 from {one}.",
        f"V001, Findings in a sentence: all well, from {one}",
        f"Conflict on Fish, F0001 (row 6 of {one}): Weight g: the log keeps 310.5, the copy has 311",
        f"Conflict on Fish, a row without an id (row 8 of {one}): the row has no id: nothing of it was merged. "
        "The copy has: Fish bath B001",
        "1 row added, 1 cell filled, 0 cells changed, 5 cells in conflict.",
        f"Made {tmp_path / 'out.xlsx'}; 5 new on its sheet Merge conflicts",
    ):
        assert words in done.output
    assert log.read_bytes() == build_log(LAYOUT, clean(), rows=12)
    refused(log, one, "--out", tmp_path / "out.xlsx", says="is there already")
    refused(log, one, says="say where the merged log goes")


def test_replacing_keeps_a_backup_and_once_is_enough(tmp_path: Path) -> None:
    log, one = small(tmp_path, clean(), changed(clean(), "visits", 0, findings="all well"))
    before = log.read_bytes()
    done = run(log, one, "--replace", "--json")
    assert done.exit_code == 0
    answer = json.loads(done.output)
    assert [(c["id"], c["column"], c["after"]) for c in answer["filled"]] == [
        ("V001", "Findings in a sentence", "all well")
    ]
    assert answer["conflicts"] == answer["added"] == answer["changed"] == []
    (backup,) = tmp_path.glob("log.backup-*.xlsx")
    assert backup.read_bytes() == before
    again = run(log, one, "--replace")
    assert again.exit_code == 0
    assert "has all of it already; nothing was written." in again.output
    assert len(list(tmp_path.glob("*.xlsx"))) == 3


def test_a_log_that_is_open_is_left_alone(tmp_path: Path) -> None:
    log, one = small(tmp_path, clean(), changed(clean(), "visits", 0, findings="all well"))
    (tmp_path / ".~lock.log.xlsx#").write_bytes(b"")
    refused(log, one, "--replace", says="is open in a spreadsheet program")


# ---------------------------------------------------------------------------------------------- cut off half way

SERVER = """
import os, pathlib, shutil, signal, sys, tempfile
from workbook_tools.log.merging import merging_files
from workbook_tools.cli.main import cli
from workbook_tools.layout.compute import _programs

def dies(call):
    def counted(*args, **kwargs):
        global calls
        calls += 1
        if calls == dies_at:
            os.kill(os.getpid(), signal.SIGKILL)
        return call(*args, **kwargs)
    return counted

_programs("case-log")
print("ready", flush=True)
for line in sys.stdin:
    first, *words = line.split()
    child = os.fork()
    if not child:
        os.dup2(os.open(os.devnull, os.O_WRONLY), 1)
        calls, dies_at = 0, int(first)
        for name in ("fdopen", "fsync"):
            setattr(os, name, dies(getattr(os, name)))
        for name in ("chmod", "rename", "replace"):
            setattr(pathlib.Path, name, dies(getattr(pathlib.Path, name)))
        tempfile.mkstemp, shutil.copyfileobj = dies(tempfile.mkstemp), dies(shutil.copyfileobj)
        cli(["merge", *words])
    print(child, flush=True)
    sys.stdin.readline()  # until then the child keeps its number, even when it has ended
    print(os.waitpid(child, 0)[1], flush=True)
"""


class Server:
    """Starts the command over and over, each time in a process of its own that can be killed."""

    def __init__(self) -> None:
        root = str(Path(__file__).resolve().parents[1])
        environment = {**os.environ, "PYTHONPATH": root}
        self.process = subprocess.Popen(
            [sys.executable, "-c", SERVER], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, env=environment
        )
        assert self.answer() == "ready"

    def answer(self) -> str:
        assert self.process.stdout is not None
        return self.process.stdout.readline().strip()

    def run(self, words: str, kill_after: float | None = None, dies_at: int = 0) -> int:
        """How the command ended: 0 by itself, 9 killed; after so many seconds, or at one of the calls that write."""
        assert self.process.stdin is not None
        self.process.stdin.write(f"{dies_at} {words}\n")
        self.process.stdin.flush()
        child = int(self.answer())
        if kill_after is not None:
            time.sleep(kill_after)
            os.kill(child, signal.SIGKILL)
        self.process.stdin.write("\n")
        self.process.stdin.flush()
        return int(self.answer())

    def close(self) -> None:
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        self.process.stdin.close()
        self.process.wait(timeout=30)
        self.process.stdout.close()


@pytest.fixture(scope="module")
def server() -> Iterator[Server]:
    running = Server()
    yield running
    running.close()


def quiet_merge(folder: Path) -> tuple[Path, str, bytes, bytes]:
    """A log, the words of the command that merges a copy into it, and the log before and after."""
    other = changed(clean(), "visits", 0, findings="all well")
    other["losses"].append({"day": "D0005", "date": 46100.0, "stock": "K01", "dead": 3})
    log, one = small(folder, clean(), other)
    return log, f"{log} {one} --replace", log.read_bytes(), merged_file(log, one).content


def cleared(log: Path, content: bytes) -> None:
    """The log as it was, without what an earlier run left beside it."""
    kinds = ("log.backup-*", ".log-*", ".log.backup-*", ".log.xlsx.in-use")
    for left in (file for kind in kinds for file in log.parent.glob(kind)):
        left.unlink()
    log.write_bytes(content)


def check_whole(log: Path, old: bytes, new: bytes) -> bool:
    """The log is the old one or the new one, to the byte; whether it is the new one."""
    content = log.read_bytes()
    assert content in (old, new)
    return content == new


def check_both_open(folder: Path, old: bytes, new: bytes) -> None:
    """So that a log that equals one of them is known to open."""
    for content, rows in ((old, 4), (new, 5)):
        path = folder / "opens.xlsx"
        path.write_bytes(content)
        with zipfile.ZipFile(path) as archive:
            assert archive.testzip() is None
        assert len(read_log(path, LAYOUT).tables["losses"].rows) == rows


def test_killed_at_any_moment_the_log_is_old_or_new(tmp_path: Path, server: Server) -> None:
    """100 kills at moments all over the time that the command takes; what they leave behind is in nobody's way."""
    log, words, old, new = quiet_merge(tmp_path)
    check_both_open(tmp_path, old, new)
    moments = random.Random(7)
    longest, killed, states = 0.0, 0, Counter[tuple[bool, int]]()
    while killed < 100:
        if len(states) == 0 or sum(states.values()) % 25 == 0:
            cleared(log, old)
            begin = time.monotonic()
            assert server.run(words) == 0
            longest = time.monotonic() - begin
            assert check_whole(log, old, new)
        cleared(log, old)
        ended = server.run(words, moments.uniform(0, longest))
        assert ended in (0, signal.SIGKILL)
        states[check_whole(log, old, new), ended] += 1
        killed += ended == signal.SIGKILL
        assert sum(states.values()) < 400, states
    log.write_bytes(old)
    assert server.run(words) == 0
    assert log.read_bytes() == new


def test_killed_at_each_call_that_writes_the_log_is_old_or_new(tmp_path: Path, server: Server) -> None:
    log, words, old, new = quiet_merge(tmp_path)
    states = []
    for number in range(1, 12):
        cleared(log, old)
        ended = server.run(words, dies_at=number)
        states.append((ended, check_whole(log, old, new)))
    # the new file is made, written and synced, the old one copied, synced and named, the folder synced; the name
    # changed, the folder synced again
    before, after = [(signal.SIGKILL, False)] * 9, [(signal.SIGKILL, True), (0, True)]
    assert states == before + after


class Faults:
    """Lets one of the calls that write fail as on a full disk: the n-th of all."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch, fails_at: int | None) -> None:
        self.calls: list[str] = []
        self.fails_at = fails_at
        for place, name in (
            (tempfile, "mkstemp"),
            (os, "fsync"),
            (shutil, "copyfileobj"),
            (Path, "chmod"),
            (Path, "rename"),
            (Path, "replace"),
        ):
            monkeypatch.setattr(place, name, self.watched(name, getattr(place, name)))
        opens = os.fdopen
        monkeypatch.setattr(os, "fdopen", lambda *args, **kwargs: _Watched(self, opens(*args, **kwargs)))

    def count(self, name: str) -> None:
        self.calls.append(name)
        if len(self.calls) - 1 == self.fails_at:
            raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    def watched(self, name: str, call: Callable[..., Any]) -> Callable[..., Any]:
        def counted(*args: Any, **kwargs: Any) -> Any:
            self.count(name)
            return call(*args, **kwargs)

        return counted


class _Watched:
    """An open file whose writing calls are counted."""

    def __init__(self, faults: Faults, file: Any) -> None:
        self.faults, self.file = faults, file

    def __enter__(self) -> _Watched:
        return self

    def __exit__(self, *_: object) -> None:
        self.file.close()

    def __getattr__(self, name: str) -> Any:
        call = getattr(self.file, name)
        return self.faults.watched(name, call) if name in ("write", "flush") else call


def test_whichever_write_call_fails_the_log_is_whole(tmp_path: Path) -> None:
    log, words, old, new = quiet_merge(tmp_path)
    with pytest.MonkeyPatch.context() as patch:
        calls = Faults(patch, None).calls
        assert run(*words.split()).exit_code == 0
    expected = ["mkstemp", "write", "flush", "fsync", "chmod", "copyfileobj", "fsync", "rename", "fsync"]
    expected += ["replace", "fsync"]
    assert calls == expected
    syncs_of_folder = (len(expected) - 3, len(expected) - 1)
    for number, name in enumerate(expected):
        cleared(log, old)
        with pytest.MonkeyPatch.context() as patch:
            Faults(patch, number)
            done = run(*words.split())
        if number in syncs_of_folder:  # the folder is synced where a system can
            assert (done.exit_code, log.read_bytes()) == (0, new)
            continue
        assert done.exit_code == 2, (name, done.output)
        assert "No space left on device" in done.output
        assert log.read_bytes() == old
        kept = [path.read_bytes() for path in tmp_path.glob(".log-*")]
        assert kept == ([new] if name == "replace" else [])
        assert list(tmp_path.glob("log.backup-*")) == []
