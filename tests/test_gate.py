"""Nothing is given from a row that has an open fault, or that points to one: card, plan, pages, copy."""

from __future__ import annotations

import copy
import datetime
import io
import json
from collections.abc import Callable
from pathlib import Path
from typing import Any

import openpyxl
import pytest
import python_calamine

from tests.support.commands import run
from tests.test_check import clean
from workbook_tools.across.planning import visit_plan
from workbook_tools.across.visit_pages import visit_pages
from workbook_tools.errors import DataError, FaultError, WorkbookToolsError
from workbook_tools.layout import case_log
from workbook_tools.layout.compute import Computed
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.card import bench_card
from workbook_tools.log.checking.log_check import CheckedLog, check_log
from workbook_tools.log.gate import Despite, despite, obstacles
from workbook_tools.producer.copy import producer_copy
from workbook_tools.xlsx.printing.pages import build_pages

Data = dict[str, list[dict[str, Any]]]
MADE = datetime.datetime(2026, 3, 20, 9)
WHY = "seen on the paper record"


def planned() -> Data:
    """The clean log, its second bath still to weigh; S01 has a wait of 21 days after 2026-03-04."""
    data = copy.deepcopy(clean())
    data["baths"][1] |= {"used": None, "fish_mass": None}
    return data


def orphan(data: Data, stock: str = "K01 ") -> Data:
    data["treatments"][0]["stock"] = stock
    return data


def twice(data: Data) -> Data:
    """Another vessel by the name of the second bath's, ten times as large."""
    data["vessels"].append(dict(data["vessels"][2]) | {"known": 400, "site": "S02"})
    return data


def computed(data: Data) -> Computed:
    return Computed(case_log(), data)


def written(path: Path, data: Data) -> Path:
    path.write_bytes(build_log(case_log(), data, rows=12))
    return path


def sheet_texts(content: bytes) -> list[str]:
    book = python_calamine.load_workbook(io.BytesIO(content))
    rows = (row for name in book.sheet_names for row in book.get_sheet_by_name(name).to_python())
    return [str(value) for row in rows for value in row if value != ""]


def refused(what: Callable[[], object]) -> list[tuple[str, str]]:
    """Ids and codes in the way."""
    with pytest.raises(FaultError) as caught:
        what()
    return [(one.name, one.code) for one in caught.value.obstacles]


# ------------------------------------------------------------------------------------------ a doubled id, an orphan


def test_the_clean_log_gives_all() -> None:
    log = computed(planned())
    assert bench_card(log, "log", "B002").despite == ()
    plan = visit_plan(log, "V002", today=MADE.date())
    assert plan.despite == ()
    assert len(plan.packets) == 2
    assert visit_pages(plan, log)
    for site in ("S01", "S02"):
        assert producer_copy(log, site, MADE).despite == ()


def test_a_vessel_used_twice_stops_what_points_to_it() -> None:
    """40 L and 400 L by one name: 3.2 g or 32 g of drug."""
    log = computed(twice(planned()))
    wanted = [("T03", "id-used-twice")] * 2
    assert refused(lambda: bench_card(log, "log", "B002")) == wanted
    assert refused(lambda: visit_plan(log, "V002", today=MADE.date())) == wanted
    assert refused(lambda: producer_copy(log, "S02", MADE)) == wanted
    assert bench_card(log, "log", "B001").packets, "a bath in another vessel is none of it"
    assert producer_copy(log, "S01", MADE).content


@pytest.mark.parametrize("name", ["t03", "T03 ", " T03"])
def test_an_id_with_another_capital_or_a_blank_is_the_same(name: str) -> None:
    data = twice(planned())
    data["vessels"][-1]["vessel"] = name
    assert {code for _, code in refused(lambda: bench_card(computed(data), "log", "B002"))} == {"id-used-twice"}


def test_a_bath_used_twice_has_no_card() -> None:
    data = planned()
    data["baths"].append(dict(data["baths"][1]))
    assert refused(lambda: bench_card(computed(data), "log", "B002")) == [("B002", "id-used-twice")] * 2


