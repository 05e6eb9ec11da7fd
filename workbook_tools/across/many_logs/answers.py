"""Answers across all gathered logs. What each answer is stands in `insight`; here its rows are read and summed.

Sums are pyarrow's, part by part: only the columns asked for are read, and memory stays that of one part and the groups.
`tests/benchmarks/gather_logs.py` has the figures beside DuckDB and Polars.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from workbook_tools.across.drug_use import DrugUse, Use, drug_use
from workbook_tools.across.many_logs.columns import kinds
from workbook_tools.across.many_logs.dataset import COMPLETE, Dataset
from workbook_tools.across.many_logs.one_log import READ
from workbook_tools.across.many_logs.parquet import library, stored
from workbook_tools.across.observations import Fish
from workbook_tools.across.prevalence import FindingPrevalence, Sampled, prevalences
from workbook_tools.across.responses import Learned, Lesson, lessons_of
from workbook_tools.errors import ReadError

FISH = ("species", "agent", "band", "dose", "bath", "day", "seconds", "reached", "left_out", "recovery", "adverse")
FISH_FIELDS = (*FISH, "died", "ending_known")
NOT_NOTED = "not noted"


@dataclass(frozen=True)
class Loss:
    """Fish lost by one cause: `days` rows of the Losses sheets with a number."""

    cause: str
    days: int
    dead: float

    def as_dict(self) -> dict[str, Any]:
        return {"cause": self.cause, "days": self.days, "dead": self.dead}


class Programme:
    """Gathered tables, to be asked.

    Raises
    ------
    ReadError : the folder is not there or was not made by gather, or its last run was interrupted.
    MissingLibraryError : pyarrow is not installed.
    """

    def __init__(self, path: Path) -> None:
        library()
        self.dataset = Dataset(path)
        about = self.dataset.about()
        if about is None:
            raise ReadError(path, "there is nothing gathered there; `workbook-tools gather FOLDER --out` makes it.")
        if about["state"] != COMPLETE:
            raise ReadError(path, "was not gathered to the end: start the same gather again, it goes on from there.")
        self.keys = self.dataset.keys()
        for key in self.keys[:1]:
            if self.dataset.files(key) is None:
                raise ReadError(path, "was gathered by another version of these tools: gather it again.")

    def counts(self) -> dict[str, int]:
        """How many there are of everything, by table; of the files only the logs that were read."""
        found = {name: sum(self._length(name, key) for key in self.keys) for name in kinds() if name != "files"}
        states: Counter[str] = Counter()
        for rows in self._parts("files", ["state"]):
            states.update(rows["state"].to_pylist())
        return {"logs": states[READ], **found}

    def learned(self, species: str | None = None, agent: str | None = None) -> Learned:
        """How each start dose worked, by species, agent and temperature band, over all logs; see `insight.responses`.

        Baths are told apart by their file. The reference range of an agent is what the ranges of all logs have in
        common. Names are alike in capitals or small letters and spelled as in the first log that has them.
        """
        spelled: dict[tuple[str, str], tuple[str, str]] = {}
        left_out: Counter[str] = Counter()
        for rows in self._grouped("responses", ["species", "agent", "left_out"], [([], "count_all")]):
            for name, drug, reason, count in rows:
                if name and drug:
                    spelled.setdefault((name.casefold(), drug.casefold()), (name, drug))
                if reason:
                    left_out[reason] += count
        lessons: list[Lesson] = []
        for pair in sorted(spelled):
            if _asked(species, pair[0]) and _asked(agent, pair[1]):
                fish, limits = self._fish(pair, spelled[pair])
                lessons += lessons_of(fish, limits)
        return Learned(tuple(lessons), dict(left_out.most_common()))

    def prevalences(self, species: str | None = None) -> list[FindingPrevalence]:
        """Every finding by species, over all logs; see `insight.prevalence`."""
        asked = self._grouped(
            "findings",
            ["found", "species"],
            [("examined", "sum"), ("positive", "sum"), ("examined", "count"), ([], "count_all")],
        )
        rows: list[tuple[Sampled, int]] = []
        for part in asked:
            for found, name, examined, positive, usable, count in part:
                if _asked(species, (name or "").casefold()):
                    rows.append((Sampled(found, name or "", examined, positive), usable))
                    rows.append((Sampled(found, name or "", None, None), count - usable))
        return prevalences(row for row in rows if row[1])

    def drug_use(self, species: str | None = None, agent: str | None = None) -> list[DrugUse]:
        """Drug used by agent, species and month, over all logs; see `insight.drug_use`."""
        asked = self._grouped(
            "drug_use",
            ["agent", "species", "month", "source"],
            [("grams", "sum"), ("millilitres", "sum"), ("grams", "count"), ("millilitres", "count"), ([], "count_all")],
        )
        rows = []
        for part in asked:
            for drug, name, month, source, grams, millilitres, weighed, measured, count in part:
                if _asked(species, (name or "").casefold()) and _asked(agent, drug.casefold()):
                    use = Use(drug, name or "", month or "", source, grams, millilitres)
                    rows.append((use, count, count - weighed - measured))
        return drug_use(rows)

    def losses(self) -> list[Loss]:
        """Fish lost by cause, over all logs, most first."""
        days: Counter[str] = Counter()
        dead: Counter[str] = Counter()
        for part in self._grouped("losses", ["cause"], [("dead", "count"), ("dead", "sum")]):
            for cause, count, total in part:
                if count:
                    days[cause or NOT_NOTED] += count
                    dead[cause or NOT_NOTED] += total
        return [
            Loss(cause, days[cause], float(total)) for cause, total in sorted(dead.items(), key=lambda c: (-c[1], c[0]))
        ]

    # ------------------------------------------------------------------------------------------------ reading

    def _length(self, name: str, key: int) -> int:
        length: int = library().parquet.read_metadata(self.dataset.place(name, key)).num_rows
        return length

    def _parts(self, name: str, columns: Sequence[str]) -> Iterator[Any]:
        """Some columns of a table, part by part."""
        for key in self.keys:
            yield stored(self.dataset.place(name, key), list(columns))

    def _grouped(
        self, name: str, by: Sequence[str], sums: Sequence[tuple[Any, str]]
    ) -> Iterator[list[tuple[Any, ...]]]:
        """Sums of each part of a table by some of its columns, in the order in which groups come."""
        columns = [*by, *dict.fromkeys(column for column, _ in sums if column)]
        for rows in self._parts(name, columns):
            grouped = rows.group_by(list(by), use_threads=False).aggregate(list(sums))
            names = [*by, *("count_all" if how == "count_all" else f"{column}_{how}" for column, how in sums)]
            yield list(zip(*(grouped[one].to_pylist() for one in names), strict=True))

    def _fish(
        self, pair: tuple[str, str], spelled: tuple[str, str]
    ) -> tuple[list[Fish], tuple[float | None, float | None]]:
        """All fish of a species and agent, and what the reference ranges of their logs have in common."""
        fish: list[Fish] = []
        lows, highs = set(), set()
        for rows in self._parts(
            "responses", [one.name for one in kinds()["responses"].fields if one.name != "log_layout"]
        ):
            chosen = rows.filter(_alike(rows, pair)) if rows.num_rows else rows
            lows |= set(chosen["range_low"].drop_null().to_pylist())
            highs |= set(chosen["range_high"].drop_null().to_pylist())
            columns = [chosen[name].to_pylist() for name in FISH_FIELDS]
            for file, *values in zip(chosen["log_file"].to_pylist(), *columns, strict=True):
                held = dict(zip(FISH_FIELDS, values, strict=True))
                held |= {"species": spelled[0], "agent": spelled[1], "bath": f"{file}\n{held['bath']}"}
                fish.append(Fish(**held))
        return fish, (max(lows, default=None), min(highs, default=None))


def _alike(rows: Any, pair: tuple[str, str]) -> Any:
    """Which rows are of a species and agent, capitals or not."""
    arrow = library()

    def named(column: str, wanted: str) -> Any:
        there = [name for name in rows[column].unique().to_pylist() if name is not None and name.casefold() == wanted]
        return arrow.compute.is_in(rows[column], value_set=arrow.array(there, arrow.string()))

    return arrow.compute.and_(named("species", pair[0]), named("agent", pair[1]))


def _asked(wanted: str | None, name: str) -> bool:
    return wanted is None or wanted.strip().casefold() == name
