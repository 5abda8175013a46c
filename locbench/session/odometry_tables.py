"""The four kinds of odometry table, and dense tracks of poses."""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config import RobotConfig
from locbench.config.columns import Column
from locbench.config.field import Floor
from locbench.config.robot import Pod
from locbench.config.session import (
    IncrementsSource,
    OdometrySource,
    PodCounter,
    PodCountsSource,
    PoseSource,
    PosesSource,
    VelocitiesSource,
)
from locbench.errors import nearest_choice
from locbench.session.counters import common_restarts, continuous_counter
from locbench.session.findings import FindingCode, FindingList
from locbench.session.frames import field_headings, field_poses
from locbench.session.gyro import without_standstill_bias
from locbench.session.model import BodyIncrements, BodyVelocities, OdometryLog, PodTravel, PoseTrack
from locbench.session.plausibility import note_far_off_floor, note_impossible_motion, refuse_absurd_motion
from locbench.session.tables import (
    Table,
    flag_gaps,
    forward_time_column,
    load_table,
    number_column,
    sparse_number_column,
)

__all__ = ["read_heading", "read_odometry", "read_onboard", "read_truth"]

# Standstill ends when a pod has moved by 1 mm, or its speed exceeds 1 mm/s.
_MOVED_M = 0.001


def read_odometry(
    folder: Path, source: OdometrySource, robot: RobotConfig, findings: FindingList
) -> OdometryLog | None:
    """Return the odometry log, or None after error findings."""
    table = load_table(folder, source.file, findings)
    if table is None:
        return None
    times = forward_time_column(table, source.time, source.offset, findings)
    if times is None:
        return None
    if len(times) < 2 or times[-1] <= times[0]:
        findings.error(
            FindingCode.EMPTY_TABLE, "odometry needs at least two times", "Log the whole run", file=source.file
        )
        return None
    flagged = flag_gaps(table, times, findings)
    log: OdometryLog | None
    match source:
        case PodCountsSource():
            log = _pod_travel(table, source, robot, times, flagged, findings)
        case IncrementsSource():
            log = _increments(table, source, robot, times, flagged, findings)
        case VelocitiesSource():
            log = _velocities(table, source, robot, times, flagged, findings)
        case PosesSource():
            log = _poses(table, source, times, flagged, findings)
    if log is not None:
        note_impossible_motion(table, log, findings)
        refuse_absurd_motion(table, log, findings)
    return log


_HeadingSource = PodCountsSource | IncrementsSource | VelocitiesSource


def _heading(
    table: Table, source: _HeadingSource, robot: RobotConfig, times: FloatArray, findings: FindingList
) -> FloatArray | None:
    """Return the heading column, unwrapped, its lag and scale undone; None without one or after an error finding."""
    if source.heading is None:
        return None
    heading = number_column(table, source.heading, findings)
    if heading is None:
        return None
    heading = np.unwrap(field_headings(heading, source.frame))
    if robot.gyro is not None:
        heading = heading[0] + robot.gyro.scale * (heading - heading[0])
    return np.interp(times + source.heading_lag, times, heading) if source.heading_lag else heading


def read_heading(folder: Path, source: OdometrySource) -> FloatArray | None:
    """Return the heading column (N,) of a readable log as it stands, neither unwrapped nor freed of bias; None without.

    The sense and zero of its frame are applied.
    """
    if isinstance(source, PosesSource) or source.heading is None:
        return None
    findings = FindingList()
    table = load_table(folder, source.file, findings)
    heading = None if table is None else number_column(table, source.heading, findings)
    return None if heading is None else field_headings(heading, source.frame)


def _without_bias(
    heading: FloatArray | None,
    table: Table,
    source: _HeadingSource,
    times: FloatArray,
    moved: BoolArray,
    findings: FindingList,
) -> FloatArray | None:
    """Return the heading without the bias of the standstill before the first row that `moved`; None stays None."""
    if heading is None or source.heading is None:
        return None
    where = {"file": table.file, "column": source.heading.column}
    return without_standstill_bias(heading, times, moved, findings, **where)


@dataclass(frozen=True)
class _Counted:
    """One kind of wheels: its key and name, the counter columns of the session file, and the robot file's wheels."""

    key: str
    words: str
    entries: Mapping[str, str | PodCounter]
    wheels: Mapping[str, Pod]

    def counter(self, name: str) -> PodCounter:
        entry = self.entries[name]
        return entry if isinstance(entry, PodCounter) else PodCounter(column=entry)


