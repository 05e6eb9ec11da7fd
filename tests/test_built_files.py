"""What is in the files themselves: parts, rules, names, tables, print set-up, properties.

`built`, `Package` and what reads formulas and stored results serve other tests as well.
"""

from __future__ import annotations

import functools
import hashlib
import io
import os
import re
import socket
import subprocess
import sys
import tempfile
import zipfile
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import formualizer
import pypdf
import pytest
import python_calamine
from openpyxl.utils import range_boundaries
from openxml_audit import OpenXmlValidator

from demo.practice import practice
from tests.support.office import Office
from tests.test_check import ROWS, clean, clock, day
from workbook_tools.errors import WorkbookToolsError
from workbook_tools.functions.quantities import Quantity
from workbook_tools.functions.texts.worksheet_functions import FORMULA_LIMIT
from workbook_tools.layout import Column, Layout, Table, case_log, load
from workbook_tools.layout.formulas import choice_name, told_by
from workbook_tools.log.building.bench import build_bench
from workbook_tools.log.building.log_workbook import build_log

ROOT = Path(__file__).resolve().parent.parent
MAIN = "{http://schemas.openxmlformats.org/spreadsheetml/2006/main}"
LINK = "{http://schemas.openxmlformats.org/officeDocument/2006/relationships}id"
WHICH = ("empty log", "filled log", "demo log", "empty bench", "filled bench")
BENCH: dict[str, dict[str, object]] = {
    "bench": {
        "place": "Alder springs",
        "name": "tub 1",
        "day": day(2026, 3, 2),
        "species": "rainbow trout",
        "shape": "rectangle",
        "unit": "cm",
        "length": 80,
        "breadth": 50,
        "depth": 10,
        "fish_mass": 1.5,
        "agent": "tricaine methanesulfonate",
        "start_dose": 80,
        "step": 20,
        "limit": 150,
        "lighter": 60,
        "recovery": 60,
    },
    "sampling": {"population": 1200, "prevalence": 0.05, "sampled": 60, "examined": 60, "positive": 3},
    "treatment": {
        "route": "feed",
        "food": "yes",
        "dose": 75,
        "days": 10,
        "biomass": 90,
        "ration": 1.5,
        "last": day(2026, 3, 12),
        "rule": "days",
        "wait": 21,
    },
}


@functools.cache
def built(which: str) -> bytes:
    """One of the workbooks that the tools make."""
    makers = {
        "empty log": lambda: build_log(case_log(), rows=ROWS),
        "filled log": lambda: build_log(case_log(), clean(), rows=ROWS),
        "demo log": lambda: build_log(case_log(), practice()),
        "empty bench": lambda: build_bench(load("bench")),
        "filled bench": lambda: build_bench(load("bench"), BENCH),
    }
    return makers[which]()


def layout_of(which: str) -> Layout:
    return case_log() if "log" in which else load("bench")


@dataclass(frozen=True)
class Stored:
    """One cell as the file has it. `formula` is None for a typed one, and empty where it shares another's."""

    formula: str | None
    kind: str
    value: str | None

    @property
    def result(self) -> float | str | None:
        """The stored result; None where none is stored."""
        if self.value is None or self.kind in ("str", "s", "inlineStr", "e"):
            return self.value
        return float(self.value)


