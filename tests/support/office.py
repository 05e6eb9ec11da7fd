"""A real LibreOffice for tests: one resident, headless instance that opens, recalculates, reads, saves and prints.

    with Office() as office:
        office.evaluate(["SUM(A1:A2)"], {"A1": 1, "A2": 2})      # [3.0]
        office.values(Path("log.xlsx"))["Baths"]["F2"]

LibreOffice shows stored results, right or wrong, unless told otherwise; here every file is recalculated when it is
opened and once more before it is read, always from a copy. Its profile is private and temporary. Every call has a time
limit; when LibreOffice hangs or dies, its own processes are ended, the call fails with the end of the logs, and the
next call starts afresh.
"""

from __future__ import annotations

import re
import shutil
import subprocess
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Literal

from openpyxl.utils import column_index_from_string, get_column_letter

from tests.support.office_process import OfficeFailedError, OfficeProcess, OfficeTimeoutError
from tests.support.plain_workbook import SHEET, CellContent, Formula, write

KINDS = ("xlsx", "ods", "pdf")
# Formulas to evaluate stand here, out of the way of their inputs and within the columns that every LibreOffice has.
RESULT_COLUMN = column_index_from_string("AAA")

Kind = Literal["xlsx", "ods", "pdf"]


@dataclass(frozen=True)
class OfficeError:
    """An error in a cell. `code` is LibreOffice's number, `text` what the cell shows (#N/A, #VALUE!, Err:502)."""

    code: int
    text: str

    def __str__(self) -> str:
        return self.text


CellValue = float | str | OfficeError


