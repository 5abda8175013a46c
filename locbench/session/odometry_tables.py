"""The four kinds of odometry table."""

from dataclasses import replace
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
from locbench.session.counters import FASTEST_M_PER_S, common_restarts, continuous_counter
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
    match source:
        case PodCountsSource():
            return _pod_travel(table, source, robot, times, flagged, findings)
        case IncrementsSource():
            increments = _increments(table, source, times, flagged, findings)
            if increments is not None:
                _note_impossible_speed(table, times, np.linalg.norm(increments.twist[1:, :2], axis=1), findings)
            return increments
        case VelocitiesSource():
            velocities = _velocities(table, source, times, flagged, findings)
            if velocities is not None:
                steps = np.linalg.norm(velocities.velocity[1:, :2], axis=1) * np.diff(times)
                _note_impossible_speed(table, times, steps, findings)
            return velocities
        case PosesSource():
            poses = _poses(table, source, times, flagged, findings)
            if poses is not None:
                _note_impossible_speed(
                    table, times, np.linalg.norm(np.diff(poses.pose[:, :2], axis=0), axis=1), findings
                )
            return poses


def _note_impossible_speed(table: Table, times: FloatArray, steps_m: FloatArray, findings: FindingList) -> None:
    """Add a finding if steps (N - 1,) are longer than any student robot drives; a count's worth of slack is 1 mm."""
    fast = np.flatnonzero(steps_m > FASTEST_M_PER_S * np.diff(times) + 0.001)
    if len(fast):
        worst = int(np.argmax(steps_m))
        findings.warning(
            FindingCode.IMPOSSIBLE_SPEED,
            f"{len(fast)} steps are faster than {FASTEST_M_PER_S:.0f} m/s; the longest is {steps_m[worst]:.3g} m",
            "Check the units of time and length",
            file=table.file,
            row=int(fast[0]) + 2,
        )


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
    counters = {
        name: entry if isinstance(entry, PodCounter) else PodCounter(column=entry)
        for name, entry in source.pods.items()
    }
    counts = {
        name: number_column(table, Column(column=counter.column, unit=1.0), findings)
        for name, counter in counters.items()
    }
    known = {name: values for name, values in counts.items() if values is not None and name in robot.pods}
    restarted = common_restarts(list(known.values())) if known else np.zeros(len(times), dtype=bool)
    travel: dict[str, FloatArray] = {}
    for name, values in known.items():
        counter, size = counters[name], robot.pods[name].metres_per_count
        where = {"file": table.file, "column": counter.column}
        continuous = continuous_counter(values, times, size, counter.bits, restarted, findings, **where)
        flagged = flagged | continuous.flagged
        travel[name] = continuous.counts * size
    heading = _heading(table, source, findings)
    if heading is None and source.heading is None and robot.heading_from != "pods":
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
    if len(travel) < max(1, len(robot.pods)):
        return None
    if heading is not None and source.heading is not None:
        moved = np.any([np.abs(one - one[0]) > _MOVED_M for one in travel.values()], axis=0)
        where = {"file": table.file, "column": source.heading.column}
        heading = without_standstill_bias(heading, times, moved, findings, **where)
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
        if heading is not None and source.heading is not None and forward is not None and left is not None:
            moved = np.cumsum(np.hypot(forward, left)) > _MOVED_M
            where = {"file": table.file, "column": source.heading.column}
            heading = without_standstill_bias(heading, times, moved, findings, **where)
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
    if heading is not None and source.heading is not None:
        moved = np.hypot(forward, left) > _MOVED_M
        where = {"file": table.file, "column": source.heading.column}
        heading = without_standstill_bias(heading, times, moved, findings, **where)
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
    track = _poses(table, source, times, flag_gaps(table, times, findings), findings)
    if track is None:
        return None
    # of rows with one time the last one holds, as in the odometry
    keep = np.append(np.diff(times) > 0.0, True)
    return replace(track, time_s=times[keep], pose=track.pose[keep], flagged=track.flagged[keep])
