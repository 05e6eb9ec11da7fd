"""Merging copies of a log: the rules over generated logs, then whole files, then a merge that is killed half way."""

from __future__ import annotations

import itertools
from collections.abc import Iterator, Sequence
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from workbook_tools.errors import ReadError
from workbook_tools.layout import case_log
from workbook_tools.log.checking.reading import ReadLog, ReadTable
from workbook_tools.log.merging.log_merge import Merged, merge
from workbook_tools.log.merging.matching import Side, alike, alike_id, merged_columns, side, whole

Rows = dict[str, list[dict[str, Any]]]

# ------------------------------------------------------------------------------------------- logs as they are read

LAYOUT = case_log()
# a log sheet whose dates and references are required, a list of one column, a reference table of several
CELLS = {
    "losses": {
        "day": st.sampled_from([None, "D1", "d1", "D2", "D10", 7, 7.0]),
        "date": st.sampled_from([None, 46083, 46083.0, 46084, "x"]),
        "stock": st.sampled_from([None, "K1", "k1", "K2"]),
        "dead": st.sampled_from([None, 0, 1, 1.0, True, "1"]),
        "notes": st.sampled_from([None, "x", "X", "=1+1"]),
    },
    "species": {"value": st.sampled_from([None, "carp", "Carp", "perch"])},
    "limits": {
        "limit": st.sampled_from([None, "oxygen", "ph"]),
        "value": st.sampled_from([None, 5, 6.5]),
        "source": st.sampled_from([None, "mine", "yours"]),
    },
}


def read(path: str, data: Rows, without: Sequence[tuple[str, str]] = (), first: int = 6) -> ReadLog:
    """A log as the reader gives it; `without` names columns whose headings are gone."""
    tables = {}
    for key, table in LAYOUT.tables.items():
        if table.key_source:
            continue
        there = [c.key for c in merged_columns(table) if (key, c.key) not in without]
        rows = [dict.fromkeys(c.key for c in merged_columns(table)) | row for row in data.get(key, ())]
        rows = [{name: value if name in there else None for name, value in row.items()} for row in rows]
        used: list[tuple[int, dict[str, Any]]] = []
        ahead: dict[str, int] = {}
        for number, row in enumerate(rows, start=first):
            if table.in_use(row) if table.log else any(value is not None for value in row.values()):
                used.append((number, row))
            elif row[table.key_column.key] is not None:
                ahead.setdefault(str(row[table.key_column.key]), number)
        own = [row for _, row in used], [number for number, _ in used]
        tables[key] = ReadTable(table, dict.fromkeys(there, "A"), *own, ahead)
    return ReadLog(path, LAYOUT, tables, [])


def again(merged: Merged, log: ReadLog) -> ReadLog:
    """The merged log as it would be read back."""
    tables = {}
    for key, read_table in log.tables.items():
        numbers = itertools.count(max(read_table.numbers, default=5) + 1)
        places = [next(numbers) if number is None else number for number in merged.numbers[key]]
        names = {alike_id(row.get(read_table.table.key_column.key)) for row in merged.rows[key]}
        ahead = {name: number for name, number in read_table.ahead.items() if alike_id(name) not in names}
        tables[key] = ReadTable(read_table.table, read_table.letters, merged.rows[key], places, ahead)
    return ReadLog(log.path, LAYOUT, tables, [])


def rows_of(key: str) -> st.SearchStrategy[list[dict[str, Any]]]:
    return st.lists(st.fixed_dictionaries(CELLS[key]), max_size=4)


datas = st.fixed_dictionaries({key: rows_of(key) for key in CELLS})
# copies may have lost any heading, the log one that is not an id; what is drawn is plain, for a short report
lost = st.lists(st.sampled_from([(key, name) for key, cells in CELLS.items() for name in cells]), max_size=1)
logs = st.tuples(datas, st.sampled_from([[], [("losses", "notes")]]))
copies_of_it = st.lists(st.tuples(datas, lost), min_size=1, max_size=3)
bases = st.one_of(st.none(), st.tuples(datas, lost))
Drawn = tuple[Rows, list[tuple[str, str]]]


def logs_of(log: Drawn, copies: list[Drawn], base: Drawn | None) -> tuple[ReadLog, list[ReadLog], ReadLog | None]:
    """What was drawn, as the reader would give it."""
    others = [read(f"copy {number}.xlsx", *copy) for number, copy in enumerate(copies)]
    return read("log.xlsx", *log), others, read("base.xlsx", *base) if base else None


