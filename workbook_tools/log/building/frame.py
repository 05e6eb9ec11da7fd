"""The frame of a workbook, made with openpyxl: sheets, tables, rules, notices, names, print set-up. It has no cells."""

from __future__ import annotations

from openpyxl.formatting.formatting import ConditionalFormattingList
from openpyxl.formatting.rule import Rule as FormatRule
from openpyxl.styles.differential import DifferentialStyle
from openpyxl.styles.numbers import NumberFormat
from openpyxl.workbook.defined_name import DefinedName
from openpyxl.worksheet.datavalidation import DataValidation
from openpyxl.worksheet.table import Table as PackageTable
from openpyxl.worksheet.table import TableFormula, TableStyleInfo
from openpyxl.worksheet.worksheet import Worksheet

from workbook_tools.functions.quantities import Quantity
from workbook_tools.functions.texts.lambda_names import names
from workbook_tools.layout import Layout, Sheet, Table
from workbook_tools.layout.formulas import TableFormulas, choice_name, choice_names
from workbook_tools.layout.load import DAYS
from workbook_tools.layout.model import FIRST_DAY, LAST_DAY, LONGEST, Column, Form
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.writing.package import new_frame
from workbook_tools.xlsx.writing.styles import Styles, notice_style

TITLE_LIMIT, PROMPT_LIMIT, ERROR_LIMIT = 32, 255, 224  # longer texts are dropped or break a rule
CAUTION_WIDTH = 115  # characters across which a sheet's caution runs
LINE_WIDTHS = (24, 13, 13, 15, 37)  # of a sheet of lines
GUIDE_WIDTHS = (28, 34, 34, 18, 30, 22, 44, 26, 34, 22)
BOARD_WIDTHS = {"calendar": (20,) * 7, "plan": (11, 11, 15, 30, 11, 11, 11, 11, 11, 11, 11, 16, 44)}
TALL = 26  # points
CHARACTERS_A_PAGE = 150  # legible on landscape A4
STOPWATCH_FORMAT = 200  # a number format of our own; 164 to 199 are left to openpyxl
ROW_HEIGHT = 15  # points
COMPUTED_ERROR = "This cell is computed. To change it, change what it is computed from."


