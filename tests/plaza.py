"""Turns the open Plaza data sets, as shipped in the gtsam wheel, into session folders of our own format.

Source: Djugash, Hamner & Roth, "Navigating with Ranging Radios: Five Data Sets with Ground Truth", Journal of Field
Robotics 26(9), 2009. Variables: DR (time, distance, turn), DRp (integrated: time, x, y, heading), GT (time, x, y,
heading), TD (time, antenna, beacon, range), TL (beacon, x, y).
"""

from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
import scipy.io

__all__ = ["PlazaSession", "write_plaza"]


@dataclass(frozen=True)
class PlazaSession:
    """Where one session was written, and the arrays it was made of."""

    folder: Path
    reckoned: np.ndarray
    truth: np.ndarray


def _data_folder() -> Path:
    import gtsam

    return Path(gtsam.__file__).parent / "Data"


_FIELD = """name = "Plaza {number}"
[floor]
x_from = "-100 m"
x_to = "100 m"
y_from = "-100 m"
y_to = "100 m"
"""
_ROBOT = """name = "Plaza mower"
heading_from = "pods"
[motion_noise]
along_per_metre = "{along} mm"
across_per_metre = "{across} mm"
heading_per_metre = "{per_metre} deg"
heading_per_turn = "{per_turn} deg"
heading_per_minute = "{per_minute} deg"
"""
_SESSION = """name = "Plaza {number}, {odometry}"
robot = "robot.toml"
field = "field.toml"
[start]
x = "{x:.9f} m"
y = "{y:.9f} m"
heading = "{heading:.9f} rad"
position_std = "20 mm"
heading_std = "1 deg"
[truth]
file = "truth.csv"
time = {{ column = "t", unit = "s" }}
x = {{ column = "x", unit = "m" }}
y = {{ column = "y", unit = "m" }}
heading = {{ column = "heading", unit = "rad" }}
position_std = "20 mm"
{truth_frame}
[tags]
kind = "range"
file = "tags.csv"
captured = {{ column = "t", unit = "s" }}
latency = "0 s"
tag = "beacon"
range = {{ column = "range", unit = "m" }}
range_scale = {scale}
[odometry]
"""
_POSES = """kind = "poses"
file = "reckoned.csv"
time = { column = "t", unit = "s" }
x = { column = "x", unit = "m" }
y = { column = "y", unit = "m" }
heading = { column = "heading", unit = "rad" }
"""
_INCREMENTS = """kind = "increments"
file = "increments.csv"
time = { column = "t", unit = "s" }
forward = { column = "distance", unit = "m" }
turn = { column = "turn", unit = "rad" }
"""


def write_plaza(
    folder: Path, number: int, odometry: str, scale: float, noise: dict[str, float] | None = None
) -> PlazaSession:
    """Write Plaza 1 or 2 with "poses" (DRp) or "increments" (DR) as its odometry.

    Plaza 2's ground-truth heading is the direction of travel plus half a turn, which its frame says.
    """
    data = scipy.io.loadmat(_data_folder() / f"Plaza{number}_.mat")
    folder.mkdir(parents=True, exist_ok=True)
    settings = {"along": 20.0, "across": 20.0, "per_metre": 0.5, "per_turn": 1.0, "per_minute": 3.0, **(noise or {})}
    reckoned, truth = data["DRp"], data["GT"]
    _csv(folder / "reckoned.csv", reckoned, ["t", "x", "y", "heading"])
    # the increments start one row after the poses: a first row of zero covers nothing
    increments = np.vstack([[reckoned[0, 0], 0.0, 0.0], data["DR"]])
    _csv(folder / "increments.csv", increments, ["t", "distance", "turn"])
    _csv(folder / "truth.csv", truth, ["t", "x", "y", "heading"])
    tags = pd.DataFrame(data["TD"][:, [0, 2, 3]], columns=["t", "beacon", "range"]).astype({"beacon": int})
    tags.to_csv(folder / "tags.csv", index=False, float_format="%.9f")
    field = _FIELD.format(number=number)
    for beacon, x, y in data["TL"]:
        field += f'[[tags]]\nid = {int(beacon)}\nx = "{x:.6f} m"\ny = "{y:.6f} m"\n'
    (folder / "field.toml").write_text(field)
    (folder / "robot.toml").write_text(_ROBOT.format(**settings))
    text = _SESSION.format(
        number=number,
        odometry=odometry,
        scale=scale,
        x=reckoned[0, 1],
        y=reckoned[0, 2],
        heading=reckoned[0, 3],
        truth_frame='frame = { heading_zero = "-x" }' if number == 2 else "",
    )
    (folder / "session.toml").write_text(text + (_POSES if odometry == "poses" else _INCREMENTS))
    return PlazaSession(folder, reckoned, truth)


def _csv(path: Path, rows: np.ndarray, columns: list[str]) -> None:
    pd.DataFrame(rows, columns=columns).to_csv(path, index=False, float_format="%.9f")