@given(logs)
@settings(deadline=None)
def test_a_log_merged_with_itself_is_that_log(drawn: Drawn) -> None:
    log = read("log.xlsx", *drawn)
    merged = merge(log, [log, log])
    assert merged.rows == {key: table.rows for key, table in log.tables.items()}
    assert merged.numbers == log.numbers()
    assert merged.as_dict() == {"added": [], "filled": [], "changed": [], "conflicts": [], "remarks": []}


TWIN = {"limit": "oxygen", "source": "mine"}


@given(logs, copies_of_it, bases)
@example(({"limits": [TWIN, TWIN]}, []), [({"limits": [{"limit": "oxygen", "value": 5}]}, [])], None)
@settings(max_examples=400, deadline=None)
def test_merging_again_changes_nothing(drawn: Drawn, others: list[Drawn], older: Drawn | None) -> None:
    log, copies, base = logs_of(drawn, others, older)
    once = merge(log, copies, base)
    twice = merge(again(once, log), copies, base)
    assert twice.rows == once.rows
    assert (twice.added, twice.filled, twice.changed) == ([], [], [])
    assert twice.conflicts == once.conflicts


def test_one_number_in_two_spellings_is_said_in_one_way() -> None:
    """A row that the base has and the log has not, added again from two copies that write its id as 7 and 7.0."""
    log, base = read("log.xlsx", {}), read("base.xlsx", {"losses": [{"day": 7, "notes": "x"}]})
    one, other = (read(f"{day}.xlsx", {"losses": [{"day": day, "notes": "x"}]}) for day in (7, 7.0))
    there, back = merge(log, [one, other], base), merge(log, [other, one], base)
    assert [note.say for note in there.remarks] == [note.say for note in back.remarks]
    assert len(there.added) == 1


@given(logs, copies_of_it, bases, st.randoms(use_true_random=False))
@settings(deadline=None)
def test_the_order_of_the_copies_does_not_matter(
    drawn: Drawn, others: list[Drawn], older: Drawn | None, random: Any
) -> None:
    log, copies, base = logs_of(drawn, others, older)
    once = merge(log, copies, base)
    shuffled = [*copies, *random.sample(copies, random.randrange(len(copies) + 1))]  # one given twice is no other
    random.shuffle(shuffled)
    other = merge(log, shuffled, base)
    assert (other.rows, other.numbers, other.as_dict()) == (once.rows, once.numbers, once.as_dict())


@given(logs, copies_of_it, bases)
@settings(max_examples=300, deadline=None)
def test_nothing_is_dropped(drawn: Drawn, others: list[Drawn], older: Drawn | None) -> None:
    log, copies, base = logs_of(drawn, others, older)
    merged = merge(log, copies, base)
    for key in CELLS:
        before = None if base is None else side(base.path, base.tables[key])
        for position, row in enumerate(log.tables[key].rows):
            kept = merged.rows[key][position]
            identity = alike_id(row[LAYOUT.tables[key].key_column.key])
            old = before.single(identity) if before else None
            for column in merged_columns(LAYOUT.tables[key]):
                cell = alike(column, row[column.key])
                if cell is not None and alike(column, kept[column.key]) != cell:
                    assert old is not None
                    assert before is not None
                    assert before.has(column.key)
                    assert alike(column, old[column.key]) == cell  # only a copy had changed it
        for copy in copies:
            mine = side(copy.path, copy.tables[key])
            for position in range(len(mine.read.rows)):
                assert not list(missing(mine, position, merged, before)), (key, position)


def missing(copy: Side, position: int, merged: Merged, base: Side | None) -> Iterator[tuple[str, Any]]:
    """Cells of a copy's row that are neither in the merged log, nor on the list, nor what the base had."""
    table, row = copy.read.table, copy.row(position)
    key = table.key_column.key
    identity = alike_id(row.get(key))
    filled = {c: v for c in merged_columns(table) if (v := row.get(c.key)) is not None}
    if table.id_column is not None and identity is not None and len(filled) == 1:
        return  # an id given in advance
    rows = merged.rows[table.key]
    if not identity and any(all(alike(c, r[c.key]) == alike(c, v) for c, v in filled.items()) for r in rows):
        return
    alikes = [r for r in rows if identity and alike_id(r[key]) == identity]
    old = base.single(identity) if base else None
    twins = [copy.read.numbers[n] for n in range(len(copy.read.rows)) if whole(copy, n) == whole(copy, position)]
    places = twins if identity else [copy.read.numbers[position]]  # under one id, equal rows are one
    conflicts = [c for c in merged.conflicts if (c.file, c.table) == (copy.file, table.key) and c.row in places]
    listed = {(c.key, alike(table.by_key[c.key], c.other)) for c in conflicts}
    for column, value in filled.items():
        cell = alike(column, value)
        found = any(alike(column, r[column.key]) == cell for r in alikes) if column.key != key else alikes or listed
        unchanged = base is not None and old is not None and alike(column, old[column.key]) == cell
        if not found and not unchanged and (column.key, cell) not in listed:
            yield column.key, value


