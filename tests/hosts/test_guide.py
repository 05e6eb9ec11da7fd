"""The guide, and that a docstring is the one source of every host's help."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
from html.parser import HTMLParser
from pathlib import Path

import pytest

import workbook_tools
from tests.hosts.gaps import NO_FORMULA, NO_NAME
from workbook_tools.functions.catalogue import entries, entry
from workbook_tools.functions.texts import guide_rows
from workbook_tools.hosts import guide

SHOW_ALL = """
from workbook_tools.functions.texts import lambda_names
from workbook_tools.hosts import excel_functions, extension, guide
texts = {
    "extension": extension.extension_files()["CalcAddIns.xcu"].decode(),
    "names": "".join(name.comment for name in lambda_names.names()),
    "functions": excel_functions.module_source(),
    "guide": guide.markdown(),
    "page": extension.extension_files()["guide.html"].decode(),
}
for name, text in texts.items():
    new, new_argument, old = "Weight of product that lifts", "number from nothing up", "Mass of product that brings"
    print(name, new in text, new_argument in text, old in text)
"""


def test_rows_say_everything_of_every_function() -> None:
    rows = guide_rows.rows()
    assert [row.function for row in rows] == [found.signature for found in entries()]
    for row, found in zip(rows, entries(), strict=True):
        assert len(row.texts()) == len(guide_rows.HEADINGS)
        assert all(text for text in (row.answers, row.arguments, row.ranges, row.result, row.equation, row.source))
        assert all(parameter.label in row.arguments for parameter in found.parameters)


def test_examples_can_be_typed_and_answer_what_is_said() -> None:
    assert guide_rows.example(entry("BATH.MASS")) == "=BATH.MASS(40,80) gives 3.2 g"
    assert guide_rows.example(entry("STAGE.LEVEL")).endswith("gives 4 (0 to 6)")
    assert guide_rows.example(entry("BATH.STEPS")).endswith(
        "gives 3 rows: 1 80 3.2 6.4 3.2; 2 100 0.8 1.6 4; 3 120 0.8 1.6 4.8"
    )
    for row in guide_rows.rows():
        assert re.match(r"^=[A-Z]+\.[A-Z0-9]+\([^'\[]*\)( with .+ in A1:A\d+)? gives .+", row.example), row.example


@pytest.mark.parametrize(
    ("value", "text"), [(0.0, "0"), (3.2, "3.2"), (325853.38, "325853"), (0.001234567, "0.00123457"), (-2.5, "-2.5")]
)
def test_numbers_as_a_person_writes_them(value: float, text: str) -> None:
    assert guide_rows._number(value) == text


def test_places_where_a_function_works() -> None:
    for row, found in zip(guide_rows.rows(), entries(), strict=True):
        assert ("Excel 365" in row.works_in) is (found.name not in NO_NAME), found.name
        assert ("plain formula" in row.works_in) is (found.name not in NO_FORMULA)


def test_markdown_and_page_hold_the_same() -> None:
    markdown, page = guide.markdown(), guide.page()
    texts = Texts()
    texts.feed(page)
    assert texts.open == []
    for row in guide_rows.rows():
        assert f"### {row.function}" in markdown
        assert row.function in texts.found
        assert row.answers in texts.found
        assert any(text.endswith(row.example) for text in texts.found)
    assert page.count("<h3>") == markdown.count("\n### ") == len(entries())
    assert page.count("<h2>") == markdown.count("\n## ") == len({found.topic for found in entries()})


class Texts(HTMLParser):
    """Texts of a page, and that every element is closed."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []
        self.open: list[str] = []

    def handle_starttag(self, tag: str, attrs: object) -> None:
        if tag != "meta":
            self.open.append(tag)

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        if data.strip():
            self.found.append(data)


def test_a_changed_docstring_shows_in_every_host(tmp_path: Path) -> None:
    """In a copy of the package, so that nothing stays behind."""
    copy = tmp_path / "workbook_tools"
    shutil.copytree(Path(workbook_tools.__file__).parent, copy, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copyfile(Path(workbook_tools.__file__).parents[1] / "LICENSE", tmp_path / "LICENSE")
    bath = copy / "functions" / "formulas" / "bath" / "weights.py"
    text = bath.read_text(encoding="utf-8")
    old_summary, old_argument = "Mass of product that brings a volume", "dose : wanted concentration of the active"
    assert old_summary in text
    assert old_argument in text
    text = text.replace(old_summary, "Weight of product that lifts a volume")
    bath.write_text(text.replace(old_argument, "dose : number from nothing up, the active"), encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-c", SHOW_ALL],
        cwd=tmp_path,
        env={"PYTHONPATH": str(tmp_path), "PATH": "/usr/bin:/bin"},
        capture_output=True,
        text=True,
        check=True,
    )
    shown = {line.split()[0]: line.split()[1:] for line in done.stdout.splitlines()}
    assert shown == {
        "extension": ["True", "True", "False"],
        "names": ["True", "False", "False"],  # a name's comment has no room for arguments
        "functions": ["True", "True", "False"],
        "guide": ["True", "True", "False"],
        "page": ["True", "True", "False"],
    }
