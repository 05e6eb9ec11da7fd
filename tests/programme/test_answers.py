"""Answers across logs: those of one log are that log's own, and sums are those of another library."""

from __future__ import annotations

import json
import shutil
import sys
import zipfile
from pathlib import Path

import openpyxl
import pandas
import pytest

from demo.practice import practice as year
from tests.programme.support import gathered_in_turn, tables
from tests.support.commands import run
from workbook_tools.across.drug_use import drug_use, uses
from workbook_tools.across.many_logs import parquet
from workbook_tools.across.many_logs.answers import Programme
from workbook_tools.across.many_logs.columns import ANSWERS
from workbook_tools.across.many_logs.gathering import Gathered
from workbook_tools.across.prevalence import prevalences, sampled
from workbook_tools.across.responses import responses
from workbook_tools.errors import ReadError
from workbook_tools.functions.formulas import sample
from workbook_tools.layout import case_log
from workbook_tools.log.checking.reading import read_log


@pytest.fixture(scope="module")
def alone(logs: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One log, gathered alone."""
    folder = tmp_path_factory.mktemp("alone")
    (folder / "logs").mkdir()
    shutil.copy(logs / "north" / "alder.xlsx", folder / "logs")
    gathered_in_turn(folder / "logs", folder / "t.parquet")
    return folder


def test_of_one_log_they_are_its_own_answers(alone: Path) -> None:
    computed = read_log(alone / "logs" / "alder.xlsx", case_log()).computed()
    asked = Programme(alone / "t.parquet")
    own = responses(computed)
    assert len(own.lessons) > 5
    assert asked.learned().as_dict() == own.as_dict()
    assert asked.prevalences() == prevalences((one, 1) for one in sampled(computed))
    unknown = (one.grams is None and one.millilitres is None for one in uses(computed))
    mine = drug_use((one, 1, int(no)) for one, no in zip(uses(computed), unknown, strict=True))
    for other, one in zip(asked.drug_use(), mine, strict=True):
        assert (other.agent, other.species, other.month, other.source) == (
            one.agent,
            one.species,
            one.month,
            one.source,
        )
        assert (other.times, other.unknown) == (one.times, one.unknown)
        assert (other.grams, other.millilitres) == pytest.approx((one.grams, one.millilitres), rel=1e-12)


def test_twice_the_logs_twice_the_fish_and_baths(alone: Path, tmp_path: Path) -> None:
    """Baths of two logs are different ones, whatever their names."""
    for name in ("a", "b"):
        (tmp_path / "logs" / name).mkdir(parents=True)
        shutil.copy(alone / "logs" / "alder.xlsx", tmp_path / "logs" / name)
    done = gathered_in_turn(tmp_path / "logs", tmp_path / "t.parquet")
    assert done.twins() == [["a/alder.xlsx", "b/alder.xlsx"]]
    once, twice = Programme(alone / "t.parquet"), Programme(tmp_path / "t.parquet")
    for one, two in zip(once.learned().lessons, twice.learned().lessons, strict=True):
        for before, after in zip(one.responses, two.responses, strict=True):
            assert (2 * before.fish, 2 * before.baths, 2 * before.seen) == (after.fish, after.baths, after.seen)
            assert (before.curve is None) == (after.curve is None)
            if before.curve is not None and after.curve is not None:
                assert after.curve.left == pytest.approx(before.curve.left, abs=1e-9)
    assert {key: 2 * value for key, value in once.counts().items()} == twice.counts()
    assert [2 * one.dead for one in once.losses()] == [one.dead for one in twice.losses()]


def test_sums_equal_those_of_another_library(gathered: tuple[Path, Gathered]) -> None:
    out, asked = gathered[0], Programme(gathered[0])
    findings = pandas.DataFrame(tables(out)["findings"])
    findings["name"] = findings["found"].str.casefold()
    for one in asked.prevalences():
        there = findings[(findings["name"] == one.found.casefold()) & (findings["species"] == one.species)]
        assert (one.samples_seen, one.examined, one.positive) == (
            *(len(there), int(there["examined"].sum()), int(there["positive"].sum())),
        )
        if one.examined:
            assert one.interval == (sample.low(one.positive, one.examined), sample.high(one.positive, one.examined))
    assert sum(one.samples_seen for one in asked.prevalences()) == len(findings) > 10
    used = pandas.DataFrame(tables(out)["drug_use"])
    sums = used.groupby(["agent", "month"])["grams"].sum()
    for (agent, month), grams in sums.items():
        mine = [one.grams for one in asked.drug_use() if (one.agent, one.month) == (agent, month or "")]
        assert sum(mine) == pytest.approx(grams, rel=1e-9)
    assert sum(one.dead for one in asked.losses()) == sum(row["dead"] or 0 for row in tables(out)["losses"])


def test_the_range_is_what_all_logs_have_in_common(alone: Path, tmp_path: Path) -> None:
    """A log whose own Reference sheet is narrower narrows the suggestion; nothing is suggested outside of either."""
    (tmp_path / "logs").mkdir()
    for name in ("a", "b"):
        shutil.copy(alone / "logs" / "alder.xlsx", tmp_path / "logs" / f"{name}.xlsx")
    gathered_in_turn(tmp_path / "logs", tmp_path / "t.parquet")
    asked = Programme(tmp_path / "t.parquet")
    suggested = [one for one in asked.learned().lessons if one.suggestion.dose is not None]
    assert suggested
    (key,) = asked.keys
    rows = asked.dataset.rows("responses", key)
    files = rows["log_file"].to_pylist()
    low = [1e6 if file == "b.xlsx" else value for file, value in zip(files, rows["range_low"].to_pylist(), strict=True)]
    at = rows.schema.get_field_index("range_low")
    narrowed = rows.set_column(at, rows.schema.field(at), [low])
    asked.dataset.place("responses", key).write_bytes(parquet.parquet_bytes(narrowed))
    assert not [one for one in asked.learned().lessons if one.suggestion.dose is not None]


def test_only_a_species_or_an_agent(gathered: tuple[Path, Gathered]) -> None:
    asked = Programme(gathered[0])
    assert {one.species for one in asked.learned(species=" Tilapia ").lessons} == {"tilapia"}
    assert {one.species for one in asked.prevalences(species="TILAPIA")} == {"tilapia"}
    assert {one.agent for one in asked.drug_use(agent="salt")} == {"salt"}


def test_the_answers_rest_on_what_insight_counts() -> None:
    """Each answer's columns are the fields of its row in `insight`, which has the one definition."""
    from workbook_tools.across.drug_use import Use
    from workbook_tools.across.observations import Fish
    from workbook_tools.across.prevalence import Sampled

    ours = {"log_file", "log_layout", "range_low", "range_high"}
    for kind, one in zip(ANSWERS, (Fish, Sampled, Use), strict=True):
        assert {field.name for field in kind.fields} - ours == set(one.__dataclass_fields__)


# ------------------------------------------------------------------------------------------------- commands


def test_gather_and_insight_at_the_prompt(logs: Path, tmp_path: Path) -> None:
    out, book = tmp_path / "t.parquet", tmp_path / "sum.xlsx"
    done = run("gather", str(logs), "--out", str(out), "--summary", str(book), "--workers", "1", code=1)
    lines = done.output.splitlines()
    assert lines[0].startswith("5 logs with ")
    assert lines[1] == "14 files read, 0 unchanged since the last run, 0 gone."
    assert "5 files could not be read:" in lines
    assert "4 workbooks left out:" in lines
    assert lines[-1] == f"Made {book}"
    again = json.loads(run("gather", str(logs), "--out", str(out), "--json", code=1).output)
    assert (again["logs"], again["read"], again["unchanged"]) == (5, 5, 9)  # what could not be read is tried again
    assert again["unreadable"][0]["file"] == "near/broken.xlsx"
    shown = run("insight", str(out)).output
    assert all(word in shown for word in ("In all logs", "Prevalence", "Drugs used", "Losses, all species", "decide."))
    asked = json.loads(run("insight", str(out), "--species", "tilapia", "--json").output)
    assert {one["species"] for one in asked["doses"]["lessons"]} == {"tilapia"}
    _looked_through(book, logs)


def _looked_through(book: Path, logs: Path) -> None:
    """The workbook of counts holds the counts, and nothing by which a site or a person is known."""
    counted = {
        row[0]: row[1] for row in openpyxl.load_workbook(book)["Overview"].iter_rows(min_row=6, values_only=True)
    }
    assert counted["Logs"] == 5
    with zipfile.ZipFile(book) as archive:
        content = b"".join(archive.read(name) for name in archive.namelist()).decode("utf-8", "replace")
    rows = year()
    names = [row[key] for row in rows["sites"] for key in ("name", "contact", "telephone", "notes") if row.get(key)]
    names += [row["findings"] for row in rows["visits"] if row.get("findings")]
    assert len(names) > 8
    assert not [name for name in names if name in content]
    assert str(logs) not in content


def test_a_clean_run_ends_with_nothing_to_say(alone: Path) -> None:
    done = run("gather", str(alone / "logs"), "--out", str(alone / "t.parquet"), "--quiet")
    assert done.output == ""


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("gather", "logs", "--out", "t.csv"), "the name must end in .parquet"),
        (("gather", "none", "--out", "t.parquet"), "none: there is no such folder."),
        (("gather", "logs", "--out", "t.parquet", "--summary", "x.ods"), "must end in .xlsx"),
        (("gather", "logs", "--out", "t.parquet", "--summary", "none/x.xlsx"), "the folder none is not there"),
        (
            ("gather", "logs", "--out", "t.parquet", "--workers", "2", "--scheduler", "tcp://x:1"),
            "leave one of the two",
        ),
        (("insight", "t.parquet"), "there is nothing gathered there"),
        (("insight", "logs"), "is a folder that gather did not make"),
    ],
)
def test_refusals_in_one_sentence(
    words: tuple[str, ...], said: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "logs").mkdir()
    (tmp_path / "logs" / "notes.txt").touch()
    done = run(*words, code=2)
    assert said in done.output
    assert "Traceback" not in done.output
    assert [path.name for path in tmp_path.iterdir()] == ["logs"]


def test_tables_of_an_interrupted_run_give_no_answers(alone: Path, tmp_path: Path) -> None:
    shutil.copytree(alone / "t.parquet", tmp_path / "t.parquet")
    about = tmp_path / "t.parquet" / "about.json"
    about.write_text(about.read_text().replace("complete", "gathering"))
    with pytest.raises(ReadError, match="was not gathered to the end: start the same gather again"):
        Programme(tmp_path / "t.parquet")


@pytest.mark.parametrize(("library", "extra"), [("pyarrow", "programme"), ("distributed", "cluster")])
def test_without_the_library_the_way_to_it_is_said(
    library: str, extra: str, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setitem(sys.modules, library, None)
    parquet.library.cache_clear()
    try:
        (tmp_path / "logs").mkdir()
        words = ["--scheduler", "tcp://127.0.0.1:1"] if library == "distributed" else []
        done = run("gather", str(tmp_path / "logs"), "--out", str(tmp_path / "t.parquet"), *words, code=2)
    finally:
        parquet.library.cache_clear()
    assert f"pip install 'workbook-tools[{extra}]' brings it." in done.output
    assert not (tmp_path / "t.parquet").exists()
