"""The check, slip by slip: one typed value changed in a log that is otherwise clean, and all slips in one log."""

from __future__ import annotations

import datetime
import hashlib
import math
import subprocess
import sys
from collections.abc import Callable
from dataclasses import dataclass
from decimal import Decimal
from fractions import Fraction
from pathlib import Path
from typing import Any

import numpy as np
import openpyxl
import pytest
from openpyxl.worksheet.worksheet import Worksheet

from tests.support.office import Office
from workbook_tools.errors import ReadError, WorkbookToolsError
from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout import case_log
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.between_rows import temperature_jumps
from workbook_tools.log.checking.log_check import Finding, check_log
from workbook_tools.log.checking.silent_cells import merged_areas
from workbook_tools.log.checking.structure import _covered
from workbook_tools.xlsx.addresses import column_number
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit

Data = dict[str, list[dict[str, Any]]]
ROWS = 12
REMEDY = "chloramine-T, freshwater salmonids"


def day(year: int, month: int, date: int) -> float:
    return serial(datetime.date(year, month, date))


def clock(text: str) -> float:
    return serial(datetime.time.fromisoformat(text))


def clean() -> Data:
    """An invented practice's log in which every row is as it should be."""
    return {
        "sites": [
            site("S01", "Alder springs", "farm", "yes", telephone="0012 345"),
            site("S02", "Reed pond", "pond", "no", water="spring", contact="the keeper"),
        ],
        "vessels": [
            vessel("T01", "S01", "rectangle", unit="cm", length=200, breadth=50, depth=40, name="trough 1"),
            vessel("T02", "S01", "round", unit="m", length=2.5, depth=0.8),
            vessel("T03", "S02", "known volume", known=40),
            vessel("T04", "S02", "salt test", salt=500, before=0, after=1.25),
            vessel("T05", "S02", "round with cone", unit="ft", length=4, depth=0, cone_depth=3),
        ],
        "stocks": [
            {"stock": "K01", "site": "S01", "vessel": "T02", "species": "rainbow trout", "food_fish": "yes",
             "as_of": day(2026, 3, 1), "number": 1200, "mean_weight": 45},
            {"stock": "K02", "site": "S02", "species": "goldfish", "food_fish": "no"},
        ],
        "visits": [
            {"visit": "V001", "date": day(2026, 3, 2), "site": "S01", "purpose": "routine check", "seen_by": "the vet"},
            {"visit": "V002", "date": day(2026, 4, 7), "site": "S02", "findings": "=not a formula"},
        ],
        "water": [
            {"reading": "W001", "visit": "V001", "vessel": "T01", "time": clock("09:05"), "temperature": 11.5,
             "ph": 7.4, "oxygen": 9.1, "alkalinity": 120, "ammonia": 0.4, "salinity": 0},
            {"reading": "W002", "visit": "V002", "temperature": 18.25, "ph": 8, "oxygen": 7.75},
        ],
        "baths": [
            bath("B001", "V001", "T01", "rainbow trout", drug_weighed=32, buffer_weighed=64, buffer_lot="N1", topups=1,
                 first_topup=clock("10:04"), lot="0012", step=20, limit=120, started=clock("10:00"),
                 ended=clock("10:20"), temperature=11.5, ph=7.2),
            bath("B002", "V002", "T03", "goldfish", used=30, fish_mass=0.5, active=0.8, ratio=1),
        ],
        "watch": [
            {"look": "L001", "bath": "B001", "time": clock("10:02:30"), "equilibrium": "lost", "response": "none",
             "ventilation": "slow and regular", "count": 14, "over": 15},
            {"look": "L002", "bath": "B001", "time": clock("10:05:00"), "equilibrium": "lost"},
        ],
        "fish": [
            fish("F0001", into=clock("10:00"), balance=clock("10:01:10"), working=clock("10:02:20"),
                 out=clock("10:06"), recovered=clock("10:09:30"), settled="yes", outcome="recovered"),
            fish("F0002", into=clock("10:01"), balance=clock("10:02:10"), working=clock("10:03:20"),
                 out=clock("10:07"), recovered=clock("10:11:30"), count=12, over=15),
        ],
        "samples": [
            {"sample": "P001", "visit": "V001", "stock": "K01", "fish": "F0001", "kind": "gill biopsy",
             "site": "second gill arch", "magnification": 100, "fields": 10, "count": 31, "examined": 10,
             "positive": 7},
            {"sample": "P002", "visit": "V002", "kind": "whole fish", "sent": day(2026, 4, 8),
             "resulted": day(2026, 4, 20), "number": "00417"},
        ],
        "losses": [
            {"day": f"D{number:04d}", "date": day(2026, 3, 5 + number), "stock": "K01", "dead": number % 2,
             "temperature": 8.5 + number, "feed": 0.5}
            for number in range(1, 5)
        ],
        "stores": [
            {"lot": "0012", "item": "tricaine methanesulfonate", "unit": "g", "received": 100,
             "received_on": day(2026, 1, 5), "expiry": day(2027, 1, 31)},
            {"lot": "N1", "item": "sodium bicarbonate", "unit": "g", "received": 1000, "expiry": day(2028, 1, 31),
             "discarded": 20},
        ],
        "follow_ups": [
            {"follow_up": "U001", "visit": "V001", "stock": "K01", "treatment": "R001", "due": day(2026, 3, 9),
             "what": "count losses", "done": day(2026, 3, 10), "outcome": "better"},
            {"follow_up": "U002", "visit": "V002", "due": day(2026, 5, 1), "what": "telephone"},
        ],
        "treatments": [
            {"treatment": "R001", "visit": "V001", "stock": "K01", "route": "bath", "agent": REMEDY, "dose": 15,
             "days": 3, "first": day(2026, 3, 2), "last": day(2026, 3, 4), "rule": "days", "wait": 21,
             "rule_source": "prescription", "why": "gill disease", "extra_label": "no"},
            {"treatment": "R002", "stock": "K01", "route": "bath", "agent": REMEDY, "dose": 15,
             "first": day(2026, 3, 2), "last": day(2026, 3, 5), "rule": "degree days", "wait": 35,
             "rule_source": "prescription", "mean": 12},
        ],
    }  # fmt: skip


