"""What is broken in a log: named by check, put right by mend, and what is typed stays."""

from __future__ import annotations

import re
import shutil
import zipfile
from collections.abc import Callable
from pathlib import Path

import pytest
from click.testing import CliRunner

from tests.support.office import Office
from tests.test_check import clean
from workbook_tools.cli.main import cli
from workbook_tools.layout import case_log
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.broken_formulas import broken_formulas
from workbook_tools.log.checking.log_check import Finding, check_log
from workbook_tools.log.checking.reading import read_log
from workbook_tools.log.merging.merging_files import merge_files
from workbook_tools.log.merging.recomputing import agree
from workbook_tools.log.upgrading.log_upgrade import upgrade
from workbook_tools.log.upgrading.mending import mend
from workbook_tools.xlsx.editing.workbook_edit import WorkbookEdit

LOG = case_log()
OLDER = Path(__file__).parent / "older"
ROWS = 8
DRUG = LOG.tables["baths"].letters["drug"]
Parts = dict[str, bytes]

# By hand, from the typed cells of `clean`: 400 L x 80 mg/L = 32,000 mg of a pure product; buffer twice its weight
DRUG_GRAMS, BUFFER_GRAMS = 32.0, 64.0


def made(folder: Path) -> Path:
    path = folder / "log.xlsx"
    path.write_bytes(build_log(LOG, clean(), rows=ROWS))
    return path


def typed(path: Path) -> dict[str, list[dict[str, object]]]:
    return read_log(path, LOG).data()


def changed(path: Path, change: Callable[[Parts], None]) -> Path:
    """A log with parts changed as another program, or a hand, may leave them."""
    with zipfile.ZipFile(path) as source:
        parts = {name: source.read(name) for name in source.namelist()}
    before = dict(parts)
    change(parts)
    assert parts != before
    with zipfile.ZipFile(path, "w", zipfile.ZIP_DEFLATED) as target:
        for name, content in parts.items():
            target.writestr(name, content)
    return path


def sheet_part(parts: Parts, name: str) -> str:
    number = re.search(rf'<sheet [^>]*name="{name}"[^>]*r:id="([^"]+)"'.encode(), parts["xl/workbook.xml"])
    assert number is not None
    relations = parts["xl/_rels/workbook.xml.rels"]
    tag = next(tag for tag in re.findall(rb"<Relationship [^>]*>", relations) if b'"' + number[1] + b'"' in tag)
    target = re.search(rb'Target="/?(?:xl/)?([^"]+)"', tag)
    assert target is not None
    return f"xl/{target[1].decode()}"


def replaced(parts: Parts, sheet: str, pattern: str, new: str, times: int = 1) -> None:
    part = sheet_part(parts, sheet)
    content, number = re.subn(pattern.encode(), new.encode(), parts[part], count=times)
    assert number == times, (sheet, pattern, number)
    parts[part] = content


def into_row_above(parts: Parts) -> None:
    """The dose of the drug's formula comes from another row, as after its cell was cut."""
    dose = LOG.tables["baths"].letters["start_dose"]
    replaced(parts, "Baths", rf"(<f[^>]*ref=\"{DRUG}6[^>]*>)(.*?)</f>", "MARK")
    part = sheet_part(parts, "Baths")
    parts[part] = parts[part].replace(b"MARK", f'<f>IF(${dose}7="","",${dose}7)</f>'.encode())


def gone(parts: Parts) -> None:
    replaced(parts, "Baths", r"Vessels!\$W:\$W", "#REF!")


def no_formulas_in_row_7(parts: Parts) -> None:
    part = sheet_part(parts, "Baths")
    row = re.search(rb'<row r="7".*?</row>', parts[part], re.DOTALL)
    assert row is not None
    parts[part] = parts[part].replace(row[0], re.sub(rb"<f[^>]*?/>|<f[^>]*>.*?</f>|<v></v>", b"", row[0]))


def typed_over(parts: Parts) -> None:
    replaced(parts, "Baths", rf'(<c r="{DRUG}7"[^>]*?)( t="str")?><f[^>]*?/>(<v>[^<]*</v>)?', r"\1><v>99</v>")


def no_column_formulas(parts: Parts) -> None:
    for name in [name for name in parts if name.startswith("xl/tables/")]:
        parts[name] = re.sub(
            rb"<calculatedColumnFormula.*?</calculatedColumnFormula>", b"", parts[name], flags=re.DOTALL
        )


def lost_list(parts: Parts) -> None:
    name = re.compile(rb'(<definedName name="choices_vessels"[^>]*>)[^<]*<')
    parts["xl/workbook.xml"] = name.sub(rb"\1#REF!<", parts["xl/workbook.xml"])


def small_letters(parts: Parts) -> None:
    parts["xl/workbook.xml"] = parts["xl/workbook.xml"].replace(b"_xlfn.LAMBDA", b"_xlfn.lambda")


def hidden_in_plan(parts: Parts) -> None:
    """IFERROR hides it: the sheet shows a blank."""
    replaced(parts, "Plan", r"Baths!\$H:\$H", "#REF!")


def rule_gone(parts: Parts) -> None:
    replaced(parts, "Baths", r"<formula1>choices_vessels</formula1>", "<formula1>#REF!</formula1>")


BREAKS = {
    "formula-changed": into_row_above,
    "formula-broken": gone,
    "formula-lost": no_formulas_in_row_7,
    "typed-over": typed_over,
    "column-formula-lost": no_column_formulas,
    "list-lost": lost_list,
    "name-broken": small_letters,
    "formula-broken ": hidden_in_plan,
    "rule-broken": rule_gone,
}


