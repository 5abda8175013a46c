"""`locbench simulate`."""

from pathlib import Path
from typing import Annotated

import typer

__all__ = ["simulate"]


def simulate(
    scenario: Annotated[Path, typer.Argument(help="Scenario file, e.g. configs/scenario_healthy.toml.")],
    out: Annotated[Path, typer.Option("--out", help="Folder for the session; made if it is missing.")],
    seed: Annotated[int | None, typer.Option("--seed", help="Use this seed instead of the scenario's own.")] = None,
    robot: Annotated[Path | None, typer.Option("--robot", help="Robot file instead of the scenario's own.")] = None,
) -> None:
    """Make a session folder with known truth from a scenario file.

    Example: locbench simulate configs/scenario_healthy.toml --out try
    """
    from rich.console import Console
    from rich.markup import escape
    from rich.table import Table

    from locbench.jobs.simulate import simulate as run
    from locbench.report.commands import command

    session = run(scenario, out, seed, robot)
    console = Console(highlight=False, soft_wrap=True)
    console.print(
        f'wrote session "{escape(session.name)}": {session.duration_s:.0f} s, {session.path_length_m:.1f} m, '
        f"{len(session.mark_visits)} mark visits"
    )
    table = Table("what", "number", box=None, pad_edge=False)
    table.columns[1].justify = "right"
    for name, rows in session.rows.items():
        table.add_row(f"rows in {name}.csv", str(rows))
    for name, count in session.events.items():
        table.add_row(name, str(count))
    console.print(table)
    console.print(f"next: {escape(command('evaluate', str(session.folder)))}")
