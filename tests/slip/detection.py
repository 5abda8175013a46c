"""How surely, how soon and under which name slips are found: simulated drives of three layouts.

`python tests/slip/detection.py [DRIVES] [MINUTES]` drives each layout that many times for a minute with slips (default
60) and that many minutes without (default 120), and prints the tables of the README.
"""

import sys
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np

from locbench.config import RobotConfig
from locbench.config.robot import SensorKind
from locbench.config.scenario import GyroErrors
from locbench.odometry import layout_sensors, logged_sensors, measure_motion
from locbench.session import PodTravel
from locbench.simulation.gyro import gyro_heading
from locbench.simulation.losses import Loss
from locbench.simulation.path import DrivenPath, DrivingLimits, Waypoint, plan_path
from locbench.simulation.pods import Rolling, TruePod, count_pods, roll_pods
from locbench.slip.alarms import FALSE_ALARMS_PER_MINUTE, false_alarm_of_a_while, limits
from locbench.slip.checkable import Checkable, checkable
from locbench.slip.events import Slip, slips
from locbench.slip.steps import Steps, parity_steps

PERIOD_S, STAND_S = 0.010, 2.0
STATED_M, WITHIN_S = 0.010, 0.2
LIMITS = DrivingLimits(1.4, 3.0, np.radians(270.0), np.radians(700.0))
SIZES_M, SHARES, LONGEST_S, APART_S = (0.0105, 0.060), (0.2, 1.0), 0.8, 3.0


def _pod(x_mm: float, y_mm: float, direction_deg: float) -> dict[str, object]:
    return {
        "x": f"{x_mm} mm",
        "y": f"{y_mm} mm",
        "rolling_direction": f"{direction_deg} deg",
        "wheel_diameter": "50 mm",
        "counts_per_revolution": 4096,
        "along_per_metre": "1 mm",
    }


_TWO_AND_CROSS = {"left": _pod(0, 120, 0), "right": _pod(0, -120, 0), "cross": _pod(-100, 0, 90)}
LAYOUTS = {
    "A: left, right, cross, gyro": _TWO_AND_CROSS,
    "B: three forward, cross, gyro": {**_TWO_AND_CROSS, "middle": _pod(60, 20, 0)},
    "C: A and a second cross": {**_TWO_AND_CROSS, "cross_front": _pod(110, 0, 90)},
}


@dataclass(frozen=True)
class Conditions:
    """What the simulated sensors do wrong; the robot file believes 1 mm after 1 m in all of them."""

    name: str
    lag_s: float = 0.001
    along_per_metre_m: float = 0.001
    scale: float = 0.002


AS_CALIBRATED = Conditions("as calibrated")
ROUGH = (
    Conditions("gyro 5 ms late", lag_s=0.005),
    Conditions("gyro 10 ms late", lag_s=0.010),
    Conditions("gyro 20 ms late", lag_s=0.020),
    Conditions("pods 3 mm after 1 m", along_per_metre_m=0.003),
    Conditions("both, 20 ms and 3 mm", lag_s=0.020, along_per_metre_m=0.003),
    Conditions("pods 10 mm after 1 m", along_per_metre_m=0.010),
)


@dataclass(frozen=True)
class TrueSlip:
    """What was done to a pod; `stated_s` is when it had lost `STATED_M`."""

    pod: str
    begin_s: float
    end_s: float
    share: float
    stated_s: float
    size_m: float


@dataclass
class Score:
    """Counts of slips and what became of them."""

    slips: int = 0
    found: int = 0
    in_time: int = 0
    isolable: int = 0
    named: int = 0
    grouped: int = 0
    as_set: int = 0
    as_one: int = 0
    alarms: int = 0
    minutes: float = 0.0
    size_errors: list[float] = field(default_factory=list)


def robot_of(pods: Mapping[str, object]) -> RobotConfig:
    """Return a robot with those pods and a gyro."""
    gyro = {"heading_per_minute": "0.3 deg"}
    return RobotConfig.model_validate({"name": "test", "heading_from": "gyro", "pods": pods, "gyro": gyro})


def drive(minutes: float, generator: np.random.Generator) -> DrivenPath:
    """Return a lively drive over a 3.6 m floor, with stands, of about that length."""
    poses = [Waypoint(np.array([1.8, 1.8, 0.0]), STAND_S)]
    heading = 0.0
    while True:
        for _ in range(12):
            heading += generator.uniform(-2.5, 2.5)
            place = generator.uniform(0.2, 3.4, size=2)
            poses.append(Waypoint(np.array([*place, heading]), 0.5 if generator.uniform() < 0.25 else 0.0))
        path = plan_path(poses, LIMITS)
        if path.duration_s >= 60.0 * minutes:
            return path


