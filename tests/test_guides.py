"""The guides that the package writes: every column, every finding; and that no code of a finding lacks a row."""

from __future__ import annotations

import re
from html.parser import HTMLParser
from pathlib import Path

import pytest

import workbook_tools
from tests.support.codes import can_say, codes_of_layouts, codes_of_source
from tests.support.commands import run
from workbook_tools.functions.catalogue import entries
from workbook_tools.hosts import column_guide, finding_guide, guide, written
from workbook_tools.hosts.column_guide import ComputedFrom
from workbook_tools.layout import case_log
from workbook_tools.layout.advice import advices, rules
from workbook_tools.layout.expression_trees import parsed
from workbook_tools.layout.load import folder
from workbook_tools.log.merging.merged import REASONS

GUIDE = folder() / "guide"
GUIDES = {"functions": guide, "columns": column_guide, "findings": finding_guide}


@pytest.mark.parametrize("about", GUIDES)
def test_the_page_in_the_folder_is_what_the_command_writes(about: str, tmp_path: Path) -> None:
    made = tmp_path / f"{about}.md"
    run("guide", str(made), "--about", about)
    there = folder() / "guide" / f"{about}.md"
    told = f"write it anew: workbook-tools guide {there} --about {about} --replace"
    assert made.read_text(encoding="utf-8") == there.read_text(encoding="utf-8"), told


@pytest.mark.parametrize("about", GUIDES)
def test_markdown_and_html_hold_the_same_words(about: str) -> None:
    texts = Texts()
    texts.feed(GUIDES[about].page())
    assert texts.open == []
    assert sum(map(len, texts.found)) > 5000
    plain = re.sub(r"\\(.)|^#+ |^- |^\| | \|$|&lt;", lambda m: m[1] or ("<" if m[0] == "&lt;" else ""),
                   GUIDES[about].markdown(), flags=re.MULTILINE)  # fmt: skip
    for text in texts.found:
        assert text in plain


def test_the_command_says_what_it_can_write(tmp_path: Path) -> None:
    assert "functions, columns, findings" in re.sub(
        r"['\s]+", " ", run("guide", str(tmp_path / "a.md"), "--about", "fish", code=2).output.replace("'", "")
    )
    assert "ends in .md or .html" in run("guide", str(tmp_path / "a.txt"), "--about", "columns", code=2).output


def test_marks_of_markdown_in_a_text_stay_text() -> None:
    block = written.GuideTable(("a|b",), (("x*y_z <b> \\",),))
    assert written.markdown("T", [block]) == "# T\n\n| a\\|b |\n| --- |\n| x\\*y\\_z &lt;b> \\\\ |\n"
    assert "<td>x*y_z &lt;b&gt; \\</td>" in written.page("T", [block])


# ---------------------------------------------------------------------------------------------------- columns


def test_every_column_that_is_seen_stands_in_the_guide() -> None:
    text = column_guide.markdown()
    seen = 0
    for sheet in case_log().sheets:
        (part,) = re.findall(rf"^## {re.escape(sheet.name)}\n(.*?)(?=^## |\Z)", text, re.DOTALL | re.MULTILINE)
        assert sheet.purpose in part
        for table in sheet.tables:
            for column in table.columns:
                if table.log and not column.hidden:
                    (line,) = re.findall(rf"^\| {re.escape(column.heading)} \|.*$", part, re.MULTILINE)
                    private = column.private or table.private
                    assert line.endswith("| never |" if private else "| own site |"), line
                    assert ("must be there" in line) is (column.typed and column.required and not column.give), line
                    assert (column.help or "Computed") in line
                    if column.quantity is not None and column.typed:
                        assert column.quantity.allowed in line
                    seen += 1
                elif not table.log and not column.hidden:
                    assert column.heading in part
    assert seen > 200


