"""Names are put into a workbook without touching anything else in it."""

from __future__ import annotations

import re
import zipfile
from pathlib import Path

import openpyxl
import pytest
from openpyxl.workbook.defined_name import DefinedName
from openxml_audit import OpenXmlValidator

from workbook_tools.errors import NameTakenError, ReadError
from workbook_tools.functions.catalogue import entry
from workbook_tools.functions.quantities import Parameter, Quantity
from workbook_tools.functions.texts.lambda_names import lambda_text, names, parameter_word
from workbook_tools.functions.texts.worksheet_functions import FORMULA_LIMIT
from workbook_tools.hosts.workbook_names import put_names
from workbook_tools.xlsx.reading.limits import LARGEST_TREE

MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
RELATIONS = """<?xml version="1.0"?><Relationships xmlns="http://schemas.openxmlformats.org/package/2006/relationships">
<Relationship Id="rId1" Target="{target}"
 Type="http://schemas.openxmlformats.org/officeDocument/2006/relationships/officeDocument"/></Relationships>"""
PLAIN = f'<workbook xmlns="{MAIN}"><sheets><sheet name="A" sheetId="1"/></sheets><calcPr calcId="1"/></workbook>'
OTHER = b"\x00\x01 any bytes \xff"


def package(path: Path, workbook: str | bytes, target: str = "xl/workbook.xml") -> Path:
    """A package with a list of names as given, and other parts around it."""
    content = workbook.encode("utf-8") if isinstance(workbook, str) else workbook
    with zipfile.ZipFile(path, "w") as made:
        made.writestr(zipfile.ZipInfo("first.bin", (2001, 2, 3, 4, 5, 6)), OTHER)
        made.writestr("_rels/.rels", RELATIONS.format(target=target))
        made.writestr(zipfile.ZipInfo("xl/workbook.xml", (2002, 2, 3, 4, 5, 6)), content, zipfile.ZIP_DEFLATED)
        made.writestr(zipfile.ZipInfo("xl/last.xml", (2003, 2, 3, 4, 5, 6)), OTHER * 1000, zipfile.ZIP_DEFLATED)
    return path


def edited(tmp_path: Path, workbook: str | bytes) -> str:
    """The part with the names, after they were put in."""
    return edited_bytes(tmp_path, workbook).decode("utf-8")


def edited_bytes(tmp_path: Path, workbook: str | bytes) -> bytes:
    (tmp_path / "out.xlsx").write_bytes(put_names(package(tmp_path / "in.xlsx", workbook))[1])
    with zipfile.ZipFile(tmp_path / "out.xlsx") as made:
        return made.read("xl/workbook.xml")


def without_names(text: str) -> str:
    """A workbook part with our names taken out again, to see that nothing else changed."""
    ours = "|".join(re.escape(name.name) for name in names())
    return re.sub(rf'<(\w+:)?definedName name="({ours})"[^>]*>[^<]*</(\w+:)?definedName>', "", text)


def test_stored_spelling() -> None:
    """The spelling was worked out by hand from how Excel stores LAMBDA, LET and optional parameters."""
    assert lambda_text(entry("BATH.BUFFER")) == (
        "_xlfn.LAMBDA(_xlpm.drug,_xlop.ratio,_xlfn.LET(_xlpm.ratio_used,"
        "IF(_xlfn.ISOMITTED(_xlpm.ratio),2,IF(ISBLANK(_xlpm.ratio),2,_xlpm.ratio)),"
        "IF(AND(ISNUMBER(_xlpm.drug),ISNUMBER(_xlpm.ratio_used)),"
        "IF(AND(_xlpm.drug>0,_xlpm.drug<=1000000000,_xlpm.ratio_used>0,_xlpm.ratio_used<=100),"
        "_xlpm.drug*_xlpm.ratio_used,#NUM!),#VALUE!)))"
    )


def test_names_fit_what_a_workbook_holds() -> None:
    found = names()
    assert len({name.name for name in found}) == len(found) > 20
    for name in found:
        assert len(name.text) <= FORMULA_LIMIT
        assert 20 < len(name.comment) <= 255
        assert entry(name.name).words.summary[:60] in name.comment


@pytest.mark.parametrize(("name", "word"), [("co2", "co2_"), ("r", "r_"), ("c", "c_"), ("a", "a"), ("dose", "dose")])
def test_parameters_that_look_like_cells(name: str, word: str) -> None:
    assert parameter_word(Parameter(name, Quantity("any", "1", 0, 1))) == word


def test_everything_else_keeps_its_bytes_and_its_place(tmp_path: Path) -> None:
    before = package(tmp_path / "in.xlsx", PLAIN)
    (tmp_path / "out.xlsx").write_bytes(put_names(before)[1])
    with zipfile.ZipFile(before) as old, zipfile.ZipFile(tmp_path / "out.xlsx") as new:
        assert [info.filename for info in old.infolist()] == [info.filename for info in new.infolist()]
        for one, other in zip(old.infolist(), new.infolist(), strict=True):
            assert (one.date_time, one.compress_type) == (other.date_time, other.compress_type)
            assert (old.read(one) == new.read(other)) is (one.filename != "xl/workbook.xml")


