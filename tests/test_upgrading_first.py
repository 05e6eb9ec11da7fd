"""A log of layout 1 brought to the layout of today, the pair that people have: equal to a log built today."""

from __future__ import annotations

import io
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import python_calamine
from hypothesis import HealthCheck, Phase, example, given, settings
from hypothesis import strategies as st

from demo.practice import practice
from tests.support.first_version import OLDER, Data, first_log, first_version, older_log
from tests.support.kitchen_sink import DIARY, with_everything
from tests.support.office import Office
from tests.test_built_files import Package
from tests.test_check import ROWS, clean, day
from tests.test_editing import cells, complaints
from tests.test_upgrading import computed_alike, package_formula, stored
from workbook_tools.layout import Column, Layout, Table, case_log, load
from workbook_tools.layout.compute import Computed
from workbook_tools.log.building.boards import ASKED_COLUMN, ASKED_ROW, board_results
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.log_check import check_log
from workbook_tools.log.checking.reading import read_log
from workbook_tools.log.upgrading.log_upgrade import Upgrade, same_columns, upgraded
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.editing.workbook_edit import NewColumn, WorkbookEdit

LAYOUT = case_log()


def write(path: Path, done: Upgrade) -> Path:
    assert done.content is not None
    path.write_bytes(done.content)
    return path


def of_today(data: Data) -> Data:
    """Rows of version 1 as today's layout takes them: the same cells under the same headings."""
    rows = {key: [dict(row) for row in table] for key, table in data.items()}
    for fish in rows.get("fish", []):
        fish["other_species"] = fish.pop("species")
    return rows


def lots(data: Data) -> set[tuple[str, int]]:
    """Sheet rows on which a lot was typed."""
    sheets = {"baths": "Baths", "treatments": "Treatments"}
    rows = ((key, number, row) for key in sheets for number, row in enumerate(data.get(key, []), start=6))
    return {(sheets[key], number) for key, number, row in rows if row.get("lot") is not None}


def only_lots_wanting(path: Path, data: Data) -> bool:
    """Whether a check finds that lots are on no Stores sheet, which version 1 did not have, and nothing else."""
    found = check_log(path, LAYOUT).findings
    return {(f.sheet, f.row) for f in found} == lots(data) and {f.code for f in found} == {"not-found"}


@pytest.mark.parametrize("name", ["clean", "demo"])
def test_the_upgraded_log_is_the_log_of_today(name: str, tmp_path: Path, office: Office) -> None:
    """Typed values, results in Python and LibreOffice's results, sheet by sheet and row by row."""
    today = clean() if name == "clean" else practice()
    data = first_version(today)
    path = tmp_path / "log.xlsx"
    path.write_bytes(first_log(today, ROWS))
    done = upgraded(path, LAYOUT)
    new = write(tmp_path / "new.xlsx", done)
    assert (done.before, done.after) == ("1", LAYOUT.version)
    fresh = tmp_path / "fresh.xlsx"
    fresh.write_bytes(build_log(LAYOUT, of_today(data), rows=ROWS))
    was, now = stored(fresh, LAYOUT), stored(new, LAYOUT)
    assert now == was
    found, wanted = check_log(new, LAYOUT), check_log(fresh, LAYOUT)

    def said(checked: Any) -> list[tuple[Any, ...]]:
        return sorted((f.sheet, f.row, f.column, f.code, f.reason, repr(f.value)) for f in checked.findings)

    assert said(found) == said(wanted)
    not_found = {(f.sheet, f.row) for f in found.findings if f.code == "not-found"}
    assert not_found == lots(data)
    assert {f.severity for f in found.findings if f.code == "not-found"} == {"notice"}
    if name == "clean":
        assert {f.code for f in found.findings} == {"not-found"}
    assert computed_alike(new, office) > 3000
    assert complaints(new.read_bytes(), tmp_path) == []
    made, built = Package(new.read_bytes()), Package(fresh.read_bytes())
    assert list(made.sheets) == list(built.sheets) == [sheet.name for sheet in LAYOUT.sheets]
    assert made.names().keys() == built.names().keys()
    for sheet in ("Start", "Calendar", "Plan", "Summary"):
        mine, theirs = cells(new.read_bytes())[sheet], cells(fresh.read_bytes())[sheet]
        filled = [[found for row in rows if (found := [v for v in row if v != ""])] for rows in (mine, theirs)]
        # tables have more empty rows to grow, on which only the number of the row stands
        filled = [[found for found in rows if any(isinstance(value, str) for value in found)] for rows in filled]
        assert filled[0] == filled[1]