@pytest.mark.parametrize("stock", ["K01 ", " K01", "K1", "K09"])
def test_a_treatment_that_misses_its_group_stops_the_copy(stock: str) -> None:
    log = computed(orphan(planned(), stock))
    with pytest.raises(FaultError) as caught:
        producer_copy(log, "S01", MADE)
    (one,) = caught.value.obstacles
    assert (one.name, one.code, one.sheet, one.row) == ("R001", "not-found", "Treatments", 6)
    ends = {"K01 ": "K01 with a blank at its end", " K01": "K01 with a blank at its beginning"}
    assert ends.get(stock, stock) in one.reason
    assert one.to_do
    assert one.to_do in str(caught.value)
    assert producer_copy(log, "S02", MADE).content, "its visit says that it is not S02's"


def test_its_visit_says_whose_it_is_where_nothing_points_to_it() -> None:
    data = orphan(planned(), "K09") | {"follow_ups": []}
    assert refused(lambda: producer_copy(computed(data), "S01", MADE)) == [("R001", "not-found")]
    assert producer_copy(computed(data), "S02", MADE).content


def test_a_treatment_that_leads_to_no_site_could_be_any_sites() -> None:
    data = orphan(planned(), "K09")
    data["treatments"][0]["visit"] = None
    data["follow_ups"] = []
    for site in ("S01", "S02"):
        assert refused(lambda site=site: producer_copy(computed(data), site, MADE)) == [("R001", "not-found")]


def test_a_fault_is_followed_through_references() -> None:
    """Water reading to visit, visit to site: the bath's own row is right."""
    data = planned()
    data["baths"][1]["reading"] = "W002"
    data["water"][1]["ph"] = 19
    assert refused(lambda: bench_card(computed(data), "log", "B002")) == [("W002", "out-of-range")]
    data["water"][1]["ph"] = 8
    data["sites"][1]["food_fish"] = None
    assert refused(lambda: bench_card(computed(data), "log", "B002")) == [("S02", "missing")]
    assert bench_card(computed(data), "log", "B001").packets


def test_notices_and_faults_elsewhere_stop_nothing() -> None:
    data = planned()
    data["baths"][1]["start_dose"] = 500  # outside the reference range: a notice
    data["fish"][0]["weight"] = "31,05"
    log = computed(data)
    assert {rule.severity for table, place, rule in log.findings if (table.key, place) == ("baths", 1)} == {"notice"}
    assert bench_card(log, "log", "B002").packets
    assert visit_plan(log, "V002", today=MADE.date()).packets
    assert refused(lambda: producer_copy(log, "S01", MADE)) == [("F0001", "not-a-number")]
    assert producer_copy(log, "S02", MADE).content


def test_all_faults_are_named_at_once() -> None:
    data = orphan(planned())
    data["visits"][0]["date"] = None
    data["stocks"][0]["species"] = "none of the list"
    named = refused(lambda: producer_copy(computed(data), "S01", MADE))
    assert named == [("K01", "not-listed"), ("V001", "missing"), ("R001", "not-found")]


def test_a_blank_start_dose_is_the_plans_to_fill() -> None:
    data = planned()
    data["baths"][1]["start_dose"] = None
    assert visit_plan(computed(data), "V002", today=MADE.date()).baths[0].dose_from == "reference"
    assert refused(lambda: bench_card(computed(data), "log", "B002")) == [("B002", "missing")]


def test_pages_show_samples_and_groups_that_a_plan_does_not() -> None:
    data = planned()
    data["stocks"][1]["species"] = "none of the list"
    log = computed(data)
    plan = visit_plan(log, "V002", today=MADE.date())
    assert refused(lambda: visit_pages(plan, log)) == [("K02", "not-listed")]
    content = build_pages("Plan", visit_pages(plan, log, overrides=[Despite("K02", WHY)]))
    assert sum(f"K02 (Stocks). Reason: {WHY}" in text for text in sheet_texts(content)) >= 4  # each sheet, each label


# ----------------------------------------------------------------------------------------------- the file itself


def changed(path: Path, sheet: str, cell: str, value: object) -> CheckedLog:
    book = openpyxl.load_workbook(path)
    book[sheet][cell] = value
    book.save(path)
    return check_log(path, case_log())


def cell_of(path: Path, sheet: str, heading: str, row: int) -> str:
    page = openpyxl.load_workbook(path)[sheet]
    (found,) = (cell for cell in page[5] if cell.value == heading)
    return f"{found.column_letter}{row}"


