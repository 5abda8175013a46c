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

    x: PlaceOnRobot = 0.0
    y: PlaceOnRobot = 0.0
    travel_from: Angle = -math.pi
    travel_to: Angle = math.pi
    slew_rate: Annotated[PositiveTurnRate | None, Field(description='How fast it turns, e.g. "360 deg/s"')] = None

    @model_validator(mode="after")
    def _can_turn(self) -> Self:
        if self.travel_to <= self.travel_from:
            raise ValueError("travel_to must be larger than travel_from|Swap them")
        return self


class Projectile(Config):
    """The thing thrown, taken as a sphere."""

    diameter: PositiveLength


class ShooterConfig(Config):
    """The launcher as the robot's program believes it to be.

    `entry_angle` is how steeply the projectile comes down through the opening's plane, below the horizontal.
    """

    name: Text
    turret: Turret = Turret()
    projectile: Projectile
    entry_angle: Annotated[AcuteAngle, Field(description='How steep the projectile enters, e.g. "50 deg"')]