def test_the_typed_species_of_fish_stays_and_the_fish_have_it(tmp_path: Path) -> None:
    """The column "Species" of version 1 is the one for fish of another species than their bath's now."""
    data = clean()
    data["fish"][1]["other_species"] = "carp"
    path = tmp_path / "log.xlsx"
    path.write_bytes(first_log(data, ROWS))
    new = write(tmp_path / "new.xlsx", upgraded(path, LAYOUT))
    fish = read_log(new, LAYOUT, results=True).tables["fish"]
    assert [row["other_species"] for row in fish.rows] == ["rainbow trout", "carp"]
    assert [row["species"] for row in fish.stored] == ["rainbow trout", "carp"]
    before = read_log(path, load(OLDER)).tables["fish"]
    assert fish.letters["other_species"] == before.letters["species"]
    assert cells((tmp_path / "new.xlsx").read_bytes())["Fish"][3][2] == "if known"  # was "to fill"
    assert "stopwatch" in cells((tmp_path / "new.xlsx").read_bytes())["Fish"][1][0]


def test_empty_rows_get_their_ids(tmp_path: Path) -> None:
    """Those that a log built today gives, and none beside a row in use that has no id."""
    data = clean()
    del data["losses"][3]["day"]
    path = tmp_path / "log.xlsx"
    path.write_bytes(first_log(data, ROWS))
    new = write(tmp_path / "new.xlsx", upgraded(path, LAYOUT))
    fresh = tmp_path / "fresh.xlsx"
    fresh.write_bytes(build_log(LAYOUT, of_today(first_version(data)), rows=ROWS))
    mine, theirs = read_log(new, LAYOUT), read_log(fresh, LAYOUT)
    for table in LAYOUT.log_tables():
        if table.key in load(OLDER).tables:
            assert mine.tables[table.key].ahead == theirs.tables[table.key].ahead
    assert mine.tables["losses"].ahead["D0004"] == 10
    assert mine.tables["losses"].rows[3]["day"] is None
    assert mine.tables["follow_ups"].ahead["U001"] == 6


def test_the_boards_answer(tmp_path: Path, office: Office) -> None:
    """A visit typed into the Plan of an upgraded log shows its baths, a day typed into the Calendar its releases."""
    path = tmp_path / "log.xlsx"
    data = practice()
    path.write_bytes(older_log(first_version(data), ROWS, reordered(load(OLDER))))
    new = write(tmp_path / "new.xlsx", upgraded(path, LAYOUT))
    wanted = [row["bath"] for row in data["baths"] if row["visit"] == "V007"]
    asked = f"{letter(ASKED_COLUMN)}{ASKED_ROW}"
    typed = {"Plan": {asked: "V007"}, "Calendar": {asked: "2026-01-15"}}
    shown = office.values(office.type_into(new, typed, tmp_path / "typed.xlsx"))
    computed = Computed(LAYOUT, of_today(first_version(data)))
    assert len(wanted) > 1
    assert [name for row in range(8, 20) if (name := shown["Plan"].get(f"A{row}"))] == wanted
    for sheet, value in (("Plan", "V007"), ("Calendar", day(2026, 1, 15))):
        board = next(own for own in LAYOUT.sheets if own.name == sheet)
        for (row, column), right in board_results(board, LAYOUT, computed, value).items():
            if column <= 12:  # the column behind is the row of the Baths sheet, hidden
                answer = shown[sheet].get(f"{letter(column)}{row}", "")
                assert answer == pytest.approx(right, rel=1e-9) if isinstance(right, float) else answer == (right or "")


