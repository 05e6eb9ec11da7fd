"""What a layout consists of: sheets, tables, columns, rules and pages."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import cached_property

from workbook_tools.functions.quantities import Choice, Quantity
from workbook_tools.xlsx.addresses import letter

MARK_LETTERS = 3  # at most, in the mark of a lent copy
MARKERS = ("to fill", "if known", "computed")  # above a heading: what a column is
INPUT_KINDS = ("id", "text", "number", "date", "time", "list", "reference")
LONGEST = 10  # stopwatch times, in days that a spreadsheet takes m:ss for h:mm: 240 minutes
FIRST_DAY, LAST_DAY = 36526, 73050  # 2000-01-01, 2099-12-31
DATES = Quantity("date", "d", FIRST_DAY, LAST_DAY + 1, below=True)
TIMES = Quantity("time of day", "d", 0, 1, below=True)
TIMES_BY_STOPWATCH = Quantity("time of day, or reading of a stopwatch", "d", 0, LONGEST, below=True)


@dataclass(frozen=True)
class Rule:
    """What the Check column says, and the checker reports, when `when` holds for a row in use."""

    code: str
    severity: str  # "fault" or "notice"
    when: str
    say: str
    columns: tuple[str, ...]


@dataclass(frozen=True)
class Column:
    """One column of a table.

    `kind` is one of INPUT_KINDS, or "computed" (by `expression`), "check" (all reasons in words), or one that is kept
    out of sight: "position" (the row that a reference points to), "own row" (its own row, by which others are counted),
    "moved" (whether the row's formulas look into another row), "typed over" (its computed cells that hold no formula),
    "reasons" (what some of the rules say). On the Summary it is "key", "measure" or "key row" (the row of the key on
    its own sheet). A computed column may name the list whose values it has, under `to`, to be sorted by it.
    """

    key: str
    heading: str
    kind: str
    quantity: Quantity | Choice | None = None
    to: str = ""  # table of a list or reference
    required: bool = False
    expression: str = ""
    private: bool = False
    help: str = ""
    width: float = 12
    format: str = "General"
    unique: bool = False
    rules: tuple[Rule, ...] = ()
    quiet: bool = False  # a step of a computation, kept out of sight
    elapsed: str = ""  # the column that says whether a time is typed by stopwatch
    give: str = ""  # how ids of rows provided ahead begin; empty where a person gives them
    loose: bool = False  # a reference that need not be found

    @property
    def typed(self) -> bool:
        """Whether a person types here."""
        return self.kind in INPUT_KINDS

    @cached_property
    def span(self) -> Quantity | None:
        """The range outside which a typed number, date or time is refused, so that nothing is computed from it."""
        if self.kind == "number":
            return self.quantity if isinstance(self.quantity, Quantity) else None
        times = TIMES_BY_STOPWATCH if self.elapsed else TIMES
        return {"date": DATES, "time": times}.get(self.kind)

    @property
    def hidden(self) -> bool:
        return self.kind in ("position", "own row", "moved", "typed over", "reasons") or self.quiet


@dataclass(frozen=True)
class Table:
    """One table with headings; `rows` rows are provided. A list or reference comes filled with `data`.

    A `private` table is in no producer's copy: its rows are no one site's.
    """

    key: str
    name: str
    sheet: str
    columns: tuple[Column, ...]
    rules: tuple[Rule, ...] = ()
    heading_row: int = 5
    rows: int = 200
    log: bool = True
    data: tuple[tuple[object, ...], ...] = ()
    caption: str = ""
    first_column: int = 1
    private: bool = False
    stacked: bool = False  # another table of its sheet stands in the same columns
    purpose: str = ""  # the sentence above the keys, in row 2: a lookup finds it, and nothing in its row

    @cached_property
    def by_key(self) -> dict[str, Column]:
        return {column.key: column for column in self.columns}

    @cached_property
    def letters(self) -> dict[str, str]:
        """Column key -> column letter on the sheet."""
        return {c.key: letter(self.first_column + number) for number, c in enumerate(self.columns)}

    @property
    def first_row(self) -> int:
        return self.heading_row + 1

    @property
    def last_row(self) -> int:
        return self.heading_row + self.rows

    @cached_property  # asked for each row
    def typed(self) -> tuple[Column, ...]:
        return tuple(column for column in self.columns if column.typed)

    @property
    def id_column(self) -> Column | None:
        return next((column for column in self.columns if column.kind == "id"), None)

    @property
    def key_column(self) -> Column:
        """The column by which other tables point here: the id, or the first one."""
        return self.id_column or self.columns[0]

    @property
    def gives_ids(self) -> bool:
        """Whether rows provided ahead have their ids already."""
        return self.id_column is not None and bool(self.id_column.give)

    @property
    def telling(self) -> tuple[Column, ...]:
        """The columns that tell a filled row from one that only has an id given ahead: the first required ones."""
        required = [column for column in self.typed if column.required and column.kind != "id"]
        return tuple(required[:3]) or (self.key_column,)

    @property
    def told_by(self) -> Column:
        """The first of them."""
        return self.telling[0]

    def in_use(self, row: Mapping[str, object]) -> bool:
        """Whether anything is typed in a row; an id given ahead is nothing typed."""
        return any(row.get(key) is not None for key in self._typed_keys)

    @cached_property
    def _typed_keys(self) -> tuple[str, ...]:
        return tuple(column.key for column in self.typed if not column.give)

    def ids_ahead(self, taken: Iterable[object], wanted: int, mark: str = "") -> list[str]:
        """The next ids of rows provided ahead, none of which is taken; they end in `mark`, the mark of a lent copy.

        Ids with any mark count: after B048T comes B049, or B049T.
        """
        assert self.id_column is not None
        begin = self.id_column.give
        used = {str(name).casefold() for name in taken if name is not None}
        numbers = [found[1] for name in used if (found := self._given.fullmatch(name))]
        last, digits = max(map(int, numbers), default=0), max(map(len, numbers), default=3)
        return [f"{begin}{number:0{digits}d}{mark}" for number in range(last + 1, last + 1 + wanted)]

    def is_given(self, name: str) -> bool:
        """Whether an id looks like one given ahead, with or without the mark of a lent copy."""
        return self.gives_ids and self._given.fullmatch(name) is not None

    @cached_property
    def _given(self) -> re.Pattern[str]:
        begin = self.id_column.give if self.id_column is not None else ""
        return re.compile(rf"{re.escape(begin)}(\d{{1,9}})[a-z]{{0,{MARK_LETTERS}}}", re.IGNORECASE)

    @property
    def key_source(self) -> str:
        """The table whose keys a summary table goes through, empty for other tables."""
        return next((column.to for column in self.columns if column.kind == "key"), "")

    def heading_place(self, key: str) -> str:
        """Formula for where the headings stand, by that of a column; a sheet's own name stands above one like it."""
        if self.by_key[key].heading.casefold() == self.sheet.casefold():
            key = next(column.key for column in self.columns if column.heading.casefold() != self.sheet.casefold())
        heading = self.by_key[key].heading.replace('"', '""')
        return f'MATCH("{heading}",{self.cells(key)},0)'

    def cells(self, key: str) -> str:
        """A column as every formula refers to it, sheet included: the sheet's whole column.

        A row that is inserted, deleted, sorted or moved anywhere cannot shift it. Of tables that stand below each
        other, which only lists do, it is what lies between the heading and the free row under the table, both included.
        """
        column = self.letters[key]
        if not self.stacked:
            return f"{quoted(self.sheet)}!${column}:${column}"
        return f"{quoted(self.sheet)}!${column}${self.heading_row}:${column}${self.last_row + 1}"

    def cells_if_any(self, key: str) -> str:
        """The same; nothing where an older layout has no such column, whose sheets are told by their places alone."""
        return self.cells(key) if key in self.by_key else ""

    @cached_property
    def not_keys(self) -> tuple[str, ...]:
        """Texts that stand above the keys in their column, and so are no keys."""
        return (self.sheet, self.key_column.heading, *MARKERS)


@dataclass(frozen=True)
class Line:
    """One line of a page that is read: a text, or a label with up to three measures."""

    text: str
    style: str = "text"
    expression: str = ""
    look: str = ""
    bare: str = ""
    heads: tuple[str, ...] = ()


@dataclass(frozen=True)
class Section:
    """A part of a form, with the keys of its fields in order."""

    title: str
    keys: tuple[str, ...]


@dataclass(frozen=True)
class Form:
    """One row of a table stood upright: a line for each field, label, value and help; below it the steps of a bath.

    Its fields are columns of a table of one row, so that expressions, rules and checks are the same.
    """

    table: Table
    sections: tuple[Section, ...]
    steps: int

    @cached_property
    def rows(self) -> dict[str, int]:
        """Sheet row of each field; the value stands in column B."""
        row, places = 4, {}
        for section in self.sections:
            row += 1
            for key in section.keys:
                places[key] = row
                row += 1
        return places

    @property
    def check_row(self) -> int:
        return max(self.rows.values()) + 2

    @property
    def steps_row(self) -> int:
        """Row of the headings of the steps."""
        return self.check_row + 3

    def place(self, key: str) -> str:
        """Cell of a field, or of a value of a step (`dose_2`), on the form's own sheet."""
        name, _, number = key.rpartition("_")
        if name in STEP_COLUMNS and number.isdigit() and int(number) <= self.steps:
            return f"${letter(2 + STEP_COLUMNS.index(name))}${self.steps_row + int(number)}"
        if key == "check":
            return f"$B${self.check_row}"
        if key.startswith("reasons_"):
            return f"$H${self.check_row + int(number)}"
        return f"$B${self.rows[key]}"


STEP_COLUMNS = ("dose", "packet", "buffer", "total")


@dataclass(frozen=True)
class Card:
    """One page printed from a form: chosen fields, its steps, and boxes to tick."""

    form: str
    keys: tuple[str, ...]
    ticks: tuple[str, ...]


@dataclass(frozen=True)
class PivotValue:
    """One figure of a PivotTable: a column of its table, summed up `by` count, numbers, sum or average."""

    name: str
    column: str
    by: str
    format: str = "whole"  # "whole" or "hundredths"


@dataclass(frozen=True)
class Pivot:
    """A PivotTable over a log table: `rows` are the columns it groups by, outermost first.

    Only rows whose column `only` says yes count; in all others, and in the empty rows that a log provides, it is blank.
    """

    key: str
    name: str
    caption: str
    table: str
    only: str
    rows: tuple[str, ...]
    values: tuple[PivotValue, ...]
    first_column: int = 1

    @property
    def width(self) -> int:
        return len(self.rows) + len(self.values)


@dataclass(frozen=True)
class Chart:
    """A chart over a log table: a point for each row ("points"), or the sum of each week ("weeks").

    `choose` is a column by which a person may choose the rows, from the table `of`. Points whose x passes `x_most`
    are left out, as are those with a negative x or y: they come from slips that the Check column names.
    """

    key: str
    title: str
    table: str
    x: str
    y: str
    x_title: str
    y_title: str
    choose: str
    of: str
    kind: str = "points"
    x_most: float = 1e6
    marker: str = "circle"


@dataclass(frozen=True)
class Sheet:
    """One sheet: tables, lines to read, PivotTables or charts."""

    name: str
    purpose: str
    tables: tuple[Table, ...] = ()
    lines: tuple[Line, ...] = ()
    form: Form | None = None
    card: Card | None = None
    guide: bool = False  # the guide to the functions
    board: str = ""  # filled from one typed cell: "calendar" or "plan"
    ticks: tuple[str, ...] = ()
    tall: bool = False  # rows high enough for a wet finger on a tablet
    caution: str = ""
    landscape: bool = True
    one_page: bool = False
    pivots: tuple[Pivot, ...] = ()
    charts: tuple[Chart, ...] = ()


@dataclass(frozen=True)
class Layout:
    """A whole workbook."""

    name: str
    version: str
    title: str
    sheets: tuple[Sheet, ...]
    names: dict[str, str] = field(default_factory=dict)

    @cached_property
    def tables(self) -> dict[str, Table]:
        tables = {table.key: table for sheet in self.sheets for table in sheet.tables}
        return tables | {sheet.form.table.key: sheet.form.table for sheet in self.sheets if sheet.form}

    @cached_property
    def forms(self) -> dict[str, tuple[Sheet, Form]]:
        return {sheet.form.table.key: (sheet, sheet.form) for sheet in self.sheets if sheet.form}

    def log_tables(self) -> Iterator[Table]:
        """Tables that people fill, in order."""
        return (table for table in self.tables.values() if table.log)


def quoted(sheet: str) -> str:
    """A sheet name as formulas write it."""
    return sheet if sheet.isidentifier() else "'" + sheet.replace("'", "''") + "'"