def site(site: str, title: str, kind: str, food_fish: str, **more: Any) -> dict[str, Any]:
    return {"site": site, "name": title, "kind": kind, "food_fish": food_fish, **more}


def vessel(tank: str, place: str, shape: str, **more: Any) -> dict[str, Any]:
    return {"vessel": tank, "site": place, "shape": shape, **more}


def bath(name: str, visit: str, tank: str, species: str, **more: Any) -> dict[str, Any]:
    return {
        "bath": name,
        "visit": visit,
        "vessel": tank,
        "use": "anaesthesia",
        "species": species,
        "agent": "tricaine methanesulfonate",
        "start_dose": 80,
        **more,
    }


def fish(name: str, **more: Any) -> dict[str, Any]:
    return {"fish": name, "bath": "B001", "weight": 310.5, "length": 29.5, **more}


def made(folder: Path, data: Data, rows: int = ROWS) -> Path:
    path = folder / "log.xlsx"
    path.write_bytes(build_log(case_log(), data, rows=rows))
    return path


def findings(path: Path) -> list[Finding]:
    """What the check finds; the file itself is the same afterwards."""
    before = hashlib.sha256(path.read_bytes()).hexdigest()
    found = check_log(path, case_log()).findings
    assert hashlib.sha256(path.read_bytes()).hexdigest() == before
    return found


def placed(found: list[Finding]) -> list[tuple[str, int, str, str]]:
    return [(finding.sheet, finding.row, finding.column, finding.code) for finding in found]


@dataclass(frozen=True)
class Slip:
    """One typed value changed; `code`, `reason`: what is said of its cell; `also`: what follows from it elsewhere."""

    table: str
    row: int
    key: str
    value: Any
    code: str
    reason: str
    also: tuple[tuple[str, int, str, str], ...] = ()

    def __str__(self) -> str:
        return f"{self.table}.{self.key}={self.value!r}"

    @property
    def place(self) -> tuple[str, int, str, str]:
        table = case_log().tables[self.table]
        return table.sheet, table.first_row + self.row, table.by_key[self.key].heading, self.code

    def made_in(self, data: Data) -> None:
        data[self.table][self.row][self.key] = self.value


