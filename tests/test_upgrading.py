"""A log of layout 1 brought to the next layout: what a person typed and added stays, and all of it computes."""

from __future__ import annotations

import io
import json
import subprocess
import sys
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import openpyxl
import pytest
from lxml import etree

from tests.support.first_version import first_log, first_version
from tests.support.kitchen_sink import DIARY, OFFICE, with_everything
from tests.support.next_layout import next_layouts
from tests.support.office import Office
from tests.test_built_files import Package
from tests.test_check import ROWS, clean, day
from tests.test_editing import MAIN, cells, changed, complaints, parts
from workbook_tools.errors import EditError, NameTakenError, ReadError
from workbook_tools.layout import Layout
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.log_check import check_log
from workbook_tools.log.checking.reading import read_log
from workbook_tools.log.upgrading import log_upgrade
from workbook_tools.log.upgrading.log_upgrade import Upgrade, upgrade, upgraded
from workbook_tools.xlsx.addresses import letter
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit

Data = dict[str, list[dict[str, Any]]]


@pytest.fixture(scope="module")
def following(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Layout]:
    """The next layout, as the program's own while a test of this module runs."""
    with next_layouts(tmp_path_factory.mktemp("layouts")) as layout:
        yield layout


@pytest.fixture
def log(tmp_path: Path, following: Layout) -> Path:
    """A filled log of layout 1 to which a person has added about everything."""
    path = tmp_path / "River farm.xlsx"
    path.write_bytes(with_everything(first_log(clean(), ROWS)))
    return path


def put(path: Path, *puts: tuple[str, int, int, object]) -> None:
    """Type into a log, past every rule."""
    edit = WorkbookEdit(path.read_bytes())
    for sheet, row, column, value in puts:
        edit.put(sheet, row, column, value, replace=True)
    path.write_bytes(edit.content())


def write(path: Path, done: Upgrade) -> Path:
    assert done.content is not None
    path.write_bytes(done.content)
    return path


def computed_alike(path: Path, office: Office) -> int:
    """Hold every stored result against a spreadsheet program's own; how many there are."""
    package, shown = Package(path.read_bytes()), office.values(path)
    number = 0
    for sheet in package.sheets:
        for address, cell in package.cells(sheet).items():
            if cell.formula is not None and sheet != DIARY:
                found, wanted = shown[sheet].get(address, ""), cell.result
                if isinstance(wanted, float):
                    assert found == pytest.approx(wanted, rel=1e-9), (sheet, address)
                else:
                    assert found == (wanted or ""), (sheet, address)
                number += 1
    return number


def stored(path: Path, layout: Layout) -> dict[tuple[str, str, int], Any]:
    """Stored results and typed values by sheet, heading and row, but for the hidden positions on other sheets."""
    read = read_log(path, layout, results=True)
    found = {}
    for table in layout.log_tables():
        own = read.tables[table.key]
        for number, typed, results in zip(own.numbers, own.rows, own.stored, strict=True):
            for key, value in (typed | results).items():
                if table.by_key[key].kind != "position":
                    found[table.sheet, table.by_key[key].heading, number] = value
    return found


# ---------------------------------------------------------------------------------------------- what it becomes


def test_the_upgraded_log_is_the_log_of_today(log: Path, following: Layout, tmp_path: Path, office: Office) -> None:
    done = upgraded(log, following)
    new = write(tmp_path / "new.xlsx", done)
    assert (done.before, done.after, done.looks) == ("1", "2", ())
    assert done.changes == (
        "Stocks: new Harvested on, Days kept.",
        "Baths: new Times by, Room of vessel L.",
        "Lists: Purposes brought up to date.",
        "Lists: new table Time_kinds.",
        "Reference: new Kept in.",
        "Reference: Agents brought up to date.",
        "New sheet Stores.",
    )
    assert check_log(new, following).findings == []
    fresh = tmp_path / "fresh.xlsx"
    fresh.write_bytes(build_log(following, first_version(clean()), rows=ROWS))
    assert stored(new, following) == stored(fresh, following)
    assert computed_alike(new, office) > 3000
    assert complaints(new.read_bytes(), tmp_path) == []
    assert WorkbookEdit(new.read_bytes()).property("Layout version") == "2"
    built, made = Package(fresh.read_bytes()), Package(new.read_bytes())
    assert list(made.sheets) == [*built.sheets, DIARY]
    assert made.names().keys() == {*built.names(), "Slicer_Kind_of_site"}