def of_formulas(path: Path) -> list[Finding]:
    codes = {code.strip() for code in BREAKS} | {"row-outside-table", "result-differs", "rule-missing"}
    return [finding for finding in check_log(path, LOG).findings if finding.code in codes]


@pytest.mark.parametrize("code", BREAKS)
def test_what_is_broken_is_named_and_put_right(code: str, tmp_path: Path) -> None:
    path = made(tmp_path)
    before = typed(path)
    assert of_formulas(path) == []
    changed(path, BREAKS[code])
    assert code.strip() in {finding.code for finding in of_formulas(path)}
    done, backup = mend(path, LOG)
    assert done.content is not None
    assert backup is not None
    assert backup.is_file()
    assert of_formulas(path) == []
    assert typed(path) == before
    assert mend(path, LOG) == (type(done)(), None)  # a second time nothing is to mend
    row = read_log(path, LOG, results=True).tables["baths"].stored[0]
    assert (row["drug"], row["buffer"]) == (DRUG_GRAMS, BUFFER_GRAMS)


def test_a_log_that_is_whole_is_left_as_it_is(tmp_path: Path) -> None:
    path = made(tmp_path)
    before = path.read_bytes()
    assert broken_formulas(WorkbookEdit(before), LOG) == []
    said = CliRunner().invoke(cli, ["mend", str(path)])
    assert (said.exit_code, said.output) == (0, f"{path}: nothing is broken; nothing was changed.\n")
    assert path.read_bytes() == before
    assert [file.name for file in tmp_path.iterdir()] == ["log.xlsx"]


def test_after_libreoffice_has_saved_it(tmp_path: Path, office: Office) -> None:
    """Column formulas and functions by name, which LibreOffice does not write, are back; other spellings are none."""
    path = office.convert(made(tmp_path), tmp_path / "saved.xlsx", "xlsx")
    before = typed(path)
    assert {finding.code for finding in of_formulas(path)} == {"column-formula-lost", "name-broken"}
    mend(path, LOG)
    assert of_formulas(path) == []
    assert typed(path) == before
    again = office.convert(path, tmp_path / "again.xlsx", "xlsx")
    size = path.stat().st_size
    mend(again, LOG)
    assert again.stat().st_size < 1.02 * size  # rules and notices do not pile up


def test_an_inserted_row_gets_an_id_and_its_formulas(tmp_path: Path) -> None:
    """The row is filled but for its id, as after inserting one in a program that fills nothing in by itself."""
    path = made(tmp_path)

    def insert(parts: Parts) -> None:
        no_formulas_in_row_7(parts)
        replaced(parts, "Baths", r'<c r="A7"[^>]*>.*?</c>', "")

    changed(path, insert)
    before = typed(path)["baths"]
    assert before[1]["bath"] is None
    done, _ = mend(path, LOG)
    assert "Baths row 7: the new id B009; it had none." in done.changes  # B001 to B008 are there or given ahead
    after = typed(path)["baths"]
    assert after[1] == before[1] | {"bath": "B009"}
    assert not [f for f in check_log(path, LOG).findings if f.sheet == "Baths" and f.severity == "fault"]


def test_a_merge_mends_on_its_way(tmp_path: Path) -> None:
    import datetime

    path = changed(made(tmp_path), no_column_formulas)
    copy = tmp_path / "copy.xlsx"
    copy.write_bytes(build_log(LOG, clean(), rows=ROWS))
    done = merge_files(path, [copy], LOG, datetime.datetime(2026, 3, 1))
    assert any(note.say.startswith("Mended on the way: Sites, Vessels") for note in done.merged.remarks)
    merged = tmp_path / "merged.xlsx"
    merged.write_bytes(done.content)
    assert of_formulas(merged) == []


@pytest.mark.parametrize("name", ["layout-2", "layout-2-rows-inserted"])
def test_a_log_of_the_version_before(name: str, tmp_path: Path) -> None:
    """Built by version 2; into the second one rows were inserted above the first vessel and below the first bath, so
    that its bath's 400 L were looked up a row too high."""
    path = tmp_path / "log.xlsx"
    shutil.copy(OLDER / f"{name}.xlsx", path)
    old = read_log(path, case_log())  # columns that version 2 did not have are missing
    done, backup = upgrade(path, LOG)
    assert (done.before, done.after) == ("2", "3")
    assert backup is not None
    checked = check_log(path, LOG)
    assert [finding for finding in checked.findings if finding.severity == "fault"] == []
    for key, read in old.tables.items():
        if read.table.log:
            now = [
                {name: row[name] for name in before}
                for row, before in zip(checked.log.tables[key].rows, read.rows, strict=True)
            ]
            assert now == read.rows
    (bath, *_) = read_log(path, LOG, results=True).tables["baths"].stored
    assert (bath["drug"], bath["buffer"]) == (DRUG_GRAMS, BUFFER_GRAMS)
    assert mend(path, LOG)[0].content is None


def test_a_result_is_stored_anew_where_it_is_off_by_more_than_a_billionth() -> None:
    assert agree(3.2, 3.2 * (1 + 1e-10))
    assert not agree(3.2, 3.2 * (1 + 1e-8))
    assert not agree(0.0, 1e-12)
    assert not agree("3.2", 3.2)