class Frame:
    """Everything of a workbook but its cells."""

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self.workbook = new_frame(layout.title)
        self.styles = Styles(self.workbook)
        for number, sheet in enumerate(layout.sheets):
            worksheet = self.workbook.worksheets[0] if number == 0 else self.workbook.create_sheet()
            worksheet.title = sheet.name
            self._sheet(worksheet, sheet)
        for name, cells in choice_names(layout.tables).items():
            self.workbook.defined_names[name] = DefinedName(name, attr_text=cells)
        for function in names():
            defined = DefinedName(function.name, attr_text=function.text, comment=function.comment)
            self.workbook.defined_names[function.name] = defined
        self._properties()

    def _properties(self) -> None:
        from openpyxl.packaging.custom import StringProperty

        self.workbook.custom_doc_props.append(StringProperty(name="Layout", value=self.layout.name))
        self.workbook.custom_doc_props.append(StringProperty(name="Layout version", value=self.layout.version))

    def _sheet(self, worksheet: Worksheet, sheet: Sheet) -> None:
        for table in sheet.tables:
            self._table(worksheet, table)
            self._widths(worksheet, table)
            if table.log:
                self._rules(worksheet, table)
                self._notices(worksheet, table)
                self._stopwatch(worksheet, table)
                worksheet.freeze_panes = f"{letter(table.first_column + 1)}{table.first_row}"
            self._heading_prompts(worksheet, table)
        self._page(worksheet, sheet)
        if sheet.tall:
            worksheet.sheet_format.defaultRowHeight = TALL
            worksheet.sheet_format.customHeight = True
        if sheet.caution:
            self._spread(worksheet)
        self._print_setup(worksheet, sheet)

    def _page(self, worksheet: Worksheet, sheet: Sheet) -> None:
        """Columns of what is not a table: a form, a card, a board, the guide, lines to read."""
        if sheet.form is not None:
            self._form(worksheet, sheet.form)
        elif sheet.card is not None:
            for number, width in enumerate((24, 18, 18, 18, 18), start=1):
                worksheet.column_dimensions[letter(number)].width = width
        elif sheet.board:
            self._board(worksheet, sheet.board)
        elif sheet.guide:
            for number, width in enumerate(GUIDE_WIDTHS, start=1):
                worksheet.column_dimensions[letter(number)].width = width
            worksheet.freeze_panes = "B5"
            worksheet.print_title_rows = "4:4"
        elif sheet.lines:
            for number, width in enumerate(LINE_WIDTHS, start=1):
                worksheet.column_dimensions[letter(number)].width = width
            for row, line in enumerate(sheet.lines, start=4):
                if not line.expression and not line.heads:
                    worksheet.merged_cells.add(f"A{row}:{letter(len(LINE_WIDTHS))}{row}")

    def _spread(self, worksheet: Worksheet) -> None:
        """Let the caution of row 3 run over as many columns as a page is wide."""
        width, column = 0.0, 0
        while width < CAUTION_WIDTH and column < 16:
            column += 1
            width += worksheet.column_dimensions[letter(column)].width
        worksheet.merged_cells.add(f"A3:{letter(column)}3")

    # ----------------------------------------------------------------------------------------------- tables

    def _table(self, worksheet: Worksheet, table: Table) -> None:
        first, last = letter(table.first_column), letter(table.first_column + len(table.columns) - 1)
        part = PackageTable(
            displayName=table.name, name=table.name, ref=f"{first}{table.heading_row}:{last}{table.last_row}"
        )
        part.tableStyleInfo = TableStyleInfo(name="TableStyleLight1", showRowStripes=False)
        part._initialise_columns()
        formulas = TableFormulas(table, self.layout.tables, None)
        for column, part_column in zip(table.columns, part.tableColumns, strict=True):
            part_column.name = column.heading
            if table.log and not column.typed:
                text = formulas.text(column)
                part_column.calculatedColumnFormula = TableFormula(attr_text=text)
        worksheet.add_table(part)

    def _widths(self, worksheet: Worksheet, table: Table) -> None:
        for number, column in enumerate(table.columns, start=table.first_column):
            dimension = worksheet.column_dimensions[letter(number)]
            dimension.width = max(column.width, dimension.width if dimension.width != 13 else 0)
            if column.hidden:
                dimension.hidden = True

    # ------------------------------------------------------------------------------------------------ forms

    def _form(self, worksheet: Worksheet, form: Form) -> None:
        for number, width in enumerate((24, 28, 16, 16, 16, 34), start=1):
            worksheet.column_dimensions[letter(number)].width = width
        worksheet.column_dimensions["H"].hidden = True
        formulas = TableFormulas(form.table, self.layout.tables, 1, form)
        computed = _refusing()
        for column in form.table.columns:
            place = form.place(column.key)
            if column.typed:
                rule = input_rule(column, place)
                rule.add(place.replace("$", ""))
                worksheet.add_data_validation(rule)
            else:
                computed.add(place.replace("$", ""))
        worksheet.add_data_validation(computed)
        for rule_ in form.table.rules:
            text = formulas.test(rule_.when)
            if "!" not in text and rule_.code != "missing":
                for key in rule_.columns:
                    _add_notice(worksheet, form.place(key).replace("$", ""), text)
        check = form.place("check")
        _add_notice(worksheet, check.replace("$", ""), f'AND({check}<>"",{check}<>"ok")')

    # ----------------------------------------------------------------------------------------------- boards

    def _board(self, worksheet: Worksheet, board: str) -> None:
        """Widths, the hidden column of positions and the rule of the cell that is typed."""
        for number, width in enumerate(BOARD_WIDTHS[board], start=1):
            worksheet.column_dimensions[letter(number)].width = width
        if board == "plan":
            worksheet.column_dimensions["N"].hidden = True
            column = Column("visit", "Visit", "reference", to="visits", help="Choose the visit to prepare for.")
        else:
            column = Column("day", "Day", "date", help="Type any day of the month you want to see.")
        rule = input_rule(column, "$C$4")
        rule.add("C4")
        worksheet.add_data_validation(rule)

    # ------------------------------------------------------------------------------------------------ rules

    def _rules(self, worksheet: Worksheet, table: Table) -> None:
        computed = _refusing()
        for column in table.columns:
            cells = f"{table.letters[column.key]}{table.first_row}:{table.letters[column.key]}{table.last_row}"
            if column.typed:
                rule = input_rule(column, f"${table.letters[column.key]}{table.first_row}")
                rule.add(cells)
                worksheet.add_data_validation(rule)
            else:
                computed.add(cells)
        worksheet.add_data_validation(computed)

    def _heading_prompts(self, worksheet: Worksheet, table: Table) -> None:
        """Help of a computed column, shown when its heading is chosen."""
        for column in table.columns:
            if column.help and not column.typed and not column.hidden:
                rule = DataValidation(type=None, showInputMessage=True)
                rule.promptTitle = column.heading[:TITLE_LIMIT]
                rule.prompt = column.help[:PROMPT_LIMIT]
                rule.add(f"{table.letters[column.key]}{table.heading_row}")
                worksheet.add_data_validation(rule)

    # ---------------------------------------------------------------------------------------------- notices

    def _notices(self, worksheet: Worksheet, table: Table) -> None:
        formulas = TableFormulas(table, self.layout.tables, table.first_row)
        wants_look = f'AND({formulas.operands["check"].text}<>"",{formulas.operands["check"].text}<>"ok")'
        told, check = formulas.operands[table.told_by.key].text, formulas.operands["check"].text
        bare = f'AND({told}<>"",{check}="")'  # a row inserted by hand has no formulas to say so
        self._notice(worksheet, table, table.key_column.key, f"OR({wants_look},{bare})")
        self._notice(worksheet, table, "check", wants_look)
        for rule in table.rules:
            text = formulas.test(rule.when)
            if "!" in text or rule.code == "missing":  # other sheets are out of reach here; a blank row wants no look
                continue
            for key in rule.columns:
                self._notice(worksheet, table, key, text)

    def _stopwatch(self, worksheet: Worksheet, table: Table) -> None:
        """A stopwatch time typed 3:20 is shown so, and not as the hours that a spreadsheet takes it for."""
        formulas = TableFormulas(table, self.layout.tables, table.first_row)
        for column in table.columns:
            if column.elapsed:
                place = table.letters[column.key]
                style = DifferentialStyle(numFmt=NumberFormat(numFmtId=STOPWATCH_FORMAT, formatCode="[h]:mm"))
                text = f'{formulas.operands[column.elapsed].text}="stopwatch"'
                worksheet.conditional_formatting.add(
                    f"{place}{table.first_row}:{place}{table.last_row}",
                    FormatRule(type="expression", dxf=style, formula=[text]),
                )

    def _notice(self, worksheet: Worksheet, table: Table, key: str, text: str) -> None:
        place = table.letters[key]
        _add_notice(worksheet, f"{place}{table.first_row}:{place}{table.last_row}", text)

    # ------------------------------------------------------------------------------------------------ print

    def _print_setup(self, worksheet: Worksheet, sheet: Sheet) -> None:
        worksheet.page_setup.orientation = "landscape" if sheet.landscape else "portrait"
        worksheet.page_setup.paperSize = worksheet.PAPERSIZE_A4
        width = sum(
            column.width for table in sheet.tables if table.log for column in table.columns if not column.hidden
        )
        worksheet.page_setup.fitToWidth = max(1, round(width / CHARACTERS_A_PAGE))
        worksheet.page_setup.fitToHeight = 1 if sheet.one_page else 0
        worksheet.sheet_properties.pageSetUpPr.fitToPage = True
        worksheet.page_margins.left = worksheet.page_margins.right = 0.4
        worksheet.page_margins.top = worksheet.page_margins.bottom = 0.5
        worksheet.oddFooter.left.text = "&A"
        worksheet.oddFooter.right.text = "Page &P of &N"
        if any(table.log for table in sheet.tables):
            worksheet.print_title_rows = "1:5"
            worksheet.print_title_cols = "A:A"
        worksheet.sheet_view.showGridLines = False
        worksheet.sheet_view.zoomScale = 100


