"""Copies for producers: what stands on the pages, how they print, encryption, words and units."""

from __future__ import annotations

import ast
import datetime
import io
import json
import re
import zipfile
from pathlib import Path
from typing import Any

import openpyxl
import pypdf
import pytest
import python_calamine
from hypothesis import given
from hypothesis import strategies as st
from openxml_audit import OpenXmlValidator

from demo.practice import practice as demo_practice
from tests.support.commands import run
from tests.support.office import Office, OfficeFailedError
from tests.support.practices import MADE, TODAY, practice
from workbook_tools import call
from workbook_tools.errors import DataError, HostError, ReadError
from workbook_tools.functions.formulas import unit
from workbook_tools.functions.quantities.amounts import amount
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.gate import Despite
from workbook_tools.producer import pdf as printing
from workbook_tools.producer.chart_sheet import CHART_ROWS
from workbook_tools.producer.copy import ProducerCopy, producer_copy
from workbook_tools.producer.daily_sheet import KEYS, heading_key
from workbook_tools.producer.locked import LONGEST, checked_password, locked, password_of, unlocked
from workbook_tools.producer.returned_rows import headings
from workbook_tools.producer.units import Units
from workbook_tools.producer.words import LISTED, Words, languages, log_word, table

ROOT = Path(__file__).resolve().parent.parent
FORMULA_LIKE = (
    "=1+1",
    "+1",
    "-1",
    "@SUM(A1)",
    "\t=1",
    '=HYPERLINK("file:///etc","x")',
    "=cmd|' /C calc'!A0",
    "=DDE(1)",
)
ONE = {
    "sites": [{"site": "S01", "name": "Alder springs", "kind": "farm", "food_fish": "yes", "notes": "hidden remark"}],
    "vessels": [
        {"vessel": "T01", "site": "S01", "name": "Raceway", "shape": "known volume", "known": 1234.5, "notes": "n"}
    ],
    "stocks": [
        {"stock": "K01", "site": "S01", "vessel": "T01", "species": "carp", "food_fish": "yes", "number": 321,
         "mean_weight": 77.7},
    ],
    "visits": [{"visit": "V001", "date": TODAY - 5, "site": "S01", "findings": "Gills pale.", "notes": "hidden too"}],
}  # fmt: skip


def log(**more: list[dict[str, Any]]) -> Computed:
    rows = {key: [dict(row) for row in held] for key, held in ONE.items()}
    for key, added in more.items():
        rows[key] = rows.get(key, []) + added
    return Computed(case_log(), rows)


def treated(**values: Any) -> dict[str, Any]:
    """A bath that runs today."""
    return {
        "treatment": "R001", "visit": "V001", "stock": "K01", "route": "bath", "dose": 12, "days": 3,
        "agent": "chloramine-T, freshwater salmonids", "first": TODAY, "last": TODAY + 2,
    } | values  # fmt: skip


def shared(computed: Computed, **options: Any) -> ProducerCopy:
    return producer_copy(computed, options.pop("site", "S01"), MADE, **options)


def texts(copy: ProducerCopy | bytes, sheet: str = "") -> list[str]:
    """Texts of the cells of sheets whose names begin so, in order."""
    content = copy if isinstance(copy, bytes) else copy.content
    book = python_calamine.load_workbook(io.BytesIO(content))
    return [
        str(value)
        for name in book.sheet_names
        if name.startswith(sheet)
        for row in book.get_sheet_by_name(name).to_python()
        for value in row
        if value != ""
    ]


def squeezed(text: str) -> str:
    return re.sub(r"\s", "", text)


# --------------------------------------------------------------------------------------------- what is to be given


@pytest.mark.parametrize(
    ("values", "name", "arguments", "shown"),
    [
        ({}, "BATH.MASS", (1234.5, 12), "g"),
        ({"active": 0.8}, "BATH.MASS", (1234.5, 12, 0.8), "g"),
        ({"used": 600}, "BATH.MASS", (600, 12), "g"),
        (
            {"route": "bath by volume", "agent": "formalin, other finfish", "dose": 150},
            "BATH.LIQUID", (1234.5, 150), "mL",
        ),
        (
            {"route": "bath by strength", "agent": "hydrogen peroxide, eggs, warm water", "dose": 50, "strength": 350},
            "BATH.SOLUTION", (1234.5, 50, 350), "mL",
        ),
        ({"route": "constant flow", "flow": 30, "minutes": 60}, "BATH.DRIP", (30, 12, 60), "g"),
        ({"route": "salt", "agent": "salt, dip", "dose": 5, "salt_now": 0.3}, "BATH.SALT", (1234.5, 0.3, 5), "g"),
        (
            {"route": "feed", "agent": "oxytetracycline, feed", "dose": 75, "ration": 1.5, "active": 0.5},
            "FEED.DRUG", (321 * 77.7 / 1000, 75 / 0.5, 1), "g",  # half of the product is active: twice as much of it
        ),
        (
            {"route": "injection", "agent": "florfenicol, feed", "dose": 10, "strength": 30, "weight": 450},
            "DOSE.INJECTION", (450, 10, 30), "mL",
        ),
        ({"route": "euthanasia bath", "agent": "tricaine methanesulfonate, euthanasia", "dose": 250},
         "BATH.MASS", (1234.5, 250), "g"),
        ({"route": "take out chlorine", "agent": "sodium thiosulfate pentahydrate", "dose": 0.4},
         "CLEAN.THIOSULFATE", (1234.5, 0.4), "g"),
    ],
)  # fmt: skip
def test_the_amount_on_the_page_is_the_formulas(
    values: dict[str, Any], name: str, arguments: tuple[float, ...], shown: str
) -> None:
    """The formulas have their published cases in tests/published; here the page must show their answer."""
    wanted = amount(call(name, *arguments), shown)
    computed = log(treatments=[treated(**values)])
    page = texts(shared(computed), "What to give")
    assert any(text.endswith(f": {wanted}") for text in page), (wanted, page)
    assert wanted in page  # beside the boxes
    us = texts(shared(computed, units="us"), "What to give")
    assert any(f"({wanted})" in text for text in us)


