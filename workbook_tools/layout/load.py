"""Reads a layout file of `templates/` and completes it: rules that follow from a column, positions of references."""

from __future__ import annotations

import ast
import csv
import functools
import tomllib
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

from workbook_tools.errors import LayoutError
from workbook_tools.functions.formulas.unit import convert
from workbook_tools.functions.quantities import Choice, Quantity, aliases
from workbook_tools.layout.computing_order import last_columns, others_read
from workbook_tools.layout.expression_trees import parsed
from workbook_tools.layout.model import (
    FIRST_DAY,
    INPUT_KINDS,
    LAST_DAY,
    LONGEST,
    Card,
    Column,
    Form,
    Layout,
    Line,
    Rule,
    Section,
    Sheet,
    Table,
)
from workbook_tools.layout.views import read_charts, read_pivots, view_faults

KINDS = (*INPUT_KINDS, "computed", "key", "measure")
FORMATS = {
    "date": "yyyy-mm-dd",
    "time": "hh:mm:ss",
    "elapsed": "[hh]:mm:ss",  # over 24 min typed as m:ss is over 24 h to a spreadsheet
    "text": "@",
    "id": "@",
    "list": "@",
    "reference": "@",
    "typed": "General",
    # rounded displays never move an amount by more than 1 %, from 1 mg or 1 mL up
    "number": "[<0.01]0.00E+00;[<0.5]0.0000;0.00",
    "volume": "[>=1000]#,##0;[<10]0.000##;0.0",
    "length": "0.0###",
    "tally": '0;-0;"-"',
    "quantity": '[=0]"-";[<0.5]0.000000;0.00',
    "whole": "0",
    "one": "0.0",
    "share": "0 %",
    "permille": "0.0 %",
    "fine": "0.0000",
    "general": 'General;-General;General;"  "@',  # words stand off the number before them
}
RULES_A_CELL = 12
GAP = 3  # from the last row of a table to the headings of the one below it
CHECK = Column(
    "check",
    "Check",
    "check",
    width=60,
    help="Says in words what is missing or wrong in this row, or ok. It is computed: do not type here.",
)
TWICE = "{heading} is already used in {where}. Give this row a new ID."
MOVED = Column("moved", "Cells moved", "moved", width=8)
TYPED_OVER = Column("typed_over", "Typed over", "typed over", width=8)
KEY_ROW = Column(
    "key_row",
    "Row on its sheet",
    "key row",
    width=10,
    format=";;;",  # a step of the count, of no use to a reader
    help="Computed: the row of its own sheet from which this line is taken.",
)
DAYS = "between 2000-01-01 and 2099-12-31"


def folder() -> Path:
    """Where the layout files are: in the installed package, or beside it in a checkout."""
    package = Path(__file__).parents[1]
    installed = package / "templates"
    return installed if installed.is_dir() else package.parent / "templates"


@functools.cache
def load(name: str) -> Layout:
    """The layout of `templates/NAME.toml`.

    Raises LayoutError, listing every fault, where the file contradicts itself.
    """
    with (folder() / f"{name}.toml").open("rb") as file:
        source = tomllib.load(file)
    faults: list[str] = []
    sheets = tuple(_sheet(entry, faults) for entry in source["sheet"])
    if "sheets_of_log" in source:
        sheets += tuple(sheet for sheet in case_log().sheets if sheet.name in source["sheets_of_log"])
    layout = Layout(name, source["version"], source["title"], sheets, dict(source.get("names", {})))
    faults += _misdirected(layout) + view_faults(layout)
    if faults:
        raise LayoutError(name, faults)
    return layout


def case_log() -> Layout:
    """The layout of the running case log."""
    return load("case-log")


def quantity_named(name: str) -> Quantity | Choice:
    """The quantity behind an alias of `workbook_tools.functions.quantities`."""
    kind: Quantity | Choice = getattr(aliases, name).__metadata__[0]
    return kind


