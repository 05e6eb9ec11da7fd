"""The same bath and the same treatment by every way that a mass reaches a person, and how far showing it moves it.

`figures()` compares them all and answers with plain numbers. A printed mass is read with the unit that stands beside
it, turned into grams by pint, and compared with the grams of the Python function.
"""

from __future__ import annotations

import datetime
import io
import re
import subprocess
import tempfile
from collections.abc import Iterable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from random import Random
from typing import Any

import formualizer
import pint
import python_calamine
from openpyxl.utils import column_index_from_string

from tests.hosts.engines import with_formualizer, with_ironcalc
from tests.hosts.profile import new_profile
from tests.support.commands import run
from tests.support.display import largest_display_rounding
from tests.support.office import Office
from workbook_tools import call
from workbook_tools.across.planning import visit_plan
from workbook_tools.across.visit_pages import visit_pages
from workbook_tools.functions.formulas import bath, feed
from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.functions.texts.cell_text import cell_text
from workbook_tools.hosts import extension
from workbook_tools.layout import case_log, load
from workbook_tools.log.building.bench import build_bench
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.reading import read_log
from workbook_tools.producer.copy import producer_copy
from workbook_tools.xlsx.printing.pages import build_pages

SEED = 8
BATHS, FEEDS = 18, 6
COMPUTED = 1e-9  # relative difference that arithmetic in another order may make
SHOWN = 0.01  # relative difference that rounding for display may make
DAY = datetime.date(2030, 3, 2)
AMOUNT = re.compile(r"(?<![\d.])(\d+(?:\.\d+)?)[\u00a0 ](kg|g|lb|oz)(?![\w/])")
ID = re.compile(r"\b([XR]\d{3})\b")
UNITS: pint.UnitRegistry[float] = pint.UnitRegistry()


@dataclass(frozen=True)
class Bath:
    """Inputs of one bath; None is a cell left blank, which means 1 for the share and the agent's own for the ratio."""

    name: str
    litres: float
    dose: float
    active: float | None
    ratio: float | None

    @property
    def drug(self) -> float:
        """Grams of product."""
        return bath.mass(self.litres, self.dose, 1 if self.active is None else self.active)

    @property
    def buffer(self) -> float:
        """Grams of bicarbonate; the agent's own ratio is 2 (Reference sheet)."""
        return bath.buffer(self.drug, 2 if self.ratio is None else self.ratio)


@dataclass
class Comparison:
    """What each path answered: the number of masses it showed, and the sentences about those that are wrong."""

    inputs: set[str] = field(default_factory=set)
    paths: dict[str, int] = field(default_factory=dict)
    wrong: list[str] = field(default_factory=list)

    def add(self, path: str, name: str, right: float, found: float | None, tolerance: float = COMPUTED) -> None:
        self.inputs.add(name.split(maxsplit=1)[0])
        self.paths[path] = self.paths.get(path, 0) + 1
        if found is None or not abs(found - right) <= tolerance * right:
            self.wrong.append(f"{path}, {name}: {found!r} g, should be {right!r} g")


def grams(text: str) -> list[float]:
    """Every mass in a text, read with its own unit."""
    return [float(UNITS.Quantity(float(value), unit).to("g").magnitude) for value, unit in AMOUNT.findall(text)]


def some_baths(seed: int = SEED, count: int = BATHS) -> list[Bath]:
    """Baths from a beaker to a pond: drug from about 1 mg to about 100 kg."""
    random = Random(seed)
    found = []
    for number in range(count):
        litres = float(f"{10 ** random.uniform(-1, 5.5):.4g}")
        dose = float(f"{10 ** random.uniform(1, 2.5):.4g}")
        active = None if number % 3 == 0 else round(random.uniform(0.05, 1), 3)
        ratio = None if number % 2 == 0 else round(random.uniform(0.5, 5), 2)
        found.append(Bath(f"X{number:03d}", litres, dose, active, ratio))
    return found


