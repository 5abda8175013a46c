"""One analytic drive over the Orchard floor with known truth, and the tables that three foreign programs wrote of it.

The robot turns on the spot towards the next mark, drives there straight, turns to the mark's heading and stands.
"""

from dataclasses import dataclass, field
from pathlib import Path

import numpy as np

from locbench.config import FieldConfig, RobotConfig, load_config
from locbench.geometry import compose, inverse, logarithm, wrap_angle

CONFIGS = Path(__file__).parents[2] / "configs"
ROBOT, FIELD = CONFIGS / "robot_three_pods.toml", CONFIGS / "field_orchard.toml"
_WAY = ("S1", "M1", "M6", "M2", "M7", "M5", "M3", "M4")
_PERIOD_S = 0.01
_SPEED, _TURN_RATE, _STAND_S = 0.9, np.radians(150.0), 1.2
_IN = 0.0254


def _ramp(amount: float, rate: float) -> np.ndarray:
    """From 0 to `amount` with a soft start and stop, one value per period after the first."""
    count = max(2, int(np.ceil(1.6 * abs(amount) / rate / _PERIOD_S)))
    return amount * (1.0 - np.cos(np.pi * np.arange(1, count + 1) / count)) / 2.0


@dataclass
class OrchardDrive:
    """Times (N,), true poses (N, 3) with unwrapped headings, and the stands on marks as name, begin, end."""

    time_s: np.ndarray
    pose: np.ndarray
    stands: list[tuple[str, float, float]] = field(default_factory=list)

    @property
    def twist(self) -> np.ndarray:
        """(N, 3) body increments, the first row zero."""
        steps = logarithm(compose(inverse(self.pose[:-1]), self.pose[1:]))
        return np.vstack([np.zeros(3), steps])

    def at(self, time_s: np.ndarray) -> np.ndarray:
        return np.column_stack([np.interp(time_s, self.time_s, self.pose[:, axis]) for axis in range(3)])


def orchard_drive() -> OrchardDrive:
    marks = {mark.name: (mark.x, mark.y, mark.heading) for mark in load_config(FIELD, FieldConfig).marks}
    rows = [np.tile(np.array(marks[_WAY[0]], dtype=float), (round(2.0 / _PERIOD_S) + 1, 1))]
    stands = []
    for name in _WAY[1:]:
        x, y, heading = rows[-1][-1]
        to_x, to_y, to_heading = marks[name]
        way = np.arctan2(to_y - y, to_x - x)
        first = _ramp(float(wrap_angle(way - heading)), _TURN_RATE)
        length = _ramp(float(np.hypot(to_x - x, to_y - y)), _SPEED)
        last = _ramp(float(wrap_angle(to_heading - way)), _TURN_RATE)
        rows.append(np.column_stack([np.full_like(first, x), np.full_like(first, y), heading + first]))
        along = heading + first[-1]
        rows.append(np.column_stack([x + length * np.cos(way), y + length * np.sin(way), np.full_like(length, along)]))
        rows.append(np.column_stack([np.full_like(last, to_x), np.full_like(last, to_y), along + last]))
        begin = (sum(map(len, rows)) - 1) * _PERIOD_S
        rows.append(np.tile(rows[-1][-1], (round(_STAND_S / _PERIOD_S), 1)))
        stands.append((name, begin, begin + _STAND_S - _PERIOD_S))
    pose = np.vstack(rows)
    return OrchardDrive(np.arange(len(pose)) * _PERIOD_S, pose, stands)


def _degrees(heading_rad: np.ndarray) -> np.ndarray:
    return np.degrees(wrap_angle(heading_rad))


def _table(header: list[str], columns: list, separator: str = ",", decimal: str = ".", end: str = "\n") -> str:
    def cell(value) -> str:
        return str(value).replace(".", decimal) if isinstance(value, float) else str(value)

    lines = [separator.join(header)]
    lines += [separator.join(cell(value) for value in row) for row in zip(*columns, strict=True)]
    return end.join(lines) + end


def _rounded(values: np.ndarray, decimals: int) -> list:
    return (np.round(values, decimals) + 0.0).tolist()


def _counts(drive: OrchardDrive) -> dict[str, list[int]]:
    robot = load_config(ROBOT, RobotConfig)
    return {
        name: np.rint(np.cumsum(drive.twist @ pod.row) / pod.metres_per_count).astype(int).tolist()
        for name, pod in robot.pods.items()
    }


