"""Sessions in the form that a calibration fits."""

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.calibration.constants import Constant, ConstantKind, Constants
from locbench.calibration.drive import Drive, Places, Seen
from locbench.calibration.surveyed import SurveyedPlaces, surveyed_places
from locbench.calibration.wheels import Wheel, Wheels
from locbench.config import FusionConfig, MotionNoise, RobotConfig, SessionConfig
from locbench.config.fusion import NoiseSource, TagNoise
from locbench.config.session import PosesSource
from locbench.geometry import interpolate_poses
from locbench.odometry import Motion, measure_motion
from locbench.session import Detections, FindingCode, PodTravel, Session, Stretch, TagKind, believed_camera
from locbench.vision import tag_places

__all__ = ["ANTENNA", "Logged", "Set", "gathered"]

_KNOT_EVERY_S = 1.0
_PARTS = 20
_CLOSE_S = 0.02
# what a gyro may still drift when its bias was taken from a standstill, at least, and when it was not; common practice
_BIAS_LEFT_RAD_S, _BIAS_UNKNOWN_RAD_S = float(np.radians(0.005)), float(np.radians(0.5))
# what is left of a perfect truth between its rows
_TRUTH_M, _TRUTH_RAD = 0.0005, float(np.radians(0.02))
ANTENNA = "antenna"
"""What the constants of a camera or antenna without an entry in the robot file belong to."""


@dataclass(frozen=True)
class Logged:
    """A session with its files: the session file's contents, where the field file is, and how tags are believed."""

    session: Session
    config: SessionConfig
    field_file: Path
    fusion: FusionConfig


@dataclass(frozen=True)
class Set:
    """Everything one calibration fits: the drives of all sessions, their constants, the surveyed places."""

    drives: tuple[Drive, ...]
    constants: Constants
    surveyed: SurveyedPlaces


def gathered(logged: Sequence[Logged]) -> Set:
    """Return the drives of some sessions of one robot, and the constants that they depend on.

    Parameters
    ----------
    logged
        Sessions that name the same robot file.
    """
    surveyed = surveyed_places({one.field_file: one.session.field for one in logged})
    drives = tuple(
        _drive(one, surveyed, stretch, number) for one in logged for number, stretch in enumerate(one.session.stretches)
    )
    found: dict[str, Constant] = {}
    for one in logged:
        for constant in _constants(one):
            found.setdefault(constant.name, constant)
    return Set(drives, Constants(tuple(found.values())), surveyed)


def _constants(one: Logged) -> list[Constant]:
    robot, log = one.session.robot, one.session.odometry
    found: list[Constant] = []
    if isinstance(log, PodTravel):
        for name, pod in robot.pods.items():
            of = f"pods.{name}"
            found += [
                Constant(ConstantKind.WHEEL_DIAMETER, of, pod.wheel_diameter),
                Constant(ConstantKind.LEVER_ARM, of, float(pod.row[2])),
                Constant(ConstantKind.ROLLING_DIRECTION, of, pod.rolling_direction),
            ]
        if log.heading_rad is not None and _gyro_counts(robot):
            found.append(Constant(ConstantKind.TURN_SCALE, "gyro", 1.0 if robot.gyro is None else robot.gyro.scale))
            lag = 0.0 if isinstance(one.config.odometry, PosesSource) else one.config.odometry.heading_lag
            found.append(Constant(ConstantKind.GYRO_LAG, "gyro", lag))
    else:
        for part in ("forward", "left"):
            found.append(Constant(ConstantKind.TRAVEL_SCALE, f"odometry.{part}", 1.0))
            found.append(Constant(ConstantKind.LEVER_ARM, f"odometry.{part}", 0.0))
        found.append(Constant(ConstantKind.TURN_SCALE, "odometry.turn", 1.0))
    if one.session.detections is not None and len(one.session.detections):
        assert one.config.tags is not None
        of, plane = _camera(one)
        # what the session file moves the stamps by is known of them already
        found.append(Constant(ConstantKind.LATENCY, of, -one.config.tags.offset))
        kinds = [ConstantKind.MOUNT_X, ConstantKind.MOUNT_Y, ConstantKind.MOUNT_YAW]
        if one.session.detections.kind is TagKind.RANGE:
            kinds = kinds[:2]
        found += [Constant(kind, of, float(value)) for kind, value in zip(kinds, plane, strict=False)]
    return found


def _gyro_counts(robot: RobotConfig) -> bool:
    """Return whether the robot takes its turns from the gyro, be it in part; else its pods alone have to be right."""
    return robot.heading_from != "pods"


def _camera(one: Logged) -> tuple[str, FloatArray]:
    """Return what the camera's constants belong to, and x, y, yaw of its mount on what carries it."""
    name, plane = believed_camera(one.config.tags, one.session.robot)
    return f"cameras.{ANTENNA if name is None else name}", plane


