"""Proposes [tags]: what a detection is, when it was taken and arrived, in which frame."""

from dataclasses import replace

import numpy as np

from locbench.adoption.drafts import Clock, Draft
from locbench.adoption.entries import Given, table_entry, unit_decision
from locbench.adoption.foreign_tables import ForeignColumn
from locbench.adoption.headings import SENSES, Visits
from locbench.adoption.kinds import TakenColumn
from locbench.adoption.meanings import DIMENSION, Meaning
from locbench.adoption.odometry_draft import add_positions
from locbench.adoption.other_drafts import poses_in_field
from locbench.adoption.questions import (
    NOTHING_KNOWN,
    AnswerForm,
    Asking,
    Decision,
    Evidence,
    Strength,
    decide,
)
from locbench.adoption.tracks import heading_sense, placed_frame, track_of
from locbench.adoption.unit_evidence import angle_unit, length_unit, unit_of_neighbour
from locbench.arrays import FloatArray
from locbench.config.columns import AXES
from locbench.units import Dimension

__all__ = ["draft_tags"]

_KINDS = ("robot_pose", "tag_pose", "range_bearing", "bearing", "range")
_USUAL_RANGE_M = 3.0
# Nearly one picture if there are such rows, else a while in which a robot does not go far.
_MOMENTS_S = (0.1, 0.5)
_FEWEST_STEPS = 10
# No camera program takes longer.
_LONGEST_WAIT_S = 1.0
_ROBOT_WORDS = frozenset({"robot", "field", "pose", "px", "py"})
_CAMERA_WORDS = frozenset({"cam", "camera", "tag", "target", "rel", "relative", "ahead", "left"})
_MEASURED_HOW = "most cameras report the straight way to the tag (slant); beacons at the robot's height either"


def draft_tags(draft: Draft, captured: Clock | None, arrived: Clock | None, visits: Visits | None) -> FloatArray | None:
    """Fill the draft of [tags]; return its robot poses (M, 3) in the field frame if they are such and it is known."""
    times = None if captured is None else captured.times_s
    kind = _kind(draft, None if captured is None else captured.own_s)
    draft.decided("kind", kind, needed=True)
    draft.text("file", draft.taken.table.file, "")
    if captured is None:
        draft.missing("captured", Meaning.CAPTURED)
    else:
        draft.clock("captured", captured)
    _arrival(draft, captured, arrived)
    if captured is not None:
        draft.offset(captured)
    tag = draft.role("tag", Meaning.TAG)
    if tag is None:
        draft.missing("tag", Meaning.TAG)
    else:
        draft.column("tag", tag, None, needed=True)
    poses = None
    match kind.value:
        case "robot_pose" | None:
            # the two kinds of poses share their columns; which it is, the question above them asks
            poses = _robot_poses(draft, times, visits)
        case "tag_pose":
            _tag_poses(draft)
        case _:
            _ranges_and_bearings(draft, kind.value)
    _common(draft)
    if kind.value not in ("robot_pose", None):
        _mount(draft)
    return poses


def _kind(draft: Draft, times: FloatArray | None) -> Decision:
    has = set(draft.taken.columns)
    placed = {Meaning.X, Meaning.Y} <= has
    if placed or {Meaning.FORWARD_STEP, Meaning.LEFT_STEP} <= has:
        evidence = _whose_pose(draft, times)
    elif {Meaning.RANGE, Meaning.BEARING} <= has:
        evidence = Evidence("range_bearing", "it has a range and a bearing", Strength.SHOWN)
    elif Meaning.BEARING in has:
        evidence = Evidence("bearing", "it has a bearing", Strength.SHOWN)
    else:
        evidence = Evidence("range", "it has a range", Strength.SHOWN)
    asking = Asking(
        f"are x and y of {draft.taken.table.file} the robot's on the field, or the tag's as the camera sees it?",
        "with the robot at rest its pose is the same whichever tag is seen; if it is the tag's, adopt again at a "
        "terminal and say so, because the lines below change",
        _KINDS[:2],
    )
    return decide("tags.kind", evidence, asking, draft.given.known_answers)


