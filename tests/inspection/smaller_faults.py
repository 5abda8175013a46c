"""How small a fault of the set-up may be and still be named: run as a program, it prints the README's second table."""

import tempfile
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import pandas as pd
from setup_faults import (
    SEEDS,
    Change,
    Fault,
    added,
    columns,
    healthy_session,
    in_file,
    offset,
    rotated,
    scaled,
    with_fault,
)

from locbench.config.scenario import CameraReport
from locbench.inspection.diagnosis import SetupFault
from locbench.jobs.inspect import inspect

__all__ = ["SCALES", "Scale", "row"]

_ROBOT, _FIELD = "robot_three_pods.toml", "field_orchard.toml"
_CROSS = 'rolling_direction = "90 deg"    # rolls to the left\nwheel_diameter = "{} mm"'
_LEFT = 'y = "120 mm"\nrolling_direction = "0 deg"\nwheel_diameter = "{} mm"'


@dataclass(frozen=True)
class Scale:
    """One kind of fault: what it is, its code, and how it is made in several sizes, written as a person would."""

    name: str
    code: SetupFault
    sizes: Mapping[str, Change]
    report: CameraReport = CameraReport.ROBOT_POSE


def _gyro_late(milliseconds: float) -> Change:
    def change(data: pd.DataFrame) -> None:
        data["gyro_deg"] = np.interp(data["t_ms"] - milliseconds, data["t_ms"], data["gyro_deg"])

    return columns("odometry.csv", change)


def _gyro_drifting(degrees_per_minute: float) -> Change:
    def change(data: pd.DataFrame) -> None:
        data["gyro_deg"] += np.maximum(data["t_ms"] - 2900.0, 0.0) / 60_000.0 * degrees_per_minute

    return columns("odometry.csv", change)


def _tag_aside(millimetres: float) -> Change:
    return in_file(_FIELD, 'id = 3\nx = "2.9 m"', f'id = 3\nx = "{2.9 - millimetres / 1000.0:.2f} m"')


def _start_turned(degrees: float) -> Change:
    return in_file("session.toml", 'mark = "S1"', f'mark = "S1"\nheading = "{degrees} deg"\nheading_std = "0.3 deg"')


def _sizes(unit: str, make: Callable[[float], Change], *sizes: float) -> Mapping[str, Change]:
    return {f"{size:g} {unit}": make(size) for size in sizes}


def _wheel_larger(text: str) -> Callable[[float], Change]:
    return lambda millimetres: in_file(_ROBOT, text.format(50), text.format(50 + millimetres))


def _ranges_long(percent: float) -> Change:
    return scaled("tags.csv", 1.0 + percent / 100.0, "range_in")


def _bearings_off(degrees: float) -> Change:
    return added("tags.csv", "bearing_deg", degrees)


def _frame_turned(degrees: float) -> Change:
    return columns("tags.csv", rotated(degrees))


def _frame_moved(millimetres: float) -> Change:
    return columns("tags.csv", rotated(0.0, millimetres / 1000.0))


def _clock_ahead(milliseconds: float) -> Change:
    return offset("tags", "kind", f"{milliseconds} ms")


_F, _RAYS, _TAG_POSES = SetupFault, CameraReport.RANGE_BEARING, CameraReport.TAG_POSE
SCALES = (
    Scale("tag clock ahead", _F.CLOCK_SHIFT, _sizes("ms", _clock_ahead, 30, 60, 100)),
    Scale("gyro late", _F.GYRO_LAG, _sizes("ms", _gyro_late, 20, 40, 60)),
    Scale("gyro drifting at rest", _F.GYRO_DRIFT, _sizes("deg a minute", _gyro_drifting, 3, 6, 10)),
    Scale("left wheel of 50 mm larger in the file", _F.POD_SCALE, _sizes("mm", _wheel_larger(_LEFT), 1, 3, 5)),
    Scale("cross wheel of 50 mm larger in the file", _F.POD_SCALE, _sizes("mm", _wheel_larger(_CROSS), 2, 4, 6)),
    Scale("tag 3 aside, tag poses", _F.TAG_MISPLACED, _sizes("mm", _tag_aside, 80, 120, 180), _TAG_POSES),
    Scale("tag 3 aside, ranges and bearings", _F.TAG_MISPLACED, _sizes("mm", _tag_aside, 80, 120, 180), _RAYS),
    Scale("ranges long", _F.RANGE_SCALE, _sizes("%", _ranges_long, 1, 3, 5), _RAYS),
    Scale("bearings off", _F.BEARING_BIAS, _sizes("deg", _bearings_off, 0.5, 1.5, 2.5), _RAYS),
    Scale("tag frame turned", _F.FRAME_ROTATED, _sizes("deg", _frame_turned, 1.5, 3, 5)),
    Scale("tag frame moved", _F.FRAME_SHIFTED, _sizes("mm", _frame_moved, 40, 80, 120)),
    Scale("start turned", _F.START_POSE, _sizes("deg", _start_turned, 2, 4, 6)),
)


def row(folder: Path, scale: Scale, seeds: Iterable[int]) -> list[str]:
    """Return a cell per size: in how many runs the fault is named, and in how many as an error."""
    runs = {seed: healthy_session(folder / str(seed), seed, scale.report) for seed in seeds}
    cells = []
    for size, make in scale.sizes.items():
        severities = []
        for seed, session in runs.items():
            changed = with_fault(session, folder / f"{size}_{seed}", Fault(size, scale.code, make))
            named = {found.code: found.severity for found in inspect(changed).inspection.diagnoses}
            severities.append(named.get(scale.code.value, ""))
        named_in, errors = sum(map(bool, severities)), severities.count("error")
        cells.append(f"{size}: {named_in} of {len(severities)}" + (f", {errors} as error" if errors else ""))
    return cells


def table(seeds: Iterable[int]) -> str:
    """Return the table of the README."""
    lines = ["| what is wrong | small | larger | still larger |", "|---|---|---|---|"]
    for scale in SCALES:
        with tempfile.TemporaryDirectory() as folder:
            lines.append(f"| {scale.name} | {' | '.join(row(Path(folder), scale, seeds))} |")
    return "\n".join(lines)


if __name__ == "__main__":
    print(table(SEEDS))
