"""Simulated cameras with known faults: what `camera` makes of them.

`python tests/camera/recovery.py [COUNT]` prints, for 60 runs each with a dense truth and with marks alone, how often
the 95 % intervals hold what is true of the noise, the latency and the mount, and which tags are said to hang aside.
Then, for the scenarios as they are, whose cameras have nothing but noise while the odometry has its faults, how often
something is claimed all the same.
"""

import re
import sys
import tempfile
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from locbench.jobs.camera import CameraStudy, camera
from locbench.jobs.simulate import simulate
from locbench.results import Estimated

__all__ = ["ASIDE", "LATE_S", "TRUTH", "errors_in_std", "studied"]

CONFIGS = Path(__file__).parents[2] / "configs"
LATE_S = 0.035
ASIDE = 6
"""The tag that hangs 30 mm to the north of its place, turned by 2 deg."""
TRUTH: Mapping[str, float] = {
    "along_floor": 0.009,
    "along_at_one_metre": 0.008,
    "across_floor": 0.009,
    "across_at_one_metre": 0.009,
    "heading_floor": float(np.radians(0.7)),
    "heading_at_one_metre": float(np.radians(0.45)),
    "view_angle_growth": 0.8,
    "latency": LATE_S,
    "x": 0.010,
    "y": -0.006,
    "yaw": float(np.radians(1.0)),
    f"tag {ASIDE} y": 0.030,
    f"tag {ASIDE} facing": float(np.radians(2.0)),
}


def _session(seed: int, folder: Path, truth: bool) -> Path:
    scenario = (CONFIGS / "scenario_healthy.toml").read_text()
    scenario = re.sub(r"\[\[truth\.tags\]\][^\[]*", "", scenario)
    # a robot that knows its odometry: between marks it is the reference
    scenario = re.sub(r"\[truth\.pods\.\w+\]\n(?:[^\[\n].*\n|\n)*", "", scenario)
    scenario = re.sub(r'scale_error = "[^"]*"', 'scale_error = "0 %"', scenario)
    scenario = re.sub(r'^lag = "[^"]*"', 'lag = "0 ms"', scenario, flags=re.M)
    scenario = scenario.replace('mount = "front"', 'mount = "front"\nreports = "tag_pose"', 1)
    scenario = re.sub(r"^(fusion|shooter) = .*\n", "", scenario, flags=re.M)
    scenario = scenario.replace("robot_three_pods.toml", "robot_true.toml").replace("field_orchard", "field_true")
    scenario += f'\n[[truth.tags]]\nid = {ASIDE}\ndy = "30 mm"\nturn = "2 deg"\n'
    robot = (CONFIGS / "robot_three_pods.toml").read_text()
    field = (CONFIGS / "field_orchard.toml").read_text()
    real = robot.replace('x = "150 mm"\ny = "0 mm"', 'x = "160 mm"\ny = "-6 mm"').replace(
        'yaw = "0 deg"', 'yaw = "1 deg"'
    )
    (folder / "robot_true.toml").write_text(real)
    (folder / "robot.toml").write_text(robot)
    (folder / "field_true.toml").write_text(field)
    (folder / "scenario.toml").write_text(scenario)
    session = folder / "session"
    simulate(folder / "scenario.toml", session, seed)
    config = (session / "session.toml").read_text().replace("robot_true.toml", "robot.toml")
    config = config.replace("[tags]\n", f'[tags]\noffset = "{1000 * LATE_S} ms"\n')
    (session / "session.toml").write_text(config)
    if not truth:
        _without_truth(session)
    return session


def studied(seed: int, truth: bool) -> CameraStudy:
    """Simulate a run and study its camera."""
    with tempfile.TemporaryDirectory() as folder:
        return camera([_session(seed, Path(folder), truth)])


def _blameless(task: tuple[str, int, bool]) -> tuple[int, int, int]:
    """Return how many quantities are claimed beyond chance, tags said to hang aside, and files changed."""
    scenario, seed, truth = task
    with tempfile.TemporaryDirectory() as folder:
        session = Path(folder) / "session"
        simulate(CONFIGS / f"scenario_{scenario}.toml", session, seed)
        if not truth:
            _without_truth(session)
        study = camera([session])
    wrong = sum(one.hangs_wrong for one in study.record.tags.values())
    return len(study.record.beyond_chance), wrong, len(study.changed_files)


def _without_truth(session: Path) -> None:
    config = (session / "session.toml").read_text()
    (session / "session.toml").write_text(re.sub(r"\[truth\]\n(?:[^\[].*\n?)*", "", config))


def errors_in_std(study: CameraStudy) -> dict[str, float]:
    """Return errors in standard uncertainties of everything whose truth is known."""
    record = study.record
    found: dict[str, Estimated | None] = {**record.noise, **record.mount}
    aside = record.tags[str(ASIDE)]
    found |= {f"tag {ASIDE} y": aside.y, f"tag {ASIDE} facing": aside.facing}
    errors = {
        name: (one.value - TRUTH[name]) / one.std
        for name, one in found.items()
        if one is not None and one.std is not None
    }
    if record.latency_s is not None and record.latency_std_s is not None:
        errors["latency"] = (record.latency_s - LATE_S) / record.latency_std_s
    return errors


def _one(task: tuple[int, bool]) -> tuple[dict[str, float], list[str], float, float]:
    study = studied(*task)
    wrong = [tag for tag, one in study.record.tags.items() if one.hangs_wrong]
    outliers, flips = study.record.outlier_share, study.record.flip_share
    assert outliers is not None
    assert flips is not None
    return errors_in_std(study), wrong, outliers.value, flips.value


def main(count: int) -> None:
    """Print the table."""
    with ProcessPoolExecutor(2) as pool:
        for truth in (True, False):
            results = list(pool.map(_one, [(seed, truth) for seed in range(1, count + 1)]))
            print(f"\n{'dense truth' if truth else 'marks alone'}: {count} runs")
            for name in TRUTH:
                errors = np.array([errors[name] for errors, *_ in results if name in errors])
                held = int(np.sum(np.abs(errors) < 1.96))
                print(f"{name:22s} told {len(errors):4d}  held {held:4d}  mean square {np.mean(errors**2):.2f}")
            tags = [tag for _, wrong, *_ in results for tag in wrong]
            print("tags said to hang aside:", {tag: tags.count(tag) for tag in sorted(set(tags))})
            wrong, flips = (100.0 * np.mean([result[place] for result in results]) for place in (2, 3))
            print(f"wrong detections {wrong:.2f} %, flips {flips:.2f} % (0.6 % simulated)")
        print(f"\nnothing wrong, {count} runs each: runs with something claimed, a tag blamed, a file changed")
        for scenario in ("healthy", "worn", "spin_line", "shoved"):
            for truth in (True, False):
                claims = list(pool.map(_blameless, [(scenario, seed, truth) for seed in range(1, count + 1)]))
                counts = [sum(claim[place] > 0 for claim in claims) for place in range(3)]
                print(f"{scenario:10s} {'dense truth' if truth else 'marks alone':12s}", *counts)


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 60)
