"""Every function gives the same number, and the same kind of error, in every host."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.hosts.engines import of_office, with_formualizer, with_ironcalc
from tests.hosts.gaps import NO_FORMULA, NO_NAME, expected
from tests.hosts.samples import BUDGET, NAMES, Arguments, samples
from tests.hosts.sheet import disagreements, lay_out, same
from tests.support.office import Office
from tests.support.plain_workbook import SHEET, Formula, write
from workbook_tools.functions.catalogue import entries, entry
from workbook_tools.functions.quantities import TableResult
from workbook_tools.functions.texts.cell_text import cell_text, translatable
from workbook_tools.functions.texts.lambda_names import has_name

FORMULAS = [name for name in NAMES if name not in NO_FORMULA]
# what a cell shows for an argument that cannot be used, spelled so that the two kinds stay apart
SAID = ('"value"', '"range"')
WORDS_GAP = "a word that is not on its list counts as out of range in cell text, where both kinds show a blank cell"


def test_samples_are_many_and_mostly_good() -> None:
    for name in NAMES:
        tried = samples(name)
        good = sum(not isinstance(sample.outcome, str) for sample in tried)
        assert len(tried) >= BUDGET / 2, name
        assert good >= 20, name
        assert {"value", "range"} <= {s.outcome for s in tried if isinstance(s.outcome, str)} or name == "STAGE.LEVEL"


def test_functions_without_formula_are_the_named_ones() -> None:
    assert [e.name for e in entries() if not translatable(e.name)] == [name for name in NAMES if name in NO_FORMULA]
    assert [e.name for e in entries() if not has_name(e)] == [name for name in NAMES if name in NO_NAME]


def kinds_of_cell_text(name: str, answers: list[object]) -> list[object]:
    """Answers of cell text; see WORDS_GAP."""
    if name != "STAGE.LEVEL":
        return answers
    return ["value" if answer == "range" else answer for answer in answers]


@pytest.mark.parametrize("name", FORMULAS)
def test_cell_text_in_formualizer(name: str, tmp_path: Path) -> None:
    cells, calls = lay_out(samples(name))
    answers = with_formualizer([cell_text(name, call.operands, SAID) for call in calls], cells, tmp_path)
    arguments = [call.sample.arguments for call in calls]
    assert disagreements("cell text", entry(name), arguments, kinds_of_cell_text(name, answers)) == []


@pytest.mark.parametrize("name", FORMULAS)
def test_cell_text_in_libreoffice(name: str, office: Office) -> None:
    cells, calls = lay_out(samples(name))
    formulas = [cell_text(name, call.operands, SAID) for call in calls]
    answers = [of_office(value) for value in office.evaluate(formulas, cells)]
    arguments = [call.sample.arguments for call in calls]
    answers = kinds_of_cell_text(name, answers)
    assert disagreements("cell text in LibreOffice", entry(name), arguments, answers) == []


@pytest.mark.parametrize("name", [name for name in NAMES if name not in NO_NAME])
def test_name_in_ironcalc(name: str, tmp_path: Path) -> None:
    cells, calls = lay_out(samples(name))
    answers = with_ironcalc([call.text(name) for call in calls], cells, tmp_path)
    arguments = [call.sample.arguments for call in calls]
    assert disagreements("name in ironcalc", entry(name), arguments, answers) == []


@pytest.mark.parametrize("name", [name for name in NAMES if not isinstance(entry(name).result, TableResult)])
def test_extension_in_libreoffice(name: str, calc: Office) -> None:
    cells, calls = lay_out(samples(name))
    answers = [of_office(value) for value in calc.evaluate([call.text(name) for call in calls], cells)]
    arguments = [call.sample.arguments for call in calls]
    assert disagreements("Calc extension", entry(name), arguments, answers) == []


@pytest.mark.parametrize("name", [name for name in NAMES if isinstance(entry(name).result, TableResult)])
def test_tables_of_extension_in_libreoffice(name: str, calc: Office) -> None:
    """First and last row of every sample, and whole tables of some, entered as array formulas."""
    found = entry(name)
    cells, calls = lay_out(samples(name))
    columns = range(1, len(found.result.columns) + 1) if isinstance(found.result, TableResult) else ()
    formulas, should_be = [], []
    for call in calls:
        answer = expected("Calc extension", found, call.sample.arguments)
        if isinstance(answer, list):
            places = [(row, column) for row in (1, len(answer)) for column in columns]
            should_be += [(call, answer[row - 1][column - 1]) for row, column in places]
            should_be.append((call, float(len(answer))))
            formulas += [f"INDEX({call.text(name)},{row},{column})" for row, column in places]
            formulas.append(f"ROWS({call.text(name)})")
        else:
            should_be.append((call, answer))
            formulas.append(f"INDEX({call.text(name)},1,1)")
    answers = [of_office(value) for value in calc.evaluate(formulas, cells)]
    wrong = [
        (call.sample.arguments, should, answer)
        for (call, should), answer in zip(should_be, answers, strict=True)
        if not same(should, answer)
    ]
    assert wrong[:5] == []
    whole = [(call, call.sample.outcome) for call in calls if isinstance(call.sample.outcome, list)][::20]
    assert len(whole) >= 5
    for call, should in whole:
        assert isinstance(should, list)
        table = calc.evaluate_table(call.text(name), len(should), len(should[0]), cells)
        assert same(should, table), call.sample.arguments


@pytest.mark.parametrize("name", NAMES)
def test_arguments_written_in_the_call(name: str, calc: Office) -> None:
    """Numbers and texts typed between the brackets, and optional arguments left out in the middle."""
    found = entry(name)
    calls = [sample for sample in samples(name) if typed(sample.arguments) is not None][:60]
    table = isinstance(found.result, TableResult)
    formulas = [f"{name}({typed(sample.arguments)})" for sample in calls]
    answers = calc.evaluate([f"INDEX({text},1,1)" if table else text for text in formulas])
    first = [sample.outcome[0][0] if isinstance(sample.outcome, list) else sample.outcome for sample in calls]
    pairs = zip(calls, first, map(of_office, answers), strict=True)
    assert [(sample.arguments, answer) for sample, should, answer in pairs if not same(should, answer)] == []


def typed(arguments: Arguments) -> str | None:
    """Arguments as typed between brackets, or None where one of them needs cells."""
    texts = []
    for argument in arguments:
        if isinstance(argument, bool | tuple):
            return None
        texts.append(
            "" if argument is None else f'"{argument}"' if isinstance(argument, str) else repr(argument).upper()
        )
    return ",".join(texts)


def test_typed_by_a_person(calc: Office, tmp_path: Path) -> None:
    """In small letters, with the semicolons that Calc takes everywhere; saved and read again."""
    write(tmp_path / "empty.xlsx", {"A1": 40.0})
    typed_in = {
        "B1": "=bath.mass(A1;80)",
        "B2": "=BATH.TOPUP(A1;80;100;)",
        "B3": '=unit.convert(1;"acre_foot";"gallon")',
    }
    calc.type_into(tmp_path / "empty.xlsx", {SHEET: typed_in}, tmp_path / "typed.xlsx")
    found = calc.values(tmp_path / "typed.xlsx")[SHEET]
    # An acre-foot is 43,560 cubic feet of 12 inches (SRAC 410), a gallon 231 cubic inches (NIST SP 811).
    gallons = 43_560 * 12**3 / 231
    assert [found[place] for place in typed_in] == pytest.approx([3.2, 0.8, gallons], rel=1e-9)


def test_too_many_arguments_are_an_error_everywhere(calc: Office, tmp_path: Path) -> None:
    assert str(calc.evaluate(["BATH.BUFFER(1,2,3)"])[0]) == "Err:504"  # Calc's own: error in the list of parameters
    assert with_ironcalc(["BATH.BUFFER(1,2,3)"], {}, tmp_path) == ["value"]


def test_errors_pass_through(calc: Office, tmp_path: Path) -> None:
    """A cell with an error as an argument is an error again: Calc passes it on, a name calls it a wrong kind."""
    assert str(calc.evaluate(["BATH.MASS(A1,80)"], {"A1": Formula("1/0")})[0]) == "#DIV/0!"
    assert with_ironcalc(["BATH.MASS(1/0,80)"], {}, tmp_path) == ["value"]