TEXT = st.text(st.characters(exclude_categories=["Cs", "Cc"]), min_size=1, max_size=12).filter(str.strip)
TYPED = st.one_of(st.none(), TEXT, st.floats(-1e6, 1e6), st.booleans())


def reordered(layout: Layout) -> Layout:
    """Layout 1 as a person has it: the columns of each log turned round, with two of their own among them."""

    def turned(table: Table) -> Table:
        if not table.log:
            return table
        own = [Column(f"own_{n}", f"My {n} {table.key}", "text", width=9) for n in (1, 2)]
        first, *others = table.columns
        typed = [column for column in others if column.typed][::-1]
        rest = [column for column in others if not column.typed][::-1]
        return replace(table, columns=(*typed[:2], own[0], first, *rest[:3], *typed[2:], own[1], *rest[3:]))

    sheets = tuple(replace(sheet, tables=tuple(map(turned, sheet.tables))) for sheet in layout.sheets)
    return replace(layout, sheets=sheets)


def test_columns_that_a_person_moved(tmp_path: Path, office: Office) -> None:
    path = tmp_path / "log.xlsx"
    data = first_version(clean())
    data["stocks"][0]["own_1"] = "net mended"
    path.write_bytes(older_log(data, ROWS, reordered(load(OLDER))))
    before = stored(path, load(OLDER))
    new = write(tmp_path / "new.xlsx", upgraded(path, LAYOUT))
    after = stored(new, LAYOUT)
    gone = {"Temperature ahead C", "Degree days before", "Degree days to reach"}  # steps of counting degree days
    assert {place[1] for place in before.keys() - after.keys()} == gone
    differing = {place for place in before.keys() & after.keys() if after[place] != before[place]}
    # a day of degree days counts when it is over: one day later, in other words
    counted = {("Treatments", heading, 7) for heading in ("Days held", "Release date", "Counted by")}
    assert counted <= differing
    assert after["Treatments", "Release date", 7] == before["Treatments", "Release date", 7] + 1
    differing -= counted | {("Treatments", "Days short of it", 6)}
    # a blank altitude is shown as what it counts as; the acid of a bath needs the salinity of its reading
    heights = {place for place in differing if place[1] in ("Visit altitude m", "Water altitude m")}
    assert {(before[place], after[place]) for place in heights} == {(None, 0)}
    differing -= heights | {("Baths", "Acid mg/L", row) for row in (6, 7)}
    assert {(sheet, row) for sheet, _, row in differing} == {("Baths", 6)}  # its lot is on no sheet yet
    assert {heading for _, heading, _ in differing} <= {
        "Check",
        *(f"Reasons {n}" for n in range(1, 9)),
    }  # its lot is on no sheet yet
    assert only_lots_wanting(new, data)
    assert computed_alike(new, office) > 3000
    assert complaints(new.read_bytes(), tmp_path) == []
    place = WorkbookEdit(new.read_bytes()).tables()["Stocks"]
    assert cells(new.read_bytes())["Stocks"][5][place.column("My 1 stocks") - 1] == "net mended"
    text = package_formula(new, "Stocks", "Check")
    own = letter(place.column("My 1 stocks"))
    assert f"{own}6" not in text  # a person's own cell alone does not make a row one in use


def test_a_log_saved_by_libreoffice(tmp_path: Path, office: Office) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(first_log(clean(), ROWS))
    saved = office.convert(path, tmp_path / "saved.xlsx", "xlsx")
    new = write(tmp_path / "new.xlsx", upgraded(saved, LAYOUT))
    assert only_lots_wanting(new, first_version(clean()))
    assert computed_alike(new, office) > 3000
    fresh = tmp_path / "fresh.xlsx"
    fresh.write_bytes(build_log(LAYOUT, of_today(first_version(clean())), rows=ROWS))
    assert stored(new, LAYOUT).keys() == stored(fresh, LAYOUT).keys()