def test_the_days_have_boxes_where_the_log_names_them() -> None:
    book = openpyxl.load_workbook(io.BytesIO(shared(log(treatments=[treated()])).content))
    heads = [cell.value for row in book["What to give"].iter_rows() for cell in row if cell.value]
    assert [head for head in heads if "Jul" in str(head) and len(str(head)) < 8] == [
        "22 Jul",
        "23 Jul",
        "24 Jul",
    ]


@pytest.mark.parametrize("last", [TODAY + 5, None])
def test_days_that_the_log_does_not_name_are_numbered_and_not_guessed(last: float | None) -> None:
    page = texts(shared(log(treatments=[treated(last=last)])), "What to give")
    assert {"1", "2", "3"} <= set(page)
    assert "Given on (write the day)" in page
    assert not any("23 Jul" in text for text in page)


def test_a_treatment_without_an_amount_says_so() -> None:
    known = [Despite("R001", "the strength is on the pack")]
    page = texts(shared(log(treatments=[treated(route="bath by strength")]), overrides=known), "What to give")
    assert any(text.startswith("The log has no amount for this treatment.") for text in page)
    assert "Tank" not in page


def test_what_is_over_is_not_to_be_given_and_what_comes_is() -> None:
    over = treated(treatment="R008", first=TODAY - 9, last=TODAY - 7)
    coming = treated(treatment="R009", first=TODAY + 30, last=TODAY + 32)
    copy = shared(log(treatments=[over, coming]))
    page = " ".join(texts(copy, "What to give"))
    assert "R009" in page
    assert "R008" not in page
    found = texts(copy, "What we found")
    assert "Treatments that are over" in found
    assert "2026-07-13 to 2026-07-15" in found


@pytest.mark.parametrize(
    ("values", "words"),
    [
        ({"route": "bath by volume", "agent": "formalin, ponds", "dose": 20}, "Formalin is poisonous"),
        ({"route": "bath by strength", "agent": "hydrogen peroxide, eggs, warm water", "strength": 350}, "feeds fire"),
        ({}, "dust mask"),
        ({"route": "take out chlorine", "agent": "sodium thiosulfate pentahydrate"}, "Chlorine kills fish"),
        ({"route": "euthanasia bath", "agent": "tricaine methanesulfonate, euthanasia"}, "never water to powder"),
        ({"route": "feed", "agent": "oxytetracycline, feed", "ration": 1}, "Medicated feed is for these fish only"),
    ],
)
def test_cautions_go_with_the_product(values: dict[str, Any], words: str) -> None:
    page = " ".join(texts(shared(log(treatments=[treated(**values)])), "What to give"))
    assert words in page
    assert "Gloves, eye protection" in page
    assert "The label in force and the prescribing veterinarian decide." in page


# ------------------------------------------------------------------------------------------------------- release


def day(number: float) -> str:
    date = MADE.date() + datetime.timedelta(days=int(number - TODAY))
    return f"{date.day} {date:%B} {date.year}"


@pytest.mark.parametrize(
    ("values", "large", "rule"),
    [
        ({"rule": "days", "wait": 21}, f"Not before {day(TODAY + 2 + 21)}",
         "21 days after the last day given (2026-07-24)."),
        ({"rule": "degree days", "wait": 100, "mean": 10, "rule_source": "label"}, f"Not before {day(TODAY + 2 + 11)}",
         "100 degree days (C) after the last day given (2026-07-24): an estimate at 10.0 C"),
        ({"rule": "never"}, "Never to be sold or eaten as food", "Never: after this treatment"),
        ({"rule": "degree days", "wait": 100}, "No date is known: do not sell or eat", "100 degree days"),
        ({}, "No date is known: do not sell or eat", "No rule was chosen"),
        ({"rule": "days", "wait": 5, "first": TODAY - 20, "last": TODAY - 18}, "No wait that the log knows", "5 days"),
    ],
)  # fmt: skip
def test_release_is_said_with_its_rule(values: dict[str, Any], large: str, rule: str) -> None:
    page = [
        text.replace("\u00a0", " ") for text in texts(shared(log(treatments=[treated(**values)])), "When fish may go")
    ]
    assert any(text.startswith(large) for text in page), page
    assert any(rule in text for text in page), page


