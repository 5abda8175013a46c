"""Assembles the commands and turns every failure into one line and an exit status."""

import io
import sys
import tempfile
import traceback
from collections.abc import Callable
from typing import Annotated

import typer

from locbench import __version__
from locbench.cli.adopt import adopt
from locbench.cli.calibrate import calibrate
from locbench.cli.camera import camera
from locbench.cli.evaluate import evaluate
from locbench.cli.inspect import inspect
from locbench.cli.precheck import precheck
from locbench.cli.runsheet import runsheet
from locbench.cli.schema import schema
from locbench.cli.simulate import simulate
from locbench.cli.slip import slip
from locbench.errors import LocbenchError

__all__ = ["app", "main"]

BAD_INPUT, INTERNAL, INTERRUPTED = 2, 4, 130

app = typer.Typer(
    name="locbench",
    no_args_is_help=True,
    add_completion=False,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Measure how far off the robot's believed pose is, and which shots that costs.",
    epilog="Exit status: 0 done, 1 inspect found an error or a check failed, 2 bad input or usage, 3 a check is "
    "undecided, 4 internal error, 130 interrupted.",
)


def _show_version(wanted: bool) -> None:
    if wanted:
        typer.echo(f"locbench {__version__}")
        raise typer.Exit


@app.callback()
def _root(
    version: Annotated[
        bool, typer.Option("--version", callback=_show_version, is_eager=True, help="Print the version and stop.")
    ] = False,
) -> None:
    """Measure how far off the robot's believed pose is, and which shots that costs."""


app.command()(adopt)
app.command()(inspect)
app.command()(evaluate)
app.command()(calibrate)
app.command()(camera)
app.command()(slip)
app.command()(precheck)
app.command()(runsheet)
app.command()(schema)
app.command()(simulate)


def main() -> None:
    """Run the command line and exit with its status."""
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, io.TextIOWrapper):
            # a terminal or file that lacks a letter of somebody's session name must not stop the answer
            stream.reconfigure(errors="replace")
    sys.exit(run(lambda: app(standalone_mode=True)))


def run(command: Callable[[], object]) -> int:
    """Return the exit status of a command; failures are printed to standard error in one line."""
    try:
        command()
    except SystemExit as stop:
        return stop.code if isinstance(stop.code, int) else BAD_INPUT
    except LocbenchError as error:
        print(f"locbench: {error}", file=sys.stderr)
        return BAD_INPUT
    except KeyboardInterrupt:
        print("locbench: interrupted; nothing was written", file=sys.stderr)
        return INTERRUPTED
    except Exception as error:
        with tempfile.NamedTemporaryFile("w", prefix="locbench-trace-", suffix=".txt", delete=False) as trace:
            traceback.print_exc(file=trace)
        print(
            f"locbench: internal error ({type(error).__name__}); please report it with the file {trace.name}",
            file=sys.stderr,
        )
        return INTERNAL
    return 0