def _fixes(drive: OrchardDrive, rng: np.random.Generator) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Times and tags of detections of the two nearest tags in view, every 80 ms, and their true ranges and bearings."""
    tags = load_config(FIELD, FieldConfig).tags
    found = []
    for time in np.arange(0.1, drive.time_s[-1] - 0.2, 0.08):
        x, y, heading = drive.at(np.array([time]))[0]
        camera = compose(np.array([x, y, heading]), np.array([0.15, 0.0, 0.0]))
        seen = []
        for tag in tags:
            away = np.array([tag.x, tag.y]) - camera[:2]
            bearing = float(wrap_angle(np.arctan2(away[1], away[0]) - heading))
            if abs(bearing) < np.radians(35.0):
                seen.append((float(np.hypot(*away)), bearing, tag.id))
        found += [(time, number, distance, bearing) for distance, bearing, number in sorted(seen)[:2]]
    rows = np.array(found)
    noise = rng.normal(size=(len(rows), 3))
    return rows, noise, rng.normal(scale=0.005, size=len(rows))


def write_clockwise_set(folder: Path) -> list[Path]:
    """Semicolons, decimal commas, CR LF, byte order mark; clockwise degrees from +y, inches about the middle, ms."""
    folder.mkdir(parents=True, exist_ok=True)
    drive, rng = orchard_drive(), np.random.default_rng(11)
    counts = _counts(drive)
    gyro = _degrees(-drive.pose[:, 2] + 0.4 + rng.normal(scale=2e-4, size=len(drive.time_s)))
    odometry = _table(
        ["t [ms]", "enc_l", "enc_r", "enc_c", "gyro"],
        [_rounded(1000 * drive.time_s, 1), counts["left"], counts["right"], counts["cross"], _rounded(gyro, 3)],
        *(";", ",", "\r\n"),
    )
    rows, noise, jitter = _fixes(drive, rng)
    pose = drive.at(rows[:, 0]) + noise * [0.015, 0.015, 0.015]
    tags = _table(
        ["shutter [ms]", "rx [ms]", "id", "x", "y", "heading"],
        [
            _rounded(1000 * rows[:, 0], 1),
            _rounded(1000 * (rows[:, 0] + 0.05 + np.abs(jitter)), 1),
            rows[:, 1].astype(int).tolist(),
            _rounded((pose[:, 0] - 2.0) / _IN, 2),
            _rounded((pose[:, 1] - 2.0) / _IN, 2),
            _rounded(_degrees(np.pi / 2.0 - pose[:, 2]), 2),
        ],
        *(";", ",", "\r\n"),
    )
    marks = _table(
        ["from [ms]", "to [ms]", "mark"],
        [
            [round(1000 * begin, 1) for _, begin, _ in drive.stands],
            [round(1000 * end, 1) for _, _, end in drive.stands],
            [name for name, _, _ in drive.stands],
        ],
        *(";", ",", "\r\n"),
    )
    return _written(folder, {"run 3.csv": odometry, "tags.csv": tags, "marks.csv": marks}, "utf-8-sig")


def write_pose_set(folder: Path) -> list[Path]:
    """Tabs and comment lines; a pose sensor's own pose from where it was switched on, heading clockwise from +y."""
    folder.mkdir(parents=True, exist_ok=True)
    drive, rng = orchard_drive(), np.random.default_rng(12)
    start = drive.pose[0]
    # its y axis points where the robot looked at the start
    own = compose(inverse(np.array([start[0], start[1], start[2] - np.pi / 2.0])), drive.pose)
    own[:, :2] += np.cumsum(rng.normal(scale=2e-5, size=(len(own), 2)), axis=0)
    pose = "# flow sensor 2, firmware 1.4\n# started on the mark\n" + _table(
        ["timestamp", "pos x", "pos y", "heading"],
        [
            np.rint(1e6 * drive.time_s).astype(int).tolist(),
            _rounded(1000 * own[:, 0], 1),
            _rounded(1000 * own[:, 1], 1),
            _rounded(np.degrees(np.pi / 2.0 - own[:, 2]), 2),
        ],
        "\t",
    )
    marks = _table(
        ["begin_s", "end_s", "mark"],
        [
            [round(begin, 3) for _, begin, _ in drive.stands],
            [round(end, 3) for _, _, end in drive.stands],
            [name for name, _, _ in drive.stands],
        ],
        "\t",
    )
    return _written(folder, {"pose.tsv": pose, "marks.tsv": marks}, "utf-8")


# the camera's clock counts milliseconds since 1970; the odometry's zero is this moment of it
CAMERA_ZERO_S = 1_700_000_000.0


def write_ranging_set(folder: Path) -> list[Path]:
    """Quoted names; speeds as odometry, ranges and clockwise bearings on the camera's own clock, surveyed marks."""
    folder.mkdir(parents=True, exist_ok=True)
    drive, rng = orchard_drive(), np.random.default_rng(13)
    rate = np.gradient(drive.pose, _PERIOD_S, axis=0)
    c, s = np.cos(drive.pose[:, 2]), np.sin(drive.pose[:, 2])
    forward = (c * rate[:, 0] + s * rate[:, 1]) / _IN + rng.normal(scale=0.05, size=len(c))
    left = (-s * rate[:, 0] + c * rate[:, 1]) / _IN + rng.normal(scale=0.05, size=len(c))
    turning = np.degrees(rate[:, 2]) + rng.normal(scale=0.2, size=len(c))
    odometry = _table(
        ['"t (s)"', '"v forward (in/s)"', '"v left"', '"yaw rate"'],
        [_rounded(drive.time_s, 3), _rounded(forward, 3), _rounded(left, 3), _rounded(turning, 2)],
    )
    rows, noise, jitter = _fixes(drive, rng)
    detections = _table(
        ['"stamp"', '"arrived"', '"tag id"', '"range"', '"bearing"', '"note, if any"'],
        [
            np.rint(1000 * (CAMERA_ZERO_S + rows[:, 0])).astype(np.int64).tolist(),
            np.rint(1000 * (CAMERA_ZERO_S + rows[:, 0] + 0.06 + np.abs(jitter))).astype(np.int64).tolist(),
            rows[:, 1].astype(int).tolist(),
            _rounded((rows[:, 2] + 0.012 * noise[:, 0]) / _IN, 2),
            _rounded(-np.degrees(rows[:, 3] + 0.008 * noise[:, 1]), 2),
            [""] * len(rows),
        ],
    )
    marks = _table(
        ['"press (s)"', '"mark"'],
        [[round((begin + end) / 2.0, 3) for _, begin, end in drive.stands], [name for name, _, _ in drive.stands]],
    )
    return _written(folder, {"drive.csv": odometry, "detections.csv": detections, "marks.csv": marks}, "utf-8")


def _written(folder: Path, texts: dict[str, str], encoding: str) -> list[Path]:
    for name, text in texts.items():
        (folder / name).write_bytes(text.encode(encoding))
    return [folder / name for name in texts]