class Package:
    """A workbook file, part by part."""

    def __init__(self, content: bytes) -> None:
        with zipfile.ZipFile(io.BytesIO(content)) as archive:
            self.parts = {name: archive.read(name) for name in archive.namelist()}
        self.strings = [
            "".join(text.text or "" for text in item.iter(f"{MAIN}t")) for item in self.xml("xl/sharedStrings.xml")
        ]
        links = {link.get("Id"): str(link.get("Target")) for link in self.xml("xl/_rels/workbook.xml.rels")}
        self.workbook = self.xml("xl/workbook.xml")
        self.sheets = {
            str(sheet.get("name")): "xl/" + links[sheet.get(LINK)].removeprefix("/xl/")
            for sheet in self.workbook.iter(f"{MAIN}sheet")
        }

    def xml(self, name: str) -> ElementTree.Element:
        return ElementTree.fromstring(self.parts[name])

    def sheet(self, name: str) -> ElementTree.Element:
        return self.xml(self.sheets[name])

    def cells(self, name: str) -> dict[str, Stored]:
        """Cells of a sheet that hold anything, by address."""
        found = {}
        for cell in self.sheet(name).iter(f"{MAIN}c"):
            formula, value = cell.find(f"{MAIN}f"), cell.find(f"{MAIN}v")
            if formula is None and value is None:
                continue
            kind = cell.get("t", "n")
            text = None if value is None else value.text or ""
            if kind == "s" and text is not None:
                text = self.strings[int(text)]
            found[str(cell.get("r"))] = Stored(None if formula is None else formula.text or "", kind, text)
        return found

    def names(self) -> dict[str, str]:
        """Defined names that are not the print set-up's."""
        return {
            str(name.get("name")): name.text or ""
            for name in self.workbook.iter(f"{MAIN}definedName")
            if not str(name.get("name")).startswith("_xlnm.")
        }

    def tables(self) -> Iterator[tuple[str, ElementTree.Element]]:
        """Sheet and table part, for each table."""
        for sheet, part in self.sheets.items():
            links = part.replace("worksheets/", "worksheets/_rels/") + ".rels"
            for link in self.xml(links) if links in self.parts else ():
                if str(link.get("Type")).endswith("/table"):
                    yield sheet, self.xml("xl/" + str(link.get("Target")).removeprefix("/xl/").removeprefix("../"))

    def rules(self, sheet: str) -> list[ElementTree.Element]:
        return list(self.sheet(sheet).iter(f"{MAIN}dataValidation"))


def texts_of_formulas(content: bytes) -> list[str]:
    """Every formula of a file: cells, columns of tables, rules, notices, and names but those for Excel 365 alone."""
    package = Package(content)
    tags = {f"{MAIN}{tag}" for tag in ("f", "formula", "formula1", "formula2", "calculatedColumnFormula")}
    trees = [package.sheet(name) for name in package.sheets] + [table for _, table in package.tables()]
    texts = [node.text for tree in trees for node in tree.iter() if node.tag in tags]
    names = [text for text in package.names().values() if not text.startswith("_xlfn.LAMBDA(")]
    return [text for text in [*texts, *names] if text]


def function_names(text: str) -> set[str]:
    """Functions that a formula calls; texts and sheet names in quotes are no calls."""
    plain = re.sub(r'"(?:[^"]|"")*"' + r"|'(?:[^']|'')*'!", " ", text)
    return set(re.findall(r"([A-Za-z_][A-Za-z0-9_.]*)\(", plain))


def sized(which: str) -> Iterator[Table]:
    """Log tables of a layout, as many rows long as the built log has."""
    from dataclasses import replace

    for table in layout_of(which).log_tables():
        yield replace(table, rows=ROWS)


packages = functools.cache(lambda which: Package(built(which)))

# -------------------------------------------------------------------------------------------------- the package


@pytest.mark.parametrize("which", WHICH)
def test_every_part_passes_the_schema(which: str, tmp_path: Path) -> None:
    path = tmp_path / "built.xlsx"
    path.write_bytes(built(which))
    found = OpenXmlValidator().validate(path)
    assert [str(error) for error in found.errors] == []
    assert found.is_valid


@pytest.mark.parametrize("fault", [(b"<pane ", b"<pain "), (b'type="custom"', b'type="costum"')])
def test_a_fault_in_a_part_is_seen(fault: tuple[bytes, bytes], tmp_path: Path) -> None:
    path = tmp_path / "spoilt.xlsx"
    with zipfile.ZipFile(path, "w") as archive:
        for name, content in packages("filled log").parts.items():
            archive.writestr(name, content.replace(*fault))
    assert OpenXmlValidator().validate(path).errors