NO_VOLUME = ("Vessels", 6, "Volume L", "volume-unknown")
NO_WATER = ("Baths", 6, "Water dosed L", "no-volume")
NO_USE = ("Stores", 6, "Amount used", "use-unknown")  # of the drug with a top-up, in the bath of row 6
NO_BUFFER_USE = ("Stores", 7, "Amount used", "use-unknown")
NO_USES = (NO_USE, NO_BUFFER_USE)
SECOND_SITE_EMPTY = (  # its id is given to the next blank row
    *(("Vessels", row, "Vessel site", "empty-row") for row in (8, 9, 10)),
    ("Stocks", 7, "Stock site", "empty-row"),
    ("Visits", 7, "Visit site", "empty-row"),
)
SECOND_SITE_EMPTY = tuple((sheet, row, heading, "empty-row") for sheet, row, heading, _ in SECOND_SITE_EMPTY)
SLIPS = (
    Slip("sites", 0, "name", None, "missing", "Site name is missing."),
    Slip("visits", 1, "date", None, "missing", "Visit date is missing."),
    Slip("baths", 1, "start_dose", None, "missing", "Start dose mg/L is missing."),
    Slip("vessels", 0, "length", "two hundred", "not-a-number", "Length or diameter is not a number.",
         (NO_VOLUME, NO_WATER, *NO_USES)),
    Slip("vessels", 0, "length", 0, "out-of-range", "must be above 0 up to 100,000", (NO_VOLUME, NO_WATER, *NO_USES)),
    Slip("vessels", 0, "length", -200, "out-of-range", "must be above 0 up to 100,000",
         (NO_VOLUME, NO_WATER, *NO_USES)),
    Slip("fish", 0, "weight", 1e308, "out-of-range", "Weight g must be above 0 up to 1,000,000 g."),
    Slip("fish", 0, "weight", 0, "out-of-range", "Weight g must be above 0 up to 1,000,000 g."),
    Slip("fish", 0, "weight", -1, "out-of-range", "Weight g must be above 0 up to 1,000,000 g."),
    Slip("fish", 0, "weight", True, "not-a-number", "Weight g is not a number."),
    Slip("baths", 1, "active", 80, "out-of-range", "For 80 % type 0.8."),
    Slip("fish", 0, "weight", "310,5", "not-a-number", "It has a comma; type a decimal point."),
    Slip("fish", 0, "weight", "1.310,5", "not-a-number", "It has a comma; type a decimal point."),
    Slip("fish", 0, "weight", "310.5", "not-a-number", "It is text that looks like a number"),
    Slip("fish", 0, "weight", "310.5 g", "not-a-number", "It has letters in it; type the number alone in g."),
    Slip("vessels", 2, "known", "12 gal", "not-a-number", "type the number alone in L.",
         (("Vessels", 8, "Volume L", "volume-unknown"), )),
    Slip("visits", 0, "date", "2026-03-02", "not-a-date", "text that looks like a date; type it again as a date."),
    Slip("visits", 0, "date", "2.3.2026", "not-a-date", "text that looks like a date; type it again as a date."),
    Slip("visits", 0, "date", 61.0, "out-of-range", "Visit date must lie between 2000-01-01 and 2099-12-31."),
    Slip("water", 0, "time", "9:05", "not-a-time", "It is text that looks like a time; type it as 14:05 or 14:05:30."),
    Slip("water", 0, "time", 46_083.5, "out-of-range", "Time of reading must be a time of day"),
    Slip("sites", 1, "site", "s01", "id-used-twice", "already used in row 6", SECOND_SITE_EMPTY),
    Slip("sites", 1, "site", None, "missing", "Site is missing.", SECOND_SITE_EMPTY),
    Slip("vessels", 2, "known", -40, "out-of-range", "Known volume L must be above 0",
         (("Vessels", 8, "Volume L", "volume-unknown"), )),
    Slip("baths", 1, "vessel", "T99", "not-found", "Bath vessel is not on the Vessels sheet."),
    Slip("stocks", 0, "vessel", "T03", "other-site", "Stock vessel belongs to another site."),
    Slip("sites", 1, "kind", "castle", "not-listed", "Kind of site is not on its list."),
    Slip("fish", 0, "outcome", "swam off", "not-listed", "Outcome is not on its list."),
    Slip("stocks", 0, "number", 12.5, "out-of-range", "Number of fish must be a whole number"),
    Slip("baths", 0, "ended", clock("09:55"), "time-order", "Bath ended is before Bath started"),
    Slip("fish", 0, "recovered", clock("10:05"), "time-order", "Recovered is before Out of bath",
         (("Fish", 6, "Recovered", "recovery-slow"), )),
    Slip("fish", 0, "working", clock("10:01:05"), "stage-order", "Working stage is before Balance lost."),
    Slip("baths", 0, "limit", 70, "limit-below-start", "Limit is below the start dose.", NO_USES),
    Slip("baths", 0, "drug_weighed", 3.2, "drug-other", "drug weighed differs from drug to weigh by over 5 %"),
    Slip("baths", 0, "start_dose", 10, "dose-outside-reference", "the start dose lies outside the reference range",
         (("Baths", 6, "Drug weighed g", "drug-other"), )),
    Slip("samples", 0, "positive", 11, "more-positive", "More fish are positive than were looked at"),
    Slip("losses", 2, "date", "8 March 2026", "not-a-date", "text that looks like a date",
         (("Treatments", 7, "Release date", "temperature-gaps"), )),
    Slip("treatments", 0, "dose", 60, "dose-outside-reference", "the dose lies outside the reference range"),
    Slip("treatments", 0, "last", day(2026, 3, 1), "dates-order", "is before"),
    Slip("treatments", 0, "wait", None, "release-length", "Release after is missing."),
    Slip("baths", 0, "lot", 12, "number-for-text", "were there leading zeros?",
         (("Baths", 6, "Lot", "not-found"), )),
    Slip("visits", 0, "visit", 1, "number-for-text", "Visit holds a number, not text",
         (("Water", 6, "Water visit", "not-found"), ("Baths", 6, "Bath visit", "not-found"),
          ("Samples", 6, "Sample visit", "not-found"), ("Treatments", 6, "Treatment visit", "not-found"),
          ("Follow-ups", 6, "Follow-up visit", "not-found"))),
    Slip("baths", 0, "lot", "N1", "lot-of-another", "The lot is of another drug."),
    Slip("stores", 1, "unit", "mL", "unit-mixed", "kept in another unit"),
    Slip("follow_ups", 0, "due", day(2026, 2, 1), "dates-order", "before the visit"),
    Slip("follow_ups", 0, "outcome", None, "outcome-missing", "what became of it is missing"),
    Slip("fish", 0, "weight", 31.05, "weight-jump", "weight and length do not fit"),
    Slip("baths", 1, "used", 60, "more-water", "more water than the vessel holds"),
    Slip("baths", 0, "vessel", "T06", "empty-row", "points to a row of the Vessels sheet that is not filled in",
         (NO_WATER, *NO_USES)),
    Slip("fish", 0, "into", 1.2, "clock-time", "over 24 h"),
)  # fmt: skip


