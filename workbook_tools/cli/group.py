"""The command `workbook-tools`, to which each file of this folder adds its commands."""

from __future__ import annotations

import difflib
import os
from typing import IO, Any

import click

from workbook_tools import __version__
from workbook_tools.cli.options import AS_JSON
from workbook_tools.cli.printing import print_json, visible
from workbook_tools.errors import WorkbookToolsError

EPILOG = """
\b
Start here
  workbook-tools new log "My practice.xlsx"      make a case log, then fill it in your spreadsheet
  workbook-tools calc BATH.MASS "12 gal" 80      one answer at the prompt
  workbook-tools check "My practice.xlsx"        what is missing or wrong in it

\b
Exit codes
  0  done; nothing found
  1  done; something was found: findings of check and audit, conflicts of merge,
     files that gather could not read
  2  could not be done: the reason is on the last line
"""


# as the help lists the commands: in the order of the work
ORDER = (
    *("new", "check", "card", "plan", "summary", "responses", "lend", "merge", "share", "audit"),
    *("mend", "upgrade"),
    *("gather", "insight"),
    *("calc", "functions", "guide", "names", "extension", "excel", "completion"),
)
NO_MEMORY = "There is not enough memory for a file this large; nothing was written. Close other programs, or split it."
Resolved = tuple[str | None, click.Command | None, list[str]]


class Refusal(click.ClickException):
    """What could not be done, in one sentence or more; as JSON as well where that was asked for."""

    exit_code = 2

    def __init__(self, message: str, as_json: bool) -> None:
        self.as_json = as_json
        super().__init__(visible(message, "\n"))

    def show(self, file: IO[Any] | None = None) -> None:
        if self.as_json:
            print_json({"error": self.message})
        super().show(file)


class Commands(click.Group):
    """Turns our refusals into plain sentences and exit code 2; keeps commands in the order of the work."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return sorted(self.commands, key=ORDER.index)

    def resolve_command(
        self, ctx: click.Context, args: list[str]
    ) -> tuple[str | None, click.Command | None, list[str]]:
        name = args[0]
        if name not in self.commands and not name.startswith("-") and not ctx.resilient_parsing:
            near = difflib.get_close_matches(name, self.commands, n=1)
            hint = f" Did you mean {near[0]}?" if near else " workbook-tools --help lists them."
            ctx.fail(f"There is no command {name!r}.{hint}")
        return super().resolve_command(ctx, args)

    def invoke(self, ctx: click.Context) -> Any:
        try:
            return super().invoke(ctx)
        except WorkbookToolsError as error:
            raise Refusal(str(error), bool(ctx.meta.get(AS_JSON))) from error
        except click.ClickException as error:  # click's own: what it quotes may come from a file
            vars(error)["message"] = visible(error.message, "\n")
            raise
        except MemoryError as error:
            raise Refusal(NO_MEMORY, bool(ctx.meta.get(AS_JSON))) from error
        except BrokenPipeError:  # whoever read the output has gone; click ends quietly
            raise
        except OSError as error:  # a disk that fails, or a folder that vanishes, where nobody expects it
            place = f"{error.filename}: " if error.filename else ""
            raise Refusal(f"{place}{error.strerror or error}", bool(ctx.meta.get(AS_JSON))) from error


@click.group(cls=Commands, epilog=EPILOG, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(__version__, prog_name="workbook-tools")
@click.option("--no-colour", "--no-color", "plain", is_flag=True, help="No colours; NO_COLOR=1 does the same.")
def cli(plain: bool) -> None:
    """Bath, buffer, top-up and stage arithmetic for fish health, and a case log per farm.

    Doses are reference values: the label in force, local law and the prescribing veterinarian decide.
    """
    if plain:
        os.environ["NO_COLOR"] = "1"
