"""Proposes [marks], [truth], [onboard], [requests] and [start]."""

import math
from collections.abc import Mapping

import numpy as np

from locbench.adoption.drafts import Clock, Draft
from locbench.adoption.entries import Entry, Given, Section, plain_entry, table_entry
from locbench.adoption.foreign_tables import ForeignColumn
from locbench.adoption.headings import Visits
from locbench.adoption.meanings import Meaning
from locbench.adoption.odometry_draft import add_positions
from locbench.adoption.questions import (
    NOTHING_KNOWN,
    AnswerForm,
    Asking,
    Decision,
    Evidence,
    Strength,
    decide,
)
from locbench.adoption.tracks import placed_frame, track_of
from locbench.arrays import FloatArray
from locbench.config.columns import Frame
from locbench.config.field import FieldConfig, Mark
from locbench.session.frames import field_poses
from locbench.units import UNITS

__all__ = ["draft_marks", "draft_requests", "draft_start", "draft_track", "visits_of"]

_STD_HOW = "survey the mark several times afresh; the scatter is its standard uncertainty, some mm and tenths of a deg"
_NEAR_MARK_M = 0.25


def draft_marks(draft: Draft, clocks: Mapping[str, Clock]) -> None:
    """Fill the draft of [marks]; `clocks` are those of its keys, `time` or `begin` and `end`."""
    draft.text("file", draft.taken.table.file, "")
    for key, clock in clocks.items():
        draft.clock(key, clock)
    if not clocks:
        draft.missing("time", Meaning.TIME)
    for clock in list(clocks.values())[:1]:
        draft.offset(clock)
    mark = draft.role("mark", Meaning.MARK, Meaning.TAG)
    if mark is not None:
        draft.column("mark", mark, None, needed=True)
        _add_missing_spreads(draft, mark.column)
        return
    columns = dict(draft.taken.columns)
    if Meaning.X not in columns or Meaning.Y not in columns:
        draft.missing("mark", Meaning.MARK)
        return
    track = track_of("marks", draft.taken.table, columns, None, None, draft.given)
    add_positions(draft, columns, track.length)
    heading = columns.get(Meaning.HEADING)
    if heading is not None and track.angle is not None:
        draft.column("heading", heading, track.angle, needed=False)
        draft.decided("heading_std", _spread(draft, "marks", "heading_std", AnswerForm.ANGLE), needed=True)
    draft.decided("position_std", _spread(draft, "marks", "position_std", AnswerForm.LENGTH), needed=True)
    draft.entries.append(table_entry("frame", placed_frame(track, heading, draft.given)))


def _spread(draft: Draft, section: str, key: str, form: AnswerForm) -> Decision:
    asking = Asking(f"how exactly were the marks surveyed, {key}?", _STD_HOW, (), form)
    return decide(f"{section}.{key}", NOTHING_KNOWN, asking, draft.given.known_answers)


def _add_missing_spreads(draft: Draft, column: ForeignColumn) -> None:
    """Ask for the uncertainty of marks that the field file gives none for."""
    marks = _marks_by_name(draft.given.field)
    visited = [marks[name] for name in set(column.cells) if name in marks]
    if any(mark.position_std is None for mark in visited):
        draft.decided("position_std", _spread(draft, "marks", "position_std", AnswerForm.LENGTH), needed=True)
    if any(mark.heading is not None and mark.heading_std is None for mark in visited):
        draft.decided("heading_std", _spread(draft, "marks", "heading_std", AnswerForm.ANGLE), needed=True)


def _marks_by_name(field: FieldConfig | None) -> dict[str, Mark]:
    return {} if field is None else {mark.name: mark for mark in field.marks}


def visits_of(draft: Draft, clocks: Mapping[str, Clock]) -> Visits | None:
    """Return the visits of marks that the field file knows, or None while clocks or marks are not known."""
    marks, column = _marks_by_name(draft.given.field), draft.role("mark", Meaning.MARK, Meaning.TAG)
    times = [clock.times_s for clock in clocks.values()]
    if not marks or column is None or not times or any(one is None for one in times):
        return None
    begin, end = np.asarray(times[0]), np.asarray(times[-1])
    rows = [
        row
        for row, name in enumerate(column.column.cells)
        if name in marks and np.isfinite(begin[row]) and np.isfinite(end[row])
    ]
    if not rows:
        return None
    poses = [
        (mark.x, mark.y, math.nan if mark.heading is None else mark.heading)
        for mark in (marks[column.column.cells[row]] for row in rows)
    ]
    return Visits(begin[rows], end[rows], np.array(poses))


