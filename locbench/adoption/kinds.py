"""Which table of a session each foreign table is, and which of its columns stands for what."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from locbench.adoption.foreign_tables import ForeignColumn, ForeignTable
from locbench.adoption.headers import words_of
from locbench.adoption.meanings import (
    AXIS_WORDS,
    GYRO_WORDS,
    ONBOARD_WORDS,
    POD_SIDES,
    REQUEST_WORDS,
    SIDEWAYS_WORDS,
    TRUTH_WORDS,
    Meaning,
    named_meaning,
)
from locbench.adoption.unit_evidence import turns_over
from locbench.errors import SessionError
from locbench.session import TableName

__all__ = ["BY_NAME", "SortedTables", "TakenColumn", "TakenTable", "looks_like_clock", "sorted_tables"]


@dataclass(frozen=True)
class TakenColumn:
    """A column, what it is taken for, why, and whether its name says so; else the user must confirm it."""

    column: ForeignColumn
    meaning: Meaning
    why: str
    by_name: bool


@dataclass(frozen=True)
class TakenTable:
    """A foreign table as one table of the session; pods are several columns, everything else is one."""

    section: TableName
    table: ForeignTable
    columns: Mapping[Meaning, TakenColumn]
    pods: tuple[TakenColumn, ...] = ()

    def column(self, meaning: Meaning) -> TakenColumn | None:
        """Return the column taken for that, or None."""
        return self.columns.get(meaning)


@dataclass(frozen=True)
class SortedTables:
    """The session's tables, and file, column and reason of what is not used."""

    taken: Mapping[TableName, TakenTable]
    unused: tuple[tuple[str, str, str], ...]


# Why a column is taken for something where nothing more need be said.
BY_NAME = "its name"
_MARKS_WORDS = frozenset({"mark", "marks", "visit", "visits", "dwell", "dwells"})
_TAGS_WORDS = frozenset({"tag", "tags", "camera", "vision", "detections", "fiducials", "beacons", "ranges"})
_POSE = (Meaning.X, Meaning.Y)
_ALONG_AXES = (Meaning.FORWARD_SPEED, Meaning.LEFT_SPEED, Meaning.FORWARD_STEP, Meaning.LEFT_STEP)
_MOVING = (Meaning.FORWARD_SPEED, Meaning.FORWARD_STEP)
# Counters count up in hundreds; ids and flags do not.
_FEWEST_COUNTS = 200.0


def sorted_tables(tables: Sequence[ForeignTable]) -> SortedTables:
    """Return which table is which.

    Raises
    ------
    SessionError
        If no table looks like odometry, or two like the same table of a session.
    """
    taken: dict[TableName, TakenTable] = {}
    unused: list[tuple[str, str, str]] = []
    for table in tables:
        found = _taken_from(table, unused)
        for one in found:
            if one.section in taken:
                raise SessionError(
                    f"two tables look like [{one.section}]: {taken[one.section].table.file} and {table.file}",
                    remedy="Name one of them, or put a word such as odometry, tags, marks, truth or onboard into its "
                    "file name",
                )
            taken[one.section] = one
    if TableName.ODOMETRY not in taken and TableName.ONBOARD in taken:
        # a pose that the robot computed is its odometry where nothing rawer was logged
        pose = taken.pop(TableName.ONBOARD)
        taken[TableName.ODOMETRY] = TakenTable(TableName.ODOMETRY, pose.table, pose.columns)
    if TableName.ODOMETRY not in taken:
        names = ", ".join(column.name for table in tables for column in table.columns)
        raise SessionError(
            "none of these tables looks like odometry",
            where=", ".join(table.file for table in tables),
            received=names[:200],
            remedy="Name its columns: pod counts enc_left, enc_right, enc_cross; speeds v_forward, v_left, turn_rate; "
            "steps dx, dy, dtheta; or poses x, y, heading; and the time t",
        )
    return SortedTables({name: taken[name] for name in TableName if name in taken}, tuple(unused))


