"""The four kinds of odometry table."""

from pathlib import Path

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config import RobotConfig
from locbench.config.session import (
    Column,
    IncrementsSource,
    OdometrySource,
    PodCounter,
    PodCountsSource,
    PoseSource,
    PosesSource,
    VelocitiesSource,
)
from locbench.errors import nearest_choice
from locbench.session.counters import continuous_counter
from locbench.session.findings import FindingCode
from locbench.session.frames import field_headings, field_poses
from locbench.session.gyro import without_standstill_bias
from locbench.session.model import BodyIncrements, BodyVelocities, OdometryLog, PodTravel, PoseTrack
from locbench.session.tables import (
    FindingList,
    Table,
    flag_gaps,
    forward_time_column,
    load_table,
    number_column,
    sparse_number_column,
)

__all__ = ["read_odometry", "read_pose_track"]


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
    match source:
        case PodCountsSource():
            return _pod_travel(table, source, robot, times, flagged, findings)
        case IncrementsSource():
            return _increments(table, source, times, flagged, findings)
        case VelocitiesSource():
            return _velocities(table, source, times, flagged, findings)
        case PosesSource():
            return _poses(table, source, times, flagged, findings)


def _heading(
    table: Table, source: PodCountsSource | IncrementsSource | VelocitiesSource, findings: FindingList
) -> FloatArray | None:
    if source.heading is None:
        return None
    heading = number_column(table, source.heading, findings)
    return None if heading is None else np.unwrap(field_headings(heading, source.frame))


def _pod_travel(
    table: Table,
    source: PodCountsSource,
    robot: RobotConfig,
    times: FloatArray,
    flagged: BoolArray,
    findings: FindingList,
) -> PodTravel | None:
    _check_pod_names(source, robot, findings)
    travel: dict[str, FloatArray] = {}
    for name, entry in source.pods.items():
        counter = entry if isinstance(entry, PodCounter) else PodCounter(column=entry)
        pod = robot.pods.get(name)
        counts = number_column(table, Column(column=counter.column, unit=1.0), findings)
        if counts is None or pod is None:
            continue
        where = {"file": table.file, "column": counter.column}
        continuous = continuous_counter(counts, times, pod.metres_per_count, counter.bits, findings, **where)
        flagged = flagged | continuous.flagged
        travel[name] = continuous.counts * pod.metres_per_count
    heading = _heading(table, source, findings)
    if heading is None and source.heading is None and robot.heading_from != "pods":
        findings.error(
            FindingCode.HEADING_MISSING,
            f'the robot takes its heading from "{robot.heading_from}", but this log has no heading column',
            'Name it in [odometry] heading, or set heading_from = "pods" in the robot file',
            file=table.file,
        )
    if len(travel) < len(robot.pods):
        return None
    if heading is not None and source.heading is not None:
        heading = without_standstill_bias(
            heading, times, travel, findings, file=table.file, column=source.heading.column
        )
    return PodTravel(times, travel, heading, flagged)


def _check_pod_names(source: PodCountsSource, robot: RobotConfig, findings: FindingList) -> None:
    for name in source.pods:
        if name not in robot.pods:
            findings.error(
                FindingCode.UNKNOWN_POD,
                f'the robot file has no pod "{name}"',
                nearest_choice(name, robot.pods),
                file="session.toml",
                column=f"odometry.pods.{name}",
            )
    for name in robot.pods:
        if name not in source.pods:
            findings.error(
                FindingCode.UNKNOWN_POD,
                f'the robot\'s pod "{name}" has no column in this log',
                "Add it to [odometry] pods, or take the pod out of the robot file",
                file="session.toml",
                column="odometry.pods",
            )


def _increments(
    table: Table, source: IncrementsSource, times: FloatArray, flagged: BoolArray, findings: FindingList
) -> BodyIncrements | None:
    forward = number_column(table, source.forward, findings)
    left = np.zeros(len(times)) if source.left is None else number_column(table, source.left, findings)
    if source.turn is not None:
        turn = number_column(table, source.turn, findings)
        turn = None if turn is None else source.frame.heading_sign * turn
    else:
        heading = _heading(table, source, findings)
        turn = None if heading is None else np.diff(heading, prepend=heading[0])
    if forward is None or left is None or turn is None:
        return None
    return BodyIncrements(times, np.column_stack([forward, left, turn]), flagged)


def _velocities(
    table: Table, source: VelocitiesSource, times: FloatArray, flagged: BoolArray, findings: FindingList
) -> BodyVelocities | None:
    forward = number_column(table, source.forward, findings)
    left = np.zeros(len(times)) if source.left is None else number_column(table, source.left, findings)
    heading = _heading(table, source, findings)
    if source.turn_rate is None:
        rate = None if heading is None else np.zeros(len(times))
    else:
        rate = number_column(table, source.turn_rate, findings)
        rate = None if rate is None else source.frame.heading_sign * rate
    if forward is None or left is None or rate is None:
        return None
    return BodyVelocities(times, np.column_stack([forward, left, rate]), heading, flagged)


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


def read_pose_track(folder: Path, source: PoseSource, findings: FindingList) -> PoseTrack | None:
    """Return a dense track of poses (reference or on-board), or None after error findings."""
    table = load_table(folder, source.file, findings)
    if table is None:
        return None
    times = forward_time_column(table, source.time, source.offset, findings)
    if times is None:
        return None
    return _poses(table, source, times, flag_gaps(table, times, findings), findings)
