"""The robot's motion as a sequence of body increments."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.geometry import compose, exponential, logarithm
from locbench.odometry.lookup import Lookup

__all__ = ["Motion"]


@dataclass(frozen=True)
class Motion:
    """Body increments between strictly increasing times.

    Attributes
    ----------
    time_s
        (N,) strictly increasing.
    twist
        (N, 3) dx, dy, dtheta in the body frame over (previous time, this time]; row 0 is zero.
    flagged
        (N,) increments that are not known to be motion (a gap, a counter reset).
    suspect
        (N,) increments that a cheap test takes for a slip, a lifted pod or a shove: they stay motion, but a less sure
        one.
    """

    time_s: FloatArray
    twist: FloatArray
    flagged: BoolArray
    suspect: BoolArray

    @cached_property
    def doubted(self) -> BoolArray:
        """(N,) increments that are less sure than the motion noise says, for either reason."""
        return np.asarray(self.flagged | self.suspect)

    @cached_property
    def flags_so_far(self) -> IntArray:
        """(N,) number of flagged increments up to each time."""
        return np.cumsum(self.flagged)

    @cached_property
    def lookup(self) -> Lookup:
        """The way between any two times, summed up once."""
        return Lookup(self.time_s, self.twist, self.doubted)

    @cached_property
    def duration_s(self) -> FloatArray:
        """(N,) length of each interval; 0 for row 0."""
        return np.diff(self.time_s, prepend=self.time_s[0])

    @cached_property
    def path_length_m(self) -> FloatArray:
        """(N,) length of the reference point's path up to each time."""
        return np.cumsum(np.hypot(self.twist[:, 0], self.twist[:, 1]))

    @cached_property
    def turning_rad(self) -> FloatArray:
        """(N,) sum of absolute turns up to each time."""
        return np.cumsum(np.abs(self.twist[:, 2]))

    def within(self, start_s: float, end_s: float) -> "Motion":
        """Return the motion between the rows inside [start_s, end_s].

        Raises
        ------
        ValueError
            If fewer than two rows lie inside.
        """
        inside = (self.time_s >= start_s) & (self.time_s <= end_s)
        if np.sum(inside) < 2:
            raise ValueError(f"fewer than two odometry rows between {start_s} s and {end_s} s")
        twist = self.twist[inside].copy()
        twist[0] = 0.0
        follows = np.arange(len(twist)) > 0
        return Motion(self.time_s[inside], twist, self.flagged[inside] & follows, self.suspect[inside] & follows)

    @staticmethod
    def from_increments(time_s: FloatArray, twist: FloatArray, flagged: BoolArray) -> "Motion":
        """Return the motion, with increments of equal time joined and row 0 ignored; nothing is suspected yet.

        Parameters
        ----------
        time_s
            (N,) non-decreasing.
        twist
            (N, 3).
        flagged
            (N,).
        """
        twist, flagged = twist.copy(), flagged.copy()
        twist[0] = 0.0
        keep = np.append(np.diff(time_s) > 0.0, True)
        # the first row of every run of equal times goes into the second, then that one into the third, and so on
        waiting = np.flatnonzero(~keep)
        while len(waiting):
            first = waiting[np.append(True, np.diff(waiting) > 1)]
            twist[first + 1] = logarithm(compose(exponential(twist[first]), exponential(twist[first + 1])))
            flagged[first + 1] |= flagged[first]
            waiting = np.setdiff1d(waiting, first, assume_unique=True)
        twist, flagged = twist[keep], flagged[keep]
        # rows joined into the first time happened before the log's clock moved: nothing can be said of them
        twist[0] = 0.0
        return Motion(time_s[keep], twist, flagged, np.zeros(len(twist), dtype=bool))
