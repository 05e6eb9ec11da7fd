"""One gate for all that is given from a log: no card, plan, page or copy from a row that has an open fault.

What an output draws on are its own rows and every row that they point to, at any depth. A doubled id is a fault of
every row that has it, and so of all that point to it. Ids are compared without blanks at their ends, so that a row that
points past its target by a blank is found, and named.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field, replace

from workbook_tools.errors import DataError, FaultError, Obstacle
from workbook_tools.layout.advice import advices
from workbook_tools.layout.compute import Computed
from workbook_tools.layout.ids import id_key, id_text
from workbook_tools.layout.load import TWICE
from workbook_tools.layout.model import Column, Table
from workbook_tools.log.checking.log_check import CheckedLog

GivenRow = tuple[str, int]  # table and position of a row in it
TWICE_CODE = "id-used-twice"
# results are computed anew from the typed cells, and a wait without a date is printed as one: "do not sell or eat"
NOT_IN_THE_WAY = ("result-differs", "results-not-stored", "temperature-missing")
LEAST_LETTERS = 10


@dataclass(frozen=True)
class Despite:
    """An override: the id of a row whose faults are known, and why the output is wanted all the same."""

    name: str
    reason: str
    sheets: tuple[str, ...] = ()  # where the faults are that were let pass

    def __str__(self) -> str:
        where = f" ({', '.join(self.sheets)})" if self.sheets else ""
        return f"Given despite: an open fault of {self.name}{where}. Reason: {self.reason}"


def despite(text: str) -> Despite:
    """An override as it is typed: "B004: the reason".

    Raises DataError where the id is missing, or the reason is shorter than ten letters.
    """
    name, colon, reason = text.partition(":")
    name, reason = name.strip(), " ".join(reason.split())
    if not (name and colon):
        raise DataError([f"{text!r} names no row: write the id, a colon and the reason, such as 'B004: the reason'"])
    if sum(sign.isalpha() for sign in reason) < LEAST_LETTERS:
        raise DataError([f"{text!r} gives no reason: at least {LEAST_LETTERS} letters after the colon"])
    return Despite(name, reason)


def passed(
    log: CheckedLog | Computed,
    drawn: Iterable[GivenRow],
    output: str,
    overrides: Sequence[Despite] = (),
    path: object = "the log",
    answered: Iterable[tuple[str, str]] = (),
) -> tuple[Despite, ...]:
    """Let an output pass, or refuse it.

    Parameters
    ----------
    log : a checked log, or one that was computed only: then what a file alone can show (a cell typed over) is not seen.
    drawn : the rows that the output is made of, by table and position; the rows that they point to are found here.
    output : what is wanted, as it is called: "bench card".
    overrides : faults that are known.
    path : of the log, for what is said of it.
    answered : faults that the output answers itself, by column and code.

    Returns
    -------
    The overrides that were needed, with the sheets of their faults; they are printed on the output.

    Raises
    ------
    FaultError : naming every fault in the way that is not overridden.
    """
    found = obstacles(log, drawn, answered)
    known = {id_key(override.name) for override in overrides}
    left = [one for one in found if id_key(one.name) not in known]
    if left:
        raise FaultError(path, output, left)
    sheets: dict[str, dict[str, None]] = {}
    for one in found:
        sheets.setdefault(id_key(one.name), {})[one.sheet] = None
    needed = (override for override in overrides if id_key(override.name) in sheets)
    return tuple(replace(override, sheets=tuple(sheets[id_key(override.name)])) for override in needed)


def obstacles(
    log: CheckedLog | Computed, drawn: Iterable[GivenRow], answered: Iterable[tuple[str, str]] = ()
) -> list[Obstacle]:
    """Every open fault of the rows given and of the rows that they point to, in the order of the sheets."""
    computed = log.computed if isinstance(log, CheckedLog) else log
    names = _Names.of(computed)
    rows = set(names.followed(drawn))
    excused = set(answered)
    found = [one for place, one in _doubled(log, computed, names) if place in rows]
    found += [
        one for place, key, one in _faults(log, computed, names) if place in rows and (key, one.code) not in excused
    ]
    order = {sheet.name: number for number, sheet in enumerate(computed.layout.sheets)}
    return sorted(set(found), key=lambda one: (order.get(one.sheet, len(order)), one.row, one.cell, one.code))


@dataclass
class _Names:
    """The rows of each id, and where references lead."""

    computed: Computed
    rows: dict[str, dict[str, list[int]]] = field(default_factory=dict)

    @classmethod
    def of(cls, computed: Computed) -> _Names:
        found = cls(computed)
        for table in computed.layout.log_tables():
            named = found.rows.setdefault(table.key, {})
            key = table.key_column.key
            for position, row in computed.used(table):
                if row.get(key) is not None:
                    named.setdefault(id_key(row[key]), []).append(position)
        return found

    def followed(self, drawn: Iterable[GivenRow]) -> Iterator[GivenRow]:
        """The rows given and all that they point to."""
        seen: set[GivenRow] = set()
        waiting = list(drawn)
        while waiting:
            place = waiting.pop()
            if place in seen:
                continue
            seen.add(place)
            yield place
            table, position = place
            row = self.computed.data[table][position]
            waiting += self.alike(table, position)
            for column in self.computed.layout.tables[table].typed:
                if column.kind == "reference" and not column.loose and row.get(column.key) is not None:
                    targets = self.rows.get(column.to, {}).get(id_key(row[column.key]), ())
                    waiting += [(column.to, target) for target in targets]

    def alike(self, table: str, position: int) -> list[GivenRow]:
        """Rows with the same id as a row."""
        value = self.computed.data[table][position].get(self.computed.layout.tables[table].key_column.key)
        named = self.rows.get(table, {})
        return [] if value is None else [(table, one) for one in named.get(id_key(value), ())]

    def name(self, table: Table, position: int) -> str:
        """What a row is called: its id, or its sheet and row where it has none."""
        value = self.computed.data[table.key][position].get(table.key_column.key)
        return id_text(value).strip() or f"{table.sheet} row {self.computed.number(table, position)}"


def _doubled(log: CheckedLog | Computed, computed: Computed, names: _Names) -> Iterator[tuple[GivenRow, Obstacle]]:
    """Rows that share an id: each of them, the first as well."""
    for table in computed.layout.log_tables():
        for positions in names.rows[table.key].values() if table.id_column is not None else ():
            for position in positions if len(positions) > 1 else ():
                others = [computed.number(table, one) for one in positions if one != position]
                where = f"row{'s' if len(others) > 1 else ''} {', '.join(str(one) for one in others)}"
                row = computed.data[table.key][position]
                heading = f"{table.key_column.heading} {shown_id(row[table.key_column.key])}"
                reason = TWICE.format(heading=heading, where=where)
                number = computed.number(table, position)
                read = log.log.tables[table.key] if isinstance(log, CheckedLog) else None
                cell = str(read.place(position, table.key_column.key)) if read else ""
                yield (
                    (table.key, position),
                    _obstacle(table.sheet, number, cell, names.name(table, position), "id-used-twice", reason),
                )


def _faults(log: CheckedLog | Computed, computed: Computed, names: _Names) -> Iterator[tuple[GivenRow, str, Obstacle]]:
    """The faults of single rows, each with its row and its column's key."""
    if not isinstance(log, CheckedLog):
        for table, position, rule in computed.findings:
            if rule.severity == "fault" and rule.code not in (TWICE_CODE, *NOT_IN_THE_WAY):
                key = rule.columns[0] if rule.columns else table.key_column.key
                number = computed.number(table, position)
                reason = _orphan(computed, names, table, position, key, rule.code) or rule.say
                cell = f"{table.sheet} row {number}"
                yield (
                    (table.key, position),
                    key,
                    _obstacle(table.sheet, number, cell, names.name(table, position), rule.code, reason),
                )
        return
    tables = {table.sheet.casefold(): table for table in computed.layout.log_tables()}
    positions = {
        (table.key, computed.number(table, position)): position
        for table in tables.values()
        for position, _ in computed.used(table)
    }
    for finding in log.faults:
        found = tables.get(finding.sheet.casefold())
        if found is None or finding.code in (TWICE_CODE, *NOT_IN_THE_WAY):
            continue
        key = next((column.key for column in found.columns if column.heading == finding.column), "")
        for number in (finding.row, *finding.more_rows):
            at = positions.get((found.key, number))
            if at is not None:
                reason = _orphan(computed, names, found, at, key, finding.code) or finding.reason
                cell = finding.cell if number == finding.row else f"{finding.sheet} row {number}"
                name = names.name(found, at)
                yield (found.key, at), key, _obstacle(found.sheet, number, cell, name, finding.code, reason)


def _orphan(computed: Computed, names: _Names, table: Table, position: int, key: str, code: str) -> str:
    """What is said of a reference that misses its row: what it points to, and the blank by which it misses."""
    column: Column | None = table.by_key.get(key)
    if code != "not-found" or column is None or column.kind != "reference":
        return ""
    value = computed.data[table.key][position][key]
    sheet = computed.layout.tables[column.to].sheet
    differs = id_key(value) in names.rows.get(column.to, {})
    why = " Only the blank differs; type it again." if differs else ""
    return f"{column.heading} is not on the {sheet} sheet: {shown_id(value)}.{why}"


def shown_id(value: object) -> str:
    """An id for a sentence; blanks at its ends, which nobody sees, are said."""
    text = id_text(value)
    before, after = text != text.lstrip(), text != text.rstrip()
    where = "both ends" if before and after else "its beginning" if before else "its end" if after else ""
    return f"{text.strip()} with a blank at {where}" if where else text


def _obstacle(sheet: str, row: int, cell: str, name: str, code: str, reason: str) -> Obstacle:
    advice = advices().get(code)
    return Obstacle(sheet, row, cell or f"{sheet} row {row}", name, code, reason, advice.to_do if advice else "")