def _whose_pose(draft: Draft, times: FloatArray | None) -> Evidence:
    """Tell robot poses from tag poses: detections of different tags at one moment agree on where the robot is."""
    columns, tag = draft.taken.columns, draft.taken.column(Meaning.TAG)
    if Meaning.X not in columns or Meaning.Y not in columns:
        return Evidence("tag_pose", "its columns are ahead and to the left", Strength.SHOWN)
    x, y = columns[Meaning.X].column, columns[Meaning.Y].column
    apart = None if tag is None or times is None else _apart_at_one_moment(x, y, tag.column, times)
    if apart is not None and apart < 0.15:
        why = f"different tags seen at one moment give places that differ by {apart:.0%} of the whole spread"
        return Evidence("robot_pose", why, Strength.SHOWN)
    words = {*x.reading.words, *y.reading.words}
    if apart is not None and apart > 0.5:
        why = f"different tags seen at one moment give places that differ by {apart:.0%} of the whole spread"
        return Evidence("tag_pose", why, Strength.HINTED)
    if words & _CAMERA_WORDS:
        return Evidence("tag_pose", "the columns' names say so", Strength.HINTED)
    if words & _ROBOT_WORDS:
        return Evidence("robot_pose", "the columns' names say so", Strength.HINTED)
    return NOTHING_KNOWN


def _apart_at_one_moment(x: ForeignColumn, y: ForeignColumn, tag: ForeignColumn, times: FloatArray) -> float | None:
    """Return the median distance between neighbouring rows of different tags, as a share of the whole spread."""
    points = np.column_stack([x.numbers, y.numbers])
    other = np.array([a != b for a, b in zip(tag.cells, tag.cells[1:], strict=False)], dtype=bool)
    usable = points[np.all(np.isfinite(points), axis=1)]
    for moment_s in _MOMENTS_S:
        together = other & (np.abs(np.diff(times)) < moment_s)
        steps = np.hypot(*np.diff(points, axis=0)[together].T) if np.any(together) else np.empty(0)
        steps = steps[np.isfinite(steps)]
        if len(steps) >= _FEWEST_STEPS:
            break
    else:
        return None
    spread = float(np.hypot(*np.std(usable, axis=0)))
    return float(np.median(steps)) / spread if spread > 0.0 else None


def _arrival(draft: Draft, captured: Clock | None, arrived: Clock | None) -> None:
    foreign = None if captured is None or arrived is None else _other_clock_than(captured, arrived)
    if arrived is not None and foreign is None:
        draft.clock("arrived", replace(arrived, shared=None))
        return
    evidence = Evidence(None, foreign or "no column holds the time of arrival", Strength.NOTHING)
    own = draft.taken.column(Meaning.LATENCY)
    if own is not None and own.column.reading.unit is not None:
        values = own.column.numbers[np.isfinite(own.column.numbers)]
        symbol = own.column.reading.unit.symbol
        low, middle, high = np.quantile(values, [0.05, 0.5, 0.95])
        why = f'the middle of "{own.column.name}", most of which lies between {low:.4g} and {high:.4g} {symbol}'
        evidence = Evidence(f"{middle:.6g} {symbol}", why, Strength.HINTED)
    elif own is not None:
        evidence = Evidence(None, f'"{own.column.name}" holds it, but no unit stands in its name', Strength.NOTHING)
    asking = Asking(
        f"how long after its picture did a row of {draft.taken.table.file} reach the program?",
        "log the time at which the result arrives beside that of the picture; a camera takes some 30 ms to 100 ms",
        (),
        AnswerForm.DELAY,
    )
    draft.decided("latency", decide("tags.latency", evidence, asking, draft.given.known_answers), needed=True)


def _other_clock_than(captured: Clock, arrived: Clock) -> str | None:
    """Return why the times of arrival cannot be of the clock of the pictures, the one offset being for both."""
    if captured.own_s is None or arrived.own_s is None:
        return None
    waited = float(np.nanmedian(arrived.own_s - captured.own_s))
    if 0.0 <= waited <= _LONGEST_WAIT_S:
        return None
    return (
        f'"{arrived.taken.column.name}" lies {waited:.6g} s after "{captured.taken.column.name}": another clock, which '
        "the table's one offset cannot put right"
    )