def log_data(baths: Iterable[Bath]) -> dict[str, list[dict[str, Any]]]:
    """One visit with these baths, and treatments of the same water, doses and shares; a few by feed."""
    baths = list(baths)
    day = serial(DAY)
    vessels = [{"vessel": f"T{b.name}", "site": "S01", "shape": "known volume", "known": b.litres} for b in baths]
    plain = {"visit": "V001", "use": "anaesthesia", "species": "rainbow trout", "agent": "tricaine methanesulfonate"}
    rows = [
        {**plain, "bath": b.name, "vessel": f"T{b.name}", "start_dose": b.dose, "active": b.active, "ratio": b.ratio}
        | {"step": b.dose / 4, "limit": b.dose * 1.5}
        for b in baths
    ]
    given = {"visit": "V001", "stock": "K01", "agent": "chloramine-T, freshwater salmonids", "days": 1}
    given |= {"first": day, "last": day, "rule": "days", "wait": 21, "rule_source": "prescription"}
    treatments = [
        {**given, "treatment": b.name.replace("X", "R"), "route": "bath", "dose": b.dose, "used": b.litres}
        | {"active": b.active}
        for b in baths
    ]
    treatments += [
        {**given, "treatment": f"R9{number:02d}", "route": "feed", "dose": dose, "ration": 1.5, "active": active}
        for number, (dose, active) in enumerate(feeds())
    ]
    return {
        "sites": [{"site": "S01", "name": "Alder springs", "kind": "farm", "food_fish": "yes"}],
        "vessels": vessels,
        "stocks": [{"stock": "K01", "site": "S01", "vessel": f"T{baths[0].name}", "species": "rainbow trout",
                    "food_fish": "yes", "number": 1200, "mean_weight": 45}],
        "visits": [{"visit": "V001", "date": day, "site": "S01"}],
        "baths": rows,
        "treatments": treatments,
    }  # fmt: skip


def feeds() -> list[tuple[float, float | None]]:
    """Doses [mg/kg a day] and active shares of treatments by feed of 54 kg of fish."""
    random = Random(SEED)
    return [(round(10 ** random.uniform(0, 2), 2), random.choice([None, 0.5, 0.83])) for _ in range(FEEDS)]


def treatment_masses(baths: Iterable[Bath]) -> dict[str, float]:
    """Grams for one time, by treatment."""
    right = {b.name.replace("X", "R"): b.drug for b in baths}
    for number, (dose, active) in enumerate(feeds()):
        right[f"R9{number:02d}"] = feed.drug(54.0, dose, 1) / (1 if active is None else active)
    return right


# ------------------------------------------------------------------------------------------------------- functions


def compare_functions(found: Comparison, baths: list[Bath], folder: Path, calc: Office) -> None:
    """Python, by name, with units, at the prompt, and in each kind of cell."""
    shares = [1.0 if b.active is None else b.active for b in baths]
    for b, active in zip(baths, shares, strict=True):
        gallons = f"{b.litres / 3.785411784!r} gal"  # litres of a US gallon (NIST SP 811)
        found.add("Python function", b.name, b.litres * b.dose / 1000 / active, bath.mass(b.litres, b.dose, active))
        found.add("call by name", b.name, b.drug, call("BATH.MASS", b.litres, b.dose, active))
        found.add("call with units", b.name, b.drug, call("BATH.MASS", gallons, f"{b.dose / 1000!r} g/L", active))
        printed = run("calc", "BATH.MASS", f"{b.litres!r} L", repr(b.dose), repr(active)).output
        found.add("calc at the prompt", b.name, b.drug, one(grams(printed)))
        printed = run("calc", "BATH.BUFFER", repr(b.drug), repr(2 if b.ratio is None else b.ratio)).output
        found.add("calc at the prompt", f"{b.name} buffer", b.buffer, one(grams(printed)))
    cells: dict[str, Any] = {}
    for row, (b, active) in enumerate(zip(baths, shares, strict=True), start=1):
        cells |= {f"A{row}": b.litres, f"B{row}": b.dose, f"C{row}": active}
    rows = range(1, len(baths) + 1)
    named = [f"BATH.MASS(A{row},B{row},C{row})" for row in rows]
    plain = [cell_text("BATH.MASS", [f"A{row}", f"B{row}", f"C{row}"]) for row in rows]
    answers = {
        "cell text in formualizer": with_formualizer(plain, cells, folder),
        "cell text in LibreOffice": calc.evaluate(plain, cells),
        "name in ironcalc": with_ironcalc(named, cells, folder),
        "Calc extension": calc.evaluate(named, cells),
    }
    for path, values in answers.items():
        for b, value in zip(baths, values, strict=True):
            found.add(path, b.name, b.drug, value if isinstance(value, float | int) else None)


def one(values: list[float]) -> float | None:
    """The only value of a list."""
    return values[0] if len(values) == 1 else None


# ---------------------------------------------------------------------------------------------------------- sheets