def steady_rows(worksheet: Worksheet) -> None:
    """Rows of one height in every spreadsheet, for what is laid over or refreshed into them."""
    worksheet.sheet_format.defaultRowHeight = ROW_HEIGHT
    worksheet.sheet_format.customHeight = True


def _refusing() -> DataValidation:
    """The rule of computed cells: it refuses whatever is typed."""
    rule = DataValidation(type="custom", formula1="FALSE", allow_blank=False, showErrorMessage=True)
    rule.errorTitle = "Computed cell"
    rule.error = COMPUTED_ERROR
    return rule


def _add_notice(worksheet: Worksheet, cells: str, text: str) -> None:
    formats: ConditionalFormattingList = worksheet.conditional_formatting
    formats.add(cells, FormatRule(type="expression", dxf=notice_style(), formula=[text]))


def input_rule(column: Column, place: str) -> DataValidation:
    """The rule on a typed column: what may be typed, a message beforehand and one when it is refused."""
    error, rule = _condition(column, place)
    rule.showInputMessage = True
    rule.promptTitle = column.heading[:TITLE_LIMIT]
    rule.prompt = column.help[:PROMPT_LIMIT]
    if error:
        rule.showErrorMessage = True
        rule.errorTitle = column.heading[:TITLE_LIMIT]
        rule.error = error[:ERROR_LIMIT]
    return rule


