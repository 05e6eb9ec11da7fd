"""The pages that people read: their commands run, their Python runs, their links and pictures are there."""

from __future__ import annotations

import doctest
import re
import shlex
from pathlib import Path
from urllib.parse import unquote

import pytest
from click.testing import CliRunner

from demo.practice import practice
from workbook_tools.cli.main import cli
from workbook_tools.layout import case_log
from workbook_tools.log.building.log_workbook import build_log

ROOT = Path(__file__).resolve().parent.parent
GUIDE = ROOT / "templates" / "guide"
PAGES = sorted([ROOT / "README.md", ROOT / "DEVELOPERS.md", *GUIDE.glob("*.md")])
PROSE = [page for page in PAGES if page.name != "functions.md"]  # which has the references, authors and journals
FILLED = (
    "Practice.xlsx",
    "My own sheet.xlsx",
    "Logs/River farm.xlsx",
)  # what the pages call a log; the demo's lies there
PROGRAMS = re.compile(r"(workbook-tools|python3?|pip|pytest|\.environments/\S+|[A-Z_]+=\S+) ")
# What must not run in a test, by how it begins, and why. A line that begins otherwise is run, or fails.
NOT_RUN = {
    "pip install": "changes the environment that the tests run in",
    "python3 tests/run.py": "runs these tests",
    "python3 tests/first_hour.py": "makes environments and takes minutes; tests/test_packaging.py tries the package",
    "python3 tests/try_package.py": "makes environments and takes minutes; tests/test_packaging.py tries the package",
    "python3 tests/ready_files.py": "writes files of this checkout; tests/test_ready_files.py compares them",
    "python -m workbook_tools": "is a name for all commands; tests/test_commands.py calls one by it",
    "python3 demo/run.py": "has a test of its own, tests/test_year.py, and makes an environment",
    "python3 demo/pictures.py": "writes the pictures of this checkout, and makes an environment",
    "workbook-tools extension functions.oxt --install": "changes the LibreOffice of whoever runs the tests",
    ".environments/tests/bin/python tests/benchmarks/": "measures time, which no test does",
    ".environments/tests/bin/python -m workbook_tools.functions.quantities.unit_table_writer": "writes a module",
    "python3 -m tests.support.write_what_you_type": "writes a page of this checkout",
    "python3 tests/reliability.py": "writes a page of this checkout, and takes minutes",
    ".environments/tests/bin/python -m tests.faults.run": "takes minutes; tests/faults has its tests",
    ".environments/tests/bin/python -m tests.row_operations": "takes minutes; tests/test_row_operations.py tries some",
    "python -m tests.support.hostile": "takes minutes; tests/test_hostile.py tries the same files",
    "python -m tests.fuzz.": "takes minutes; tests/test_fuzz.py has its tests",
    ".environments/tests/bin/python -m tests.licences": "writes a page of this checkout",
    ".environments/tests/bin/python -m pytest": "runs these tests",
    "WORKBOOK_TOOLS_PRACTICES=200 pytest": "takes minutes; CI runs the same tests over fewer practices",
    "workbook-tools guide templates/guide/": "writes pages of this checkout; tests/test_guides.py compares them",
}
# Words with a capital inside a sentence that are neither ours nor the spreadsheet's: programs of general use, units,
# places, sources. A name that is none of these does not belong on a page: neither a brand nor a program of the trade.
NAMES = {
    *("Excel", "LibreOffice", "Calc", "Python", "Windows", "Dask", "DuckDB", "Parquet"),
    *("Gnumeric", "HyperFormula", "Node"),  # engines of the tests
    *("Celsius", "Fahrenheit", "Monday", "Summerfelt", "United", "States", "Kingdom", "Schedule"),
    *(
        "IFs",
        "None",
        "Refresh",
        "Merge",
        "Daily",
        "Bench",
        "Sampling",
        "Text",
        "English",
        "German",
        "Ctrl",
    ),  # of files, sheets and menus
}
WORD_OF_A_NAME = re.compile(r"(?<=[a-z,;] )[A-Z][\w-]*[a-z][\w-]*")


def fenced(text: str) -> list[tuple[str, str]]:
    """Language and body of each fenced block."""
    return re.findall(r"^```(\w*)\n(.*?)^```$", text, re.MULTILINE | re.DOTALL)


def code(text: str) -> list[tuple[str, bool]]:
    """The lines of fenced blocks, and what is marked as code inside a line, in their order; whether fenced."""
    found = []
    for block, inline in re.findall(r"^```\w*\n(.*?)^```$|`([^`\n]+(?:\n[^`\n]+)?)`", text, re.MULTILINE | re.DOTALL):
        lines = block.splitlines() if block else [" ".join(inline.split())]
        found += [(line.split("  #")[0].strip(), bool(block)) for line in lines]
    return found


def commands(text: str) -> list[str]:
    """The command lines of a page in their order. Inside a line the mere name of a command is none."""
    return [line for line, block in code(text) if PROGRAMS.match(line) and (block or len(line.split()) > 2)]


