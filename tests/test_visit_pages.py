"""Pages of a visit plan: what stands on them, how they print, and the command that makes them."""

from __future__ import annotations

import dataclasses
import json
import re
from pathlib import Path
from typing import Any

import openpyxl
import pypdf
import pytest
import python_calamine
from openxml_audit import OpenXmlValidator

from demo.practice import practice
from tests.support.office import Office
from tests.test_commands import run
from tests.test_planning import TODAY, TRICAINE, VISIT_DAY, log, plain, planned
from workbook_tools.across.planning import VisitPlan, visit_plan
from workbook_tools.across.visit_pages import examination_blocks, label, paper_columns, parts, visit_pages
from workbook_tools.functions.formulas import bath as formulas
from workbook_tools.layout import Column, Layout, case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.gate import Despite
from workbook_tools.xlsx.printing.blocks import Drawing, Page, PrintedTable
from workbook_tools.xlsx.printing.pages import build_pages

KNOWN = [Despite("B005", "a mixture of the practice"), Despite("Follow-ups row 6", "typed without its name")]
ODD = "=SUM(A1) tub, as somebody painted it: 'deep one'"


def squeezed(text: str) -> str:
    return re.sub(r"\s", "", text)


def full_log() -> Computed:
    """Several baths at one visit: typed, suggested and reference doses, a treatment, one that cannot be planned."""
    baths = [
        planned(),
        planned(bath="B002", start_dose=None, species="rainbow trout", vessel="T02"),
        planned(bath="B003", start_dose=None, species="carp"),
        planned(bath="B004", use="treatment", agent="chloramine-T, salmonids", start_dose=15, step=None, limit=None),
        planned(bath="B005", agent="own mixture", start_dose=None),
        planned(bath="B006", used=3, active=0.8, vessel="T02"),
    ]
    computed = log(
        *baths,
        vessels=[
            {"vessel": "T01", "site": "S01", "name": "tub", "shape": "known volume", "known": 40},
            {"vessel": "T02", "site": "S01", "name": ODD, "shape": "known volume", "known": 302.65},
        ],
        stocks=[
            {"stock": "K01", "site": "S01", "species": "carp", "food_fish": "no", "number": 14, "mean_weight": 1450.5}
        ],
        samples=[
            {"sample": "P001", "visit": "V001", "kind": "skin scrape", "stock": "K01", "site": "+behind the fin",
             "question": "@which fluke?", "laboratory": "River laboratory"},
            {"sample": "P002", "visit": "V001", "kind": "whole fish", "result": "nothing found"},
            {"sample": "P003", "visit": "V009", "kind": "whole fish"},
        ],
    )  # fmt: skip
    computed.data["follow_ups"] = [{"due": VISIT_DAY, "site": "S01", "what": "-look at the inlet screen", "done": None}]
    return computed


def full_plan(computed: Computed) -> VisitPlan:
    stores = [
        {"lot": "0417A", "agent": TRICAINE, "balance": 30.0, "expiry": VISIT_DAY + 9},
        {"lot": "old", "agent": TRICAINE, "balance": 30.0, "expiry": VISIT_DAY - 9},
    ]
    suggestions = {("rainbow trout", TRICAINE): (70.0, "12 fish of this log, 8 to 12 C")}
    return visit_plan(computed, suggestions=suggestions, today=TODAY, stores=stores, overrides=KNOWN)


@pytest.fixture(scope="module")
def made() -> tuple[VisitPlan, Computed]:
    computed = full_log()
    return full_plan(computed), computed


def cells(content: bytes, folder: Path, sheet: str) -> list[list[Any]]:
    path = folder / "cells.xlsx"
    path.write_bytes(content)
    return python_calamine.load_workbook(str(path)).get_sheet_by_name(sheet).to_python(skip_empty_area=False)


# ---------------------------------------------------------------------------------------------------- on paper