def test_a_clean_log_has_no_findings(tmp_path: Path) -> None:
    assert findings(made(tmp_path, clean())) == []


def test_an_empty_log_has_no_findings(tmp_path: Path) -> None:
    assert findings(made(tmp_path, {})) == []


@pytest.mark.parametrize("slip", SLIPS, ids=str)
def test_slip(slip: Slip, tmp_path: Path) -> None:
    """The slip is named with sheet, row, column, code and reason, what follows from it as well, and nothing else."""
    data = clean()
    slip.made_in(data)
    found = findings(made(tmp_path, data))
    assert sorted(placed(found)) == sorted([slip.place, *slip.also])
    (finding,) = [finding for finding in found if placed([finding]) == [slip.place]]
    assert slip.reason in finding.reason
    assert finding.value == slip.value
    table = case_log().tables[slip.table]
    assert finding.cell == f"{table.sheet}!{table.letters[slip.key]}{slip.place[1]}"


@pytest.mark.parametrize(
    ("table", "changes", "expected"),
    [
        ("stores", {"expiry": day(2026, 2, 1)}, [("Baths", 6, "Lot", "lot-expired")]),
        ("stores", {"received": 10}, [("Stores", 6, "Balance", "store-negative")]),
        ("stores", {"received_on": day(2026, 3, 3)}, [("Baths", 6, "Lot", "lot-not-there")]),
        # R001 may be released 21 days after 4 March, R002 by degree days before that
        ("stocks", {"harvested": day(2026, 3, 24)}, [("Treatments", 6, "Release date", "harvest-before-release")]),
        ("stocks", {"harvested": day(2026, 3, 25)}, []),
    ],
    ids=str,
)
def test_a_fault_seen_elsewhere(
    table: str, changes: dict[str, Any], expected: list[tuple[str, int, str, str]], tmp_path: Path
) -> None:
    data = clean()
    data[table][0] |= changes
    assert placed(findings(made(tmp_path, data))) == expected


def together() -> list[Slip]:
    """One slip for each cell, without those whose cells another one leaves blank or changes the meaning of."""
    chosen: dict[tuple[str, int, str], Slip] = {}
    for slip in SLIPS:
        if slip.key not in ("start_dose", "site", "drug_weighed", "used", "into", "due", "unit"):
            chosen.setdefault((slip.table, slip.row, slip.key), slip)
    return list(chosen.values())


def test_all_slips_in_one_run(tmp_path: Path) -> None:
    data = clean()
    slips = together()
    assert len(slips) >= 15
    for slip in slips:
        slip.made_in(data)
    found = findings(made(tmp_path, data))
    missing = {slip.place for slip in slips} - set(placed(found))
    assert not missing
    sheets = [sheet.name for sheet in case_log().sheets]
    places = [(sheets.index(finding.sheet), finding.row) for finding in found]
    assert places == sorted(places)
    assert {"fault", "notice"} == {finding.severity for finding in found}


def test_a_bath_in_a_vessel_without_a_usable_volume_is_not_ok(tmp_path: Path) -> None:
    """The text "12 gal" must not pass for litres: no drug can be weighed for such a bath, and its row must say so."""
    data = clean()
    data["vessels"][2]["known"] = "12 gal"
    del data["baths"][1]["used"]
    found = placed(findings(made(tmp_path, data)))
    assert ("Baths", 7, "Water dosed L", "no-volume") in found


def test_a_lot_keeps_its_zeros(tmp_path: Path) -> None:
    log = check_log(made(tmp_path, clean()), case_log()).log
    assert log.tables["baths"].rows[0]["lot"] == "0012"
    assert log.tables["sites"].rows[0]["telephone"] == "0012 345"


def test_blank_rows_before_and_between(tmp_path: Path) -> None:
    """Rows keep their own numbers, and references find them."""
    data = clean()
    data["vessels"] = [{}, {}, *data["vessels"][:2], {}, {}, {}, *data["vessels"][2:]]
    data["fish"] = [{}, data["fish"][0], {}, data["fish"][1]]
    data["fish"][3]["weight"] = 0
    path = made(tmp_path, data)
    found = findings(path)
    assert placed(found) == [("Fish", 9, "Weight g", "out-of-range")]
    log = check_log(path, case_log()).log
    assert log.tables["vessels"].numbers == [8, 9, 13, 14, 15]
    assert log.tables["fish"].numbers == [7, 9]


# ----------------------------------------------------------------------------- numbers that are no plain number