def test_degree_days_say_what_was_added_up() -> None:
    """12 C and 13 C on the two days after the last one are 25 degree days; 75 more at the 12.5 C typed take 6 days, to
    the end of the fifth from today."""
    losses = [
        {"day": f"D{number}", "date": TODAY - 3 + number, "stock": "K01", "temperature": 11 + number}
        for number in (1, 2)
    ]
    row = treated(first=TODAY - 5, last=TODAY - 3, rule="degree days", wait=100, mean=12.5)
    page = [
        text.replace("\u00a0", " ") for text in texts(shared(log(treatments=[row], losses=losses)), "When fish may go")
    ]
    assert f"Not before {day(TODAY + 6)}" in page
    assert any(
        "25.0 degree days (C), degree days counted by daily readings of 2 days. The rest is an estimate at 12.5 C"
        in text
        for text in page
    )


@pytest.mark.parametrize(
    ("gaps", "number", "large", "rule"),
    [
        # 10 C on days 1, 4, 7 ... 28: ten readings, 100 degree days at the end of day 28
        (None, 10, "Not before {day29}", "Days without a reading added nothing."),
        (
            None,
            9,
            "No date is known: do not sell or eat",
            "90.0 degree days (C), degree days counted by daily readings",
        ),
        # 10, then 30 at each reading: 100 at the end of day 10
        ("lower neighbour", 10, "No wait that the log knows", "Days without a reading added the lower of the readings"),
    ],
)
def test_what_days_without_a_reading_added_is_said(gaps: str | None, number: int, large: str, rule: str) -> None:
    last = TODAY - 28
    losses = [{"day": f"D{n}", "date": last + 1 + 3 * n, "stock": "K01", "temperature": 10.0} for n in range(number)]
    row = treated(first=last, last=last, days=1, rule="degree days", wait=100, gaps=gaps)
    page = [
        text.replace("\u00a0", " ") for text in texts(shared(log(treatments=[row], losses=losses)), "When fish may go")
    ]
    assert any(text.startswith(large.format(day29=day(TODAY + 1))) for text in page), page
    assert any(rule in text for text in page), page


def test_temperatures_of_days_that_have_not_come_are_left_out() -> None:
    """10 C a day for 20 days, of which 10 have come."""
    last = TODAY - 10
    losses = [{"day": f"D{n}", "date": last + n, "stock": "K01", "temperature": 10.0} for n in range(1, 21)]
    row = treated(first=last, last=last, days=1, rule="degree days", wait=150)
    made = shared(log(treatments=[row], losses=losses))
    assert any("No date is known" in text for text in texts(made, "When fish may go"))
    assert [said for said in made.remarks if "has not come yet" in said] == [
        f"Losses row D{n} is of a day that has not come yet: its temperature was not counted." for n in range(11, 21)
    ]


def test_the_gravest_wait_of_a_group_counts() -> None:
    rows = [
        treated(treatment="R001", rule="days", wait=10),
        treated(treatment="R002", rule="days", wait=40),
        treated(treatment="R003", rule="days", wait=20),
    ]
    page = [text.replace("\u00a0", " ") for text in texts(shared(log(treatments=rows)), "When fish may go")]
    assert [text for text in page if text.startswith("Not before ")] == [f"Not before {day(TODAY + 42)}"]
    never = texts(shared(log(treatments=[*rows, treated(treatment="R004", rule="never")])), "When fish may go")
    assert "Never to be sold or eaten as food" in never
    assert not any(text.startswith("Not before ") for text in never)


def test_since_leaves_out_what_is_older_and_never_a_running_release_date() -> None:
    old = treated(treatment="R007", first=TODAY - 100, last=TODAY - 98, rule="days", wait=200, why="old trouble")
    visits = [{"visit": "V000", "date": TODAY - 100, "site": "S01", "findings": "Long ago."}]
    water = [{"reading": "W001", "visit": "V000", "vessel": "T01", "temperature": 3.3}]
    samples = [{"sample": "P001", "visit": "V000", "kind": "blood", "found": "old worm"}]
    losses = [{"day": "D0001", "date": TODAY - 100, "stock": "K01", "dead": 77}]
    computed = log(treatments=[old], visits=visits, water=water, samples=samples, losses=losses)
    old_texts = {"Long ago.", "3.3\u00a0C", "old worm", "77", "old trouble"}
    everything = {text.removesuffix(".0") for text in texts(shared(computed))}
    assert old_texts <= everything
    late = shared(computed, since=TODAY - 30)
    kept = {text.removesuffix(".0").replace("\u00a0", " ") for text in texts(late)}
    assert not {text.replace("\u00a0", " ") for text in old_texts} & kept
    assert f"Not before {day(TODAY - 98 + 200)}" in kept


# ----------------------------------------------------------------------------------------------- other pages