def test_a_new_column_computes_and_checks(log: Path, following: Layout, tmp_path: Path, office: Office) -> None:
    new = write(tmp_path / "new.xlsx", upgraded(log, following))
    edit = WorkbookEdit(new.read_bytes())
    place = edit.tables()["Stocks"]
    put(new, ("Stocks", 6, place.column("Harvested on"), day(2026, 2, 1)), ("Baths", 6, 1, "B001"))
    edit = WorkbookEdit(new.read_bytes())
    edit.put("Stores", 6, 1, "L9")
    edit.put("Stores", 6, 2, "S02")
    new.write_bytes(edit.content())
    shown = office.values(new)
    assert shown["Stocks"][f"{letter(place.column('Days kept'))}6"] == -28  # 1 March to 1 February 2026
    assert shown["Stocks"]["M6"] == "Notice: harvested before it was counted."
    room = letter(edit.tables()["Baths"].column("Room of vessel L"))
    assert shown["Baths"][f"{room}6"] == 400  # T01: 200 x 50 x 40 cm
    assert shown["Stores"]["D6"] == "Reed pond"
    assert shown["Start"]["B24"] == 1
    codes = {finding.code for finding in check_log(new, following).findings}
    assert codes == {"harvest-before-count", "result-differs", "results-not-stored"}  # nobody has computed since


def test_a_new_columns_rules_and_looks(log: Path, following: Layout, tmp_path: Path) -> None:
    """As in a log built today, at the end of the table."""
    new = write(tmp_path / "new.xlsx", upgraded(log, following))
    fresh = io.BytesIO(build_log(following, first_version(clean()), rows=ROWS))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        made, built = openpyxl.load_workbook(io.BytesIO(new.read_bytes())), openpyxl.load_workbook(fresh)
    place = WorkbookEdit(new.read_bytes()).tables()["Stocks"]
    layout = following.tables["stocks"]
    for heading in ("Harvested on", "Days kept"):
        own, theirs = letter(place.column(heading)), layout.letters["harvested" if "on" in heading else "kept"]
        for row in (4, 5, 6, 7):
            for look in ("font", "fill", "border", "alignment", "number_format"):
                here, there = (getattr(book["Stocks"][f"{c}{row}"], look) for book, c in ((made, own), (built, theirs)))
                assert repr(here) == repr(there)
        assert made["Stocks"].column_dimensions[own].width == built["Stocks"].column_dimensions[theirs].width
        rules = [
            next(rule for rule in book["Stocks"].data_validations.dataValidation if f"{c}7" in rule.sqref)
            for book, c in ((made, own), (built, theirs))
        ]
        for part in ("type", "operator", "formula1", "formula2", "error", "prompt", "errorTitle", "promptTitle"):
            assert getattr(rules[0], part) == getattr(rules[1], part)


# -------------------------------------------------------------------------------------------------- nothing is lost


def test_what_a_person_added_keeps_its_bytes(log: Path, following: Layout) -> None:
    done = upgraded(log, following)
    assert done.content is not None
    touched = changed(log.read_bytes(), done.content)
    kept = {
        name
        for name in parts(log.read_bytes())
        if name.startswith(("customXml/", "xl/drawings/", "xl/charts", "xl/media", "xl/slicer", "xl/persons", "xl/thr"))
        or name.startswith(
            ("xl/printerSettings", "xl/comments", "xl/worksheets/sheet99", "xl/worksheets/_rels/sheet99")
        )
    }
    assert len(kept) == 16
    assert not kept & touched
    old, new = cells(log.read_bytes()), cells(done.content)
    assert new[DIARY] == old[DIARY]
    own = old["Sites"][4].index("Colour of gate")
    assert [row[own] for row in new["Sites"][:8]] == [row[own] for row in old["Sites"][:8]]
    links = parts(done.content)["xl/worksheets/_rels/sheet7.xml.rels"].decode()
    assert all(kind in links for kind in ("comments", "vmlDrawing", "threadedComment", "printerSettings", "table"))
    assert "Sites!$A$6:$A$9" in parts(done.content)["xl/worksheets/sheet99.xml"].decode()
    assert done.content == upgraded(log, following).content


def package_formula(path: Path, sheet: str, heading: str) -> str:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(path.read_bytes()))
    place = WorkbookEdit(path.read_bytes()).tables()[sheet]
    return str(book[sheet][f"{letter(place.column(heading))}6"].value)


