"""The command line: parse, call the session, print. The only place that knows exit codes."""

from __future__ import annotations

import importlib
import os
import signal
import sys
from types import FrameType
from typing import Final

import click

from ..errors import ClipError, MarksError, OutputError, RecordsError, RefusedError, StrideError

EXIT_CODES: Final[dict[type[StrideError], int]] = {
    ClipError: 3,
    MarksError: 4,
    RefusedError: 5,
    OutputError: 6,
    RecordsError: 7,
}
_COMMANDS: Final = {
    "measure": "Measure one walk-by: prints, strides, verdict, charts and a page.",
    "selfcheck": "Check this installation, and measure a walk whose truth is known.",
}


class _Commands(click.Group):
    """Loads a command's file only when that command runs, so that ``--help`` is quick."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        return list(_COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        if cmd_name not in _COMMANDS:
            return None
        module = importlib.import_module(f".{cmd_name}", __package__)
        command: click.Command = module.command
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        with formatter.section("Commands"):
            formatter.write_dl(list(_COMMANDS.items()))


@click.command(
    cls=_Commands, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100}
)
@click.version_option(package_name="stride", message="stride %(version)s")
def commands() -> None:
    """Measure how cattle walk from a phone clip of one walk-by.

    How far the hind foot lands past or short of the print the front foot has just left, stride length, cadence and
    timing, each with its doubt; a verdict with its reasons; pictures; and a page to send.

    Exit codes: 0 measured; 2 the command was not understood; 3 the clip cannot be read; 4 the marks cannot be used;
    5 no walk can be measured in the clip; 6 the results cannot be written; 7 a saved document cannot be used.
    """


def main() -> None:
    """Run the command line and end the process with its exit code."""
    signal.signal(signal.SIGTERM, _stop)
    try:
        commands.main(standalone_mode=False)
    except StrideError as error:
        code = next((code for kind, code in EXIT_CODES.items() if isinstance(error, kind)), 1)
        click.echo(f"{error.problem}\n{error.remedy}", err=True)
        sys.exit(code)
    except click.ClickException as error:
        error.show()
        sys.exit(error.exit_code)
    except click.Abort:
        click.echo("Stopped; nothing was left half-written.", err=True)
        sys.exit(130)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(0)


def _stop(number: int, _frame: FrameType | None) -> None:
    """End as after Ctrl-C, so that half-written results are cleared away."""
    sys.exit(128 + number)
