"""What people do to the rows, columns and cells of a sheet, each done in LibreOffice as its menus do it.

Used by `uno_worker` alone, under the Python that can `import uno`; columns are letters, rows are counted from 1.
"""

from __future__ import annotations


def sort(sheet, step):
    """Sort rows by one of their columns, counted from 0, as a person would in the menu."""
    import uno
    from com.sun.star.beans import PropertyValue

    field = uno.createUnoStruct("com.sun.star.table.TableSortField")
    field.Field, field.IsAscending = step["column"], not step.get("descending", False)
    fields = uno.Any("[]com.sun.star.table.TableSortField", (field,))
    wishes = {"SortFields": fields, "ContainsHeader": False, "BindFormatsToContent": True}
    sheet.getCellRangeByName(step["cells"]).sort(tuple(PropertyValue(n, 0, v, 0) for n, v in wishes.items()))


def move(sheet, step):
    """Move a column before another one."""
    columns = sheet.Columns
    columns.insertByIndex(columns.getByName(step["before"]).RangeAddress.StartColumn, 1)
    target = columns.getByName(step["before"]).RangeAddress.StartColumn
    source = columns.getByName(step["column"]).RangeAddress.StartColumn
    source += source >= target
    area = columns.getByIndex(source).RangeAddress
    sheet.moveRange(sheet.getCellByPosition(target, 0).CellAddress, area)
    columns.removeByIndex(source, 1)


def insert(sheet, step):
    """Insert an empty column before another one."""
    sheet.Columns.insertByIndex(sheet.Columns.getByName(step["before"]).RangeAddress.StartColumn, 1)


def hide(sheet, step):
    """Hide a column."""
    sheet.Columns.getByName(step["column"]).IsVisible = False


def remove(sheet, step):
    """Delete whole rows."""
    sheet.Rows.removeByIndex(step["first"] - 1, step["rows"])


def add(sheet, step):
    """Insert whole rows above one."""
    sheet.Rows.insertByIndex(step["first"] - 1, step["rows"])


def hide_rows(sheet, step):
    """Hide whole rows."""
    for row in range(step["first"] - 1, step["first"] - 1 + step["rows"]):
        sheet.Rows.getByIndex(row).IsVisible = False


def cut(sheet, step):
    """Cut cells and paste them; `cells` may be whole rows ("7:7")."""
    sheet.moveRange(corner(sheet, step["to"]), area(sheet, step["cells"]))


def copy(sheet, step):
    """Copy cells and paste them."""
    sheet.copyRange(corner(sheet, step["to"]), area(sheet, step["cells"]))


def shift_down(sheet, step):
    """Insert cells; those below move down."""
    from com.sun.star.sheet.CellInsertMode import DOWN

    sheet.insertCells(area(sheet, step["cells"]), DOWN)


def shift_up(sheet, step):
    """Delete cells; those below move up."""
    from com.sun.star.sheet.CellDeleteMode import UP

    sheet.removeRange(area(sheet, step["cells"]), UP)


def fill_down(sheet, step):
    """Drag the first row of some cells down over the others."""
    from com.sun.star.sheet.FillDirection import TO_BOTTOM

    sheet.getCellRangeByName(step["cells"]).fillAuto(TO_BOTTOM, 1)


def filter_rows(sheet, step):
    """Show only rows that have a text in one of their columns, counted from 0; the first row holds the headings."""
    from com.sun.star.sheet import TableFilterField
    from com.sun.star.sheet.FilterOperator import EQUAL

    cells = sheet.getCellRangeByName(step["cells"])
    wanted = cells.createFilterDescriptor(True)
    wanted.ContainsHeader = True
    field = TableFilterField()
    field.Field, field.Operator, field.IsNumeric, field.StringValue = step["column"], EQUAL, False, step["text"]
    wanted.setFilterFields((field,))
    cells.filter(wanted)


def enter(sheet, step):
    """Type a text into a cell."""
    sheet.getCellRangeByName(step["cell"]).getCellByPosition(0, 0).FormulaLocal = step["text"]


def fill_in(sheet, step):
    """Put numbers and texts into cells of a row, as they are; {column: value}."""
    for column, value in step["values"].items():
        cell = sheet.getCellRangeByName(f"{column}{step['row']}").getCellByPosition(0, 0)
        if isinstance(value, str):
            cell.setString(value)
        else:
            cell.setValue(value)


def area(sheet, cells):
    return sheet.getCellRangeByName(cells).RangeAddress


def corner(sheet, cell):
    return sheet.getCellRangeByName(cell).getCellByPosition(0, 0).CellAddress


STEPS = {
    step.__name__: step
    for step in (
        *(sort, move, insert, hide, add, remove, hide_rows, cut, copy, shift_down, shift_up, fill_down),
        *(filter_rows, enter, fill_in),
    )
}


def take(document, step):
    """One step; "undo" takes back so many before it and names no sheet."""
    if step["do"] == "undo":
        history = document.getUndoManager()
        for _ in range(step["times"]):
            if history.isUndoPossible():
                history.undo()
    else:
        STEPS[step["do"]](document.Sheets.getByName(step["sheet"]), step)