def test_cells_that_were_typed_over_stay(log: Path, following: Layout, tmp_path: Path) -> None:
    put(log, ("Stocks", 6, 10, 55), ("Stocks", 7, 10, "unknown"))
    done = upgraded(log, following)
    new = write(tmp_path / "new.xlsx", done)
    assert [cells(new.read_bytes())["Stocks"][row][9] for row in (5, 6)] == [55, "unknown"]
    assert done.looks == (
        "Stocks!J6 (Biomass kg) is typed over; it was left as it is.",
        "Stocks!J7 (Biomass kg) is typed over; it was left as it is.",
    )
    assert package_formula(new, "Stocks", "Density kg/m3").startswith("=IF(")
    assert {finding.cell for finding in check_log(new, following).findings} >= {"Stocks!J6", "Stocks!J7"}


def test_a_persons_cells_that_share_our_formula(log: Path, following: Layout, tmp_path: Path, office: Office) -> None:
    """A cell below the table, as a fill handle leaves it."""
    edit = WorkbookEdit(log.read_bytes())
    rows = edit.rows("Stocks")
    row = rows.edit(30)
    model = rows.peek(8)
    assert model is not None
    from workbook_tools.xlsx.editing.sheet_rows import copied

    cell = copied(model.cells[10])
    cell.set("r", "J30")
    row.set_cell(10, cell)
    edit.put("Stocks", 30, 7, 10)
    edit.put("Stocks", 30, 8, 500)
    log.write_bytes(edit.content())
    new = write(tmp_path / "new.xlsx", upgraded(log, following))
    assert office.values(new)["Stocks"]["J30"] == 5  # kg: 10 x 500 g


def test_words_on_sheets_that_are_put_anew(log: Path, following: Layout, tmp_path: Path) -> None:
    """The Start sheet has one line more now: what stood beside that line becomes a note, all else stays in its cell."""
    edit = WorkbookEdit(log.read_bytes())
    edit.put("Start", 2, 6, "Call the co-op")
    edit.put("Start", 8, 1, "4  At the tank: take the spare lid as well.")
    edit.put("Summary", 7, 20, 12.5)
    edit.remark("Start", 6, 1, "asked on the phone")
    etree.SubElement(edit.rows(DIARY).edit_cell(9, 1), f"{MAIN}f").text = "Summary!B7+1"
    log.write_bytes(edit.content())
    done = upgraded(log, following)
    new = write(tmp_path / "new.xlsx", done)
    found = cells(new.read_bytes())
    assert found["Start"][1][5] == "Call the co-op"
    assert found["Summary"][6][19] == 12.5
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(new.read_bytes()))
    assert book["Start"]["A6"].comment.text == "asked on the phone"
    assert book["Start"]["A8"].comment.text.endswith("4  At the tank: take the spare lid as well.")
    assert len(done.looks) == 2
    assert done.looks[1].startswith("the sheet Pond diary: points to cells of the Summary sheet, which may have moved")
    assert done.looks[0].startswith("Start!A8 held '4  At the tank: take the spare lid as well.'")


def test_lists_and_reference_rows_that_a_person_changed(log: Path, following: Layout, tmp_path: Path) -> None:
    edit = WorkbookEdit(log.read_bytes())
    agents, purposes = edit.tables()["Agents"], edit.tables()["Purposes"]
    species = edit.tables()["Species_list"]
    edit.put("Lists", species.first_row + 7, species.first_column, "pike")
    edit.put("Lists", purposes.first_row + 1, purposes.first_column, "sudden losses")
    edit.put("Reference", agents.first_row + 1, agents.column("Caution"), "my own words")
    own = agents.first_row + 4
    edit.put("Reference", own, agents.column("Agent listed"), "my agent")
    log.write_bytes(edit.content())
    new = write(tmp_path / "new.xlsx", upgraded(log, following))
    read = read_log(new, following)
    assert [row["value"] for row in read.tables["species"].rows][-1] == "pike"
    offered = [row["value"] for row in read.tables["purposes"].rows]
    assert offered == [
        *("routine check", "sudden losses", "before a sale", "follow-up", "advice", "emergency", "teaching"),
    ]
    by_name = {row["agent"]: row for row in read.tables["agents"].rows}
    first = read.tables["agents"].rows[0]
    assert first["caution"].endswith(" Mind the lid.")
    assert read.tables["agents"].rows[1]["caution"] == "my own words"
    assert (by_name["my agent"]["store_unit"], by_name["salt"]["store_unit"]) == (None, "tin")
    assert by_name["salt"]["caution"] == "Invented for a test."


