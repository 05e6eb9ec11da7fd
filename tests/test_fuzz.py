"""A bounded number of changed workbooks, with fixed seeds; `python -m tests.fuzz.run` tries as many as one likes."""

from __future__ import annotations

import pytest
from hypothesis import HealthCheck, given, settings, target
from hypothesis import strategies as st

from tests.fuzz.mutations import tiny
from tests.fuzz.run import fuzz
from tests.support.hostile import MAIN, zipped
from workbook_tools.errors import ReadError
from workbook_tools.xlsx.reading import Archive, admitted
from workbook_tools.xlsx.reading.sheet_extent import check_sheet

INPUTS = {"door": 2_000, "parts": 120, "reading": 15, "editing": 8, "sharing": 15}


@pytest.mark.parametrize(("name", "inputs"), INPUTS.items())
def test_changed_workbooks_are_taken_or_refused_in_words(name: str, inputs: int) -> None:
    done = fuzz(name, inputs, seed=20_260_701)
    assert done["faults"] == []
    assert done["taken"] + done["refused"] == inputs
    if name != "sharing":  # where a part that cannot be read is a hit
        assert done["refused"] > 0  # the changes do reach what is checked


CHANGE = st.tuples(st.integers(0, len(tiny()) - 1), st.binary(max_size=6), st.integers(0, 6))


@settings(derandomize=True, max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(st.lists(CHANGE, max_size=5))
def test_the_door_takes_or_refuses_any_bytes(changes: list[tuple[int, bytes, int]]) -> None:
    content = bytearray(tiny())
    for at, new, gone in changes:
        content[at : at + gone] = new
    reason = ""
    try:
        admitted("input", bytes(content))
    except ReadError as error:
        reason = error.reason
    target(float(len(reason)))
    if not reason:
        archive = Archive(bytes(content), "input")
        for name, entry in archive.entries.items():
            assert len(archive.read(name)) == entry.file_size


ROWS = st.lists(
    st.tuples(
        st.integers(1, 1_100_000),
        st.lists(
            st.tuples(st.sampled_from(("A", "Z", "AA", "ZZ", "AAA", "XFD", "XFE", "")), st.booleans()), max_size=4
        ),
        st.sampled_from(('<row r="{}">', "<row\tr='{}'>", '<row spans="1:9" r="{}" >', "<row>", '<y:row r="{}">')),
        st.sampled_from(('<c r="{}"', "<c r='{}'", '<c s="1" r="{}"', '<c\n r = "{}"', '<y:c r="{}"')),
    ),
    max_size=4,
)


@settings(derandomize=True, max_examples=400, deadline=None, suppress_health_check=[HealthCheck.too_slow])
@given(ROWS)
def test_the_reach_of_a_sheet_is_what_a_parser_finds(rows: list[tuple[int, list[tuple[str, bool]], str, str]]) -> None:
    """The scan of bytes against a plain model: where it lets a sheet in, the model's block is within the limit."""
    text, last, width, number, good = "", 0, 0, 0, True
    for wanted, cells, opening, cell in rows:
        here = number + 1 if opening == "<row>" else wanted
        good &= number < here <= 1_048_576
        number, column = here, 0
        close = "</y:row>" if "y:" in opening else "</row>"
        text += opening.format(here)
        for letters, wrong in cells:
            address = f"{letters}{here + wrong}"
            column = column + 1 if not letters else _column(letters)
            good &= not (letters and wrong) and column <= 16_384
            text += (
                (cell.format(address) if letters else "<c")
                + "><v>1</v>"
                + ("</y:c>" if letters and "y:" in cell else "</c>")
            )
            last, width = here, max(width, column)
        text += close
    content = f'<worksheet xmlns="{MAIN}" xmlns:y="{MAIN}"><sheetData>{text}</sheetData></worksheet>'
    archive = Archive(zipped({"s.xml": content.encode()}), "input")
    if good and last * width <= 20_000_000:
        check_sheet(archive, "s.xml")
    else:
        with pytest.raises(ReadError):
            check_sheet(archive, "s.xml")


def _column(letters: str) -> int:
    number = 0
    for sign in letters:
        number = number * 26 + ord(sign) - 64
    return number