def test_names_stand_where_the_standard_puts_them(tmp_path: Path) -> None:
    text = edited(tmp_path, PLAIN)
    assert without_names(text) == PLAIN.replace("</sheets>", "</sheets><definedNames></definedNames>")
    linked = PLAIN.replace(
        "</sheets>", '</sheets><externalReferences><externalReference id="r1"/></externalReferences>'
    )
    place = "</externalReferences><definedNames></definedNames><calcPr"
    assert place in without_names(edited(tmp_path, linked))


def test_other_names_and_unknown_elements_stay(tmp_path: Path) -> None:
    """Prefixes, extension elements, comments and odd but lawful spellings are kept to the letter."""
    kept = (
        '<x:definedName name="Species" comment="a &gt; b">Lists!$A$1:$A$9</x:definedName>'
        "<!-- <definedName name='BATH.MASS'>no</definedName> -->"
        '<x:definedName localSheetId="0" name="bath.mass">A!$A$1</x:definedName>'
        "<x:definedName name='Odd'><![CDATA[A!$B$2>1]]></x:definedName>"
    )
    workbook = (
        '<?xml version="1.0" encoding="UTF-8" standalone="yes"?>\r\n'
        f'<x:workbook xmlns:x="{MAIN}" xmlns:mc="http://schemas.openxmlformats.org/markup-compatibility/2006"'
        ' xmlns:z="urn:any" mc:Ignorable="z"><z:a b=">"><z:definedNames/></z:a><x:sheets><x:sheet name="A"/></x:sheets>'
        f"<x:definedNames>{kept}</x:definedNames><x:extLst><x:ext uri='{{1}}'><z:b/></x:ext></x:extLst></x:workbook>\n"
    )
    text = edited(tmp_path, workbook)
    assert without_names(text) == workbook
    assert text.count('<x:definedName name="BATH.MASS"') == 1


@pytest.mark.parametrize("empty", ["<definedNames/>", "<definedNames></definedNames>", '<definedNames a="/>" />'])
def test_an_empty_list_is_filled(tmp_path: Path, empty: str) -> None:
    text = edited(tmp_path, PLAIN.replace("</sheets>", f"</sheets>{empty}"))
    assert text.count("<definedName ") == len(names())
    assert text.count("</definedNames>") == 1


@pytest.mark.parametrize(
    "old",
    [
        "_xlfn.lambda(_xlpm.volume,_xlpm.dose,1)",
        "=_xlfn.LAMBDA(_xlpm.volume,_xlpm.dose,1)",
        "LAMBDA(volume,dose,1)",
        "#NAME?",
        "#REF!",
    ],
)
def test_a_spoilt_name_is_put_right(tmp_path: Path, old: str) -> None:
    """A save by LibreOffice spells `_xlfn.lambda` in lower case, which Excel does not read."""
    listed = f'<definedNames><definedName name="Bath.Mass">{old}</definedName><definedName name="Z">1</definedName>'
    text = edited(tmp_path, PLAIN.replace("</sheets>", f"</sheets>{listed}</definedNames>"))
    assert text.lower().count('name="bath.mass"') == 1
    assert old not in text
    assert '<definedName name="Z">1</definedName>' in text


def test_a_name_there_twice_is_there_once_afterwards(tmp_path: Path) -> None:
    one = '<definedName name="BATH.MASS">_xlfn.lambda(1)</definedName>'
    text = edited(
        tmp_path,
        PLAIN.replace(
            "</sheets>", f"</sheets><definedNames>{one}{one.replace('BATH.MASS', 'bath.mass')}</definedNames>"
        ),
    )
    assert text.lower().count('name="bath.mass"') == 1


def test_putting_names_in_again_changes_nothing(tmp_path: Path) -> None:
    once = edited_bytes(tmp_path, PLAIN)
    assert edited_bytes(tmp_path, once) == once


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "iso-8859-1"])
def test_other_encodings(tmp_path: Path, encoding: str) -> None:
    named = {"utf-8-sig": "UTF-8", "utf-16": "UTF-16", "iso-8859-1": "ISO-8859-1"}[encoding]
    workbook = f'<?xml version="1.0" encoding="{named}"?>' + PLAIN.replace('name="A"', 'name="Bächle"')
    content = edited_bytes(tmp_path, workbook.encode(encoding))
    assert without_names(content.decode(encoding)).replace("<definedNames></definedNames>", "") == workbook
    assert content[:3] == workbook.encode(encoding)[:3]


def test_a_name_that_means_something_else_is_left_and_told(tmp_path: Path) -> None:
    taken = '<definedNames><definedName name="BATH.MASS">A!$A$1</definedName></definedNames>'
    with pytest.raises(NameTakenError, match=r"BATH\.MASS") as caught:
        edited(tmp_path, PLAIN.replace("</sheets>", f"</sheets>{taken}"))
    assert caught.value.names == ("BATH.MASS",)