@pytest.mark.parametrize("which", WHICH)
def test_every_part_is_well_formed(which: str) -> None:
    """Which the schema's validator does not say of a part that it cannot read."""
    for name in packages(which).parts:
        packages(which).xml(name)


MAKE = """
import sys
from tests.test_built_files import WHICH, built
import hashlib
print(*(hashlib.sha256(built(which)).hexdigest() for which in WHICH))
"""


def test_the_same_input_gives_the_same_bytes() -> None:
    """In processes of other hash seeds, time zones and languages."""
    expected = " ".join(hashlib.sha256(built(which)).hexdigest() for which in WHICH)
    for seed, zone, language in (("1", "Pacific/Auckland", "C"), ("2", "America/Lima", "de_DE.UTF-8")):
        more = {"PYTHONHASHSEED": seed, "TZ": zone, "LANG": language, "LC_ALL": language}
        done = subprocess.run(
            [sys.executable, "-c", MAKE],
            cwd=ROOT,
            env=os.environ | more,
            capture_output=True,
            text=True,
            check=True,
            timeout=120,
        )
        assert done.stdout.strip() == expected


@pytest.mark.parametrize("which", WHICH)
def test_no_macro_link_comment_or_picture(which: str) -> None:
    kinds = {re.sub(r"\d+", "", name) for name in packages(which).parts}
    assert kinds <= {
        *("[Content_Types].xml", "_rels/.rels", "docProps/app.xml", "docProps/core.xml", "docProps/custom.xml"),
        *("xl/workbook.xml", "xl/_rels/workbook.xml.rels", "xl/styles.xml", "xl/sharedStrings.xml"),
        *("xl/theme/theme.xml", "xl/worksheets/sheet.xml", "xl/worksheets/_rels/sheet.xml.rels", "xl/tables/table.xml"),
        *("xl/pivotTables/pivotTable.xml", "xl/pivotTables/_rels/pivotTable.xml.rels"),
        *("xl/pivotCache/pivotCacheDefinition.xml",),  # no records: pivotCacheRecords.xml would hold rows of the log
        *("xl/drawings/drawing.xml", "xl/drawings/_rels/drawing.xml.rels", "xl/charts/chart.xml"),
    }
    for name, content in packages(which).parts.items():
        assert b'TargetMode="External"' not in content, name


@pytest.mark.parametrize("which", WHICH)
def test_properties_name_no_person_and_no_machine(which: str) -> None:
    package = packages(which)
    said = {node.tag.rpartition("}")[2]: node.text for node in package.xml("docProps/core.xml")}
    assert set(said) <= {"creator", "title", "created", "modified"}
    assert said["creator"] == "workbook-tools"
    assert {node.tag.rpartition("}")[2] for node in package.xml("docProps/app.xml")} <= {"Application", "AppVersion"}
    custom = {node.get("name"): node[0].text for node in package.xml("docProps/custom.xml")}
    assert custom == {"Layout": layout_of(which).name, "Layout version": layout_of(which).version}
    local = {str(Path.home()), str(ROOT), tempfile.gettempdir(), socket.gethostname()}
    for name, content in package.parts.items():
        assert not [word for word in local if word.encode() in content], name


@pytest.mark.parametrize("which", WHICH)
def test_every_formula_has_a_stored_result_and_none_is_an_error(which: str) -> None:
    formulas = 0
    for sheet in packages(which).sheets:
        for address, cell in packages(which).cells(sheet).items():
            if cell.formula is not None:
                formulas += 1
                assert cell.value is not None, f"{sheet}!{address} has no stored result"
            assert cell.kind != "e", f"{sheet}!{address} holds an error"
    assert formulas > 50


# ------------------------------------------------------------------------------------------------------- typed texts

STARTS = ("=1+1", "+1+1", "-1+1", "@SUM(1)", "=HYPERLINK(1)", "\t=1+1", "'=1", "=")


