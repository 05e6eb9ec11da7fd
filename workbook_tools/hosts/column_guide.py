"""The guide to the columns of the case log, read off its layout: every sheet, and every column that is seen on it."""

from __future__ import annotations

import ast
from collections.abc import Iterable, Iterator
from dataclasses import dataclass, field

from workbook_tools.functions.catalogue import TOPICS, entry
from workbook_tools.hosts import written
from workbook_tools.hosts.written import GuideBlock, GuideHeading, GuideParagraph, GuideTable, Items
from workbook_tools.layout.expression_trees import parsed
from workbook_tools.layout.load import DAYS, case_log
from workbook_tools.layout.measures import ORDERED, TALLIES
from workbook_tools.layout.model import LONGEST, Column, Layout, Sheet, Table

TITLE = "Columns"
HEADINGS = ("Column", "Filled by", "What goes in", "What it is", "Producer's copy")
NOTES = (
    "Written from the layout that makes the workbook and reads it back.",
    "Filled by: you (must be there), you (may stay blank), or computed. Computed cells refuse typing.",
    "Ids such as B014 stand in the first column in advance. Columns may be moved, hidden and added, rows sorted; the "
    "headings are what the tools go by.",
    "Producer's copy: a copy has pages of its own and none of these sheets. Never means that nothing of that column is "
    "ever in one; own site means that the copy for the producer of that site may hold it.",
    "Limits here keep slips out. They are no doses: the label in force, local law and the prescribing veterinarian "
    "decide those.",
)
MEASURES = (*TALLIES, *ORDERED)


def markdown() -> str:
    """The guide as Markdown."""
    return written.markdown(TITLE, _blocks(case_log()))


def page() -> str:
    """The guide as a page of HTML."""
    return written.page(TITLE, _blocks(case_log()))


def _blocks(layout: Layout) -> list[GuideBlock]:
    blocks: list[GuideBlock] = [Items(NOTES)]
    for sheet in layout.sheets:
        blocks += [GuideHeading(sheet.name), GuideParagraph(sheet.purpose), *_sheet(sheet, layout)]
    return blocks


def _sheet(sheet: Sheet, layout: Layout) -> Iterator[GuideBlock]:
    if sheet.caution:
        yield GuideParagraph(f"Caution: {sheet.caution}")
    if sheet.name == "Lists":
        lists = [(", ".join(column.heading for column in table.columns), table) for table in sheet.tables]
        rows = [(headings, _words(table), _used_by(table, layout)) for headings, table in lists]
        yield GuideTable(("List", "Words", "Used by"), tuple(rows))
        return
    for table in sheet.tables:
        yield from _table(table, layout)
    for pivot in sheet.pivots:
        groups = ", ".join(layout.tables[pivot.table].by_key[key].heading for key in pivot.rows)
        values = ", ".join(value.name for value in pivot.values)
        yield GuideParagraph(f"{pivot.caption}: by {groups}; gives {values}.")
    for chart in sheet.charts:
        yield GuideParagraph(f"{chart.title}: {chart.y_title} against {chart.x_title}.")


def _table(table: Table, layout: Layout) -> Iterator[GuideBlock]:
    if table.caption:
        yield GuideHeading(table.caption, 3)
    if table.private:
        yield GuideParagraph("Yours alone: no producer's copy has these rows.")
    seen = [column for column in table.columns if not column.hidden]
    if not any(column.help for column in seen):
        yield GuideParagraph(f"Comes filled. Columns: {', '.join(column.heading for column in seen)}.")
        return
    width = len(HEADINGS) if table.log else len(HEADINGS) - 1
    yield GuideTable(HEADINGS[:width], tuple(_row(column, table, layout)[:width] for column in seen))
    codes = dict.fromkeys(rule.code for rule in table.rules)
    if codes:
        yield GuideParagraph(f"Its Check column may say: {', '.join(codes)}. The guide to the findings explains them.")


def _row(column: Column, table: Table, layout: Layout) -> tuple[str, ...]:
    return (
        column.heading,
        _filled_by(column, table),
        _what_goes_in(column, layout),
        _what_it_is(column, table, layout),
        "never" if column.private or table.private else "own site",
    )