def _sheet(entry: dict[str, Any], faults: list[str]) -> Sheet:
    name = entry["name"]
    heading_row = 5
    tables = []
    for table_entry in entry.get("table", []):
        table = _table(table_entry, name, heading_row, faults)
        tables.append(table)
        if not entry.get("side_by_side"):
            heading_row = table.last_row + GAP
    if entry.get("side_by_side"):
        tables = _side_by_side(tables)
    elif len(tables) > 1:
        tables = [replace(table, stacked=True) for table in tables]
    if tables and not tables[0].stacked:
        tables[0] = replace(tables[0], purpose=entry.get("purpose", ""))
    return Sheet(
        name,
        entry.get("purpose", ""),
        tuple(tables),
        tuple(Line(**line | {"heads": tuple(line.get("heads", ()))}) for line in entry.get("line", [])),
        form(entry["form"], name, faults) if "form" in entry else None,
        Card(entry["card_of"], tuple(entry["card"]), tuple(entry["tick"])) if "card_of" in entry else None,
        entry.get("guide", False),
        entry.get("board", ""),
        tuple(entry.get("tick", ())),
        entry.get("tall", False),
        entry.get("caution", ""),
        entry.get("landscape", True),
        entry.get("one_page", False),
        read_pivots(entry.get("pivot", [])),
        read_charts(entry.get("chart", [])),
    )


def _side_by_side(tables: list[Table]) -> list[Table]:
    placed = []
    first = 1
    for table in tables:
        placed.append(replace(table, first_column=first))
        first += len(table.columns) + 1
    return placed


def _table(entry: dict[str, Any], sheet: str, heading_row: int, faults: list[str]) -> Table:
    key = entry["key"]
    name = entry.get("name", sheet)
    columns = [_column(c, f"{sheet}.{key}", faults) for c in entry["column"]]
    log = entry.get("log", True)
    rules = _rules(columns, entry.get("rule", [])) if log else []
    if entry.get("numbered"):
        columns.append(Column("own_row", f"{name} row", "own row", width=8, format="0"))
    if log:
        columns.append(CHECK)
        looked_up = _looked_up(columns, rules)
        columns += [
            Column(f"{c.key}_row", f"{c.heading} row", "position", to=c.to, width=8, format="0")
            for c in columns
            if c.kind == "reference" or (c.kind == "list" and c.key in looked_up)
        ]
        columns += [MOVED, TYPED_OVER, *_reasons(rules)]
    if any(column.kind == "key" for column in columns):
        columns.append(KEY_ROW)
    data = _data(entry, columns)
    rows = entry.get("rows", max(len(data), 1) if data else 200)
    return Table(
        key,
        name,
        sheet,
        tuple(columns),
        tuple(rules),
        heading_row,
        rows,
        log,
        data,
        entry.get("caption", ""),
        private=entry.get("private", False),
    )


def _looked_up(columns: list[Column], rules: list[Rule]) -> set[str]:
    """Columns by which an expression or a rule looks into another table."""
    found = set()
    for text in (*(c.expression for c in columns if c.expression), *(rule.when for rule in rules)):
        for node in ast.walk(ast.parse(text, mode="eval")):
            if isinstance(node, ast.Call) and ast.unparse(node.func) == "lookup" and len(node.args) == 2:
                found.add(ast.unparse(node.args[1]))
    return found


def _rules(columns: list[Column], entries: list[dict[str, Any]]) -> list[Rule]:
    rules = [rule for column in columns for rule in column_rules(column)]
    rules += [
        Rule(
            "id-used-twice", "fault", f"again({c.key})", TWICE.format(heading=c.heading, where="a row above"), (c.key,)
        )
        for c in columns
        if c.kind == "id"
    ]
    return rules + [
        Rule(r["code"], r.get("severity", "fault"), r["when"], r["say"], tuple(r.get("columns", ()))) for r in entries
    ]


def form(entry: dict[str, Any], sheet: str, faults: list[str]) -> Form:
    """A form with its fields, its steps and its rules."""
    columns, sections = [], []
    for section in entry["section"]:
        fields = [_field(f, f"{sheet}.form", faults) for f in section["field"]]
        columns += fields
        sections.append(Section(section["title"], tuple(field.key for field in fields)))
    for number in range(1, entry["steps"] + 1):
        columns += _step(number)
    rules = _rules(columns, entry.get("rule", []))
    table = Table(entry["key"], sheet, sheet, (*columns, CHECK, *_reasons(rules)), tuple(rules), rows=1)
    return Form(table, tuple(sections), entry["steps"])