def check_texts(content: bytes, texts: list[str], folder: Path, office: Office) -> None:
    """All the texts are texts, each as often as typed, in the package and for a spreadsheet that opens it."""
    package = Package(content)
    wanted = set(texts)
    there = [cell for name in package.sheets for cell in package.cells(name).values() if cell.value in wanted]
    typed = [cell for cell in there if cell.formula is None]
    assert sorted(cell.value or "" for cell in typed) == sorted(texts)
    assert {cell.kind for cell in typed} == {"s"}
    assert {cell.kind for cell in there} <= {"s", "str"}
    path = folder / "typed.xlsx"
    path.write_bytes(content)
    seen = [value for cells in office.values(path).values() for value in cells.values() if isinstance(value, str)]
    assert wanted <= set(seen)


def test_typed_texts_of_the_log_stay_texts(tmp_path: Path, office: Office) -> None:
    """In every text column, a row for each start."""
    data: dict[str, list[dict[str, Any]]] = {
        table.key: [{c.key: f"{start} {c.key}" for c in table.typed if c.kind == "text"} for start in STARTS]
        for table in case_log().log_tables()
    }
    texts = [text for rows in data.values() for row in rows for text in row.values()]
    assert len(texts) > 200
    check_texts(build_log(case_log(), data, rows=2), texts, tmp_path, office)


@pytest.mark.parametrize("start", STARTS)
def test_typed_texts_of_the_bench_stay_texts(start: str, tmp_path: Path, office: Office) -> None:
    values: dict[str, dict[str, object]] = {
        key: {column.key: f"{start} {column.key}" for column in form.table.typed if column.kind == "text"}
        for key, (_, form) in load("bench").forms.items()
    }
    texts = [str(text) for fields in values.values() for text in fields.values()]
    assert texts
    check_texts(build_bench(load("bench"), values), texts, tmp_path, office)


@pytest.mark.parametrize(
    "text",
    [
        "a < b & \"c\" > 'd'",
        " spaces at both ends ",
        "two\nlines",
        "_x000D_ written out",
        "bell \a and nothing \x00",
        "Größe 12 µL, 𝛼 and 🐟",
        "0012",
        "TRUE",
        "#N/A",
        "x" * 32_767,
    ],
)
def test_typed_texts_come_back_as_typed(text: str, tmp_path: Path) -> None:
    data = clean()
    data["sites"][0]["notes"] = text
    path = tmp_path / "typed.xlsx"
    path.write_bytes(build_log(case_log(), data, rows=ROWS))
    assert not OpenXmlValidator().validate(path).errors
    rows = python_calamine.load_workbook(str(path)).get_sheet_by_name("Sites").to_python(skip_empty_area=False)
    assert rows[5][rows[4].index("Site notes")] == text


def test_a_text_too_long_for_a_cell_is_refused() -> None:
    data = clean()
    data["sites"][0]["notes"] = "x" * 32_768
    with pytest.raises(WorkbookToolsError, match="32,767"):
        build_log(case_log(), data, rows=ROWS)


# ---------------------------------------------------------------------------------------------------------- rules


def rule_over(package: Package, sheet: str, cells: str) -> ElementTree.Element:
    """The one rule on a range."""
    (rule,) = [rule for rule in package.rules(sheet) if cells in str(rule.get("sqref")).split()]
    return rule


def cells_of(table: Table, column: Column) -> str:
    place = table.letters[column.key]
    return f"{place}{table.first_row}:{place}{table.last_row}"


TYPES = {"list": "list", "reference": "list", "number": "custom", "date": "date", "time": "time", "id": "custom"}