cell = st.sampled_from([None, "x", "y", 1, 2.5, 0])


@given(*[st.tuples(cell, cell, cell)] * 3)
@settings(deadline=None)
def test_with_a_base_a_change_of_one_side_is_taken(mine: Any, theirs: Any, old: Any) -> None:
    """The rule written out cell by cell, over columns that are not required."""
    keys = ("dead", "notes", "feed")
    fixed = {"day": "D1", "date": 46083, "stock": "K1"}
    log, copy, base = (
        read(f"{name}.xlsx", {"losses": [fixed | dict(zip(keys, cells, strict=True))]})
        for name, cells in (("log", mine), ("copy", theirs), ("base", old))
    )
    merged = merge(log, [copy], base)
    (row,) = merged.rows["losses"]
    conflicts = {c.key: (c.kept, c.other) for c in merged.conflicts}
    for key, a, b, o in zip(keys, mine, theirs, old, strict=True):
        assert row[key] == (b if a == o else a)
        assert conflicts.get(key) == ((a, b) if a != o and b not in (o, a) else None)
    without = merge(log, [copy])
    (row,) = without.rows["losses"]
    conflicts = {c.key: (c.kept, c.other) for c in without.conflicts}
    two_things = sum(a is not None and b not in (None, a) for a, b in zip(mine, theirs, strict=True)) > 1
    for key, a, b in zip(keys, mine, theirs, strict=True):
        assert row[key] == (b if a is None and not two_things else a)
        assert conflicts.get(key) == ((a, b) if (a is not None or two_things) and b not in (None, a) else None)


# ------------------------------------------------------------------------------------------------ rule by rule


def losses(path: str, *rows: dict[str, Any], without: Sequence[tuple[str, str]] = ()) -> ReadLog:
    return read(path, {"losses": list(rows)}, without)


def loss(day: str | None, date: float | None = 46083, stock: str | None = "K1", **more: Any) -> dict[str, Any]:
    return {"day": day, "date": date, "stock": stock, **more}


def listed(merged: Merged) -> list[tuple[str, int, Any, str, Any, Any, str]]:
    return [(c.file, c.row, c.id, c.column, c.kept, c.other, c.reason) for c in merged.conflicts]


def test_rows_are_added_kept_once_and_filled() -> None:
    log = losses("log.xlsx", loss("D2", dead=1), loss("D1"))
    copy = losses("copy.xlsx", loss("d1", dead=3), loss("D10", dead=2), loss("D2", dead=1), loss("D3"))
    merged = merge(log, [copy])
    assert [(r["day"], r["dead"]) for r in merged.rows["losses"]] == [
        ("D2", 1), ("D1", 3), ("D3", None), ("D10", 2),
    ]  # fmt: skip
    assert merged.numbers["losses"] == [6, 7, None, None]
    assert [(a.id, a.sources) for a in merged.added] == [("D3", (("copy.xlsx", 9),)), ("D10", (("copy.xlsx", 7),))]
    assert [(c.id, c.column, c.row, c.before, c.after) for c in merged.filled] == [("D1", "Dead", 7, None, 3)]
    assert merged.conflicts == []


def test_of_two_spellings_the_same_one_is_taken_in_every_order() -> None:
    copies = [losses(f"{stock}.xlsx", loss("D1", stock=stock)) for stock in ("k1", "K1")]
    for order in (copies, copies[::-1]):
        merged = merge(losses("log.xlsx", loss("D1", stock=None)), order)
        assert [row["stock"] for row in merged.rows["losses"]] == ["K1"]
        assert merged.filled[0].sources == (("K1.xlsx", 6), ("k1.xlsx", 6))


def test_a_conflict_names_both_values_and_the_place() -> None:
    log = losses("log.xlsx", loss("D1", dead=1, notes=None))
    copy = losses("a/copy.xlsx", {}, loss("D1", dead=2, notes="gulls"))
    merged = merge(log, [copy])
    assert listed(merged) == [("a/copy.xlsx", 7, "D1", "Dead", 1, 2, "cell-differs")]
    assert merged.conflicts[0].sheet == "Losses"
    assert merged.rows["losses"][0]["notes"] == "gulls"
    assert [note.file for note in merged.remarks] == ["a/copy.xlsx"]  # filled from a row that differs: look at it


