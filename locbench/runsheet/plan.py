"""A drive as planned, before it is surveyed: marks, parts, pace, what is special to its kind."""

from dataclasses import dataclass

from locbench.drive_kinds import DriveKind
from locbench.runsheet.marks import PlannedMark
from locbench.runsheet.moves import Pace, Part

__all__ = ["CameraPlace", "CameraView", "Plan"]


@dataclass(frozen=True)
class CameraPlace:
    """A stand in front of a tag: the mark, and the tag's horizontal range and view angle (signed) from the camera."""

    mark: str
    range_m: float
    view_angle_rad: float


@dataclass(frozen=True)
class CameraView:
    """The camera that is tried (None: one at the reference point, looking forward), the tag, and the stands."""

    camera: str | None
    tag: int
    places: tuple[CameraPlace, ...]


@dataclass(frozen=True)
class Plan:
    """What is driven.

    Attributes
    ----------
    kind
        Of which kind.
    marks
        In the order in which they are first stood on; the first one is where the drive begins.
    parts
        In the order in which they are driven.
    pace
        Speeds and stands.
    view
        What a camera drive looks at; None otherwise.
    """

    kind: DriveKind
    marks: tuple[PlannedMark, ...]
    parts: tuple[Part, ...]
    pace: Pace
    view: CameraView | None = None

    def mark(self, name: str) -> PlannedMark:
        """Return the mark of that name.

        Raises
        ------
        KeyError
            If the plan has none.
        """
        return {mark.name: mark for mark in self.marks}[name]

    @property
    def presses(self) -> int:
        """Presses of the mark button, the one at the very start included."""
        return 1 + sum(part.presses for part in self.parts)