def _drive(one: Logged, surveyed: SurveyedPlaces, stretch: Stretch, number: int) -> Drive:
    session = one.session
    wheels = _wheels(session, stretch)
    first, last = float(wheels.time_s[0]), float(wheels.time_s[-1])
    visits = np.zeros(0, dtype=np.int64)
    if session.marks is not None:
        visits = session.marks.inside(first, last)
        visits = visits[np.argsort(session.marks.settled_s[visits], kind="stable")]
    arrived = session.marks.settled_s[visits] if session.marks is not None else np.zeros(0)
    marks_row = _nearest_rows(wheels.time_s, arrived)
    ends = np.append(arrived, last) if len(visits) else np.linspace(first, last, _PARTS + 1)[1:]
    legs = np.column_stack([np.append(first, ends[:-1]), ends])
    filler = np.zeros(0, dtype=np.int64)
    if session.truth is not None or session.detections is not None:
        filler = _nearest_rows(wheels.time_s, np.arange(first, last, _KNOT_EVERY_S))
    knot_row = np.unique(np.concatenate([[0], marks_row, filler]).astype(np.int64))
    knot_s = wheels.time_s[knot_row]
    places = _marks(session, one.field_file, surveyed, visits, np.searchsorted(knot_row, marks_row))
    return Drive(
        session=session.name,
        wheels=wheels,
        knot_row=knot_row,
        start=_start(one, surveyed, stretch, number),
        marks=places,
        truth=_truth(session, knot_s, legs),
        seen=_seen(one, knot_s, last, legs),
        legs=legs,
        drift_std_rad_s=_drift_std(session),
    )


def _nearest_rows(time_s: FloatArray, wanted_s: FloatArray) -> IntArray:
    after = np.clip(np.searchsorted(time_s, wanted_s), 1, len(time_s) - 1)
    nearer = wanted_s - time_s[after - 1] < time_s[after] - wanted_s
    return np.asarray(after - nearer)


def _legs_of(times_s: FloatArray, legs: FloatArray) -> IntArray:
    return np.minimum(np.searchsorted(legs[:, 1], times_s), len(legs) - 1)


def _wheels(session: Session, stretch: Stretch) -> Wheels:
    log, robot = session.odometry, session.robot
    motion = measure_motion(log, robot).within(stretch.start_s, stretch.end_s)
    if not isinstance(log, PodTravel):
        return _body_wheels(motion, robot.motion_noise)
    # of rows with one time the last one holds, as in reading
    keep = np.append(np.diff(log.time_s) > 0.0, True) & (log.time_s >= stretch.start_s) & (log.time_s <= stretch.end_s)
    rows, doubted = _thinned(log.time_s[keep], motion.doubted)
    kept = np.flatnonzero(keep)[rows]
    wheels = tuple(
        Wheel(
            f"pods.{name}",
            ConstantKind.WHEEL_DIAMETER,
            float(pod.row[2]),
            pod.rolling_direction,
            pod.along_per_metre,
            pod.rounding_variance,
        )
        for name, pod in robot.pods.items()
    )
    time = log.time_s[kept]
    rate = robot.motion_noise.heading_per_minute if robot.gyro is None else robot.gyro.heading_per_minute
    travel = np.column_stack([log.travel_m[name][kept] for name in robot.pods])
    return Wheels(
        time_s=time,
        travel_m=travel,
        heading_rad=log.heading_rad[kept] if log.heading_rad is not None and _gyro_counts(robot) else None,
        doubted=doubted,
        wheels=wheels,
        way_m=_rolled(log, robot, keep, kept),
        heading_of="gyro",
        turn_variance=rate**2 * np.diff(time) / 60.0,
    )


def _thinned(time_s: FloatArray, doubted: BoolArray) -> tuple[IntArray, BoolArray]:
    """Return rows at 50 Hz at most, first and last among them, and whether anything since the row before is doubted.

    Between such rows the motion of a robot of this size is even enough, and a fit takes half or a quarter of the time.
    """
    step = max(1, int(_CLOSE_S / float(np.median(np.diff(time_s))) + 1e-6))
    rows = np.unique(np.append(np.arange(0, len(time_s), step), len(time_s) - 1))
    since = np.add.reduceat(doubted[1:].astype(np.int64), rows[:-1]) if len(rows) > 1 else np.zeros(0)
    return rows, np.append(False, since > 0)


def _rolled(log: PodTravel, robot: RobotConfig, every: BoolArray, kept: IntArray) -> FloatArray:
    """Return (N - 1, K) how far each pod rolled between rows that are kept, back and forth both counted."""
    columns = [log.travel_m[name][every] for name in robot.pods]
    rolled = np.cumsum([np.append(0.0, np.abs(np.diff(column))) for column in columns], axis=1)
    places = np.searchsorted(np.flatnonzero(every), kept)
    return np.asarray(np.diff(rolled[:, places], axis=1).T)


