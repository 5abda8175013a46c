"""What the files make of a log, in a form that changes of the set-up can be tried on quickly."""

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config import SessionConfig
from locbench.config.columns import Frame
from locbench.config.tag_sources import CameraFrame, RobotPoseSource, TagPoseSource
from locbench.geometry import between, compose, exponential, inverse, wrap_angle
from locbench.odometry import measure_motion
from locbench.session import Detections, PodTravel, PoseTrack, Session, Stretch, TagKind, read_heading
from locbench.vision import as_robot_poses, tag_places

__all__ = ["ANGLE_FACTORS", "Fixes", "Odometry", "OwnPoses", "Rays", "Recorded", "Visits", "Wheels", "recorded"]

# A set-up stays the same all through a log: that much of it shows every fault, and some dozens of changes can be tried
# on it in a second. Between rows of the odometry that are kept the motion is taken as even, so they stay this close.
_ODOMETRY_ROWS = 40_000
_CLOSE_S = 0.02
_DETECTIONS = 4_000
_STANDING_S = 0.5
# degrees taken for radians, and radians for degrees
ANGLE_FACTORS = (float(np.pi / 180.0), float(180.0 / np.pi))


@dataclass(frozen=True)
class Wheels:
    """Cumulative travel (N, K) in metres of K wheels, and the rows (K, 3) that say what motion each measures.

    `metres_per_count` (K,) is signed; None where the log holds motion of the body and no counts.
    """

    names: tuple[str, ...]
    travel_m: FloatArray
    rows: FloatArray
    metres_per_count: FloatArray | None


@dataclass(frozen=True)
class OwnPoses:
    """Poses (N, 3) that an odometry computer integrated itself; `zero` (3,) is what a row of zeros means."""

    pose: FloatArray
    zero: FloatArray


@dataclass(frozen=True)
class Odometry:
    """What the odometry measured, row by row.

    Attributes
    ----------
    time_s
        (N,) strictly increasing.
    measured
        Wheels, or the poses of an odometry computer.
    heading_rad
        (N,) of the gyro, unwrapped; None without one, or where the wheels alone turn the robot.
    heading_counts
        Whether the heading is what turns the robot; else it only contradicts the wheels.
    otherwise_rad
        What the gyro's readings mean if their unit is off by a factor: (N,) each. Readings that wrap around in one
        unit do not in another, so the heading alone cannot tell.
    """

    time_s: FloatArray
    measured: Wheels | OwnPoses
    heading_rad: FloatArray | None
    heading_counts: bool
    otherwise_rad: Mapping[float, FloatArray] = field(default_factory=dict)

    @cached_property
    def path(self) -> FloatArray:
        """(N, 3) poses from the identity at the first row."""
        if isinstance(self.measured, OwnPoses):
            relative = between(self.measured.pose[:1], self.measured.pose)
            return np.column_stack([relative[:, :2], self.measured.pose[:, 2] - self.measured.pose[0, 2]])
        twist = self._twists(self.measured)
        step = exponential(twist)
        heading = np.concatenate([[0.0], np.cumsum(twist[:, 2])])
        cosine, sine = np.cos(heading[:-1]), np.sin(heading[:-1])
        x = np.cumsum(cosine * step[:, 0] - sine * step[:, 1])
        y = np.cumsum(sine * step[:, 0] + cosine * step[:, 1])
        return np.column_stack([np.append(0.0, x), np.append(0.0, y), heading])

    def _twists(self, wheels: Wheels) -> FloatArray:
        travel = np.diff(wheels.travel_m, axis=0)
        if self.heading_rad is None or not self.heading_counts:
            return np.asarray(travel @ np.linalg.pinv(wheels.rows).T)
        turn = np.diff(self.heading_rad)
        planar = (travel - np.outer(turn, wheels.rows[:, 2])) @ np.linalg.pinv(wheels.rows[:, :2]).T
        return np.column_stack([planar, turn])

    @cached_property
    def way_m(self) -> FloatArray:
        """(N,) length of the path up to each row."""
        return np.append(0.0, np.cumsum(np.hypot(*np.diff(self.path[:, :2], axis=0).T)))

    @cached_property
    def turning_rad(self) -> FloatArray:
        """(N,) sum of absolute turns up to each row."""
        return np.append(0.0, np.cumsum(np.abs(np.diff(self.path[:, 2]))))

    def at(self, times_s: FloatArray) -> FloatArray:
        """Return (M, 3) path poses at those times, NaN outside the log."""
        columns = [np.interp(times_s, self.time_s, c, left=np.nan, right=np.nan) for c in self.path.T]
        return np.stack(columns, axis=-1)

    def spent(self, sums: FloatArray, begin_s: FloatArray, end_s: FloatArray) -> FloatArray:
        """Return how much of a cumulative sum (N,), such as `way_m`, lies between two times (M,)."""
        return np.asarray(np.abs(np.interp(end_s, self.time_s, sums) - np.interp(begin_s, self.time_s, sums)))


