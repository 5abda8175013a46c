"""What each kind of detection measures, from the log's columns to values on the robot or the field."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config.columns import Column, LengthColumn
from locbench.config.tag_sources import BearingSource, RangeBearingSource, RangeSource, RobotPoseSource, TagPoseSource
from locbench.geometry import mount_rotation, rotation_matrix, wrap_angle
from locbench.session.findings import FindingCode, FindingList, Severity
from locbench.session.frames import field_poses
from locbench.session.tables import Table, number_column, sparse_number_column
from locbench.statistics import propagated_covariance

__all__ = ["TagReadings", "read_readings"]


@dataclass(frozen=True)
class TagReadings:
    """Values (M, D), their covariance as the log has it (M, D, D), ranges and view angles (M,); NaN where missing."""

    value: FloatArray
    own_covariance: FloatArray
    range_m: FloatArray
    view_angle_rad: FloatArray


def read_readings(
    table: Table,
    source: RobotPoseSource | TagPoseSource | RangeBearingSource | BearingSource | RangeSource,
    mount: FloatArray,
    findings: FindingList,
) -> TagReadings | None:
    """Return the readings of every row, or None after error findings; `mount` (M, 6) is that of the camera."""
    view = sparse_number_column(table, source.view_angle, findings)
    if view is None:
        return None
    view = np.abs(view)
    match source:
        case RobotPoseSource():
            return _robot_poses(table, source, view, findings)
        case TagPoseSource():
            return _tag_poses(table, source, mount, view, findings)
        case RangeBearingSource():
            return _ranges_and_bearings(table, source, view, findings)
        case BearingSource():
            return _bearings(table, source, view, findings)
        case RangeSource():
            return _ranges(table, source, view, findings)


def _robot_poses(table: Table, source: RobotPoseSource, view: FloatArray, findings: FindingList) -> TagReadings | None:
    x = number_column(table, source.x, findings)
    y = number_column(table, source.y, findings)
    heading = sparse_number_column(table, source.heading, findings)
    range_m = sparse_number_column(table, source.range, findings)
    if x is None or y is None or heading is None or range_m is None:
        return None
    spread = _spread(table, (source.x_std, source.y_std, source.heading_std), findings, np.isnan(heading))
    if spread is None:
        return None
    turn = rotation_matrix(np.array(source.frame.rotate))
    covariance = _of_planar_poses(turn @ _diagonal(spread[:, :2]) @ turn.T, spread[:, 2])
    return TagReadings(field_poses(x, y, heading, source.frame), covariance, range_m, view)


def _tag_poses(
    table: Table, source: TagPoseSource, mount: FloatArray, view: FloatArray, findings: FindingList
) -> TagReadings | None:
    if not _tilt_can_be_undone(source, mount, findings):
        return None
    x = number_column(table, source.x, findings)
    y = number_column(table, source.y, findings)
    z = np.zeros(len(table)) if source.z is None else number_column(table, source.z, findings)
    heading = sparse_number_column(table, source.heading, findings)
    range_m = sparse_number_column(table, source.range, findings)
    if x is None or y is None or z is None or heading is None or range_m is None:
        return None
    columns = (source.x_std, source.y_std, source.z_std, source.heading_std)
    spread = _spread(table, columns, findings, np.isnan(heading))
    if spread is None:
        return None
    frame, turn = source.frame, mount_rotation(*mount[:, 3:].T)
    y = -y if frame.y_axis == "right" else y
    z = -z if frame.z_axis == "down" else z
    towards_tag = (turn @ np.stack([x, y, z], axis=-1)[..., np.newaxis])[..., 0]
    facing = heading
    if source.heading is not None:
        in_camera = frame.heading_sign * heading + frame.heading_offset_rad
        facing = _with_whole_turns(_levelled_heading(in_camera, turn), in_camera + mount[:, 3])
    # a picture errs alike sideways and upwards
    spread[:, 2] = np.where(np.isnan(spread[:, 2]), spread[:, 1], spread[:, 2])
    in_robot = propagated_covariance(turn, _diagonal(spread[:, :3]))
    own_view = np.abs(wrap_angle(facing + np.pi - np.arctan2(towards_tag[:, 1], towards_tag[:, 0])))
    return TagReadings(
        value=np.column_stack([mount[:, :2] + towards_tag[:, :2], facing]),
        own_covariance=_of_planar_poses(in_robot[:, :2, :2], spread[:, 3]),
        range_m=np.where(np.isfinite(range_m), range_m, np.hypot(towards_tag[:, 0], towards_tag[:, 1])),
        view_angle_rad=np.where(np.isfinite(view), view, own_view),
    )


def _tilt_can_be_undone(source: TagPoseSource, mount: FloatArray, findings: FindingList) -> bool:
    tilted = bool(np.any(mount[:, 4:] != 0.0))
    # straight up or down no direction along the floor is left in the picture's depth
    upright = np.abs(np.cos(mount[:, 4]) * np.cos(mount[:, 5])) < 1e-3
    if source.z is None and tilted:
        problem = "the camera is mounted with a pitch or roll, which cannot be undone without z"
        remedy = "Log z beside x and y, or log poses that are levelled already and set pitch and roll to 0 deg"
    elif source.heading is not None and bool(np.any(upright)):
        problem = "a camera that looks straight up or down gives no heading of a tag on a wall"
        remedy = "Remove heading, or log robot_pose"
    else:
        return True
    findings.error(FindingCode.TILTED_MOUNT, problem, remedy, file="session.toml", column="tags.mount")
    return False


def _levelled_heading(heading_rad: FloatArray, turn: FloatArray) -> FloatArray:
    """Return the direction (M,) on the robot in which a tag on a wall looks, from its heading in a tilted camera.

    The heading in the camera is that of the tag's level normal n seen in the camera's x-y plane, so the first two
    components of turn' n are along it: solved for n.
    """
    seen = np.stack([np.cos(heading_rad), np.sin(heading_rad)], axis=-1)[..., np.newaxis]
    normal = np.linalg.solve(np.swapaxes(turn[:, :2, :2], -1, -2), seen)[..., 0]
    return np.asarray(np.arctan2(normal[:, 1], normal[:, 0]))


def _with_whole_turns(angle_rad: FloatArray, logged_rad: FloatArray) -> FloatArray:
    """Return angles (M,) with the whole turns that the logged ones (M,) have.

    They do not matter to a filter, but without them nobody could tell what readings in another unit would mean.
    """
    return np.asarray(angle_rad + 2.0 * np.pi * np.round((logged_rad - angle_rad) / (2.0 * np.pi)))


def _as_logged(source: RangeBearingSource | BearingSource, bearing_rad: FloatArray) -> FloatArray:
    logged = source.frame.heading_sign * bearing_rad
    return _with_whole_turns(wrap_angle(logged), logged)


def _ranges_and_bearings(
    table: Table, source: RangeBearingSource, view: FloatArray, findings: FindingList
) -> TagReadings | None:
    range_m = _positive_ranges(table, source.range, findings)
    bearing = number_column(table, source.bearing, findings)
    spread = _spread(table, (source.range_std, source.bearing_std), findings)
    if range_m is None or bearing is None or spread is None:
        return None
    range_m = range_m / source.range_scale
    value = np.column_stack([range_m, _as_logged(source, bearing)])
    return TagReadings(value, _diagonal(spread / [source.range_scale, 1.0]), range_m, view)


def _bearings(table: Table, source: BearingSource, view: FloatArray, findings: FindingList) -> TagReadings | None:
    bearing = number_column(table, source.bearing, findings)
    range_m = sparse_number_column(table, source.range, findings)
    spread = _spread(table, (source.bearing_std,), findings)
    if bearing is None or range_m is None or spread is None:
        return None
    value = _as_logged(source, bearing)[:, np.newaxis]
    # no tag is nearer than not at all; such a range says nothing
    return TagReadings(value, _diagonal(spread), np.where(range_m > 0.0, range_m, np.nan), view)


def _ranges(table: Table, source: RangeSource, view: FloatArray, findings: FindingList) -> TagReadings | None:
    range_m = _positive_ranges(table, source.range, findings)
    spread = _spread(table, (source.range_std,), findings)
    if range_m is None or spread is None:
        return None
    range_m = range_m / source.range_scale
    return TagReadings(range_m[:, np.newaxis], _diagonal(spread / source.range_scale), range_m, view)


def _positive_ranges(table: Table, spec: LengthColumn, findings: FindingList) -> FloatArray | None:
    reading = number_column(table, spec, findings)
    if reading is None:
        return None
    impossible = np.flatnonzero(reading <= 0.0)
    findings.about_rows(
        Severity.ERROR,
        FindingCode.NOT_A_NUMBER,
        impossible,
        "a range must be more than 0 ({count} rows are not)",
        "Remove rows without a reading",
        file=table.file,
        column=spec.column,
    )
    return None if len(impossible) else reading


def _spread(
    table: Table, columns: tuple[Column | None, ...], findings: FindingList, last_unneeded: BoolArray | None = None
) -> FloatArray | None:
    """Return standard deviations (M, D), NaN where the log has none or one that cannot be; None after an error.

    `last_unneeded` (M,) are rows without the value that the last column is the spread of.
    """
    stds: list[FloatArray] = []
    lacking: BoolArray = np.zeros(len(table), dtype=bool)
    for place, column in enumerate(columns, start=1):
        std = sparse_number_column(table, column, findings)
        if std is None:
            return None
        possible = std > 0.0
        if column is not None:
            needed = True if last_unneeded is None or place < len(columns) else ~last_unneeded
            lacking |= ~possible & needed
        stds.append(np.where(possible, std, np.nan))
    named = ", ".join(column.column for column in columns if column is not None)
    findings.about_rows(
        Severity.WARNING,
        FindingCode.SPREAD_MISSING,
        np.flatnonzero(lacking),
        f"{{count}} detections have no positive standard deviation in one of {named}; a filter with "
        'source = "log" takes its own model\'s there',
        "Check what the camera's program writes there",
        file=table.file,
    )
    return np.column_stack(stds)


def _diagonal(std: FloatArray) -> FloatArray:
    """Return (M, D, D) covariances without correlation; a NaN spoils its own component only."""
    size = std.shape[1]
    covariance = np.zeros((len(std), size, size))
    covariance[:, np.arange(size), np.arange(size)] = std**2
    return covariance


def _of_planar_poses(position: FloatArray, heading_std: FloatArray) -> FloatArray:
    """Return (M, 3, 3) from position covariances (M, 2, 2) and heading spreads (M,) that do not depend on them."""
    covariance = np.zeros((len(heading_std), 3, 3))
    covariance[:, :2, :2], covariance[:, 2, 2] = position, heading_std**2
    return covariance