@pytest.mark.parametrize("which", ["empty log", "filled log"])
def test_every_typed_column_has_its_rule_and_message(which: str) -> None:
    for table in sized(which):
        for column in table.typed:
            rule = rule_over(packages(which), table.sheet, cells_of(table, column))
            place = f"{table.sheet}.{column.key}"
            assert rule.get("showInputMessage") == "1", place
            assert rule.get("promptTitle") == column.heading, place
            assert rule.get("prompt") == column.help, place
            if column.kind == "text":
                continue
            assert rule.get("type") == TYPES[column.kind], place
            assert rule.get("showErrorMessage") == "1", place
            assert rule.get("errorStyle") in (None, "stop"), place
            assert str(rule.get("error")).startswith(column.heading), place
            assert str(rule.get("error")).endswith("."), place


@pytest.mark.parametrize("which", ["empty log", "filled log"])
def test_every_computed_column_refuses_typing(which: str) -> None:
    for table in sized(which):
        for column in table.columns:
            if not column.typed:
                check_refuses(rule_over(packages(which), table.sheet, cells_of(table, column)))


def check_refuses(rule: ElementTree.Element) -> None:
    assert rule.get("type") == "custom"
    assert rule.findtext(f"{MAIN}formula1") == "FALSE"
    assert rule.get("allowBlank") in (None, "0")
    assert rule.get("showErrorMessage") == "1"
    assert rule.get("errorStyle") in (None, "stop")
    assert rule.get("error")


@pytest.mark.parametrize("which", ["empty bench", "filled bench"])
def test_every_field_of_the_bench_has_its_rule(which: str) -> None:
    for sheet, form in load("bench").forms.values():
        for column in form.table.columns:
            rule = rule_over(packages(which), sheet.name, form.place(column.key).replace("$", ""))
            if not column.typed:
                check_refuses(rule)
            else:
                assert rule.get("showInputMessage") == "1"
                assert rule.get("prompt") == column.help
                assert column.kind == "text" or rule.get("type") == TYPES[column.kind]


@pytest.mark.parametrize("which", WHICH)
def test_messages_are_within_the_limits_of_a_rule(which: str) -> None:
    """A title of over 32, a message of over 255 or an error of over 224 characters is dropped or breaks the file."""
    for sheet in packages(which).sheets:
        for rule in packages(which).rules(sheet):
            for name, limit in (("promptTitle", 32), ("prompt", 255), ("errorTitle", 32), ("error", 224)):
                assert len(rule.get(name, "")) <= limit, (sheet, rule.get("sqref"), name)
            for formula in ("formula1", "formula2"):
                assert len(rule.findtext(f"{MAIN}{formula}") or "") <= 255, (sheet, rule.get("sqref"), formula)


def test_rules_take_what_the_quantity_takes() -> None:
    """Each rule of a number, computed by formualizer over values in, at and past the range."""
    book = formualizer.Workbook()
    book.add_sheet("S")
    asked: list[tuple[str, Any, bool]] = []
    for table in sized("empty log"):
        for column in table.typed:
            if column.kind != "number" or not isinstance(column.quantity, Quantity):
                continue
            rule = rule_over(packages("empty log"), table.sheet, cells_of(table, column))
            text = rule.findtext(f"{MAIN}formula1") or ""
            low, high = column.quantity.low, column.quantity.high
            middle = float(round((low + high) / 2))
            for value in (low, high, middle, middle + 0.5, low - 1, high * 1.001 + 1, 0.0, -1.0, 1e300, "12", "12 gal"):
                row = len(asked) + 1
                book.set_value("S", row, 1, value)
                book.set_formula(
                    "S", row, 2, "=" + text.replace(f"${table.letters[column.key]}{table.first_row}", f"A{row}")
                )
                asked.append((f"{table.sheet}.{column.key}", value, column.quantity.fault(value) is None))
    assert len(asked) > 300
    answers = book.evaluate_cells([("S", row, 2) for row in range(1, len(asked) + 1)])
    wrong = [(*case, answer) for case, answer in zip(asked, answers, strict=True) if (answer is True) != case[2]]
    assert wrong == []


# ---------------------------------------------------------------------------------------------------------- lists