def _owner(column: ForeignColumn) -> TableName | None:
    """Return whose pose a column belongs to, if its name says so."""
    words = set(column.reading.words)
    if words & TRUTH_WORDS:
        return TableName.TRUTH
    return TableName.ONBOARD if words & ONBOARD_WORDS else None


def _taken_from(table: ForeignTable, unused: list[tuple[str, str, str]]) -> list[TakenTable]:
    by_owner: dict[TableName | None, dict[Meaning, TakenColumn]] = {None: {}}
    pods: list[TakenColumn] = []
    rest: list[ForeignColumn] = []
    for column in table.columns:
        meaning = _meaning(column, table)
        if meaning is Meaning.POD and column.is_numeric:
            pods.append(TakenColumn(column, meaning, BY_NAME, True))
        elif meaning is None or meaning is Meaning.POD or not (column.is_numeric or _may_be_text(meaning)):
            rest.append(column)
        elif meaning in by_owner.setdefault(_owner(column), {}):
            first = by_owner[_owner(column)][meaning].column.name
            unused.append((table.file, column.name, f'"{first}" is taken for the {meaning} already'))
        else:
            by_owner[_owner(column)][meaning] = _by_name(column, meaning, table)
    main = by_owner.pop(None)
    _add_by_data(main, pods, rest)
    unused += [(table.file, column.name, _why_not(column)) for column in rest]
    return _sections(table, main, pods, by_owner)


def _by_name(column: ForeignColumn, meaning: Meaning, table: ForeignTable) -> TakenColumn:
    """Return what a name says, asked about where it may mean two things.

    x and y of a motion may be the robot's axes or the field's, sideways either way; a gyro's column may hold rates.
    """
    words = set(column.reading.words)
    if meaning in _ALONG_AXES and not words & AXIS_WORDS:
        why = "it is taken along the robot's own axes, forward and left; along the field's it would be of no use"
        if words & SIDEWAYS_WORDS:
            why = "it is taken to grow to the robot's left; one that grows to the right would mirror the way"
        return TakenColumn(column, meaning, why, False)
    if meaning is Meaning.LEFT_SPEED and any("right" in other.reading.words for other in table.columns):
        why = "it is taken for the speed to the left; that of a left wheel would be of no use"
        return TakenColumn(column, meaning, why, False)
    if meaning is Meaning.HEADING and words & GYRO_WORDS and column.reading.unit is None and not turns_over(column):
        return TakenColumn(column, meaning, "it is taken for an angle; a gyro may log the turn rate instead", False)
    return TakenColumn(column, meaning, BY_NAME, True)


def _why_not(column: ForeignColumn) -> str:
    if not column.is_numeric:
        return "it holds no numbers, and its name says nothing known"
    return "neither its name nor its numbers say what it is; rename it if it is needed"


def _may_be_text(meaning: Meaning) -> bool:
    return meaning in (Meaning.MARK, Meaning.TAG)


def _meaning(column: ForeignColumn, table: ForeignTable) -> Meaning | None:
    meaning = named_meaning(column.reading)
    if meaning is Meaning.MARK and not set(words_of(table.file)) & _MARKS_WORDS and column.is_numeric:
        return None
    if meaning is Meaning.LEFT_STEP and _is_counter(column) and any(_counts_right(other) for other in table.columns):
        # one pod of several, named after its side or its direction
        return None
    return meaning


def _counts_right(column: ForeignColumn) -> bool:
    return "right" in column.reading.words and _is_counter(column)


def _add_by_data(main: dict[Meaning, TakenColumn], pods: list[TakenColumn], rest: list[ForeignColumn]) -> None:
    """Find a clock and counters among the columns whose names say nothing."""
    if not set(main) & {Meaning.TIME, Meaning.CAPTURED, Meaning.BEGIN, Meaning.ARRIVED}:
        clock = next((column for column in rest if looks_like_clock(column)), None)
        if clock is not None:
            rest.remove(clock)
            main[Meaning.TIME] = TakenColumn(clock, Meaning.TIME, "it grows from row to row in even steps", False)
    if Meaning.TAG in main:
        return
    sides = {word for words in POD_SIDES.values() for word in words}
    others_are_named = bool(pods)
    for column in [column for column in rest if _is_counter(column)]:
        named = bool(set(column.reading.words) & sides)
        if others_are_named and not named:
            continue
        why = "whole numbers that go on counting" + (", and its name is a side" if named else "")
        rest.remove(column)
        pods.append(TakenColumn(column, Meaning.POD, why, named))


