"""No path shows two masses for the same inputs, units are those of the number, rounding stays within 1 %, and a blank
is never a zero."""

from __future__ import annotations

import math
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from tests.support.display import LEAST, MOST, amount_formats, displayed, largest_display_rounding, printers, rounding
from tests.support.dose_paths import SHOWN, Comparison, calc_office, compare, given_masses, grams
from tests.support.office import Office
from tests.test_check import clean
from tests.test_log_agrees import PROVIDED, check_agrees
from workbook_tools import call
from workbook_tools.errors import ArgumentError
from workbook_tools.functions.formulas import bath
from workbook_tools.layout import Column, case_log, load
from workbook_tools.layout.compute import Computed, compute_form
from workbook_tools.log.building.bench import build_bench
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.log_check import check_log

AMOUNTS = st.floats(LEAST, MOST)


@pytest.fixture(scope="module")
def calc(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Office]:
    with calc_office(tmp_path_factory.mktemp("calc")) as running:
        yield running


@pytest.mark.libreoffice
def test_every_path_shows_the_same_mass(calc: Office, tmp_path: Path) -> None:
    found = compare(tmp_path, calc)
    assert found.wrong == []
    assert len(found.inputs) > 30
    assert len(found.paths) >= 22, sorted(found.paths)
    assert min(found.paths.values()) >= 4, found.paths


def test_a_wrong_mass_would_be_seen() -> None:
    """The comparing code itself: another mass, another unit, no mass at all."""
    lines = ["R001 chloramine-T  K01  2.00\u00a0lb (907.2\u00a0g)", "Each time: 9.5\u00a0kg"]
    shown = given_masses(lines)["R001"]
    assert shown == pytest.approx([907.18474, 907.2, 9500])
    found = Comparison()
    for mass in (*shown, None):
        found.add("copy", "R001", 907.18474, mass, SHOWN)
    assert found.paths == {"copy": 4}
    assert len(found.wrong) == 2
    assert "9500.0 g, should be 907.18474 g" in found.wrong[0]
    assert displayed(0.0126, "[>=1000]#,##0;[<10]0.000;0.0") == 0.013  # what a volume once showed: 3 % more


def test_masses_are_read_with_their_units() -> None:
    """By hand: 1 lb is 453.59237 g, 1 oz a sixteenth of it (NIST Handbook 44)."""
    assert grams("Each time: 2.00\u00a0lb (907.2\u00a0g), in 150\u00a0L") == pytest.approx([907.18474, 907.2])
    assert grams("1.5 kg, 3 oz, 12 g/kg, 4 gal") == pytest.approx([1500, 85.048569])


# ---------------------------------------------------------------------------------------------------------- display


@settings(max_examples=150, deadline=None)
@given(AMOUNTS)
@example(0.505)
@example(0.0104999)
@example(9.995)
def test_rounding_for_display_stays_within_one_per_cent(value: float) -> None:
    assert [(place, change) for place, change in rounding(value) if change > 0.01] == []


def test_what_is_shown_is_looked_at() -> None:
    places = [place for place, _ in amount_formats()]
    assert len(places) > 60
    for part in ("Drug to weigh g", "Balance", "Start drug weighed g", "Plan board, Drug g", "bench, Bench, packet 1"):
        assert any(part in place for place in places), part
    assert len(printers()) == 16
    assert largest_display_rounding(50) < 0.01


def test_formats_show_what_a_spreadsheet_shows(office: Office) -> None:
    """Our reading of each number format against LibreOffice's TEXT."""
    formats = sorted({number_format for _, number_format in amount_formats()})
    values = [0.00123456, 0.0123456, 0.123456, 0.505, 1.23456, 9.9949, 12.3456, 123.456, 1234.56, 98765.4321]
    quoted = [number_format.replace('"', '""') for number_format in formats]
    texts = office.evaluate([f'TEXT({value!r},"{text}")' for text in quoted for value in values])
    wanted = [displayed(value, number_format) for number_format in formats for value in values]
    shown = [float(str(text).replace(",", "")) for text in texts]
    assert shown == pytest.approx(wanted, rel=1e-9)


# --------------------------------------------------------------------------------------------------- blank and zero

