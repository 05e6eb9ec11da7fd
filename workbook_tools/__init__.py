"""Named functions for fish-health arithmetic in a spreadsheet, a case log per farm, and copies for producers."""

from __future__ import annotations

from typing import Any

__version__ = "0.2.0"
__all__ = ["__version__", "call"]


def call(name: str, *args: object) -> Any:
    """Answer of a catalogue function by its worksheet name; see `workbook_tools.functions.catalogue.call`."""
    from workbook_tools.functions.catalogue import call as catalogue_call  # kept out of the import for a quick start

    return catalogue_call(name, *args)