def true_pods(robot: RobotConfig, conditions: Conditions, generator: np.random.Generator) -> dict[str, TruePod]:
    """Return the pods as they are: a tenth of a per cent off in size, half a millimetre in place."""
    return {
        name: TruePod(
            pod.x + generator.normal(scale=0.0005),
            pod.y + generator.normal(scale=0.0005),
            pod.rolling_direction + generator.normal(scale=0.001),
            pod.metres_per_count * (1.0 + generator.normal(scale=0.0005)),
            conditions.along_per_metre_m,
        )
        for name, pod in robot.pods.items()
    }


def planned_slips(rolling: Mapping[str, Rolling], time_s: np.ndarray, pods: list[str], generator) -> list[TrueSlip]:
    """Return slips of some pods, each while that pod rolls far enough, one every few seconds."""
    planned, at = [], STAND_S + 1.0
    while at < time_s[-1] - 3.0:
        pod = pods[generator.integers(len(pods))]
        slip = _slip_at(pod, rolling[pod].travel_m, time_s, at, generator)
        if slip is None:
            at += 0.1
            continue
        planned.append(slip)
        at = slip.end_s + APART_S + generator.uniform(0.0, 1.0)
    return planned


def _slip_at(pod: str, travel: np.ndarray, time_s: np.ndarray, at: float, generator) -> TrueSlip | None:
    share, size = generator.uniform(*SHARES), generator.uniform(*SIZES_M)
    first = int(np.searchsorted(time_s, at))
    last = int(np.searchsorted(time_s, at + LONGEST_S))
    lost = share * np.abs(travel[first : last + 1] - travel[first])
    reached = np.flatnonzero(lost >= size)
    if not len(reached):
        return None
    stated = int(np.flatnonzero(lost >= STATED_M)[0])
    end = int(reached[0])
    # a row is lost from the middle of its first step on
    return TrueSlip(pod, time_s[first], time_s[first + end], share, time_s[first + stated], float(lost[end]))


def recorded(path: DrivenPath, robot: RobotConfig, conditions: Conditions, generator, pods: list[str] | None):
    """Return the log of a drive, and its slips: of `pods`, or none at all."""
    time_s = np.arange(0.0, path.duration_s, PERIOD_S)
    real = true_pods(robot, conditions, generator)
    planned = planned_slips(roll_pods(path, real, time_s), time_s, pods, generator) if pods else []
    real = {
        name: replace(pod, losses=tuple(Loss(s.begin_s, s.end_s, s.share) for s in planned if s.pod == name))
        for name, pod in real.items()
    }
    streams = dict(zip(real, generator.spawn(len(real)), strict=True))
    counts = count_pods(path, real, time_s, streams)
    travel = {name: counts[name] * robot.pods[name].metres_per_count for name in robot.pods}
    lag = conditions.lag_s if conditions.lag_s > 0.001 else generator.uniform(0.0, conditions.lag_s)
    errors = GyroErrors.model_construct(
        bias=0.0,
        heading_per_minute=np.radians(0.2),
        scale_error=generator.uniform(-conditions.scale, conditions.scale),
        lag=lag,
    )
    heading = gyro_heading(path, errors, (), time_s, generator)
    return PodTravel(time_s, travel, heading, np.zeros(len(time_s), dtype=bool)), planned


def analysed(log: PodTravel, robot: RobotConfig) -> tuple[Checkable, Steps, list[Slip]]:
    """Return what the detector makes of a log."""
    motion = measure_motion(log, robot)
    sensors = logged_sensors(motion, log, robot)
    checks = checkable(sensors.layout, false_alarm_of_a_while(FALSE_ALARMS_PER_MINUTE))
    steps = parity_steps(motion, sensors, checks)
    assert steps is not None
    return checks, steps, slips(steps, limits(FALSE_ALARMS_PER_MINUTE, checks.redundancy, len(checks.sets)))


