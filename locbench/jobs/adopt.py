"""`locbench adopt`: from foreign tables to a session folder."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from locbench.adoption.entries import Given
from locbench.adoption.foreign_tables import ForeignTable, read_foreign_table
from locbench.adoption.proposing import Proposal, propose
from locbench.adoption.questions import AnswerForm, Question
from locbench.adoption.wide_tables import parted_tables
from locbench.adoption.writing import refuse_foreign_folder, write_adopted
from locbench.config import FieldConfig, RobotConfig, load_config
from locbench.errors import UsageError
from locbench.session.writer import relative_path

__all__ = ["Adopted", "Ask", "adopt", "leave_open"]

# Returns the answer to a question, as it is written into the file, or None to leave it open.
Ask = Callable[[Question], str | None]


@dataclass(frozen=True)
class Adopted:
    """A proposal that was written, where, and the names of its files."""

    proposal: Proposal
    folder: Path
    files: tuple[str, ...]


def leave_open(question: Question) -> None:
    """Answer nothing: where nobody can be asked, the question is written into the file."""
    del question


def adopt(
    files: Sequence[Path],
    out: Path,
    robot_file: Path | None = None,
    field_file: Path | None = None,
    name: str | None = None,
    ask: Ask = leave_open,
) -> Adopted:
    """Propose a session from foreign tables and write it as a folder.

    Parameters
    ----------
    files
        Text tables in any dialect.
    out
        Folder for the clean tables and session.toml; made if it is missing.
    robot_file, field_file
        What the session names; without them that is a question.
    name
        Of the session; the folder's if it is left out.
    ask
        Called with every question whose answer somebody could know now; each answer may settle others.

    Raises
    ------
    LocbenchError
        If a table or file cannot be used, or the folder cannot be written; nothing is written then.
    """
    tables = _read(files)
    refuse_foreign_folder(out, [table.file for table in tables])
    given = Given(
        name=name or out.resolve().name or "session",
        robot_file=None if robot_file is None else relative_path(robot_file, out),
        robot=None if robot_file is None else load_config(robot_file, RobotConfig),
        field_file=None if field_file is None else relative_path(field_file, out),
        field=None if field_file is None else load_config(field_file, FieldConfig),
    )
    proposal = _asked(tables, given, ask)
    return Adopted(proposal, out, tuple(write_adopted(proposal, out)))


def _read(files: Sequence[Path]) -> list[ForeignTable]:
    if not files:
        raise UsageError("no table given", remedy="Name at least one CSV file")
    tables: list[ForeignTable] = []
    for path in files:
        table = read_foreign_table(path)
        if any(table.file.lower() == one.file.lower() for one in tables):
            raise UsageError(
                f"two tables would become {table.file}", where=str(path), remedy="Give one of them another name"
            )
        tables.append(table)
    return parted_tables(tables)


def _asked(tables: Sequence[ForeignTable], given: Given, ask: Ask) -> Proposal:
    """Return the proposal after every question was put once; each answer may settle or raise others."""
    answers: dict[str, str] = {}
    put: set[str] = set()
    while True:
        proposal = propose(tables, replace(given, answers=answers))
        waiting = [one for one in proposal.questions if one.key not in put and one.asking.form is not AnswerForm.FILE]
        if not waiting:
            return proposal
        question = next((one for one in waiting if one.asking.about_a_clock), waiting[0])
        put.add(question.key)
        answer = ask(question)
        if answer is not None:
            answers[question.key] = answer