class Office:
    """One resident LibreOffice; a context manager.

    Parameters
    ----------
    profile : a profile folder to use, for example with an extension installed in it; default a temporary one.
    environment : further environment variables for LibreOffice.
    locale : whose decimal and date habits typed text follows.
    seconds : time limit of one call. [s]

    Raises
    ------
    tests.prepare.PreparationError : on entering, when LibreOffice is not installed; the text says how to install it.
    OfficeFailedError, OfficeTimeoutError : from every method.
    """

    def __init__(
        self,
        profile: Path | None = None,
        environment: Mapping[str, str] | None = None,
        locale: str = "en-US",
        seconds: float = 120,
    ) -> None:
        self._options = (profile, environment or {}, locale, seconds)
        self._running: OfficeProcess | None = None

    def __enter__(self) -> Office:
        self._running = OfficeProcess(*self._options)
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        running, self._running = self._running, None
        if running is not None:
            running.close()

    @property
    def _process(self) -> OfficeProcess:
        if self._running is None:
            raise OfficeFailedError("Office is not running: use it in a `with` statement")
        return self._running

    @property
    def process_id(self) -> int | None:
        """Process id of the running LibreOffice; None after it had to be ended, until the next call starts another."""
        return self._process.identifier

    # Reading

    def values(self, path: Path, password: str | None = None) -> dict[str, dict[str, CellValue]]:
        """Every cell that holds something, recalculated: {sheet: {"A1": value}}.

        Numbers, dates and booleans are floats; a formula whose result is an empty text is there as "".
        """
        answer = self._ask("values", path, password=password)
        return {
            sheet: {address: _value(content) for address, content in cells.items()} for sheet, cells in answer.items()
        }

    def formula_cells(self, path: Path, password: str | None = None) -> dict[str, dict[str, tuple[str, CellValue]]]:
        """Every formula cell, recalculated: {sheet: {"A1": (formula, value)}}.

        The formula is in LibreOffice's own English spelling: `=SUM($Baths.A1:A3;2)`.
        """
        answer = self._ask("formula_cells", path, password=password)
        return {
            sheet: {address: (formula, _value(content)) for address, (formula, content) in cells.items()}
            for sheet, cells in answer.items()
        }

    def pivots(
        self, path: Path, typed: Mapping[str, Mapping[str, str]] | None = None
    ) -> dict[str, dict[str, tuple[str, list[list[Any]]]]]:
        """Every PivotTable, refreshed: {sheet: {name: (its upper left cell, what its cells show)}}.

        `typed` is put into cells beforehand, as `type_into` does.
        """
        texts = {sheet: dict(cells) for sheet, cells in (typed or {}).items()}
        answer = self._ask("pivots", path, typed=texts)
        return {
            sheet: {name: (corner, rows) for name, (corner, rows) in tables.items()} for sheet, tables in answer.items()
        }

    def charts(self, path: Path, typed: Mapping[str, Mapping[str, str]] | None = None) -> dict[str, list[Any]]:
        """Every chart: {sheet: [{"title": ..., "series": [{"values-x": [...], "values-y": [...]}]}]}."""
        texts = {sheet: dict(cells) for sheet, cells in (typed or {}).items()}
        answer: dict[str, list[Any]] = self._ask("charts", path, typed=texts)
        return answer

    def evaluate(self, formulas: Sequence[str], cells: Mapping[str, CellContent] | None = None) -> list[CellValue]:
        """Results of formulas in Excel's English A1 spelling, as a workbook stores them; thousands at once are fine.

        Parameters
        ----------
        formulas : with or without a leading equals sign. New functions need their stored prefix (`_xlfn.`).
        cells : inputs on the same sheet, left of column AAA: {"A1": 12.5, "B1": "text"}. None leaves a cell empty.
        """
        letter = get_column_letter(RESULT_COLUMN)
        places = [f"{letter}{row}" for row in range(1, len(formulas) + 1)]
        found = self._calculate(dict(zip(places, map(Formula, formulas), strict=True)), cells or {})
        return [found[place] for place in places]

    def evaluate_table(
        self, formula: str, rows: int, columns: int, cells: Mapping[str, CellContent] | None = None
    ) -> list[list[CellValue]]:
        """Result of one formula that gives a table, entered as an array formula over so many rows and columns."""
        letters = [get_column_letter(RESULT_COLUMN + column) for column in range(columns)]
        block = f"{letters[0]}1:{letters[-1]}{rows}"
        found = self._calculate({f"{letters[0]}1": Formula(formula, block)}, cells or {})
        return [[found[f"{letter}{row}"] for letter in letters] for row in range(1, rows + 1)]

    def _calculate(self, formulas: Mapping[str, Formula], cells: Mapping[str, CellContent]) -> dict[str, CellValue]:
        for address in cells:
            if column_index_from_string(address.rstrip("0123456789")) >= RESULT_COLUMN:
                raise ValueError(f"inputs belong left of column {get_column_letter(RESULT_COLUMN)}, not in {address}")
        path = self._process.folder / f"evaluate-{uuid.uuid4().hex}.xlsx"
        write(path, {**cells, **formulas})
        try:
            return self.values(path)[SHEET]
        finally:
            path.unlink()

    # Writing

    def convert(self, path: Path, target: Path, kind: Kind, password: str | None = None) -> Path:
        """Save a spreadsheet, recalculated, as "xlsx", "ods" or "pdf". Saved numbers have 15 digits."""
        return self._save("convert", path, target, kind, password=password)

    def timed(self, path: Path, typed: Mapping[str, Mapping[str, str]]) -> dict[str, float]:
        """Seconds until each typed cell and what hangs on it is computed, and until everything is."""
        texts = {sheet: dict(cells) for sheet, cells in typed.items()}
        answer: dict[str, float] = self._ask("timed", path, typed=texts)
        return answer

    def type_into(self, path: Path, typed: Mapping[str, Mapping[str, str]], target: Path) -> Path:
        """Put texts into cells as a person would type them, and save to `target` (.xlsx or .ods).

        Numbers, dates, times and formulas are recognised by the habits of `locale`; an empty text empties the cell. A
        cell's rule (data validation) is not asked, just as when a person pastes.
        """
        texts = {sheet: dict(cells) for sheet, cells in typed.items()}
        return self._save("type_into", path, target, target.suffix.removeprefix(".").lower(), typed=texts)

    def rearrange(self, path: Path, steps: Sequence[Mapping[str, Any]], target: Path) -> Path:
        """Do to the sheets what people do, one step after the other, and save to `target` (.xlsx or .ods).

        A step names its `sheet` and what to `do`: "sort" the rows of `cells` by a `column` of theirs counted from 0
        (`descending` or not), "move" a `column` or "insert" an empty one `before` another, "hide" a `column`,
        "add" so many empty `rows` above the `first` or "remove" them from it on, "enter" a `text` into a `cell`;
        columns by their letters as they are at that step.
        """
        return self._save("rearrange", path, target, target.suffix[1:].lower(), steps=[dict(step) for step in steps])

    def after_steps(
        self,
        path: Path,
        steps: Sequence[Mapping[str, Any]],
        telling: Sequence[str],
        hard: bool = False,
        target: Path | None = None,
    ) -> dict[str, Any]:
        """What the sheets show after some steps; `tests/support/uno_worker.py` says in which form.

        Parameters
        ----------
        path : the workbook, which stays as it is.
        steps : as those of `rearrange`, each a function of `tests/support/uno_steps.py`.
        telling : words; of rows that show one of them the formulas are told, too.
        hard : compute everything, not only what the steps made necessary.
        target : where to save the result as well (.xlsx or .ods).
        """
        more = {} if target is None else {"target": str(target.absolute()), "kind": target.suffix[1:].lower()}
        steps = [dict(step) for step in steps]
        answer: dict[str, Any] = self._ask("after_steps", path, steps=steps, telling=list(telling), hard=hard, **more)
        return answer

    def _save(self, action: str, path: Path, target: Path, kind: str, **details: Any) -> Path:
        if kind not in KINDS:
            raise ValueError(f"cannot save as {kind!r}; known: {', '.join(KINDS)}")
        if path.resolve() == target.resolve():
            raise ValueError(f"{target} is the file that is read; save to another")
        if not target.parent.is_dir():
            raise FileNotFoundError(f"there is no folder {target.parent} to save in")  # LibreOffice would make it
        target.unlink(missing_ok=True)  # a file that is there afterwards is a new one
        self._ask(action, path, target=str(target.absolute()), kind=kind, **details)
        if not target.is_file():
            raise OfficeFailedError(f"LibreOffice reported success and wrote nothing to {target}")
        return target

    def _ask(self, action: str, path: Path, **details: Any) -> Any:
        """Have something done with a copy of a file, so that neither it nor its folder is ever touched."""
        folder = self._process.folder / f"copy-{uuid.uuid4().hex}"
        folder.mkdir()
        try:
            copy = Path(shutil.copy(path, folder))
            copy.chmod(0o600)  # the copy of a read-only file would open read-only
            return self._process.ask({"action": action, "path": str(copy), **details})
        finally:
            shutil.rmtree(folder, ignore_errors=True)

    def render(self, path: Path, folder: Path, dpi: int = 70) -> list[Path]:
        """Print a spreadsheet to a PDF and its pages to PNG files in `folder`; the pages in order."""
        folder.mkdir(parents=True, exist_ok=True)
        pdf = self.convert(path, folder / f"{path.stem}.pdf", "pdf")
        for old in _pages(folder, path.stem):
            old.unlink()
        command = [str(self._process.programs.pdftoppm), "-png", "-r", str(dpi), str(pdf), str(folder / path.stem)]
        try:
            done = subprocess.run(
                command, stdin=subprocess.DEVNULL, capture_output=True, check=False, timeout=self._process.seconds
            )
        except subprocess.TimeoutExpired as error:
            raise OfficeTimeoutError(f"pdftoppm did not finish {pdf} within {self._process.seconds:g} s") from error
        pages = _pages(folder, path.stem)
        if done.returncode != 0 or not pages:
            raise OfficeFailedError(f"pdftoppm made no pages of {pdf}: {done.stderr.decode(errors='replace').strip()}")
        return pages


def _value(content: float | str | dict[str, Any]) -> CellValue:
    """A cell's value from the worker's reply."""
    if isinstance(content, dict):
        code, text = content["error"]
        return OfficeError(code, text)
    return content


def _pages(folder: Path, stem: str) -> list[Path]:
    """Page pictures of one document, in order."""
    numbered = {}
    for file in folder.glob("*.png"):
        match = re.fullmatch(re.escape(stem) + r"-(\d+)\.png", file.name)
        if match:
            numbered[int(match[1])] = file
    return [numbered[number] for number in sorted(numbered)]
