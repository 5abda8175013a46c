"""`locbench runsheet`."""

from pathlib import Path
from typing import Annotated

import typer

from locbench.cli.options import DisplayUnits
from locbench.drive_kinds import DriveKind

__all__ = ["runsheet"]


def runsheet(
    field: Annotated[Path, typer.Option(help="Field file, e.g. configs/field_orchard.toml.")],
    kind: Annotated[DriveKind, typer.Option(help="What to drive.")],
    robot: Annotated[
        Path | None, typer.Option(help="Robot file: its pods and camera are then told one by one.")
    ] = None,
    out: Annotated[Path | None, typer.Option(help="Also write it as one printable page, an .html file.")] = None,
    units: Annotated[DisplayUnits, typer.Option(help="Units on screen and on the page.")] = DisplayUnits.METRIC,
) -> None:
    """Lay a test drive out: marks, survey, what to log, what to drive, how sure that makes.

    Example: locbench runsheet --field configs/field_orchard.toml --kind tour --out runsheet.html
    """
    from locbench.cli.progress import console
    from locbench.jobs.runsheet import lay_out
    from locbench.report.runsheet_page import write_runsheet
    from locbench.report.runsheet_terminal import print_runsheet
    from locbench.units import UnitSystem

    system = UnitSystem(units.value)
    sheet = lay_out(field, kind, robot, system)
    if out is not None:
        write_runsheet(sheet, out, system)
    print_runsheet(sheet, console(), system)
    if out is not None:
        typer.echo(f"\nWritten to {out}: print it on one page")
