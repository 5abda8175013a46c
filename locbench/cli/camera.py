"""`locbench camera`."""

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["camera"]


def camera(
    sessions: Annotated[list[Path], typer.Argument(help="Session folders, each with a session.toml.")],
    json: Annotated[bool, typer.Option("--json", help="Print camera.json, and nothing else.")] = False,
    out: Annotated[
        Path | None, typer.Option(help="Folder for camera.json, tables, the trust map and corrected files.")
    ] = None,
) -> None:
    """Measure what tag detections are worth: noise, wrong ones, latency, mount, tags that hang aside.

    Example: locbench camera logs_demo/orchard_healthy

    Exit status: 0 done, 2 a session cannot be used.
    """
    from locbench.cli.progress import console
    from locbench.jobs.camera import camera as camera_job
    from locbench.report.camera import print_camera, write_camera
    from locbench.results import camera_json

    found = camera_job(sessions)
    written = [] if out is None else write_camera(found.record, found.changed_files, out)
    if json:
        typer.echo(camera_json(found.record), nl=False)
        return
    print_camera(found.record, found.changed_files, [str(session) for session in sessions], console())
    if written:
        typer.echo(f"Written to {out}: {', '.join(written)}")
