"""The figures that a pre-event check compares, taken from everything else that is known of one session."""

import math
from collections.abc import Iterable, Mapping, Sequence
from types import MappingProxyType

import numpy as np

from locbench.calibration.constants import MOUNT_KINDS, ConstantKind
from locbench.calibration.determining import Estimate
from locbench.calibration.reading import ANTENNA
from locbench.config.baseline import FigureKind
from locbench.jobs.slip_stretches import StudiedStretch
from locbench.precheck.figures import Figure
from locbench.results import CameraRecord, Estimated, SessionResult
from locbench.session import FindingCode, Session, TagKind
from locbench.statistics import GUARD, UncertainNumber

__all__ = [
    "figures_of_camera",
    "figures_of_constants",
    "figures_of_log",
    "figures_of_scores",
    "figures_of_slips",
    "names_of_session",
]

_OF_CONSTANT: Mapping[ConstantKind, FigureKind] = MappingProxyType(
    {
        ConstantKind.WHEEL_DIAMETER: FigureKind.WHEEL_DIAMETER,
        ConstantKind.TRAVEL_SCALE: FigureKind.TRAVEL_SCALE,
        ConstantKind.LEVER_ARM: FigureKind.LEVER_ARM,
        ConstantKind.ROLLING_DIRECTION: FigureKind.ROLLING_DIRECTION,
        ConstantKind.TURN_SCALE: FigureKind.GYRO_SCALE,
        ConstantKind.GYRO_LAG: FigureKind.GYRO_LAG,
        ConstantKind.LATENCY: FigureKind.LATENCY,
        ConstantKind.MOUNT_X: FigureKind.MOUNT_PLACE,
        ConstantKind.MOUNT_Y: FigureKind.MOUNT_PLACE,
        ConstantKind.MOUNT_YAW: FigureKind.MOUNT_YAW,
    }
)
_NOISE = (
    ("along", "along_floor", "along_at_one_metre", FigureKind.TAG_LENGTH),
    ("across", "across_floor", "across_at_one_metre", FigureKind.TAG_LENGTH),
    ("heading", "heading_floor", "heading_at_one_metre", FigureKind.TAG_ANGLE),
    ("range", "range_floor", "range_per_metre", FigureKind.TAG_LENGTH),
    ("bearing", "bearing_floor", "bearing_offset", FigureKind.TAG_ANGLE),
)
_WRONG, _PER_MINUTE, _AT_REST, _DRIFT, _SLIPS = (
    "camera.wrong",
    "camera.tags_per_minute",
    "gyro.drift_at_rest",
    "drift.per_metre",
    "slips.per_minute",
)
_OF_A_POD = (ConstantKind.WHEEL_DIAMETER, ConstantKind.LEVER_ARM, ConstantKind.ROLLING_DIRECTION)
_OF_A_CAMERA = (ConstantKind.LATENCY, ConstantKind.MOUNT_X, ConstantKind.MOUNT_Y, ConstantKind.MOUNT_YAW)
# long enough that one block says little of the next
_BLOCK_S = 10.0
# of a normal distribution, the width of a 95 % interval in standard deviations
_WIDTH_95 = 3.92
# what may have been missed, in 95 %, where nothing was seen (Hanley & Lippman-Hand, JAMA 249, 1983)
_MISSED = 3.0


def names_of_session(session: Session) -> set[str]:
    """Return the names of all figures that some drive of its robot on its field may have."""
    robot, field = session.robot, session.field
    constants = [*((f"pods.{name}", kind) for name in robot.pods for kind in _OF_A_POD)]
    constants += [(f"cameras.{name}", kind) for name in (*robot.cameras, ANTENNA) for kind in _OF_A_CAMERA]
    constants += [("gyro", ConstantKind.TURN_SCALE), ("gyro", ConstantKind.GYRO_LAG)]
    hits = {_hit(goal.name, band.name) for goal in field.goals for band in field.bands}
    noise = {f"camera.noise.{name}" for name, *_ in _NOISE}
    return (
        {f"{of}.{kind.value}" for of, kind in constants}
        | hits
        | noise
        | {_WRONG, _PER_MINUTE, _AT_REST, _DRIFT, _SLIPS}
    )


def _hit(goal: str, band: str) -> str:
    return f"hit.{goal}.{band}"


