"""Simulated checks: how many healthy robots fail, how many worn ones are found.

`python tests/precheck/healthy_and_worn.py [COUNT]` drives the run sheet of kind straight with 200 healthy robots and
200 with a left wheel 0.6 % smaller, each on a floor surveyed anew, and checks them against baselines of healthy robots,
one for every ten; the limit is 0.3 % of a wheel.
"""

import re
import sys
import tempfile
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
import tomlkit

from locbench.config import FieldConfig, RobotConfig, load_config
from locbench.drive_kinds import DriveKind
from locbench.jobs.precheck import baseline_of_session, precheck
from locbench.jobs.simulate import simulate
from locbench.precheck.judging import Overall
from locbench.report.runsheet_toml import mark_lines
from locbench.results import Precheck
from locbench.runsheet.sheet import RunSheet, run_sheet
from locbench.statistics import Conformity
from locbench.units import UnitSystem

__all__ = ["HEALTHY_MM", "WORN_MM", "checked", "made_check"]

CONFIGS = Path(__file__).parents[2] / "configs"
HEALTHY_MM, WORN_MM = 50.0, 50.0 * (1.0 - 0.006)
_RUNS_PER_BASELINE = 10
_SCENARIO = """name = "check"
seed = 1
robot = "robot.toml"
field = "field_true.toml"
fusion = ["fusion.toml"]
shooter = "shooter.toml"
[start]
mark = "R1"
standstill = "3 s"
[logging]
odometry_period = "20 ms"
truth_period = "1 s"
[driving]
speed = "1 m/s"
time_to_speed = "0.5 s"
turn_rate = "120 deg/s"
time_to_turn_rate = "0.4 s"
[placing]
position_std = "1.5 mm"
heading_std = "0.27 deg"
[truth.pods.left]
wheel_diameter = "{left:.4f} mm"
[pods]
along_per_metre = "2 mm"
[gyro]
bias = "0.06 deg/s"
heading_per_minute = "0.3 deg"
lag = "4 ms"
[camera]
mount = "front"
frame_period = "100 ms"
field_of_view = "60 deg"
vertical_field_of_view = "50 deg"
minimum_range = "250 mm"
maximum_range = "3 m"
maximum_view_angle = "65 deg"
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


def _sheet() -> RunSheet:
    field = load_config(CONFIGS / "field_orchard.toml", FieldConfig)
    robot = load_config(CONFIGS / "robot_three_pods.toml", RobotConfig)
    return run_sheet(field, robot, DriveKind.STRAIGHT, "field_orchard.toml", 0.05)


def _waypoints(sheet: RunSheet) -> str:
    found = []
    for part in sheet.plan.parts:
        for move in part.times * part.moves:
            before, after = sheet.plan.mark(move.start).pose, sheet.plan.mark(move.end).pose
            if move.turn_before_rad:
                turned = np.degrees((before.heading_rad or 0.0) + move.turn_before_rad)
                found.append(
                    f'[[waypoints]]\nx = "{before.x_m} m"\ny = "{before.y_m} m"\nheading = "{turned:.6f} deg"\n'
                )
                found.append(f'[[waypoints]]\nx = "{after.x_m} m"\ny = "{after.y_m} m"\nheading = "{turned:.6f} deg"\n')
            found.append(f'[[waypoints]]\nmark = "{move.end}"\ndwell = "1 s"\n')
    return "".join(found)


def _metres(text: str) -> float:
    value, unit = text.split()
    return float(value) * {"m": 1.0, "mm": 0.001, "deg": float(np.radians(1.0))}[unit]


def _surveyed(text: str, rng: np.random.Generator) -> tuple[str, str]:
    """Return the field as it really is, and as it was surveyed and taped."""
    real, believed = tomlkit.parse(text), tomlkit.parse(text)
    place = {}
    for mark in real["marks"]:
        if "placing_std" in mark:
            survey = np.sqrt(_metres(mark["position_std"]) ** 2 - _metres(mark["placing_std"]) ** 2)
            turn = np.sqrt(_metres(mark["heading_std"]) ** 2 - _metres(mark["placing_heading_std"]) ** 2)
            for key in ("x", "y"):
                mark[key] = f"{_metres(mark[key]) + survey * rng.standard_normal():.6f} m"
            heading = np.degrees(_metres(mark["heading"]) + turn * rng.standard_normal())
            mark["heading"] = f"{heading:.6f} deg"
        place[mark["name"]] = np.array([_metres(mark["x"]), _metres(mark["y"])])
    for taped, true in zip(believed["distances"], real["distances"], strict=True):
        length = float(np.hypot(*(place[taped["second"]] - place[taped["first"]])))
        true["length"] = f"{length:.6f} m"
        taped["length"] = f"{length + _metres(taped['std']) * rng.standard_normal():.6f} m"
    return tomlkit.dumps(real), tomlkit.dumps(believed)


def made_check(folder: Path, seed: int, left_mm: float) -> Path:
    """Simulate the sheet's drive on a floor surveyed anew, and return the session that the team would have."""
    sheet = _sheet()
    head, bands = (CONFIGS / "field_orchard.toml").read_text().split("# Distances of the robot", 1)
    text = head + "\n".join(mark_lines(sheet, UnitSystem.METRIC)) + "\n# Distances of the robot" + bands
    real, believed = _surveyed(text, np.random.default_rng(20_000 + seed))
    (folder / "field_true.toml").write_text(real)
    (folder / "field.toml").write_text(believed)
    for name, source in (
        ("robot", "robot_three_pods"),
        ("fusion", "fusion_gated_kalman"),
        ("shooter", "shooter_orchard"),
    ):
        (folder / f"{name}.toml").write_text((CONFIGS / f"{source}.toml").read_text())
    (folder / "scenario.toml").write_text(_SCENARIO.format(left=left_mm) + _waypoints(sheet))
    session = folder / "session"
    simulate(folder / "scenario.toml", session, seed)
    config = (session / "session.toml").read_text().replace("field_true.toml", "field.toml")
    (session / "session.toml").write_text(re.sub(r"\[truth\]\n(?:[^\[].*\n?)*", "", config))
    return session


