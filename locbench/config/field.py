"""The field file: floor, tags, goals, surveyed marks, distance bands."""

import math
from collections import Counter
from collections.abc import Iterable
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from locbench.config.quantities import (
    Angle,
    Config,
    Length,
    NonNegativeLength,
    PositiveAngle,
    PositiveLength,
    Text,
)

__all__ = [
    "Band",
    "FieldConfig",
    "Floor",
    "Goal",
    "HorizontalOpening",
    "Mark",
    "Tag",
    "TapedDistance",
    "VerticalOpening",
]

# a distance that differs by more from the marks' places was misread, or is between other marks
_TAPED_WRONG_M, _TAPED_WRONG_STDS = 0.05, 10.0


class Floor(Config):
    """The rectangle the robot may drive on, in the field frame."""

    x_from: Annotated[Length, Field(examples=["0 m"])]
    """Least x that the robot may drive on."""
    x_to: Annotated[Length, Field(examples=["4 m"])]
    """Largest x that it may drive on, more than `x_from`."""
    y_from: Annotated[Length, Field(examples=["0 m"])]
    """Least y that the robot may drive on."""
    y_to: Annotated[Length, Field(examples=["4 m"])]
    """Largest y that it may drive on, more than `y_from`."""

    @model_validator(mode="after")
    def _has_area(self) -> Self:
        if self.x_to <= self.x_from or self.y_to <= self.y_from:
            raise ValueError("x_to and y_to must be larger than x_from and y_from|Swap them")
        return self


class Tag(Config):
    """A fiducial tag or ranging beacon. `facing` is the direction its printed side looks, from field +x."""

    id: Annotated[int, Field(strict=True, ge=0, examples=[3])]
    """The number that the detector reports."""
    x: Annotated[Length, Field(examples=["4 m"])]
    """Place of the tag's centre, along field x."""
    y: Annotated[Length, Field(examples=["1.1 m"])]
    """Place of the tag's centre, along field y."""
    z: Annotated[Length, Field(examples=["500 mm"])] = 0.0
    """Height of the tag's centre above the floor."""
    facing: Annotated[Angle, Field(examples=["180 deg"])] = 0.0
    """Where the printed side looks, counter-clockwise from field +x."""
    size: Annotated[PositiveLength, Field(examples=["150 mm"])] = 0.15
    """Edge of the printed square."""


class HorizontalOpening(Config):
    """A round rim in a horizontal plane."""

    kind: Literal["horizontal"]
    """A round rim that lies level."""
    radius: Annotated[PositiveLength, Field(examples=["180 mm"])]
    """Inner radius of the rim."""


class VerticalOpening(Config):
    """A rectangular window in a vertical plane."""

    kind: Literal["vertical"]
    """A rectangular window that stands upright."""
    width: Annotated[PositiveLength, Field(examples=["600 mm"])]
    """Clear width of the window."""
    height: Annotated[PositiveLength, Field(examples=["400 mm"])]
    """Clear height of the window."""


class Goal(Config):
    """What is shot at: the centre of its opening and the direction the opening faces."""

    name: Annotated[Text, Field(examples=["east bin"])]
    """What the goal is called in every table."""
    x: Annotated[Length, Field(examples=["4.25 m"])]
    """Place of the opening's centre, along field x."""
    y: Annotated[Length, Field(examples=["2 m"])]
    """Place of the opening's centre, along field y."""
    height: Annotated[NonNegativeLength, Field(examples=["900 mm"])]
    """Height of the opening's centre above the floor."""
    facing: Annotated[Angle, Field(examples=["180 deg"])] = 0.0
    """Where the opening looks, counter-clockwise from field +x."""
    opening: Annotated[HorizontalOpening | VerticalOpening, Field(discriminator="kind")]
    """Form of the opening."""


class Mark(Config):
    """A surveyed place on the floor, and how well it was surveyed."""

    name: Annotated[Text, Field(examples=["M1"])]
    """What the mark is called in logs and tables."""
    x: Annotated[Length, Field(examples=["3.20 m"])]
    """Place of the robot's reference point when it stands on the mark, along field x."""
    y: Annotated[Length, Field(examples=["0.75 m"])]
    """The same along field y."""
    heading: Annotated[Angle | None, Field(examples=["90 deg"])] = None
    """The robot's heading when it stands there, counter-clockwise from field +x; left out where the mark has none."""
    position_std: Annotated[PositiveLength | None, Field(examples=["2 mm"])] = None
    """How well the place was surveyed: standard deviation per coordinate."""
    heading_std: Annotated[PositiveAngle | None, Field(examples=["0.3 deg"])] = None
    """How well the heading was surveyed: standard deviation."""
    placing_std: Annotated[PositiveLength | None, Field(examples=["1.5 mm"])] = None
    """The part of `position_std` that is new at every visit, from putting the robot there; the rest is the survey's own
    and the same at every visit. Left out, each has half the variance."""
    placing_heading_std: Annotated[PositiveAngle | None, Field(examples=["0.2 deg"])] = None
    """The same of `heading_std`."""

    @model_validator(mode="after")
    def _parts_are_less_than_the_whole(self) -> Self:
        for part, whole in (("placing_std", "position_std"), ("placing_heading_std", "heading_std")):
            placing, total = getattr(self, part), getattr(self, whole)
            if placing is not None and (total is None or placing > total):
                raise ValueError(f"{part} is a part of {whole}|Write {whole} too, and no less than {part}")
        return self


