"""Makes a long session of scenario_healthy's tour, to measure time and memory with; run by hand.

python tests/bench/long_session.py --minutes 120 --out /tmp/long
/usr/bin/time -v locbench evaluate /tmp/long/session --out /tmp/long/results
"""

import argparse
import re
from pathlib import Path

from locbench.config import FieldConfig, ScenarioConfig, load_config
from locbench.jobs.simulate import simulate
from locbench.simulation import build_world
from locbench.simulation.streams import random_streams

_CONFIGS = Path(__file__).parents[2] / "configs"
_TOUR = "scenario_healthy.toml"


def main() -> None:
    """Write the scenario and the session made from it."""
    options = _options()
    options.out.mkdir(parents=True, exist_ok=True)
    scenario = options.out / "scenario.toml"
    scenario.write_text(_scenario(_tours_within(60.0 * options.minutes), options), encoding="utf-8")
    made = simulate(scenario, options.out / "session")
    print(f"{made.folder}: {made.duration_s / 60.0:.1f} min, {made.path_length_m:.0f} m, {dict(made.rows)}")


def _options() -> argparse.Namespace:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--minutes", type=float, required=True, help="the whole tours that fit into this time")
    parser.add_argument("--out", type=Path, required=True, help="folder for scenario.toml and session/")
    parser.add_argument("--odometry-period", default="5 ms")
    parser.add_argument("--truth-period", default="20 ms")
    parser.add_argument("--frame-period", default="80 ms")
    parser.add_argument("--fusion", nargs="+", type=Path, default=[_CONFIGS / "fusion_gated_kalman.toml"])
    return parser.parse_args()


def _tours_within(limit_s: float) -> int:
    """Return how many tours surely fit; places on marks are drawn anew, so that some last a little longer."""
    first_s, both_s = _duration_s(1), _duration_s(2)
    return 1 + max(0, int(0.999 * (limit_s - first_s) / (both_s - first_s)))


def _duration_s(tours: int) -> float:
    scenario = load_config(_CONFIGS / _TOUR, ScenarioConfig)
    repeated = scenario.model_copy(update={"waypoints": scenario.waypoints * tours})
    field = load_config(_CONFIGS / scenario.field, FieldConfig)
    return build_world(repeated, field, random_streams(scenario.seed, ()).placing, _TOUR).duration_s


def _scenario(tours: int, options: argparse.Namespace) -> str:
    """Return the text of scenario_healthy with its tour repeated and its periods and files replaced."""
    head, tour = re.split(r"(?=\[\[waypoints\]\])", (_CONFIGS / _TOUR).read_text(encoding="utf-8"), maxsplit=1)
    values = {
        "name": f'"Orchard, {options.minutes:g} minutes"',
        "robot": f'"{_CONFIGS / "robot_three_pods.toml"}"',
        "field": f'"{_CONFIGS / "field_orchard.toml"}"',
        "shooter": f'"{_CONFIGS / "shooter_orchard.toml"}"',
        "fusion": str([str(path.resolve()) for path in options.fusion]),
        "odometry_period": f'"{options.odometry_period}"',
        "truth_period": f'"{options.truth_period}"',
        "frame_period": f'"{options.frame_period}"',
    }
    for key, value in values.items():
        head, found = re.subn(rf"^{key} = .*$", f"{key} = {value}", head, flags=re.MULTILINE)
        if found != 1:
            raise SystemExit(f"{_TOUR} has {found} lines with {key}, not one")
    return head + f"{tour.rstrip()}\n\n" * tours


if __name__ == "__main__":
    main()