def figures_of_constants(estimates: Iterable[Estimate], session: Session) -> list[Figure]:
    """Return every constant that was determined.

    The mount told by logged robot poses is a shift against that of the robot's program, whatever the robot file says.
    """
    logged = session.detections is not None and session.detections.kind is TagKind.ROBOT_POSE
    shifts = MOUNT_KINDS if logged else frozenset()
    return [
        Figure(
            one.constant.name,
            _OF_CONSTANT[one.constant.kind],
            one.shift if one.constant.kind in shifts else one.constant.estimate(one.shift),
            abs(one.constant.absolute(one.std)),
        )
        for one in estimates
        if one.determined
    ]


def figures_of_camera(record: CameraRecord) -> list[Figure]:
    """Return the noise of a detection from one metre, face on, and the share of wrong ones."""
    found = [
        Figure(f"camera.noise.{name}", kind, *_both(record.noise[floor], record.noise[grows]))
        for name, floor, grows, kind in _NOISE
        if floor in record.noise
    ]
    if record.outlier_share is not None and record.outlier_share.std is not None:
        share = record.outlier_share
        found.append(Figure(_WRONG, FigureKind.WRONG_DETECTIONS, share.value, share.std or 0.0))
    return found


def _both(floor: Estimated, grows: Estimated) -> tuple[float, float]:
    value = math.hypot(floor.value, grows.value)
    parts = math.hypot(floor.value * (floor.std or 0.0), grows.value * (grows.std or 0.0))
    return value, parts / value if value else 0.0


def figures_of_log(session: Session) -> list[Figure]:
    """Return the gyro's drift at rest, and how many detections there are in a minute."""
    found = []
    for finding in session.findings:
        if finding.code is FindingCode.GYRO_BIAS and finding.measured:
            drift = finding.measured[0]
            if drift.std is not None and math.isfinite(drift.std):
                found.append(Figure(_AT_REST, FigureKind.GYRO_DRIFT, drift.value, drift.std))
    if session.detections is not None:
        first, last = float(session.odometry.time_s[0]), float(session.odometry.time_s[-1])
        edges = np.arange(first, last + 1e-9, _BLOCK_S)
        if len(edges) > 2:
            counts = np.histogram(session.detections.captured_s, edges)[0] * 60.0 / _BLOCK_S
            std = float(np.std(counts, ddof=1)) / math.sqrt(len(counts))
            least = _surest_rate_std((edges[-1] - edges[0]) / 60.0)
            value = float(np.mean(counts))
            found.append(Figure(_PER_MINUTE, FigureKind.TAGS_PER_MINUTE, value, max(std, least)))
    return found


def _surest_rate_std(minutes: float) -> float:
    """Return the standard uncertainty of a rate per minute: none is surer than that of a drive which saw nothing."""
    return _MISSED / (GUARD * minutes)


def figures_of_slips(stretches: Sequence[StudiedStretch]) -> list[Figure]:
    """Return how many slips and failures of counters there are in a minute; nothing where no sensor is checked."""
    checked = [one for one in stretches if one.steps is not None]
    minutes = sum(float(one.motion.time_s[-1] - one.motion.time_s[0]) for one in checked) / 60.0
    if minutes <= 0.0:
        return []
    count = sum(len(one.events) for one in checked)
    std = max(math.sqrt(count) / minutes, _surest_rate_std(minutes))
    return [Figure(_SLIPS, FigureKind.SLIPS_PER_MINUTE, count / minutes, std)]


def figures_of_scores(scores: SessionResult) -> list[Figure]:
    """Return the drift of dead reckoning, and the hit probability of the first fusion in every band."""
    found = []
    reckoning = scores.estimators.get("dead_reckoning")
    if reckoning is not None and reckoning.drift is not None:
        found += _uncertain(_DRIFT, FigureKind.DRIFT, reckoning.drift.position_per_metre)
    fusion = next((name for name, one in scores.estimators.items() if one.correction_mode is not None), None)
    if fusion is not None:
        for band in scores.estimators[fusion].shots:
            name = _hit(band.goal, band.band)
            number = band.hit_probability
            if number.ci95 is None and band.seen is not None:
                # predicted for want of shots: those few that were seen have an interval
                number = band.seen.hit_probability
            found += _uncertain(name, FigureKind.HIT_PROBABILITY, number)
    return found


def _uncertain(name: str, kind: FigureKind, number: UncertainNumber) -> list[Figure]:
    """Return a figure if it has an interval: without one nothing can be decided."""
    if number.value is None or number.ci95 is None:
        return []
    low, high = number.ci95
    return [Figure(name, kind, number.value, (high - low) / _WIDTH_95)]
