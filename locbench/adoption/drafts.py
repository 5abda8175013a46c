"""Drafts of the session file's tables: columns are looked up, their units decided, and all of it kept with reasons."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np

from locbench.adoption.entries import ColumnReport, Entry, Given, Section, column_entry, plain_entry, unit_decision
from locbench.adoption.kinds import TakenColumn, TakenTable
from locbench.adoption.meanings import DIMENSION, Meaning
from locbench.adoption.questions import (
    OPEN,
    AnswerForm,
    Asking,
    Decision,
    Evidence,
    Question,
    Strength,
    decide,
)
from locbench.adoption.unit_evidence import clock_unit, clock_unit_beside
from locbench.arrays import FloatArray
from locbench.session import TableName
from locbench.session.writer import toml_text
from locbench.units import UNITS, parse_quantity

__all__ = ["Clock", "Draft", "odometry_clock", "other_clock", "seen_clock"]

_MOST_OUTSIDE = 0.5


@dataclass(frozen=True)
class Clock:
    """One time column: its unit, its times (N,) on the odometry's clock, and the offset, where one is needed.

    The times are None while the unit or the offset is open. `shared` says why the clock is taken to be the odometry's.
    """

    taken: TakenColumn
    unit: Decision
    times_s: FloatArray | None
    offset: Decision | None = None
    shared: str | None = None

    @property
    def own_s(self) -> FloatArray | None:
        """Its times (N,) on its own clock, None while the unit is open."""
        return _seconds(self.taken, self.unit)

    @property
    def span_s(self) -> tuple[float, float] | None:
        """First and last time, None while they are not known."""
        if self.times_s is None or not np.any(np.isfinite(self.times_s)):
            return None
        first, last = float(np.nanmin(self.times_s)), float(np.nanmax(self.times_s))
        return (first, last) if last > first else None


@dataclass
class Draft:
    """Collects the lines of one table of the session, and what its columns are taken for."""

    taken: TakenTable
    given: Given
    entries: list[Entry] = field(default_factory=list)
    reports: list[ColumnReport] = field(default_factory=list)

    @property
    def name(self) -> TableName:
        """Which table of the session it is."""
        return self.taken.section

    def finished(self) -> Section:
        """Return the table as it stands now."""
        return Section(str(self.name), tuple(self.entries))

    def text(self, key: str, value: str, why: str) -> None:
        """Add a line that needs no question."""
        self.entries.append(Entry(key, toml_text(value), (why,)))

    def decided(self, key: str, decision: Decision, needed: bool = False) -> None:
        """Add a line of its own for a decision."""
        self.entries.append(plain_entry(key, decision, needed))

    def role(self, key: str, *meanings: Meaning) -> TakenColumn | None:
        """Return the column for a key: the user's answer, else the first of the meanings that a column has."""
        answer = self.given.known_answers.get(f"{self.name}.{key}.column")
        if answer is not None:
            column = next((one for one in self.taken.table.columns if one.name == answer), None)
            if column is not None:
                return TakenColumn(column, meanings[0], "you said so", True)
        return next((found for meaning in meanings if (found := self.taken.column(meaning)) is not None), None)

    def column(self, key: str, taken: TakenColumn, unit: Decision | None, *, needed: bool) -> None:
        """Add the line of a column."""
        entry, report = column_entry(str(self.name), key, taken, self.taken.table, unit, self.given, needed=needed)
        self.entries.append(entry)
        self.reports.append(report)

    def measured(self, key: str, meaning: Meaning, evidence: Evidence, *, needed: bool) -> Decision | None:
        """Add the line of a column with a unit, if there is such a column, and return the decision on the unit."""
        taken = self.role(key, meaning)
        if taken is None:
            return None
        unit = unit_decision(f"{self.name}.{key}", taken, self.taken.table, DIMENSION[meaning], evidence, self.given)
        self.column(key, taken, unit, needed=needed)
        return unit

    def missing(self, key: str, meaning: Meaning) -> None:
        """Add a line for a column that the session needs and that no name or number points to."""
        choices = tuple(column.name for column in self.taken.table.columns if column.is_numeric)
        asking = Asking(
            f"which column of {self.taken.table.file} is the {meaning}?",
            "if none is, log it: the session cannot be read without it",
            choices,
        )
        question = Question(f"{self.name}.{key}.column", asking, None, "no name or number points to it")
        value = f"{{ column = {toml_text(OPEN)}, unit = {toml_text(OPEN)} }}"
        self.entries.append(Entry(key, value, (), (question,)))

    def clock(self, key: str, clock: Clock) -> None:
        """Add the line of a clock's column."""
        self.column(key, clock.taken, clock.unit, needed=True)
        if clock.shared is not None:
            self.entries[-1] = replace(self.entries[-1], reasons=(*self.entries[-1].reasons, clock.shared))

    def offset(self, clock: Clock) -> None:
        """Add the line of a clock's offset, if it needs one."""
        if clock.offset is not None:
            self.decided("offset", clock.offset)

    def needed(self, key: str, meaning: Meaning, evidence: Mapping[Meaning, Evidence]) -> None:
        """Add the line of a column that must be there."""
        if self.measured(key, meaning, evidence[meaning], needed=True) is None:
            self.missing(key, meaning)


