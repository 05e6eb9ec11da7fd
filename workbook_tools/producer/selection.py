"""Which site each row of a log belongs to, and the rows of one site.

A row belongs to the site that its references lead to. A row that leads to two sites, to none, or to an id that stands
for rows of several sites belongs to nobody: it is in no copy.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from workbook_tools.errors import ReadError
from workbook_tools.layout.compute import Computed, Row
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_key, id_text

# table -> its column that leads to a site, and the table that the column points to; in an order that can be followed
LEADS = {
    "sites": ("site", ""),
    "vessels": ("site", "sites"),
    "stocks": ("site", "sites"),
    "visits": ("site", "sites"),
    "water": ("visit", "visits"),
    "baths": ("visit", "visits"),
    "watch": ("bath", "baths"),
    "fish": ("bath", "baths"),
    "losses": ("stock", "stocks"),
    "treatments": ("stock", "stocks"),
    "samples": ("visit", "visits"),
    "follow_ups": ("visit", "visits"),
}
# further references that must not lead elsewhere, by table
ALSO = {
    "stocks": (("vessel", "vessels"),),
    "water": (("vessel", "vessels"),),
    "samples": (("stock", "stocks"), ("fish", "fish")),
    "treatments": (("visit", "visits"),),
    "follow_ups": (("stock", "stocks"), ("treatment", "treatments")),
}
WAITS_HANG_ON = ("stocks", "treatments", "losses")
ONCE = ("sites", "vessels", "stocks", "visits", "baths", "treatments")  # ids that must stand for one row

Owner = str | None


@dataclass(frozen=True)
class Owners:
    """The site of each row, by table and position; None where a row belongs to nobody."""

    of_rows: Mapping[str, list[Owner]]
    of_names: Mapping[str, dict[str, set[Owner]]]
    torn: tuple[tuple[str, int, frozenset[str]], ...]  # rows that lead to several sites: table, position, sites

    def of(self, table: str, name: object) -> Owner:
        """The one site that a name stands for, or None."""
        found = self.of_names.get(table, {}).get(id_key(name), set())
        return next(iter(found)) if len(found) == 1 else None


def owners(computed: Computed) -> Owners:
    """The site of every row of a log."""
    of_rows: dict[str, list[Owner]] = {}
    of_names: dict[str, dict[str, set[Owner]]] = {}
    torn: list[tuple[str, int, frozenset[str]]] = []
    so_far = Owners(of_rows, of_names, ())
    for table, (lead, target) in LEADS.items():
        key = computed.layout.tables[table].key_column.key
        rows, names = of_rows.setdefault(table, []), of_names.setdefault(table, {})
        for position, row in enumerate(computed.data[table]):
            owner = _owner(row, lead, target, so_far)
            others = {so_far.of(other, row[column]) for column, other in ALSO.get(table, ())} - {None, owner}
            if others:
                torn.append((table, position, frozenset(str(one) for one in (others | {owner}) if one is not None)))
                owner = owner if table in ("treatments", "stocks") else None  # the group itself decides
            rows.append(owner)
            if row[key] is not None:
                names.setdefault(id_key(row[key]), set()).add(owner)
    return Owners(of_rows, of_names, tuple(torn))


def _owner(row: Row, lead: str, target: str, so_far: Owners) -> Owner:
    if row[lead] is None:
        return None
    return so_far.of(target, row[lead]) if target else id_key(row[lead])


@dataclass(frozen=True)
class SiteRows:
    """The rows of one site. `flags` are codes of what the log's rules say of a row, by `id(row)`."""

    site: Row
    rows: Mapping[str, list[Row]]
    remarks: tuple[str, ...] = ()
    flags: Mapping[int, tuple[str, ...]] = field(default_factory=dict)
    since: float | None = None

    @property
    def name(self) -> str:
        """The site's id."""
        return id_text(self.site["site"])

    def find(self, table: str, key: str, name: object) -> Row:
        """A row of this site by its id; an empty one where the name is another site's or nobody's."""
        wanted = id_key(name)
        return next((row for row in self.rows[table] if wanted and id_key(row[key]) == wanted), {})

    def stock(self, name: object) -> Row:
        return self.find("stocks", "stock", name)

    def vessel(self, name: object) -> Row:
        return self.find("vessels", "vessel", name)

    def visit(self, name: object) -> Row:
        return self.find("visits", "visit", name)

    def dated(self, rows: list[Row], key: str) -> list[Row]:
        """Rows from `since` on, those without a date included, in order of their dates."""
        kept = [row for row in rows if not is_number(row.get(key)) or self.since is None or row[key] >= self.since]
        return sorted(kept, key=lambda row: row[key] if is_number(row.get(key)) else float("inf"))