def test_findings_samples_and_water_are_told() -> None:
    computed = log(
        baths=[{"bath": "B001", "visit": "V001", "vessel": "T01", "species": "carp", "use": "anaesthesia",
                "agent": "tricaine methanesulfonate", "start_dose": 80}],
        fish=[
            {"fish": f"F{number}", "bath": "B001", "skin": "frayed" if number < 3 else None, "gill_colour": "pale"}
            for number in range(4)
        ],
        samples=[{"sample": "P001", "visit": "V001", "stock": "K01", "kind": "skin scrape", "site": "tail stalk",
                  "found": "Gyrodactylus", "count": 9, "fields": 10, "examined": 8, "positive": 3,
                  "laboratory": "River laboratory", "sent": TODAY}],
        water=[{"reading": "W001", "visit": "V001", "vessel": "T01", "temperature": 12, "oxygen": 3, "ph": 7.2,
                "ammonia": 0.5}],
    )  # fmt: skip
    computed.data["sites"][0]["group"] = "cold water fish"
    computed = Computed(case_log(), {key: rows for key, rows in computed.data.items() if rows})
    page = [text.replace("\u00a0", " ") for text in texts(shared(computed), "What we found")]
    assert "Fish examined on 2026-07-17: carp, 4 fish" in page
    assert "frayed (3)" in page
    assert "pale (4)" in page
    assert "skin scrape, tail stalk" in page
    assert "Gyrodactylus (9 counted in 10 fields)" in page
    # Wilson interval of 3 of 8: sample.low and sample.high, whose published cases stand in tests/published
    low, high = (round(100 * call(name, 3, 8)) for name in ("SAMPLE.LOW", "SAMPLE.HIGH"))
    assert f"3 of 8: 38 %; in the whole group probably {low} % to {high} %" in page
    assert "sent, no answer yet" in page
    assert "oxygen too low: aerate, hold feed" in page
    assert f"{call('WATER.AMMONIA', 0.5, 7.2, 12, 0):.4f}" in page


def test_what_comes_next_takes_names_from_the_log_and_leaves_lines_for_the_rest() -> None:
    computed = log(
        visits=[{"visit": "V002", "date": TODAY + 7, "site": "S01", "purpose": "follow-up", "seen_by": "Dr Fern"}],
        follow_ups=[
            {"follow_up": "U1", "visit": "V001", "due": TODAY - 1, "what": "count losses"},
            {"follow_up": "U2", "visit": "V001", "due": TODAY - 1, "what": "was done", "done": TODAY},
        ],
        treatments=[treated(prescriber="Dr Brook")],
    )
    page = [text.replace("\u00a0", " ") for text in texts(shared(computed), "What comes next")]
    assert "29 July 2026: follow-up" in page
    assert "2026-07-21 (overdue)" in page
    assert "count losses" in page
    assert "was done" not in page
    assert {"Dr Fern", "Dr Brook"} <= set(page)
    after = page.index("Telephone of the veterinarian")
    assert page[after + 1] == "At night and on holidays"  # a line to write on, not a name


def test_what_goes_on_on_another_page_says_so_and_every_box_its_product() -> None:
    visits = [
        {"visit": f"V{number}", "date": TODAY - number, "site": "S01", "findings": "All well here. " * 9}
        for number in range(2, 80)
    ]
    long = treated(
        route="feed", agent="oxytetracycline, feed", dose=75, ration=1, days=200, first=TODAY, last=TODAY + 199
    )
    copy = shared(log(visits=visits, treatments=[long]))
    pages = [name for name in copy.sheets if name.startswith("What we found")]
    assert len(pages) > 2
    for name in pages[1:]:
        assert texts(copy, name)[:2] == ["What we found", "Visits (continued)"]
    give = [name for name in copy.sheets if name.startswith("What to give")]
    assert len(give) > 1
    boxes = [text for text in texts(copy, "What to give") if text == "R001 oxytetracycline, feed"]
    assert len(boxes) == 200 / 10  # ten days a row
    assert texts(copy, give[1])[1] == "Treatment R001: oxytetracycline, feed (continued)"


def test_private_columns_and_other_sheets_are_absent() -> None:
    stores = [{"lot": "0417A", "item": "chloramine-T", "unit": "g", "received": 5, "notes": "hidden lot"}]
    copy = shared(log(stores=stores, treatments=[treated(notes="hidden note", lot="0417A")]))
    said = " ".join(texts(copy))
    assert "hidden" not in said
    assert "Balance" not in said
    assert "21 CFR" not in said


# ----------------------------------------------------------------------------------------------------- the file


@pytest.fixture(scope="module")
def demo() -> Computed:
    return Computed(case_log(), demo_practice(slips=False))


OPTIONS = [("en", "metric", "A4"), ("es", "us", "Letter")]


@pytest.mark.parametrize("site", ["S01", "S02", "S03"])
@pytest.mark.parametrize(("language", "units", "paper"), OPTIONS)
def test_the_file_is_valid_and_has_no_formula_name_or_hidden_sheet(
    demo: Computed, site: str, language: str, units: str, paper: str, tmp_path: Path
) -> None:
    copy = shared(demo, site=site, language=language, units=units, paper=paper)
    path = tmp_path / "copy.xlsx"
    path.write_bytes(copy.content)
    assert [str(error) for error in OpenXmlValidator().validate(path).errors] == []
    book = openpyxl.load_workbook(path)
    assert list(book.defined_names) == []
    for sheet in book:
        assert list(sheet.defined_names) == []
        assert sheet.sheet_state == "visible"
        assert sheet.protection.sheet
        assert sheet.protection.password is None
        assert f"producer-copy 1 | {site} | 2026-07-22" == sheet.oddFooter.center.text
    with zipfile.ZipFile(path) as archive:
        parts = {name: archive.read(name) for name in archive.namelist()}
    assert not any(re.search(rb"<f[ >]", part) for name, part in parts.items() if "/worksheets/" in name)
    assert not any("externalLink" in name or "vba" in name or "/media/" in name for name in parts)
    charts = [part for name, part in parts.items() if "/charts/" in name]
    assert len(charts) == (2 if site == "S03" else 3)  # S03 has no daily rows
    assert all(b"numCache" in part and b"strCache" in part for part in charts)
    (anchors,) = (part for name, part in parts.items() if name.startswith("xl/drawings/drawing"))
    rows = [int(row) for row in re.findall(rb"<(?:xdr:)?from>.*?<(?:xdr:)?row>(\d+)<", anchors, re.DOTALL)]
    assert rows == [row - 1 for row in CHART_ROWS[: len(charts)]]  # no gap where one is left out
    properties = {one.name: one.value for one in book.custom_doc_props.props}
    assert properties["Copy site"] == site
    assert properties["Copy made"] == "2026-07-22T14:32"