@dataclass(frozen=True)
class Visits:
    """Marks: when the robot stood there (K,), and the pose (K, 3) there, headings NaN where unknown."""

    begin_s: FloatArray
    end_s: FloatArray
    pose: FloatArray

    @property
    def middle_s(self) -> FloatArray:
        """(K,) halfway between both."""
        return (self.begin_s + self.end_s) / 2.0


@dataclass(frozen=True)
class Fixes:
    """Detections that mean a pose of the robot.

    Attributes
    ----------
    kind
        Whether the robot's pose was logged, or the tag's.
    time_s, tag
        (M,) capture times in order, and the first tag's id.
    tag_pose
        (M, 4) x, y, z, facing of that tag as the field file has it.
    mount
        (M, 6) of the camera.
    pose
        (M, 3) robot poses in the field; headings are NaN where unknown.
    zero
        (3,) pose, of the robot or of a tag before the camera, that a row of zeros means.
    """

    kind: TagKind
    time_s: FloatArray
    tag: IntArray
    tag_pose: FloatArray
    mount: FloatArray
    pose: FloatArray
    zero: FloatArray

    @property
    def on_robot(self) -> FloatArray:
        """(M, 3) poses of the tags on the robot, headings not wrapped: in another unit they mean something else."""
        return compose(inverse(self.pose), self.tag_pose[:, [0, 1, 3]])

    def with_tags(self, tag_pose: FloatArray) -> "Fixes":
        """Return what the same pictures mean with tags (M, 4) elsewhere; a pose without heading stays."""
        moved = compose(tag_pose[:, [0, 1, 3]], inverse(self.on_robot))
        pose = np.where(np.isfinite(self.pose[:, 2:]), moved, self.pose)
        return replace(self, tag_pose=tag_pose, pose=pose)

    def with_tags_on_robot(self, on_robot: FloatArray) -> "Fixes":
        """Return what other poses (M, 3) of the tags on the robot mean."""
        return replace(self, pose=compose(self.tag_pose[:, [0, 1, 3]], inverse(on_robot)))


@dataclass(frozen=True)
class Rays:
    """Ranges and bearings (M,) from a camera or antenna to tags; NaN where the kind has none. Others as in `Fixes`."""

    time_s: FloatArray
    tag: IntArray
    tag_pose: FloatArray
    mount: FloatArray
    range_m: FloatArray
    bearing_rad: FloatArray
    slant: bool


@dataclass(frozen=True)
class Recorded:
    """One stretch of a log as the files have it.

    `start` (3,) is the pose at `start_s`, `start_std` (3,) how surely the files have it. `truth_zero` (3,) is the pose
    that a row of zeros in the table of the truth means.
    """

    odometry: Odometry
    start_s: float
    start: FloatArray
    start_std: FloatArray
    visits: Visits | None
    fixes: Fixes | None
    rays: Rays | None
    truth: PoseTrack | None
    truth_zero: FloatArray


def recorded(session: Session, config: SessionConfig) -> Recorded:
    """Return the first stretch of a session in that form; of a long one the first 40,000 rows at 50 Hz or fewer.

    Parameters
    ----------
    session
        The log.
    config
        Its session file.
    """
    first = session.stretches[0]
    odometry = _odometry(session, config, first)
    seen = replace(first, end_s=min(first.end_s, float(odometry.time_s[-1])))
    fixes, rays = _seen(session, config, seen)
    start_s = max(first.start_s, float(odometry.time_s[0]))
    start_std = np.sqrt(np.diag(first.start.covariance))
    visits = _visits(session, seen)
    zero = np.zeros(3) if config.truth is None else _zero(config.truth.frame)
    return Recorded(odometry, start_s, first.start.pose, start_std, visits, fixes, rays, session.truth, zero)


def _zero(frame: Frame | CameraFrame) -> FloatArray:
    """Return the pose (3,) that a row of zeros means: in another unit a log's numbers grow away from there."""
    origin = (frame.origin_x, frame.origin_y) if isinstance(frame, Frame) else (0.0, 0.0)
    return np.array([*origin, frame.heading_offset_rad])


def _visits(session: Session, stretch: Stretch) -> Visits | None:
    marks = session.marks
    inside = np.zeros(0, dtype=int) if marks is None else marks.inside(stretch.start_s, stretch.end_s)
    if marks is None or not len(inside):
        return None
    return Visits(marks.settled_s[inside], marks.end_s[inside], marks.pose[inside])


