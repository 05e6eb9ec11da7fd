"""The figures of the Summary sheet, from the typed cells alone."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from workbook_tools.layout.compute import Computed
from workbook_tools.layout.load import FORMATS
from workbook_tools.layout.model import Column

COUNTS = (FORMATS["tally"], FORMATS["quantity"])


@dataclass(frozen=True)
class SummaryBlock:
    """One table of the summary: a row for each species, agent or site that has something to show."""

    caption: str
    columns: tuple[Column, ...]
    rows: tuple[dict[str, Any], ...]

    @property
    def headings(self) -> list[str]:
        return [column.heading for column in self.columns]

    def as_dict(self) -> dict[str, Any]:
        return {
            "caption": self.caption,
            "rows": [{c.heading: row[c.key] for c in self.columns} for row in self.rows],
        }


def summary(computed: Computed) -> list[SummaryBlock]:
    """Blocks of the summary, in the layout's order; rows of which every count is 0 are left out."""
    blocks = []
    for table in computed.layout.tables.values():
        if not table.key_source:
            continue
        shown = tuple(column for column in table.columns if column.kind != "key row")
        figures = [column.key for column in shown if column.format in COUNTS]
        rows = [row for row in computed.data[table.key] if any(row[key] for key in figures)]
        blocks.append(SummaryBlock(table.caption, shown, tuple(rows)))
    return blocks