def test_rules_of_the_persons_own_stay_and_ours_that_were_taken_off_stay_off(
    log: Path, following: Layout, tmp_path: Path
) -> None:
    edit = WorkbookEdit(log.read_bytes())
    rows = edit.rows("Stocks")
    group = rows.child("dataValidations")
    own = group[7]  # on the mean weight
    assert own.get("promptTitle") == "Mean weight g"
    own.set("promptTitle", "Weigh ten")
    own.set("errorTitle", "Weigh ten")
    group.remove(group[6])  # on the number of fish
    rows.frame(change=True)
    log.write_bytes(edit.content())
    new = write(tmp_path / "new.xlsx", upgraded(log, following))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        book = openpyxl.load_workbook(io.BytesIO(new.read_bytes()))
    rules = book["Stocks"].data_validations.dataValidation
    assert [rule.promptTitle for rule in rules if "H7" in rule.sqref] == ["Weigh ten"]
    assert [rule.promptTitle for rule in rules if "G7" in rule.sqref] == []
    assert len([rule for rule in rules if "F7" in rule.sqref]) == 1
    computed = [rule for rule in rules if "J7" in rule.sqref]
    assert [rule.errorTitle for rule in computed] == ["Computed cell"]


def test_a_column_of_the_persons_own_by_a_new_name_is_taken_over(log: Path, following: Layout, tmp_path: Path) -> None:
    place = WorkbookEdit(log.read_bytes()).tables()["Stocks"]
    edit = WorkbookEdit(log.read_bytes())
    from workbook_tools.xlsx.editing.workbook_edit import NewColumn

    edit.append_columns("Stocks", [NewColumn("harvested ON", results=[day(2026, 5, 1)])])
    log.write_bytes(edit.content())
    new = write(tmp_path / "new.xlsx", upgraded(log, following))
    read = read_log(new, following, results=True)
    assert read.tables["stocks"].rows[0]["harvested"] == day(2026, 5, 1)
    assert read.tables["stocks"].letters["harvested"] == letter(place.last_column + 1)
    assert read.tables["stocks"].stored[0]["kept"] == 61  # 1 March to 1 May 2026


# --------------------------------------------------------------------------------------------------------- refusals


def test_a_log_of_today_is_untouched(following: Layout, tmp_path: Path) -> None:
    path = tmp_path / "log.xlsx"
    path.write_bytes(build_log(following, first_version(clean()), rows=ROWS))
    before = path.read_bytes()
    done, backup = upgrade(path, following)
    assert (done.content, done.changes, backup) == (None, (), None)
    assert path.read_bytes() == before
    assert list(tmp_path.iterdir()) == [path]


@pytest.mark.parametrize(
    ("version", "words"),
    [
        ("3", "is of layout 3, which is newer than this program knows (2). Update workbook-tools"),
        ("0", "is of layout '0', which this program does not know"),
        ("../../case-log", "which this program does not know"),
        ("1.5", "which this program does not know"),
    ],
)
def test_layouts_that_are_not_known(version: str, words: str, log: Path, following: Layout) -> None:
    edit = WorkbookEdit(log.read_bytes())
    edit.set_property("Layout version", version)
    log.write_bytes(edit.content())
    with pytest.raises(ReadError) as caught:
        upgrade(log, following)
    assert words in str(caught.value)
    assert log.read_bytes() == edit.content()
    assert list(log.parent.iterdir()) == [log]


def test_what_is_no_case_log(log: Path, following: Layout, tmp_path: Path) -> None:
    edit = WorkbookEdit(log.read_bytes())
    edit.set_property("Layout", "bench")
    log.write_bytes(edit.content())
    with pytest.raises(ReadError, match="does not say that it is a case log made by workbook-tools"):
        upgraded(log, following)
    with pytest.raises(ReadError, match="there is no such file"):
        upgraded(tmp_path / "gone.xlsx", following)
    (tmp_path / "text.xlsx").write_text("text")
    with pytest.raises(ReadError, match=r"is not an \.xlsx workbook"):
        upgraded(tmp_path / "text.xlsx", following)


def rename_heading(path: Path) -> None:
    edit = WorkbookEdit(path.read_bytes())
    place = edit.tables()["Fish"]
    edit.put("Fish", 5, place.column("Weight g"), "Weight in g")
    root = edit.package.tree(place.part, change=True)
    next(c for c in root.iter("{*}tableColumn") if c.get("name") == "Weight g").set("name", "Weight in g")
    path.write_bytes(edit.content())


