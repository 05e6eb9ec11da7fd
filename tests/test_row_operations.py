"""A row that is inserted, deleted, sorted, cut or moved never changes a dose; in a real LibreOffice.

`python3 -m tests.row_operations` tries sequences by the thousand; here are some of them, and figures worked by hand.
"""

from __future__ import annotations

from dataclasses import replace
from random import Random
from typing import Any

import pytest

from tests.prepare import EnginePrograms
from tests.row_operations.filled import FilledLog, Row, write_filled
from tests.row_operations.judging import TELLING, Seen, Violation, counted_bare_rows, normal
from tests.row_operations.second_engine import of_rows_alone, wrong_after
from tests.row_operations.sequences import Sequence, Step, of_whole_rows, sequence, told
from tests.row_operations.trying import Trial, shortened
from tests.support.office import Office

SEED = 1
IN_THE_SUITE = 24
THROUGH_FILES = ((0, "reopened"), (0, "rewritten"), (2, "rewritten"))
IN_SECOND_ENGINE = (0, 2, 5)
SMALL = 8  # provided rows
# Known of cells shifted in one column, or cut alone: Start does not count a row of which only a cell that is not
# required was left, and Plan has no line for a bath whose cells were moved. "stale" is right once all is computed.
OF_CELLS = ("board", "start", "no word of rows without formulas")

# Two vessels of known litres, so that every figure below is worked with a pencil.
BY_HAND: dict[str, list[Row]] = {
    "sites": [
        {"site": "S01", "name": "Alder springs", "kind": "farm", "food_fish": "yes"},
        {"site": "S02", "name": "Reed pond", "kind": "pond", "food_fish": "no"},
        {"site": "S03", "name": "Hill hatchery", "kind": "hatchery", "food_fish": "yes"},
    ],
    "vessels": [
        {"vessel": "T01", "site": "S01", "shape": "known volume", "known": 40},
        {"vessel": "T02", "site": "S01", "shape": "rectangle", "unit": "cm", "length": 200, "breadth": 50, "depth": 40},
    ],
    "visits": [
        {"visit": "V001", "date": 46083, "site": "S01"},
        {"visit": "V002", "date": 46084, "site": "S02"},
        {"visit": "V003", "date": 46085, "site": "S03"},
    ],
    "baths": [
        {"bath": "B001", "visit": "V001", "vessel": "T01", "use": "anaesthesia", "species": "rainbow trout",
         "agent": "tricaine methanesulfonate", "start_dose": 80},
        {"bath": "B002", "visit": "V001", "vessel": "T02", "use": "anaesthesia", "species": "rainbow trout",
         "agent": "tricaine methanesulfonate", "start_dose": 60},
    ],
}  # fmt: skip
# by hand: 40 L of T01; 200 cm x 50 cm x 40 cm = 400,000 cm3 = 400 L of T02
# 40 L x 80 mg/L = 3,200 mg = 3.2 g; 400 L x 60 mg/L = 24,000 mg = 24 g; two grams of buffer to each gram of the drug
WATER, DRUG, BUFFER = (40.0, 400.0), (3.2, 24.0), (6.4, 48.0)
PLAN_LINE = 8  # the first on the Plan sheet
PLAN = {"bath": 1, "vessel": 2, "water": 5, "dose": 6, "drug": 7, "buffer": 8}


@pytest.fixture(scope="module")
def trial(office: Office, tmp_path_factory: pytest.TempPathFactory) -> Trial:
    return Trial(write_filled(tmp_path_factory.mktemp("rows") / "log.xlsx"), office)


@pytest.fixture(scope="module")
def by_hand(tmp_path_factory: pytest.TempPathFactory) -> FilledLog:
    return write_filled(tmp_path_factory.mktemp("by-hand") / "log.xlsx", BY_HAND, SMALL)


def after(log: FilledLog, office: Office, *steps: Step) -> Seen:
    return Seen(**office.after_steps(log.path, steps, TELLING))


def column(seen: Seen, sheet: str, heading: str) -> list[Any]:
    """What the rows in use of a sheet show under a heading."""
    cells = seen.cells[sheet]
    row = next(number for number, line in enumerate(cells) if heading in line)
    return [line[cells[row].index(heading)] for line in cells[row + 1 :]]


def on_plan(seen: Seen, key: str, lines: int = 2) -> list[Any]:
    return [seen.value("Plan", PLAN_LINE + line, PLAN[key]) for line in range(lines)]


def baths_as_worked(seen: Seen) -> None:
    """What the two baths show on their own sheet, wherever their rows are by now."""
    ids = column(seen, "Baths", "Bath")
    for heading, right in (("Water dosed L", WATER), ("Drug to weigh g", DRUG), ("Buffer to weigh g", BUFFER)):
        shown = column(seen, "Baths", heading)
        assert [shown[ids.index(bath)] for bath in ("B001", "B002")] == pytest.approx(right, rel=1e-9), heading