def test_copies_that_differ_where_the_log_is_blank() -> None:
    copies = [losses("a.xlsx", loss("D1", dead=1)), losses("b.xlsx", loss("D1", dead=2))]
    merged = merge(losses("log.xlsx", loss("D1")), copies)
    assert listed(merged) == [
        ("a.xlsx", 6, "D1", "Dead", None, 1, "copies-differ"),
        ("b.xlsx", 6, "D1", "Dead", None, 2, "copies-differ"),
    ]
    assert merged.rows["losses"][0]["dead"] is None


def test_two_things_under_one_id() -> None:
    """Another day's losses under the same id are not mixed into the log's row: not even its blank cells are filled."""
    log = losses("log.xlsx", loss("D1", 46083))
    copy = losses("copy.xlsx", loss("D1", 46084, dead=5))
    merged = merge(log, [copy])
    assert merged.rows["losses"][0]["dead"] is None
    assert {c[3:] for c in listed(merged)} == {
        ("Day", 46083, 46084, "other-thing"),
        ("Dead", None, 5, "other-thing"),
    }


def test_two_fish_of_one_bath_under_one_id_are_not_mixed() -> None:
    """Typed on two devices into rows with the same id given in advance: no fish gets the other's recovery time."""
    same = {"fish": "F7", "bath": "B1", "other_species": "carp"}
    log = read("log.xlsx", {"fish": [same | {"weight": 900, "length": 36}]})
    copy = read("copy.xlsx", {"fish": [same | {"weight": 1400, "length": 41, "recovered": 0.5}]})
    merged = merge(log, [copy])
    assert merged.rows["fish"] == log.tables["fish"].rows
    assert {c.reason for c in merged.conflicts} == {"other-thing"}
    assert [(c.key, c.kept, c.other) for c in merged.conflicts] == [
        ("weight", 900, 1400), ("length", 36, 41), ("recovered", None, 0.5),
    ]  # fmt: skip
    copies = [read("a.xlsx", {"fish": [same | {"weight": 900, "notes": "x"}]}), copy]
    assert merge(log, copies).filled[0].after == "x"  # of one fish the log's own has more to say
    merged = merge(read("log.xlsx", {"fish": [same]}), [log, copy])
    assert merged.rows["fish"][0]["recovered"] is None
    assert len(merged.conflicts) == 5


def test_copies_that_each_correct_another_cell_are_no_two_things() -> None:
    log = losses("log.xlsx", loss("D1", dead=1, feed=2))
    copies = [losses("a.xlsx", loss("D1", dead=3, feed=2)), losses("b.xlsx", loss("D1", dead=1, feed=4, notes="x"))]
    merged = merge(log, copies)
    assert [(c.file, c.column, c.other, c.reason) for c in merged.conflicts] == [
        ("a.xlsx", "Dead", 3, "cell-differs"), ("b.xlsx", "Feed given kg", 4, "cell-differs"),
    ]  # fmt: skip
    assert merged.rows["losses"][0]["notes"] == "x"


def test_a_new_id_that_two_copies_use_for_two_things() -> None:
    """Neither is taken for the other; both are listed whole."""
    one, two = losses("a.xlsx", loss("D1", 46083, dead=1)), losses("b.xlsx", loss("D1", 46084, dead=2))
    merged = merge(losses("log.xlsx"), [one, two])
    assert merged.rows["losses"] == []
    assert {(c[0], c[5]) for c in listed(merged)} == {
        ("a.xlsx", 46083), ("a.xlsx", "K1"), ("a.xlsx", 1), ("b.xlsx", 46084), ("b.xlsx", "K1"), ("b.xlsx", 2),
    }  # fmt: skip


def test_a_base_knows_that_a_corrected_date_is_the_same_row() -> None:
    base = losses("base.xlsx", loss("D1", 46083, dead=1))
    merged = merge(losses("log.xlsx", loss("D1", 46083, dead=4)), [losses("c.xlsx", loss("D1", 46084, dead=1))], base)
    assert [(r["date"], r["dead"]) for r in merged.rows["losses"]] == [(46084, 4)]
    assert [(c.column, c.before, c.after) for c in merged.changed] == [("Day", 46083, 46084)]
    assert merged.conflicts == []


def test_a_row_that_one_side_deleted_stays_or_comes_back() -> None:
    base = losses("base.xlsx", loss("D1", dead=1), loss("D2"))
    merged = merge(losses("log.xlsx", loss("D2")), [losses("c.xlsx", loss("D1", dead=1))], base)
    assert [r["day"] for r in merged.rows["losses"]] == ["D2", "D1"]
    assert [note.say for note in merged.remarks] == [
        "Losses D1 is in this older state and not in the log: the row was added again."
    ]