@st.composite
def logs(draw: st.DrawFn) -> Data:
    """Random words, numbers and blanks under random headings, right or wrong."""
    tables = [table for table in load(OLDER).log_tables() if draw(st.booleans())]
    data: Data = {}
    for table in tables:
        rows = []
        for _ in range(draw(st.integers(0, 3))):
            keys = draw(st.lists(st.sampled_from([column.key for column in table.typed]), max_size=6, unique=True))
            rows.append({key: draw(TYPED) for key in keys})
        data[table.key] = rows
    return data


@example(
    data={"sites": [{"site": "S1", "name": True}], "visits": [{"visit": "V1", "site": "S1"}]},
    own=[False],
    moved=False,
    words="=1+1",
)
@given(data=logs(), own=st.lists(TYPED, max_size=4), moved=st.booleans(), words=TEXT)
@settings(
    max_examples=5,
    deadline=None,
    phases=[Phase.explicit, Phase.reuse, Phase.generate],  # each example takes seconds: no shrinking
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.function_scoped_fixture, HealthCheck.data_too_large],
)
def test_random_logs_survive(data: Data, own: list[Any], moved: bool, words: str, tmp_path: Path) -> None:
    edit = WorkbookEdit(older_log(data, 4, reordered(load(OLDER)) if moved else None))
    edit.append_columns("Fish", [NewColumn("Of my own", results=own)])
    edit.put("Start", 60, 9, words)
    path = tmp_path / "log.xlsx"
    path.write_bytes(with_everything(edit.content()) if not moved else edit.content())
    new = write(tmp_path / "new.xlsx", upgraded(path, LAYOUT))
    before, after = read_log(path, load(OLDER)), read_log(new, LAYOUT)
    for table in load(OLDER).log_tables():
        own = after.tables[table.key]
        now, keys = dict(zip(own.numbers, own.rows, strict=True)), same_columns(table, own.table)
        for number, row in zip(before.tables[table.key].numbers, before.tables[table.key].rows, strict=True):
            if number in now:
                assert {key: now[number][keys[key]] for key in row} == row
            else:  # nothing but an id: as if it had been given ahead
                assert [key for key, value in row.items() if value is not None] == [table.key_column.key]
                assert str(row[table.key_column.key]) in own.ahead
    old_cells, new_cells = cells(path.read_bytes()), cells(new.read_bytes())
    column = WorkbookEdit(new.read_bytes()).tables()["Fish"].column("Of my own") - 1
    assert [row[column] for row in new_cells["Fish"][5:]] == [row[column] for row in old_cells["Fish"][5:]]
    assert new_cells["Start"][59][8] == words
    if not moved:
        assert new_cells[DIARY] == old_cells[DIARY]
    bad = ("result-differs", "heading-missing", "sheet-missing", "heading-doubled")
    assert [finding for finding in check_log(new, LAYOUT).findings if finding.code in bad] == []


def test_many_rows(tmp_path: Path) -> None:
    """More rows than stay trees at a time."""
    data = first_version(clean())
    data["fish"] = [{**data["fish"][0], "fish": f"F{number:04d}", "weight": 200 + number} for number in range(700)]
    path = tmp_path / "log.xlsx"
    path.write_bytes(older_log(data, 1))
    new = write(tmp_path / "new.xlsx", upgraded(path, LAYOUT))
    assert only_lots_wanting(new, data)
    assert len(python_calamine.load_workbook(io.BytesIO(new.read_bytes())).get_sheet_by_name("Fish").to_python()) == 705


# ------------------------------------------------------------------------------------------------- limits of today

SECOND = Path(__file__).parent / "older" / "layout-2.xlsx"
OWN_LIMIT = ["oxygen at least, koi", "lower limit", 7.5, "mg/L"]