@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_everything_of_the_plan_stands_on_paper(
    paper: str, made: tuple[VisitPlan, Computed], tmp_path: Path, office: Office
) -> None:
    plan, computed = made
    path = tmp_path / "plan.xlsx"
    path.write_bytes(build_pages("Plan", visit_pages(plan, computed, paper)))
    assert [str(error) for error in OpenXmlValidator().validate(path).errors] == []
    breaks = [len(sheet.row_breaks.brk) for sheet in openpyxl.load_workbook(path)]
    reader = pypdf.PdfReader(office.convert(path, tmp_path / "plan.pdf", "pdf"))
    assert len(reader.pages) == sum(breaks) + len(breaks)
    text = squeezed("".join(page.extract_text() for page in reader.pages))
    assert "###" not in text
    wanted = [plan.visit, plan.date, plan.site_name, *plan.notes, *plan.checklist, *plan.cautions, *plan.store_words]
    wanted += [one.what for one in plan.follow_ups]
    for bath in plan.baths:
        wanted += [bath.bath, bath.vessel, bath.species, bath.agent, bath.dose_words, *bath.notes]
    for packet in plan.packets:
        wanted += [words for words, _ in label(packet).lines]
    wanted += ["P001", "@which fluke?", "+behind the fin", "River laboratory", "0417A", "K01"]
    for words in wanted:
        assert squeezed(words) in text, words
    assert "P003" not in text  # a sample of another visit
    assert "nothing found" not in text


@pytest.mark.parametrize(("paper", "pages"), [("A4", 6), ("Letter", 6)])
def test_a_visit_with_one_bath_takes_six_pages(paper: str, pages: int, tmp_path: Path, office: Office) -> None:
    """Counted on the pictures: plan, labels, three of the examination, laboratory."""
    computed = Computed(case_log(), practice())
    path = tmp_path / "plan.xlsx"
    path.write_bytes(build_pages("Plan", visit_pages(visit_plan(computed, today=TODAY), computed, paper)))
    reader = pypdf.PdfReader(office.convert(path, tmp_path / "plan.pdf", "pdf"))
    assert len(reader.pages) == pages
    names = ("Plan", "Labels", "Examination", "Examination", "Examination", "Laboratory")
    for number, (name, page) in enumerate(zip(names, reader.pages, strict=True), start=1):
        assert f"{name}Page{number}of{pages}" in squeezed(page.extract_text())


def test_texts_that_look_like_formulas_stay_texts(
    made: tuple[VisitPlan, Computed], tmp_path: Path, office: Office
) -> None:
    plan, computed = made
    path = tmp_path / "plan.xlsx"
    path.write_bytes(build_pages("Plan", visit_pages(plan, computed)))
    found = office.values(path)
    assert office.formula_cells(path) == {} or not any(office.formula_cells(path).values())
    assert "@which fluke?" in found["Laboratory"].values()
    assert "+behind the fin" in found["Laboratory"].values()
    assert any(str(value).startswith("T02 =SUM(A1)") for value in found["Plan"].values())


# ------------------------------------------------------------------------------------------------------- labels


def test_a_label_for_each_packet_within_one_percent(made: tuple[VisitPlan, Computed], tmp_path: Path) -> None:
    """The mass on each label against BATH.MASS of its rise in dose, and BATH.BUFFER of that."""
    plan, computed = made
    rows = cells(build_pages("Plan", visit_pages(plan, computed)), tmp_path, "Labels")
    filled = [[value for value in row if value] for row in rows]
    starts = [number for number, row in enumerate(filled) if row and re.match(r"B\d+   ", row[0])]
    found = []
    for start in starts:
        block = filled[start : start + 7]
        found += [tuple(row[place] for row in block) for place in range(len(block[0]))]
    # by hand: start, rises of 20 or less up to 120 and a spare, drug and buffer each: from 80 2 x (1 + 2 + 1), from
    # 70 2 x (1 + 3 + 1), from 15 2 x (1 + 6 + 1); one packet without buffer; none; from 80 again
    assert len(found) == len(plan.packets) == 8 + 10 + 16 + 1 + 0 + 8
    for lines, packet in zip(found, plan.packets, strict=True):
        title, substance, mass, where, effect, weighed, check = (plain(line) for line in lines)
        assert title == f"{packet.bath}   {packet.name}: {packet.kind}"
        assert substance == packet.substance
        assert where.startswith(packet.vessel)
        assert "mg/L" in effect or packet.spare
        assert weighed.startswith("Weighed on ____")
        assert check == "Check the label in force."
        number, unit = mass.split(" ")
        assert unit == "g"
        assert float(number) == pytest.approx(exact(plan, packet.bath, packet.name, packet.kind), rel=0.01)


