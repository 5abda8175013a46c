"""The way between any two times of a log, looked up instead of integrated again.

Displacement and noise moments are summed up within blocks of rows, about the start of the block, and over runs of
1, 2, 4, ... blocks. Two times are then a piece of a block, some runs, and another piece: nothing is ever taken as the
difference of sums over the whole log, which far from its origin would cancel digits.
"""

from dataclasses import dataclass
from typing import Self

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config import MotionNoise
from locbench.geometry import compose, exponential, inverse
from locbench.odometry.moments import MOMENTS, interval_moments, moved_moments, noise_bases, packed_noise, unpacked

__all__ = ["Legs", "Lookup"]

_BLOCK = 64
# blocks summed up at once
_BLOCKS = 64
# queries answered at once: more of them, with 21 numbers each, do not fit into the processor's memory
_QUERIES = 4096


@dataclass(frozen=True)
class Legs:
    """Pieces of the way.

    Attributes
    ----------
    displacement
        (M, 3) the pose at the end in the frame of the pose at the beginning; theta is not wrapped.
    moments
        (M, K, 21) noise moments in that frame: of all intervals but the doubted ones; then, where K is 2, of those.
    """

    displacement: FloatArray
    moments: FloatArray

    @classmethod
    def standing(cls, count: int, kinds: int) -> Self:
        """Return legs that lead nowhere."""
        return cls(np.zeros((count, 3)), np.zeros((count, kinds, MOMENTS)))

    def __getitem__(self, chosen: IntArray | slice) -> "Legs":
        """Return the chosen legs."""
        return Legs(self.displacement[chosen], self.moments[chosen])

    def then(self, following: "Legs") -> "Legs":
        """Return each leg with another one after it."""
        return Legs(
            compose(self.displacement, following.displacement),
            self.moments + moved_moments(self.displacement[:, np.newaxis], following.moments),
        )

    def without(self, leading: "Legs") -> "Legs":
        """Return what is left of each leg after a leading piece of it."""
        back = inverse(leading.displacement)
        rest = moved_moments(back[:, np.newaxis], self.moments - leading.moments)
        return Legs(compose(back, self.displacement), rest)

    @property
    def bases(self) -> FloatArray:
        """(M, K, 21), see `moments.noise_bases`, in the frame of the start."""
        return noise_bases(self.displacement[:, np.newaxis], self.moments)

    def covariance(self, noise: MotionNoise) -> FloatArray:
        """Return (M, 3, 3), what motion noise adds to the covariance of the end, in the frame of the start."""
        factors = np.array([1.0, noise.doubted_factor**2])[: self.moments.shape[1]]
        packed = np.einsum("mkc,k->mc", packed_noise(self.bases, noise), factors)
        return unpacked(packed)


