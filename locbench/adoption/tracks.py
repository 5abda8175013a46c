"""The frame of poses on the field, and the sense of headings: as far as marks, pods and motion show them."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from locbench.adoption.entries import Given, unit_decision
from locbench.adoption.foreign_tables import ForeignTable
from locbench.adoption.headings import (
    SENSES,
    HeadingsFound,
    PlaneFit,
    Visits,
    heading_at_marks,
    heading_by_motion,
    headings_at_visits,
    plane_at_marks,
    positions_at_visits,
)
from locbench.adoption.kinds import TakenColumn
from locbench.adoption.meanings import Meaning
from locbench.adoption.questions import NOTHING_KNOWN, AnswerForm, Asking, Decision, Evidence, Strength, decide
from locbench.adoption.unit_evidence import angle_unit, length_unit
from locbench.arrays import FloatArray
from locbench.config.columns import AXES, nearest_axis
from locbench.config.field import FieldConfig
from locbench.units import UNITS, Dimension

__all__ = ["Track", "handed_axes", "heading_sense", "heading_zero", "placed_frame", "track_of"]

_USUAL_REACH_M = 3.0
_SHARE_OF_FLOOR = 0.8
_SAME_SCALE = math.log(1.08)
_NEAR_AXIS_RAD = math.radians(12.0)
_SQUARE_RAD = math.radians(1.2)
_NEAR_PLACE_M = 0.025

_SENSE_HOW = "turn the robot to the left by hand, motors off: if the logged heading grows, it is counter-clockwise"
_ZERO_HOW = "look where the robot points, along which of the log's own axes, when the heading reads zero"
_ROTATE_HOW = "push the robot by hand along the field's x: 0 deg if the logged x grows, 90 deg if the logged y shrinks"
_Y_AXIS_HOW = "push the robot to its left while it looks along the logged x: left if the logged y grows, else right"
_ORIGIN_HOW = "put the robot where the logged x and y read zero, and measure that place on the field, as x, y"


@dataclass(frozen=True)
class Track:
    """A table's positions and headings as logged, the decisions on their units, and how they lie on the marks."""

    section: str
    table: ForeignTable
    points: FloatArray
    headings: FloatArray | None
    length: Decision
    angle: Decision | None
    plane: PlaneFit | None
    found: HeadingsFound
    visits: int


def track_of(
    section: str,
    table: ForeignTable,
    columns: Mapping[Meaning, TakenColumn],
    times_s: FloatArray | None,
    visits: Visits | None,
    given: Given,
) -> Track:
    """Return what is known about the pose columns of a table; x and y must be there, the heading may be."""
    x, y, heading = (columns.get(meaning) for meaning in (Meaning.X, Meaning.Y, Meaning.HEADING))
    assert x is not None
    assert y is not None
    points = np.column_stack([x.column.numbers, y.column.numbers])
    plane, at_visits = None, None
    if times_s is not None and visits is not None:
        at_visits = positions_at_visits(times_s, points, visits)
        plane = plane_at_marks(at_visits, visits.pose[:, :2])
    count = 0 if at_visits is None else int(np.sum(np.all(np.isfinite(at_visits), axis=1)))
    evidence = _length_evidence(x, points, plane, count, given.field)
    length = unit_decision(f"{section}.x", x, table, Dimension.LENGTH, evidence, given)
    if heading is None:
        return Track(section, table, points, None, length, None, plane, HeadingsFound(), count)
    turns = heading.column.numbers
    alone = angle_unit(heading.column)
    units = (alone.value,) if alone.value is not None and alone.strength is Strength.SHOWN else ("deg", "rad")
    found = _found_heading(turns, units, times_s, visits, plane)
    rows = np.all(np.isfinite(points), axis=1) & np.isfinite(turns)
    # fixes come from a place to the next in no order of motion
    if found.sense.value is None and section != "tags" and np.count_nonzero(rows) > 1:
        found = heading_by_motion(points[rows], turns[rows], units)
    better = found.unit if found.unit.strength is Strength.SHOWN and len(units) > 1 else alone
    angle = unit_decision(f"{section}.heading", heading, table, Dimension.ANGLE, better, given)
    return Track(section, table, points, turns, length, angle, plane, found, count)