def plan_as_worked(seen: Seen) -> None:
    assert on_plan(seen, "bath") == ["B001", "B002"]
    assert on_plan(seen, "water") == pytest.approx(WATER, rel=1e-9)
    assert on_plan(seen, "drug") == pytest.approx(DRUG, rel=1e-9)
    assert on_plan(seen, "buffer") == pytest.approx(BUFFER, rel=1e-9)


def test_a_row_above_the_first_vessel_changes_no_dose(by_hand: FilledLog, office: Office) -> None:
    seen = after(by_hand, office, {"do": "add", "sheet": "Vessels", "first": 6, "rows": 1})
    assert column(seen, "Vessels", "Vessel")[:3] == ["", "T01", "T02"]
    baths_as_worked(seen)
    plan_as_worked(seen)


def test_a_row_inserted_on_baths_is_counted_and_leaves_the_plan(by_hand: FilledLog, office: Office) -> None:
    place = by_hand.layout.tables["baths"].letters
    first = by_hand.layout.tables["baths"].first_row
    typed = {place[key]: value for key, value in BY_HAND["baths"][0].items()} | {place["bath"]: "N900"}
    inserted = {"do": "add", "sheet": "Baths", "first": first, "rows": 1}
    seen = after(by_hand, office, inserted)
    plan_as_worked(seen)
    assert counted_bare_rows(seen, "Baths") == 0  # nothing is typed in it
    seen = after(by_hand, office, inserted, {"do": "fill_in", "sheet": "Baths", "row": first, "values": typed})
    baths_as_worked(seen)
    assert column(seen, "Baths", "Drug to weigh g")[0] == ""
    plan_as_worked(seen)  # a bath of which nothing is computed is no line of it
    assert on_plan(seen, "bath", 3)[2] is None
    assert counted_bare_rows(seen, "Baths") == 1


def test_the_first_site_deleted_leaves_lists_and_summary(by_hand: FilledLog, office: Office) -> None:
    seen = after(
        by_hand,
        office,
        {"do": "remove", "sheet": "Sites", "first": 6, "rows": 1},
        {"do": "enter", "sheet": "Pivots", "cell": "Z1", "text": "=ROWS(choices_sites)"},
        {"do": "enter", "sheet": "Pivots", "cell": "Z2", "text": "=INDEX(choices_sites,1)"},
        {"do": "enter", "sheet": "Pivots", "cell": "Z3", "text": "=INDEX(choices_sites,2)"},
    )
    assert [content for content in seen.names.values() if "#REF!" in content] == []
    assert [seen.value("Pivots", row, 26) for row in (1, 2, 3)] == [2.0, "S02", "S03"]
    cells = seen.cells["Summary"]
    heading = next(number for number, line in enumerate(cells) if line[0] == "For site")
    assert [line[0] for line in cells[heading + 1 : heading + 4]] == ["S02", "S03", ""]
    assert {text for errors in seen.errors.values() for text in errors.values()} == set()


def demanded(steps: list[Step], found: list[Violation]) -> list[Violation]:
    """What must not be. Where cells were cut or shifted, not whole rows, a few things may be, as OF_CELLS says."""
    of_cells = not of_whole_rows(steps)
    silent = [v for v in found if v.kind == "typed over row" and v.shown is None]  # blank, and its Check says why
    return [v for v in found if v.kind != "stale" and not (of_cells and (v.kind in OF_CELLS or v in silent))]


@pytest.mark.parametrize("number", range(IN_THE_SUITE))
def test_after_what_people_do_each_result_is_python_s(number: int, trial: Trial) -> None:
    steps = sequence(trial.log, SEED, number)
    wrong = demanded(steps, trial.at_once(steps))
    assert not wrong, "\n".join([told(steps), *map(str, wrong[:8])])


@pytest.mark.parametrize(("number", "way"), THROUGH_FILES)
def test_the_same_through_files_of_other_programs(number: int, way: str, trial: Trial) -> None:
    steps = sequence(trial.log, SEED, number)
    wrong = demanded(steps, getattr(trial, way)(steps))
    assert not wrong, "\n".join([told(steps), *map(str, wrong[:8])])


def test_rows_inserted_and_deleted_in_a_second_engine(trial: Trial, engines: EnginePrograms) -> None:
    """HyperFormula keeps formulas right by rules of its own; it has nothing otherwise in the untouched log."""
    sequences = [of_rows_alone(trial.log, Sequence(trial.log, Random(number))) for number in IN_SECOND_ENGINE]
    assert any(step["sheet"] == "Vessels" for steps in sequences for step in steps)
    of_itself, found = wrong_after(trial.judge, trial.log, sequences, engines)
    assert of_itself == set()
    assert [list(map(str, violations)) for violations in found] == [[] for _ in sequences]