def limits(path: Path) -> dict[str, list[Any]]:
    """Rows of the table of limits by their first cell."""
    edit = WorkbookEdit(path.read_bytes())
    place = edit.tables()["Limits"]
    rows = cells(path.read_bytes())["Reference"][place.heading_row : place.last_row]
    return {row[0]: row[: len(place.headings)] for row in rows if row[0] != ""}


def second(path: Path, *puts: tuple[str, int, int, object]) -> Path:
    """A log of layout 2 with a few cells typed into it."""
    edit = WorkbookEdit(SECOND.read_bytes())
    for sheet, row, column, value in puts:
        edit.put(sheet, row, column, value, replace=True)
    path.write_bytes(edit.content())
    return path


def test_an_older_log_gets_the_limits_it_lacks(tmp_path: Path, office: Office) -> None:
    """Its list grows, what stands below moves down, and no row that a person edited or added is changed."""
    place = WorkbookEdit(SECOND.read_bytes()).tables()["Limits"]
    first, free = place.first_row, place.first_row + len(limits(SECOND))
    puts = [("Reference", free, column, value) for column, value in enumerate(OWN_LIMIT, start=1)]
    puts += [("Reference", first, 3, 6.25), ("Reference", place.last_row + 5, 14, "beside the stages")]
    log = second(tmp_path / "log.xlsx", *puts)
    before = limits(log)
    new = write(tmp_path / "new.xlsx", upgraded(log, LAYOUT))
    after, shipped = limits(new), LAYOUT.tables["limits"]
    wanted = {row[0]: ["" if value is None else value for value in row] for row in shipped.data}
    edited = next(iter(before))
    assert after[edited] == before[edited]
    assert after[edited][2] == 6.25
    assert after[OWN_LIMIT[0]][:4] == OWN_LIMIT
    assert {key: row for key, row in after.items() if key not in (edited, OWN_LIMIT[0])} == {
        key: row for key, row in wanted.items() if key != edited
    }
    was, now = (WorkbookEdit(path.read_bytes()).tables() for path in (log, new))
    lower = now["Stages"].heading_row - was["Stages"].heading_row
    assert lower == shipped.rows - (place.last_row - place.heading_row)
    old_rows, new_rows = (cells(path.read_bytes())["Reference"] for path in (log, new))
    assert old_rows[place.last_row + 4][13] == "beside the stages"
    assert [row[:14] for row in new_rows[place.last_row + lower + 1 :]] == [
        row[:14] for row in old_rows[place.last_row + 1 :]
    ]
    assert complaints(new.read_bytes(), tmp_path) == []
    assert computed_alike(new, office) > 3000


def test_the_limits_speak_in_an_upgraded_log(tmp_path: Path) -> None:
    edit = WorkbookEdit(SECOND.read_bytes())
    vessels = edit.tables()["Vessels"]
    log = second(tmp_path / "log.xlsx", ("Vessels", vessels.first_row, vessels.column("Length or diameter"), 90_000))
    new = write(tmp_path / "new.xlsx", upgraded(log, LAYOUT))
    assert "dimension-unlikely" in {finding.code for finding in check_log(new, LAYOUT).findings}


def test_a_list_that_cannot_grow_stays_and_is_said(tmp_path: Path) -> None:
    """A formula of the person's own points to a stage by its cell, so that the stages stay where they are."""
    edit = WorkbookEdit(SECOND.read_bytes())
    stages = edit.tables()["Stages"]
    log = tmp_path / "log.xlsx"
    edit.append_columns("Sites", [NewColumn("Of my own", f"Reference!$A${stages.first_row}")])
    log.write_bytes(edit.content())
    done = upgraded(log, LAYOUT)
    new = write(tmp_path / "new.xlsx", done)
    assert WorkbookEdit(new.read_bytes()).tables()["Stages"] == stages
    assert "Reference: no room for 'litres at most, euthanasia' in Limits." in done.looks
    assert package_formula(new, "Sites", "Of my own") == f"=Reference!$A${stages.first_row}"