def test_only_the_cells_for_typing_are_open(demo: Computed) -> None:
    book = openpyxl.load_workbook(io.BytesIO(shared(demo).content))
    for sheet in book:
        opened = {cell.column_letter for row in sheet.iter_rows() for cell in row if not cell.protection.locked}
        assert opened == (set("BCDEFGHI") if sheet.title.startswith("Daily sheet") else set())


def test_the_daily_sheet_has_a_producers_words_rules_and_names_of_its_own(demo: Computed) -> None:
    book = openpyxl.load_workbook(io.BytesIO(shared(demo).content))
    sheet = book["Daily sheet"]
    losses = case_log().tables["losses"]
    assert [cell.value for cell in sheet[4]] == [
        *("Row", "Day", "Group of fish", "Dead", "Cause", "Feed given kg", "Mean temperature C"),
        *("Lowest oxygen mg/L", "Notes of the day"),
    ]
    names = [
        row[0].value for name in book.sheetnames if name.startswith("Daily") for row in book[name].iter_rows(min_row=5)
    ]
    assert len(set(names)) == len(names) > 60
    assert all(name.startswith("S01-2607221432-") for name in names)
    taken = {row["day"] for row in demo.data["losses"]} | set(losses.ids_ahead([], 9999))
    assert not taken & set(names)
    kinds = {str(rule.sqref).split(":")[0]: rule.type for rule in sheet.data_validations.dataValidation}
    assert kinds == {"B5": "date", "C5": "list", "D5": "whole", "E5": "list", "F5": "decimal", "G5": "decimal",
                     "H5": "decimal", "I5": None}  # fmt: skip
    where = next(rule.formula1 for rule in sheet.data_validations.dataValidation if rule.type == "list")
    place, _, cells = where.partition("!")
    groups = [row[0].value for row in book[place.strip("'")][cells.replace("$", "")]]
    assert groups == [row["stock"] for row in demo.data["stocks"] if row["site"] == "S01"]
    typed = [row[2].value for row in sheet.iter_rows(min_row=5)]
    assert set(typed) <= set(groups)


def test_two_copies_give_other_names() -> None:
    later = MADE + datetime.timedelta(minutes=1)
    one, other = (producer_copy(log(), "S01", made) for made in (MADE, later))
    names = [{text for text in texts(copy, "Daily sheet") if text.startswith("S01-")} for copy in (one, other)]
    assert names[0]
    assert not names[0] & names[1]


def test_the_same_log_gives_the_same_bytes(demo: Computed) -> None:
    assert shared(demo).content == shared(Computed(case_log(), demo_practice(slips=False))).content


def test_what_looks_like_a_formula_stays_text(office: Office, tmp_path: Path) -> None:
    computed = log(
        visits=[
            {"visit": f"V{number}9", "date": TODAY, "site": "S01", "findings": text, "seen_by": text}
            for number, text in enumerate(FORMULA_LIKE)
        ],
        stocks=[
            {"stock": text, "site": "S01", "vessel": "T01", "species": text, "food_fish": "no", "number": 5}
            for text in FORMULA_LIKE
        ],
        species=[{"value": text} for text in ("carp", *FORMULA_LIKE)],
        treatments=[
            treated(treatment=f"R{number}9", stock=text, prescriber=text, why=text)
            for number, text in enumerate(FORMULA_LIKE)
        ],
    )
    copy = shared(computed)
    with zipfile.ZipFile(io.BytesIO(copy.content)) as archive:
        sheets = [archive.read(name) for name in archive.namelist() if "worksheets/" in name]
    assert not any(re.search(rb"<f[ >]", sheet) for sheet in sheets)
    path = tmp_path / "copy.xlsx"
    path.write_bytes(copy.content)
    assert not any(office.formula_cells(path).values())
    saved = texts(office.convert(path, tmp_path / "saved.xlsx", "xlsx").read_bytes())
    reader = pypdf.PdfReader(office.convert(path, tmp_path / "copy.pdf", "pdf"))
    on_paper = squeezed("".join(page.extract_text() for page in reader.pages))
    for text in FORMULA_LIKE:
        assert sum(text in found for found in texts(copy)) > 8
        assert sum(text.strip() in found for found in saved) > 8
        assert on_paper.count(squeezed(text)) > 8
    quoted = [
        cell for row in openpyxl.load_workbook(path)["Daily sheet"]["C5:C26"] for cell in row if cell.value == "=1+1"
    ]
    assert quoted
    assert all(cell.quotePrefix and cell.data_type == "s" for cell in quoted)