def asked_of_names(office: Office, path: Path, names: list[str], typed: dict[str, dict[str, str]]) -> dict[str, Any]:
    """Rows of each name and blanks in it, computed by LibreOffice after something was typed."""
    sheet = next(iter(Package(path.read_bytes()).sheets))
    questions = {f"ZA{row}": f"=ROWS({name})" for row, name in enumerate(names, start=1)}
    questions |= {f"ZB{row}": f"=COUNTBLANK({name})" for row, name in enumerate(names, start=1)}
    saved = office.type_into(path, {sheet: questions, **typed}, path.with_name("asked.xlsx"))
    found = office.values(saved)[sheet]
    return {name: (found[f"ZA{row}"], found[f"ZB{row}"]) for row, name in enumerate(names, start=1)}


def test_lists_are_dynamic_names_without_blanks(tmp_path: Path, office: Office) -> None:
    """Each list reaches as far as it is filled, and one further after one more word is typed below it."""
    path = tmp_path / "log.xlsx"
    path.write_bytes(built("filled log"))
    layout, data = case_log(), clean()
    pointed = sorted({c.to for t in layout.log_tables() for c in t.typed if c.to})
    filled = {key: len(data.get(key, layout.tables[key].data)) for key in pointed}
    filled = {key: count for key, count in filled.items() if count}
    names = [choice_name(key) for key in filled]
    assert set(names) <= set(Package(path.read_bytes()).names())
    assert len(names) >= 15
    assert asked_of_names(office, path, names, {}) == {choice_name(key): (n, 0) for key, n in filled.items()}
    typed: dict[str, dict[str, str]] = {}
    for key in ("species", "sites", "agents", "purposes"):
        table = layout.tables[key]
        row = table.first_row + filled[key]
        typed.setdefault(table.sheet, {})[f"{table.letters[told_by(table).key]}{row}"] = "one more"
        filled[key] += 1
    assert asked_of_names(office, path, names, typed) == {choice_name(key): (n, 0) for key, n in filled.items()}


def test_a_row_left_blank_takes_nothing_off_a_list(tmp_path: Path, office: Office) -> None:
    """Rows left blank between sites are allowed, each site must be offered, and the id of the blank row with them."""
    data = clean()
    data["sites"].insert(1, {})
    path = tmp_path / "log.xlsx"
    path.write_bytes(build_log(case_log(), data, rows=ROWS))
    assert asked_of_names(office, path, ["choices_sites"], {}) == {"choices_sites": (3, 0)}  # its id is there


def test_rules_point_to_lists_that_are_there() -> None:
    for which in WHICH:
        package = packages(which)
        for sheet in package.sheets:
            for rule in package.rules(sheet):
                if rule.get("type") == "list":
                    assert rule.get("allowBlank", "0") in ("0", "false")
                    assert rule.findtext(f"{MAIN}formula1") in package.names()


# --------------------------------------------------------------------------------------------- out of sight, tables


@pytest.mark.parametrize("which", ["empty log", "filled log"])
def test_nothing_is_hidden_but_positions_reasons_and_steps_of_a_computation(which: str) -> None:
    package = packages(which)
    assert {sheet.get("state", "visible") for sheet in package.workbook.iter(f"{MAIN}sheet")} == {"visible"}
    assert not [name for name in package.workbook.iter(f"{MAIN}definedName") if name.get("hidden") == "1"]
    for sheet in layout_of(which).sheets:
        hidden = {number for column in package.sheet(sheet.name).iter(f"{MAIN}col") if column.get("hidden") == "1"
                  for number in range(int(column.get("min", 0)), int(column.get("max", 0)) + 1)}  # fmt: skip
        expected = {
            table.first_column + number
            for table in sheet.tables
            for number, column in enumerate(table.columns)
            if column.kind in ("position", "own row", "moved", "typed over", "reasons")
            or (column.quiet and column.kind == "computed")
        }
        expected |= {14} if sheet.board == "plan" else set()  # where the baths of the visit stand
        assert hidden == expected, sheet.name
        assert not [row for row in package.sheet(sheet.name).iter(f"{MAIN}row") if row.get("hidden") == "1"]