def exact(plan: VisitPlan, bath_id: str, name: str, kind: str) -> float:
    """The mass by the formulas: of the rise in dose that a packet makes."""
    (bath,) = (bath for bath in plan.baths if bath.bath == bath_id)
    assert bath.litres is not None
    assert bath.dose is not None
    step, limit = bath.step or 1, bath.limit or bath.dose
    number = 1 if name == "Start" else 2 if name.startswith("Spare") else 1 + int(name.rsplit(maxsplit=1)[-1])
    after = formulas.step_dose(bath.dose, step, limit, number)
    before = 0.0 if number == 1 else formulas.step_dose(bath.dose, step, limit, number - 1)
    drug = formulas.mass(bath.litres, after - before, bath.active or 1)
    return drug if kind == "drug" else formulas.buffer(drug, 2)


def test_a_plan_without_packets_has_no_labels() -> None:
    computed = log(planned(start_dose=None, agent="own mixture"))
    known = [Despite("B001", "a mixture made on the farm")]
    pages = visit_pages(visit_plan(computed, today=TODAY, overrides=known), computed, overrides=known)
    assert [page.name or page.title for page in pages] == ["Plan", "Examination", "Laboratory"]


# -------------------------------------------------------------------------------------------------- examination


def tables(page: Page) -> list[PrintedTable]:
    return [block for block in page.blocks if isinstance(block, PrintedTable)]


def test_the_examination_has_every_column_of_the_fish_and_watch_sheets(made: tuple[VisitPlan, Computed]) -> None:
    plan, computed = made
    layout = computed.layout
    (page,) = (page for page in visit_pages(plan, computed) if page.title == "Examination")
    *fish, watch = tables(page)
    headings = [heading for table in fish for heading in table.headings]
    key = layout.tables["fish"].key_column.heading
    wanted = [column.heading for column in paper_columns(layout.tables["fish"])]
    assert sorted(set(headings)) == sorted(wanted)
    assert all(headings.count(heading) == 1 for heading in wanted if heading != key)
    assert all(table.headings[0] == key for table in fish)
    assert list(watch.headings) == [column.heading for column in paper_columns(layout.tables["watch"])]
    groups = [name for table in fish for name, _ in table.groups]
    assert groups == ["Fish", "Times", "Opercular count", "Fish", "Body regions", "Gills", "Outcome"]
    assert any(isinstance(block, Drawing) for block in page.blocks)


def with_column(layout: Layout, key: str, column: Column, after: str) -> Layout:
    """The layout with one column more in a table."""

    def wider(columns: tuple[Column, ...]) -> tuple[Column, ...]:
        place = [one.key for one in columns].index(after) + 1
        return (*columns[:place], column, *columns[place:])

    sheets = tuple(
        dataclasses.replace(
            sheet,
            tables=tuple(
                dataclasses.replace(table, columns=wider(table.columns)) if table.key == key else table
                for table in sheet.tables
            ),
        )
        for sheet in layout.sheets
    )
    return dataclasses.replace(layout, sheets=sheets)


def test_a_new_column_appears_by_itself_beside_its_neighbours() -> None:
    layout = with_column(case_log(), "fish", Column("tail", "Tail stalk", "text", width=14), "mouth")
    layout = with_column(layout, "watch", Column("colour", "Colour seen", "text", width=14), "ventilation")
    layout = with_column(layout, "fish", Column("own", "For me alone", "text", private=True), "notes")
    site = [{"site": "S01", "name": "Alder springs", "kind": "farm", "food_fish": "yes"}]
    computed = Computed(layout, {"sites": site, "visits": [{"visit": "V001", "date": VISIT_DAY, "site": "S01"}]})
    found = [table for table in examination_blocks(visit_plan(computed, "V001", today=TODAY), computed)
             if isinstance(table, PrintedTable)]  # fmt: skip
    assert list(found[1].headings)[1:7] == ["Skin", "Fins", "Eyes", "Mouth", "Tail stalk", "Belly"]
    assert ("Body regions", 6) in found[1].groups
    assert "Colour seen" in found[2].headings
    assert not any("For me alone" in table.headings for table in found)