class Lookup:
    """Pieces of one stretch of odometry between any two times, made once."""

    def __init__(self, time_s: FloatArray, twist: FloatArray, doubted: BoolArray) -> None:
        """Sum up a motion of N rows (N,), (N, 3), (N,), as in `Motion`; linear in N."""
        self._time_s, self._twist, self._doubted = time_s, twist, doubted.astype(np.int64)
        self._duration_s = np.diff(time_s, prepend=time_s[0])
        self._kinds = 2 if np.any(doubted) else 1
        blocks = max(-(-(len(time_s) - 1) // _BLOCK), 1)
        # sums from the start of each block up to each of its rows, the first of which is the last of the block before
        self._displacement = np.zeros((blocks, _BLOCK + 1, 3))
        self._moments = np.zeros((blocks, _BLOCK + 1, self._kinds, MOMENTS))
        for first in range(0, blocks, _BLOCKS):
            self._sum_up(slice(first, min(first + _BLOCKS, blocks)))
        self._runs = _runs(Legs(self._displacement[:, -1], self._moments[:, -1]))

    def _sum_up(self, blocks: slice) -> None:
        rows = np.arange(1 + blocks.start * _BLOCK, 1 + blocks.stop * _BLOCK)
        inside = rows < len(self._time_s)
        legs = self._parts(np.where(inside, rows, 0), inside.astype(float))
        shape = (blocks.stop - blocks.start, _BLOCK)
        step = legs.displacement.reshape(*shape, 3)
        before = np.zeros_like(step)
        before[:, 1:, 2] = np.cumsum(step[:, :-1, 2], axis=1)
        before[:, 1:, :2] = np.cumsum(compose(before, step)[:, :-1, :2], axis=1)
        self._displacement[blocks, 1:] = compose(before, step)
        moved = moved_moments(before[:, :, np.newaxis], legs.moments.reshape(*shape, self._kinds, MOMENTS))
        np.cumsum(moved, axis=1, out=self._moments[blocks, 1:])

    def legs(self, begin_s: FloatArray, end_s: FloatArray) -> Legs:
        """Return the way from each beginning to its end; between two rows motion divides as time does.

        Parameters
        ----------
        begin_s, end_s
            (M,) inside the span of the motion, no end before its beginning.
        """
        found = Legs.standing(len(begin_s), self._kinds)
        for first in range(0, len(begin_s), _QUERIES):
            some = slice(first, first + _QUERIES)
            part = self._legs(np.asarray(begin_s)[some], np.asarray(end_s)[some])
            found.displacement[some], found.moments[some] = part.displacement, part.moments
        return found

    def _legs(self, begin_s: FloatArray, end_s: FloatArray) -> Legs:
        times = self._time_s
        last = len(times) - 1
        first_row = np.minimum(np.searchsorted(times, begin_s, side="left"), last)
        last_row = np.searchsorted(times, end_s, side="right") - 1
        within = last_row < first_row
        head_end = np.where(within, end_s, times[first_row])
        tail_row = np.minimum(last_row + 1, last)
        tail_begin = np.where(within, end_s, times[np.maximum(last_row, 0)])
        head = self._part_of(first_row, head_end - begin_s)
        tail = self._part_of(tail_row, end_s - tail_begin)
        whole = self._between_rows(np.where(within, 0, first_row), np.where(within, 0, last_row))
        return head.then(whole).then(tail)

    def _part_of(self, row: IntArray, duration_s: FloatArray) -> Legs:
        """Return that much time of the interval that ends at each row."""
        legs = Legs.standing(len(row), self._kinds)
        some = np.flatnonzero(duration_s > 0.0)
        fraction = duration_s[some] / self._duration_s[row[some]]
        part = self._parts(row[some], fraction)
        legs.displacement[some], legs.moments[some] = part.displacement, part.moments
        return legs

    def _parts(self, row: IntArray, fraction: FloatArray) -> Legs:
        twist = fraction[:, np.newaxis] * self._twist[row]
        moments = interval_moments(twist, fraction * self._duration_s[row])
        sorted_by_kind = np.zeros((len(row), self._kinds, MOMENTS))
        sorted_by_kind[np.arange(len(row)), self._doubted[row]] = moments
        return Legs(exponential(twist), sorted_by_kind)

    def _between_rows(self, first: IntArray, last: IntArray) -> Legs:
        """Return whole intervals between rows, none where `last` is `first`."""
        block = np.minimum(first // _BLOCK, len(self._displacement) - 1)
        # a row between two blocks is the end of the one and the beginning of the other
        end_block = np.maximum((last - 1) // _BLOCK, block)
        place, end_place = first - block * _BLOCK, last - end_block * _BLOCK
        alike = block == end_block
        to_first = Legs(self._displacement[block, place], self._moments[block, place])
        until = np.where(alike, end_place, _BLOCK)
        legs = Legs(self._displacement[block, until], self._moments[block, until]).without(to_first)
        # exactly nothing, where rounding would leave a trace of the way there and back
        legs.displacement[last <= first] = 0.0
        far = np.flatnonzero(~alike)
        if len(far):
            tail = Legs(
                self._displacement[end_block[far], end_place[far]], self._moments[end_block[far], end_place[far]]
            )
            rest = self._runs_between(legs[far], block[far] + 1, end_block[far]).then(tail)
            legs.displacement[far], legs.moments[far] = rest.displacement, rest.moments
        return legs

    def _runs_between(self, legs: Legs, block: IntArray, end_block: IntArray) -> Legs:
        """Return legs with whole blocks after them, from `block` up to `end_block`, which is not taken."""
        block = block.copy()
        for level, runs in enumerate(self._runs):
            some = np.flatnonzero((end_block - block) >> level & 1)
            if len(some):
                longer = legs[some].then(runs[block[some]])
                legs.displacement[some], legs.moments[some] = longer.displacement, longer.moments
                block[some] += 1 << level
        return legs


def _runs(blocks: Legs) -> list[Legs]:
    """Return runs of 1, 2, 4, ... blocks from each block on, as far as there are any."""
    runs = [blocks]
    size = 1
    while 2 * size <= len(blocks.displacement):
        before = runs[-1]
        count = len(blocks.displacement) - 2 * size + 1
        runs.append(before[slice(0, count)].then(before[slice(size, size + count)]))
        size *= 2
    return runs
