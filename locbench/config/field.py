"""The field file: floor, tags, goals, surveyed marks, distance bands."""

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
    "VerticalOpening",
]


class Floor(Config):
    """The rectangle the robot may drive on, in the field frame."""

    x_from: Length
    x_to: Length
    y_from: Length
    y_to: Length

    @model_validator(mode="after")
    def _has_area(self) -> Self:
        if self.x_to <= self.x_from or self.y_to <= self.y_from:
            raise ValueError("x_to and y_to must be larger than x_from and y_from|Swap them")
        return self


class Tag(Config):
    """A fiducial tag or ranging beacon. `facing` is the direction its printed side looks, from field +x."""

    id: Annotated[int, Field(strict=True, ge=0)]
    x: Length
    y: Length
    z: Length = 0.0
    facing: Angle = 0.0
    size: PositiveLength = 0.15


class HorizontalOpening(Config):
    """A round rim in a horizontal plane."""

    kind: Literal["horizontal"]
    radius: PositiveLength


class VerticalOpening(Config):
    """A rectangular window in a vertical plane."""

    kind: Literal["vertical"]
    width: PositiveLength
    height: PositiveLength


class Goal(Config):
    """What is shot at: the centre of its opening and the direction the opening faces."""

    name: Text
    x: Length
    y: Length
    height: NonNegativeLength
    facing: Angle = 0.0
    opening: Annotated[HorizontalOpening | VerticalOpening, Field(discriminator="kind")]


class Mark(Config):
    """A surveyed place on the floor, and how well it was surveyed."""

    name: Text
    x: Length
    y: Length
    heading: Angle | None = None
    position_std: PositiveLength | None = None
    heading_std: PositiveAngle | None = None


class Band(Config):
    """Distances of the robot to a goal's centre, from (included) to (excluded)."""

    name: Text
    from_: Annotated[NonNegativeLength, Field(alias="from")]
    to: PositiveLength
    goal: Text | None = None

    @model_validator(mode="after")
    def _is_not_empty(self) -> Self:
        if self.to <= self.from_:
            raise ValueError('"to" must be larger than "from"|Swap them')
        return self


class FieldConfig(Config):
    """The field as surveyed."""

    name: Text
    floor: Floor
    tags: tuple[Tag, ...] = ()
    goals: tuple[Goal, ...] = ()
    marks: tuple[Mark, ...] = ()
    bands: tuple[Band, ...] = ()

    @model_validator(mode="after")
    def _names_are_unique_and_known(self) -> Self:
        _refuse_repeats("tag id", (tag.id for tag in self.tags))
        _refuse_repeats("goal name", (goal.name for goal in self.goals))
        _refuse_repeats("mark name", (mark.name for mark in self.marks))
        _refuse_repeats("band", ((band.name, band.goal) for band in self.bands))
        goals = {goal.name for goal in self.goals}
        for band in self.bands:
            if band.goal is not None and band.goal not in goals:
                raise ValueError(
                    f'band "{band.name}" names the goal "{band.goal}", which does not exist'
                    f"|Goals: {', '.join(sorted(goals)) or 'none'}"
                )
        return self

    def mark(self, name: str) -> Mark | None:
        """Return the mark of that name, or None."""
        return next((mark for mark in self.marks if mark.name == name), None)


def _refuse_repeats(what: str, values: Iterable[object]) -> None:
    repeated = [value for value, count in Counter(values).items() if count > 1]
    if repeated:
        raise ValueError(f"{what} {repeated[0]!r} appears more than once|Rename or remove one of them")