def score(planned: list[TrueSlip], checks: Checkable, steps: Steps, found: list[Slip], into: Score) -> None:
    """Add what became of the slips of one drive; what touches none of them is an alarm."""
    used = set()
    for true in planned:
        sensor = checks.layout.name.index(true.pod)
        mine = [
            index
            for index, slip in enumerate(found)
            if steps.time_s[slip.first] < true.end_s + 0.15 and steps.time_s[slip.last] > true.begin_s - 0.15
        ]
        used |= set(mine)
        into.slips += 1
        group = checks.set_of(sensor)
        alone = len(group) == 1
        into.isolable += alone
        into.grouped += not alone
        if not mine:
            continue
        into.found += 1
        into.in_time += min(steps.time_s[found[index].found + 1] for index in mine) <= true.stated_s + WITHIN_S
        best = max((found[index] for index in mine), key=lambda slip: slip.last - slip.first)
        candidates = {one.sensor for one in best.candidates}
        if alone:
            into.named += candidates == {sensor}
        else:
            into.as_set += candidates >= set(group)
            into.as_one += len(candidates) == 1
        size = next((abs(one.lacks) for one in best.candidates if one.sensor == sensor), np.nan)
        into.size_errors.append(size - true.size_m)
    into.alarms += len(found) - len(used)
    into.minutes += float(steps.time_s[-1] - steps.time_s[0]) / 60.0


def scores_of(layout: str, conditions: Conditions, drives: int, minutes: float, seed: int) -> tuple[Score, Score]:
    """Return the scores of drives of a minute with slips, and of that many minutes without."""
    robot = robot_of(LAYOUTS[layout])
    with_slips, without = Score(), Score()
    for number in range(drives):
        generator = np.random.default_rng([seed, number, 1])
        path = drive(1.0, generator)
        checks = checkable_of(robot)
        pods = [
            name
            for name, kind, seen in zip(checks.layout.name, checks.layout.kind, checks.detectable, strict=True)
            if seen and kind is SensorKind.POD
        ]
        log, planned = recorded(path, robot, conditions, generator, pods)
        score(planned, *analysed(log, robot), with_slips)
    number = 0
    while without.minutes < minutes:
        generator = np.random.default_rng([seed, number, 2])
        log, _ = recorded(drive(2.0, generator), robot, conditions, generator, None)
        score([], *analysed(log, robot), without)
        number += 1
    return with_slips, without


def checkable_of(robot: RobotConfig) -> Checkable:
    """Return what a robot's pods and gyro check."""
    return checkable(layout_sensors(robot, gyro=True), false_alarm_of_a_while(FALSE_ALARMS_PER_MINUTE))


def _percent(part: int, whole: int) -> str:
    return f"{100.0 * part / whole:.1f} %" if whole else "-"


def line(title: str, with_slips: Score, without: Score) -> str:
    """Return a row of the table."""
    off = 1000.0 * np.abs([size for size in with_slips.size_errors if np.isfinite(size)])
    cells = (
        title,
        str(with_slips.slips),
        _percent(with_slips.in_time, with_slips.slips),
        f"{_percent(with_slips.named, with_slips.isolable)} of {with_slips.isolable}",
        f"{_percent(with_slips.as_set, with_slips.grouped)} of {with_slips.grouped}",
        str(with_slips.as_one),
        f"{np.median(off):.1f} mm, {np.quantile(off, 0.9):.1f} mm",
        f"{without.alarms} in {without.minutes:.0f} min",
    )
    return "| " + " | ".join(cells) + " |"


def main() -> None:
    """Print both tables."""
    drives, minutes = (int(value) for value in (*sys.argv[1:3], *("60", "120")[len(sys.argv[1:3]) :]))
    cases = [(layout, conditions) for conditions in (AS_CALIBRATED, *ROUGH) for layout in LAYOUTS]
    print(f"| layout | slips | within {WITHIN_S} s | named right | as their set | as one | off by | false alarms |")
    print("|---|---|---|---|---|---|---|---|")
    with ProcessPoolExecutor() as pool:
        rows = [pool.submit(scores_of, layout, conditions, drives, minutes, 1) for layout, conditions in cases]
        for (layout, conditions), row in zip(cases, rows, strict=True):
            title = layout if conditions is AS_CALIBRATED else f"{layout}; {conditions.name}"
            print(line(title, *row.result()), flush=True)
    for layout in LAYOUTS:
        checks = checkable_of(robot_of(LAYOUTS[layout]))
        unseen = [name for name, seen in zip(checks.layout.name, checks.detectable, strict=True) if not seen]
        print(f"{layout}: left out, because nothing contradicts it: {', '.join(unseen) or 'none'}")


if __name__ == "__main__":
    main()