@pytest.mark.parametrize("which", ["empty bench", "filled bench"])
def test_only_reasons_and_steps_of_a_computation_are_hidden_on_the_bench(which: str) -> None:
    package = packages(which)
    forms = {sheet.name: form for sheet, form in load("bench").forms.values()}
    for sheet in package.sheets:
        columns = [c for c in package.sheet(sheet).iter(f"{MAIN}col") if c.get("hidden") == "1"]
        rows = {row.get("r") for row in package.sheet(sheet).iter(f"{MAIN}row") if row.get("hidden") == "1"}
        if sheet not in forms:
            assert not columns, sheet
            assert not rows, sheet
            continue
        table = forms[sheet].table
        places = {c.key: forms[sheet].place(c.key).replace("$", "") for c in table.columns}
        assert [(column.get("min"), column.get("max")) for column in columns] == [("8", "8")]
        reasons = {places[c.key] for c in table.columns if c.kind == "reasons"}
        assert {address for address in package.cells(sheet) if address.startswith("H")} == reasons
        quiet = {places[c.key].lstrip("B") for c in table.columns if c.quiet and c.kind == "computed"}
        assert rows == quiet


@pytest.mark.parametrize("which", WHICH)
def test_table_names_and_headings(which: str) -> None:
    """Unique whatever the case; each heading cell holds the very name that its table has for the column."""
    package = packages(which)
    names, numbers = [], []
    for sheet, table in package.tables():
        names.append(str(table.get("displayName")))
        numbers.append(table.get("id"))
        left, top, right, _ = range_boundaries(str(table.get("ref")))
        headings = [str(column.get("name")) for column in table.iter(f"{MAIN}tableColumn")]
        assert len({heading.casefold() for heading in headings}) == len(headings) == right - left + 1
        cells = package.cells(sheet)
        shown = {
            range_boundaries(address)[0]: c.value for address, c in cells.items() if range_boundaries(address)[1] == top
        }
        assert [shown[number] for number in range(left, right + 1)] == headings
    assert names
    every = [name.casefold() for name in [*names, *package.names()]]
    assert len(every) == len(set(every))
    assert len(numbers) == len(set(numbers))
    assert all(
        re.fullmatch(r"[A-Za-z_][A-Za-z0-9_]*", name) and not re.fullmatch(r"[A-Z]{1,3}\d+", name) for name in names
    )


@pytest.mark.parametrize("which", ["empty log", "filled log"])
def test_a_new_row_takes_over_every_formula(which: str) -> None:
    """The formula of each computed column, its references turned to the first row, is that row's own formula."""
    parts = {str(table.get("displayName")): table for _, table in packages(which).tables()}
    for table in sized(which):
        texts = {
            str(column.get("name")): column.findtext(f"{MAIN}calculatedColumnFormula")
            for column in parts[table.name].iter(f"{MAIN}tableColumn")
        }
        cells = packages(which).cells(table.sheet)
        for column in table.columns:
            text = texts[column.heading]
            if column.typed:
                assert text is None
                continue
            assert text is not None, f"{table.sheet}.{column.key}"
            assert len(text) < FORMULA_LIMIT
            first = cells[f"{table.letters[column.key]}{table.first_row}"].formula
            own_row = rf'^IF\(AND\((\$[A-Z]+{table.first_row}="")'
            own_row += rf",ROW\(\$[A-Z]+{table.first_row}\)=ROW\(\)\)"
            first = re.sub(own_row, r"IF(\1", first)  # nor can the whole formula stand in another row
            if column.kind == "moved":  # a table's reference to its own row cannot look into another one
                assert text == '""'
                tested = re.findall(rf"ROW\(\$([A-Z]+){table.first_row}\)=ROW\(\)", first)
                assert tested == [table.letters[typed.key] for typed in table.typed]
                continue
            if column.kind == "typed over":
                own = rf",ROW\(\$[A-Z]+{table.first_row}\)=ROW\(\)"
                first = re.sub(rf"AND\((_xlfn\.ISFORMULA\([^)]*\)){own}\)", r"\1", first)
                first = re.sub(own, "", first)
                text = re.sub(r"AND\((_xlfn\.ISFORMULA\([^)]*\))\)", r"\1", text)  # a single hidden one
            assert in_first_row(text, table) == first


