"""The shooter file: the turret and what it throws."""

import math
from typing import Annotated, Self

from pydantic import Field, model_validator

from locbench.config.quantities import AcuteAngle, Angle, Config, PlaceOnRobot, PositiveLength, PositiveTurnRate, Text

__all__ = ["Projectile", "ShooterConfig", "Turret"]


class Turret(Config):
    """Where the turret's axis is on the robot, how far it turns relative to the robot's heading, and how fast.

    With a travel of a whole turn or more it turns the short way.
    """

    x: Annotated[PlaceOnRobot, Field(examples=["-50 mm"])] = 0.0
    """Place of the turret's axis, forward of the reference point."""
    y: Annotated[PlaceOnRobot, Field(examples=["0 mm"])] = 0.0
    """Place of the turret's axis, to the left of the reference point."""
    travel_from: Annotated[Angle, Field(examples=["-200 deg"])] = -math.pi
    """Least angle to the robot's heading that it can turn to."""
    travel_to: Annotated[Angle, Field(examples=["200 deg"])] = math.pi
    """Largest such angle, more than `travel_from`; with a whole turn or more it turns the short way."""
    slew_rate: Annotated[PositiveTurnRate | None, Field(examples=["360 deg/s"])] = None
    """How fast it turns; left out, no times to follow are given."""

    @model_validator(mode="after")
    def _can_turn(self) -> Self:
        if self.travel_to <= self.travel_from:
            raise ValueError("travel_to must be larger than travel_from|Swap them")
        return self


class Projectile(Config):
    """The thing thrown, taken as a sphere."""

    diameter: Annotated[PositiveLength, Field(examples=["70 mm"])]
    """Diameter of what is thrown, taken as a sphere."""


class ShooterConfig(Config):
    """The launcher as the robot's program believes it to be.

    `entry_angle` is how steeply the projectile comes down through the opening's plane, below the horizontal.
    """

    name: Annotated[Text, Field(examples=["apple thrower"])]
    """What the launcher is called."""
    turret: Turret = Turret()
    """Where the turret is and how it turns."""
    projectile: Projectile
    """What is thrown."""
    entry_angle: Annotated[AcuteAngle, Field(examples=["50 deg"])]
    """How steeply the projectile comes down through the opening's plane, below the horizontal."""
