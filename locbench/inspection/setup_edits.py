"""The keys of the user's files that make a change of the set-up."""

import math
from collections.abc import Sequence

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import SessionConfig
from locbench.config.columns import AXES, Column, Frame, nearest_axis
from locbench.config.edits import Edit, EditedFile, Quantity
from locbench.config.session import (
    IncrementsSource,
    PodCounter,
    PodCountsSource,
    VelocitiesSource,
)
from locbench.config.tag_sources import (
    BearingFrame,
    CameraFrame,
    CameraTable,
    RangeBearingSource,
    RangeSource,
    TagSource,
)
from locbench.geometry import rotation_matrix, wrap_angle
from locbench.inspection.change import DIMENSIONS, Amount, Change, Part
from locbench.inspection.diagnosis import SetupFault
from locbench.session import Session
from locbench.units import UNITS, Dimension

__all__ = ["SECTIONS", "edits_of", "length_keys"]

# tables of a session file that a part of the log comes from
SECTIONS = {
    Part.TAGS: "tags",
    Part.TRUTH: "truth",
    Part.MARKS: "marks",
    Part.ODOMETRY: "odometry",
    Part.GYRO: "odometry",
    Part.WHEELS: "odometry",
}
_NEAR_AXIS_RAD = math.radians(6.0)
_NEAR_RATIO = 0.02
_SAME_FACTOR = 1e-3
_AT_MARK_M, _AT_MARK_RAD = 0.10, math.radians(6.0)
# a place moved by less, or by less than so many standard uncertainties, is left as it is
_SAME_PLACE_M, _SURE = 0.003, 2.5
_FINEST = {Dimension.LENGTH: 1e-3, Dimension.ANGLE: math.radians(0.1), Dimension.TIME: 1e-3}


def edits_of(change: Change, session: Session, config: SessionConfig) -> tuple[Edit, ...]:
    """Return the keys to change, none where no key of these files can mend it."""
    match change.fault:
        case SetupFault.PODS_EXCHANGED:
            return _exchanged_pods(change, config)
        case SetupFault.POD_REVERSED:
            return _reversed_pods(change, session)
        case SetupFault.POD_SCALE:
            return _pod_sizes(change, session)
        case SetupFault.ANGLE_UNIT:
            angles = _units(change, config, ("heading", "bearing", "turn"), Dimension.ANGLE)
            return (*angles, *_units(change, config, ("turn_rate",), Dimension.TURN_RATE))
        case SetupFault.LENGTH_UNIT:
            speeds = change.part is Part.ODOMETRY and isinstance(config.odometry, VelocitiesSource)
            lengths = Dimension.SPEED if speeds else Dimension.LENGTH
            return _units(change, config, length_keys(change, config), lengths)
        case SetupFault.HEADING_SENSE | SetupFault.HEADING_ZERO:
            return _heading_convention(change, config)
        case SetupFault.FRAME_ROTATED | SetupFault.FRAME_SHIFTED | SetupFault.FRAME_MIRRORED:
            return _frame(change, config)
        case SetupFault.TAGS_EXCHANGED | SetupFault.TAG_MISPLACED:
            return _tag_places(change, session)
        case SetupFault.RANGE_SCALE:
            return _range_scale(change, config)
        case SetupFault.BEARING_BIAS:
            return _camera_yaw(change, session, config)
        case SetupFault.CLOCK_SHIFT:
            table = getattr(config, SECTIONS[change.part])
            shift = Quantity(table.offset + change.amounts[Amount.SHIFT], Dimension.TIME, _std(change, Amount.SHIFT))
            return (_session(SECTIONS[change.part], "offset", value=shift),)
        case SetupFault.GYRO_LAG:
            return _gyro_lag(change, config)
        case SetupFault.START_POSE:
            return _start(change, session, config)
        case _:
            return ()


def _std(change: Change, amount: Amount) -> float | None:
    return _worth_writing(change.stds.get(amount, 0.0), DIMENSIONS[amount])


def _worth_writing(std: float, dimension: Dimension) -> float | None:
    """Return the standard uncertainty that decides the digits: nobody surveys a floor to the micrometre."""
    return max(std, _FINEST[dimension]) if std > 0.0 else None


def _session(*path: str, value: Quantity | str | bool | float | None) -> Edit:
    return Edit(EditedFile.SESSION, path, value)