def test_many_new_columns_make_another_table() -> None:
    layout = case_log()
    for number in range(9):
        layout = with_column(layout, "fish", Column(f"more_{number}", f"More {number}", "text", width=20), "skin")
    split = parts(layout.tables["fish"])
    assert len(split) > len(parts(case_log().tables["fish"]))
    assert sorted(column.key for part in split for _, column in part[1:]) == sorted(
        column.key for column in layout.tables["fish"].typed[1:] if column.key != "picture"
    )


def test_rows_for_the_fish_of_each_bath(made: tuple[VisitPlan, Computed]) -> None:
    plan, computed = made
    blocks = [block for block in examination_blocks(plan, computed, 3) if isinstance(block, PrintedTable)]
    assert [len(table.rows) for table in blocks[:2]] == [18, 18]  # 6 baths, 3 fish each
    assert [row[1] for row in blocks[0].rows][::3] == [bath.bath for bath in plan.baths]
    one = log()
    single = [b for b in examination_blocks(visit_plan(one, today=TODAY), one) if isinstance(b, PrintedTable)]
    assert len(single[0].rows) == 8


# ------------------------------------------------------------------------------------------------- the command


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    target = tmp_path_factory.mktemp("log") / "practice.xlsx"
    target.write_bytes(build_log(case_log(), practice()))
    return target


def test_plan_prints_the_next_visit(path: Path) -> None:
    """The demo's next bath, by hand: 302.63 L x 120 mg/L = 36.32 g, a rise of 20 mg/L 6.05 g, buffer twice that."""
    text = run("plan", str(path)).stdout
    for words in ("Plan of visit V021", "36.32", "72.63", "6.05", "Spare top-up", "typed on the Baths sheet"):
        assert words in text
    assert "[ ] Thermometer" in text
    assert "the label in force" in text


def test_plan_as_json_and_as_pages(path: Path, tmp_path: Path) -> None:
    before = path.read_bytes()
    done = run("plan", str(path), "--json", "--out", "plan.xlsx", "--paper", "Letter", folder=tmp_path)
    found = json.loads(done.stdout)
    assert found["visit"] == "V021"
    assert found["baths"][0]["packets"][0]["mass"] == pytest.approx(36.32, abs=0.005)
    book = openpyxl.load_workbook(tmp_path / "plan.xlsx")
    assert book.sheetnames == ["Plan", "Labels", "Examination", "Laboratory"]
    assert {str(sheet.page_setup.paperSize) for sheet in book} == {"1"}
    assert path.read_bytes() == before
    again = run("plan", str(path), "--out", "plan", folder=tmp_path)
    assert again.returncode == 2
    assert "--replace" in again.stderr
    replaced = run("plan", str(path), "--out", "plan", "--replace", "--fish", "4", folder=tmp_path)
    assert "Made plan.xlsx; the old file is kept as plan.backup-" in replaced.stdout


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--visit", "V999"), "has no visit 'V999'"),
        (("--paper", "A3"), "A3"),
        (("--out", "plan.pdf"), "must end in .xlsx"),
    ],
)
def test_what_cannot_be_planned_is_said(words: tuple[str, ...], said: str, path: Path, tmp_path: Path) -> None:
    done = run("plan", str(path), *words, folder=tmp_path)
    assert (done.returncode, done.stdout) == (2, "")
    assert said in done.stderr
    assert list(tmp_path.iterdir()) == []


def test_an_earlier_visit_can_be_planned_by_name(path: Path) -> None:
    found = json.loads(run("plan", str(path), "--visit", "v001", "--json").stdout)
    assert found["visit"] == "V001"
    assert found["baths"] == []
    assert any(note.startswith("Weighed or made already") for note in found["notes"])
