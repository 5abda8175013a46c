"""Everything that a run sheet says, as one value."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from types import MappingProxyType

from locbench.config import FieldConfig, RobotConfig
from locbench.drive_kinds import DriveKind
from locbench.runsheet.camera import camera
from locbench.runsheet.expected import Expected, expected
from locbench.runsheet.ground import Ground, ground_of
from locbench.runsheet.moves import duration_s
from locbench.runsheet.plan import Plan
from locbench.runsheet.rates import RowRate, row_rate
from locbench.runsheet.spin import spin
from locbench.runsheet.square import square
from locbench.runsheet.straight import straight
from locbench.runsheet.survey import Survey, Tape, surveyed
from locbench.runsheet.tour import tour

__all__ = ["RunSheet", "run_sheet"]

_PLANNERS: Mapping[DriveKind, Callable[[Ground], Plan]] = MappingProxyType(
    {
        DriveKind.TOUR: tour,
        DriveKind.STRAIGHT: straight,
        DriveKind.SPIN: spin,
        DriveKind.SQUARE: square,
        DriveKind.CAMERA: camera,
    }
)


@dataclass(frozen=True)
class RunSheet:
    """A test drive: where, what, how to survey, how often to log, and how sure the answer will be.

    Attributes
    ----------
    ground
        Field, robot, the area left to drive on and the clearance kept.
    plan
        Marks, parts and pace.
    surveys
        One per mark of the plan, in its order.
    tape
        How exactly is measured and placed.
    rate
        Rows per second to log.
    expected
        What the drive determines.
    unused
        Marks of the field file that the drive does not visit.
    """

    ground: Ground
    plan: Plan
    surveys: tuple[Survey, ...]
    tape: Tape
    rate: RowRate
    expected: tuple[Expected, ...]
    unused: tuple[str, ...]

    @property
    def to_write(self) -> tuple[Survey, ...]:
        """The marks whose entry the field file lacks, or that lack their standard deviations there."""
        return tuple(survey for survey in self.surveys if survey.lacks_entry)

    @property
    def duration_s(self) -> float:
        """About how long the drive takes."""
        return duration_s(self.plan.parts, self.plan.pace)

    @property
    def path_m(self) -> float:
        """How far is driven."""
        return sum(part.times * sum(abs(move.length_m) for move in part.moves) for part in self.plan.parts)

    @property
    def turning_rad(self) -> float:
        """How far the robot turns, both senses counted positive."""
        return sum(part.times * sum(move.turning_rad for move in part.moves) for part in self.plan.parts)


def run_sheet(field: FieldConfig, robot: RobotConfig | None, kind: DriveKind, source: str, step_m: float) -> RunSheet:
    """Return the sheet of a drive on that field.

    Parameters
    ----------
    field, robot
        As configured; the robot may be None.
    kind
        What to drive.
    source
        Name of the field file for errors.
    step_m
        Raster of new places, in metres.

    Raises
    ------
    ConfigError
        If the floor is too small, or the field lacks what the drive needs.
    """
    ground = ground_of(field, robot, source, step_m)
    plan = _PLANNERS[kind](ground)
    tape = Tape()
    surveys = tuple(surveyed(mark, field.floor, tape) for mark in plan.marks)
    visited = {mark.name for mark in plan.marks}
    return RunSheet(
        ground=ground,
        plan=plan,
        surveys=surveys,
        tape=tape,
        rate=row_rate(plan.pace, robot),
        expected=expected(plan, {survey.mark.name: survey for survey in surveys}, tape, robot),
        unused=tuple(mark.name for mark in field.marks if mark.name not in visited),
    )