def looks_like_clock(column: ForeignColumn) -> bool:
    """Return whether the numbers of a column grow from row to row in even steps."""
    values = column.numbers
    if len(values) < 10 or not np.all(np.isfinite(values)):
        return False
    steps = np.diff(values)
    middle = float(np.median(steps))
    even = np.abs(steps - middle) <= 0.5 * middle
    return bool(np.all(steps >= 0.0) and middle > 0.0 and np.mean(even) > 0.9)


def _is_counter(column: ForeignColumn) -> bool:
    if len(column.cells) < 10 or not column.is_whole or looks_like_clock(column):
        return False
    values = column.numbers
    steps = np.abs(np.diff(values))
    span = float(np.ptp(values))
    # a counter moves by small steps, wrap-arounds and restarts aside
    return span > _FEWEST_COUNTS and float(np.median(steps)) < 0.05 * span and float(np.mean(steps > 0.3 * span)) < 0.01


def _sections(
    table: ForeignTable,
    main: dict[Meaning, TakenColumn],
    pods: list[TakenColumn],
    by_owner: Mapping[TableName | None, dict[Meaning, TakenColumn]],
) -> list[TakenTable]:
    section = _section_of(table, main, pods)
    clock = main.get(Meaning.TIME)
    found = []
    if section is TableName.ODOMETRY and (pods or set(main) & set(_MOVING)) and set(_POSE) <= set(main):
        # the pose beside the sensors is what the robot made of them
        onboard = {meaning: main[meaning] for meaning in (*_POSE, Meaning.HEADING) if meaning in main}
        main = {meaning: one for meaning, one in main.items() if meaning not in _POSE}
        by_owner = {TableName.ONBOARD: onboard, **by_owner}
    if section is not None:
        found.append(TakenTable(section, table, main, tuple(pods)))
    for owner, columns in by_owner.items():
        if owner is not None and set(_POSE) <= set(columns) and owner is not section:
            shared = columns if clock is None or Meaning.TIME in columns else {Meaning.TIME: clock, **columns}
            found.append(TakenTable(owner, table, shared))
    return found


def _section_of(
    table: ForeignTable, main: Mapping[Meaning, TakenColumn], pods: Sequence[TakenColumn]
) -> TableName | None:
    words, has = set(words_of(table.file.removesuffix(".csv"))), set(main)
    posed = set(_POSE) <= has
    if posed and words & TRUTH_WORDS:
        return TableName.TRUTH
    if posed and words & ONBOARD_WORDS:
        return TableName.ONBOARD
    # who presses on a mark logs which one; who presses for a correction has nothing else to log
    if words & REQUEST_WORDS and has & {Meaning.TIME, Meaning.CAPTURED} and Meaning.MARK not in has:
        return TableName.REQUESTS
    if words & _MARKS_WORDS and (Meaning.MARK in has or posed or Meaning.TAG in has):
        return TableName.MARKS
    seen = posed or has & {Meaning.RANGE, Meaning.BEARING} or {Meaning.FORWARD_STEP, Meaning.LEFT_STEP} <= has
    if Meaning.TAG in has and seen:
        return TableName.TAGS
    if words & _TAGS_WORDS and has & {Meaning.RANGE, Meaning.BEARING}:
        return TableName.TAGS
    if Meaning.MARK in has and has & {Meaning.TIME, Meaning.BEGIN}:
        return TableName.MARKS
    if pods or has & set(_MOVING):
        return TableName.ODOMETRY
    if posed:
        # beside pods in another table this becomes the robot's own pose
        return TableName.ONBOARD if not words & {"odometry", "odo"} else TableName.ODOMETRY
    return None
