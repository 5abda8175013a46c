"""What adopting found, in a terminal: the answer, the columns, the questions, where to look next."""

from pathlib import Path

from rich import box
from rich.console import Console
from rich.table import Table
from rich.text import Text

from locbench.adoption.entries import NOT_USED
from locbench.adoption.foreign_tables import ForeignTable
from locbench.adoption.proposing import Proposal
from locbench.adoption.questions import Question
from locbench.report.commands import command
from locbench.report.numbers import MISSING, plain_text

__all__ = ["print_adoption", "question_lines"]

_TO_USE_A_TABLE = (
    "rename its columns and adopt again if it belongs to the run (marks: time, mark; detections: captured, arrived, "
    "tag id, x, y, heading)."
)


def print_adoption(proposal: Proposal, folder: Path, console: Console) -> None:
    """Print the answer in the first line, what every column is taken for, the questions left, and what to do next.

    Parameters
    ----------
    proposal
        What `locbench adopt` proposes.
    folder
        Where it was written.
    console
        Where to print.
    """
    questions = proposal.questions
    tables = f"{len(proposal.tables)} table{'s' if len(proposal.tables) > 1 else ''}"
    answer = f'proposed session "{plain_text(proposal.name)}" from {tables}: {_left(len(questions))}'
    console.print(Text(answer, style="bold"))
    console.print()
    console.print(_columns_table(proposal))
    for table in proposal.tables:
        if table.changes:
            console.print(Text(_changed(table)))
    for file in _unused_tables(proposal):
        console.print(Text(plain_text(f"{file} is not used at all: {_TO_USE_A_TABLE}")))
    if questions:
        console.print()
        console.print(Text("Questions", style="bold"))
        for number, question in enumerate(questions, start=1):
            console.print(_question(number, question))
    console.print()
    console.print(Text("Where to look next", style="bold"))
    for line in _next_steps(folder, bool(questions)):
        console.print(Text(f" - {line}"))


def question_lines(question: Question) -> list[str]:
    """Return a question as it is put at the terminal: what is asked and known, how to find out, the choices."""
    lines = ["", f"{question.key}: {question.asking.text}"]
    if question.known is not None:
        lines.append(f"  known: {question.known}")
    if question.proposal is not None:
        lines.append(f"  proposed: {question.proposal}")
    lines.append(f"  to find out: {question.asking.how}")
    lines.append(f"  choices: {', '.join(question.asking.choices) or question.asking.form}")
    return [plain_text(line) for line in lines]


def _left(count: int) -> str:
    return "no question left" if count == 0 else f"{count} question{'s' if count > 1 else ''} left"


def _changed(table: ForeignTable) -> str:
    return plain_text(f"{table.file} was written with {', '.join(table.changes)}; the copy has commas and points.")


def _unused_tables(proposal: Proposal) -> list[str]:
    """Return the files of which no column is used, in the order of the proposal."""
    used = {column.file for column in proposal.columns if column.taken_for != NOT_USED}
    return list(dict.fromkeys(column.file for column in proposal.columns if column.file not in used))


def _columns_table(proposal: Proposal) -> Table:
    drawn = Table(box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), show_edge=False)
    for heading, share in (("table", None), ("column", None), ("taken for", None), ("unit", None), ("why", 1)):
        drawn.add_column(Text(heading), overflow="fold", ratio=share)
    drawn.add_column(Text(""), no_wrap=True)
    for column in proposal.columns:
        used = column.taken_for != NOT_USED
        cells = (
            column.file,
            column.column,
            column.taken_for,
            column.unit or MISSING,
            column.why,
            str(column.standing) if used else MISSING,
        )
        drawn.add_row(*(Text(plain_text(cell)) for cell in cells))
    return drawn


def _question(number: int, question: Question) -> Table:
    """Return a question with a hanging indent."""
    drawn = Table.grid(padding=(0, 1, 0, 0))
    drawn.add_column(justify="right", no_wrap=True)
    drawn.add_column(overflow="fold")
    proposed = "open" if question.proposal is None else f"proposed: {question.proposal}"
    known = "" if question.known is None else f"; {question.known}"
    text = f"{question.key}: {question.asking.text} ({proposed}{known})"
    drawn.add_row(Text(f"{number:3d}"), Text(plain_text(text)))
    return drawn


def _next_steps(folder: Path, asked: bool) -> list[str]:
    place = str(folder)
    steps = [f"answer the questions in {plain_text(str(folder / 'session.toml'))}; each says how"] if asked else []
    return [*steps, command("inspect", place), command("evaluate", place)]
