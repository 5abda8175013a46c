"""The constants that a calibration estimates: what they are called, what the files say, how far they may be off."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from types import MappingProxyType

import numpy as np

from locbench.arrays import FloatArray

__all__ = ["MOUNT_KINDS", "Constant", "ConstantKind", "Constants"]


class ConstantKind(StrEnum):
    """What a constant is. Shifts are relative for scales, else metres, radians or seconds."""

    WHEEL_DIAMETER = "wheel_diameter"
    LEVER_ARM = "lever_arm"
    ROLLING_DIRECTION = "rolling_direction"
    TRAVEL_SCALE = "travel_scale"
    TURN_SCALE = "scale"
    GYRO_LAG = "lag"
    LATENCY = "latency"
    MOUNT_X = "x"
    MOUNT_Y = "y"
    MOUNT_YAW = "yaw"


MOUNT_KINDS = frozenset({ConstantKind.MOUNT_X, ConstantKind.MOUNT_Y, ConstantKind.MOUNT_YAW})
"""What tells where a camera sits."""


@dataclass(frozen=True)
class _Size:
    """How sure a constant has to be to count as determined, how far it may be off before, and a step to try.

    Common practice, no source.
    """

    needed_std: float
    tolerance: float
    step: float


_SIZES: Mapping[ConstantKind, _Size] = MappingProxyType(
    {
        ConstantKind.WHEEL_DIAMETER: _Size(0.0025, 0.02, 1e-5),
        ConstantKind.TRAVEL_SCALE: _Size(0.0025, 0.02, 1e-5),
        ConstantKind.LEVER_ARM: _Size(0.0015, 0.010, 1e-5),
        ConstantKind.ROLLING_DIRECTION: _Size(float(np.radians(0.5)), float(np.radians(2.0)), 1e-5),
        ConstantKind.TURN_SCALE: _Size(0.0025, 0.02, 1e-5),
        ConstantKind.GYRO_LAG: _Size(0.005, 0.030, 1e-4),
        ConstantKind.LATENCY: _Size(0.010, 0.100, 1e-4),
        ConstantKind.MOUNT_X: _Size(0.010, 0.050, 1e-5),
        ConstantKind.MOUNT_Y: _Size(0.010, 0.050, 1e-5),
        ConstantKind.MOUNT_YAW: _Size(float(np.radians(0.5)), float(np.radians(5.0)), 1e-5),
    }
)


@dataclass(frozen=True)
class Constant:
    """One constant: its kind, what it belongs to (a pod, the gyro, a camera), and the value that the files have."""

    kind: ConstantKind
    of: str
    nominal: float

    @property
    def name(self) -> str:
        """Such as "pods.left.wheel_diameter", "gyro.scale" or "cameras.front.yaw"."""
        return f"{self.of}.{self.kind.value}"

    @property
    def needed_std(self) -> float:
        """Standard uncertainty of the shift from which on it counts as determined."""
        return _SIZES[self.kind].needed_std

    @property
    def tolerance(self) -> float:
        """Standard deviation of the shift before anything is measured."""
        return _SIZES[self.kind].tolerance

    @property
    def step(self) -> float:
        """A small shift, for differences."""
        return _SIZES[self.kind].step

    @property
    def is_relative(self) -> bool:
        """Whether a shift is a share of the nominal value."""
        return self.kind in (ConstantKind.WHEEL_DIAMETER, ConstantKind.TRAVEL_SCALE, ConstantKind.TURN_SCALE)

    def estimate(self, shift: float) -> float:
        """Return the value that a shift means."""
        return self.nominal * (1.0 + shift) if self.is_relative else self.nominal + shift

    def absolute(self, shift: float) -> float:
        """Return a shift, or its standard uncertainty, in the unit of the value."""
        return self.nominal * shift if self.is_relative else shift


@dataclass(frozen=True)
class Constants:
    """Constants in a fixed order, and where each stands in a vector of shifts."""

    every: tuple[Constant, ...]

    def __len__(self) -> int:
        return len(self.every)

    def index(self, kind: ConstantKind, of: str) -> int | None:
        """Return where that constant stands, None if there is none."""
        found = [place for place, one in enumerate(self.every) if one.kind is kind and one.of == of]
        return found[0] if found else None

    def shift(self, shifts: FloatArray, kind: ConstantKind, of: str) -> float:
        """Return one constant's shift out of all (P,), 0 if there is no such constant."""
        place = self.index(kind, of)
        return 0.0 if place is None else float(shifts[place])

    @property
    def tolerances(self) -> FloatArray:
        """(P,) of every constant."""
        return np.array([one.tolerance for one in self.every])

    @property
    def needed_stds(self) -> FloatArray:
        """(P,) of every constant."""
        return np.array([one.needed_std for one in self.every])

    @property
    def steps(self) -> FloatArray:
        """(P,) of every constant."""
        return np.array([one.step for one in self.every])
