"""From which day the fish of a group may be sold or eaten, with the rule that each date follows. No rule is assumed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from workbook_tools.functions.quantities.amounts import JOINT
from workbook_tools.layout.compute import Computed, Row
from workbook_tools.layout.expression_trees import is_number
from workbook_tools.layout.ids import id_key, id_text
from workbook_tools.producer.page_making import Making, day_or_dash, packed_pages
from workbook_tools.xlsx.printing.blocks import Block, Caution, Heading, Page, Paragraph, PrintedTable

NEVER, UNKNOWN, DATED, FREE = "never", "unknown", "dated", "free"  # from the gravest on


@dataclass(frozen=True)
class Waiting:
    """What one treatment asks for: a state, the first day of release where there is one, and why, in words."""

    treatment: Row
    state: str
    release: float | None
    words: str


@dataclass(frozen=True)
class GroupRelease:
    """A group of fish and the gravest of its waits; `release` is the latest date where all are dated."""

    stock: Row
    state: str
    release: float | None
    waits: tuple[Waiting, ...]


def group_releases(making: Making) -> list[GroupRelease]:
    """Every group of the site; all treatments count, whatever days the copy is limited to."""
    found = []
    for stock in making.site.rows["stocks"]:
        name = id_key(stock["stock"])
        waits = tuple(
            waiting(row, stock, making) for row in making.site.rows["treatments"] if id_key(row["stock"]) == name
        )
        states = [wait.state for wait in waits]
        state = next((one for one in (NEVER, UNKNOWN, DATED) if one in states), UNKNOWN if making.faulty else FREE)
        gone = is_number(stock["harvested"]) and stock["harvested"] <= making.today
        if not (gone and state == FREE):
            dates = [wait.release for wait in waits if wait.release is not None]
            found.append(GroupRelease(stock, state, max(dates, default=None) if state == DATED else None, waits))
    return found


def waiting(row: Row, stock: Row, making: Making) -> Waiting:
    """The wait after one treatment; in a record with a fault no date is known."""
    found = _by_its_rule(row, stock, making)
    return found if found.state == NEVER or not making.faulty else Waiting(row, UNKNOWN, None, found.words)


def _by_its_rule(row: Row, stock: Row, making: Making) -> Waiting:
    """The wait after one treatment, and how it was counted."""
    words, rule, release = making.words, id_text(row["rule"]).casefold(), row["release"]
    if rule == "never":
        return Waiting(row, NEVER, None, words("rule_never"))
    if is_number(release) and rule in ("days", "degree days"):
        state = DATED if release > making.today else FREE
        return Waiting(row, state, release, _counted(row, rule, making))
    if rule:
        return Waiting(row, UNKNOWN, None, _not_reached(row, rule, making) or words("rule_unknown"))
    if id_text(stock["food_fish"]).casefold() == "no":
        return Waiting(row, FREE, None, words("rule_none_not_food"))
    return Waiting(row, UNKNOWN, None, words("rule_none"))


def as_of(computed: Computed, today: float) -> Computed:
    """The log without the temperatures of days that have not come yet: no cell can know which those are."""
    ahead = [row for row in computed.data["losses"] if is_number(row["date"]) and row["date"] >= today + 1]
    if not any(is_number(row["temperature"]) for row in ahead):
        return computed
    unread = {id(row) for row in ahead}
    typed = {
        key: [
            {column.key: row[column.key] for column in table.typed}
            | ({"temperature": None} if id(row) in unread else {})
            for row in computed.data[key]
        ]
        for key, table in computed.layout.tables.items()
        if not table.key_source
    }
    return Computed(computed.layout, typed, computed.numbers, computed.ahead)


def _counted(row: Row, rule: str, making: Making) -> str:
    """How the days were counted."""
    words = making.words
    last = day_or_dash(row["last"])
    ends = f" {words('rule_if_ended')}" if is_number(row["last"]) and row["last"] > making.today else ""
    if rule == "days":
        return words("rule_days", days=f"{row['wait']:g}{JOINT}{words('days')}", last=last) + ends
    said = _degree_days(row, making)
    if is_number(row["missing"]) and row["missing"] <= 0:
        return words("rule_degree_reached", **said) + _gaps(row, making) + ends
    ahead = making.units.temperature(row["mean"])
    if row["read"]:
        return words("rule_degree_daily", ahead=ahead, **said) + _gaps(row, making) + ends
    return words("rule_degree_mean", ahead=ahead, wait=said["wait"], last=said["last"]) + ends


def _not_reached(row: Row, rule: str, making: Making) -> str:
    """Why degree days that were counted give no date; nothing where none were."""
    if rule != "degree days" or not is_number(row["missing"]) or not is_number(row["from_day"]):
        return ""
    return making.words("rule_degree_short", **_degree_days(row, making)) + _gaps(row, making)


def _degree_days(row: Row, making: Making) -> dict[str, str]:
    words = making.words
    return {
        "wait": f"{row['wait']:g}{JOINT}{words('degree_days')}",
        "last": day_or_dash(row["last"]),
        "so_far": f"{row['so_far'] or 0:.1f}{JOINT}{words('degree_days')}",
        "days": f"{row['covered'] or 0:g}{JOINT}{words('days')}",
    }


def _gaps(row: Row, making: Making) -> str:
    """What days without a reading added, where there are any."""
    if not is_number(row["unread"]) or row["unread"] <= 0 or not row["read"]:
        return ""
    return f" {making.words('gaps_lower' if row['filling'] == 'yes' else 'gaps_nothing')}"


def release_pages(making: Making) -> list[Page]:
    """The pages that say, in large print, not before which day each group may be released."""
    words = making.words
    groups: list[Sequence[Block]] = [[*_despite(making), Caution(words("release_caution"))]]
    found = group_releases(making)
    order = (DATED, UNKNOWN, NEVER, FREE)
    for one in sorted(found, key=lambda each: (order.index(each.state), -(each.release or 0))):
        groups.append(_group(one, making))
    if not found:
        groups.append([Paragraph(words("release_no_groups"))])
    return packed_pages(words("release_title"), words("release_sheet"), groups, making)


def _despite(making: Making) -> list[Block]:
    """What the copy was given despite, and what follows from it."""
    words = making.words
    blocks: list[Block] = [Paragraph(words("release_fault"), "large")] if making.faulty else []
    said = (words("given_despite", name=one.name, reason=one.reason) for one in making.despite)
    return [*blocks, *(Paragraph(sentence, "strong") for sentence in said)]


def _group(one: GroupRelease, making: Making) -> list[Block]:
    words = making.words
    large = {
        NEVER: words("release_never"),
        UNKNOWN: words("release_fault" if making.faulty else "release_unknown"),
        DATED: words("release_not_before", day=making.long_day(one.release or 0)),
        FREE: words("release_free"),
    }[one.state]
    blocks: list[Block] = [Heading(making.group(one.stock)), Paragraph(large, "large" if one.state != FREE else "text")]
    if one.waits:
        rows = [
            (
                id_text(wait.treatment["treatment"]),
                id_text(wait.treatment["agent"]),
                day_or_dash(wait.treatment["last"]),
                {NEVER: words("short_never"), UNKNOWN: words("short_unknown")}.get(
                    wait.state, day_or_dash(wait.release)
                ),
                wait.words + _source(wait.treatment, making),
            )
            for wait in one.waits
        ]
        heads = [words(f"release_head_{key}") for key in ("treatment", "agent", "last", "date", "rule")]
        blocks.append(PrintedTable(heads, rows, (11, 20, 14, 14, 41)))
    return blocks


def _source(row: Row, making: Making) -> str:
    source = id_text(row["rule_source"])
    return f" {making.words('rule_from', source=source)}" if source else ""