POND = math.pi / 4 * 2.5**2 * 0.8 * 1000  # L: K01 swims in T02, round, 2.5 m across, 0.8 m deep
# What a blank stands for, as the column's own help says; every other blank gives no amount, and a reason.
STANDS_FOR: dict[str, dict[str, Any]] = {
    "baths": {"active": 1, "ratio": 2, "used": 40, "fish_mass": None},
    "treatments": {"active": 1, "days": 1, "used": POND, "number": 1200, "salt_now": 0},
}
MASSES = {
    "baths": ("drug", "buffer", "topup_drug", "topup_buffer", "second_dose"),
    "treatments": ("grams", "millilitres", "total_grams", "total_millilitres", "inclusion", "feed"),
}
ROUTES: dict[str, dict[str, Any]] = {
    "bath": {"used": 300, "active": 0.5},
    "bath by volume": {"used": 300},
    "bath by strength": {"used": 300, "strength": 100},
    "constant flow": {"flow": 12, "minutes": 30, "active": 0.5},
    "salt": {"used": 300, "dose": 5, "salt_now": 0.5},
    "feed": {"ration": 1.5, "active": 0.5},
    "injection": {"strength": 50, "weight": 800, "number": 30},
    "take out chlorine": {"used": 300, "dose": 1},
}


def full_rows() -> dict[str, list[dict[str, Any]]]:
    """A bath with every cell that a mass hangs on, and a treatment of each route."""
    data = clean()
    made = {"bath": "X", "vessel": "T03", "used": 30, "fish_mass": 0.5, "active": 0.8, "ratio": 1, "step": 20}
    whole = {**data["baths"][1], **made, "limit": 120}
    day = data["treatments"][0]["first"]
    given_to = {"visit": "V001", "stock": "K01", "agent": data["treatments"][0]["agent"], "dose": 15, "days": 3}
    given_to |= {"first": day, "last": day + 2, "rule": "days", "wait": 21, "rule_source": "prescription"}
    routes = [{"treatment": "X", **given_to, "route": route, **more} for route, more in ROUTES.items()]
    return {"baths": [whole], "treatments": routes}


def blanked() -> tuple[dict[str, list[dict[str, Any]]], list[tuple[str, int, int, str]]]:
    """A log with a row for each cell left blank beside the row that has it, and where they are."""
    data, places = clean(), []
    for key, rows in full_rows().items():
        table = case_log().tables[key]
        name = table.key_column.key
        for row in rows:
            whole = len(data[key])
            data[key].append({**row, name: f"Z{whole:03d}"})
            for column in table.typed:
                if column.key != name and row.get(column.key) is not None:
                    data[key].append({**row, name: f"Z{len(data[key]):03d}", column.key: None})
                    places.append((key, whole, len(data[key]) - 1, column.key))
    return data, places


def blank_faults(key: str, whole: dict[str, Any], blank: dict[str, Any], name: str) -> Iterator[str]:
    """Masses of a row with a blank cell that are neither gone with a reason nor those of what a blank stands for."""
    for mass in MASSES[key]:
        if whole[mass] is None or blank[mass] == whole[mass]:
            continue  # does not hang on the cell
        if blank[mass] is not None:
            if name not in STANDS_FOR[key]:
                yield f"{key}, {whole.get('route', '')}: {mass} is {blank[mass]!r} where {name} is blank"
        elif blank["check"] == "ok" and name not in ("step", "limit"):  # no top-ups are planned without them
            yield f"{key}, {whole.get('route', '')}: {mass} is blank where {name} is, and the Check says ok"


def test_a_blank_is_never_a_zero(office: Office, tmp_path: Path) -> None:
    """Each cell that a mass hangs on left blank in turn: no mass and a reason, or what its help says a blank means.

    Stored results, formualizer and LibreOffice agree on every cell of the log.
    """
    data, places = blanked()
    assert len(places) > 60
    padded = {
        table.key: [*data.get(table.key, ()), *({} for _ in range(PROVIDED))] for table in case_log().log_tables()
    }
    check_agrees(build_log(case_log(), padded, rows=1), tmp_path, office)
    rows = check_log(tmp_path / "log.xlsx", case_log()).computed.data
    faults = []
    for key, whole, blank, name in places:
        faults += blank_faults(key, rows[key][whole], rows[key][blank], name)
        if name in STANDS_FOR[key] and rows[key][whole]["check"]:
            filled = data[key][whole] | {name: STANDS_FOR[key][name]}
            faults += stands_for_faults(key, filled, rows[key][blank], name)
    assert faults == []


