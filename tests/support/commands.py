"""The command line inside the test's own process, so that a test can change what a command finds."""

from __future__ import annotations

from click.testing import CliRunner, Result

from workbook_tools.cli.main import cli


def run(*words: str, code: int = 0, typed: str | None = None) -> Result:
    """A command's output; fails where it ends with another exit code."""
    done = CliRunner().invoke(cli, list(words), input=typed)
    assert done.exit_code == code, (done.exit_code, done.output, done.exception)
    return done