def in_first_row(text: str, table: Table) -> str:
    """Long-form references of one's own row as cell references of the first row."""
    cells = {column.heading: f"${table.letters[column.key]}{table.first_row}" for column in table.columns}
    row = re.escape(f"{table.name}[[#This Row],") + r"(?:\[([^\[\]]*)\])(?::\[([^\[\]]*)\])?\]"
    return re.sub(row, lambda m: cells[m[1]] + (f":{cells[m[2]]}" if m[2] else ""), text)


# ----------------------------------------------------------------------------------------------------------- print


@pytest.mark.parametrize("which", WHICH)
def test_print_set_up(which: str) -> None:
    package = packages(which)
    titles = {
        int(name.get("localSheetId", -1)): name.text
        for name in package.workbook.iter(f"{MAIN}definedName")
        if name.get("name") == "_xlnm.Print_Titles"
    }
    for number, sheet in enumerate(layout_of(which).sheets):
        part = package.sheet(sheet.name)
        setup = part.find(f"{MAIN}pageSetup")
        assert setup is not None
        assert setup.get("orientation") == ("landscape" if sheet.landscape else "portrait")
        assert setup.get("paperSize") == "9"  # A4
        assert int(setup.get("fitToWidth", "1")) >= 1
        assert setup.get("fitToHeight", "1") == ("1" if sheet.one_page else "0")
        assert part.find(f"{MAIN}sheetPr/{MAIN}pageSetUpPr[@fitToPage='1']") is not None
        assert "Page &P of &N" in (part.findtext(f"{MAIN}headerFooter/{MAIN}oddFooter") or "")
        logs = any(table.log for table in sheet.tables)
        expected = f"'{sheet.name}'!$1:$5,'{sheet.name}'!$A:$A" if logs else None
        assert titles.get(number) == (f"'{sheet.name}'!$4:$4" if sheet.guide else expected)


@pytest.mark.parametrize("which", ["filled log", "empty bench", "filled bench"])
def test_sheets_of_one_page_print_on_one_page(which: str, tmp_path: Path, office: Office) -> None:
    """By the footer of each page, which names its sheet."""
    path = tmp_path / "built.xlsx"
    path.write_bytes(built(which))
    pages = pypdf.PdfReader(office.convert(path, tmp_path / "built.pdf", "pdf")).pages
    footers = [re.findall(r"^(.*?)\s*Page \d+ of \d+$", page.extract_text(), re.MULTILINE) for page in pages]
    names = [names[0] for names in footers]
    single = [sheet.name for sheet in layout_of(which).sheets if sheet.one_page]
    assert single
    assert {name: names.count(name) for name in single} == dict.fromkeys(single, 1)


def test_clock_and_day_are_what_a_spreadsheet_counts() -> None:
    """ECMA-376 Part 1, 18.17.4: 1 March 1900 is day 61; noon is a half."""
    assert (day(1900, 3, 1), clock("12:00")) == (61, 0.5)


@pytest.mark.parametrize("which", ["empty log", "filled log"])
def test_no_computed_cell_is_marked_for_its_column_s_formula(which: str) -> None:
    """Cells are spelled for every program, the table's own formulas by its columns: Excel would mark each of them."""
    package = packages(which)
    for table in sized(which):
        (entry,) = package.sheet(table.sheet).iter(f"{MAIN}ignoredError")
        last = list(table.letters.values())[-1]
        assert dict(entry.attrib) == {"sqref": f"A{table.first_row}:{last}{table.last_row}", "calculatedColumn": "1"}