@pytest.mark.parametrize(
    ("value", "code"), [(99, "typed-over"), ("=1+1", "formula-changed")]
)  # fmt: skip
def test_a_computed_cell_that_was_changed_stops_its_row(tmp_path: Path, value: object, code: str) -> None:
    path = written(tmp_path / "log.xlsx", planned())
    cell = cell_of(path, "Baths", "Drug to weigh g", 7)
    checked = changed(path, "Baths", cell, value)
    with pytest.raises(FaultError) as caught:
        bench_card(checked, path, "B002")
    assert {(one.cell, one.name, one.code) for one in caught.value.obstacles} == {(f"Baths!{cell}", "B002", code)}
    assert bench_card(checked, path, "B001").packets


def test_results_that_are_old_or_not_there_stop_nothing(tmp_path: Path) -> None:
    """Saving by openpyxl drops every stored result: all is computed anew from what is typed."""
    path = written(tmp_path / "log.xlsx", planned())
    checked = changed(path, "Baths", cell_of(path, "Baths", "Start dose mg/L", 7), 90)
    assert "results-not-stored" in {finding.code for finding in checked.findings}
    assert bench_card(checked, path, "B002").packets[0][1] == 90


def test_formulas_changed_in_several_rows_are_each_rows_fault(tmp_path: Path) -> None:
    path = written(tmp_path / "log.xlsx", planned())
    for row in (6, 7):
        checked = changed(path, "Baths", cell_of(path, "Baths", "Drug to weigh g", row), "=1+1")
    for name in ("B001", "B002"):
        assert {code for _, code in refused(lambda name=name: bench_card(checked, path, name))} == {"formula-changed"}


# --------------------------------------------------------------------------------------------------- overrides


@pytest.mark.parametrize(
    ("text", "problem"),
    [("B004", "names no row"), (": seen on paper", "names no row"), ("B004:", "gives no reason"),
     ("B004: ok, 123456789", "gives no reason"), ("B004: ninechars", "gives no reason")],
)  # fmt: skip
def test_an_override_names_a_row_and_a_reason(text: str, problem: str) -> None:
    with pytest.raises(DataError, match=problem):
        despite(text)


def test_a_reason_of_ten_letters_is_enough() -> None:
    assert despite(" B004 :  ten  letters") == Despite("B004", "ten letters")


def test_only_the_row_that_is_named_is_let_pass() -> None:
    data = orphan(planned())
    data["visits"][0]["date"] = None
    log = computed(data)
    only = [Despite("r001 ", WHY)]
    assert refused(lambda: producer_copy(log, "S01", MADE, overrides=only)) == [("V001", "missing")]


def test_the_card_says_what_it_was_given_despite() -> None:
    card = bench_card(computed(twice(planned())), "log", "B002", [Despite("T03", WHY), Despite("B001", WHY)])
    assert card.despite == (f"Given despite: an open fault of T03 (Vessels). Reason: {WHY}",)
    assert card.as_dict()["despite"] == list(card.despite)


@pytest.mark.parametrize(
    ("language", "words"),
    [("en", "Do not sell or eat: the record has a fault"), ("es", "No venda ni coma: el registro tiene un error")],
)
@pytest.mark.parametrize("stock", ["K01 ", "K09"])
def test_a_copy_despite_a_fault_says_no_date_and_no_end_of_a_wait(stock: str, language: str, words: str) -> None:
    """Whatever is overridden, the page never says that no wait runs."""
    log = computed(orphan(planned(), stock))
    made = producer_copy(log, "S01", MADE, overrides=[Despite("R001", WHY)], language=language)
    page = [text for text in sheet_texts(made.content) if text]
    assert page.count(words) == 2  # for the site, and for its one group
    assert any("R001" in text and WHY in text for text in page)
    assert made.despite == (f"Given despite: an open fault of R001 (Treatments). Reason: {WHY}",)
    free = {
        "en": "No wait that the log knows of still runs.",
        "es": "No corre ninguna espera que conste en el registro.",
    }
    assert free[language] not in page
    assert not any("Not before 2" in text or "No antes del" in text for text in page)


