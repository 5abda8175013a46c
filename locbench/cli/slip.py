"""`locbench slip`."""

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["slip"]

# less often than once in a year of driving, and floating point would no longer tell the limit from infinity
_LEAST_FALSE_ALARMS, _MOST_FALSE_ALARMS = 1e-6, 10.0


def slip(
    sessions: Annotated[list[Path], typer.Argument(help="Session folders, each with a session.toml.")],
    false_alarms_per_minute: Annotated[
        float, typer.Option(help="How many events a minute without any slip may show.")
    ] = 0.05,
    json: Annotated[bool, typer.Option("--json", help="Print slip.json, and nothing else.")] = False,
    out: Annotated[Path | None, typer.Option(help="Folder for slip.json, tables and pictures.")] = None,
) -> None:
    """Tell which pod slipped, when, by how much, and what it cost; match logs without marks will do.

    Example: locbench slip logs_demo/orchard_shoved

    Exit status: 0 done, 2 a session cannot be used.
    """
    from locbench.cli.progress import console, progress_line
    from locbench.errors import UsageError
    from locbench.jobs.slip import slip as slip_job
    from locbench.report.slip import print_slip, write_slip
    from locbench.results import slip_json

    if not _LEAST_FALSE_ALARMS <= false_alarms_per_minute <= _MOST_FALSE_ALARMS:
        raise UsageError(
            f"the rate of false alarms must lie between {_LEAST_FALSE_ALARMS:g} and {_MOST_FALSE_ALARMS:g}",
            where="--false-alarms-per-minute",
            received=false_alarms_per_minute,
            remedy="Leave it out for 0.05",
        )
    with progress_line() as progress:
        found = slip_job(sessions, false_alarms_per_minute, progress)
    written = [] if out is None else write_slip(found, out)
    if json:
        typer.echo(slip_json(found), nl=False)
        return
    print_slip(found, [str(session) for session in sessions], console())
    if written:
        typer.echo(f"Written to {out}: {', '.join(written)}")