def _robot_poses(draft: Draft, times: FloatArray | None, visits: Visits | None) -> FloatArray | None:
    columns = dict(draft.taken.columns)
    track = track_of("tags", draft.taken.table, columns, times, visits, draft.given)
    add_positions(draft, columns, track.length)
    heading = columns.get(Meaning.HEADING)
    if heading is not None and track.angle is not None:
        draft.column("heading", heading, track.angle, needed=False)
    _spreads(draft, track.length, track.angle, (Meaning.X_STD, Meaning.Y_STD))
    count = draft.role("tag_count", Meaning.TAG_COUNT)
    if count is not None:
        draft.column("tag_count", count, None, needed=False)
    _range_beside(draft)
    frame = placed_frame(track, heading, draft.given)
    draft.entries.append(table_entry("frame", frame))
    return poses_in_field(track.points, track.headings, track.length, track.angle, frame)


def _range_beside(draft: Draft) -> None:
    taken = draft.role("range", Meaning.RANGE)
    if taken is not None:
        draft.measured("range", Meaning.RANGE, _range_evidence(taken.column), needed=False)


def _range_evidence(column: ForeignColumn) -> Evidence:
    values = column.numbers[np.isfinite(column.numbers)]
    return length_unit(column, float(np.quantile(values, 0.9)) if len(values) else 0.0, _USUAL_RANGE_M)


def _tag_poses(draft: Draft) -> None:
    x = draft.role("x", Meaning.X, Meaning.FORWARD_STEP)
    y = draft.role("y", Meaning.Y, Meaning.LEFT_STEP)
    if x is None or y is None:
        return
    reach = float(np.nanmax(np.hypot(x.column.numbers, y.column.numbers)))
    length = unit_decision(
        "tags.x", x, draft.taken.table, Dimension.LENGTH, length_unit(x.column, reach, _USUAL_RANGE_M), draft.given
    )
    add_positions(draft, {Meaning.X: x, Meaning.Y: y}, length)
    frame = {}
    z = draft.role("z", Meaning.Z)
    if z is not None:
        draft.measured("z", Meaning.Z, _as(z, length), needed=False)
    heading, angle = draft.role("heading", Meaning.HEADING), None
    if heading is not None:
        angle = draft.measured("heading", Meaning.HEADING, angle_unit(heading.column), needed=False)
        frame["heading_sense"] = heading_sense("tags", heading, draft.taken.table, NOTHING_KNOWN, draft.given)
        frame["heading_zero"] = _camera_axis(
            draft,
            "heading_zero",
            "along which axis of the camera does a tag look whose heading reads zero?",
            '"-x" if a tag that looks straight into the camera reads zero',
            tuple(AXES),
        )
    frame["y_axis"] = _camera_axis(
        draft,
        "y_axis",
        f"where does the y axis of {draft.taken.table.file} point, seen by the camera?",
        "move a tag to the camera's left: if y grows, left",
        ("left", "right"),
    )
    if z is not None:
        frame["z_axis"] = _camera_axis(
            draft,
            "z_axis",
            f"where does the z axis of {draft.taken.table.file} point?",
            "lift a tag: if z grows, up",
            ("up", "down"),
        )
    _spreads(draft, length, angle, (Meaning.X_STD, Meaning.Y_STD, Meaning.Z_STD))
    _range_beside(draft)
    draft.entries.append(table_entry("frame", frame))


def _camera_axis(draft: Draft, key: str, text: str, how: str, choices: tuple[str, ...]) -> Decision:
    return decide(f"tags.frame.{key}", NOTHING_KNOWN, Asking(text, how, choices), draft.given.known_answers)


def _as(taken: TakenColumn, other: Decision | None) -> Evidence:
    return unit_of_neighbour(taken.column, DIMENSION[taken.meaning], other)


def _spreads(draft: Draft, length: Decision, angle: Decision | None, lengths: tuple[Meaning, ...]) -> None:
    has = draft.taken.columns
    if not {Meaning.X_STD, Meaning.Y_STD} <= set(has):
        return
    for key, meaning in (("x_std", Meaning.X_STD), ("y_std", Meaning.Y_STD), ("z_std", Meaning.Z_STD)):
        if meaning in has and meaning in lengths:
            draft.measured(key, meaning, _as(has[meaning], length), needed=False)
    if Meaning.HEADING_STD in has and angle is not None:
        draft.measured("heading_std", Meaning.HEADING_STD, _as(has[Meaning.HEADING_STD], angle), needed=False)