def _pod_travel(
    table: Table,
    source: PodCountsSource,
    robot: RobotConfig,
    times: FloatArray,
    flagged: BoolArray,
    findings: FindingList,
) -> PodTravel | None:
    pods = _Counted("pods", "pod", source.pods, robot.pods)
    wheels = _Counted("drive_wheels", "driven wheel", source.drive_wheels, robot.drive_wheels)
    _check_pod_names(pods, wheels, findings)
    of_pods, of_wheels = _counts(table, pods, findings), _counts(table, wheels, findings)
    travel, doubtful = _travel(table, pods, of_pods, times, _restarts(of_pods, times), findings)
    # Driven wheels may be counted by controllers of their own, which go on while that of the pods restarts: only where
    # they read zero together was it one restart.
    restarted = _restarts({**of_pods, **of_wheels}, times)
    # No pose is computed from them, so a log has the same flags and the same pose with them and without: a restart of
    # everything is flagged by the pods.
    driven, _ = _travel(table, wheels, of_wheels, times, restarted, findings)
    heading = _heading(table, source, robot, times, findings)
    if source.heading is None and robot.heading_from != "pods":
        findings.error(
            FindingCode.HEADING_MISSING,
            f'the robot takes its heading from "{robot.heading_from}", but this log has no heading column',
            'Name it in [odometry] heading, or set heading_from = "pods" in the robot file',
            file=table.file,
        )
    if not robot.pods:
        findings.error(
            FindingCode.UNKNOWN_POD,
            "pod counts are of no use with a robot file without pods",
            "Add [pods.NAME] tables to the robot file",
            file=table.file,
        )
    if len(travel) < max(1, len(robot.pods)) or len(driven) < len(source.drive_wheels):
        return None
    moved = np.any([np.abs(one - one[0]) > _MOVED_M for one in travel.values()], axis=0)
    heading = _without_bias(heading, table, source, times, moved, findings)
    return PodTravel(times, travel, heading, flagged | doubtful, driven)


def _counts(table: Table, counted: _Counted, findings: FindingList) -> dict[str, FloatArray]:
    """Return the counter columns of wheels that the robot file knows, as logged."""
    counts = {
        name: number_column(table, Column(column=counted.counter(name).column, unit=1.0), findings)
        for name in counted.entries
    }
    return {name: values for name, values in counts.items() if values is not None and name in counted.wheels}


def _restarts(counts: Mapping[str, FloatArray], times: FloatArray) -> BoolArray:
    return common_restarts(list(counts.values())) if counts else np.zeros(len(times), dtype=bool)


def _travel(
    table: Table,
    counted: _Counted,
    counts: Mapping[str, FloatArray],
    times: FloatArray,
    restarted: BoolArray,
    findings: FindingList,
) -> tuple[dict[str, FloatArray], BoolArray]:
    """Return the travel of each wheel, and rows (N,) in which a counter's step is not known to be motion."""
    travel: dict[str, FloatArray] = {}
    doubtful = np.zeros(len(times), dtype=bool)
    for name, values in counts.items():
        counter, size = counted.counter(name), counted.wheels[name].metres_per_count
        where = {"file": table.file, "column": counter.column}
        continuous = continuous_counter(values, times, size, counter.bits, restarted, findings, **where)
        doubtful |= continuous.flagged
        travel[name] = continuous.counts * size
    return travel, doubtful


def _check_pod_names(pods: _Counted, wheels: _Counted, findings: FindingList) -> None:
    remedy = "Add it to [odometry] pods, or take the pod out of the robot file"
    _check_names(pods, wheels, remedy, findings)
    # a log without any driven wheel is whole: nothing needs them
    if wheels.entries:
        _check_names(wheels, pods, "Add it to [odometry] drive_wheels, or leave all of them out", findings)


def _check_names(counted: _Counted, others: _Counted, remedy: str, findings: FindingList) -> None:
    for name in counted.entries:
        if name not in counted.wheels:
            findings.error(
                FindingCode.UNKNOWN_POD,
                f'the robot file has no {counted.words} "{name}"',
                _where_it_belongs(name, counted, others),
                file="session.toml",
                column=f"odometry.{counted.key}.{name}",
            )
    for name in counted.wheels:
        if name not in counted.entries:
            findings.error(
                FindingCode.UNKNOWN_POD,
                f'the robot\'s {counted.words} "{name}" has no column in this log',
                remedy,
                file="session.toml",
                column=f"odometry.{counted.key}",
            )


def _where_it_belongs(name: str, counted: _Counted, others: _Counted) -> str:
    """Return what to do with a name that the robot file does not have among wheels of this kind."""
    if name in others.wheels:
        return f"It is a {others.words} there: name it in [odometry] {others.key}"
    return nearest_choice(name, counted.wheels) if counted.wheels else f"Add it there as [{counted.key}.NAME]"


def _planar_columns(
    table: Table, source: IncrementsSource | VelocitiesSource, findings: FindingList
) -> tuple[FloatArray, FloatArray] | None:
    """Return the forward and left columns, zeros without a left one, or None after error findings."""
    forward = number_column(table, source.forward, findings)
    left = np.zeros(len(table)) if source.left is None else number_column(table, source.left, findings)
    return None if forward is None or left is None else (forward, left)