def test_a_treatment_that_the_log_finds_fault_with_is_said() -> None:
    copy = shared(log(treatments=[treated(dose=500), treated(treatment="R002", rule="never", rule_source="label")]))
    (said,) = copy.remarks
    assert said.startswith("Treatment R001 is to be given, and its Check column says: Notice: the dose lies outside")


@pytest.mark.parametrize(
    ("options", "words"),
    [({"paper": "A5"}, "no paper"), ({"language": "xx"}, "no language"), ({"units": "uk"}, "no units")],
)
def test_what_does_not_exist_is_refused(options: dict[str, str], words: str) -> None:
    with pytest.raises(DataError, match=words):
        shared(log(), **options)


def test_a_site_that_is_not_there_is_refused() -> None:
    with pytest.raises(ReadError, match="has no site 'S9'; it has S01"):
        shared(log(), site="S9")


def test_a_site_with_nothing_but_its_name_gets_a_copy() -> None:
    copy = producer_copy(Computed(case_log(), {"sites": [dict(ONE["sites"][0])]}), "s01", MADE)
    assert copy.site == "S01"
    assert "No visit is in the log for this time." in texts(copy)
    assert "The log has no group of fish at this site." in texts(copy)


# ----------------------------------------------------------------------------------------------------------- PDF


def printed(copy: ProducerCopy, office: Office, tmp_path: Path) -> pypdf.PdfReader:
    path = tmp_path / "copy.xlsx"
    path.write_bytes(copy.content)
    return pypdf.PdfReader(office.convert(path, tmp_path / "copy.pdf", "pdf"))


@pytest.mark.parametrize(("language", "units", "paper"), [*OPTIONS, ("en", "us", "Letter"), ("es", "metric", "A4")])
def test_each_page_is_one_sheet_of_paper_with_all_its_texts(
    demo: Computed, language: str, units: str, paper: str, office: Office, tmp_path: Path
) -> None:
    copy = shared(demo, language=language, units=units, paper=paper)
    reader = printed(copy, office, tmp_path)
    assert len(reader.pages) == len(copy.sheets)
    width = {"A4": 595, "Letter": 612}[paper]
    for page, name in zip(reader.pages, copy.sheets, strict=True):
        landscape = name.startswith(Words(language)("daily_sheet"))
        assert abs(float(page.mediabox.height if landscape else page.mediabox.width) - width) < 2
        text = squeezed(page.extract_text())
        assert "###" not in text
        book = python_calamine.load_workbook(io.BytesIO(copy.content))
        for row in book.get_sheet_by_name(name).to_python():
            for value in row:
                if isinstance(value, str):
                    assert squeezed(value) in text, (name, value)


@pytest.mark.parametrize("seed", [1, 2])
def test_pages_of_odd_practices_print_whole(seed: int, office: Office, tmp_path: Path) -> None:
    made = practice(seed)
    copy = shared(made.computed(), site=made.sites[0], language="es", units="us")
    reader = printed(copy, office, tmp_path)
    assert len(reader.pages) == len(copy.sheets)
    text = squeezed("".join(page.extract_text() for page in reader.pages))
    said = squeezed("".join(texts(copy)))
    assert text.count("###") == said.count("###") + sum(squeezed(name).count("###") for name in copy.sheets)


@pytest.mark.libreoffice
def test_a_pdf_is_made_and_names_no_person_or_path(demo: Computed) -> None:
    content = printing.pdf_of(shared(demo, site="S02").content)
    reader = pypdf.PdfReader(io.BytesIO(content))
    assert reader.metadata is not None
    assert dict(reader.metadata).keys() <= {"/Title", "/Author", "/Creator", "/Producer", "/CreationDate", "/ModDate"}
    assert reader.metadata.author in (None, "workbook-tools")
    assert reader.metadata.title == "Copy of the case log for site S02"
    assert b"/tmp" not in content
    assert str(Path.home()).encode() not in content


def test_a_program_that_hangs_or_writes_nothing_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    program = tmp_path / "soffice"
    for text, words in (("sleep 60", "did not finish within 1 s"), ("echo odd", "wrote no PDF. It said: odd")):
        program.write_text(f"#!/bin/sh\n{text}\n", encoding="utf-8")
        program.chmod(0o755)
        monkeypatch.setattr(printing, "office_program", lambda: program)
        with pytest.raises(HostError, match=re.escape(words)):
            printing.pdf_of(b"", seconds=1)


# ------------------------------------------------------------------------------------------------------ encryption


def test_a_locked_copy_opens_with_its_password_alone(office: Office, tmp_path: Path) -> None:
    content = shared(log()).content
    shut = locked(content, "três Peixes 3")
    assert shut.startswith(b"\xd0\xcf\x11\xe0")
    assert b"Alder" not in shut
    assert unlocked(shut, "três Peixes 3") == content
    with pytest.raises(ReadError, match="not the right one"):
        unlocked(shut, "tres Peixes 3")
    path = tmp_path / "copy.xlsx"
    path.write_bytes(shut)
    found = office.values(path, password="três Peixes 3")
    assert found["What we found"]["A1"] == "What we found"
    for wrong in ("other", None):
        with pytest.raises(OfficeFailedError):
            office.values(path, password=wrong)
    with pytest.raises(ReadError, match="is not locked"):
        unlocked(content, "x")
    with pytest.raises(ReadError, match="cannot be opened"):
        unlocked(b"\xd0\xcf\x11\xe0" + bytes(600), "x")


