"""`locbench adopt`."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

if TYPE_CHECKING:
    from locbench.adoption.questions import Question

__all__ = ["adopt"]


def adopt(
    tables: Annotated[list[Path], typer.Argument(help="CSV files of one run, in any dialect.")],
    out: Annotated[Path, typer.Option("--out", help="Folder for the session; made if it is missing.")],
    robot: Annotated[Path | None, typer.Option("--robot", help="Robot file of this run.")] = None,
    field: Annotated[Path | None, typer.Option("--field", help="Field file of this run.")] = None,
    name: Annotated[str | None, typer.Option("--name", help="Name of the session. Default: the folder's.")] = None,
) -> None:
    """Propose a session folder from a robot's own tables, with a question wherever they do not tell.

    Example: locbench adopt log.csv tags.csv marks.csv --robot robot.toml --field field.toml --out tuesday
    """
    import sys

    from locbench.cli.progress import console
    from locbench.jobs.adopt import adopt as run
    from locbench.jobs.adopt import leave_open
    from locbench.report.adoption import print_adoption

    adopted = run(tables, out, robot, field, name, _ask if sys.stdin.isatty() else leave_open)
    print_adoption(adopted.proposal, adopted.folder, console())


def _ask(question: "Question") -> str | None:
    """Put a question at the terminal until the answer is one; an empty line leaves it open."""
    from locbench.adoption.questions import accepted_answer
    from locbench.errors import QuantityError
    from locbench.report.adoption import question_lines

    for line in question_lines(question):
        typer.echo(line)
    while True:
        text = typer.prompt(_prompt(question), default="", show_default=False)
        if not text.strip():
            return None
        try:
            return accepted_answer(question, text)
        except QuantityError as error:
            typer.echo(str(error))


def _prompt(question: "Question") -> str:
    """Return what stands before the cursor: what an empty line does."""
    if question.proposal is None:
        return "answer, or Enter to leave it open"
    return "answer, or Enter to keep the proposal and its question"