def _ranges_and_bearings(draft: Draft, kind: str) -> None:
    given, table = draft.given, draft.taken.table
    length = angle = None
    reach = draft.role("range", Meaning.RANGE)
    if reach is not None:
        length = draft.measured("range", Meaning.RANGE, _range_evidence(reach.column), needed=kind != "bearing")
    if kind != "bearing":
        asking = Asking(
            f"is the range of {table.file} along the floor, or straight to the tag?",
            _MEASURED_HOW,
            ("horizontal", "slant"),
        )
        draft.decided("measured", decide("tags.measured", NOTHING_KNOWN, asking, given.known_answers))
    if Meaning.RANGE_STD in draft.taken.columns and kind != "bearing":
        spread = draft.taken.columns[Meaning.RANGE_STD]
        draft.measured("range_std", Meaning.RANGE_STD, _as(spread, length), needed=False)
    bearing = draft.role("bearing", Meaning.BEARING)
    if kind == "range" or bearing is None:
        return
    angle = draft.measured("bearing", Meaning.BEARING, _bearing_unit(bearing.column), needed=True)
    if Meaning.BEARING_STD in draft.taken.columns:
        spread = draft.taken.columns[Meaning.BEARING_STD]
        draft.measured("bearing_std", Meaning.BEARING_STD, _as(spread, angle), needed=False)
    asking = Asking(
        f'which way does "{bearing.column.name}" of {table.file} grow, from the optical axis?',
        "move a tag to the camera's left: if the bearing grows, it is counter-clockwise",
        tuple(SENSES),
    )
    sense = decide("tags.frame.heading_sense", NOTHING_KNOWN, asking, given.known_answers)
    draft.entries.append(table_entry("frame", {"heading_sense": sense}))


def _bearing_unit(column: ForeignColumn) -> Evidence:
    """Return the unit of an angle within half a turn: beyond pi it cannot be rad, within it may be either."""
    evidence = angle_unit(column)
    values = column.numbers[np.isfinite(column.numbers)]
    if evidence.value is not None or not len(values) or np.max(np.abs(values)) <= np.pi:
        return evidence
    return Evidence("deg", f"it reaches {np.max(np.abs(values)):.4g}, more than half a turn in rad", Strength.HINTED)


def _common(draft: Draft) -> None:
    """Add what every kind may report beside its value."""
    view = draft.role("view_angle", Meaning.VIEW_ANGLE)
    if view is not None:
        draft.measured("view_angle", Meaning.VIEW_ANGLE, _bearing_unit(view.column), needed=False)
    ratio = draft.role("reprojection_ratio", Meaning.REPROJECTION_RATIO)
    if ratio is not None:
        draft.column("reprojection_ratio", ratio, None, needed=False)


def _mount(draft: Draft) -> None:
    """Ask which camera it was where the robot file leaves a choice, and which way the turret's yaw grows."""
    cameras = _cameras(draft.given)
    if len(cameras) > 1:
        asking = Asking(
            f"which camera of the robot file took the detections of {draft.taken.table.file}?",
            "its place on the robot decides what a detection means",
            cameras,
        )
        draft.decided("mount", decide("tags.mount", NOTHING_KNOWN, asking, draft.given.known_answers))
    yaw = draft.role("turret_yaw", Meaning.TURRET_YAW)
    if yaw is None:
        return
    unit = unit_decision(
        "tags.turret_yaw", yaw, draft.taken.table, Dimension.ANGLE, _bearing_unit(yaw.column), draft.given
    )
    asking = Asking(
        f'which way does "{yaw.column.name}" of {draft.taken.table.file} grow?',
        "turn the turret to the robot's left by hand, motors off: if it grows, it is counter-clockwise",
        tuple(SENSES),
    )
    sense = decide("tags.turret_yaw.sense", NOTHING_KNOWN, asking, draft.given.known_answers)
    column = Decision("tags.turret_yaw.column", yaw.column.name, "by its name")
    draft.column("turret_yaw", yaw, unit, needed=False)
    draft.entries[-1] = table_entry("turret_yaw", {"column": column, "unit": unit, "sense": sense})


def _cameras(given: Given) -> tuple[str, ...]:
    return () if given.robot is None else tuple(given.robot.cameras)
