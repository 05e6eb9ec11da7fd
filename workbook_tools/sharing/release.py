"""From which day the fish of a group may be sold or eaten, with the rule that each date follows. No rule is assumed."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from workbook_tools.layouts.amounts import JOINT
from workbook_tools.layouts.compute import Row
from workbook_tools.layouts.showing import written
from workbook_tools.layouts.trees import is_number
from workbook_tools.sharing.making import Making, day_or_dash, packed
from workbook_tools.workbook.blocks import Block, Caution, Heading, Page, Paragraph, Table

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
        name = written(stock["stock"]).casefold()
        waits = tuple(
            waiting(row, stock, making)
            for row in making.site.rows["treatments"]
            if written(row["stock"]).casefold() == name
        )
        states = [wait.state for wait in waits]
        state = next((one for one in (NEVER, UNKNOWN, DATED) if one in states), FREE)
        gone = is_number(stock["harvested"]) and stock["harvested"] <= making.today
        if not (gone and state == FREE):
            dates = [wait.release for wait in waits if wait.release is not None]
            found.append(GroupRelease(stock, state, max(dates, default=None) if state == DATED else None, waits))
    return found


def waiting(row: Row, stock: Row, making: Making) -> Waiting:
    """The wait after one treatment, and how it was counted."""
    words, rule, release = making.words, written(row["rule"]).casefold(), row["release"]
    if rule == "never":
        return Waiting(row, NEVER, None, words("rule_never"))
    if is_number(release) and rule in ("days", "degree days"):
        state = DATED if release > making.today else FREE
        return Waiting(row, state, release, _counted(row, rule, making))
    if rule:
        return Waiting(row, UNKNOWN, None, words("rule_unknown"))
    if written(stock["food_fish"]).casefold() == "no":
        return Waiting(row, FREE, None, words("rule_none_not_food"))
    return Waiting(row, UNKNOWN, None, words("rule_none"))


def _counted(row: Row, rule: str, making: Making) -> str:
    """How the days were counted."""
    words = making.words
    last = day_or_dash(row["last"])
    ends = f" {words('rule_if_ended')}" if is_number(row["last"]) and row["last"] > making.today else ""
    if rule == "days":
        return words("rule_days", days=f"{row['wait']:g}{JOINT}{words('days')}", last=last) + ends
    wait = f"{row['wait']:g}{JOINT}{words('degree_days')}"
    read, so_far = row["read"] or 0, row["so_far"] or 0
    counted = f"{so_far:.1f}{JOINT}{words('degree_days')}"
    days = f"{read:g}{JOINT}{words('days')}"
    if is_number(row["missing"]) and row["missing"] <= 0:
        return words("rule_degree_reached", wait=wait, last=last, days=days) + ends
    ahead = making.units.temperature(row["ahead"]) if is_number(row["ahead"]) else "-"
    key = "rule_degree_daily" if read else "rule_degree_mean"
    return words(key, wait=wait, last=last, days=days, so_far=counted, ahead=ahead) + ends


def release_pages(making: Making) -> list[Page]:
    """The pages that say, in large print, not before which day each group may be released."""
    words = making.words
    groups: list[Sequence[Block]] = [[Caution(words("release_caution"))]]
    found = group_releases(making)
    order = (DATED, UNKNOWN, NEVER, FREE)
    for one in sorted(found, key=lambda each: (order.index(each.state), -(each.release or 0))):
        groups.append(_group(one, making))
    if not found:
        groups.append([Paragraph(words("release_no_groups"))])
    return packed(words("release_title"), words("release_sheet"), groups, making)


def _group(one: GroupRelease, making: Making) -> list[Block]:
    words = making.words
    large = {
        NEVER: words("release_never"),
        UNKNOWN: words("release_unknown"),
        DATED: words("release_not_before", day=making.long_day(one.release or 0)),
        FREE: words("release_free"),
    }[one.state]
    blocks: list[Block] = [Heading(making.group(one.stock)), Paragraph(large, "large" if one.state != FREE else "text")]
    if one.waits:
        rows = [
            (
                written(wait.treatment["treatment"]),
                written(wait.treatment["agent"]),
                day_or_dash(wait.treatment["last"]),
                {NEVER: words("short_never"), UNKNOWN: words("short_unknown")}.get(
                    wait.state, day_or_dash(wait.release)
                ),
                wait.words + _source(wait.treatment, making),
            )
            for wait in one.waits
        ]
        heads = [words(f"release_head_{key}") for key in ("treatment", "agent", "last", "date", "rule")]
        blocks.append(Table(heads, rows, (11, 20, 14, 14, 41)))
    return blocks


def _source(row: Row, making: Making) -> str:
    source = written(row["rule_source"])
    return f" {making.words('rule_from', source=source)}" if source else ""