def test_only_of_cells_alone_is_less_demanded() -> None:
    """Rows inserted, deleted, sorted, or cut whole leave nothing to be excused."""
    wrong = [Violation(kind, "", 0, "", None, None) for kind in (*OF_CELLS, "another value", "stale")]
    rows = [{"do": "add"}, {"do": "cut", "cells": "7:7"}, {"do": "sort"}]
    assert demanded(rows, wrong) == wrong[:-1]
    assert kinds(demanded([{"do": "cut", "cells": "C7:D7"}], wrong)) == {"another value"}


# ------------------------------------------------------------------------------------------- the proof itself


@pytest.fixture(scope="module")
def shown(trial: Trial) -> Seen:
    return trial.shown([])


def changed(shown: Seen, sheet: str, row: int, column: int, value: Any) -> Seen:
    """What is shown, with another value in a cell; row and column from 1."""
    rows = [list(line) for line in shown.cells[sheet]]
    rows[row - 1][column - 1] = value
    return replace(shown, cells={**shown.cells, sheet: rows})


def kinds(found: list[Violation]) -> set[str]:
    return {violation.kind for violation in found}


def place_of(trial: Trial, table: str, key: str) -> int:
    return next(n for n, c in enumerate(trial.log.layout.tables[table].columns, start=1) if c.key == key)


def test_an_untouched_log_has_nothing_wrong(trial: Trial, shown: Seen) -> None:
    assert trial.judge.violations(shown) == []


@pytest.mark.parametrize(
    ("table", "key", "right_kind"), [("baths", "drug", "another value"), ("baths", "check", "other words")]
)
def test_a_changed_cell_is_found(table: str, key: str, right_kind: str, trial: Trial, shown: Seen) -> None:
    sheet = trial.log.layout.tables[table].sheet
    column = place_of(trial, table, key)
    value = shown.cells[sheet][5][column - 1]
    other = value * (1 + 1e-8) if isinstance(value, float) else "fine"
    assert kinds(trial.judge.violations(changed(shown, sheet, 6, column, other))) == {right_kind}
    if isinstance(value, float):
        assert trial.judge.violations(changed(shown, sheet, 6, column, value * (1 + 1e-11))) == []


def test_results_lost_or_out_of_place_are_found(trial: Trial, shown: Seen) -> None:
    column, free = place_of(trial, "baths", "drug"), trial.log.layout.tables["baths"].last_row
    assert "blank unsaid" in kinds(trial.judge.violations(changed(shown, "Baths", 6, column, "")))
    assert "row not in use" in kinds(trial.judge.violations(changed(shown, "Baths", free, column, 3.2)))
    assert "summary" in kinds(trial.judge.violations(changed(shown, "Summary", 6, 2, 99.0)))
    assert "board" in kinds(trial.judge.violations(changed(shown, "Plan", 8, 7, 99.0)))
    assert "start" in kinds(trial.judge.violations(changed(shown, "Start", 15, 2, 99.0)))
    broken = replace(shown, names={"choices_sites": "$Sites.$A$#REF!"}, errors={"Baths": {"A1": "#REF!"}})
    assert kinds(trial.judge.violations(broken)) == {"broken name", "error"}


def test_a_row_may_not_say_that_it_was_moved_when_it_was_not(trial: Trial) -> None:
    """Its formulas, told from their own row, are those that were built."""
    seen = trial.shown([])
    table = trial.log.layout.tables["baths"]
    texts = trial.office.after_steps(trial.log.path, [], [""])["texts"]["Baths"]["7"]
    column = place_of(trial, "baths", "check")
    said = changed(seen, "Baths", 7, column, "Cells of this row were cut or shifted.")
    found = trial.judge.violations(replace(said, texts={**seen.texts, table.sheet: {"7": texts}}))
    assert {"no reason", "moved row"} <= kinds(found)


def test_formulas_are_told_from_their_own_row() -> None:
    assert normal('=IF($B7="B7";A$5;Vessels.$C:$C)', 7) == '=IF($B[0]="B7";A[fixed];Vessels.$C:$C)'
    assert normal("=$B8+LOG10($B7)", 7) == "=$B[1]+LOG10($B[0])"


def test_a_sequence_is_made_as_short_as_still_shows_it() -> None:
    def way(steps: list[Step]) -> list[Violation]:
        if {"b", "d"} <= {step["do"] for step in steps}:
            return [Violation("error", "", 0, "", None, None)]
        return []

    steps, found = shortened([{"do": letter} for letter in "abcde"], "error", way)
    assert [step["do"] for step in steps] == ["b", "d"]
    assert len(found) == 1


def test_the_same_seed_gives_the_same_sequences(trial: Trial) -> None:
    assert [sequence(trial.log, 3, number) for number in range(20)] == [
        sequence(trial.log, 3, number) for number in range(20)
    ]
    assert sequence(trial.log, 3, 0) != sequence(trial.log, 4, 0)
