"""Sequences of what people do to rows, made at random from a seed: each step is one that `tests/support/uno_steps.py`
takes, so that a sequence can be repeated, shortened and written into a test.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from random import Random
from typing import Any

from tests.row_operations.filled import FilledLog, Row
from workbook_tools.layout import Table
from workbook_tools.xlsx.addresses import letter

Step = dict[str, Any]
LONGEST = 5
# sheets that others point to are where a slip does most harm
WEIGHTS = {"Sites": 3, "Vessels": 4, "Stocks": 3, "Visits": 3, "Baths": 5, "Treatments": 3, "Stores": 2}
BELOW = 3  # rows below the provided ones, where people go on typing


class Sequence:
    """A sequence in the making: where the rows of each sheet are by now, as far as a person would know."""

    def __init__(self, log: FilledLog, random: Random) -> None:
        self.log, self.random = log, random
        self.tables = list(log.layout.log_tables())
        self.heading = {table.sheet: table.heading_row for table in self.tables}
        self.last = {table.sheet: table.last_row for table in self.tables}
        self.filled = {table.sheet: max(log.filled(table.key), 1) for table in self.tables}
        self.steps: list[Step] = []

    def make(self) -> list[Step]:
        for _ in range(self.random.randint(1, LONGEST)):
            table = self.random.choices(self.tables, [WEIGHTS.get(table.sheet, 1) for table in self.tables])[0]
            kind = self.random.choices(list(KINDS), list(KINDS.values()))[0]
            kind(self, table)
        return self.steps

    def step(self, do: str, table: Table, **details: Any) -> None:
        self.steps.append({"do": do, "sheet": table.sheet, **details})

    # which rows

    def first_row(self, table: Table) -> int:
        return self.heading[table.sheet] + 1

    def last_filled(self, table: Table) -> int:
        return self.heading[table.sheet] + self.filled[table.sheet]

    def filled_row(self, table: Table) -> int:
        """The first, the last, or one between."""
        first, last = self.first_row(table), self.last_filled(table)
        return self.random.choice((first, last, self.random.randint(first, last)))

    def free_row(self, table: Table) -> int:
        return self.random.randint(self.last_filled(table) + 1, self.last[table.sheet] + BELOW)

    def any_row(self, table: Table) -> int:
        return self.random.randint(self.first_row(table), self.last[table.sheet] + BELOW)

    # which columns

    @staticmethod
    def ends(table: Table) -> tuple[str, str]:
        return letter(table.first_column), letter(table.first_column + len(table.columns) - 1)

    def typed_span(self, table: Table) -> tuple[str, str]:
        """Some typed cells beside each other."""
        places = [table.letters[column.key] for column in table.typed]
        begin = self.random.randrange(len(places))
        return places[begin], places[self.random.randrange(begin, min(begin + 6, len(places)))]

    def one_column(self, table: Table) -> str:
        return table.letters[self.random.choice(table.typed).key]

    def typed_values(self, table: Table, row: Mapping[str, Any]) -> dict[str, float | str]:
        """By column letter."""
        return {table.letters[column.key]: row[column.key] for column in table.typed if row.get(column.key) is not None}

    def some_filled(self, table: Table) -> Row:
        return self.random.choice(self.log.data[table.key]) if self.log.filled(table.key) else {}


def insert_rows(made: Sequence, table: Table) -> None:
    """Whole rows: above the headings, above the first row, between, after the last."""
    first, rows = made.first_row(table), made.random.randint(1, 3)
    where = made.random.choice(("above headings", "first", "first", "between", "between", "after"))
    if where == "above headings":
        made.step("add", table, first=made.random.randint(1, first - 1), rows=rows)
        made.heading[table.sheet] += rows
    else:
        row = {"first": first, "after": made.last[table.sheet] + 1}.get(where, made.filled_row(table) + 1)
        made.step("add", table, first=row, rows=rows)
        made.filled[table.sheet] += rows if where != "after" else 0
        if where != "after" and made.random.random() < 0.4:
            type_a_row(made, table, row)
    made.last[table.sheet] += rows


def delete_rows(made: Sequence, table: Table) -> None:
    rows = 1 if made.random.random() < 0.7 else 2
    made.step("remove", table, first=made.filled_row(table), rows=rows)
    made.filled[table.sheet] = max(1, made.filled[table.sheet] - rows)
    made.last[table.sheet] -= rows


def cut_row(made: Sequence, table: Table) -> None:
    row = made.filled_row(table)
    to = made.free_row(table) if made.random.random() < 0.8 else made.any_row(table)
    made.step("cut", table, cells=f"{row}:{row}", to=f"A{to}")


def move_row(made: Sequence, table: Table) -> None:
    """A whole row put between two others, as "insert cut cells" does."""
    row, to = made.filled_row(table), made.filled_row(table)
    made.step("add", table, first=to, rows=1)
    row += row >= to
    made.step("cut", table, cells=f"{row}:{row}", to=f"A{to}")
    made.step("remove", table, first=row, rows=1)


def cut_cells(made: Sequence, table: Table) -> None:
    """A block of typed cells, or one."""
    left, right = made.typed_span(table)
    if made.random.random() < 0.5:
        right = left
    row = made.filled_row(table)
    rows = made.random.choice((0, 0, 1))
    made.step("cut", table, cells=f"{left}{row}:{right}{row + rows}", to=f"{left}{made.any_row(table)}")


def copy_row(made: Sequence, table: Table) -> None:
    """A row, or two, onto free rows."""
    left, right = made.ends(table)
    row, to = made.filled_row(table), made.last_filled(table) + 1
    rows = made.random.choice((0, 0, 1))
    made.step("copy", table, cells=f"{left}{row}:{right}{row + rows}", to=f"{left}{to}")
    made.filled[table.sheet] += rows + 1


def shift_cells(made: Sequence, table: Table) -> None:
    """Cells of one column inserted or deleted."""
    column, row = made.one_column(table), made.filled_row(table)
    rows = made.random.choice((0, 0, 1))
    made.step(made.random.choice(("shift_down", "shift_up")), table, cells=f"{column}{row}:{column}{row + rows}")


def shift_results(made: Sequence, table: Table) -> None:
    """The same in a column that is computed."""
    computed = [column for column in table.columns if column.kind == "computed" and not column.hidden]
    if computed:
        column = table.letters[made.random.choice(computed).key]
        row = made.filled_row(table)
        made.step(made.random.choice(("shift_down", "shift_up")), table, cells=f"{column}{row}:{column}{row}")


def sort(made: Sequence, table: Table) -> None:
    left, right = made.ends(table)
    cells = f"{left}{made.first_row(table)}:{right}{max(made.last[table.sheet], made.first_row(table))}"
    number = table.columns.index(made.random.choice(table.typed))
    made.step("sort", table, cells=cells, column=number, descending=made.random.random() < 0.5)


def hide(made: Sequence, table: Table) -> None:
    """Rows hidden by hand or by a filter."""
    left, right = made.ends(table)
    if made.random.random() < 0.4:
        made.step("hide_rows", table, first=made.filled_row(table), rows=made.random.randint(1, 3))
    else:
        column = made.random.choice(table.typed)
        text = made.some_filled(table).get(column.key)
        cells = f"{left}{made.heading[table.sheet]}:{right}{made.last[table.sheet]}"
        made.step("filter_rows", table, cells=cells, column=table.columns.index(column), text=str(text))


def fill_down(made: Sequence, table: Table) -> None:
    """The last filled row dragged over the free ones below, or a column of it."""
    left, right = made.ends(table)
    row, rows = made.last_filled(table), made.random.randint(1, 3)
    if made.random.random() < 0.4:
        left = right = made.one_column(table)
        row = made.filled_row(table)
    made.step("fill_down", table, cells=f"{left}{row}:{right}{row + rows}")
    made.filled[table.sheet] += rows


def type_a_row(made: Sequence, table: Table, row: int = 0) -> None:
    """A new row typed on a free or an inserted one, with an id that is not used yet."""
    values = made.typed_values(table, made.some_filled(table))
    values[table.letters[table.key_column.key]] = f"N{made.random.randint(1, 999):03d}"
    made.step("fill_in", table, row=row or made.last_filled(table) + 1, values=values)
    made.filled[table.sheet] += 0 if row else 1


def type_a_cell(made: Sequence, table: Table) -> None:
    """A cell typed anew with what another row has there."""
    given = table.key_column.key
    values = made.typed_values(table, {k: v for k, v in made.some_filled(table).items() if k != given})
    if values:
        place = made.random.choice(list(values))
        made.step("fill_in", table, row=made.filled_row(table), values={place: values[place]})


def undo(made: Sequence, _: Table) -> None:
    if made.steps:
        made.steps.append({"do": "undo", "times": made.random.choice((1, 1, 2))})


KINDS: Mapping[Callable[[Sequence, Table], None], int] = {
    insert_rows: 16,
    delete_rows: 12,
    cut_row: 7,
    move_row: 5,
    cut_cells: 8,
    copy_row: 8,
    shift_cells: 6,
    shift_results: 2,
    sort: 7,
    hide: 5,
    fill_down: 6,
    type_a_row: 8,
    type_a_cell: 8,
    undo: 6,
}


def sequence(log: FilledLog, seed: int, number: int) -> list[Step]:
    """The sequence of a number; the same seed gives the same ones."""
    return Sequence(log, Random(f"{seed} {number}")).make()


def told(steps: list[Step]) -> str:
    """A sequence in one line."""
    return "; ".join(
        " ".join([step["do"], *(f"{key}={value}" for key, value in step.items() if key != "do")]) for step in steps
    )


def of_whole_rows(steps: list[Step]) -> bool:
    """Whether no cells of some columns alone were cut or shifted."""
    cells = [step["cells"] for step in steps if step["do"] in ("cut", "shift_down", "shift_up")]
    return all(span.replace(":", "").isdigit() for span in cells)
