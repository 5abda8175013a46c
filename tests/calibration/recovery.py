"""Simulated calibration runs with known constants: whether the intervals of `calibrate` hold the truth.

`python tests/calibration/recovery.py [COUNT]` prints, for 200 runs of each kind, how often each constant is determined,
how often its 95 % interval holds the truth, and the mean normalised squared error.

Each run surveys the floor anew: marks lie beside where the field file has them by the survey's own error, and the robot
is put onto them with the placing's.
"""

import re
import sys
import tempfile
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from locbench.calibration.constants import Constant
from locbench.calibration.determining import Calibrated, calibrated
from locbench.calibration.reading import Logged, gathered
from locbench.config import FusionConfig
from locbench.jobs.simulate import simulate
from locbench.session import examine_session

__all__ = ["RUNS", "TRUTH", "Run", "calibrated_run", "made_session"]

CONFIGS = Path(__file__).parents[2] / "configs"
_PLACING_M, _SURVEY_M = 0.0015, 0.0015
_PLACING_DEG, _SURVEY_DEG = 0.2, 0.2
LATE_S = 0.035

# what the robot really is, in the units of `calibrate`'s constants
TRUTH: Mapping[str, float] = {
    "pods.left.wheel_diameter": 0.04975,
    "pods.left.lever_arm": -0.122,
    "pods.left.rolling_direction": 0.0,
    "pods.right.wheel_diameter": 0.05,
    "pods.right.lever_arm": 0.12,
    "pods.right.rolling_direction": float(np.radians(-0.4)),
    "pods.cross.wheel_diameter": 0.0501,
    "pods.cross.lever_arm": -0.104,
    "pods.cross.rolling_direction": float(np.radians(91.0)),
    "gyro.scale": 1.0 / 1.005,
    "gyro.lag": 0.004,
    # the stamps are right, and the session file has them late by LATE_S
    "cameras.front.latency": 0.0,
    "cameras.front.x": 0.158,
    "cameras.front.y": -0.005,
    "cameras.front.yaw": float(np.radians(1.0)),
}

_HEAD = """name = "calibration run"
seed = 1
robot = "robot_true.toml"
field = "field_true.toml"
[start]
mark = "S1"
standstill = "3 s"
[logging]
odometry_period = "20 ms"
truth_period = "1 s"
[driving]
speed = "1.2 m/s"
time_to_speed = "0.5 s"
turn_rate = "180 deg/s"
time_to_turn_rate = "0.4 s"
[placing]
position_std = "1.5 mm"
heading_std = "0.2 deg"
[truth.pods.left]
wheel_diameter = "49.75 mm"
y = "122 mm"
[truth.pods.right]
rolling_direction = "-0.4 deg"
[truth.pods.cross]
x = "-104 mm"
rolling_direction = "91 deg"
wheel_diameter = "50.1 mm"
[pods]
along_per_metre = "2 mm"
[gyro]
bias = "0.06 deg/s"
heading_per_minute = "0.3 deg"
scale_error = "0.5 %"
lag = "4 ms"
[camera]
mount = "front"
reports = "tag_pose"
frame_period = "80 ms"
field_of_view = "60 deg"
vertical_field_of_view = "50 deg"
minimum_range = "250 mm"
maximum_range = "2.6 m"
maximum_view_angle = "60 deg"
flips = "0.5 %"
latency = "30 ms"
[camera.noise]
along_floor = "9 mm"
along_at_one_metre = "8 mm"
across_floor = "9 mm"
across_at_one_metre = "9 mm"
heading_floor = "0.7 deg"
heading_at_one_metre = "0.45 deg"
view_angle_growth = 0.8
"""


@dataclass(frozen=True)
class Run:
    """A kind of run: its waypoints, and whether it has a camera."""

    name: str
    waypoints: str
    camera: bool


def _at(mark: str) -> str:
    return f'[[waypoints]]\nmark = "{mark}"\ndwell = "1 s"\n'


def _by(x: float, y: float, heading: float) -> str:
    return f'[[waypoints]]\nx = "{x} m"\ny = "{y} m"\nheading = "{heading} deg"\ndwell = "0.2 s"\n'


_CORNERS = (("S1", 0.70, 0.80, 0), ("M1", 3.20, 0.75, 90), ("M2", 3.25, 3.20, 180), ("M3", 0.80, 3.25, -90))


def _forward_loop() -> str:
    """Drive each side forward, then turn onto the mark."""
    sides = zip(_CORNERS, (*_CORNERS[1:], _CORNERS[0]), strict=True)
    return "".join(_by(end[1], end[2], begin[3]) + _at(end[0]) for begin, end in sides)


def _sideways_loop() -> str:
    """Turn first, then drive each side sideways."""
    sides = zip(_CORNERS, (*_CORNERS[1:], _CORNERS[0]), strict=True)
    return "".join(_by(begin[1], begin[2], end[3]) + _at(end[0]) for begin, end in sides)


def _spins() -> str:
    """Turn three times to the left and to the right in the middle, and stand there at four headings each time."""
    left = [_by(2.0, 2.0, heading) for heading in (3 * (120, -120, 0))[:-1]]
    right = [_by(2.0, 2.0, heading) for heading in (3 * (-120, 120, 0))[:-1]]
    stands = ["R1", "R2", "R3", "R4", "R1"]
    there = "".join(_at(mark) for mark in stands[1:])
    back = "".join(_at(mark) for mark in stands[-2::-1])
    return _at("R1") + "".join(left) + _at("R1") + there + "".join(right) + _at("R1") + back