@pytest.mark.parametrize("value", [math.nan, math.inf, -math.inf, 10**400], ids=["nan", "inf", "-inf", "huge"])
def test_numbers_that_no_cell_holds_are_refused(value: float, tmp_path: Path) -> None:
    data = clean()
    data["fish"][0]["weight"] = value
    with pytest.raises(WorkbookToolsError) as caught:
        made(tmp_path, data)
    assert "weight" in str(caught.value).lower()
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    "value", [np.float64(310.5), np.float32(310.5), Decimal("310.5"), Fraction(621, 2)], ids=lambda v: type(v).__name__
)
def test_numbers_of_other_types_are_stored_as_numbers_or_refused(value: Any, tmp_path: Path) -> None:
    data = clean()
    data["fish"][0]["weight"] = value
    try:
        path = made(tmp_path, data)
    except WorkbookToolsError as error:
        assert "weight" in str(error).lower()  # noqa: PT017 - either way out is right
        return
    assert check_log(path, case_log()).log.tables["fish"].rows[0]["weight"] == 310.5
    assert findings(path) == []


def test_dates_of_python_are_stored_as_dates_or_refused(tmp_path: Path) -> None:
    data = clean()
    data["visits"][0]["date"] = datetime.date(2026, 3, 2)
    try:
        path = made(tmp_path, data)
    except WorkbookToolsError as error:
        assert "date" in str(error).lower()  # noqa: PT017 - either way out is right
        return
    assert check_log(path, case_log()).log.tables["visits"].rows[0]["date"] == day(2026, 3, 2)
    assert findings(path) == []


# ------------------------------------------------------------------------------------- sheets rearranged by people


def rearranged(folder: Path, change: Callable[[openpyxl.Workbook], None], data: Data | None = None) -> Path:
    """A copy that openpyxl has changed and saved; that drops every stored result."""
    book = openpyxl.load_workbook(made(folder, data or clean()))
    change(book)
    book.save(folder / "copy.xlsx")
    return folder / "copy.xlsx"


def typed(path: Path) -> dict[str, list[dict[str, Any]]]:
    return check_log(path, case_log()).log.data()


BY_OPENPYXL = {
    "results-not-stored",
    "formula-changed",
    "formula-lost",
}  # it moves cells and leaves formulas as they are
BY_LIBREOFFICE = {"column-formula-lost", "name-broken"}  # what it does not write as Excel wants it


def said(found: list[Finding]) -> list[Finding]:
    """Findings but those that openpyxl's own moving and saving cause."""
    return [finding for finding in found if finding.code not in BY_OPENPYXL]


def swap(sheet: Worksheet, one: str, other: str) -> None:
    """Two columns change places, headings and all."""
    for row in range(5, 5 + ROWS + 1):
        first, second = sheet[f"{one}{row}"], sheet[f"{other}{row}"]
        first.value, second.value = second.value, first.value
        first.number_format, second.number_format = second.number_format, first.number_format


def alike(one: Any, other: Any) -> bool:
    """Equal, numbers but for the last digits that other programs round off."""
    if isinstance(one, float) and isinstance(other, float):
        return math.isclose(one, other, rel_tol=1e-12)
    return bool(one == other)


def check_same_log(before: dict[str, list[dict[str, Any]]], after: dict[str, list[dict[str, Any]]]) -> None:
    assert before.keys() == after.keys()
    for table, rows in before.items():
        assert len(after[table]) == len(rows), table
        for one, other in zip(rows, after[table], strict=True):
            assert one.keys() == other.keys()
            assert all(alike(one[key], other[key]) for key in one), (table, one, other)


def letters_of(table: str, key: str) -> str:
    return case_log().tables[table].letters[key]


def move_columns(book: openpyxl.Workbook) -> None:
    swap(book["Fish"], letters_of("fish", "weight"), letters_of("fish", "notes"))
    swap(book["Baths"], letters_of("baths", "bath"), letters_of("baths", "lot"))


def insert_columns(book: openpyxl.Workbook) -> None:
    for sheet in ("Sites", "Baths", "Fish"):
        book[sheet].insert_cols(3, 2)
        book[sheet]["C5"] = "My own remark"
        book[sheet]["C6"] = "12 gal"


def hide(book: openpyxl.Workbook) -> None:
    for letter in "BCD":
        book["Fish"].column_dimensions[letter].hidden = True
    book["Baths"].row_dimensions[6].hidden = True
    book["Water"].sheet_state = "hidden"


def insert_rows(book: openpyxl.Workbook) -> None:
    book["Fish"].insert_rows(1, 4)
    book["Fish"]["A1"] = "Summer of the flood"


def add_sheets(book: openpyxl.Workbook) -> None:
    book.create_sheet("My notes", 0)["A1"] = "Fish"
    book.create_sheet("Fish (2)")["A5"] = "Fish"
    book.move_sheet("Fish", -3)


def change_case(book: openpyxl.Workbook) -> None:
    sheet = book["Fish"]
    sheet.title = "other"
    sheet.title = "FISH"
    cell = sheet[f"{letters_of('fish', 'weight')}5"]
    cell.value = " weight G "


@pytest.mark.parametrize("change", [move_columns, insert_columns, hide, insert_rows, add_sheets, change_case])
def test_rearranged_sheets_read_the_same(change: Callable[[openpyxl.Workbook], None], tmp_path: Path) -> None:
    original = typed(made(tmp_path, clean()))
    path = rearranged(tmp_path, change)
    found = findings(path)
    assert said(found) == []
    moved = change in (insert_columns, insert_rows)
    assert bool(BY_OPENPYXL & {finding.code for finding in found} - {"results-not-stored"}) is moved
    check_same_log(original, typed(path))