def compare_log(found: Comparison, baths: list[Bath], path: Path, calc: Office) -> None:
    """Baths and Treatments of a built log: stored results, and those of two engines."""
    tables = case_log().tables
    stored = python_calamine.load_workbook(str(path))
    again = path.with_name("recalculated.xlsx")
    formualizer.recalculate_file(str(path), str(again))
    recalculated = python_calamine.load_workbook(str(again))
    opened = calc.values(path)
    right = {("baths", "drug"): [b.drug for b in baths], ("baths", "buffer"): [b.buffer for b in baths]}
    right["treatments", "grams"] = list(treatment_masses(baths).values())
    for (key, column), masses in right.items():
        table = tables[key]
        letters = table.letters[column]
        rows = stored.get_sheet_by_name(table.sheet).to_python(skip_empty_area=False)
        others = recalculated.get_sheet_by_name(table.sheet).to_python(skip_empty_area=False)
        for position, mass in enumerate(masses):
            row, number = table.first_row + position, column_index_from_string(letters)
            name = f"{rows[row - 1][0]} {column}"
            found.add(f"{table.sheet} sheet, stored", name, mass, rows[row - 1][number - 1])
            found.add(f"{table.sheet} sheet, formualizer", name, mass, others[row - 1][number - 1])
            value = opened[table.sheet][f"{letters}{row}"]
            found.add(f"{table.sheet} sheet, LibreOffice", name, mass, value if isinstance(value, float) else None)


def compare_bench(found: Comparison, baths: list[Bath], folder: Path, calc: Office) -> None:
    """The card of the bench workbook: its Start row, stored; two of them computed by LibreOffice as well."""
    for position, b in enumerate(baths):
        values = {"shape": "known volume", "known": b.litres, "agent": "tricaine methanesulfonate"}
        values |= {
            "start_dose": b.dose,
            "active": b.active,
            "ratio": b.ratio,
            "step": b.dose / 4,
            "limit": b.dose * 1.5,
        }
        content = build_bench(load("bench"), {"bench": values})
        rows = python_calamine.load_workbook(io.BytesIO(content)).get_sheet_by_name("Card").to_python()
        start = next(row for row in rows if row[0] == "Start")
        found.add("bench card, stored", b.name, b.drug, start[2])
        found.add("bench card, stored", f"{b.name} buffer", b.buffer, start[3])
        if position < 2:
            path = folder / "bench.xlsx"
            path.write_bytes(content)
            cells = calc.values(path)["Card"]
            row = next(address[1:] for address, value in cells.items() if address[0] == "A" and value == "Start")
            for name, letters, mass in ((b.name, "C", b.drug), (f"{b.name} buffer", "D", b.buffer)):
                value = cells[f"{letters}{row}"]
                found.add("bench card, LibreOffice", name, mass, value if isinstance(value, float) else None)


# ------------------------------------------------------------------------------------------------- what is printed


def compare_printed(found: Comparison, baths: list[Bath], path: Path, folder: Path, calc: Office) -> None:
    """The card and the plan at the prompt, labels, and the plan's pages as a PDF."""
    for b in baths[:4]:
        text = run("card", str(path), "--bath", b.name).output
        cells = re.split(
            r"\s{2,}", next(line.strip() for line in text.splitlines() if line.strip().startswith("Start  "))
        )
        assert "Drug g" in text
        found.add("card at the prompt", b.name, b.drug, float(cells[2]), SHOWN)
        found.add("card at the prompt", f"{b.name} buffer", b.buffer, float(cells[3]), SHOWN)
    text = run("plan", str(path)).output
    for part, b in zip(text.split("\nBath ")[1:], baths, strict=True):
        lines = start_lines(part)
        assert part.startswith(b.name)
        found.add("plan at the prompt", b.name, b.drug, float(lines[0][2]), SHOWN)
        found.add("plan at the prompt", f"{b.name} buffer", b.buffer, float(lines[1][2]), SHOWN)
    computed = read_log(path, case_log()).computed()
    plan = visit_plan(computed, "V001", today=DAY)
    pages = folder / "plan.xlsx"
    pages.write_bytes(build_pages("Visit plan", visit_pages(plan, computed)))
    by_name = {b.name: b for b in baths}
    for packet in plan.packets:
        if packet.name == "Start":
            b = by_name[packet.bath]
            right = b.drug if packet.kind == "drug" else b.buffer
            found.add("packets of the plan", f"{packet.bath} {packet.kind}", right, packet.mass)
    text = pdf_text(pages, folder, calc)
    labels = list(label_masses(text))
    assert len(labels) == len(plan.packets), (len(labels), len(plan.packets))
    masses = {(packet.bath, packet.name, packet.kind): packet.mass for packet in plan.packets}
    for key, mass in labels:
        found.add("labels in the PDF", " ".join(key), masses[key], mass, SHOWN)


def start_lines(text: str) -> list[list[str]]:
    """The cells of the lines of a printed table that begin with Start."""
    lines = (line.strip() for line in text.splitlines())
    return [re.split(r"\s{2,}", line) for line in lines if line.startswith("Start  ")]


