"""Every sheet and column once, from the files in `templates/`; the writer and the reader both use it."""

from workbook_tools.layout.load import case_log, load
from workbook_tools.layout.model import Column, Layout, Line, Rule, Sheet, Table

__all__ = ["Column", "Layout", "Line", "Rule", "Sheet", "Table", "case_log", "load"]