@pytest.mark.parametrize("change", [move_columns, insert_columns, hide, insert_rows, add_sheets])
def test_slips_on_rearranged_sheets_are_found_where_they_are(
    change: Callable[[openpyxl.Workbook], None], tmp_path: Path
) -> None:
    data = clean()
    data["fish"][1]["weight"] = "310,5"
    path = rearranged(tmp_path, change, data)
    (finding,) = said(findings(path))
    assert (finding.sheet, finding.column, finding.code) == ("Fish", "Weight g", "not-a-number")
    sheet, cell = finding.cell.split("!")
    assert openpyxl.load_workbook(path)[sheet][cell].value == "310,5"
    assert cell.endswith(str(finding.row))


def test_sorted_rows(tmp_path: Path) -> None:
    """Every sheet sorted the other way round, the daily losses too."""
    data = clean()
    data["fish"][0]["weight"] = "310,5"
    for rows in data.values():
        rows.reverse()
    found = findings(made(tmp_path, data))
    assert placed(found) == [("Fish", 7, "Weight g", "not-a-number")]


def test_a_renamed_heading(tmp_path: Path) -> None:
    def rename(book: openpyxl.Workbook) -> None:
        book["Fish"][f"{letters_of('fish', 'weight')}5"] = "Weight in g"

    (finding,) = said(findings(rearranged(tmp_path, rename)))
    assert placed([finding]) == [("Fish", 5, "Weight g", "heading-missing")]
    assert finding.reason == "The heading 'Weight g' is missing on Fish; its column cannot be read."


def test_a_heading_that_stands_twice(tmp_path: Path) -> None:
    def double(book: openpyxl.Workbook) -> None:
        book["Fish"].insert_cols(3)
        book["Fish"]["C5"] = "Fish notes"

    (finding,) = said(findings(rearranged(tmp_path, double)))
    assert finding.code == "heading-doubled"
    assert (finding.sheet, finding.row, finding.column) == ("Fish", 5, "Fish notes")


def test_a_renamed_sheet(tmp_path: Path) -> None:
    def rename(book: openpyxl.Workbook) -> None:
        book["Fish"].title = "Fishes"

    first, *others = said(findings(rearranged(tmp_path, rename)))
    assert placed([first]) == [("Fish", 1, "", "sheet-missing")]
    assert first.reason == "The sheet Fish is missing; was it renamed or deleted?"
    assert placed(others) == [("Samples", 6, "Sample fish", "not-found")]


def test_a_deleted_sheet_that_others_point_to(tmp_path: Path) -> None:
    def delete(book: openpyxl.Workbook) -> None:
        book.remove(book["Visits"])

    found = said(findings(rearranged(tmp_path, delete)))
    assert ("Visits", 1, "", "sheet-missing") in placed(found)
    assert ("Baths", 6, "Bath visit", "not-found") in placed(found)


def test_results_that_were_not_stored_are_said_once_a_sheet(tmp_path: Path) -> None:
    found = findings(rearranged(tmp_path, lambda book: None))
    assert {finding.code for finding in found} == {"results-not-stored"}
    assert {finding.severity for finding in found} == {"notice"}
    sheets = [finding.sheet for finding in found]
    assert len(sheets) == len(set(sheets))
    assert {"Vessels", "Baths", "Fish"} <= set(sheets)


# ------------------------------------------------------------------------------------------------- LibreOffice


def test_a_log_saved_by_libreoffice_is_still_clean(tmp_path: Path, office: Office) -> None:
    path = made(tmp_path, clean())
    saved = office.convert(path, tmp_path / "saved.xlsx", "xlsx")
    assert {finding.code for finding in findings(saved)} == BY_LIBREOFFICE
    check_same_log(typed(path), typed(saved))


def test_typing_in_libreoffice(tmp_path: Path, office: Office) -> None:
    """A text, a number typed over a formula, a wrong word and a new row, typed past every rule."""
    weight, drug = letters_of("fish", "weight"), letters_of("baths", "drug")
    entries = {
        "Fish": {
            **{f"{weight}6": "12 gal", f"{weight}7": "310.5", "A8": "F0003", "B8": "B001"},
            f"{letters_of('fish', 'other_species')}8": "carp",
        },
        "Baths": {f"{drug}6": "99", f"{letters_of('baths', 'lot')}7": "0034"},
        "Visits": {f"{letters_of('visits', 'date')}6": "2026-03-03"},
        "Sites": {f"{letters_of('sites', 'kind')}6": "castle"},
    }
    saved = office.type_into(made(tmp_path, clean()), entries, tmp_path / "typed.xlsx")
    found = [finding for finding in findings(saved) if finding.code not in BY_LIBREOFFICE]
    assert sorted(placed(found)) == [
        ("Baths", 6, "Drug to weigh g", "typed-over"),
        ("Baths", 7, "Lot", "not-found"),
        ("Fish", 6, "Weight g", "not-a-number"),
        ("Sites", 6, "Kind of site", "not-listed"),
    ]
    assert typed(saved)["baths"][1]["lot"] == "0034"
    assert typed(saved)["visits"][0]["date"] == day(2026, 3, 3)
    assert typed(saved)["fish"][2]["other_species"] == "carp"