@pytest.mark.parametrize(
    ("content", "password"),
    [
        (b"secret\n", "secret"),
        (b"secret\r\n", "secret"),
        (b"secret", "secret"),
        (b"\xef\xbb\xbfsecret\n", "secret"),
        ("peces ñ\n".encode("utf-16"), "peces ñ"),
        (b" spaces kept \n", " spaces kept "),
    ],
)
def test_a_password_is_read_from_a_file(content: bytes, password: str, tmp_path: Path) -> None:
    path = tmp_path / "secret.txt"
    path.write_bytes(content)
    assert password_of(path) == password


@pytest.mark.parametrize(
    ("content", "words"),
    [
        (b"", "empty"),
        (b"  \n", "empty"),
        (b"a\nb\n", "more than one line"),
        ("ñ".encode("latin-1"), "not text in UTF-8"),
        (b"\xff\xfea", "not text in UTF-8"),
        (b"a\x07b", "control characters"),
        (b"x" * (LONGEST + 1), "more than 255"),
    ],
)
def test_a_password_that_cannot_be_used_is_refused_and_not_shown(content: bytes, words: str, tmp_path: Path) -> None:
    path = tmp_path / "secret.txt"
    path.write_bytes(content)
    with pytest.raises(ReadError, match=words):
        password_of(path)
    with pytest.raises(ReadError, match="cannot be read"):
        password_of(tmp_path / "absent")
    with pytest.raises(ReadError) as refused:
        checked_password("hush hush\nhush", "terminal")
    assert "hush" not in str(refused.value)


# ------------------------------------------------------------------------------------------------ words and units


def keys_in_use() -> set[str]:
    """Keys that the modules of copies name in words(...), heading_key and lists; gaps of a name stand for any."""
    found: set[str] = set()
    for path in sorted((ROOT / "workbook_tools" / "producer").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Constant) and isinstance(node.value, str):
                found.add(node.value)
            elif isinstance(node, ast.JoinedStr):
                parts = [str(part.value) if isinstance(part, ast.Constant) else "\0" for part in node.values]
                found.add("".join(parts))
    return found


def test_every_word_is_used_and_none_is_missing() -> None:
    keys = {key for key in table()["en"] if not key.startswith(LISTED)}
    used = keys_in_use()
    patterns = [
        re.compile(re.escape(text).replace("\0", r"\w+") + "$") for text in used if "\0" in text and text.strip("\0")
    ]
    assert {key for key in keys if key not in used and not any(pattern.match(key) for pattern in patterns)} == set()
    with pytest.raises(KeyError):
        Words()("no_such_key")


def test_every_key_that_is_asked_for_is_there() -> None:
    """Every word of the kind words("...") in the modules; those built from parts are asked for by the other tests."""
    asked = set()
    for path in sorted((ROOT / "workbook_tools" / "producer").glob("*.py")):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Call) and ast.unparse(node.func).split(".")[-1] == "words" and node.args:
                first = node.args[0]
                asked |= {
                    one.value for one in ast.walk(first) if isinstance(one, ast.Constant) and "_" in str(one.value)
                }
                asked |= {first.value} if isinstance(first, ast.Constant) else set()
    plain = {key for key in asked if key and not key.endswith("_")}
    assert len(plain) > 100
    assert plain - table()["en"].keys() == set()


def test_every_word_of_the_logs_lists_has_its_translation() -> None:
    layout = case_log()
    lists = ("species", "purposes", "site_kinds", "causes", "sample_kinds", "routes", "gill_colours", "outcomes")
    wanted = {str(row[0]).casefold() for name in lists for row in layout.tables[name].data}
    wanted |= {str(row[0]).casefold() for row in layout.tables["adverse_events"].data if row[0] != "none"}
    assert {key.removeprefix(LISTED) for key in table()["en"] if key.startswith(LISTED)} == wanted
    words = Words("es")
    for word in wanted:
        assert log_word(words.listed(word)) == word
    assert words.listed("my own word") == "my own word"
    assert log_word("my own word") == "my own word"


def test_each_heading_of_a_daily_sheet_means_one_column_of_the_log() -> None:
    losses = case_log().tables["losses"]
    known = headings()
    for key in KEYS:
        assert known[losses.by_key[key].heading.casefold()] == (key, False)  # as early copies have it
        for language in languages():
            assert known[table()[language][heading_key(key, False)].casefold()] == (key, False)
            assert known[table()[language][heading_key(key, True)].casefold()][0] == key
    assert set(KEYS) == {column.key for column in losses.typed}
    for language in languages():
        heads = [table()[language][heading_key(key, us)] for key in KEYS for us in (False, True)]
        assert len(set(heads)) == len(KEYS) + 2


def test_gaps_are_filled_once_and_texts_have_no_gaps_of_their_own() -> None:
    assert Words()("chart_title", site="{days} =1+1") == "Losses and water: {days} =1+1"


NUMBER = re.compile(r"\d+(?:\.\d+)?")