def odometry_clock(draft: Draft) -> Clock | None:
    """Return the odometry's clock, or None without a column for it."""
    taken = draft.role("time", Meaning.TIME, Meaning.CAPTURED)
    if taken is None:
        return None
    unit = unit_decision(
        f"{draft.name}.time",
        taken,
        draft.taken.table,
        DIMENSION[Meaning.TIME],
        clock_unit(taken.column),
        draft.given,
    )
    return Clock(taken, unit, _seconds(taken, unit))


def other_clock(draft: Draft, key: str, taken: TakenColumn, odometry: Clock | None, odometry_file: str) -> Clock:
    """Return the clock of another table, on the odometry's.

    Times of which most lie outside the odometry's are another clock: they need an offset, and have no times till then.
    """
    span = None if odometry is None else odometry.span_s
    table = draft.taken.table
    same_rows = odometry_file in (table.file, table.parted_from)
    if odometry is not None and same_rows and taken.column.name == odometry.taken.column.name:
        return Clock(taken, odometry.unit, _seconds(taken, odometry.unit))
    evidence = clock_unit_beside(taken.column, span)
    unit = unit_decision(f"{draft.name}.{key}", taken, table, DIMENSION[Meaning.TIME], evidence, draft.given)
    times = _seconds(taken, unit)
    if times is None or span is None:
        return Clock(taken, unit, times if span is not None else None)
    inside = ((times >= span[0]) & (times <= span[1]))[np.isfinite(times)]
    share = float(np.mean(inside)) if len(inside) else 0.0
    if share > _MOST_OUTSIDE:
        shared = f"{share:.0%} of its times lie within the odometry's"
        return Clock(taken, unit, times, shared=shared)
    return _shifted(Clock(taken, unit, times), _offset(draft, times, span))


def seen_clock(draft: Draft, clock: Clock, seen: Evidence) -> Clock:
    """Return a clock that is taken to be the odometry's, with an offset unless the motion shows that it needs none.

    Times within the odometry's only suggest one clock: two programs that begin a few seconds apart have such, too.
    """
    if clock.shared is None:
        return clock
    if seen.strength is Strength.SHOWN and f"{draft.name}.offset" not in draft.given.known_answers:
        return replace(clock, shared=f"{clock.shared}; {seen.why}")
    evidence = replace(seen, why=f"{clock.shared}; {seen.why}")
    offset = decide(f"{draft.name}.offset", evidence, _asking_offset(draft, seen.value), draft.given.known_answers)
    return _shifted(replace(clock, shared=None), offset)


def _shifted(clock: Clock, offset: Decision) -> Clock:
    shift = None if offset.value is None else parse_quantity(offset.value, DIMENSION[Meaning.TIME])
    times = clock.times_s
    return replace(clock, times_s=None if shift is None or times is None else times + shift, offset=offset)


def _seconds(taken: TakenColumn, unit: Decision) -> FloatArray | None:
    return None if unit.value is None else taken.column.numbers * UNITS[unit.value].factor


def _offset(draft: Draft, times: FloatArray, span: tuple[float, float]) -> Decision:
    first, last = float(np.nanmin(times)), float(np.nanmax(times))
    why = (
        f"its times run from {first:.10g} s to {last:.10g} s, the odometry's from {span[0]:.10g} s to "
        f"{span[1]:.10g} s: two clocks"
    )
    asking = _asking_offset(draft, f"{span[0] - first:.10g} s", "Had both begun together, it would be")
    return decide(f"{draft.name}.offset", Evidence(None, why, Strength.NOTHING), asking, draft.given.known_answers)


def _asking_offset(draft: Draft, value: str | None, told: str = "The motion suggests") -> Asking:
    return Asking(
        f"what must be added to the times of {draft.taken.table.file}?",
        "find one moment in both tables, such as the first motion; the offset is the odometry's time minus this "
        f"table's. {told} {value}",
        (),
        AnswerForm.OFFSET,
        about_a_clock=True,
    )