def _exchanged_pods(change: Change, config: SessionConfig) -> tuple[Edit, ...]:
    assert isinstance(config.odometry, PodCountsSource)
    first, second = change.names
    pods = config.odometry.pods
    edits = []
    for name, other in ((first, second), (second, first)):
        entry = pods[other]
        column = entry.column if isinstance(entry, PodCounter) else entry
        path = (
            ("odometry", "pods", name, "column") if isinstance(pods[name], PodCounter) else ("odometry", "pods", name)
        )
        edits.append(_session(*path, value=column))
    return tuple(edits)


def _reversed_pods(change: Change, session: Session) -> tuple[Edit, ...]:
    return tuple(
        Edit(EditedFile.ROBOT, ("pods", name, "reversed"), not session.robot.pods[name].reversed)
        for name in change.names
        if name in session.robot.pods
    )


def _pod_sizes(change: Change, session: Session) -> tuple[Edit, ...]:
    """Return the counts of a revolution where they are off by a power of two, as encoders' are; else the diameters."""
    factor = change.amounts[Amount.FACTOR]
    steps = round(math.log2(factor))
    by_counts = steps != 0 and abs(factor / 2.0**steps - 1.0) < _NEAR_RATIO
    std = change.stds.get(Amount.FACTOR, 0.0)
    edits = []
    for name in change.names:
        pod = session.robot.pods.get(name)
        if pod is None:
            continue
        counts = pod.counts_per_revolution / 2.0**steps
        if by_counts and counts == round(counts):
            edits.append(Edit(EditedFile.ROBOT, ("pods", name, "counts_per_revolution"), int(counts)))
        else:
            diameter = Quantity(pod.wheel_diameter * factor, Dimension.LENGTH, pod.wheel_diameter * std or None)
            edits.append(Edit(EditedFile.ROBOT, ("pods", name, "wheel_diameter"), diameter))
    return tuple(edits)


def length_keys(change: Change, config: SessionConfig) -> tuple[str, ...]:
    """Return the keys of the columns whose lengths the change is about; a pose's reported range is not among them."""
    if isinstance(getattr(config, SECTIONS[change.part]), IncrementsSource | VelocitiesSource):
        return ("forward", "left")
    places = isinstance(getattr(config, SECTIONS[change.part]), CameraTable) and change.log.rays is not None
    return ("range",) if places else ("x", "y", "z")


def _units(change: Change, config: SessionConfig, keys: Sequence[str], dimension: Dimension) -> tuple[Edit, ...]:
    """Return the unit that makes numbers that much larger, for every such column of the table."""
    section = SECTIONS[change.part]
    table = getattr(config, section)
    edits = []
    for key in keys:
        column = getattr(table, key, None)
        if isinstance(column, Column):
            symbol = _unit(column.unit * change.amounts[Amount.FACTOR], dimension)
            edits += [] if symbol is None else [_session(section, key, "unit", value=symbol)]
    return tuple(edits)


def _unit(factor: float, dimension: Dimension) -> str | None:
    for unit in UNITS.values():
        if unit.dimension is dimension and abs(unit.factor / factor - 1.0) < _SAME_FACTOR:
            return unit.symbol
    return None


def _axis(angle_rad: float) -> str | None:
    nearest, miss = nearest_axis(angle_rad)
    return nearest if miss < _NEAR_AXIS_RAD else None


def _other_sense(frame: Frame | BearingFrame) -> str:
    return "counter-clockwise" if frame.heading_sense == "clockwise" else "clockwise"


def _heading_convention(change: Change, config: SessionConfig) -> tuple[Edit, ...]:
    section = SECTIONS[change.part]
    frame: Frame | BearingFrame = getattr(config, section).frame
    reverses = change.fault is SetupFault.HEADING_SENSE
    sense = [_session(section, "frame", "heading_sense", value=_other_sense(frame))] if reverses else []
    if change.part is Part.GYRO or not isinstance(frame, Frame | CameraFrame):
        return tuple(sense)
    turn = change.amounts.get(Amount.TURN, 0.0)
    old = AXES[frame.heading_zero]
    rotate = frame.rotate if isinstance(frame, Frame) else 0.0
    axis = _axis(-old - 2.0 * rotate + turn if reverses else old + turn)
    if axis is None:
        # no key turns headings alone by any angle: the program that writes them has to
        return ()
    zero = [] if axis == frame.heading_zero else [_session(section, "frame", "heading_zero", value=axis)]
    return (*sense, *zero)