# Four marks in the middle of the floor, one per heading.
_MIDDLE = "".join(
    f'[[marks]]\nname = "R{number}"\nx = "2 m"\ny = "2 m"\nheading = "{heading} deg"\n'
    'position_std = "2 mm"\nheading_std = "0.3 deg"\n'
    for number, heading in enumerate((0, 90, 180, -90), start=1)
)


RUNS = (
    Run("marks and tags", _forward_loop() + _spins() + _at("S1") + _sideways_loop(), True),
    Run("marks alone", _forward_loop() + _spins() + _at("S1") + _sideways_loop() + _forward_loop(), False),
    Run("too few turns", 2 * (_by(3.2, 0.8, 0) + _at("S1")) + _at("M5"), False),
)


def made_session(run: Run, seed: int, folder: Path) -> Path:
    """Simulate a run on a floor that is surveyed anew, and return the session that the team would have."""
    rng = np.random.default_rng(10_000 + seed)
    field = (CONFIGS / "field_orchard.toml").read_text()
    field = field.replace("# Distances of the robot", f"{_MIDDLE}# Distances of the robot")
    robot = (CONFIGS / "robot_three_pods.toml").read_text()
    (folder / "field_true.toml").write_text(_surveyed(field, rng))
    (folder / "robot_true.toml").write_text(
        robot.replace('x = "150 mm"\ny = "0 mm"', 'x = "158 mm"\ny = "-5 mm"').replace('yaw = "0 deg"', 'yaw = "1 deg"')
    )
    head = _HEAD if run.camera else re.sub(r"\[camera\][\s\S]*", "", _HEAD)
    (folder / "scenario.toml").write_text(head + run.waypoints)
    session = folder / "session"
    simulate(folder / "scenario.toml", session, seed)
    std = f'position_std = "{1000 * np.hypot(_PLACING_M, _SURVEY_M):.6f} mm"'
    turn = f'heading_std = "{np.hypot(_PLACING_DEG, _SURVEY_DEG):.6f} deg"'
    believed = field.replace('position_std = "2 mm"', std).replace('heading_std = "0.3 deg"', turn)
    (folder / "field.toml").write_text(believed)
    (folder / "robot.toml").write_text(robot)
    config = (session / "session.toml").read_text()
    config = config.replace("robot_true.toml", "robot.toml").replace("field_true.toml", "field.toml")
    config = re.sub(r"\[truth\]\n(?:[^\[].*\n?)*", "", config)
    if run.camera:
        config = config.replace("[tags]\n", f'[tags]\noffset = "{1000 * LATE_S} ms"\n')
    (session / "session.toml").write_text(config)
    return session


def _surveyed(field: str, rng: np.random.Generator) -> str:
    """Return the field with its marks where they really are."""
    head, *marks = field.split("[[marks]]")
    *marks, last = marks
    last, bands = last.split("# Distances of the robot", 1)
    moved = []
    for mark in (*marks, last):
        for key, unit, std in (("x", "m", _SURVEY_M), ("y", "m", _SURVEY_M), ("heading", "deg", _SURVEY_DEG)):
            mark = re.sub(
                rf'^{key} = "(\S+) {unit}"',
                lambda found, key=key, unit=unit, std=std: (
                    f'{key} = "{float(found[1]) + std * rng.standard_normal():.6f} {unit}"'
                ),
                mark,
                flags=re.M,
            )
        moved.append(mark)
    return "[[marks]]".join([head, *moved]) + "# Distances of the robot" + bands


def calibrated_run(run: Run, seed: int) -> Calibrated:
    """Simulate and calibrate one run."""
    with tempfile.TemporaryDirectory() as folder:
        examined = examine_session(made_session(run, seed, Path(folder)))
        assert examined.session is not None
        session = replace(examined.session, truth=None)
        fusion = FusionConfig(name="calibration")
        return calibrated(gathered([Logged(session, examined.config, examined.files.field, fusion)]))


def errors_in_std(found: Calibrated) -> dict[str, float | None]:
    """Return each constant's error in standard uncertainties; None where it is not determined."""
    return {
        one.constant.name: _error(one.constant, one.shift) / _std(one.constant, one.std) if one.determined else None
        for one in found.estimates
    }


def _error(constant: Constant, shift: float) -> float:
    return constant.estimate(shift) - TRUTH[constant.name]


def _std(constant: Constant, std: float) -> float:
    return abs(constant.absolute(std))


def _one(task: tuple[int, int]) -> tuple[dict[str, float | None], dict[str, float], float]:
    run, seed = RUNS[task[0]], task[1]
    found = calibrated_run(run, seed)
    shown = {one.constant.name: _std(one.constant, one.std) for one in found.estimates}
    return errors_in_std(found), shown, found.factor


def main(count: int) -> None:
    """Print the table."""
    with ProcessPoolExecutor(2) as pool:
        for number, run in enumerate(RUNS):
            results = list(pool.map(_one, [(number, seed) for seed in range(1, count + 1)]))
            print(f"\n{run.name}: {count} runs, variance factor beyond 1 in {sum(r[2] > 1 for r in results)}")
            print(f"{'constant':32s} {'determined':>10s} {'held':>5s} {'mean square':>11s} {'median std':>11s}")
            for name in results[0][0]:
                errors = np.array([r[0][name] for r in results if r[0][name] is not None], dtype=float)
                std = float(np.median([r[1][name] for r in results]))
                held = int(np.sum(np.abs(errors) < 1.96))
                mean = float(np.mean(errors**2)) if len(errors) else float("nan")
                print(f"{name:32s} {len(errors):10d} {held:5d} {mean:11.2f} {std:11.6f}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