def rename_sheet(path: Path) -> None:
    edit = WorkbookEdit(path.read_bytes())
    edit.package.tree(edit.package.workbook, change=True)
    edit.sheet_element("Fish").set("name", "Fishes")
    path.write_bytes(edit.content())


def take_a_name(path: Path) -> None:
    from workbook_tools.xlsx.editing.workbook_edit import NewColumn

    edit = WorkbookEdit(path.read_bytes())
    edit.append_columns("Stocks", [NewColumn("Days kept", results=[12])])
    path.write_bytes(edit.content())


def stand_beside(path: Path) -> None:
    edit = WorkbookEdit(path.read_bytes())
    edit.put("Stocks", 9, edit.tables()["Stocks"].last_column + 1, "my own")
    path.write_bytes(edit.content())


def own_sheet(path: Path) -> None:
    edit = WorkbookEdit(path.read_bytes())
    edit.package.tree(edit.package.workbook, change=True)
    edit.sheet_element(DIARY).set("name", "Stores")
    path.write_bytes(edit.content())


def own_table(path: Path) -> None:
    edit = WorkbookEdit(path.read_bytes())
    table = edit.package.read(edit.tables()["Sites"].part).replace(b'"Sites"', b'"Own_table"')
    kind = edit.package.content_type(edit.tables()["Sites"].part)
    edit.package.add("xl/tables/table90.xml", table, kind)
    edit.package.relate(edit.part_of("Summary"), f"{OFFICE}/table", "xl/tables/table90.xml")
    path.write_bytes(edit.content())


@pytest.mark.parametrize(
    ("spoil", "words"),
    [
        (own_sheet, "there is a sheet Stores of your own, a name that the new layout needs; rename yours."),
        (own_table, "Summary: has a table Own_table of your own; move it to another sheet, then try again."),
        (rename_heading, "the heading 'Weight g' is missing on Fish; was it renamed?"),
        (rename_sheet, "the sheet Fish is missing; was it renamed or deleted?"),
        (take_a_name, "Stocks has a column 'Days kept' of your own, which the new layout computes; rename yours."),
        (stand_beside, "something stands in T9, where Stocks needs room. Move it elsewhere"),
    ],
)
def test_what_a_person_has_to_mend_first(spoil: Any, words: str, log: Path, following: Layout) -> None:
    spoil(log)
    before = log.read_bytes()
    with pytest.raises(EditError) as caught:
        upgrade(log, following)
    assert words in str(caught.value)
    assert log.read_bytes() == before
    assert list(log.parent.iterdir()) == [log]


def test_a_name_of_ours_that_stands_for_something_else(log: Path, following: Layout) -> None:
    edit = WorkbookEdit(log.read_bytes())
    edit.set_name("BATH.MASS", "Sites!$A$1")
    log.write_bytes(edit.content())
    with pytest.raises(NameTakenError, match=r"uses BATH\.MASS for something else"):
        upgraded(log, following)