def _field(entry: dict[str, Any], where: str, faults: list[str]) -> Column:
    if "like" not in entry:
        return _column(entry, where, faults)
    table, key = entry["like"].split(".")
    model = case_log().tables[table].by_key[key]
    own: dict[str, Any] = {
        name: FORMATS[value] if name == "format" else value for name, value in entry.items() if name != "like"
    }
    return replace(model, **own)


def _step(number: int) -> list[Column]:
    """The four computed values of one packet: dose after it, drug, buffer, drug in the bath so far."""
    if number == 1:
        dose, packet = "start_dose", "drug"
    else:
        dose = f"bath.step_dose(start_dose, step, limit, {number}) if rows >= {number} else None"
        packet = f"bath.top_up(water, dose_{number - 1}, dose_{number}, default(active, 1))"
    expressions = {
        "dose": dose,
        "packet": packet,
        "buffer": f"bath.buffer(packet_{number}, ratio_used)",
        "total": f"bath.mass(water, dose_{number}, default(active, 1))",
    }
    return [
        Column(f"{name}_{number}", f"{name} {number}", "computed", expression=text, format=FORMATS["number"])
        for name, text in expressions.items()
    ]


def _reasons(rules: list[Rule]) -> list[Column]:
    return [
        Column(f"reasons_{number}", f"Reasons {number}", "reasons", width=8, rules=tuple(part))
        for number, part in enumerate(_parts(rules), start=1)
    ]


def _parts(rules: list[Rule]) -> list[list[Rule]]:
    """Rules in groups small enough for the text of one cell."""
    return [rules[start : start + RULES_A_CELL] for start in range(0, len(rules), RULES_A_CELL)]


def _data(entry: dict[str, Any], columns: list[Column]) -> tuple[tuple[object, ...], ...]:
    if "first_of" in entry:
        listed = (line[columns[0].key] for file in entry["first_of"] for line in _lines(file))
        return tuple((value,) for value in dict.fromkeys([*listed, *entry.get("data", [])]))
    if "units_of" in entry:  # factors come from the unit table, never typed
        return tuple((name, convert(1, name, entry["units_of"])) for name in entry["data"])
    if "file" not in entry:
        return tuple((value,) for value in entry.get("data", []))
    return tuple(tuple(_value(line[column.key], column) for column in columns) for line in _lines(entry["file"]))


