"""Pydantic types for quantities with units, and the base every configuration model shares."""

import math
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from locbench.errors import QuantityError
from locbench.units import Dimension, format_quantity, parse_quantity, unit_factor

__all__ = [
    "AcuteAngle",
    "Angle",
    "Config",
    "Count",
    "Duration",
    "Length",
    "NonNegativeAngle",
    "NonNegativeDuration",
    "NonNegativeLength",
    "PlaceOnRobot",
    "PositiveAngle",
    "PositiveDuration",
    "PositiveLength",
    "PositiveSpeed",
    "PositiveTurnRate",
    "Probability",
    "Share",
    "Text",
    "TurnRate",
    "unit_of",
]


class Config(BaseModel):
    """Base of every configuration model: unknown keys are refused, values cannot change."""

    model_config = ConfigDict(extra="forbid", frozen=True)


def _reader(dimension: Dimension, low: float, high: float, open_ends: bool) -> BeforeValidator:
    def read(text: object) -> float:
        try:
            value = parse_quantity(text, dimension)
        except QuantityError as error:
            raise ValueError(f"{error.problem}|{error.remedy or ''}") from error
        outside = (value <= low or value >= high) if open_ends else (value < low or value > high)
        if outside:
            raise ValueError(f"must be {_range_in_words(dimension, low, high, open_ends)}|Write a value in that range")
        return value

    return BeforeValidator(read)


def _range_in_words(dimension: Dimension, low: float, high: float, open_ends: bool) -> str:
    lower, upper = format_quantity(low, dimension) if math.isfinite(low) else "", ""
    if math.isfinite(high):
        upper = format_quantity(high, dimension)
    above, below = ("more than", "less than") if open_ends else ("at least", "at most")
    parts = [f"{above} {lower}" if lower else "", f"{below} {upper}" if upper else ""]
    return " and ".join(part for part in parts if part)


def _quantity(dimension: Dimension, low: float = -math.inf, high: float = math.inf, *, open_ends: bool = True) -> Any:
    example = {"length": "35 mm", "angle": "90 deg", "time": "250 ms", "mass": "30 g"}.get(dimension.value)
    example = example or {"speed": "1.5 m/s", "turn rate": "180 deg/s", "ratio": "99 %"}[dimension.value]
    schema = {
        "type": "string",
        "description": f"A {dimension.value} as number, space, unit",
        "examples": [example],
    }
    return Annotated[float, _reader(dimension, low, high, open_ends), WithJsonSchema(schema)]


Length = _quantity(Dimension.LENGTH)
PositiveLength = _quantity(Dimension.LENGTH, 0.0)
NonNegativeLength = _quantity(Dimension.LENGTH, 0.0, open_ends=False)
# no robot of this trade reaches further from its reference point: beyond it a unit is wrong
PlaceOnRobot = _quantity(Dimension.LENGTH, -2.0, 2.0, open_ends=False)
Angle = _quantity(Dimension.ANGLE)
PositiveAngle = _quantity(Dimension.ANGLE, 0.0)
AcuteAngle = _quantity(Dimension.ANGLE, 0.0, math.pi / 2.0)
NonNegativeAngle = _quantity(Dimension.ANGLE, 0.0, open_ends=False)
Duration = _quantity(Dimension.TIME)
PositiveDuration = _quantity(Dimension.TIME, 0.0)
NonNegativeDuration = _quantity(Dimension.TIME, 0.0, open_ends=False)
PositiveSpeed = _quantity(Dimension.SPEED, 0.0)
PositiveTurnRate = _quantity(Dimension.TURN_RATE, 0.0)
TurnRate = _quantity(Dimension.TURN_RATE)
Probability = _quantity(Dimension.RATIO, 0.0, 1.0)
Share = _quantity(Dimension.RATIO, 0.0, 1.0, open_ends=False)

Count = Annotated[int, Field(strict=True, gt=0)]
Text = Annotated[str, Field(min_length=1)]


def unit_of(dimension: Dimension) -> Any:
    """Return the pydantic type of a unit symbol that must measure `dimension`; its value is the factor to SI."""

    def read(symbol: object) -> float:
        try:
            return unit_factor(str(symbol), dimension)
        except QuantityError as error:
            raise ValueError(f"{error.problem}|{error.remedy or ''}") from error

    schema = {"type": "string", "description": f"The unit of a {dimension.value}"}
    return Annotated[float, BeforeValidator(read), WithJsonSchema(schema)]
