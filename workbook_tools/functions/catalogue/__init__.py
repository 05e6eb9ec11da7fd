"""What each function is called, its arguments, units, ranges and sources: read off the functions, never typed twice."""

from workbook_tools.functions.catalogue.calling import call, converted
from workbook_tools.functions.catalogue.entries import TOPICS, Entry, entries, entry

__all__ = ["TOPICS", "Entry", "call", "converted", "entries", "entry"]
