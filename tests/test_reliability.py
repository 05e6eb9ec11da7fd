"""The one command that makes the figures: nothing missing passes, nothing wrong ends well."""

from __future__ import annotations

import datetime
import re
from pathlib import Path
from typing import Any

import pytest

from tests import reliability
from tests.reliability import BEGIN, END, IncompleteError, main, page, part, table, totals

PARTS: dict[str, dict[str, object]] = {
    "Files from elsewhere": {
        "hostile files tried": 40, "hostile files that got through or did harm": 0, "slowest hostile file s": 2.5,
        "slowest hostile file": "a million styles", "largest hostile file": "a bomb",
        "largest hostile file bytes inflated": 4_000_000_000, "failures": [],
    },
    "Large files": {"large files tried": 200, "large files that broke a bound": 0, "said": []},
    "Changed workbooks": {"workbooks changed": 1_000, "other errors or hangs": 0, "said": []},
    "Dose safety": {"inputs tried": 500, "wrong doses": 0},
    "Outsider": {"practices typed by an outsider": 1_000, "figures compared": 200_000, "wrong figures": 0, "said": []},
    "Faults while writing": {
        "faults injected": 4_140, "rows lost": 0, "files corrupted": 0, "files left unsaid": 0,
        "refusals without a sentence": 0, "said": [],
    },
    "Leaks": {
        "copies looked through": 25, "leaks": 0, "ways to the network tried": 0, "names, folders or computers told": 0,
        "said": [],
    },
}  # fmt: skip


def with_figure(title: str, key: str, value: object) -> dict[str, dict[str, object]]:
    return {name: dict(figures) | ({key: value} if name == title else {}) for name, figures in PARTS.items()}


def test_the_totals_are_of_all_parts() -> None:
    found = totals(PARTS)
    assert found["Inputs tried"] == 40 + 200 + 1_000 + 500 + 25 + 1_000
    assert found["Faults injected"] == 4_140
    assert all(found[name] == 0 for name in reliability.MUST_BE_ZERO)
    assert found["Slowest hostile file"] == "a million styles, 2.5 s"
    assert found["Largest hostile file handled"] == "a bomb, 4,000,000,000 bytes unpacked"


@pytest.mark.parametrize(
    ("title", "key", "name"),
    [
        ("Faults while writing", "rows lost", "Rows lost"),
        ("Faults while writing", "files corrupted", "Files corrupted"),
        ("Faults while writing", "files left unsaid", "Files left behind unsaid"),
        ("Faults while writing", "refusals without a sentence", "Refusals without a sentence"),
        ("Leaks", "leaks", "Leaks"),
        ("Leaks", "ways to the network tried", "Leaks"),
        ("Leaks", "names, folders or computers told", "Leaks"),
        ("Dose safety", "wrong doses", "Wrong doses"),
        ("Outsider", "wrong figures", "Wrong figures"),
        ("Large files", "large files that broke a bound", "Large files that broke a bound"),
        ("Changed workbooks", "other errors or hangs", "Other errors or hangs over changed workbooks"),
        (
            "Files from elsewhere",
            "hostile files that got through or did harm",
            "Hostile files that got through or did harm",
        ),
    ],
)
def test_one_thing_wrong_ends_with_1(title: str, key: str, name: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert main([], lambda _: with_figure(title, key, 1)) == 1
    assert capsys.readouterr().out.splitlines()[-1] == f"NOT as promised: {name}"


def test_all_well_ends_with_0_and_writes_only_when_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "RELIABILITY.md"
    file.write_text(f"before\n{BEGIN}\nSTALE\n{END}\nafter\n")
    monkeypatch.setattr(reliability, "PAGE", file)
    assert main(["--quick"], lambda _: PARTS) == 0
    assert "STALE" in file.read_text()
    assert main(["--quick", "--write"], lambda _: PARTS) == 0
    text = file.read_text()
    assert text.startswith(f"before\n{BEGIN}\n\nRun of {datetime.date.today().isoformat()}, few tries; ")
    assert text.endswith(f"{END}\nafter\n")
    assert "| **Rows lost** | 0 |" in text
    assert "STALE" not in text
    assert capsys.readouterr().out.splitlines()[-1] == "As promised."


def test_quick_tries_less_of_everything() -> None:
    seen: list[reliability.Amount] = []

    def collect(amount: reliability.Amount) -> dict[str, dict[str, object]]:
        seen.append(amount)
        return PARTS

    main(["--quick"], collect)
    main([], collect)
    assert seen == [reliability.QUICK, reliability.FULL]
    assert reliability.FULL.faults >= 1_000
    assert reliability.QUICK.faults < reliability.FULL.faults
    assert reliability.QUICK.heavy < reliability.FULL.heavy == 200
    assert reliability.QUICK.practices < reliability.FULL.practices
    assert reliability.QUICK.typed < reliability.FULL.typed == 1_000
    assert reliability.QUICK.changed < reliability.FULL.changed == 1


def test_a_part_that_is_missing_is_named_and_ends_with_2(capsys: pytest.CaptureFixture[str]) -> None:
    def collect(_: object) -> dict[str, dict[str, object]]:
        return {"Dose safety": part("tests.support.not_there", ("inputs tried",))}

    assert main([], collect) == 2
    assert capsys.readouterr().err == (
        "tests/support/not_there.py is not there: its figures() are a part of the table. Nothing was written.\n"
    )


def test_a_part_that_says_too_little_is_named(monkeypatch: pytest.MonkeyPatch) -> None:
    from tests.support import leaks

    monkeypatch.setattr(leaks, "figures", lambda: {"wrong doses": 0}, raising=False)
    with pytest.raises(IncompleteError, match=r"tests/support/leaks\.py: figures\(\) does not answer inputs tried"):
        part("tests.support.leaks", ("inputs tried", "wrong doses"))


@pytest.mark.parametrize("value", [None, "0", 0.0, True])
def test_a_figure_that_is_no_number_is_not_taken_for_one(value: Any) -> None:
    assert main([], lambda _: with_figure("Dose safety", "wrong doses", value)) == 2


def test_lists_are_printed_and_not_tabulated(capsys: pytest.CaptureFixture[str]) -> None:
    main([], lambda _: with_figure("Leaks", "said", ["practice 3: a name"]))
    assert "! practice 3: a name" in capsys.readouterr().out
    assert "| said |" not in table(PARTS, False, datetime.date(2026, 1, 1))


def test_the_page_has_room_for_the_figures() -> None:
    text = reliability.PAGE.read_text(encoding="utf-8")
    assert page(text, "figures").count("figures\n") >= 1
    with pytest.raises(IncompleteError, match="has lost the marks"):
        page("no marks here", "figures")


# parts of the figures of which tests/reliability.py itself says when they are missing
PARTS_OF_OTHERS = {"tests/support/hostile.py", "tests/support/dose_paths.py"}


@pytest.mark.parametrize("name", ["RELIABILITY.md", "SECURITY.md"])
def test_every_test_that_a_page_names_is_there(name: str) -> None:
    text = (reliability.ROOT / name).read_text(encoding="utf-8")
    named = set(re.findall(r"`(tests/[\w/.]+\.py)`", text))
    assert len(named) > 3
    assert [path for path in named if not (reliability.ROOT / path).is_file() and path not in PARTS_OF_OTHERS] == []
