"""`locbench evaluate`."""

from pathlib import Path
from typing import Annotated

import typer

from locbench.cli.options import DisplayUnits

__all__ = ["evaluate"]


def evaluate(
    sessions: Annotated[list[Path], typer.Argument(help="Session folders, each with a session.toml.")],
    fusion: Annotated[
        list[Path] | None,
        typer.Option(help="Fusion file; repeat it to compare several. Default: those the session names."),
    ] = None,
    shooter: Annotated[Path | None, typer.Option(help="Shooter file. Default: the one the session names.")] = None,
    out: Annotated[Path, typer.Option(help="Folder for results.json, tables and report.html.")] = Path(
        "locbench_results"
    ),
    units: Annotated[DisplayUnits, typer.Option(help="Units on screen and in the report.")] = DisplayUnits.METRIC,
) -> None:
    """Replay logged sessions and report accuracy, corrections and shot miss.

    Example: locbench evaluate logs_demo/orchard_healthy
    """
    from locbench.cli.progress import console, progress_line
    from locbench.jobs.evaluate import evaluate as evaluate_job
    from locbench.report.terminal import print_evaluation
    from locbench.report.writing import write_evaluation
    from locbench.units import UnitSystem

    system = UnitSystem(units.value)
    with progress_line() as progress:
        evaluation = evaluate_job(sessions, fusion or (), shooter, progress)
        written = write_evaluation(
            evaluation.results,
            evaluation.tracks,
            out,
            system,
            lambda session: progress(f"{session}: drawing", 1.0),
        )
    print_evaluation(evaluation.results, console(), system)
    typer.echo(f"Written to {out}: {', '.join(written)}")
    typer.echo(f"Open {out / 'report.html'} in a browser: the pictures are there.")