def _frame(change: Change, config: SessionConfig) -> tuple[Edit, ...]:
    section = SECTIONS[change.part]
    frame = getattr(config, section).frame
    mirrored = change.fault is SetupFault.FRAME_MIRRORED
    if isinstance(frame, CameraFrame):
        return _mirrored_camera(frame, change) if mirrored else ()
    if change.part is Part.ODOMETRY:
        # only changes of an odometry computer's poses count, so turning and moving its frame would do nothing
        return _mirrored(section, frame, change)
    turn = _nearest(change, Amount.TURN, math.pi / 2.0)
    move = np.array([change.amounts.get(Amount.X, 0.0), change.amounts.get(Amount.Y, 0.0)])
    sign = -1.0 if mirrored else 1.0
    origin = rotation_matrix(np.array(turn)) @ np.array([frame.origin_x, sign * frame.origin_y]) + move
    # half a turn is written as 180 deg, not as -180 deg
    rotate = -float(wrap_angle(np.array(-turn - sign * frame.rotate)))
    edits = list(_mirrored(section, frame, change)) if mirrored else []
    if abs(float(wrap_angle(np.array(rotate - frame.rotate)))) > 1e-9:
        # a quarter turn is exact
        std = None if turn != change.amounts.get(Amount.TURN) else _std(change, Amount.TURN) or _FINEST[Dimension.ANGLE]
        edits.append(_session(section, "frame", "rotate", value=Quantity(rotate, Dimension.ANGLE, std)))
    for key, old, new, amount in (
        ("origin_x", frame.origin_x, float(origin[0]), Amount.X),
        ("origin_y", frame.origin_y, float(origin[1]), Amount.Y),
    ):
        if abs(new - old) > max(_SAME_PLACE_M, _SURE * change.stds.get(amount, 0.0)):
            value = Quantity(new, Dimension.LENGTH, _std(change, amount))
            edits.append(_session(section, "frame", key, value=value))
    return tuple(edits)


def _nearest(change: Change, amount: Amount, step: float) -> float:
    """Return the nearest multiple of a step if the amount may well be it: frames are turned by quarters."""
    value = change.amounts.get(amount, 0.0)
    nearest = step * round(value / step)
    return nearest if abs(value - nearest) < max(math.radians(1.0), _SURE * change.stds.get(amount, 0.0)) else value


def _mirrored(section: str, frame: Frame, change: Change) -> tuple[Edit, ...]:
    """Return the keys of a mirrored frame; its turn is another matter."""
    edits = [_session(section, "frame", "y_axis", value="left" if frame.y_axis == "right" else "right")]
    old = AXES[frame.heading_zero]
    if not change.headings_kept:
        edits.append(_session(section, "frame", "heading_sense", value=_other_sense(frame)))
    zero = _axis((old + 2.0 * frame.rotate if change.headings_kept else -old) + change.headings_turned_rad)
    if zero not in (None, frame.heading_zero):
        edits.append(_session(section, "frame", "heading_zero", value=zero))
    return tuple(edits)


def _mirrored_camera(frame: CameraFrame, change: Change) -> tuple[Edit, ...]:
    zero = _axis(-AXES[frame.heading_zero] + change.amounts.get(Amount.TURN, 0.0))
    edits = [
        _session("tags", "frame", "y_axis", value="left" if frame.y_axis == "right" else "right"),
        _session("tags", "frame", "heading_sense", value=_other_sense(frame)),
    ]
    if zero not in (None, frame.heading_zero):
        edits.append(_session("tags", "frame", "heading_zero", value=zero))
    return tuple(edits)


