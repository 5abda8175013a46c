"""Pydantic types for quantities with units, and the base every configuration model shares."""

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Annotated, Any

from pydantic import BaseModel, BeforeValidator, ConfigDict, Field, WithJsonSchema

from locbench.errors import QuantityError
from locbench.units import Dimension, parse_quantity, quantity_as_written, quantity_pattern, unit_factor, unit_symbols

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
    "quantity",
    "unit_of",
]


class Config(BaseModel):
    """Base of every configuration model: unknown keys are refused, values cannot change.

    The text below a field says what the key means; its unit, range and default are added where it is shown
    (`config/schemas.py`).
    """

    model_config = ConfigDict(extra="forbid", frozen=True, use_attribute_docstrings=True)


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
    lower, upper = (quantity_as_written(end, dimension) if math.isfinite(end) else "" for end in (low, high))
    above, below = ("more than", "less than") if open_ends else ("at least", "at most")
    parts = [f"{above} {lower}" if lower else "", f"{below} {upper}" if upper else ""]
    return " and ".join(part for part in parts if part)


_EXAMPLES: Mapping[Dimension, str] = MappingProxyType(
    {
        Dimension.LENGTH: "35 mm",
        Dimension.ANGLE: "90 deg",
        Dimension.TIME: "250 ms",
        Dimension.MASS: "30 g",
        Dimension.SPEED: "1.5 m/s",
        Dimension.TURN_RATE: "180 deg/s",
        Dimension.RATIO: "25 %",
    }
)


def quantity(dimension: Dimension, low: float = -math.inf, high: float = math.inf, *, open_ends: bool = True) -> Any:
    """Return the pydantic type of a quantity between `low` and `high` (SI), read from number, space, unit.

    Its JSON schema says so: a text of that pattern, with what it measures and its range under keywords of our own.
    """
    schema: dict[str, Any] = {"type": "string", "pattern": quantity_pattern(dimension), "x-dimension": dimension.value}
    bounds = _range_in_words(dimension, low, high, open_ends)
    if bounds:
        schema["x-range"] = bounds
    return Annotated[
        float, _reader(dimension, low, high, open_ends), WithJsonSchema({**schema, "examples": [_EXAMPLES[dimension]]})
    ]


Length = quantity(Dimension.LENGTH)
PositiveLength = quantity(Dimension.LENGTH, 0.0)
NonNegativeLength = quantity(Dimension.LENGTH, 0.0, open_ends=False)
# no robot of this trade reaches further from its reference point: beyond it a unit is wrong
PlaceOnRobot = quantity(Dimension.LENGTH, -2.0, 2.0, open_ends=False)
Angle = quantity(Dimension.ANGLE)
PositiveAngle = quantity(Dimension.ANGLE, 0.0)
AcuteAngle = quantity(Dimension.ANGLE, 0.0, math.pi / 2.0)
NonNegativeAngle = quantity(Dimension.ANGLE, 0.0, open_ends=False)
Duration = quantity(Dimension.TIME)
PositiveDuration = quantity(Dimension.TIME, 0.0)
NonNegativeDuration = quantity(Dimension.TIME, 0.0, open_ends=False)
PositiveSpeed = quantity(Dimension.SPEED, 0.0)
PositiveTurnRate = quantity(Dimension.TURN_RATE, 0.0)
TurnRate = quantity(Dimension.TURN_RATE)
Probability = quantity(Dimension.RATIO, 0.0, 1.0)
Share = quantity(Dimension.RATIO, 0.0, 1.0, open_ends=False)

Count = Annotated[int, Field(strict=True, gt=0)]
Text = Annotated[str, Field(min_length=1)]


def unit_of(dimension: Dimension) -> Any:
    """Return the pydantic type of a unit symbol that must measure `dimension`; its value is the factor to SI."""

    def read(symbol: object) -> float:
        try:
            return unit_factor(str(symbol), dimension)
        except QuantityError as error:
            raise ValueError(f"{error.problem}|{error.remedy or ''}") from error

    schema = {"type": "string", "enum": unit_symbols(dimension)}
    return Annotated[float, BeforeValidator(read), WithJsonSchema(schema)]