# --------------------------------------------------------------------------------------------- one stray cell

STRAY = """
import resource, sys
from pathlib import Path
resource.setrlimit(resource.RLIMIT_AS, (1 << 30, 1 << 30))
from workbook_tools.log.checking.log_check import check_log
from workbook_tools.errors import ReadError
from workbook_tools.layout import case_log
try:
    print(len(check_log(Path(sys.argv[1]), case_log()).findings))
except ReadError as error:
    print(error)
"""


@pytest.mark.parametrize("cell", ["A5000", "A1048576", "XFD1048576"])
def test_one_stray_cell_far_away_does_not_end_the_check(cell: str, tmp_path: Path) -> None:
    """In a process of its own, of 1 GB: a reader that asks for too much memory takes the whole process down."""

    def stray(book: openpyxl.Workbook) -> None:
        book["Fish"][cell] = "x"

    path = rearranged(tmp_path, stray)
    done = subprocess.run(
        [sys.executable, "-c", STRAY, str(path)], capture_output=True, text=True, check=False, timeout=120
    )
    assert done.returncode == 0, done.stderr[:300]
    assert done.stdout.strip()


@pytest.mark.parametrize("name", ["S*", "S?1", "~S1", "<5", ">0", "=S1", "12", "0012", "1e3", "TRUE", "false "])
def test_an_id_that_stands_for_others_is_refused(name: str, tmp_path: Path) -> None:
    """Summaries count by names, and COUNTIFS takes these for other names, conditions or numbers."""
    data = clean()
    data["sites"].append({**data["sites"][0], "site": name, "name": "Upper springs"})
    found = check_log(made(tmp_path, data), case_log()).findings
    codes = [finding.code for finding in found if finding.value == name]
    assert codes == ["id-stands-for-others", *(["unseen-sign"] if name != name.strip() else [])]


def test_a_row_typed_twice(tmp_path: Path) -> None:
    data = clean()
    data["fish"].append({**data["fish"][0], "fish": "F0009"})
    data["losses"].append({**data["losses"][0], "day": "D0009", "feed": 0.7})
    assert placed(findings(made(tmp_path, data))) == [
        ("Fish", 8, "Fish", "row-twice"),
        ("Losses", 10, "Day", "day-twice"),
    ]


def test_a_temperature_in_fahrenheit(tmp_path: Path) -> None:
    """A thermometer read in the other degrees: 9.5 C typed as what is left of 49 F."""
    data = clean()
    data["losses"][2]["temperature"] = 28
    found = findings(made(tmp_path, data))
    assert [(f.code, f.row) for f in found if f.code == "temperature-jump"] == [
        ("temperature-jump", 8),
        ("temperature-jump", 9),
    ]


def test_a_rule_that_is_gone(tmp_path: Path, office: Office) -> None:
    """A cell pasted over takes its rule with it."""
    path = made(tmp_path, clean())
    place = letters_of("fish", "weight")
    book = openpyxl.load_workbook(path)
    rules = book["Fish"].data_validations.dataValidation
    rules[:] = [rule for rule in rules if not str(rule.sqref).startswith(f"{place}6")]
    book.save(path)
    assert [(f.column, f.code) for f in findings(path) if f.code == "rule-missing"] == [("Weight g", "rule-missing")]


def test_a_row_below_the_table(tmp_path: Path) -> None:
    path = made(tmp_path, clean(), rows=2)
    book = openpyxl.load_workbook(path)
    for cell, value in {"A20": "V020", "B20": day(2026, 5, 1), "C20": "S01"}.items():
        book["Visits"][cell] = value
    book.save(path)
    assert ("Visits", 20, "Visit", "row-outside-table") in placed(findings(path))


def test_times_by_stopwatch(tmp_path: Path) -> None:
    """Typed m:ss, which a spreadsheet stores as hours and minutes; computed by hand."""
    data = clean()
    data["baths"][0] |= {"times": "stopwatch", "first_topup": 4 / 24, "ended": 20 / 24}
    for row, (seconds, working, out, recovered) in zip(
        data["fish"], ((0, 140, 360, 570), (60, 200, 420, 1510)), strict=True
    ):
        times = {"into": seconds or None, "balance": None, "working": working, "out": out, "recovered": recovered}
        row |= {key: value and value / 1440 for key, value in times.items()}
    data["watch"][0]["time"] = 150 / 1440
    data["watch"][1]["time"] = 300 / 1440
    path = made(tmp_path, data)
    checked = check_log(path, case_log())
    assert placed(checked.findings) == [("Fish", 7, "Recovered", "recovery-slow")]
    fish = checked.computed.data["fish"]
    assert [row["seconds_to_working"] for row in fish] == [140, 140]
    assert [row["seconds_to_recovery"] for row in fish] == [210, 1090]
    assert [row["seconds_to_topup"] for row in fish] == [240, 180]
    assert [row["since"] for row in checked.computed.data["watch"]] == [150, 300]
    assert checked.computed.data["baths"][0]["seconds"] == 1200


