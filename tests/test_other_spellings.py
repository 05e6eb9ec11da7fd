"""Workbooks that other programs spell in other ways, all of which the formats allow, are read as ours are."""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.support.commands import run
from tests.support.hostile import parts_of, zipped
from tests.test_check import clean
from workbook_tools.errors import ReadError
from workbook_tools.layout import case_log
from workbook_tools.log.building.log_workbook import build_log
from workbook_tools.log.checking.log_check import check_log
from workbook_tools.xlsx.reading import Archive, admitted
from workbook_tools.xlsx.reading.markup import double_quoted

Parts = dict[str, bytes]
ATTRIBUTE = re.compile(rb"""=("[^"'<>]*")""")


def in_apostrophes(parts: Parts) -> Parts:
    """Every attribute in single quotes, but for the declaration."""

    def tag(found: re.Match[bytes]) -> bytes:
        return ATTRIBUTE.sub(lambda value: b"='" + value[1][1:-1] + b"'", found[0])

    return {name: re.sub(rb"<[A-Za-z][^<>]*>", tag, content) for name, content in parts.items()}


def in_rels(parts: Parts, change: Callable[[str], str]) -> Parts:
    """Every target of a link changed."""

    def target(found: re.Match[bytes]) -> bytes:
        return b'Target="' + change(found[1].decode()).encode() + b'"'

    return {
        name: re.sub(rb'Target="([^"]*)"', target, content) if name.endswith(".rels") else content
        for name, content in parts.items()
    }


def relative(target: str) -> str:
    return target if target.startswith(("/", "..")) else f"./{target}"


SPELLINGS: dict[str, Callable[[Parts], Parts]] = {
    "apostrophes": in_apostrophes,
    "backslashes": lambda parts: {name.replace("/", "\\"): content for name, content in parts.items()},
    "backslashes in links": lambda parts: in_rels(parts, lambda target: target.replace("/", "\\")),
    "targets from here": lambda parts: in_rels(parts, relative),
    "names from here": lambda parts: {f"./{name}": content for name, content in parts.items()},
    "links in capitals": lambda parts: in_rels(parts, str.upper),
    "parts in capitals": lambda parts: {name.upper(): content for name, content in parts.items()},
}


@pytest.fixture(scope="module")
def log() -> bytes:
    rows = clean()
    rows["visits"][0]["date"] = "not a date"
    return build_log(case_log(), rows, rows=8)


@pytest.mark.parametrize("kind", SPELLINGS)
def test_another_spelling_has_the_same_findings(kind: str, log: bytes, tmp_path: Path) -> None:
    """192 findings rule-missing came of apostrophes; the others were refused."""
    plain, other = tmp_path / "plain.xlsx", tmp_path / "other.xlsx"
    plain.write_bytes(log)
    parts = parts_of(log)
    changed = SPELLINGS[kind](parts)
    assert changed != parts
    other.write_bytes(zipped(changed))
    wanted = [finding.as_dict() for finding in check_log(plain, case_log()).findings]
    assert len(wanted) >= 1
    assert [finding.as_dict() for finding in check_log(other, case_log()).findings] == wanted


def test_a_workbook_of_another_spelling_is_worked_on(log: bytes, tmp_path: Path) -> None:
    """Merged into and lent, which write its parts back."""
    path = tmp_path / "log.xlsx"
    path.write_bytes(zipped(SPELLINGS["backslashes"](parts_of(log))))
    plain = tmp_path / "plain.xlsx"
    plain.write_bytes(log)
    run("lend", str(path), "--out", str(tmp_path / "lent.xlsx"), "--mark", "T")
    assert len(parts_of((tmp_path / "lent.xlsx").read_bytes())) >= len(parts_of(log)) - 1
    done = run("merge", str(path), str(plain), "--out", str(tmp_path / "merged.xlsx"), "--json")
    assert json.loads(done.output)["added"] == []


@pytest.mark.parametrize("name", ["..\\outside.xml", "xl\\..\\..\\outside.xml", "\\outside.xml", "C:\\outside.xml"])
def test_a_name_that_leads_out_is_refused_whatever_its_strokes(name: str, log: bytes) -> None:
    with pytest.raises(ReadError, match="leads out of the file"):
        admitted("bad.xlsx", zipped(parts_of(log) | {name: b"x"}))


def test_two_parts_that_are_one_but_for_their_spelling_are_refused(log: bytes) -> None:
    with pytest.raises(ReadError, match="two parts"):
        admitted("bad.xlsx", zipped(parts_of(log) | {"XL\\workbook.xml": b"<a/>"}))


def test_a_file_in_usual_spelling_is_taken_as_it_is(log: bytes) -> None:
    assert Archive(log, "log").content is log


def test_attributes_in_double_quotes() -> None:
    assert double_quoted(b"""<a b = 'x "y"' c='z'>it's ='n'</a>""") == b"""<a b="x &quot;y&quot;" c="z">it's ='n'</a>"""
    plain = b'<a b="x">\'</a>'
    assert double_quoted(plain) is plain
