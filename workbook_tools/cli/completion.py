"""`completion`: words completed by the shell while they are typed."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class

from workbook_tools.cli.group import cli
from workbook_tools.cli.printing import say

SHELLS = ("bash", "zsh", "fish")


@cli.command(short_help="Complete commands, options and function names while you type.")
@click.argument("shell", type=click.Choice(SHELLS))
def completion(shell: str) -> None:
    """Print the lines that let SHELL complete commands, options, function names and files.

    \b
    Put one of these into the file that your shell reads when it starts
      bash  eval "$(workbook-tools completion bash)"
      zsh   eval "$(workbook-tools completion zsh)"
      fish  workbook-tools completion fish | source
    """
    kind = get_completion_class(shell)
    assert kind is not None
    say(*kind(cli, {}, "workbook-tools", "_WORKBOOK_TOOLS_COMPLETE").source().split("\n"))
