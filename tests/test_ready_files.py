"""The ready-made files are those that today's sources make."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.ready_files import FOLDER, build_all
from tests.support.packages import parts
from workbook_tools.layout import case_log
from workbook_tools.log.checking.log_check import check_log

NAMES = ("case-log.xlsx", "bench.xlsx", "functions.oxt")
ADVICE = "run python3 tests/ready_files.py and commit what it wrote"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("ready")
    assert tuple(file.name for file in build_all(folder)) == NAMES
    return folder


@pytest.mark.parametrize("name", NAMES)
def test_every_part_is_as_built_today(made: Path, name: str) -> None:
    kept, new = parts(FOLDER / name), parts(made / name)
    assert list(kept) == list(new), ADVICE
    assert [part for part in new if kept[part] != new[part]] == [], ADVICE


def test_the_log_is_clean() -> None:
    assert check_log(FOLDER / "case-log.xlsx", case_log()).findings == []


def test_the_words_beside_them_name_each_file() -> None:
    text = (FOLDER / "README.md").read_text(encoding="utf-8")
    assert [name for name in NAMES if f"`{name}`" not in text] == []
