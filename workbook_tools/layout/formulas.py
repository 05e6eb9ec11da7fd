"""The cell text of every computed cell of a layout, from its expressions."""

from __future__ import annotations

from collections.abc import Mapping

from workbook_tools.errors import TranslationError
from workbook_tools.functions.texts.cell_text import Piece, text_piece
from workbook_tools.functions.texts.worksheet_functions import FORMULA_LIMIT
from workbook_tools.layout.expression_trees import parsed
from workbook_tools.layout.expressions import RowText
from workbook_tools.layout.measures import measure
from workbook_tools.layout.model import Column, Form, Table

MOVED = (
    "Cells of this row were cut or shifted, so its formulas look into another row: nothing is computed. Undo it, or "
    "copy the cells without boxes from another row over those of this one."
)
LOST, LOST_DO = "Typed over or cleared: ", "copy the cells without boxes from another row."
HIDDEN = "a hidden cell, "


class TableFormulas:
    """Formula texts of one table: over cells of a row (`row` a number), over long-form table references (None), or over
    the cells of a form."""

    def __init__(self, table: Table, tables: Mapping[str, Table], row: int | None, form: Form | None = None) -> None:
        self.table = table
        self.tables = tables
        self.row = row
        self.form = form
        self.operands = {column.key: Piece(self._operand(column)) for column in table.columns}

    def _operand(self, column: Column) -> str:
        if self.form is not None:
            return self.form.place(column.key)
        if self.row is None:
            return f"{self.table.name}[[#This Row],[{column.heading}]]"
        return f"${self.table.letters[column.key]}{self.row}"

    def text(self, column: Column) -> str:
        """Formula of a computed column. Raises TranslationError if too long."""
        where = f"{self.table.sheet}.{column.key}"
        if column.kind == "moved":
            text = self._moved()
        elif column.kind == "typed over":
            text = self._typed_over()
        elif column.kind == "computed":
            text = self._translator(where).result(parsed(column.expression, where)).text
        elif column.kind == "position":
            reference = self.table.by_key[column.key.removesuffix("_row")]
            text = self._translator(where).position(reference)
        elif column.kind == "own row":
            text = f'IF({self.used()},ROW(),"")'
        elif column.kind == "reasons":
            said = "&".join(f'IF({self.test(rule.when)},{text_piece(rule.say + " ").text},"")' for rule in column.rules)
            text = f'IF({self.used()},{said},"")'
        elif column.kind == "check":
            text = self._check()
        elif column.kind == "key":
            text = self._key_text()
        elif column.kind == "key row":
            text = self._key_row()
        else:
            figure = measure(column.expression, self.tables, where)
            own = {name: self.operands[name].text for name in figure.asked}
            text = f'IF({self._key()}="","",{figure.cell_text(self._key(), own)})'
        if column.kind in ("computed", "position", "own row", "reasons") and "moved" in self.operands:
            text = self._in_its_row(text)
        if len(text) > FORMULA_LIMIT:
            raise TranslationError(where, 1, f"the cell text has {len(text)} characters; a cell holds {FORMULA_LIMIT}")
        return text

    def test(self, expression: str) -> str:
        """Cell text of a rule's condition."""
        where = f"{self.table.sheet} rule"
        return self._translator(where).test(parsed(expression, where))

    def _translator(self, where: str) -> RowText:
        return RowText(where, self.operands, {}, table=self.table, tables=self.tables)

    def _key(self) -> str:
        return self.operands[self.table.key_column.key].text

    def _key_row(self) -> str:
        """Row on its own sheet of a summary row's key, counted on from the row above: rows may be put in or cut out."""
        assert self.row is not None
        source = self.tables[self.table.key_source]
        place = self.table.letters["key_row"]
        above = f"{place}${self.table.heading_row}:{place}{self.row - 1}"
        return f'IFERROR(MAX({above},{source.heading_place(source.key_column.key)})+1,"")'

    def _key_text(self) -> str:
        """A summary row's key: what stands in the next row of the table it goes through."""
        source = self.tables[self.table.key_source]
        row = self.operands["key_row"].text
        cell, filled = (f"INDEX({source.cells(c.key)},{row})" for c in (source.key_column, told_by(source)))
        shown = f'IF({cell}="","",{cell})'
        return f'IFERROR({shown if filled == cell else f"""IF({filled}="","",{shown})"""},"")'

    def _check(self) -> str:
        reasons = [self.operands[c.key].text for c in self.table.columns if c.kind == "reasons"]
        if "typed_over" in self.operands:
            lost = self.operands["typed_over"].text
            reasons.insert(0, f'IF({lost}="","","{LOST}"&{lost}&"{LOST_DO} ")')
        said = "&".join(reasons)
        text = f'IF({said}="","ok",TRIM({said}))'
        if "moved" in self.operands:
            text = f'IF({self.operands["moved"].text}="",{text},"{MOVED}")'
        return f'IF({self.used()},{text},"")'

    def _in_its_row(self, text: str) -> str:
        """A formula that shows nothing where cells of its row were moved, or it was itself moved out of its row."""
        moved = self.operands["moved"].text
        test = f'{moved}=""' if self.row is None else f'AND({moved}="",ROW({moved})=ROW())'
        return f'IF({test},{text},"")'

    def _moved(self) -> str:
        """Whether formulas of the row look into another one: a typed cell was cut out of it, or cells were shifted."""
        if self.row is None:
            return '""'  # a table's own reference to its row cannot look elsewhere
        own = ",".join(f"ROW({self.operands[column.key].text})=ROW()" for column in self.table.typed)
        return f'IFERROR(IF(AND({own}),"","moved"),"moved")'

    def _typed_over(self) -> str:
        """Which computed cells of a row in use hold no formula, or were moved to another row."""
        said, hidden = [], []
        for column in self.table.columns:
            if column.kind in ("computed", "position", "own row"):
                place = self.operands[column.key].text
                tests = [f"_xlfn.ISFORMULA({place})", *([f"ROW({place})=ROW()"] if self.row is not None else [])]
                if column.hidden:
                    hidden += tests
                else:
                    test = tests[0] if len(tests) == 1 else f"AND({','.join(tests)})"
                    said.append(f'IF({test},"","{column.heading}, ")')
        if hidden:
            said.append(f'IF(AND({",".join(hidden)}),"","{HIDDEN}")')
        if not said:
            return '""'
        # a program that does not know ISFORMULA, such as Excel 2010, says nothing
        unsure = f'IF(ISERROR(_xlfn.ISFORMULA({self._key()})),"","{HIDDEN}")'
        return f'IF({self.used()},IFERROR({"&".join(said)},{unsure}),"")'

    def used(self) -> str:
        """Test that anything is typed in the row."""
        return f"COUNTA({','.join(self._runs())})>0"

    def _runs(self) -> list[str]:
        """The typed cells of a row as few ranges."""
        if self.form is not None:
            return [self.operands[column.key].text for column in self.table.typed]
        runs: list[list[Column]] = []
        for before, column in zip((None, *self.table.columns), self.table.columns, strict=False):
            if column.give:
                continue
            if column.typed and before is not None and before.typed and not before.give:
                runs[-1].append(column)
            elif column.typed:
                runs.append([column])
        if self.row is None:
            name = self.table.name
            return [
                self.operands[run[0].key].text
                if len(run) == 1
                else f"{name}[[#This Row],[{run[0].heading}]:[{run[-1].heading}]]"
                for run in runs
            ]
        return [
            self.operands[run[0].key].text
            if len(run) == 1
            else f"{self.operands[run[0].key].text}:{self.operands[run[-1].key].text}"
            for run in runs
        ]