def _length_evidence(
    x: TakenColumn, points: FloatArray, plane: PlaneFit | None, count: int, field: FieldConfig | None
) -> Evidence:
    usable = points[np.all(np.isfinite(points), axis=1)]
    reach = float(np.max(np.ptp(usable, axis=0))) if len(usable) else 0.0
    usual = _USUAL_REACH_M
    if field is not None:
        usual = _SHARE_OF_FLOOR * max(field.floor.x_to - field.floor.x_from, field.floor.y_to - field.floor.y_from)
    evidence = length_unit(x.column, reach, usual)
    if plane is None:
        return evidence
    for symbol in ("m", "cm", "mm", "in", "ft"):
        if abs(math.log(plane.scale / UNITS[symbol].factor)) < _SAME_SCALE:
            why = f"at {count} marks its positions have the marks' distances in {symbol}"
            if evidence.strength is Strength.SHOWN and evidence.value != symbol:
                return Evidence(evidence.value, f"{evidence.why}, but {why}", Strength.HINTED)
            return evidence if evidence.strength is Strength.SHOWN else Evidence(symbol, why, Strength.SHOWN)
    return evidence


def _found_heading(
    turns: FloatArray,
    units: Sequence[str],
    times_s: FloatArray | None,
    visits: Visits | None,
    plane: PlaneFit | None,
) -> HeadingsFound:
    """Return what the marks say about the heading; its zero is relative to the log's axes, so it needs the plane."""
    if times_s is None or visits is None:
        return HeadingsFound()
    fit = heading_at_marks(headings_at_visits(times_s, turns, visits), visits.pose[:, 2], units)
    if fit is None:
        return HeadingsFound()
    zero = NOTHING_KNOWN
    if plane is not None:
        axis, miss = nearest_axis(fit.offset_rad - plane.rotation_rad)
        if miss < _NEAR_AXIS_RAD:
            zero = Evidence(axis, f"at the marks it reads zero along the log's {axis}", Strength.SHOWN)
    return HeadingsFound(fit.unit_shown, fit.sense_shown, zero)


def heading_sense(section: str, taken: TakenColumn, table: ForeignTable, found: Evidence, given: Given) -> Decision:
    """Return the decision on which way a heading, turn or turn rate grows."""
    words = set(taken.column.reading.words)
    evidence = found
    if words & {"cw", "clockwise"}:
        evidence = Evidence("clockwise", "its name says so", Strength.SHOWN)
    elif words & {"ccw", "counterclockwise", "anticlockwise"}:
        evidence = Evidence("counter-clockwise", "its name says so", Strength.SHOWN)
    asking = Asking(f'which way does "{taken.column.name}" of {table.file} grow?', _SENSE_HOW, tuple(SENSES))
    return decide(f"{section}.frame.heading_sense", evidence, asking, given.known_answers)


def heading_zero(section: str, taken: TakenColumn, table: ForeignTable, found: Evidence, given: Given) -> Decision:
    """Return the decision on the axis along which a heading reads zero."""
    asking = Asking(
        f'along which axis of its own frame does "{taken.column.name}" of {table.file} read zero?',
        _ZERO_HOW,
        tuple(AXES),
    )
    return decide(f"{section}.frame.heading_zero", found, asking, given.known_answers)


def placed_frame(track: Track, heading: TakenColumn | None, given: Given) -> dict[str, Decision]:
    """Return the decisions on a whole frame: sense and zero of the heading, turn and origin of the axes."""
    decisions = {}
    if heading is not None:
        decisions["heading_sense"] = heading_sense(track.section, heading, track.table, track.found.sense, given)
        decisions["heading_zero"] = heading_zero(track.section, heading, track.table, track.found.zero, given)
    decisions |= handed_axes(track, given)
    decisions["rotate"] = _rotate(track, given)
    origin = _origin(track, given)
    x, y = ("?", "?") if origin.value is None else origin.value.split(", ", 1)
    for axis, value in (("origin_x", x), ("origin_y", y)):
        decisions[axis] = Decision(origin.key, None if value == "?" else value, origin.why, origin.question)
    return decisions


