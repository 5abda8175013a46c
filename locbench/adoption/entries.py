"""The lines of a proposed session file, each with its reasons and its questions."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from locbench.adoption.foreign_tables import ForeignTable
from locbench.adoption.kinds import BY_NAME, TakenColumn
from locbench.adoption.questions import OPEN, Asking, Decision, Evidence, Question, Standing, Strength, decide
from locbench.adoption.unit_evidence import symbols_of
from locbench.config import FieldConfig, RobotConfig
from locbench.session.writer import toml_text
from locbench.units import Dimension

__all__ = [
    "NOT_USED",
    "ColumnReport",
    "Entry",
    "Given",
    "Section",
    "column_entry",
    "plain_entry",
    "table_entry",
    "unit_decision",
]

# What a column is taken for that no key of the session names.
NOT_USED = "not used"


@dataclass(frozen=True)
class Given:
    """What the user gave beside the tables: files, as the session names them and as read, and answers by key."""

    name: str
    robot_file: str | None = None
    robot: RobotConfig | None = None
    field_file: str | None = None
    field: FieldConfig | None = None
    answers: Mapping[str, str] | None = None

    @property
    def known_answers(self) -> Mapping[str, str]:
        """The answers by key; empty before anything was asked."""
        return self.answers or {}


@dataclass(frozen=True)
class Entry:
    """One line of the session file.

    `needed` lines are commented out while something in them is open, so that the key is missing and every command says
    so; other lines are written with "?" for what is open, which every command refuses: left out, they would mean
    something.
    """

    key: str
    value: str
    reasons: tuple[str, ...] = ()
    questions: tuple[Question, ...] = ()
    needed: bool = True

    @property
    def is_open(self) -> bool:
        """Whether something in the line is not decided at all."""
        return any(question.proposal is None for question in self.questions)


@dataclass(frozen=True)
class Section:
    """One table of the session file; the name is empty for the keys above all tables."""

    name: str
    entries: tuple[Entry, ...]


@dataclass(frozen=True)
class ColumnReport:
    """What one column is taken for, for a table on the screen."""

    file: str
    column: str
    taken_for: str
    unit: str
    why: str
    standing: Standing


def plain_entry(key: str, decision: Decision, needed: bool = True) -> Entry:
    """Return the entry of a text value."""
    questions = () if decision.question is None else (decision.question,)
    return Entry(key, toml_text(decision.written), (decision.why,), questions, needed)


def _inline(keys: Mapping[str, str]) -> str:
    return "{ " + ", ".join(f"{key} = {toml_text(value)}" for key, value in keys.items()) + " }"


def table_entry(key: str, decisions: Mapping[str, Decision], needed: bool = False) -> Entry:
    """Return the entry of a table in one line, such as frame = { heading_sense = "clockwise" }."""
    reasons = dict.fromkeys(f"{decision.key.rsplit('.', 1)[-1]}: {decision.why}" for decision in decisions.values())
    questions = {decision.question: None for decision in decisions.values() if decision.question is not None}
    written = {name: decision.written for name, decision in decisions.items()}
    return Entry(key, _inline(written), tuple(reasons), tuple(questions), needed)


def unit_decision(
    key: str, taken: TakenColumn, table: ForeignTable, dimension: Dimension, evidence: Evidence, given: Given
) -> Decision:
    """Return the decision on the unit of a column; `key` is that of the column."""
    asking = Asking(
        f'which unit of {dimension} is "{taken.column.name}" of {table.file} in?',
        "read the line of the robot's program that writes this column, or push the robot by hand, motors off, and look",
        symbols_of(dimension),
        about_a_clock=dimension is Dimension.TIME,
    )
    return decide(f"{key}.unit", evidence, asking, given.known_answers)


def column_entry(
    section: str,
    key: str,
    taken: TakenColumn,
    table: ForeignTable,
    unit: Decision | None,
    given: Given,
    *,
    needed: bool,
) -> tuple[Entry, ColumnReport]:
    """Return the entry of a column and its line on the screen; columns without a unit are named by their name alone."""
    role = _role_decision(f"{section}.{key}.column", taken, table, given)
    decisions = [role] if unit is None else [role, unit]
    value = toml_text(taken.column.name)
    if unit is not None:
        value = _inline({"column": taken.column.name, "unit": unit.written})
    questions = tuple(decision.question for decision in decisions if decision.question is not None)
    reasons = _because(taken, unit)
    standings = [decision.standing for decision in decisions]
    standing = next(found for found in (Standing.OPEN, Standing.ASKED, Standing.SURE) if found in standings)
    report = ColumnReport(
        table.file, taken.column.name, str(taken.meaning), "" if unit is None else unit.written, reasons, standing
    )
    return Entry(key, value, (reasons,), questions, needed), report


def _because(taken: TakenColumn, unit: Decision | None) -> str:
    if unit is None:
        return f"by {taken.why}" if taken.why == BY_NAME else taken.why
    return unit.why if taken.why == BY_NAME else f"{taken.why}; unit: {unit.why}"


def _role_decision(key: str, taken: TakenColumn, table: ForeignTable, given: Given) -> Decision:
    """Return the decision on what a column is: asked where only its numbers say so."""
    choices: Sequence[str] = tuple(column.name for column in table.columns if column.is_numeric)
    asking = Asking(
        f"which column of {table.file} is the {taken.meaning}?",
        "look into the robot's program; the name alone does not say it",
        tuple(choices),
    )
    strength = Strength.SHOWN if taken.by_name else Strength.HINTED
    return decide(key, Evidence(taken.column.name, taken.why, strength), asking, given.known_answers)


def open_line(entry: Entry) -> str:
    """Return the line as it stands in the file."""
    line = f"{entry.key} = {entry.value}"
    return f"# {line}" if entry.is_open and entry.needed and OPEN in entry.value else line