@given(st.floats(1e-3, 1e7))
def test_rounding_moves_no_amount_by_more_than_one_per_cent(value: float) -> None:
    us = Units("us")
    pounds, ounces = unit.convert(value, "gram", "pound"), unit.convert(value, "gram", "ounce")
    first, metric = (float(one) for one in NUMBER.findall(us.grams(value)))
    assert metric == pytest.approx(value, rel=0.01)
    assert any(first == pytest.approx(wanted, rel=0.01) for wanted in (pounds, ounces))
    assert ("lb" in us.grams(value)) == (ounces >= 16)
    for text, large in ((Units().grams(value), "kg"), (Units().millilitres(value), "L (")):
        assert float(NUMBER.findall(text)[-1]) == pytest.approx(value, rel=0.01)
        assert (large in text) == (value >= 10_000)
        assert value < 10_000 or float(NUMBER.findall(text)[0]) == pytest.approx(value / 1000, rel=0.01)
    first, metric = (float(one) for one in NUMBER.findall(us.millilitres(value)))
    gallons = unit.convert(value, "milliliter", "gallon")
    assert metric == pytest.approx(value, rel=0.01)
    assert first == pytest.approx(gallons if gallons >= 0.25 else gallons * 128, rel=0.01)  # 128 fluid ounces a gallon
    for text, wanted in (
        (us.kilograms(value), value / 0.45359237),  # the pound, NIST SP 811
        (us.litres(value), value / 3.785411784),  # the gallon, NIST SP 811
        (us.inclusion(value), value * 0.016),  # 16 ounces in a pound, 1000 g in a kilogram
    ):
        first, metric = (float(one) for one in NUMBER.findall(text))
        assert first == pytest.approx(wanted, rel=0.01)
        assert metric == pytest.approx(value, rel=0.01)


def test_temperatures_are_converted() -> None:
    """Definition of the Fahrenheit scale: 0 C is 32 F, 100 C is 212 F."""
    assert [Units("us").temperature(value) for value in (0, 100)] == ["32.0\u00a0F", "212.0\u00a0F"]
    assert Units().temperature(12.34) == "12.3\u00a0C"


# ------------------------------------------------------------------------------------------------------- command


@pytest.fixture
def log_file(tmp_path: Path) -> Path:
    path = tmp_path / "log.xlsx"
    rows = {key: [dict(row) for row in held] for key, held in ONE.items()}
    path.write_bytes(build_log(case_log(), rows, rows=8))
    return path


def test_the_command_makes_a_copy_and_keeps_what_is_there(log_file: Path, tmp_path: Path) -> None:
    out = tmp_path / "For S01"
    done = run("share", str(log_file), "--site", "s01", "--out", str(out), "--json")
    said = json.loads(done.output)
    assert said["site"] == "S01"
    assert said["pdf"] is None
    path = tmp_path / "For S01.xlsx"
    assert said["file"] == str(path)
    assert "What to give" in said["sheets"]
    assert "is there already" in run("share", str(log_file), "--site", "S01", "--out", str(path), code=2).output
    assert "kept as" in run("share", str(log_file), "--site", "S01", "--out", str(path), "--replace").output
    assert (
        "a file that this command reads"
        in run("share", str(log_file), "--site", "S01", "--out", str(log_file), "--replace", code=2).output
    )
    assert (
        "there are en, es"
        in run("share", str(log_file), "--site", "S01", "--out", str(tmp_path / "b"), "--language", "xx", code=2).output
    )


def test_without_libreoffice_the_copy_is_made_all_the_same(
    log_file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(printing, "office_program", lambda: None)
    done = run("share", str(log_file), "--site", "S01", "--out", str(tmp_path / "copy.xlsx"), "--pdf")
    assert "LibreOffice was not found: no PDF was made." in done.output
    assert (tmp_path / "copy.xlsx").is_file()
    assert not (tmp_path / "copy.pdf").exists()


@pytest.mark.libreoffice
def test_the_command_prints_and_locks(log_file: Path, tmp_path: Path) -> None:
    secret = tmp_path / "secret.txt"
    secret.write_text("three fish\n", encoding="utf-8")
    out = tmp_path / "copy.xlsx"
    words = ["share", str(log_file), "--site", "S01", "--out", str(out), "--password-file"]
    done = run(
        *words, str(secret), "--pdf", "--paper", "Letter", "--language", "es", "--units", "us", "--since", "2026-01-01"
    )
    assert "It has no password" in done.output
    assert "three fish" not in done.output
    assert pypdf.PdfReader(tmp_path / "copy.pdf").pages
    plain = unlocked(out.read_bytes(), "three fish")
    assert "Lo que encontramos" in texts(plain)
    assert "locked with a password" in run("audit", str(out), "--against", str(log_file), code=2).output
    done = run("audit", str(out), "--against", str(log_file), "--password-file", "-", typed="three fish\n")
    assert "None was found." in done.output
    run(*words, "-", "--replace", typed="four fish\nfour fish\n")
    assert unlocked(out.read_bytes(), "four fish")
    secret.write_bytes(b"")
    assert "the password is empty" in run(*words, str(secret), "--replace", code=2).output


def test_the_password_is_no_argument() -> None:
    done = run("share", "--help")
    assert "--password-file" in done.output
    assert "--password " not in done.output
