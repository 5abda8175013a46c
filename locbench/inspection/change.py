"""One change of the set-up to try on a log, and what it would mean."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum

from locbench.inspection.diagnosis import SetupFault
from locbench.inspection.recorded import Recorded
from locbench.units import Dimension

__all__ = ["DIMENSIONS", "Amount", "Change", "Part", "builds_on"]


class Part(StrEnum):
    """Which part of a log a change touches: the tables of a session file, the sensors of the robot, the floor."""

    WHEELS = "wheels"
    GYRO = "gyro"
    ODOMETRY = "odometry"
    TAGS = "tags"
    TRUTH = "truth"
    MARKS = "marks"
    START = "start"
    FLOOR = "floor"


class Amount(StrEnum):
    """What was fitted, or tried: SI, angles in radians."""

    FACTOR = "factor"
    TURN = "turn"
    X = "x"
    Y = "y"
    SHIFT = "shift"
    RATE = "rate"


# a factor has none
DIMENSIONS: Mapping[Amount, Dimension] = {
    Amount.TURN: Dimension.ANGLE,
    Amount.X: Dimension.LENGTH,
    Amount.Y: Dimension.LENGTH,
    Amount.SHIFT: Dimension.TIME,
    Amount.RATE: Dimension.TURN_RATE,
}


@dataclass(frozen=True)
class Change:
    """A change of the set-up.

    Attributes
    ----------
    fault
        What would be wrong if the change mends the log.
    part
        Which part it touches.
    log
        The log as it would be.
    parameters
        How many numbers were fitted to the log: each makes any log look a little better.
    names
        Of the pods it touches.
    tags
        Ids of the tags it touches.
    amounts
        The fitted or tried numbers.
    stds
        Their standard uncertainties, where they were fitted.
    headings_kept
        Of a mirrored frame: only its positions are mirrored, its headings count as they should.
    headings_turned_rad
        Of a mirrored frame: by how much more than its positions its headings are turned, in quarters of a turn.
    """

    fault: SetupFault
    part: Part
    log: Recorded
    parameters: int = 0
    names: tuple[str, ...] = ()
    tags: tuple[int, ...] = ()
    amounts: Mapping[Amount, float] = field(default_factory=dict)
    stds: Mapping[Amount, float] = field(default_factory=dict)
    headings_kept: bool = False
    headings_turned_rad: float = 0.0


_FRAME = frozenset(
    {
        SetupFault.HEADING_SENSE,
        SetupFault.HEADING_ZERO,
        SetupFault.FRAME_ROTATED,
        SetupFault.FRAME_MIRRORED,
        SetupFault.FRAME_SHIFTED,
    }
)
_EXCHANGES = frozenset({SetupFault.PODS_EXCHANGED, SetupFault.TAGS_EXCHANGED})


def builds_on(later: Change, earlier: Change) -> bool:
    """Return whether what the later change writes depends on the earlier one being written already."""
    if later.part is not earlier.part:
        return False
    faults = {later.fault, earlier.fault}
    if len(faults) == 1 or faults & _EXCHANGES:
        touched = {*earlier.names, *earlier.tags}
        return not touched or bool(touched & {*later.names, *later.tags})
    return faults <= _FRAME
