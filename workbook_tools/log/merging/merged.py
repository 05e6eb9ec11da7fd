"""What a merge gives: the merged rows, and a record of everything that was done or could not be done."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

from workbook_tools.layout import Layout
from workbook_tools.layout.shown_values import as_shown
from workbook_tools.log.merging.matching import value_order

Sources = tuple[tuple[str, int], ...]  # files and the rows there
REASONS = {
    "cell-differs": "another value than in the log",
    "copies-differ": "the copies differ, and the log does not decide it",
    "other-thing": "the same id, but a required cell or several others differ: another thing? Nothing of it was merged",
    "id-doubled": "the id stands more than once: which row is meant? Nothing of this row was merged",
    "no-id": "the row has no id: nothing of it was merged",
    "no-column": "the log has no such column",
    "no-room": "the sheet has no room for another row",
    "formula": "the log's cell holds a formula",
}


@dataclass(frozen=True)
class Conflict:
    """One cell of a copy that is not in the merged log: what the log keeps there, and what the copy has."""

    file: str
    table: str
    sheet: str
    row: int  # in the copy
    id: Any
    key: str
    column: str
    kept: Any
    other: Any
    reason: str
    format: str = "General"

    def as_dict(self) -> dict[str, Any]:
        names = ("file", "sheet", "row", "id", "column", "kept", "other", "reason")
        return {name: getattr(self, name) for name in names}

    def say(self) -> str:
        """The conflict in one sentence."""
        kept, other = as_shown(self.kept, self.format), as_shown(self.other, self.format)
        kept = "blank" if self.kept is None else kept
        other = "blank" if self.other is None else other
        return f"{self.column}: the log keeps {kept}, the copy has {other} ({REASONS[self.reason]})."


@dataclass(frozen=True)
class Change:
    """One cell of the log that takes a value of copies; `sources` are their files and the rows there."""

    sources: Sources
    table: str
    sheet: str
    row: int  # in the log
    id: Any
    key: str
    column: str
    before: Any
    after: Any
    format: str = "General"

    def as_dict(self) -> dict[str, Any]:
        names = ("sheet", "row", "id", "column", "before", "after")
        return {"files": files(self.sources)} | {name: getattr(self, name) for name in names}


@dataclass(frozen=True)
class Added:
    """One row that the log did not have; `sources` are the files that have it and its rows there."""

    sources: Sources
    table: str
    sheet: str
    id: Any
    values: dict[str, Any]

    def as_dict(self) -> dict[str, Any]:
        return {"files": files(self.sources), "sheet": self.sheet, "id": self.id, "values": self.values}


def files(sources: Sources) -> list[str]:
    """The files of some sources, each once."""
    return list(dict.fromkeys(file for file, _ in sources))


@dataclass(frozen=True, order=True)
class Note:
    """Something about one of the files that whoever merges must know."""

    file: str
    say: str


@dataclass
class Merged:
    """The merged log: `rows` by table key, the log's own first and in its order, then the added ones by id.

    `numbers` has the sheet row of each, None for a row that has no place in the log's file yet.
    """

    layout: Layout
    rows: dict[str, list[dict[str, Any]]] = field(default_factory=dict)
    numbers: dict[str, list[int | None]] = field(default_factory=dict)
    added: list[Added] = field(default_factory=list)
    filled: list[Change] = field(default_factory=list)
    changed: list[Change] = field(default_factory=list)
    conflicts: list[Conflict] = field(default_factory=list)
    remarks: list[Note] = field(default_factory=list)

    def as_dict(self) -> dict[str, Any]:
        """Everything that was done and found, for another program."""
        names = ("added", "filled", "changed", "conflicts")
        parts = {name: [part.as_dict() for part in getattr(self, name)] for name in names}
        return parts | {"remarks": [{"file": note.file, "say": note.say} for note in self.remarks]}

    def sort(self) -> None:
        """One order for every order of the copies; what two copies of one name both say stands once."""
        order = {key: number for number, key in enumerate(self.layout.tables)}
        columns = {key: [c.key for c in table.columns] for key, table in self.layout.tables.items()}

        def place(cell: Conflict | Change) -> tuple[Any, ...]:
            return order[cell.table], value_order(cell.id), cell.row, columns[cell.table].index(cell.key)

        def listed(cell: Conflict) -> tuple[Any, ...]:
            return *place(cell), cell.file, value_order(cell.other), cell.reason

        self.conflicts = sorted(dict.fromkeys(self.conflicts), key=listed)
        self.filled.sort(key=place)
        self.changed.sort(key=place)
        self.added.sort(key=lambda row: (order[row.table], value_order(row.id)))
        self.remarks = sorted(set(self.remarks))
