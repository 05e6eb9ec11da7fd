"""The command line: parse, call, print, exit code."""

from workbook_tools.cli.main import main

__all__ = ["main"]