def choice_names(tables: Mapping[str, Table]) -> dict[str, str]:
    """Defined names behind the drop-down lists: the filled part of a list, or of another sheet's ids.

    The names grow with what is typed: a fixed range would end in blanks, and a blank in a list lets every value pass.
    """
    wanted = {column.to for table in tables.values() for column in table.typed if column.to}
    names = {}
    for key in sorted(wanted):
        table = tables[key]
        cells, filled = (table.cells(column.key) for column in (table.key_column, told_by(table)))
        heading = table.heading_place(table.key_column.key)
        below = f"INDEX({filled},{heading}+1):INDEX({filled},ROWS({filled}))"
        # filled to the end, or with gaps: the last number, the last of short names of letters and digits
        last = f'IFERROR(MATCH("zzzz",{filled}),0),IFERROR(MATCH(9E+307,{filled}),0)'
        end = f"MAX({heading}+1,{heading}+COUNTA({below}),{last})"
        names[choice_name(key)] = f"INDEX({cells},{heading}+1):INDEX({cells},{end})"
    return names


def told_by(table: Table) -> Column:
    """The column by which a row of a table counts as filled."""
    return table.told_by if table.gives_ids else table.key_column


def choice_name(table: str) -> str:
    """Name of the list behind a column that points to a table."""
    return f"choices_{table}"
