"""Whether what a table says can be meant: no robot of this trade is that fast, turns that fast or is that far away."""

import numpy as np

from locbench.arrays import FloatArray
from locbench.config.field import Floor
from locbench.geometry import wrap_angle
from locbench.session.findings import FindingCode, FindingList, Severity
from locbench.session.model import BodyIncrements, BodyVelocities, OdometryLog, PodTravel, PoseTrack
from locbench.session.tables import Table

__all__ = [
    "FASTEST_M_PER_S",
    "note_far_off_floor",
    "note_impossible_motion",
    "note_impossible_ranges",
    "refuse_absurd_motion",
    "time_since_earlier",
]

# Beyond these a step cannot be motion. Common practice, no source.
FASTEST_M_PER_S = 10.0
_FASTEST_RAD_PER_S = 30.0
# Beyond these no unit taken for another explains a step, and covariances carried over it would lose all their digits.
_ABSURD_M_PER_S = 1e4
_ABSURD_RAD_PER_S = 1e4
# A count's worth of travel, and headings that are logged in whole degrees.
_SLACK_M = 0.001
_SLACK_RAD = 0.03


def time_since_earlier(times_s: FloatArray) -> FloatArray:
    """Return (N,) time since the last strictly earlier row: coarse clocks give several rows one time."""
    earlier = np.searchsorted(times_s, times_s, side="left") - 1
    steps = np.diff(times_s)
    first = steps[np.argmax(steps > 0.0)]
    return np.where(earlier >= 0, times_s - times_s[np.maximum(earlier, 0)], first)


def note_impossible_motion(table: Table, log: OdometryLog | PoseTrack, findings: FindingList) -> None:
    """Add findings if steps are longer, or turn further, than any student robot drives in that time.

    Steps of pods and driven wheels are judged where their counters are made continuous.
    """
    since = time_since_earlier(log.time_s)[1:]
    steps_m, turns_rad = _steps(log), np.abs(_turns(log))
    findings.about_rows(
        Severity.WARNING,
        FindingCode.IMPOSSIBLE_SPEED,
        np.flatnonzero(steps_m > FASTEST_M_PER_S * since + _SLACK_M) + 1,
        f"{{count}} steps are faster than {FASTEST_M_PER_S:.0f} m/s; the longest is {steps_m.max(initial=0.0):.3g} m",
        "Check the units of time and length",
        file=table.file,
    )
    findings.about_rows(
        Severity.WARNING,
        FindingCode.IMPOSSIBLE_TURN,
        np.flatnonzero(turns_rad > _FASTEST_RAD_PER_S * since + _SLACK_RAD) + 1,
        f"{{count}} steps turn faster than {_FASTEST_RAD_PER_S / (2.0 * np.pi):.0f} turns per second; the largest is "
        f"{np.degrees(turns_rad.max(initial=0.0)):.3g} deg",
        "Check these rows, and the units of time and angle",
        file=table.file,
    )


def refuse_absurd_motion(table: Table, log: OdometryLog, findings: FindingList) -> None:
    """Add an error finding for steps of the odometry with which no honest answer is possible."""
    since = time_since_earlier(log.time_s)[1:]
    steps_m = _pod_steps(log) if isinstance(log, PodTravel) else _steps(log)
    findings.about_rows(
        Severity.ERROR,
        FindingCode.IMPOSSIBLE_SPEED,
        np.flatnonzero((steps_m > _ABSURD_M_PER_S * since) | (np.abs(_turns(log)) > _ABSURD_RAD_PER_S * since)) + 1,
        "{count} steps are absurd: kilometres, or thousands of turns, in a second",
        "Mend or remove these rows, or check the units",
        file=table.file,
    )


def _pod_steps(log: PodTravel) -> FloatArray:
    """Return the longest step (N - 1,) of any pod or driven wheel between rows."""
    counted = [*log.travel_m.values(), *log.drive_travel_m.values()]
    return np.asarray(np.max([np.abs(np.diff(travel)) for travel in counted], axis=0))


def _steps(log: OdometryLog | PoseTrack) -> FloatArray:
    """Return the lengths (N - 1,) of the steps between rows, of pods none."""
    match log:
        case BodyIncrements():
            steps = log.twist[1:, :2]
        case BodyVelocities():
            steps = log.velocity[1:, :2] * np.diff(log.time_s)[:, np.newaxis]
        case PoseTrack():
            steps = np.diff(log.pose[:, :2], axis=0)
        case PodTravel():
            return np.zeros(len(log.time_s) - 1)
    return np.asarray(np.linalg.norm(steps, axis=1))


def _turns(log: OdometryLog | PoseTrack) -> FloatArray:
    """Return the turns (N - 1,) between rows, NaN without a heading."""
    match log:
        case BodyIncrements():
            return log.twist[1:, 2]
        case BodyVelocities() if log.heading_rad is None:
            return log.velocity[1:, 2] * np.diff(log.time_s)
        case PoseTrack():
            return np.asarray(wrap_angle(np.diff(log.pose[:, 2])))
        case BodyVelocities() | PodTravel() if log.heading_rad is not None:
            return np.diff(log.heading_rad)
    return np.full(len(log.time_s) - 1, np.nan)


def note_far_off_floor(table: Table, position: FloatArray, floor: Floor, what: str, findings: FindingList) -> None:
    """Add a finding for the rows whose `position` (N, 2) lies off the floor by more than the floor's longer side.

    A wrong fix may lie a little outside; only wrong units, frames and cells lie that far. `what` names the rows.
    """
    beyond = np.maximum(
        np.array([floor.x_from, floor.y_from]) - position, position - np.array([floor.x_to, floor.y_to])
    ).max(axis=1)
    findings.about_rows(
        Severity.WARNING,
        FindingCode.FAR_OFF_FLOOR,
        np.flatnonzero(beyond > max(_sides(floor))),
        f"{{count}} {what} lie far off the floor, by up to {np.max(beyond, initial=0.0):.3g} m",
        "Check these rows, the units of length and the table's frame",
        file=table.file,
    )


def note_impossible_ranges(table: Table, range_m: FloatArray, floor: Floor, findings: FindingList) -> None:
    """Add a finding for the detections whose `range_m` (M,) is more than twice the floor's diagonal."""
    longest_m = float(np.nanmax(range_m, initial=0.0))
    findings.about_rows(
        Severity.WARNING,
        FindingCode.IMPOSSIBLE_RANGE,
        np.flatnonzero(range_m > 2.0 * np.hypot(*_sides(floor))),
        f"{{count}} detections report tags further away than the floor is wide, up to {longest_m:.3g} m",
        "Check these rows and the units of length",
        file=table.file,
    )


def _sides(floor: Floor) -> tuple[float, float]:
    return floor.x_to - floor.x_from, floor.y_to - floor.y_from