class Folder:
    """A folder with the demo's log under the names that the pages use; a line that has run is not run again."""

    def __init__(self, path: Path, filled: bytes) -> None:
        self.path, self.filled = path, filled
        self.done: set[str] = set()
        for name in FILLED:
            (path / name).parent.mkdir(exist_ok=True)
            (path / name).write_bytes(filled)

    def run(self, line: str) -> None:
        assert line.startswith("workbook-tools "), f"{line}: neither run nor listed with a reason"
        if line in self.done:
            return
        words = shlex.split(line)[1:]
        making = words[:2] == ["new", "log"]
        if making:
            (self.path / words[2]).unlink(missing_ok=True)
        done = CliRunner().invoke(cli, words)
        assert done.exit_code in (0, 1), f"{line}\n{done.output}"
        assert done.exception is None or isinstance(done.exception, SystemExit), f"{line}\n{done.exception!r}"
        if making:  # and in the meantime somebody filled it
            (self.path / words[2]).write_bytes(self.filled)
        self.done.add(line)


@pytest.fixture(scope="session")
def filled() -> bytes:
    return build_log(case_log(), practice())


@pytest.fixture(scope="session")
def folder(tmp_path_factory: pytest.TempPathFactory, filled: bytes) -> Folder:
    return Folder(tmp_path_factory.mktemp("pages"), filled)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_commands_of_a_page_run(page: Path, folder: Folder, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(folder.path)
    for line in commands(page.read_text(encoding="utf-8")):
        if not line.startswith(tuple(NOT_RUN)):
            folder.run(line)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_subcommands_that_a_page_names_exist(page: Path) -> None:
    for line, _ in code(page.read_text(encoding="utf-8")):
        for name in re.findall(r"workbook-tools ([a-z]+)", line):
            assert name in cli.commands, name


def test_what_is_not_run_stands_on_some_page() -> None:
    lines = [line for page in PAGES for line in commands(page.read_text(encoding="utf-8"))]
    assert [start for start in NOT_RUN if not any(line.startswith(start) for line in lines)] == []
    assert sum(not line.startswith(tuple(NOT_RUN)) for line in lines) > 25


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_python_of_a_page_runs(page: Path, filled: bytes, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    blocks = [body for language, body in fenced(page.read_text(encoding="utf-8")) if language == "python"]
    assert all(">>> " in body for body in blocks), "write Python as a session, with the answers"
    monkeypatch.chdir(tmp_path)
    (tmp_path / "Practice.xlsx").write_bytes(filled)
    test = doctest.DocTestParser().get_doctest("\n".join(blocks), {}, page.name, str(page), 0)
    said: list[str] = []
    doctest.DocTestRunner().run(test, out=said.append)
    assert not said, "".join(said)


def test_some_page_has_python() -> None:
    assert "```python" in (GUIDE / "your-data.md").read_text(encoding="utf-8")


@pytest.mark.parametrize("page", PAGES, ids=lambda page: str(page.relative_to(ROOT)))
def test_links_and_pictures_are_there(page: Path) -> None:
    text = re.sub(r"^```.*?^```$", "", page.read_text(encoding="utf-8"), flags=re.MULTILINE | re.DOTALL)
    for target in re.findall(r"\]\(([^)\s]+)\)", text):
        assert not target.startswith("http"), target
        assert (page.parent / unquote(target.partition("#")[0])).exists(), target


def test_every_page_and_picture_is_reached() -> None:
    index = (GUIDE / "README.md").read_text(encoding="utf-8")
    assert {path.name for path in GUIDE.glob("*.md")} - {"README.md"} == set(re.findall(r"\]\(([\w-]+\.md)\)", index))
    shown = {Path(name).name for page in PAGES for name in re.findall(r"\]\((\S+\.png)\)", page.read_text("utf-8"))}
    assert {path.name for path in (ROOT / "demo" / "pictures").glob("*.png")} - shown <= {"bench.png"}


@pytest.mark.parametrize("page", PROSE, ids=lambda page: str(page.relative_to(ROOT)))
def test_no_other_name_stands_on_a_page(page: Path) -> None:
    assert names_in(page.read_text(encoding="utf-8")) == set()


def test_a_name_is_seen() -> None:
    assert names_in("We weigh it with a Quickscale, then. And we `Print` it in\nPython.") == {"Quickscale"}


def names_in(text: str) -> set[str]:
    """Names inside sentences that are not known; code is left out."""
    layout = case_log()
    ours = [sheet.name for sheet in layout.sheets] + [table.name for table in layout.tables.values()]
    ours += [column.heading for table in layout.tables.values() for column in table.columns]
    ours += [value.name for sheet in layout.sheets for pivot in sheet.pivots for value in pivot.values]
    ours += [text for sheet in layout.sheets for chart in sheet.charts for text in (chart.x_title, chart.y_title)]
    known = NAMES | {word for name in ours for word in re.findall(r"[A-Z][\w-]+", name)}
    plain = re.sub(r"^```.*?^```$|`[^`]*`", "", text, flags=re.MULTILINE | re.DOTALL).replace("\n", " ")
    return set(WORD_OF_A_NAME.findall(plain)) - known


def test_everything_private_is_named_on_the_page_about_data() -> None:
    text = " ".join((GUIDE / "your-data.md").read_text(encoding="utf-8").split())
    for table in case_log().tables.values():
        if table.private:
            assert f"{table.name}" in text
        for column in table.columns:
            if column.private and not table.private:
                assert f"{column.heading} ({table.sheet})" in text