class TapedDistance(Config):
    """A distance taped between two marks, where that is surer than their places."""

    first: Annotated[Text, Field(examples=["R1"])]
    """Mark that it is taped from."""
    second: Annotated[Text, Field(examples=["R2"])]
    """Mark that it is taped to."""
    length: Annotated[PositiveLength, Field(examples=["3.202 m"])]
    """Distance from the one to the other, for the robot's reference point."""
    std: Annotated[PositiveLength, Field(examples=["2 mm"])]
    """How well it was taped: standard deviation."""


class Band(Config):
    """Distances of the robot to a goal's centre, from (included) to (excluded)."""

    name: Annotated[Text, Field(examples=["near"])]
    """What the band is called in every table."""
    from_: Annotated[NonNegativeLength, Field(alias="from", examples=["0.5 m"])]
    """Shortest horizontal distance of the robot's reference point to the goal's centre, included."""
    to: Annotated[PositiveLength, Field(examples=["1.8 m"])]
    """Longest such distance, not included; more than `from`."""
    goal: Annotated[Text | None, Field(examples=["east bin"])] = None
    """The one goal the band holds for; left out, it holds for all."""

    @model_validator(mode="after")
    def _is_not_empty(self) -> Self:
        if self.to <= self.from_:
            raise ValueError('"to" must be larger than "from"|Swap them')
        return self


class FieldConfig(Config):
    """The field as surveyed."""

    name: Annotated[Text, Field(examples=["Orchard practice floor"])]
    """What the field is called."""
    floor: Floor
    """The rectangle the robot may drive on."""
    tags: tuple[Tag, ...] = ()
    """Fiducial tags and ranging beacons."""
    goals: tuple[Goal, ...] = ()
    """What is shot at."""
    marks: tuple[Mark, ...] = ()
    """Surveyed places on the floor."""
    distances: tuple[TapedDistance, ...] = ()
    """Distances taped between two marks; `calibrate` takes them for surer than the marks' places."""
    bands: tuple[Band, ...] = ()
    """Distances to a goal that figures are given for."""

    @model_validator(mode="after")
    def _names_are_unique_and_known(self) -> Self:
        _refuse_repeats("tag id", (tag.id for tag in self.tags))
        _refuse_repeats("goal name", (goal.name for goal in self.goals))
        _refuse_repeats("mark name", (mark.name for mark in self.marks))
        _refuse_repeats("band", ((band.name, band.goal) for band in self.bands))
        self._refuse_wrong_distances()
        goals = {goal.name for goal in self.goals}
        for band in self.bands:
            if band.goal is not None and band.goal not in goals:
                raise ValueError(
                    f'band "{band.name}" names the goal "{band.goal}", which does not exist'
                    f"|Goals: {', '.join(sorted(goals)) or 'none'}"
                )
        return self

    def _refuse_wrong_distances(self) -> None:
        for taped in self.distances:
            first, second = (self._known_mark(name) for name in (taped.first, taped.second))
            if first is second:
                raise ValueError(f'a distance leads from "{taped.first}" to itself|Name two marks')
            apart = math.hypot(second.x - first.x, second.y - first.y)
            sure = math.hypot(taped.std, *((end.position_std or 0.0) for end in (first, second)))
            if abs(apart - taped.length) > max(_TAPED_WRONG_M, _TAPED_WRONG_STDS * sure):
                raise ValueError(
                    f'marks "{first.name}" and "{second.name}" are {1000 * apart:.0f} mm apart by their places, '
                    f"{1000 * taped.length:.0f} mm by the distance between them|Measure both again"
                )

    def _known_mark(self, name: str) -> Mark:
        mark = self.mark(name)
        if mark is None:
            known = ", ".join(sorted(one.name for one in self.marks)) or "none"
            raise ValueError(f'a distance names the mark "{name}", which does not exist|Marks: {known}')
        return mark

    def mark(self, name: str) -> Mark | None:
        """Return the mark of that name, or None."""
        return next((mark for mark in self.marks if mark.name == name), None)


def _refuse_repeats(what: str, values: Iterable[object]) -> None:
    repeated = [value for value, count in Counter(values).items() if count > 1]
    if repeated:
        raise ValueError(f"{what} {repeated[0]!r} appears more than once|Rename or remove one of them")
