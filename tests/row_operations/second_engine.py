"""Whole rows inserted and deleted in HyperFormula, an engine that keeps formulas right by rules of its own.

It has no reader of files: it gets the cells and names of the built log.
"""

from __future__ import annotations

import json
import subprocess
from pathlib import Path
from typing import Any

from openpyxl import load_workbook
from openpyxl.worksheet.formula import ArrayFormula

from tests.engines.readers import for_hyperformula
from tests.prepare import EnginePrograms, clean_environment
from tests.row_operations.filled import FilledLog
from tests.row_operations.judging import Judge, Seen, Violation
from tests.row_operations.sequences import Sequence, Step, delete_rows, insert_rows
from workbook_tools.functions.quantities.boundary import serial
from workbook_tools.layout.formulas import choice_names

SCRIPT = Path(__file__).with_name("rows_in_hyperformula.js")
SECONDS = 600
MEMORY = "--max-old-space-size=3000"  # megabytes


def of_rows_alone(log: FilledLog, made: Sequence) -> list[Step]:
    """One to four insertions and deletions of whole rows."""
    for _ in range(made.random.randint(1, 4)):
        table = made.random.choice(list(log.layout.log_tables()))
        made.random.choice((insert_rows, delete_rows))(made, table)
    return [step for step in made.steps if step["do"] in ("add", "remove")]


def shown_after(log: FilledLog, sequences: list[list[Step]], programs: EnginePrograms) -> list[Seen]:
    """What HyperFormula shows after each sequence."""
    given = {
        "sheets": _contents(log.path),
        "names": {name: f"={for_hyperformula(text)}" for name, text in choice_names(log.layout.tables).items()}
        | {"TRUE": "=TRUE()", "FALSE": "=FALSE()"},  # words that are names there
        "sequences": sequences,
    }
    done = subprocess.run(
        [str(programs.node), MEMORY, str(SCRIPT)],
        input=json.dumps(given),
        env=clean_environment() | {"NODE_PATH": str(programs.packages)},
        capture_output=True,
        text=True,
        check=True,
        timeout=SECONDS,
    )
    return [Seen(**json.loads(line)) for line in done.stdout.splitlines()]


def _contents(path: Path) -> dict[str, list[list[Any]]]:
    """Every cell as HyperFormula takes it, by sheet and row."""
    return {sheet.title: [[_content(cell) for cell in row] for row in sheet.rows] for sheet in load_workbook(path)}


def _content(cell: Any) -> Any:
    value = cell.value.text if isinstance(cell.value, ArrayFormula) else cell.value
    if cell.data_type == "f":
        return for_hyperformula(value)
    if isinstance(value, str):
        return f"'{value}"  # without an apostrophe it would be read as if someone typed it
    return value if value is None or isinstance(value, int | float) else serial(value)


def wrong_after(
    judge: Judge, log: FilledLog, sequences: list[list[Step]], programs: EnginePrograms
) -> tuple[set[tuple[str, str]], list[list[Violation]]]:
    """Columns that the engine has otherwise though nothing was done, and what else is wrong after each sequence."""
    untouched, *seen = shown_after(log, [[], *sequences], programs)
    own = {(violation.sheet, violation.column) for violation in judge.violations(untouched)}
    return own, [[v for v in judge.violations(one) if (v.sheet, v.column) not in own] for one in seen]