@pytest.mark.parametrize(
    ("typed_time", "code"),
    [(200 / 86400, "stopwatch-form"), (180 / 86400, "stopwatch-short"), ("3:20", "not-a-time"), (11.0, "out-of-range")],
)
def test_stopwatch_slips(typed_time: object, code: str, tmp_path: Path) -> None:
    """0:03:20 and 0:03:00 where 3:20 and 3:00 are wanted, a text, a time beyond 240 minutes."""
    data = clean()
    data["baths"][1]["times"] = "stopwatch"
    data["fish"][1] |= {
        "bath": "B002",
        "into": None,
        "balance": None,
        "working": typed_time,
        "out": None,
        "recovered": None,
    }
    assert ("Fish", 7, "Working stage" if code != "stopwatch-form" else "Into bath", code) in placed(
        findings(made(tmp_path, data))
    )


def test_a_date_that_no_calendar_has(tmp_path: Path) -> None:
    """Far too large is a finding; far below zero stops the reader of dates, which says where."""
    data = clean()
    data["visits"][0]["date"] = 1e12
    assert ("Visits", 6, "Visit date", "out-of-range") in placed(findings(made(tmp_path, data)))
    data["visits"][0]["date"] = -1e12
    with pytest.raises(ReadError, match="the sheet Visits holds a date or time that no calendar has"):
        check_log(made(tmp_path, data), case_log())


@pytest.mark.parametrize(("off", "found"), [(1e-8, True), (-1e-8, True), (1e-10, False), (0.0, False)])
def test_a_stored_result_is_right_to_a_billionth(off: float, found: bool, tmp_path: Path) -> None:
    """400 L at 80 mg/L are 32 g; a result that is off by a hundred-millionth was not computed from these cells."""
    path = made(tmp_path, clean())
    edit = WorkbookEdit(path.read_bytes())
    edit.store("Baths", 6, column_number(letters_of("baths", "drug")), 32 * (1 + off))
    path.write_bytes(edit.content())
    codes = [(one.code, one.column) for one in findings(path)]
    assert codes == ([("result-differs", "Drug to weigh g")] if found else [])


@pytest.mark.parametrize(
    ("days", "change", "found"),
    [(1, 6.1, True), (2, 6.1, True), (2, -6.1, True), (2, 6.0, False), (2.5, 6.1, False), (3, 20.0, False)],
)
def test_a_jump_is_over_6_degrees_within_2_days(days: float, change: float, found: bool) -> None:
    """Common practice, no source."""
    rows = [{"stock": "K01", "date": 46083 + days, "t": 10 + change}, {"stock": "K01", "date": 46083, "t": 10.0}]
    other = {"stock": "K02", "date": 46083.5, "t": 30.0}
    seen = list(temperature_jumps([*rows, other], "stock", "date", "t"))
    assert [(one.position, one.code) for one in seen] == ([(0, "temperature-jump")] if found else [])


def test_rules_that_end_in_the_last_row_in_use_reach_it(tmp_path: Path) -> None:
    """A log without a free row: each rule begins and ends with a row in use."""
    data = {key: rows for key, rows in clean().items() if key in ("sites", "vessels", "visits")}
    assert findings(made(tmp_path, data, rows=1)) == []


def test_rules_cover_each_row_once_or_in_parts() -> None:
    rows = [6, 7, 9, 12]
    assert _covered(rows, [(6, 12)])
    assert _covered(rows, [(9, 9), (12, 12), (6, 7)])
    assert not _covered(rows, [(6, 11)])
    assert not _covered(rows, [(7, 12)])
    assert not _covered(rows, [(6, 8), (10, 12)])


def test_merged_cells_count_where_they_reach_into_rows_in_use() -> None:
    """Rows 6 to 9 are in use, columns B and C are typed; what is merged above, below or beside them hides nothing."""
    areas = ("A3:F3", "B4:C5", "B5:B6", "C7:D8", "D6:E7", "A6:A7", "B9:B10", "B10:B11")
    part = b"<mergeCells>" + b"".join(b'<mergeCell ref="%s"/>' % area.encode() for area in areas) + b"</mergeCells>"
    assert list(merged_areas(part, (1, 2), 6, 9)) == ["B5:B6", "C7:D8", "B9:B10"]


def test_a_date_may_be_any_day_from_2000_to_2099(tmp_path: Path) -> None:
    """The rules of the cells; those of the Check column are in tests/worked/limits.toml."""
    book = openpyxl.load_workbook(made(tmp_path, {}))
    rules = [rule for sheet in book for rule in sheet.data_validations.dataValidation if rule.type == "date"]
    assert len(rules) > 10
    assert {(rule.operator, rule.formula1, rule.formula2) for rule in rules} == {
        ("between", f"{day(2000, 1, 1):.0f}", f"{day(2099, 12, 31):.0f}")
    }