def checked(baseline: str, seed: int, left_mm: float) -> Precheck:
    """Simulate one check and judge it by a baseline's text."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "baseline.toml"
        path.write_text(baseline)
        session = made_check(Path(folder), seed, left_mm)
        return precheck(session, path, Path(folder) / "history.csv", "2026-11-26T10:00").precheck


def saved(seed: int) -> str:
    """Return the baseline of one healthy robot."""
    with tempfile.TemporaryDirectory() as folder:
        return baseline_of_session(made_check(Path(folder), seed, HEALTHY_MM), "2026-11-01T10:00").text


def _one(task: tuple[str, int, float]) -> tuple[Overall, list[str], float]:
    check = checked(*task)
    failed = [one.name for one in check.lines if one.verdict is Conformity.FAIL]
    wheel = next(one for one in check.lines if one.name == "pods.left.wheel_diameter")
    return check.verdict, failed, (wheel.std or np.nan) / (wheel.value or np.nan)


def main(count: int) -> None:
    """Print what became of healthy and worn robots."""
    with ProcessPoolExecutor(2) as pool:
        baselines = list(pool.map(saved, range(90_000, 90_000 + -(-count // _RUNS_PER_BASELINE))))
        for name, left, first in (("healthy", HEALTHY_MM, 1), ("worn 0.6 %", WORN_MM, 50_001)):
            tasks = [(baselines[i // _RUNS_PER_BASELINE], first + i, left) for i in range(count)]
            results = list(pool.map(_one, tasks))
            failed = sum(bool(names) for _, names, _ in results)
            verdicts = {one.value: sum(verdict is one for verdict, _, _ in results) for one in Overall}
            print(f"{name}: {failed} of {count} with a failed figure; {verdicts}")
            std = 100.0 * float(np.median([one for *_, one in results]))
            print(f"  standard uncertainty of the left wheel, median: {std:.4f} %")
            every = [figure for _, names, _ in results for figure in names]
            print("  ", {figure: every.count(figure) for figure in sorted(set(every))})


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