def _turning(
    table: Table, source: IncrementsSource | VelocitiesSource, column: Column | None, findings: FindingList
) -> FloatArray | None:
    """Return the turn or turn-rate column, zeros if a heading column stands for it, or None after an error finding."""
    if column is None:
        return np.zeros(len(table))
    turning = number_column(table, column, findings)
    return None if turning is None else source.frame.heading_sign * turning


def _increments(
    table: Table,
    source: IncrementsSource,
    robot: RobotConfig,
    times: FloatArray,
    flagged: BoolArray,
    findings: FindingList,
) -> BodyIncrements | None:
    planar, turn = _planar_columns(table, source, findings), _turning(table, source, source.turn, findings)
    heading = _heading(table, source, robot, times, findings)
    if planar is None or turn is None:
        return None
    moved = np.cumsum(np.hypot(*planar)) > _MOVED_M
    heading = _without_bias(heading, table, source, times, moved, findings)
    if heading is not None:
        turn = np.diff(heading, prepend=heading[0])
    return BodyIncrements(times, np.column_stack([*planar, turn]), flagged)


def _velocities(
    table: Table,
    source: VelocitiesSource,
    robot: RobotConfig,
    times: FloatArray,
    flagged: BoolArray,
    findings: FindingList,
) -> BodyVelocities | None:
    planar, rate = _planar_columns(table, source, findings), _turning(table, source, source.turn_rate, findings)
    heading = _heading(table, source, robot, times, findings)
    if planar is None or rate is None:
        return None
    heading = _without_bias(heading, table, source, times, np.hypot(*planar) > _MOVED_M, findings)
    return BodyVelocities(times, np.column_stack([*planar, rate]), heading, flagged)


def _poses(
    table: Table, source: PosesSource | PoseSource, times: FloatArray, flagged: BoolArray, findings: FindingList
) -> PoseTrack | None:
    x = number_column(table, source.x, findings)
    y = number_column(table, source.y, findings)
    heading = (
        sparse_number_column(table, None, findings)
        if source.heading is None
        else number_column(table, source.heading, findings)
    )
    if x is None or y is None or heading is None:
        return None
    pose = field_poses(x, y, heading, source.frame)
    position_std, heading_std = (
        (source.position_std, source.heading_std) if isinstance(source, PoseSource) else (0.0, 0.0)
    )
    return PoseTrack(times, pose, position_std, heading_std, flagged)


def read_truth(
    folder: Path, source: PoseSource | None, floor: Floor, span_s: tuple[float, float], findings: FindingList
) -> PoseTrack | None:
    """Return the dense reference, or None without a source or after findings.

    A track that has nothing in common with the odometry's `span_s` is left out with a warning. Steps that no robot
    drives, and poses far off the floor, are reported and kept.
    """
    read = _read_pose_track(folder, source, floor, span_s, findings)
    if read is None:
        return None
    table, track = read
    note_impossible_motion(table, track, findings)
    return _last_of_equal_times(track)


def read_onboard(
    folder: Path, source: PoseSource | None, floor: Floor, span_s: tuple[float, float], findings: FindingList
) -> PoseTrack | None:
    """Return what the robot itself believed, or None, as `read_truth`; a belief may jump where it is corrected."""
    read = _read_pose_track(folder, source, floor, span_s, findings)
    return None if read is None else _last_of_equal_times(read[1])


def _read_pose_track(
    folder: Path, source: PoseSource | None, floor: Floor, span_s: tuple[float, float], findings: FindingList
) -> tuple[Table, PoseTrack] | None:
    table = None if source is None else load_table(folder, source.file, findings)
    if source is None or table is None:
        return None
    times = forward_time_column(table, source.time, source.offset, findings)
    if times is None:
        return None
    track = _poses(table, source, times, flag_gaps(table, times, findings), findings)
    if track is None:
        return None
    if times[0] > span_s[1] or times[-1] < span_s[0]:
        findings.warning(
            FindingCode.OUTSIDE_LOG,
            f"this table runs from {times[0]:.6g} s to {times[-1]:.6g} s and was left out: the odometry log runs from "
            f"{span_s[0]:.6g} s to {span_s[1]:.6g} s",
            "Check the clocks, or the table's offset",
            file=table.file,
        )
        return None
    note_far_off_floor(table, track.pose[:, :2], floor, "poses", findings)
    return table, track


def _last_of_equal_times(track: PoseTrack) -> PoseTrack:
    """Of rows with one time the last one holds, as in the odometry."""
    keep = np.append(np.diff(track.time_s) > 0.0, True)
    return replace(track, time_s=track.time_s[keep], pose=track.pose[keep], flagged=track.flagged[keep])
