"""`locbench runsheet`: lays a test drive out on a field."""

from pathlib import Path

from locbench.config import FieldConfig, RobotConfig, load_config
from locbench.drive_kinds import DriveKind
from locbench.runsheet.sheet import RunSheet, run_sheet
from locbench.units import UNITS, UnitSystem

__all__ = ["lay_out"]

# new places lie on numbers that are easily read off a tape
_STEP_M = {UnitSystem.METRIC: 50.0 * UNITS["mm"].factor, UnitSystem.IMPERIAL: 2.0 * UNITS["in"].factor}


def lay_out(field: Path, kind: DriveKind, robot: Path | None, system: UnitSystem) -> RunSheet:
    """Return a test drive laid out on a field.

    Parameters
    ----------
    field, robot
        Their files; the robot's may be left out.
    kind
        What to drive.
    system
        Whether new places are round in millimetres or in inches.

    Raises
    ------
    ConfigError
        If a file cannot be read, the floor is too small, or the field lacks what the drive needs.
    """
    believed = None if robot is None else load_config(robot, RobotConfig)
    return run_sheet(load_config(field, FieldConfig), believed, kind, str(field), _STEP_M[system])