def handed_axes(track: Track, given: Given) -> dict[str, Decision]:
    """Return the decision on where the y axis points, unless the marks show that it points to the left as usual.

    Positions and headings alone look the same in a mirrored frame, with the other sense.
    """
    if track.plane is not None and not track.plane.mirrored:
        return {}
    evidence = NOTHING_KNOWN
    if track.plane is not None:
        evidence = Evidence("right", f"at {track.visits} marks its axes are left-handed", Strength.SHOWN)
    asking = Asking(
        f"seen along its x axis, where does the y axis of {track.table.file} point?", _Y_AXIS_HOW, ("left", "right")
    )
    return {"y_axis": decide(f"{track.section}.frame.y_axis", evidence, asking, given.known_answers)}


def _rotate(track: Track, given: Given) -> Decision:
    evidence = NOTHING_KNOWN
    if track.plane is not None:
        turn = track.plane.rotation_rad
        square = round(turn / (math.pi / 2.0)) * 90
        is_square = abs(math.remainder(turn - math.radians(square), math.tau)) < _SQUARE_RAD
        value = f"{square if square > -180 else 180} deg" if is_square else f"{math.degrees(turn):.1f} deg"
        why = f"at {track.visits} marks its axes lie turned by {math.degrees(turn):.1f} deg"
        evidence = Evidence(value, why, Strength.SHOWN if is_square else Strength.HINTED)
    asking = Asking(
        f"by which angle are the axes of {track.table.file} turned onto the field's?",
        _ROTATE_HOW,
        ("0 deg", "90 deg", "180 deg", "-90 deg"),
        AnswerForm.ANGLE,
    )
    return decide(f"{track.section}.frame.rotate", evidence, asking, given.known_answers)


def _origin(track: Track, given: Given) -> Decision:
    asking = Asking(f"where on the field is the origin of {track.table.file}?", _ORIGIN_HOW, (), AnswerForm.PLACE)
    evidence = _origin_evidence(track, given.field)
    return decide(f"{track.section}.frame.origin", evidence, asking, given.known_answers)


def _origin_evidence(track: Track, field: FieldConfig | None) -> Evidence:
    places = {} if field is None else _places(field)
    if track.plane is not None:
        # adding zero turns -0.00 into 0.00
        found = np.round(track.plane.origin_m, 2) + 0.0
        why = f"at {track.visits} marks its origin is {found[0]:.2f} m, {found[1]:.2f} m, to {track.plane.rms_m:.2f} m"
        for name, place in places.items():
            if math.dist(found, place) < _NEAR_PLACE_M:
                return Evidence(_as_place(place), f"{why}: {name}", Strength.SHOWN)
        return Evidence(_as_place((round(found[0], 2), round(found[1], 2))), why, Strength.HINTED)
    if field is None or track.length.value is None:
        return NOTHING_KNOWN
    points = track.points[np.all(np.isfinite(track.points), axis=1)] * UNITS[track.length.value].factor
    fitting = {name: place for name, place in places.items() if len(points) and _inside(points + place, field)}
    if len(fitting) != 1:
        return NOTHING_KNOWN
    ((name, place),) = fitting.items()
    return Evidence(_as_place(place), f"with its origin at {name} all positions lie on the floor", Strength.HINTED)


def _places(field: FieldConfig) -> dict[str, tuple[float, float]]:
    floor = field.floor
    middle = ((floor.x_from + floor.x_to) / 2.0, (floor.y_from + floor.y_to) / 2.0)
    places = {"the field's origin": (0.0, 0.0), "the floor's middle": middle}
    return dict(list(places.items())[:1]) if middle == (0.0, 0.0) else places


def _inside(points: FloatArray, field: FieldConfig) -> bool:
    floor = field.floor
    margin = 0.05 * (floor.x_to - floor.x_from)
    low, high = np.quantile(points, 0.02, axis=0), np.quantile(points, 0.98, axis=0)
    return bool(
        low[0] > floor.x_from - margin
        and low[1] > floor.y_from - margin
        and high[0] < floor.x_to + margin
        and high[1] < floor.y_to + margin
    )


def _as_place(place: tuple[float, float]) -> str:
    return f"{place[0] + 0.0:g} m, {place[1] + 0.0:g} m"