def test_what_openpyxl_writes_and_reads(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    book.defined_names["Species"] = DefinedName("Species", attr_text="Sheet!$A$1:$A$9")
    book.save(tmp_path / "in.xlsx")
    known, content = put_names(tmp_path / "in.xlsx")
    assert known == [name.name for name in names()]
    (tmp_path / "out.xlsx").write_bytes(content)
    read = openpyxl.load_workbook(tmp_path / "out.xlsx").defined_names
    assert set(read) == {"Species", *(name.name for name in names())}
    assert {name.name: read[name.name].attr_text for name in names()} == {name.name: name.text for name in names()}


BOMB = '<!DOCTYPE w [<!ENTITY a "ha"><!ENTITY b "&a;&a;&a;">]>' + PLAIN.replace('"A"', '"&b;"')
OUTSIDE = '<!DOCTYPE w [<!ENTITY a SYSTEM "file:///etc/hostname">]>' + PLAIN.replace('"A"', '"&a;"')


@pytest.mark.parametrize(
    ("workbook", "reason"),
    [
        (BOMB, "brings a document type of its own"),
        (OUTSIDE, "cannot be read"),
        (PLAIN[:-5], "cannot be read"),
        ("", "cannot be read"),
        (PLAIN.replace("workbook", "worksheet"), "not a workbook"),
        (PLAIN.replace(MAIN, "urn:other"), "not a workbook"),
        (f'<workbook xmlns="{MAIN}"/>', "has no sheets"),
        ('<?xml version="1.0" encoding="koi8-r"?>' + PLAIN, "encoding"),
    ],
)
def test_markup_that_no_spreadsheet_writes_is_refused(tmp_path: Path, workbook: str, reason: str) -> None:
    with pytest.raises(ReadError, match=reason):
        edited(tmp_path, workbook)
    assert not (tmp_path / "out.xlsx").exists()


@pytest.mark.parametrize("target", ["../../etc/passwd", "/xl/nowhere.xml", "http://example.invalid/workbook.xml", ""])
def test_a_main_part_that_is_not_there(tmp_path: Path, target: str) -> None:
    with pytest.raises(ReadError, match="has no part"):
        (tmp_path / "out.xlsx").write_bytes(put_names(package(tmp_path / "in.xlsx", PLAIN, target))[1])


def test_not_a_package(tmp_path: Path) -> None:
    (tmp_path / "in.xlsx").write_bytes(b"not a zip")
    with pytest.raises(ReadError, match=r"not an \.xlsx workbook"):
        (tmp_path / "out.xlsx").write_bytes(put_names(tmp_path / "in.xlsx")[1])
    with zipfile.ZipFile(tmp_path / "in.xlsx", "w") as made:
        made.writestr("a", "b")
    with pytest.raises(ReadError, match=r"has no part _rels/\.rels"):
        (tmp_path / "out.xlsx").write_bytes(put_names(tmp_path / "in.xlsx")[1])


def test_a_part_too_large_to_be_real(tmp_path: Path) -> None:
    with pytest.raises(ReadError, match="100 times are allowed"):
        edited(tmp_path, PLAIN + " " * LARGEST_TREE)


def test_a_damaged_package(tmp_path: Path) -> None:
    content = bytearray(package(tmp_path / "in.xlsx", PLAIN).read_bytes())
    place = content.find(OTHER)
    content[place] ^= 0xFF
    (tmp_path / "in.xlsx").write_bytes(content)
    with pytest.raises(ReadError, match="damaged"):
        (tmp_path / "out.xlsx").write_bytes(put_names(tmp_path / "in.xlsx")[1])
    assert not (tmp_path / "out.xlsx").exists()


def test_two_parts_of_one_name(tmp_path: Path) -> None:
    path = package(tmp_path / "in.xlsx", PLAIN)
    with zipfile.ZipFile(path, "a") as made, pytest.warns(UserWarning, match="Duplicate name"):
        made.writestr("xl/workbook.xml", PLAIN)
    with pytest.raises(ReadError, match="two parts"):
        (tmp_path / "out.xlsx").write_bytes(put_names(path)[1])


def test_the_workbook_itself_is_not_written(tmp_path: Path) -> None:
    path = package(tmp_path / "in.xlsx", PLAIN)
    before = path.read_bytes()
    put_names(path)
    assert path.read_bytes() == before


def test_a_schema_validator_finds_nothing_new(tmp_path: Path) -> None:
    openpyxl.Workbook().save(tmp_path / "in.xlsx")
    (tmp_path / "out.xlsx").write_bytes(put_names(tmp_path / "in.xlsx")[1])
    found = [OpenXmlValidator().validate(str(tmp_path / name)).errors for name in ("in.xlsx", "out.xlsx")]
    assert [str(error) for error in found[0]] == [str(error) for error in found[1]]
    assert not any("workbook.xml" in str(error.part_uri) for error in found[1])