def test_a_result_that_would_lose_something_is_not_saved(
    log: Path, following: Layout, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The last look at what was typed, before anything is written."""
    run = log_upgrade.Renewal.run

    def careless(work: Any) -> None:
        run(work)
        work.edit.put("Fish", 6, 4, 1)

    monkeypatch.setattr(log_upgrade.Renewal, "run", careless)
    before = log.read_bytes()
    with pytest.raises(EditError, match=r"Fish!D6: would become 1\.0 instead of 310\.5; nothing was changed"):
        upgrade(log, following)
    assert log.read_bytes() == before


# ------------------------------------------------------------------------------------------------------------ saving

KILLS = """
import json, os, shutil, signal, sys
from pathlib import Path
from tests.support.next_layout import next_layouts
from workbook_tools.log.upgrading import log_upgrade
from workbook_tools.xlsx.opened import Opened

folder, log = Path(sys.argv[1]), Path(sys.argv[2])
old = log.read_bytes()


class Slow:
    # a file that takes what is written in many pieces, and may die at each
    def __init__(self, file, step):
        self.file, self.step = file, step

    def write(self, content):
        size = max(1, len(content) // 60)
        for start in range(0, len(content), size):
            self.file.write(content[start : start + size])
            self.file.flush()
            self.step()

    def __enter__(self):
        return self

    def __exit__(self, *_):
        self.file.close()

    def __getattr__(self, name):
        return getattr(self.file, name)


def dying(at, work, done, layout):
    count = 0

    def step(*_):
        nonlocal count
        count += 1
        if count == at:
            os.kill(os.getpid(), signal.SIGKILL)

    whole = os.fdopen
    os.fdopen = lambda *a, **k: Slow(whole(*a, **k), step)
    watched = ("open", "os.rename", "os.remove", "os.chmod", "shutil.copyfile", "shutil.copystat", "tempfile.mkstemp")
    sys.addaudithook(lambda event, _: step() if event in watched else None)
    log_upgrade.upgraded = lambda path, layout: done
    log_upgrade.upgrade(work, layout)


with next_layouts(folder) as layout:
    upgraded, known = log_upgrade.upgraded, {}

    def once(file, layout):  # the same bytes are brought up to date once: it takes seconds
        content = Opened.of(file).content
        if content not in known:
            known[content] = upgraded(file, layout)
        return known[content]

    log_upgrade.upgraded = once
    done = log_upgrade.upgraded(log, layout)
    found = []
    at = 0
    while True:
        at += 1
        place = log.parent / f"kill{at}"
        place.mkdir()
        work = Path(shutil.copy(log, place))
        child = os.fork()
        if child == 0:
            dying(at, work, done, layout)
            os._exit(0)
        _, status = os.waitpid(child, 0)
        killed = os.WIFSIGNALED(status)
        now = work.read_bytes()
        found.append([killed, "old" if now == old else "new" if now == done.content else "neither"])
        if not killed:
            break
        if at % 8 == 1:  # each takes as long as a whole upgrade
            log_upgrade.upgrade(work, layout)
            found[-1].append(work.read_bytes() == done.content)
        shutil.rmtree(place)
print(json.dumps(found))
"""


def test_the_process_killed_at_any_write_leaves_the_old_or_the_new_file(log: Path, tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-c", KILLS, str(tmp_path / "layouts"), str(log)],
        capture_output=True,
        text=True,
        check=False,
        timeout=900,
        cwd=Path(__file__).parents[1],
    )
    assert done.returncode == 0, done.stderr[-2000:]
    *killed, last = json.loads(done.stdout)
    assert len(killed) >= 50
    assert all(was_killed and state in ("old", "new") for was_killed, state, *_ in killed)
    again = [end[0] for _, _, *end in killed if end]
    assert len(again) >= 6
    assert all(again)
    assert {state for _, state, *_ in killed} == {"old", "new"} or killed[-1][1] == "old"
    assert last == [False, "new"]


def test_in_place_with_a_backup_or_into_another_file(log: Path, following: Layout) -> None:
    before = log.read_bytes()
    out = log.with_name("new.xlsx")
    _, backup = upgrade(log, following, out)
    assert (backup, log.read_bytes()) == (None, before)
    done, backup = upgrade(log, following)
    assert backup is not None
    assert backup.read_bytes() == before
    assert log.read_bytes() == done.content
    both = [parts(path.read_bytes()) for path in (log, out)]
    for one in both:
        one.pop("docProps/custom.xml")  # each log has a key of its own
    assert both[0] == both[1]
    with pytest.raises(OSError, match="is there already"):
        upgrade(backup, following, out)


COMMAND = """
import sys
from pathlib import Path
from tests.support.next_layout import next_layouts
import workbook_tools.cli.upgrade
from workbook_tools.cli import main
with next_layouts(Path(sys.argv.pop(1))):
    main()
"""


def test_the_command(log: Path, tmp_path: Path) -> None:
    def run(*words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-c", COMMAND, str(tmp_path / "layouts"), "upgrade", *words],
            capture_output=True,
            text=True,
            check=False,
            timeout=60,
            cwd=Path(__file__).parents[1],
        )

    before = log.read_bytes()
    done = run(str(log), "--out", str(log.with_name("new")), "--json")
    said = json.loads(done.stdout)
    assert (said["before"], said["after"], said["backup"]) == ("1", "2", None)
    assert log.read_bytes() == before
    done = run(str(log))
    assert done.returncode == 0, done.stderr
    first, *others = done.stdout.splitlines()
    assert first.startswith(f"{log} is of layout 2 now, before 1; the old file is kept as River farm.backup-")
    assert "  New sheet Stores." in others
    assert run(str(log)).stdout == f"{log} is of layout 2 already; nothing was changed.\n"
    assert run(str(log), "--quiet").stdout == ""
    gone = run("gone.xlsx")
    assert (gone.returncode, gone.stdout) == (2, "")
    assert "there is no such file" in gone.stderr