def test_ids_given_in_advance_are_empty_rows() -> None:
    given = [{"day": f"D{n}"} for n in range(1, 5)]
    log = losses("log.xlsx", loss("D1"), *given[1:])
    assert log.tables["losses"].ahead == {"D2": 7, "D3": 8, "D4": 9}
    copy = losses("copy.xlsx", given[0], given[1], loss("d3", dead=2), given[3])
    merged = merge(log, [copy])
    assert [(r["day"], r["dead"]) for r in merged.rows["losses"]] == [("D1", None), ("D3", 2)]  # in the log's spelling
    assert merged.numbers["losses"] == [6, None]
    assert [added.id for added in merged.added] == ["D3"]
    assert merged.filled == merged.conflicts == []


def test_a_lot_is_given_by_a_person_and_counts_alone() -> None:
    """Ids of the Stores sheet are what a label says: a row with nothing else is something typed."""
    log, copy = read("log.xlsx", {"stores": []}), read("copy.xlsx", {"stores": [{"lot": "0012"}]})
    merged = merge(log, [copy])
    assert [row["lot"] for row in merged.rows["stores"]] == ["0012"]
    assert [added.id for added in merged.added] == ["0012"]


@pytest.mark.parametrize(("day", "rows"), [(None, ((8, 1), (9, 2))), ("D1", ((9, 2),))])
def test_rows_that_no_id_tells_apart(day: str | None, rows: tuple[tuple[int, int], ...]) -> None:
    """Without an id, two rows of the log answer for two of the copy; under one id, equal rows are one."""
    log = losses("log.xlsx", loss(day, dead=1), loss(day, dead=1), loss(day, dead=3))
    copy = losses("copy.xlsx", loss(day, dead=1), loss(day, dead=1), loss(day, dead=1), loss(day, dead=2))
    merged = merge(log, [copy])
    assert merged.rows["losses"] == log.tables["losses"].rows
    assert {(c.row, c.column, c.other) for c in merged.conflicts} == {
        (row, column, value)
        for row, dead in rows
        for column, value in (("Day", 46083), ("Losses stock", "K1"), ("Dead", dead))
    }


def test_a_list_entry_that_stands_twice_is_not_lost() -> None:
    merged = merge(read("log.xlsx", {}), [read("copy.xlsx", {"species": [{"value": v} for v in ("carp", "Carp")]})])
    assert [row["value"] for row in merged.rows["species"]] == ["carp"]
    assert merged.conflicts == []


def test_a_missing_heading_is_not_an_emptied_column() -> None:
    base = losses("base.xlsx", loss("D1", dead=1))
    copy = losses("copy.xlsx", loss("D1"), without=[("losses", "dead")])
    merged = merge(base, [copy], base)
    assert merged.rows["losses"][0]["dead"] == 1
    assert merged.changed == merged.conflicts == []


def test_a_column_that_the_log_has_lost_is_listed() -> None:
    log = losses("log.xlsx", loss("D1"), without=[("losses", "dead")])
    merged = merge(log, [losses("copy.xlsx", loss("D1", dead=2))])
    assert listed(merged) == [("copy.xlsx", 6, "D1", "Dead", None, 2, "no-column")]


def test_a_log_without_its_ids_is_refused() -> None:
    log = losses("log.xlsx", loss("D1"), without=[("losses", "day")])
    with pytest.raises(ReadError, match=r"log\.xlsx: has no column 'Day row' on the sheet Losses"):
        merge(log, [losses("copy.xlsx", loss("D1"))])


def test_what_other_programs_round_off_is_no_change() -> None:
    """10:00:12 as this project stores it, as LibreOffice 7.4 saves it (15 digits), as openpyxl does (16); line ends."""
    exact = (10 * 3600 + 12) / 86400
    saved = (
        (exact, 0.1 + 0.2, "a\r\nb"),
        (float(f"{exact:.15g}"), float(f"{0.1 + 0.2:.15g}"), "a\nb"),
        (float(f"{exact:.16g}"), float(f"{0.1 + 0.2:.16g}"), "a\nb"),
    )
    logs = [
        read(f"{number}.xlsx", {"fish": [{"fish": "F1", "into": into, "weight": weight, "notes": notes}]})
        for number, (into, weight, notes) in enumerate(saved)
    ]
    assert len({log.tables["fish"].rows[0]["into"] for log in logs}) == 3
    for one, other in itertools.permutations(logs, 2):
        merged = merge(one, [other], logs[0])
        assert merged.rows["fish"] == one.tables["fish"].rows
        assert merged.changed == merged.conflicts == []