def _odometry(session: Session, config: SessionConfig, stretch: Stretch) -> Odometry:
    log, robot = session.odometry, session.robot
    keep = _strictly_later(log.time_s) & (log.time_s >= stretch.start_s) & (log.time_s <= stretch.end_s)
    time = log.time_s[keep]
    if isinstance(log, PodTravel):
        names = tuple(log.travel_m)
        travel = np.column_stack([log.travel_m[name][keep] for name in names])
        sizes = np.array([robot.pods[name].metres_per_count for name in names])
        wheels = Wheels(names, travel, np.array([robot.pods[name].row for name in names]), sizes)
        heading = None if log.heading_rad is None else log.heading_rad[keep]
        otherwise = {}
        reading = read_heading(session.folder, config.odometry)
        if heading is not None and reading is not None:
            otherwise = {factor: _reread(reading[keep], heading, time, factor) for factor in ANGLE_FACTORS}
        return _thinned(Odometry(time, wheels, heading, robot.heading_from != "pods", otherwise))
    if isinstance(log, PoseTrack):
        pose = np.column_stack([log.pose[keep, :2], np.unwrap(log.pose[keep, 2])])
        return _thinned(Odometry(time, OwnPoses(pose, _zero(config.odometry.frame)), None, False))
    motion = measure_motion(log, robot).within(stretch.start_s, stretch.end_s)
    time, sums = motion.time_s, np.cumsum(motion.twist, axis=0)
    otherwise = {factor: factor * sums[:, 2] for factor in ANGLE_FACTORS}
    wheels = Wheels(("forward", "left"), sums[:, :2], np.eye(3)[:2], None)
    return _thinned(Odometry(time, wheels, sums[:, 2], True, otherwise))


def _reread(reading_rad: FloatArray, heading_rad: FloatArray, time_s: FloatArray, factor: float) -> FloatArray:
    """Return the heading (N,) of readings to be multiplied by a factor, the standstill's bias taken off as before."""
    early = int(np.searchsorted(time_s, time_s[0] + _STANDING_S))
    early = min(max(early, 1), len(time_s) - 1)
    drift = np.unwrap(reading_rad[: early + 1]) - heading_rad[: early + 1]
    bias = (drift[-1] - drift[0]) / (time_s[early] - time_s[0])
    return np.asarray(np.unwrap(reading_rad * factor) - factor * bias * (time_s - time_s[0]))


def _strictly_later(time_s: FloatArray) -> BoolArray:
    # of rows with one time the last one holds, as in reading
    return np.append(np.diff(time_s) > 0.0, True)


def _thinned(odometry: Odometry) -> Odometry:
    usual = float(np.median(np.diff(odometry.time_s)))
    count, step = len(odometry.time_s), max(1, int(_CLOSE_S / usual + 1e-6))
    rows = np.append(np.arange(0, count - 1, step), count - 1)[:_ODOMETRY_ROWS]
    measured = odometry.measured
    return Odometry(
        odometry.time_s[rows],
        replace(measured, travel_m=measured.travel_m[rows])
        if isinstance(measured, Wheels)
        else replace(measured, pose=measured.pose[rows]),
        None if odometry.heading_rad is None else odometry.heading_rad[rows],
        odometry.heading_counts,
        {factor: heading[rows] for factor, heading in odometry.otherwise_rad.items()},
    )


def _seen(session: Session, config: SessionConfig, stretch: Stretch) -> tuple[Fixes | None, Rays | None]:
    everything = session.detections
    if everything is None or not len(everything):
        return None, None
    order = np.argsort(everything.captured_s, kind="stable")
    captured = everything.captured_s[order]
    order = order[(captured >= stretch.start_s) & (captured <= stretch.end_s)]
    if not len(order):
        return None, None
    found = everything.chosen(order[:: -(-len(order) // _DETECTIONS)])
    places = tag_places(found, session.field)[:, 0]
    poses = as_robot_poses(found, session.field)
    if poses is not None and isinstance(config.tags, RobotPoseSource | TagPoseSource):
        there = tag_places(poses, session.field)[:, 0]
        zero = _zero(config.tags.frame)
        return Fixes(found.kind, poses.captured_s, poses.tag, there, poses.mount, poses.value, zero), None
    if found.kind is TagKind.TAG_POSE:
        return None, _rays_of_tag_poses(found, places)
    ranges = found.value[:, 0] if found.kind is not TagKind.BEARING else found.range_m
    bearings = np.full(len(found), np.nan)
    if found.kind is not TagKind.RANGE:
        bearings = found.value[:, -1]
    return None, Rays(found.captured_s, found.tag, places, found.mount, ranges, bearings, found.slant)


def _rays_of_tag_poses(found: Detections, places: FloatArray) -> Rays:
    """Return what tag poses without headings are: ranges and bearings from a level camera."""
    line = found.value[:, :2] - found.mount[:, :2]
    level = found.mount.copy()
    level[:, 4:] = 0.0
    bearing = wrap_angle(np.arctan2(line[:, 1], line[:, 0]) - level[:, 3])
    return Rays(found.captured_s, found.tag, places, level, np.hypot(*line.T), bearing, False)
