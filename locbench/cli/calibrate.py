"""`locbench calibrate`."""

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["calibrate"]


def calibrate(
    sessions: Annotated[list[Path], typer.Argument(help="Session folders, each with a session.toml.")],
    json: Annotated[bool, typer.Option("--json", help="Print calibration.json, and nothing else.")] = False,
    out: Annotated[
        Path | None, typer.Option(help="Folder for calibration.json and the files with the constants found.")
    ] = None,
) -> None:
    """Estimate wheel diameters, lever arms, gyro, camera mount and lags from drives over marks or past tags.

    Example: locbench calibrate logs_demo/orchard_spin_line

    Exit status: 0 done, 2 a session cannot be used.
    """
    from locbench.cli.progress import console
    from locbench.jobs.calibrate import calibrate as calibrate_job
    from locbench.report.calibration import print_calibration, write_calibration
    from locbench.report.copy_block import HOW_TO_USE_COPIES
    from locbench.results import calibration_json

    found = calibrate_job(sessions)
    written = [] if out is None else write_calibration(found.calibration, found.changed_files, out)
    if json:
        typer.echo(calibration_json(found.calibration), nl=False)
        return
    print_calibration(found.calibration, found.changed_files, [str(session) for session in sessions], out, console())
    if written:
        typer.echo(f"Written to {out}: {', '.join(written)}")
    if len(written) > 1:
        typer.echo(HOW_TO_USE_COPIES)