def _condition(column: Column, place: str) -> tuple[str, DataValidation]:
    if column.kind in ("list", "reference"):
        where = "list" if column.kind == "list" else f"{column.to.title()} sheet"
        rule = DataValidation(type="list", formula1=choice_name(column.to), allow_blank=False)
        return f"{column.heading}: choose from the {where}.", rule
    if column.kind == "number" and isinstance(column.quantity, Quantity):
        low, high = f"{column.quantity.low:.15g}", f"{column.quantity.high:.15g}"
        tests = [
            f"ISNUMBER({place})",
            f"{place}{'>' if column.quantity.above else '>='}{low}",
            f"{place}{'<' if column.quantity.below else '<='}{high}",
        ]
        if column.quantity.whole:
            tests.append(f"{place}=INT({place})")
        rule = DataValidation(type="custom", formula1=f"AND({','.join(tests)})", allow_blank=True)
        return f"{column.heading} must be {column.quantity.allowed}, a number with no unit.", rule
    if column.kind == "date":
        rule = DataValidation(
            type="date", operator="between", formula1=str(FIRST_DAY), formula2=str(LAST_DAY), allow_blank=True
        )
        return f"{column.heading} must be a date {DAYS}.", rule
    if column.kind == "time":
        last = f"{LONGEST}" if column.elapsed else "0.999999"
        rule = DataValidation(type="time", operator="between", formula1="0", formula2=last, allow_blank=True)
        wanted = "14:05:30, or by stopwatch m:ss, such as 3:20" if column.elapsed else "14:05 or 14:05:30"
        return f"{column.heading} must be a time of day, such as {wanted}.", rule
    if column.unique:
        whole = place.rstrip("0123456789")
        rule = DataValidation(type="custom", formula1=f"COUNTIF({whole}:{whole},{place})=1", allow_blank=True)
        return f"{column.heading}: this name is used already, or stands for another row.", rule
    return "", DataValidation(type=None)
