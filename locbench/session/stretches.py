"""Start poses, and the stretches of a log over which estimators run without a break."""

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import FieldConfig, SessionConfig
from locbench.config.session import Segment, Start
from locbench.errors import ConfigError, nearest_choice
from locbench.session.findings import FindingCode, FindingList
from locbench.session.model import StartPose, Stretch

__all__ = ["read_stretches", "start_pose"]


def start_pose(start: Start, field: FieldConfig, where: str) -> StartPose:
    """Return the pose and covariance that a [start] or start_pose table describes.

    Raises
    ------
    ConfigError
        If its mark does not exist, or a heading or standard uncertainty is missing.
    """
    if start.mark is None:
        pose = np.array([start.x, start.y, start.heading], dtype=float)
        position_std, heading_std = start.position_std, start.heading_std
    else:
        mark = field.mark(start.mark)
        if mark is None:
            raise ConfigError(
                "the field file has no mark of this name",
                where=f"{where}.mark",
                received=start.mark,
                remedy=nearest_choice(start.mark, [known.name for known in field.marks]),
            )
        heading = start.heading if start.heading is not None else mark.heading
        if heading is None:
            raise ConfigError(f'mark "{mark.name}" has no heading', where=where, remedy='Add "heading"')
        pose = np.array([mark.x, mark.y, heading])
        position_std = start.position_std if start.position_std is not None else mark.position_std
        heading_std = start.heading_std if start.heading_std is not None else mark.heading_std
    if position_std is None or heading_std is None:
        raise ConfigError(
            "the start needs position_std and heading_std, which its mark does not carry",
            where=where,
            remedy="Write how exactly the robot was placed",
        )
    variances = np.array([position_std, position_std, heading_std]) ** 2
    return StartPose(pose, np.diag(variances))


def read_stretches(
    config: SessionConfig, field: FieldConfig, times_s: FloatArray, where: str, findings: FindingList
) -> tuple[Stretch, ...]:
    """Return the stretches; segments that continue the one before are joined with it, carried ones left out.

    Raises
    ------
    ConfigError
        If a start pose cannot be found.
    """
    first_start = start_pose(config.start, field, f"{where}: start")
    span_s = (float(times_s[0]), float(times_s[-1]))
    if not config.segments:
        return (Stretch(("whole log",), *span_s, first_start),)
    stretches: list[Stretch] = []
    for index, segment in enumerate(config.segments):
        if segment.kind == "carried":
            continue
        begin, end = max(segment.start, span_s[0]), min(segment.end, span_s[1])
        if np.unique(times_s[(times_s >= begin) & (times_s <= end)]).size < 2:
            findings.warning(
                FindingCode.SEGMENT_OUTSIDE_LOG,
                f'segment "{segment.name}" holds fewer than two rows of the odometry log and was left out',
                "Check its start and end, in seconds of the log's clock",
                file="session.toml",
                column=f"segments[{index + 1}]",
            )
            continue
        if stretches and begin > stretches[-1].end_s and segment.start_pose == "continue":
            findings.warning(
                FindingCode.UNCOVERED_TIME,
                f'no segment covers {stretches[-1].end_s:.6g} s to {begin:.6g} s; "{segment.name}" continues across it',
                "Close the gap, or give the segment a start_pose",
                file="session.toml",
                column=f"segments[{index + 1}]",
            )
        _append(stretches, segment, (begin, end), first_start, field, f"{where}: segments[{index + 1}].start_pose")
    return tuple(stretches)


def _append(
    stretches: list[Stretch],
    segment: Segment,
    span_s: tuple[float, float],
    first_start: StartPose,
    field: FieldConfig,
    where: str,
) -> None:
    if isinstance(segment.start_pose, Start):
        stretches.append(Stretch((segment.name,), *span_s, start_pose(segment.start_pose, field, where)))
    elif stretches:
        before = stretches.pop()
        stretches.append(Stretch((*before.names, segment.name), before.start_s, span_s[1], before.start))
    else:
        stretches.append(Stretch((segment.name,), *span_s, first_start))
