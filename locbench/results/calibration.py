"""calibration.json: what a calibration determined, what it could not, and what it gains on marks it did not use."""

from typing import Annotated, Literal

from pydantic import Field

from locbench.drive_kinds import DriveKind
from locbench.results.models import Record

__all__ = ["Calibration", "HeldOutError", "ParameterRecord", "Undetermined"]


class ParameterRecord(Record):
    """One constant of the set-up; `unit` is m, rad, s or 1 (a ratio).

    `nominal` is what the files say, `shift` estimate minus nominal, `std` the standard uncertainty of the estimate. Of
    a constant that the run cannot determine the estimate is the nominal value and `std` None.
    """

    nominal: float
    estimate: float
    std: float | None
    unit: Literal["m", "rad", "s", "1"]
    determined: bool
    shift: float


class Undetermined(Record):
    """Constants that the run cannot tell, or cannot tell apart, why, and the drive that would settle it."""

    parameters: list[str]
    why: str
    next_run: DriveKind


class HeldOutError(Record):
    """Dead reckoning at references that the fit did not use: positions, RMS, before and after."""

    count: int
    before_m: float
    after_m: float

    @property
    def is_nearer(self) -> bool:
        """Whether the constants found bring dead reckoning nearer to them."""
        return self.after_m < self.before_m


class Calibration(Record):
    """The whole of calibration.json; errors before and after are None without marks or truth, the reason in `why`.

    `uncertainty_factor` is how many times larger all uncertainties are because odometry and references contradict each
    other more than their noise says; 1 where they do not.
    """

    schema_: Annotated[Literal[1], Field(alias="schema")] = 1
    locbench: str
    command: Literal["calibrate"] = "calibrate"
    units: Literal["SI"] = "SI"
    sessions: list[str]
    evidence: Literal["A", "B", "C"]
    parameters: dict[str, ParameterRecord]
    undetermined: list[Undetermined]
    rms_before_m: float | None
    rms_after_m: float | None
    held_out: HeldOutError | None
    why: dict[str, str]
    uncertainty_factor: float
    remarks: list[str]