def label_masses(text: str) -> Iterator[tuple[tuple[str, str, str], float | None]]:
    """Title and mass of each label: a row of labels has its titles on one line, its masses on a later one."""
    titles: list[tuple[str, str, str]] = []
    for line in text.splitlines():
        seen = re.findall(r"(X\d{3})\s+(Start|Spare top-up|Top-up \d+): (drug|buffer)", line)
        if seen:
            titles = seen
        masses = grams(line)
        if titles and len(masses) == len(titles):
            yield from zip(titles, masses, strict=True)
            titles = []


def compare_copies(found: Comparison, baths: list[Bath], path: Path, folder: Path, calc: Office) -> None:
    """The treatment pages of a producer's copy, in both systems of units, in its cells and in its PDF."""
    computed = read_log(path, case_log()).computed()
    right = treatment_masses(baths)
    for units in ("metric", "us"):
        made = producer_copy(computed, "S01", datetime.datetime.combine(DAY, datetime.time(9)), units=units)
        copy = folder / f"copy-{units}.xlsx"
        copy.write_bytes(made.content)
        book = python_calamine.load_workbook(io.BytesIO(made.content))
        sheets = [book.get_sheet_by_name(name).to_python() for name in made.sheets if name.startswith("What to give")]
        lines = ["  ".join(str(value) for value in row if value != "") for rows in sheets for row in rows]
        texts = {"cells": lines, "PDF": pdf_text(copy, folder, calc).splitlines()}
        for kind, text in texts.items():
            shown = given_masses(text)
            for name, mass in right.items():
                masses = shown.get(name, [])
                least = 2 if units == "us" else 1
                found.add(
                    f"producer copy, {units}, {kind}", name, mass, masses[0] if len(masses) >= least else None, SHOWN
                )
                for other in masses[1:]:
                    found.add(f"producer copy, {units}, {kind}", name, mass, other, SHOWN)


def given_masses(lines: Iterable[str]) -> dict[str, list[float]]:
    """Every mass of the sentences and tick tables that say how much to give, by treatment."""
    shown: dict[str, list[float]] = {}
    current = ""
    for line in lines:
        seen = ID.search(line)
        current = seen[1] if seen else current
        if current and (seen or re.match(r"\s*(Each (time|day):|Product in all)", line)):
            shown.setdefault(current, []).extend(grams(line))
    return shown


def pdf_text(path: Path, folder: Path, office: Office) -> str:
    pdf = office.convert(path, folder / f"{path.stem}.pdf", "pdf")
    done = subprocess.run(["pdftotext", "-layout", str(pdf), "-"], capture_output=True, check=True, timeout=60)
    return done.stdout.decode()


# ------------------------------------------------------------------------------------------------------- in all


@contextmanager
def calc_office(folder: Path) -> Iterator[Office]:
    """LibreOffice with the extension in a profile of its own."""
    profile = new_profile(folder)
    built = extension.build(folder / "workbook-tools.oxt")
    with environment(profile.environment):
        extension.install(built, profile.folder, shared=profile.shared)
    with Office(profile=profile.folder, environment=profile.environment) as running:
        yield running


@contextmanager
def environment(values: Mapping[str, str]) -> Iterator[None]:
    import os

    before = {name: os.environ.get(name) for name in values}
    os.environ.update(values)
    try:
        yield
    finally:
        for name, value in before.items():
            if value is None:
                del os.environ[name]
            else:
                os.environ[name] = value


def compare(folder: Path, calc: Office, baths: list[Bath] | None = None) -> Comparison:
    """All paths with the same baths."""
    found = Comparison()
    baths = some_baths() if baths is None else baths
    path = folder / "doses.xlsx"
    path.write_bytes(build_log(case_log(), log_data(baths), rows=len(baths) + FEEDS + 2))
    compare_functions(found, baths, folder, calc)
    compare_log(found, baths, path, calc)
    compare_bench(found, baths, folder, calc)
    compare_printed(found, baths, path, folder, calc)
    compare_copies(found, baths, path, folder, calc)
    return found


def figures() -> dict[str, object]:
    """Inputs tried, paths compared, masses compared, wrong doses, and the largest rounding for display in per cent."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        with calc_office(folder) as calc:
            found = compare(folder, calc)
    return {
        "inputs tried": len(found.inputs),
        "paths compared": len(found.paths),
        "masses compared": sum(found.paths.values()),
        "wrong doses": len(found.wrong),
        "largest display rounding %": round(100 * largest_display_rounding(), 3),
    }