def stands_for_faults(key: str, filled: dict[str, Any], blank: dict[str, Any], name: str) -> Iterator[str]:
    """Where a blank does not give what its stated value, typed, gives."""
    data = clean()
    data[key].append(filled)
    typed = Computed(case_log(), data).data[key][-1]
    for mass in MASSES[key]:
        if typed[mass] != (blank[mass] if blank[mass] is None else pytest.approx(blank[mass], rel=1e-12)):
            yield f"{key}: {mass} with {name} blank is {blank[mass]!r}, with {STANDS_FOR[key][name]} {typed[mass]!r}"


def test_what_a_blank_stands_for_is_said_where_it_is_typed() -> None:
    for key, names in STANDS_FOR.items():
        for name in names:
            help_text = case_log().tables[key].by_key[name].help
            assert "lank" in help_text or "Only where" in help_text, (key, name)


FORMS: dict[str, dict[str, Any]] = {
    "bench": {"shape": "rectangle", "unit": "cm", "length": 80, "breadth": 50, "depth": 10, "fish_mass": 1.5,
              "agent": "tricaine methanesulfonate", "start_dose": 80, "active": 0.5, "ratio": 1.5, "step": 20,
              "limit": 150},
    "treatment": {"route": "salt", "food": "yes", "agent": "sodium chloride", "dose": 5, "days": 3, "water": 300,
                  "active": 0.5, "salt_now": 0.5},
}  # fmt: skip
FORM_MASSES = ("drug", "buffer", "packet_1", "packet_2", "buffer_1", "total_2")
FORM_STANDS_FOR = {"bench": ("active", "ratio", "fish_mass", "step", "limit"), "treatment": ("days", "salt_now")}


def form_values(key: str, route: str = "") -> dict[str, Any]:
    values = dict(FORMS[key])
    if route:
        more = {
            ("water" if name == "used" else "fish" if name == "number" else name): v
            for name, v in ROUTES[route].items()
        }
        values |= {"route": route, "biomass": 54, "dose": 15, **more}
    return values


@pytest.mark.parametrize(("key", "route"), [("bench", ""), *(("treatment", route) for route in ROUTES)])
def test_a_blank_on_a_form_is_never_a_zero(key: str, route: str) -> None:
    layout = load("bench")
    _, form = layout.forms[key]
    values = form_values(key, route)
    whole = compute_form(form, layout, values)
    masses = FORM_MASSES if key == "bench" else MASSES["treatments"]
    assert any(whole[mass] is not None for mass in masses)
    stands_for = (*FORM_STANDS_FOR[key], *(("active",) if key == "treatment" else ()))
    for name in values:
        blank = compute_form(form, layout, values | {name: None})
        for mass in masses:
            if whole[mass] is not None and blank[mass] != whole[mass] and name not in stands_for:
                assert blank[mass] is None, (name, mass)
                assert blank["check"] != "ok", (name, mass)
        if name in ("active", "days"):
            assert [blank[mass] for mass in masses] == [
                compute_form(form, layout, values | {name: 1})[m] for m in masses
            ]


def test_a_blank_on_a_form_in_both_engines(office: Office, tmp_path: Path) -> None:
    """A field of each form blank at once; results of both engines are those that Python stored."""
    for one, other in (("active", "salt_now"), ("fish_mass", "water"), ("start_dose", "dose"), ("depth", "days")):
        values = {"bench": form_values("bench") | {one: None}, "treatment": form_values("treatment") | {other: None}}
        check_agrees(build_bench(load("bench"), values), tmp_path, office)


@settings(max_examples=60, deadline=None)
@given(st.floats(0.1, 1e6), st.floats(0.1, 1e4), st.floats(0.01, 1))
def test_by_name_and_with_units_are_the_function(volume: float, dose: float, active: float) -> None:
    """The same bath, its water in gallons and its dose in g/L; the factor is NIST's."""
    right = bath.mass(volume, dose, active)
    assert call("BATH.MASS", volume, dose, active) == right
    assert call("BATH.MASS", f"{volume / 3.785411784!r} gal", f"{dose / 1000!r} g/L", active) == pytest.approx(right)


@pytest.mark.parametrize("arguments", [(None, 80), (40, None), ("", 80), (40, " "), (0, 80), (40, 0)])
def test_a_function_takes_no_blank(arguments: tuple[Any, Any]) -> None:
    with pytest.raises(ArgumentError, match=r"is blank|is zero"):
        call("BATH.MASS", *arguments)


def test_required_cells_are_those_that_a_mass_hangs_on() -> None:
    """What has no stated meaning when blank is required, or named by a rule of its route."""
    typed: tuple[Column, ...] = tuple(case_log().tables["baths"].typed)
    assert {c.key for c in typed if c.required} >= {"vessel", "agent", "start_dose"}
