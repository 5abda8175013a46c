"""Counters and gyros that stand still while the others move, and odometry that never moves at all."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from types import MappingProxyType

import numpy as np

from locbench.arrays import BoolArray, FloatArray, runs_of
from locbench.config import RobotConfig, SessionConfig
from locbench.config.edits import Edit, EditedFile
from locbench.config.robot import Pod, SensorKind
from locbench.config.session import IncrementsSource, PodCounter, PodCountsSource, VelocitiesSource
from locbench.geometry import unseen_motion
from locbench.inspection.diagnosis import Diagnosis, LogFault
from locbench.odometry import Motion
from locbench.session import BodyIncrements, BodyVelocities, Measured, OdometryLog, PodTravel, PoseTrack, Severity
from locbench.units import Dimension, format_clock, format_quantity

__all__ = ["counter_faults", "frozen_against_truth", "motionless"]

_GYRO_ROW = np.array([0.0, 0.0, 1.0])
# A reading that stays the same for a second while the robot moves is no coincidence: encoders count fractions of a
# millimetre, gyros fractions of a degree. Common practice, no source.
_STUCK_S = 1.0
_MISSED_M, _MISSED_RAD = 0.020, float(np.radians(20.0))
# Where the others do not see all that this one would: it may roll over a point that stands still for a while.
_STUCK_UNSEEN_S, _DRIVEN_M, _TURNED_RAD = 3.0, 1.0, float(np.radians(180.0))
# A gyro whose bias was taken off runs on at that rate when it is stuck.
_SAME_RATE_RAD_PER_S, _LARGEST_BIAS_RAD_PER_S = 1e-9, float(np.radians(3.0))
# rounding of a step that is none
_NO_STEP = 1e-12
_MOST = 0.5
_NEVER_TURNED_M = 5.0
_TRUTH_MOVED_M = 0.100
_STOOD_M, _STOOD_RAD = 0.010, float(np.radians(5.0))
_POSE_IS_OFF = "Motion that it should have seen is lost or taken for another motion, and every pose after it is off."
_MEANING: Mapping[SensorKind, str] = MappingProxyType(
    {
        SensorKind.POD: _POSE_IS_OFF,
        SensorKind.DRIVE_WHEEL: "No pose is computed from it, but it seems to slip, and tells nothing of pods that do.",
        SensorKind.GYRO: _POSE_IS_OFF,
    }
)
_REMEDY: Mapping[SensorKind, str] = MappingProxyType(
    {
        SensorKind.POD: "Check its cable, its wheel and its contact with the floor; leave these times out with "
        "[[segments]].",
        SensorKind.DRIVE_WHEEL: "Check its cable and its encoder; until it counts, leave drive_wheels out of "
        "[odometry].",
        SensorKind.GYRO: "Check its cable and what the logger reads from it; leave these times out with [[segments]].",
    }
)


@dataclass(frozen=True)
class _Sensor:
    """One measurement: what it is called, its column, its row in the kinematics, its readings and where it rests.

    `change` and `rests` (N - 1,) are per interval.
    """

    words: str
    column: str
    kind: SensorKind
    row: FloatArray
    change: FloatArray
    rests: BoolArray

    @property
    def measures(self) -> Dimension:
        """What its readings are."""
        return Dimension.ANGLE if self.kind is SensorKind.GYRO else Dimension.LENGTH

    @property
    def missed(self) -> float:
        """From how much on travel that it does not show is not its noise."""
        return _MISSED_M if self.measures is Dimension.LENGTH else _MISSED_RAD


@dataclass(frozen=True)
class _Rest:
    """Intervals [begin, end) over which one reading stayed the same, and the travel that the others saw meanwhile."""

    begin: int
    end: int
    missed: float


def counter_faults(log: OdometryLog, motion: Motion, robot: RobotConfig, config: SessionConfig) -> list[Diagnosis]:
    """Return a diagnosis for every counter, gyro or turn column that stands still while the others move."""
    match log:
        case PodTravel():
            found = [
                _stuck(sensor, others, log.time_s, motion, robot, config)
                for sensor, others in _with_witnesses(log, robot, config)
            ]
            return [diagnosis for diagnosis in found if diagnosis is not None]
        case BodyIncrements() | BodyVelocities():
            return _never_turning(motion, config)
        case PoseTrack():
            return []


def motionless(motion: Motion, config: SessionConfig, moved_otherwise: bool) -> list[Diagnosis]:
    """Return a diagnosis if the odometry never moves; it is an error if something else says that the robot did."""
    path_m, turned_rad = float(motion.path_length_m[-1]), float(motion.turning_rad[-1])
    if path_m > _STOOD_M or turned_rad > _STOOD_RAD:
        return []
    also = "marks or truth say that the robot did" if moved_otherwise else "nothing else in the log says that it did"
    return [
        Diagnosis(
            code=LogFault.NO_MOTION,
            severity=Severity.ERROR if moved_otherwise else Severity.WARNING,
            where=config.odometry.file,
            evidence=f"The odometry moves by {format_quantity(path_m, Dimension.LENGTH)} and "
            f"{format_quantity(turned_rad, Dimension.ANGLE)} in the whole log; {also}.",
            meaning="Dead reckoning stays at the start, and there is nothing to measure.",
            remedy="Check that the pods touch the floor, that their cables are in, and that these are the right "
            "columns.",
            measured=(
                Measured("path", path_m, dimension=Dimension.LENGTH),
                Measured("turned", turned_rad, dimension=Dimension.ANGLE),
            ),
        )
    ]


def frozen_against_truth(motion: Motion, truth: PoseTrack, config: SessionConfig) -> list[Diagnosis]:
    """Return a diagnosis if the whole odometry stands still while the dense truth moves on."""
    rests = runs_of(np.all(np.abs(motion.twist[1:]) < _NO_STEP, axis=1))
    frozen = []
    for begin, end in rests:
        begin_s, end_s = float(motion.time_s[begin]), float(motion.time_s[end])
        inside = (truth.time_s >= begin_s) & (truth.time_s <= end_s)
        if end_s - begin_s < _STUCK_S or np.sum(inside) < 2:
            continue
        places = truth.pose[inside, :2]
        moved = float(np.max(np.linalg.norm(places - places[0], axis=1)))
        if moved > _TRUTH_MOVED_M:
            frozen.append(_Rest(begin, end, moved))
    if not frozen:
        return []
    lost = sum(rest.missed for rest in frozen)
    longest = max(frozen, key=lambda rest: float(motion.time_s[rest.end] - motion.time_s[rest.begin]))
    first_s, last_s = float(motion.time_s[longest.begin]), float(motion.time_s[longest.end])
    return [
        Diagnosis(
            code=LogFault.COUNTER_STUCK,
            severity=Severity.WARNING,
            where=config.odometry.file,
            evidence=f"All of the odometry stands still {len(frozen)} times, longest from {format_clock(first_s)} to "
            f"{format_clock(last_s)}, while the truth moves on by {format_quantity(lost, Dimension.LENGTH)} in all.",
            meaning="Whatever the robot did meanwhile is lost, and every pose after it is off by as much.",
            remedy="Look for what stalls the reading of the sensors while the logger goes on writing rows.",
            measured=(
                Measured("times", float(len(frozen))),
                Measured("longest", last_s - first_s, dimension=Dimension.TIME),
                Measured("missed", lost, dimension=Dimension.LENGTH),
            ),
        )
    ]


def _with_witnesses(
    log: PodTravel, robot: RobotConfig, config: SessionConfig
) -> Iterator[tuple[_Sensor, list[_Sensor]]]:
    """Yield each sensor with the others that tell whether it should have moved: never driven wheels, for they spin."""
    source = config.odometry
    if not isinstance(source, PodCountsSource):
        return
    trusted = _counters(log.travel_m, source.pods, robot.pods, SensorKind.POD)
    if log.heading_rad is not None and source.heading is not None:
        change = np.diff(log.heading_rad)
        rests = _same_rate(change, np.diff(log.time_s))
        trusted.append(_Sensor("The gyro", source.heading.column, SensorKind.GYRO, _GYRO_ROW, change, rests))
    for index, sensor in enumerate(trusted):
        yield sensor, [*trusted[:index], *trusted[index + 1 :]]
    for wheel in _counters(log.drive_travel_m, source.drive_wheels, robot.drive_wheels, SensorKind.DRIVE_WHEEL):
        yield wheel, trusted


def _counters(
    travel_m: Mapping[str, FloatArray],
    entries: Mapping[str, str | PodCounter],
    wheels: Mapping[str, Pod],
    kind: SensorKind,
) -> list[_Sensor]:
    sensors, words = [], "pod" if kind is SensorKind.POD else "driven wheel"
    for name, travel in travel_m.items():
        entry, change = entries[name], np.diff(travel)
        column = entry.column if isinstance(entry, PodCounter) else entry
        called = f'The counter of {words} "{name}"'
        sensors.append(_Sensor(called, column, kind, wheels[name].row, change, change == 0.0))
    return sensors


def _same_rate(change: FloatArray, duration_s: FloatArray) -> BoolArray:
    """Return (N - 1,) intervals of one slow rate like the one before: no gyro shows them, unless it is stuck."""
    rate = change / np.where(duration_s > 0.0, duration_s, np.nan)
    same = np.zeros(len(rate), dtype=bool)
    same[1:] = (np.abs(np.diff(rate)) < _SAME_RATE_RAD_PER_S) & (np.abs(rate[1:]) < _LARGEST_BIAS_RAD_PER_S)
    return np.asarray(same | (change == 0.0))


def _stuck(
    sensor: _Sensor,
    others: list[_Sensor],
    time_s: FloatArray,
    motion: Motion,
    robot: RobotConfig,
    config: SessionConfig,
) -> Diagnosis | None:
    if not others:
        return None
    expected, seen = _expected(sensor, others)
    # a driven wheel that brakes keeps its reading while the robot is pushed, but never for long
    rolls_along = seen and sensor.kind is not SensorKind.DRIVE_WHEEL
    # what the sensor itself shows of it, such as a bias that was taken off, is not missed
    missed = np.concatenate([[0.0], np.cumsum(expected - sensor.change)])
    stuck = []
    for begin, end in runs_of(sensor.rests):
        excursion = float(np.max(np.abs(missed[begin : end + 1] - missed[begin])))
        duration_s = float(time_s[end] - time_s[begin])
        if excursion > sensor.missed and _is_long(duration_s, rolls_along, motion, time_s[[begin, end]]):
            stuck.append(_Rest(begin, end, float(np.sum(np.abs(expected[begin:end])))))
    if not stuck:
        return _never_changing(sensor, motion, config)
    share = sum(rest.missed for rest in stuck) / float(np.sum(np.abs(expected)))
    return _stuck_diagnosis(sensor, stuck, share, time_s, robot, config)


def _expected(sensor: _Sensor, others: list[_Sensor]) -> tuple[FloatArray, bool]:
    """Return (N - 1,) what the others say the sensor should show, and whether they see all of it.

    Where they do not, motion that they cannot see counts as none: least squares of the smallest motion.
    """
    rows = np.array([other.row for other in others])
    weights = sensor.row @ np.linalg.pinv(rows)
    seen = bool(np.linalg.norm(sensor.row - weights @ rows) < 1e-6)
    return np.column_stack([other.change for other in others]) @ weights, seen


def _is_long(duration_s: float, rolls_along: bool, motion: Motion, span_s: FloatArray) -> bool:
    if rolls_along:
        return duration_s > _STUCK_S
    path_m = np.interp(span_s, motion.time_s, motion.path_length_m)
    turned_rad = np.interp(span_s, motion.time_s, motion.turning_rad)
    far = bool(path_m[1] - path_m[0] > _DRIVEN_M or turned_rad[1] - turned_rad[0] > _TURNED_RAD)
    return far and duration_s > _STUCK_UNSEEN_S


def _stuck_diagnosis(
    sensor: _Sensor, stuck: list[_Rest], share: float, time_s: FloatArray, robot: RobotConfig, config: SessionConfig
) -> Diagnosis:
    durations = [float(time_s[rest.end] - time_s[rest.begin]) for rest in stuck]
    longest = stuck[int(np.argmax(durations))]
    missed = sum(rest.missed for rest in stuck)
    times = "once" if len(stuck) == 1 else f"{len(stuck)} times"
    edits = _without_gyro(robot) if sensor.kind is SensorKind.GYRO and share > _MOST else ()
    spoils = share > _MOST and sensor.kind is not SensorKind.DRIVE_WHEEL
    remedy = _REMEDY[sensor.kind]
    if edits:
        remedy = "Take the heading from the pods until the gyro works, and check its cable."
    return Diagnosis(
        code=LogFault.COUNTER_STUCK,
        severity=Severity.ERROR if spoils else Severity.WARNING,
        where=f'{config.odometry.file}, column "{sensor.column}"',
        evidence=f"{sensor.words} keeps one reading {times} while the others move, longest {max(durations):.1f} s from "
        f"{format_clock(time_s[longest.begin])} on; they say that it misses "
        f"{format_quantity(missed, sensor.measures)}, {100.0 * share:.0f} % of all it should show.",
        meaning=_MEANING[sensor.kind],
        remedy=remedy,
        measured=(
            Measured("times", float(len(stuck))),
            Measured("longest", max(durations), dimension=Dimension.TIME),
            Measured("missed", missed, dimension=sensor.measures),
            Measured("share", share),
        ),
        edits=edits,
    )


def _without_gyro(robot: RobotConfig) -> tuple[Edit, ...]:
    """Return the change to a heading from the pods, if they see all motions without the gyro."""
    blind = unseen_motion(np.array([pod.row for pod in robot.pods.values()]))
    return () if blind or robot.heading_from == "pods" else (Edit(EditedFile.ROBOT, ("heading_from",), "pods"),)


def _never_changing(sensor: _Sensor, motion: Motion, config: SessionConfig) -> Diagnosis | None:
    path_m = float(motion.path_length_m[-1])
    if not np.all(sensor.change == 0.0) or path_m < _DRIVEN_M:
        return None
    return Diagnosis(
        code=LogFault.COUNTER_STUCK,
        severity=Severity.WARNING,
        where=f'{config.odometry.file}, column "{sensor.column}"',
        evidence=f"{sensor.words} never changes in the whole log, though the robot drives "
        f"{format_quantity(path_m, Dimension.LENGTH)}.",
        meaning="If the robot moved that way at all, it is lost."
        if sensor.kind is not SensorKind.DRIVE_WHEEL
        else _MEANING[sensor.kind],
        remedy="Push the robot by hand along that direction and look whether the number changes.",
        measured=(Measured("path", path_m, dimension=Dimension.LENGTH),),
    )


def _never_turning(motion: Motion, config: SessionConfig) -> list[Diagnosis]:
    source, path_m = config.odometry, float(motion.path_length_m[-1])
    if not isinstance(source, IncrementsSource | VelocitiesSource) or path_m < _NEVER_TURNED_M:
        return []
    if np.any(motion.twist[1:, 2] != 0.0):
        return []
    turning = source.turn if isinstance(source, IncrementsSource) else source.turn_rate
    column = turning or source.heading
    return [
        Diagnosis(
            code=LogFault.COUNTER_STUCK,
            severity=Severity.WARNING,
            where=f'{source.file}, column "{column.column}"' if column else source.file,
            evidence=f"The heading never changes in the whole log, though the robot drives "
            f"{format_quantity(path_m, Dimension.LENGTH)}.",
            meaning="If the robot turned at all, every pose after it is off.",
            remedy="Turn the robot by hand and look whether the number changes.",
            measured=(Measured("path", path_m, dimension=Dimension.LENGTH),),
        )
    ]
