"""How each correction of a replay acted on an error: what is needed to draw the run again under the filter's model."""

from dataclasses import dataclass, field

import numpy as np

from locbench.arrays import FloatArray, IntArray

__all__ = ["CorrectionSteps", "StepLog"]


@dataclass(frozen=True)
class CorrectionSteps:
    """Every correction as it was computed, in the order of computing.

    A late detection makes the corrections captured after it run again: they appear again, after it, with the same
    arrival. Measurements with fewer than three components are filled up with zeros, which change nothing.

    Attributes
    ----------
    arrived_s
        (S,) the arrival that made it be computed: what is published from then on rests on it.
    time_s, row
        (S,) when it acts, and the detection's data row; together its place in the order of application.
    heading_rad
        (S,) believed heading just after it.
    gain, slope, covariance
        (S, 3, 3) K, H and R: an error e becomes (I - K H) e + K v with v of covariance R.
    """

    arrived_s: FloatArray
    time_s: FloatArray
    row: IntArray
    heading_rad: FloatArray
    gain: FloatArray
    slope: FloatArray
    covariance: FloatArray

    def __len__(self) -> int:
        return len(self.time_s)


@dataclass
class StepLog:
    """Collects the steps of a replay."""

    arrived_s: list[float] = field(default_factory=list)
    keys: list[tuple[float, int]] = field(default_factory=list)
    heading_rad: list[float] = field(default_factory=list)
    matrices: list[tuple[FloatArray, FloatArray, FloatArray]] = field(default_factory=list)

    def add(
        self,
        arrived_s: float,
        key: tuple[float, int],
        heading_rad: float,
        gain: FloatArray,
        slope: FloatArray,
        covariance: FloatArray,
    ) -> None:
        """Add a correction with gain (3, D), slope (D, 3) and covariance (D, D)."""
        self.arrived_s.append(arrived_s)
        self.keys.append(key)
        self.heading_rad.append(heading_rad)
        self.matrices.append((gain, slope, covariance))

    def as_steps(self) -> CorrectionSteps:
        """Return the steps as arrays."""
        count = len(self.keys)
        gain, slope, covariance = (np.zeros((count, 3, 3)) for _ in range(3))
        for number, (k, h, r) in enumerate(self.matrices):
            size = len(r)
            gain[number, :, :size], slope[number, :size], covariance[number, :size, :size] = k, h, r
        return CorrectionSteps(
            arrived_s=np.array(self.arrived_s, dtype=float),
            time_s=np.array([time_s for time_s, _ in self.keys], dtype=float),
            row=np.array([row for _, row in self.keys], dtype=np.int64),
            heading_rad=np.array(self.heading_rad, dtype=float),
            gain=gain,
            slope=slope,
            covariance=covariance,
        )