def site_rows(computed: Computed, site: str, path: object = "log", since: float | None = None) -> SiteRows:
    """The rows of one site.

    Parameters
    ----------
    computed : the log.
    site : id of the site, capitals or not.
    path : of the log, for what is said of it.
    since : day number; see `SiteRows.dated`.

    Raises
    ------
    ReadError : there is no such site, or an id of its rows stands for more than one row: amounts could be another's.
    """
    found = owners(computed)
    wanted = id_key(site)
    rows = {
        table: [row for row, owner in zip(computed.data[table], found.of_rows[table], strict=True) if owner == wanted]
        for table in LEADS
    }
    if not rows["sites"] or not wanted:
        known = ", ".join(id_text(row["site"]) for row in computed.data["sites"] if row["name"] is not None)
        if not known:
            raise ReadError(path, "has no site yet: type its name on the Sites sheet, and save.")
        raise ReadError(path, f"has no site {site!r}; it has {known}.")
    _doubled(computed, rows, path)
    flags: dict[int, list[str]] = {}
    for table, position, rule in computed.findings:
        flags.setdefault(id(computed.data[table.key][position]), []).append(rule.code)
    remarks = tuple(
        f"{computed.layout.tables[table].sheet} row {computed.number(computed.layout.tables[table], position)} "
        f"leads to more than one site: {_what(table)}"
        for table, position, sites in found.torn
        if wanted in sites
    )
    codes = {key: tuple(value) for key, value in flags.items()}
    return SiteRows(rows["sites"][0], rows, remarks, codes, since)


def drawn_on(computed: Computed, site: str) -> list[tuple[str, int]]:
    """The rows that a copy is made of, by table and position, and those that would be in it but for a fault.

    A row that leads to no site may be any site's. Where its other references lead to this one it counts; a treatment, a
    group or a day's losses without any counts for every site, since a wait may hang on it.
    """
    found, wanted = owners(computed), id_key(site)
    torn = {(table, position) for table, position, sites in found.torn if len(sites) > 1}
    drawn = []
    for table in LEADS:
        in_use = {position for position, _ in computed.used(computed.layout.tables[table])}
        for position, owner in enumerate(found.of_rows[table]):
            if position not in in_use:
                continue
            mine = owner == wanted
            if owner is None and (table, position) not in torn:
                row = computed.data[table][position]
                others = {found.of(other, row[column]) for column, other in ALSO.get(table, ())} - {None}
                mine = wanted in others if others else table in WAITS_HANG_ON
            if mine:
                drawn.append((table, position))
    return drawn


def _what(table: str) -> str:
    if table in ("treatments", "stocks"):
        return "what it says of the other site is left out of the copy."
    return "it is left out of the copy."


def _doubled(computed: Computed, rows: Mapping[str, list[Row]], path: object) -> None:
    """Refuse names that stand for a row of this site and one of another: no reason lets another's amounts pass."""
    doubled = []
    for table in ONCE:
        key = computed.layout.tables[table].key_column
        own = {id_key(row[key.key]) for row in rows[table] if row[key.key] is not None}
        ours = {id(row) for row in rows[table]}
        others = {
            id_key(row[key.key]) for row in computed.data[table] if row[key.key] is not None and id(row) not in ours
        }
        doubled += [f"{key.heading} {name.upper()}" for name in sorted(own & others)]
    if doubled:
        raise ReadError(
            path,
            f"names that stand for more than one row: {', '.join(doubled)}. Amounts or rows could be another "
            "site's; give each row a name of its own (workbook-tools check shows where), then share.",
        )


def day_text(value: Any) -> str:
    """A day number as 2026-03-12; text that is no date, as it was typed."""
    from workbook_tools.layout.load import FORMATS
    from workbook_tools.layout.shown_values import as_shown

    return "" if value is None else as_shown(value, FORMATS["date"])