def _body_wheels(motion: Motion, noise: MotionNoise) -> Wheels:
    """Return motion that an odometry computer logged as that of two wheels and a gyro, with the motion noise."""
    sums = np.cumsum(motion.twist, axis=0)
    stds = (noise.along_per_metre, noise.across_per_metre)
    wheels = tuple(
        Wheel(f"odometry.{part}", ConstantKind.TRAVEL_SCALE, 0.0, direction, max(std, 1e-4), 0.0)
        for part, direction, std in zip(("forward", "left"), (0.0, np.pi / 2.0), stds, strict=True)
    )
    length = np.hypot(motion.twist[1:, 0], motion.twist[1:, 1])
    turn_variance = (
        noise.heading_per_metre**2 * length
        + noise.heading_per_turn**2 * np.abs(motion.twist[1:, 2]) / (2.0 * np.pi)
        + noise.heading_per_minute**2 * motion.duration_s[1:] / 60.0
    )
    # across its way a body errs with the whole way, however little it moves sideways
    way = np.repeat(length[:, np.newaxis], 2, axis=1)
    doubted = motion.doubted
    return Wheels(motion.time_s, sums[:, :2], sums[:, 2], doubted, wheels, way, "odometry.turn", turn_variance)


def _start(one: Logged, surveyed: SurveyedPlaces, stretch: Stretch, number: int) -> Places:
    """Return the start as a place; put on a mark it shares that mark's survey error."""
    std = np.sqrt(np.diag(stretch.start.covariance))
    entry = one.config.start if number == 0 else None
    survey = -1
    if entry is not None and entry.mark is not None and entry.position_std is None and entry.heading_std is None:
        found = surveyed.index(one.field_file, entry.mark)
        if found is not None and entry.heading is None:
            survey, std = found, surveyed.placing_std[found]
    zero = np.zeros(1, dtype=np.int64)
    return Places(zero, stretch.start.pose[np.newaxis], std[np.newaxis], np.array([survey]), zero)


def _marks(session: Session, field_file: Path, surveyed: SurveyedPlaces, visits: IntArray, knots: IntArray) -> Places:
    marks = session.marks
    if marks is None:
        return _no_places()
    shared = [surveyed.index(field_file, marks.name[visit]) for visit in visits]
    std = [
        [marks.position_std_m[visit], marks.position_std_m[visit], marks.heading_std_rad[visit]]
        if place is None
        else surveyed.placing_std[place]
        for visit, place in zip(visits, shared, strict=True)
    ]
    survey = [-1 if place is None else place for place in shared]
    return Places(
        knots.astype(np.int64),
        marks.pose[visits],
        np.array(std).reshape(-1, 3),
        np.array(survey, dtype=np.int64),
        np.arange(len(visits)),
    )


def _no_places() -> Places:
    none = np.zeros(0, dtype=np.int64)
    return Places(none, np.zeros((0, 3)), np.zeros((0, 3)), none, none)


def _truth(session: Session, knot_s: FloatArray, legs: FloatArray) -> Places:
    truth = session.truth
    if truth is None:
        return _no_places()
    pose = interpolate_poses(truth.time_s, truth.pose, truth.flagged, knot_s)
    known = np.flatnonzero(np.isfinite(pose[:, 0]))
    position, heading = max(truth.position_std_m, _TRUTH_M), max(truth.heading_std_rad, _TRUTH_RAD)
    std = np.tile([position, position, heading], (len(known), 1))
    alone = np.full(len(known), -1)
    return Places(known, pose[known], std, alone, _legs_of(knot_s[known], legs))


def _seen(one: Logged, knot_s: FloatArray, last_s: float, legs: FloatArray) -> Seen | None:
    everything = one.session.detections
    if everything is None:
        return None
    inside = (everything.captured_s >= knot_s[0]) & (everything.captured_s <= last_s)
    found = everything.chosen(inside)
    found = found.chosen(np.argsort(found.captured_s, kind="stable"))
    if not len(found):
        return None
    of, plane = _camera(one)
    mounts = found.mount
    if found.kind is TagKind.ROBOT_POSE:
        mounts = np.zeros((len(found), 6))
        mounts[:, [0, 1, 3]] = plane
    return Seen(
        detections=found,
        camera=of,
        tags=tag_places(found, one.session.field)[:, 0],
        mounts=mounts,
        mount=plane,
        noise=one.fusion.tag_noise,
        own_covariance=_own_covariance(found, one.fusion.tag_noise),
        knot=np.searchsorted(knot_s, found.captured_s, side="right") - 1,
        leg=_legs_of(found.captured_s, legs),
    )


def _own_covariance(found: Detections, noise: TagNoise) -> FloatArray:
    """Return (M, D, D) the log's own, NaN where the fusion file does not take it."""
    factor = noise.scale**2 if noise.source is NoiseSource.LOG else np.nan
    return factor * found.own_covariance


def _drift_std(session: Session) -> float:
    for finding in session.findings:
        if finding.code is FindingCode.GYRO_BIAS and finding.measured:
            std = finding.measured[0].std
            return max(_BIAS_LEFT_RAD_S, std if std is not None and np.isfinite(std) else 0.0)
    return _BIAS_UNKNOWN_RAD_S
