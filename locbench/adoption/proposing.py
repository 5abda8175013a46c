"""From foreign tables to a proposed session: every line with its reasons, every doubt a question."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.adoption.clock_evidence import Pace, clock_by_changes, clock_by_stands, pace_of, turning_pace_of
from locbench.adoption.drafts import Clock, Draft, odometry_clock, other_clock, seen_clock
from locbench.adoption.entries import NOT_USED, ColumnReport, Entry, Given, Section, plain_entry
from locbench.adoption.foreign_tables import ForeignTable
from locbench.adoption.headings import Visits
from locbench.adoption.kinds import SortedTables, TakenColumn, sorted_tables
from locbench.adoption.meanings import Meaning
from locbench.adoption.odometry_draft import draft_odometry
from locbench.adoption.other_drafts import draft_marks, draft_requests, draft_start, draft_track, visits_of
from locbench.adoption.questions import NOTHING_KNOWN, AnswerForm, Asking, Decision, Question, Standing, decide
from locbench.adoption.tags_draft import draft_tags
from locbench.arrays import FloatArray
from locbench.session import TableName

__all__ = ["Proposal", "propose"]

_BEGINNING_S = 1.0


@dataclass(frozen=True)
class Proposal:
    """A proposed session.

    Attributes
    ----------
    name
        The session's name.
    tables
        The tables it is made of.
    sections
        The session file, table by table.
    columns
        What every column is taken for.
    questions
        What is left to ask, in the order of the file.
    """

    name: str
    tables: tuple[ForeignTable, ...]
    sections: tuple[Section, ...]
    columns: tuple[ColumnReport, ...]
    questions: tuple[Question, ...]


def propose(tables: Sequence[ForeignTable], given: Given) -> Proposal:
    """Return the session that the tables look like.

    Parameters
    ----------
    tables
        As read, in any order.
    given
        The session's name, robot and field if they are known, and the answers so far.

    Raises
    ------
    SessionError
        If no table looks like odometry, or two like the same table of a session.
    """
    taken = sorted_tables(tables)
    drafts = {name: Draft(one, given) for name, one in taken.taken.items()}
    odometry = drafts[TableName.ODOMETRY]
    clock = odometry_clock(odometry)
    paces = _paces(odometry, clock)
    visits = None
    if TableName.MARKS in drafts:
        mark_clocks = _mark_clocks(drafts[TableName.MARKS], clock, odometry, paces)
        visits = visits_of(drafts[TableName.MARKS], mark_clocks)
        draft_marks(drafts[TableName.MARKS], mark_clocks)
    draft_odometry(odometry, clock, visits)
    start = _draft_the_rest(drafts, clock, visits, paces)
    sections = [_top(given), draft_start(given, start)]
    sections += [drafts[name].finished() for name in TableName if name in drafts]
    reports = [report for name in TableName if name in drafts for report in drafts[name].reports]
    return Proposal(
        name=given.name,
        tables=tuple(tables),
        sections=tuple(sections),
        columns=(*reports, *_unused(tables, taken, reports)),
        questions=_questions(sections),
    )


def _top(given: Given) -> Section:
    entries = [plain_entry("name", Decision("name", given.name, ""))]
    for key, path, example in (
        ("robot", given.robot_file, "configs/robot_three_pods.toml"),
        ("field", given.field_file, "configs/field_orchard.toml"),
    ):
        if path is not None:
            entries.append(plain_entry(key, Decision(key, path, "")))
            continue
        asking = Asking(
            f"which {key} file belongs to this log?",
            f"write one after the pattern of {example}, then adopt again with --{key} FILE, which answers other "
            "questions too, or write its path, from this folder",
            (),
            AnswerForm.FILE,
        )
        entries.append(plain_entry(key, decide(key, NOTHING_KNOWN, asking, {})))
    return Section("", tuple(entries))


def _paces(odometry: Draft, clock: Clock | None) -> list[Pace]:
    """Return how the odometry moves, and how it turns, as far as its columns and its clock tell."""
    if clock is None or clock.times_s is None:
        return []
    found = (pace_of(odometry.taken, clock.times_s), turning_pace_of(odometry.taken, clock.times_s))
    return [pace for pace in found if pace is not None]


def _mark_clocks(draft: Draft, clock: Clock | None, odometry: Draft, paces: Sequence[Pace]) -> dict[str, Clock]:
    begin, end = draft.role("begin", Meaning.BEGIN), draft.role("end", Meaning.END)
    if begin is not None and end is not None:
        keys = {"begin": begin, "end": end}
    else:
        press = draft.role("time", Meaning.TIME, Meaning.BEGIN, Meaning.CAPTURED)
        keys = {} if press is None else {"time": press}
    file = odometry.taken.table.file
    clocks = {key: other_clock(draft, key, taken, clock, file) for key, taken in keys.items()}
    times = [one.times_s for one in clocks.values() if one.times_s is not None]
    if not times or len(times) < len(clocks):
        return clocks
    seen = clock_by_stands(paces, times[0], times[-1])
    return {key: seen_clock(draft, one, seen) for key, one in clocks.items()}


def _draft_the_rest(
    drafts: dict[TableName, Draft], clock: Clock | None, visits: Visits | None, paces: Sequence[Pace]
) -> FloatArray | None:
    """Fill the other drafts, and return where the surest of them has the robot when the odometry begins."""
    file = drafts[TableName.ODOMETRY].taken.table.file
    begins_s = None if clock is None or clock.span_s is None else clock.span_s[0]
    first: list[FloatArray] = []
    for name in (TableName.TRUTH, TableName.TAGS, TableName.ONBOARD):
        if name not in drafts:
            continue
        own = _own_clock(drafts[name], clock, file, paces)
        if name is TableName.TAGS:
            arrived = drafts[name].role("arrived", Meaning.ARRIVED)
            later = None if arrived is None else other_clock(drafts[name], "arrived", arrived, clock, file)
            poses = draft_tags(drafts[name], own, later, visits)
        else:
            poses = draft_track(drafts[name], own, visits)
        if poses is not None and own is not None and own.times_s is not None and begins_s is not None:
            early = (own.times_s >= begins_s) & (own.times_s <= begins_s + _BEGINNING_S) & np.isfinite(poses[:, 0])
            first += [np.median(poses[early], axis=0)] if np.any(early) else []
    if TableName.REQUESTS in drafts:
        draft_requests(drafts[TableName.REQUESTS], _own_clock(drafts[TableName.REQUESTS], clock, file, paces))
    return first[0] if first else None


def _own_clock(draft: Draft, clock: Clock | None, odometry_file: str, paces: Sequence[Pace]) -> Clock | None:
    key, taken = ("captured", _captured(draft)) if draft.name is TableName.TAGS else ("time", _time(draft))
    if taken is None:
        return None
    own = other_clock(draft, key, taken, clock, odometry_file)
    if own.shared is None or own.times_s is None:
        return own
    return seen_clock(draft, own, clock_by_changes(paces, draft.taken, own.times_s))


def _time(draft: Draft) -> TakenColumn | None:
    return draft.role("time", Meaning.TIME, Meaning.CAPTURED)


def _captured(draft: Draft) -> TakenColumn | None:
    taken = draft.role("captured", Meaning.CAPTURED)
    time = draft.taken.column(Meaning.TIME)
    if taken is None and time is not None:
        return _moment_of_capture(time, draft.role("arrived", Meaning.ARRIVED))
    return taken


def _moment_of_capture(time: TakenColumn, arrived: TakenColumn | None) -> TakenColumn:
    """Return a column of times as that of the pictures: sure only if it lies before the arrival in every row."""
    if arrived is not None and time.column.reading.unit == arrived.column.reading.unit:
        waited = arrived.column.numbers - time.column.numbers
        if np.all(waited >= 0.0) and np.any(waited > 0.0):
            return TakenColumn(time.column, Meaning.CAPTURED, "it lies before the time of arrival in every row", True)
    why = "it is taken for the time of the picture, not of the result"
    return TakenColumn(time.column, Meaning.CAPTURED, why, False)


def _unused(tables: Sequence[ForeignTable], taken: SortedTables, reports: Sequence[ColumnReport]) -> list[ColumnReport]:
    """Return a line for every column that no key uses: nothing is dropped without a word."""
    used = {(report.file, report.column) for report in reports}
    known = {(file, column): why for file, column, why in taken.unused}
    sections: dict[str, str] = {}
    for name, one in taken.taken.items():
        sections.setdefault(one.table.file, str(name))
    lines = []
    for table in tables:
        section = sections.get(table.file)
        for column in table.columns:
            key = (table.file, column.name)
            if key not in used:
                why = f"a [{section}] of this kind has no key for it" if section else "the table is none of a session's"
                lines.append(ColumnReport(*key, NOT_USED, "", known.get(key, why), Standing.SURE))
    return lines


def _questions(sections: Sequence[Section]) -> tuple[Question, ...]:
    entries: list[Entry] = [entry for section in sections for entry in section.entries]
    found = {question.key: question for entry in reversed(entries) for question in reversed(entry.questions)}
    ordered = [question.key for entry in entries for question in entry.questions]
    return tuple(found[key] for key in dict.fromkeys(ordered))