def _tag_places(change: Change, session: Session) -> tuple[Edit, ...]:
    """Return the field file's ids or places; none where the camera's program, not the floor, has them wrong."""
    if change.part is not Part.FLOOR:
        return ()
    position = {tag.id: index for index, tag in enumerate(session.field.tags)}
    if change.fault is SetupFault.TAGS_EXCHANGED:
        first, second = change.tags
        return (
            Edit(EditedFile.FIELD, ("tags", position[first], "id"), second),
            Edit(EditedFile.FIELD, ("tags", position[second], "id"), first),
        )
    index = position[change.tags[0]]
    tag = session.field.tags[index]
    edits = []
    for key, old, amount, dimension in (
        ("x", tag.x, Amount.X, Dimension.LENGTH),
        ("y", tag.y, Amount.Y, Dimension.LENGTH),
        ("facing", tag.facing, Amount.TURN, Dimension.ANGLE),
    ):
        std = change.stds.get(amount, 0.0)
        # what is not surely another value stays as surveyed
        moved = change.amounts.get(amount, 0.0)
        if abs(moved) > max(2.0 * std, 1e-9):
            value = Quantity(old + moved, dimension, _worth_writing(std, dimension))
            edits.append(Edit(EditedFile.FIELD, ("tags", index, key), value))
    return tuple(edits)


def _range_scale(change: Change, config: SessionConfig) -> tuple[Edit, ...]:
    source: TagSource | None = config.tags
    if not isinstance(source, RangeSource | RangeBearingSource):
        return ()
    factor = change.amounts[Amount.FACTOR]
    digits = max(3, -math.floor(math.log10(max(change.stds.get(Amount.FACTOR, 0.0), 1e-5))) + 1)
    return (_session("tags", "range_scale", value=round(source.range_scale / factor, digits)),)


def _camera_yaw(change: Change, session: Session, config: SessionConfig) -> tuple[Edit, ...]:
    if not isinstance(config.tags, CameraTable) or not session.robot.cameras:
        return ()
    name = config.tags.mount or next(iter(session.robot.cameras))
    yaw = session.robot.cameras[name].yaw + change.amounts[Amount.TURN]
    value = Quantity(float(wrap_angle(np.array(yaw))), Dimension.ANGLE, _std(change, Amount.TURN))
    return (Edit(EditedFile.ROBOT, ("cameras", name, "yaw"), value),)


def _gyro_lag(change: Change, config: SessionConfig) -> tuple[Edit, ...]:
    source = config.odometry
    if not isinstance(source, PodCountsSource | IncrementsSource | VelocitiesSource) or source.heading is None:
        return ()
    lag = source.heading_lag - change.amounts[Amount.SHIFT]
    return (_session("odometry", "heading_lag", value=Quantity(lag, Dimension.TIME, _std(change, Amount.SHIFT))),)


def _start(change: Change, session: Session, config: SessionConfig) -> tuple[Edit, ...]:
    """Return the mark the robot seems to have started on; else the pose, where no mark stands in the way of it."""
    start: FloatArray = change.log.start
    for mark in session.field.marks:
        near = math.hypot(mark.x - start[0], mark.y - start[1]) < _AT_MARK_M
        turned = 0.0 if mark.heading is None else float(wrap_angle(np.array(start[2] - mark.heading)))
        if near and abs(turned) < _AT_MARK_RAD and mark.heading is not None:
            return _start_on(mark.name, config)
    pose = [Quantity(float(value), Dimension.LENGTH, 0.01) for value in start[:2]]
    heading = Quantity(float(wrap_angle(np.array(start[2]))), Dimension.ANGLE, math.radians(0.5))
    edits = [
        _session("start", "x", value=pose[0]),
        _session("start", "y", value=pose[1]),
        _session("start", "heading", value=heading),
    ]
    if config.start.mark is not None:
        edits.insert(0, _session("start", "mark", value=None))
    # the old start's own uncertainty is gone with it
    fitted = np.array([change.stds.get(amount, 0.0) for amount in (Amount.X, Amount.Y, Amount.TURN)])
    std = np.sqrt(np.maximum(fitted**2 - change.log.start_std**2, 0.0))
    spread = Quantity(max(0.01, float(np.max(std[:2]))), Dimension.LENGTH)
    turn_spread = Quantity(max(math.radians(0.5), float(std[2])), Dimension.ANGLE)
    return (
        *edits,
        _session("start", "position_std", value=spread),
        _session("start", "heading_std", value=turn_spread),
    )


def _start_on(name: str, config: SessionConfig) -> tuple[Edit, ...]:
    """Return the start on a mark with its own heading."""
    keys = [key for key in ("x", "y", "heading") if getattr(config.start, key) is not None]
    removed = [_session("start", key, value=None) for key in keys]
    return (*removed, *([] if config.start.mark == name else [_session("start", "mark", value=name)]))