def draft_track(draft: Draft, clock: Clock | None, visits: Visits | None) -> FloatArray | None:
    """Fill the draft of [truth] or [onboard]; return its poses (N, 3) in the field frame if that is known."""
    draft.text("file", draft.taken.table.file, "")
    if clock is None:
        draft.missing("time", Meaning.TIME)
    else:
        draft.clock("time", clock)
        draft.offset(clock)
    columns = dict(draft.taken.columns)
    times = None if clock is None else clock.times_s
    track = track_of(str(draft.name), draft.taken.table, columns, times, visits, draft.given)
    add_positions(draft, columns, track.length)
    heading = columns.get(Meaning.HEADING)
    if heading is not None and track.angle is not None:
        draft.column("heading", heading, track.angle, needed=False)
    frame = placed_frame(track, heading, draft.given)
    draft.entries.append(table_entry("frame", frame))
    return poses_in_field(track.points, track.headings, track.length, track.angle, frame)


def poses_in_field(
    points: FloatArray,
    headings: FloatArray | None,
    length: Decision,
    angle: Decision | None,
    frame: Mapping[str, Decision],
) -> FloatArray | None:
    """Return poses (N, 3) in the field frame, or None while a unit or a part of the frame is open."""
    if length.value is None or any(decision.value is None for decision in frame.values()):
        return None
    turned = np.full(len(points), np.nan)
    if headings is not None and angle is not None and angle.value is not None:
        turned = headings * UNITS[angle.value].factor
    placed = Frame.model_validate({key: decision.value for key, decision in frame.items()})
    x_m, y_m = (points * UNITS[length.value].factor).T
    return field_poses(x_m, y_m, turned, placed)


def draft_requests(draft: Draft, clock: Clock | None) -> None:
    """Fill the draft of [requests]."""
    draft.text("file", draft.taken.table.file, "")
    if clock is None:
        draft.missing("time", Meaning.TIME)
    else:
        draft.clock("time", clock)
        draft.offset(clock)


def draft_start(given: Given, first_pose: FloatArray | None) -> Section:
    """Return [start]; `first_pose` is where another table has the robot when the odometry begins."""
    marks = _marks_by_name(given.field)
    evidence = _nearest_mark(marks, first_pose)
    asking = Asking(
        "on which mark of the field file did the robot stand when the log began?",
        "if on none, write x, y, heading, position_std and heading_std into [start] instead; the last two also where "
        "the field file gives none for the mark",
        tuple(marks),
    )
    mark = decide("start.mark", evidence, asking, given.known_answers)
    entries = [plain_entry("mark", mark)]
    chosen = marks.get(mark.value or "")
    for key, form in (("position_std", AnswerForm.LENGTH), ("heading_std", AnswerForm.ANGLE)):
        carried = [getattr(one, key) for one in ([chosen] if chosen else marks.values())]
        if None in carried:
            entries.append(_start_spread(key, form, given))
    if chosen is not None and chosen.heading is None:
        heading = Asking("where did the robot point when the log began?", "from field +x", (), AnswerForm.ANGLE)
        entries.append(plain_entry("heading", decide("start.heading", NOTHING_KNOWN, heading, given.known_answers)))
    return Section("start", tuple(entries))


def _start_spread(key: str, form: AnswerForm, given: Given) -> Entry:
    asking = Asking(
        f"how exactly was the robot placed at the start, {key}?",
        "place it several times afresh; the scatter is the standard uncertainty, some mm and tenths of a deg",
        (),
        form,
    )
    return plain_entry(key, decide(f"start.{key}", NOTHING_KNOWN, asking, given.known_answers))


def _nearest_mark(marks: Mapping[str, Mark], pose: FloatArray | None) -> Evidence:
    if pose is None or not marks:
        return Evidence(None, "no table shows where the robot stood", Strength.NOTHING)
    distances = {name: math.dist((mark.x, mark.y), pose[:2]) for name, mark in marks.items()}
    name = min(distances, key=lambda one: distances[one])
    if distances[name] > _NEAR_MARK_M:
        return Evidence(None, "it did not stand on a mark", Strength.NOTHING)
    why = f"the first pose lies {1000.0 * distances[name]:.0f} mm from it"
    return Evidence(name, why, Strength.HINTED)