def _filled_by(column: Column, table: Table) -> str:
    if column.give:
        return "given in advance"
    if column.typed:
        return "you (must be there)" if column.required else "you (may stay blank)"
    return "computed"


def _what_goes_in(column: Column, layout: Layout) -> str:
    """Unit, range or list of what may be typed; blank for what is computed."""
    if column.kind == "list":
        return f"one of: {_words(layout.tables[column.to])}"
    if column.kind == "reference":
        target = layout.tables[column.to]
        return f"{target.key_column.heading} of the {target.sheet} sheet"
    stopwatch = f", or m:ss up to {LONGEST * 24}:00 by stopwatch" if column.elapsed else ""
    return {
        "id": "a short name, unique on the sheet",
        "text": "text",
        "number": "a number" if column.quantity is None else column.quantity.allowed,
        "date": f"a date, {DAYS}",
        "time": f"a clock time such as 14:05:30{stopwatch}",
    }.get(column.kind, "")


def _words(table: Table) -> str:
    """The words of a list; of a reference table, where they stand."""
    if table.sheet != "Lists":
        return f"see {table.key_column.heading} on the {table.sheet} sheet"
    return ", ".join(str(row[0]) for row in table.data)


def _used_by(table: Table, layout: Layout) -> str:
    users = (
        f"{column.heading} on {one.sheet}"
        for one in layout.log_tables()
        for column in one.columns
        if column.kind == "list" and column.to == table.key
    )
    return ", ".join(users)


def _what_it_is(column: Column, table: Table, layout: Layout) -> str:
    said = [column.help] if column.help else []
    if column.kind == "key":
        source = layout.tables[column.to]
        said.append(f"Each {source.key_column.heading} of the {source.sheet} sheet.")
    if column.expression:
        found = ComputedFrom(table, layout)
        found.read(parsed(column.expression, column.key), table, table)
        said += [f"From: {', '.join(found.columns)}."] if found.columns else []
        said += [f"By {', '.join(dict.fromkeys(found.functions))}."] if found.functions else []
    return " ".join(said)


@dataclass
class ComputedFrom:
    """What a computed column is computed from: headings that a person sees, and functions by name.

    Columns that are kept out of sight are named by what they are computed from.
    """

    home: Table
    layout: Layout
    columns: list[str] = field(default_factory=list)
    functions: list[str] = field(default_factory=list)
    seen: set[tuple[str, str]] = field(default_factory=set)

    def follow(self, table: Table, key: str) -> None:
        """Adds a column, or what stands behind it."""
        key = key if key in table.by_key and table.by_key[key].kind != "position" else key.removesuffix("_row")
        column = table.by_key.get(key)
        if column is None or (table.key, key) in self.seen:
            return
        self.seen.add((table.key, key))
        if column.quiet:
            self.read(parsed(column.expression, key), table, table)
        elif not column.hidden:
            where = "" if table is self.home else f" of the {table.sheet} sheet"
            self.columns.append(column.heading + where)

    def read(self, node: ast.AST, asking: Table, table: Table) -> None:
        """Adds what a part of an expression of the table `asking` uses; bare names are columns of `table`."""
        match node:
            case ast.Call(func=ast.Attribute(value=ast.Name(id=topic), attr=name)) if topic in TOPICS:
                self._read_all(node.args, asking, table)
                self.functions.append(entry(f"{topic}.{name}").name)
            case ast.Call(func=ast.Name(id=name), args=[first, *rest]) if name in MEASURES:
                if isinstance(first, ast.Attribute):  # else the name of the table alone, whose rows are counted
                    self.read(first, asking, table)
                self._read_all(rest, asking, self.layout.tables[ast.unparse(first).partition(".")[0]])
            case ast.Call():
                self._read_all(node.args, asking, table)
            case ast.Attribute(value=ast.Name(id="row"), attr=key):
                self.follow(asking, key)
            case ast.Attribute(value=ast.Name(id=name), attr=key) if name in self.layout.tables:
                self.follow(self.layout.tables[name], key)
            case ast.Name(id=key):
                self.follow(table, key)
            case _:
                self._read_all(ast.iter_child_nodes(node), asking, table)

    def _read_all(self, nodes: Iterable[ast.AST], asking: Table, table: Table) -> None:
        for node in nodes:
            self.read(node, asking, table)