def _lines(name: str) -> list[dict[str, str]]:
    """Rows of a reference file."""
    with (folder() / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _value(text: str, column: Column) -> object:
    return float(text) if column.kind == "number" and text else text or None


def _column(entry: dict[str, Any], where: str, faults: list[str]) -> Column:
    kind = entry["kind"]
    place = f"{where}.{entry['key']}"
    if kind not in KINDS:
        faults.append(f"{place}: the kind {kind!r} is not one of {', '.join(KINDS)}")
    quantity = None
    if "quantity" in entry:
        if hasattr(aliases, entry["quantity"]):
            quantity = quantity_named(entry["quantity"])
        else:
            faults.append(f"{place}: there is no quantity {entry['quantity']!r}")
    if kind == "computed" and not entry.get("expression"):
        faults.append(f"{place}: a computed column needs an expression")
    if kind in ("list", "reference") and not entry.get("to"):
        faults.append(f"{place}: names no table to choose from")
    whole = isinstance(quantity, Quantity) and quantity.whole
    fallback = FORMATS.get(
        "elapsed"
        if entry.get("elapsed")
        else "whole"
        if whole
        else "typed"
        if kind == "number"
        else "number"
        if kind == "computed"
        else kind,
        "General",
    )
    return Column(
        entry["key"],
        entry["heading"],
        kind,
        quantity,
        entry.get("to", ""),
        entry.get("required", kind == "id"),
        " ".join(entry.get("expression", "").split()),
        entry.get("private", False),
        entry.get("help", ""),
        entry.get("width", 12),
        FORMATS[entry["format"]] if "format" in entry else fallback,
        entry.get("unique", kind == "id"),
        quiet=entry.get("quiet", False),
        give=entry.get("give", ""),
        elapsed=entry.get("elapsed", ""),
        loose=entry.get("loose", False),
    )


def column_rules(column: Column) -> list[Rule]:
    """The rules that follow from a column alone; sentences name the heading, so that they can stand in any cell."""
    key, heading = column.key, column.heading
    rules = []

    def fault(code: str, when: str, say: str) -> None:
        rules.append(Rule(code, "fault", when, say, (key,)))

    if column.typed and column.required:
        fault("missing", f"blank({key})", f"{heading} is missing.")
    if column.kind == "number":
        fault("not-a-number", f"given({key}) and not number({key})", f"{heading} is not a number.")
        if isinstance(column.quantity, Quantity):
            fault("out-of-range", _outside(key, column.quantity), f"{heading} must be {column.quantity.allowed}.")
    elif column.kind == "list":
        fault("not-listed", f"given({key}) and not listed({key})", f"{heading} is not on its list.")
    elif column.kind == "reference":
        sheet = column.to.replace("_", "-").capitalize()
        missing = Rule(
            "not-found",
            "fault",
            f"given({key}) and not found({key})",
            f"{heading} is not on the {sheet} sheet.",
            (key,),
        )
        rules.append(replace(missing, severity="notice", say=f"Notice: {missing.say}") if column.loose else missing)
        fault("empty-row", f"unfilled({key})", f"{heading} points to a row of the {sheet} sheet that is not filled in.")
    elif column.kind == "date":
        fault("not-a-date", f"given({key}) and not number({key})", f"{heading} is not a date.")
        fault("out-of-range", f"{key} < {FIRST_DAY} or {key} >= {LAST_DAY + 1}", f"{heading} must lie {DAYS}.")
    elif column.kind == "time":
        _time_rules(column, fault)
    return rules


def _time_rules(column: Column, fault: Callable[[str, str, str], None]) -> None:
    key, heading = column.key, column.heading
    fault("not-a-time", f"given({key}) and not number({key})", f"{heading} is not a time.")
    if column.elapsed:
        fault(
            "out-of-range",
            f"{key} < 0 or {key} >= {LONGEST}",
            f"{heading} must be a time of day, or m:ss up to {LONGEST * 24}:00.",
        )
    else:
        fault("out-of-range", f"{key} < 0 or {key} >= 1", f"{heading} must be a time of day from 00:00 to 23:59:59.")


def _outside(key: str, quantity: Quantity) -> str:
    low, high = f"{quantity.low:.15g}", f"{quantity.high:.15g}"
    tests = [
        f"{key} {'<=' if quantity.above else '<'} {low}",
        f"{key} {'>=' if quantity.below else '>'} {high}",
    ]
    if quantity.whole:
        tests.append(f"{key} != math.floor({key})")
    return " or ".join(tests)


def _misdirected(layout: Layout) -> list[str]:
    """Faults between tables: a list or reference to a table that is not there, a heading used twice."""
    faults = []
    for table in layout.tables.values():
        headings = [column.heading.casefold() for column in table.columns]
        faults += [f"{table.sheet}: the heading {h!r} stands twice" for h in set(headings) if headings.count(h) > 1]
        faults += [
            f"{table.sheet}.{column.key}: there is no table {column.to!r}"
            for column in table.columns
            if column.to and column.to not in layout.tables
        ]
    return faults + _ahead_of_its_turn(layout)


def _ahead_of_its_turn(layout: Layout) -> list[str]:
    """Columns that read what is computed later: tables are computed in order, and once more what counts over a later
    one, which no column of the first turn may read. Rules come last.
    """
    faults = []
    turns = {table.key: turn for turn, table in enumerate(layout.log_tables())}
    last = last_columns(layout)
    for table in layout.log_tables():
        for column in table.columns if table.key in turns else ():
            tree = parsed(column.expression, column.key) if column.kind == "computed" else None
            counting = column.key in last[table.key]
            for other, key in others_read(tree) if tree is not None else ():
                read = layout.tables[other].by_key.get(key) if other in turns else None
                if read is None or read.typed or turns[other] <= turns[table.key]:
                    continue
                if not counting or key in last[other]:
                    faults.append(f"{table.key}: {other}.{key} is computed later; move its sheet before this one")
    return faults
