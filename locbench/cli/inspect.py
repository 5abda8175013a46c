"""`locbench inspect`."""

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["inspect"]

ERROR_FOUND, UNUSABLE = 1, 2


def inspect(
    session: Annotated[Path, typer.Argument(help="Session folder with a session.toml.")],
    json: Annotated[bool, typer.Option("--json", help="Print what was found as JSON, and nothing else.")] = False,
    out: Annotated[
        Path | None, typer.Option(help="Folder for inspect.json and for corrected copies of the session's files.")
    ] = None,
) -> None:
    """Find what is wrong with a log or its set-up, before its numbers are believed.

    Example: locbench inspect logs_demo/orchard_healthy

    Exit status: 0 no error found, 1 an error found, 2 the session cannot be used.
    """
    from locbench.cli.progress import console
    from locbench.jobs.inspect import inspect as inspect_job
    from locbench.report.copy_block import HOW_TO_USE_COPIES
    from locbench.report.inspection import print_inspection, write_inspection
    from locbench.results import inspection_json

    found = inspect_job(session)
    written = [] if out is None else write_inspection(found.inspection, found.changed_files, out)
    if json:
        typer.echo(inspection_json(found.inspection), nl=False)
    else:
        print_inspection(found.inspection, found.changed_files, str(session), console())
        if written:
            typer.echo(f"Written to {out}: {', '.join(written)}")
        if len(written) > 1:
            typer.echo(HOW_TO_USE_COPIES)
    if not found.usable:
        raise typer.Exit(UNUSABLE)
    if any(diagnosis.severity == "error" for diagnosis in found.inspection.diagnoses):
        raise typer.Exit(ERROR_FOUND)