def test_a_fault_that_no_wait_hangs_on_leaves_the_dates() -> None:
    data = planned()
    data["fish"][0]["weight"] = "31,05"
    made = producer_copy(computed(data), "S01", MADE, overrides=[Despite("F0001", WHY)])
    page = sheet_texts(made.content)
    assert "Do not sell or eat: the record has a fault" not in page
    assert any("F0001" in text and WHY in text for text in page)


def test_a_site_without_groups_says_it_too() -> None:
    data = orphan(planned(), "K09")
    data |= {"stocks": [], "losses": [], "samples": [], "follow_ups": [], "treatments": data["treatments"][:1]}
    page = sheet_texts(producer_copy(computed(data), "S01", MADE, overrides=[Despite("R001", WHY)]).content)
    assert "Do not sell or eat: the record has a fault" in page


def test_a_wait_without_a_date_is_no_reason_to_refuse() -> None:
    """The copy itself says that no date is known, and its daily sheet is how the temperatures come in."""
    data = planned()
    data["treatments"][1] |= {"mean": None, "wait": 3500}
    log = computed(data)
    assert "temperature-missing" in {rule.code for _, _, rule in log.findings}
    page = sheet_texts(producer_copy(log, "S01", MADE).content)
    assert any(text.startswith("No date is known: do not sell or eat") for text in page)


# ----------------------------------------------------------------------------------------------- at the prompt


def test_the_commands_refuse_and_name_the_cell(tmp_path: Path) -> None:
    log = str(written(tmp_path / "log.xlsx", orphan(twice(planned()))))
    for words in (("card", log, "--bath", "B002"), ("plan", log, "--visit", "V002")):
        done = run(*words, code=2)
        assert "Vessels!A8 (T03)" in done.output
        assert "Vessels!A11 (T03)" in done.output
        assert "Mend them in the log" in done.output
    out = tmp_path / "copy.xlsx"
    done = run("share", log, "--site", "S01", "--out", str(out), code=2)
    assert "(R001): Treatment stock is not on the Stocks sheet: K01 with a blank at its end." in done.output
    assert not out.exists()


def test_the_commands_print_the_override(tmp_path: Path) -> None:
    log = str(written(tmp_path / "log.xlsx", orphan(twice(planned()))))
    given = ("--despite", f"T03: {WHY}")
    sentence = f"an open fault of T03 (Vessels). Reason: {WHY}"
    assert sentence in run("card", log, "--bath", "B002", *given).output
    assert sentence in json.loads(run("card", log, "--bath", "B002", *given, "--json").output)["despite"][0]
    out = tmp_path / "plan.xlsx"
    done = json.loads(run("plan", log, "--visit", "V002", "--out", str(out), *given, "--json").output)
    assert sentence in done["despite"][0]
    assert any(sentence in text for text in sheet_texts(out.read_bytes()))
    copy_ = tmp_path / "copy.xlsx"
    told = run("share", log, "--site", "S01", "--out", str(copy_), "--despite", f"R001: {WHY}", "--json").output
    assert "R001" in json.loads(told)["despite"][0]
    assert "Do not sell or eat: the record has a fault" in sheet_texts(copy_.read_bytes())


def test_no_override_lets_a_lost_column_pass(tmp_path: Path) -> None:
    path = written(tmp_path / "log.xlsx", planned())
    changed(path, "Baths", cell_of(path, "Baths", "Active share", 5), "Active portion")
    for words in (("card", "--bath", "B002"), ("plan",), ("share", "--site", "S01", "--out", str(tmp_path / "c.xlsx"))):
        done = run(words[0], str(path), *words[1:], "--despite", f"B002: {WHY}", code=2)
        assert "no amounts are given from it" in done.output


def test_an_override_without_a_reason_is_refused_at_the_prompt(tmp_path: Path) -> None:
    log = str(written(tmp_path / "log.xlsx", planned()))
    assert "gives no reason" in run("card", log, "--despite", "B002: ok", code=2).output


def test_one_error_of_one_tree() -> None:
    assert issubclass(FaultError, WorkbookToolsError)
    assert issubclass(FaultError, ValueError)
    found = obstacles(computed(twice(planned())), [("vessels", 2)])
    assert [one.row for one in found] == [8, 11]