def test_what_a_column_is_computed_from_is_what_a_person_sees() -> None:
    def of(table: str, key: str) -> ComputedFrom:
        found = ComputedFrom(case_log().tables[table], case_log())
        expression = case_log().tables[table].by_key[key].expression
        found.read(parsed(expression, key), found.home, found.home)
        return found

    assert of("baths", "drug").columns == ["Water dosed L", "Start dose mg/L", "Active share"]
    assert of("baths", "drug").functions == ["BATH.MASS"]
    assert of("fish", "agent").columns == ["Agent of the Baths sheet", "Fish bath"]
    running = of("losses", "running").columns  # a sum over rows of its own sheet
    assert sorted(running) == ["Day", "Losses stock", "Mean temperature C"]
    held = of("treatments", "hold_days").columns  # through columns that are kept out of sight
    assert {"Release after", "Degree days missing", "Day of the Losses sheet"} <= set(held)
    hidden = {c.heading for table in case_log().log_tables() for c in table.columns if c.hidden}
    for table in case_log().log_tables():
        for column in table.columns:
            if column.kind == "computed":
                named = {name.partition(" of the ")[0] for name in of(table.key, column.key).columns}
                assert named, (table.key, column.key)
                assert not named & hidden, (table.key, column.key, named)


# --------------------------------------------------------------------------------------------------- findings


def test_every_code_is_explained_and_every_explanation_has_a_code() -> None:
    source = codes_of_source()
    assert source.unreadable == [], "a code that this test cannot read: write it out where it is given"
    given = source.found.keys() | codes_of_layouts() | REASONS.keys()
    assert len(given) > 90
    assert given - advices().keys() == set(), "add a row to templates/findings.csv, then write the guide anew"
    assert advices().keys() - given == set(), "nothing says these any more: take the rows out"


def test_severity_and_example_are_those_of_the_source() -> None:
    source = codes_of_source().found
    for one in advices().values():
        if one.code in REASONS:
            assert one.severity == "conflict", one.code
        elif one.code not in rules():
            assert not source[one.code] or source[one.code] == {one.severity}, one.code
        if one.code not in rules():
            assert can_say(one.example), f"no text of the package says: {one.example}"


def test_a_sentence_that_nothing_says_is_seen() -> None:
    assert can_say("The sheet Water is missing; was it renamed or deleted?")
    assert not can_say("The sheet Water has gone missing; was it renamed or deleted?")


def test_groups_stand_together_and_each_code_has_its_heading() -> None:
    text = finding_guide.markdown()
    abouts = [one.about for one in advices().values()]
    assert len(re.findall(r"^## ", text, re.MULTILINE)) == len(set(abouts))
    assert re.findall(r"^### (.+)$", text, re.MULTILINE) == list(advices())
    assert text.count("- What to do: ") == text.count("- Says, for example: ") == len(advices())


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
        if data.strip() and self.open[-1] not in ("style", "title"):
            self.found.append(data)


def glossary() -> dict[str, list[tuple[str, ...]]]:
    """Rows of each table of the glossary page, by its heading."""
    found: dict[str, list[tuple[str, ...]]] = {}
    heading = ""
    for line in (GUIDE / "glossary.md").read_text(encoding="utf-8").splitlines():
        if line.startswith("## "):
            heading = line.removeprefix("## ")
        elif line.startswith("| ") and not line.startswith(("| Word", "| Argument")):
            found.setdefault(heading, []).append(tuple(cell.strip() for cell in line.strip("|").split("|")))
    return found


def test_the_glossary_has_every_argument_and_no_other() -> None:
    rows = glossary()["Arguments of the functions"]
    units: dict[str, set[str]] = {}
    for found in entries():
        for parameter in found.parameters:
            units.setdefault(f"`{parameter.name}`", set()).add(parameter.kind.unit or "word")
    assert [name.strip("`") for name, _, _ in rows] == sorted(name.strip("`") for name in units)
    for name, unit, meaning in rows:
        assert unit == "as what it is of" or set(unit.split(", ")) <= units[name], name
        assert meaning


def test_the_glossary_gives_each_word_one_meaning_and_every_word_is_in_use() -> None:
    tables = glossary()
    assert set(tables) == {"Of the trade", "Arguments of the functions", "Of the code"}
    words = [row[0] for rows in tables.values() for row in rows]
    assert len(words) == len(set(words)) > 100
    package = Path(workbook_tools.__file__).parent
    sources = [path.read_text(encoding="utf-8") for path in package.rglob("*.py")]
    sources += [path.read_text(encoding="utf-8") for path in GUIDE.parent.glob("*.toml")]
    text = "\n".join(sources).casefold()
    for row in tables["Of the trade"] + tables["Of the code"]:
        for word in row[0].split(", "):
            assert word.casefold() in text or word.replace("-", " ").casefold() in text, word
