"""Which way headings grow and where they read zero, from what else is known: marks, pods, the direction of motion."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from locbench.adoption.questions import NOTHING_KNOWN, Evidence, Strength
from locbench.arrays import FloatArray
from locbench.config.columns import AXES
from locbench.config.robot import Pod
from locbench.geometry import circular_mean, similarity_alignment, wrap_angle
from locbench.units import UNITS

__all__ = [
    "SENSES",
    "HeadingFit",
    "HeadingsFound",
    "PlaneFit",
    "Visits",
    "heading_at_marks",
    "heading_by_motion",
    "heading_by_pods",
    "headings_at_visits",
    "plane_at_marks",
    "positions_at_visits",
]

Sense = Literal["counter-clockwise", "clockwise"]
SENSES: Mapping[str, float] = {"counter-clockwise": 1.0, "clockwise": -1.0}

_FEWEST_VISITS = 3
_NEAR_ROW_S = 0.5
_GOOD_FIT_RAD = math.radians(12.0)
_BAD_FIT_RAD = math.radians(25.0)
_TIMES_WORSE = 3.0
_FEWEST_STEPS = 20
_ALONG_RAD = math.radians(25.0)
_STEADY_RAD = math.radians(20.0)
# A tour of half a dozen legs gives a wrong convention some of them by chance, but not most.
_MOST_OF, _NOT_QUITE_MOST = 0.8, 0.7
_MANY_OF = 0.5


@dataclass(frozen=True)
class Visits:
    """Visits (K,) of surveyed marks, seconds on the odometry's clock, and their poses (K, 3), NaN without heading."""

    begin_s: FloatArray
    end_s: FloatArray
    pose: FloatArray

    def __len__(self) -> int:
        return len(self.begin_s)


def positions_at_visits(times_s: FloatArray, points: FloatArray, visits: Visits) -> FloatArray:
    """Return the median position (K, 2) of the rows in each visit, or of the nearest one; NaN where none is near."""
    columns = [_at_visits(times_s, points[:, axis], visits, np.median) for axis in (0, 1)]
    return np.column_stack(columns)


def headings_at_visits(times_s: FloatArray, headings: FloatArray, visits: Visits) -> FloatArray:
    """Return the heading (K,) in the middle row of each visit, or the nearest one; NaN where none is near.

    The unit may be unknown, so that wrapped headings cannot be averaged.
    """
    return _at_visits(times_s, headings, visits, lambda rows: rows[len(rows) // 2])


def _at_visits(
    times_s: FloatArray, values: FloatArray, visits: Visits, chosen: Callable[[FloatArray], float]
) -> FloatArray:
    usable = np.isfinite(times_s) & np.isfinite(values)
    times, kept = times_s[usable], values[usable]
    found = np.full(len(visits), np.nan)
    for index, (begin, end) in enumerate(zip(visits.begin_s, visits.end_s, strict=True)):
        inside = (times >= begin) & (times <= end)
        if np.any(inside):
            found[index] = chosen(kept[inside])
            continue
        gaps = np.abs(times - (begin + end) / 2.0)
        if len(gaps) and np.min(gaps) <= _NEAR_ROW_S:
            found[index] = kept[int(np.argmin(gaps))]
    return found


@dataclass(frozen=True)
class HeadingFit:
    """The unit and the sense in which logged headings follow the marks', what to add to them, and what is left.

    `visits` is how many of the visits have a logged and a surveyed heading.
    """

    unit: str
    sense: str
    offset_rad: float
    rms_rad: float
    visits: int

    @property
    def unit_shown(self) -> Evidence:
        """The unit as evidence."""
        return Evidence(self.unit, f"{self._words} in {self.unit}", Strength.SHOWN)

    @property
    def sense_shown(self) -> Evidence:
        """The sense as evidence."""
        left = f"to {math.degrees(self.rms_rad):.1f} deg RMS"
        return Evidence(self.sense, f"{self._words} {self.sense}, {left}", Strength.SHOWN)

    @property
    def _words(self) -> str:
        return f"at {self.visits} visits it follows the marks' headings"


@dataclass(frozen=True)
class HeadingsFound:
    """Evidence about a heading column: its unit, its sense, and the axis of its own frame along which it is zero."""

    unit: Evidence = NOTHING_KNOWN
    sense: Evidence = NOTHING_KNOWN
    zero: Evidence = NOTHING_KNOWN


def heading_at_marks(logged: FloatArray, surveyed_rad: FloatArray, units: Sequence[str]) -> HeadingFit | None:
    """Return how logged headings (K,) follow surveyed ones, or None where that does not stand out.

    A fit stands out if it leaves less than 12 deg and every other unit or sense thrice as much and more than 25 deg.
    """
    known = np.isfinite(logged) & np.isfinite(surveyed_rad)
    if np.count_nonzero(known) < _FEWEST_VISITS:
        return None
    fits = []
    for unit in units:
        for sense, sign in SENSES.items():
            left = surveyed_rad[known] - sign * logged[known] * UNITS[unit].factor
            offset = float(circular_mean(left))
            rms = float(np.sqrt(np.mean(wrap_angle(left - offset) ** 2)))
            fits.append(HeadingFit(unit, sense, offset, rms, int(np.count_nonzero(known))))
    fits.sort(key=lambda fit: fit.rms_rad)
    best, second = fits[0], fits[1]
    clear = second.rms_rad > max(_BAD_FIT_RAD, _TIMES_WORSE * best.rms_rad)
    return best if best.rms_rad < _GOOD_FIT_RAD and clear else None


@dataclass(frozen=True)
class PlaneFit:
    """How logged positions lie on the field: metres per logged unit, turn and origin of the axes, and what is left.

    `mirrored` says that the axes are left-handed: turn and origin are those of the positions with y negated.
    """

    scale: float
    rotation_rad: float
    origin_m: FloatArray
    rms_m: float
    mirrored: bool


def plane_at_marks(logged: FloatArray, surveyed_m: FloatArray) -> PlaneFit | None:
    """Return how positions (K, 2) in the log's unit and axes map onto surveyed ones, or None if they do not."""
    known = np.all(np.isfinite(logged), axis=1)
    source, target = logged[known], surveyed_m[known]
    if len(source) < _FEWEST_VISITS or np.linalg.svd(target - target.mean(axis=0))[1][-1] < 0.5:
        return None
    fits = []
    for mirrored in (False, True):
        shown = source * [1.0, -1.0] if mirrored else source
        try:
            found = similarity_alignment(shown, target)
        except ValueError:
            return None
        angle = math.atan2(found.rotation[1, 0], found.rotation[0, 0])
        fits.append(PlaneFit(found.scale, angle, found.translation, math.sqrt(found.mean_squared_residual), mirrored))
    best, other = sorted(fits, key=lambda fit: fit.rms_m)
    spread = float(np.sqrt(np.mean(np.sum((target - target.mean(axis=0)) ** 2, axis=1))))
    return best if best.rms_m < 0.15 * spread and other.rms_m > _TIMES_WORSE * best.rms_m else None


def heading_by_motion(points: FloatArray, headings: FloatArray, units: Sequence[str]) -> HeadingsFound:
    """Compare where a track of positions (N, 2) goes with its headings (N,), both in the log's own frame and unit."""
    shares: dict[tuple[str, str, str], float] = {}
    counts: dict[str, int] = {}
    for unit in units:
        directions, turned = _steady_steps(points, headings * UNITS[unit].factor)
        if len(directions) < _FEWEST_STEPS or np.ptp(turned) < math.pi:
            continue
        counts[unit] = len(directions)
        for sense, sign in SENSES.items():
            for axis, zero in AXES.items():
                along = np.abs(wrap_angle(directions - sign * turned - zero)) < _ALONG_RAD
                shares[unit, sense, axis] = float(np.mean(along))
    if not shares:
        return HeadingsFound()
    (best, share), (_, second) = sorted(shares.items(), key=lambda item: -item[1])[:2]
    (unit, sense, axis), count = best, counts[best[0]]
    strength = Strength.NOTHING
    if share >= _MOST_OF and second < _NOT_QUITE_MOST:
        strength = Strength.SHOWN
    elif share >= _MANY_OF and second < 0.6 * share:
        strength = Strength.HINTED
    why = (
        f"in {share:.0%} of {count} steps the robot drives where a {sense} heading in {unit} from {axis} points, "
        f"in {second:.0%} where the next best convention does"
    )
    if strength is not Strength.SHOWN:
        why += "; a robot that strafes or backs up makes this weak"
    if strength is Strength.NOTHING:
        return HeadingsFound(sense=Evidence(None, why, strength), zero=Evidence(None, why, strength))
    # a robot that always drives backwards, or axes of which y points right, look the same with another convention
    weak = Strength.HINTED
    return HeadingsFound(Evidence(unit, why, strength), Evidence(sense, why, weak), Evidence(axis, why, weak))


def _steady_steps(points: FloatArray, heading_rad: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return directions and headings of equal steps along the track in which the heading hardly turns."""
    moved = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(points, axis=0).T))])
    extent = float(np.max(np.ptp(points, axis=0)))
    if not extent > 0.0:
        return np.empty(0), np.empty(0)
    step = 0.02 * extent
    rows = np.searchsorted(moved, np.arange(0.0, moved[-1], step))
    rows = rows[(rows > 0) & (rows < len(points))]
    unwrapped = np.unwrap(heading_rad)
    ends = points[rows]
    chords = np.diff(ends, axis=0)
    turned = np.abs(np.diff(unwrapped[rows]))
    steady = (np.hypot(*chords.T) > 0.5 * step) & (turned < _STEADY_RAD)
    middles = (unwrapped[rows[1:]] + unwrapped[rows[:-1]]) / 2.0
    return np.arctan2(chords[steady, 1], chords[steady, 0]), middles[steady]


def heading_by_pods(counts: Mapping[str, FloatArray], pods: Mapping[str, Pod], logged: FloatArray) -> HeadingsFound:
    """Compare a logged heading (N,) with the turns that the pods alone measured, by the robot file's constants."""
    rows = np.array([pods[name].row for name in counts])
    if len(rows) < 3 or np.linalg.matrix_rank(rows, tol=1e-3) < 3:
        return HeadingsFound()
    travel = np.array([np.diff(values) * pods[name].metres_per_count for name, values in counts.items()])
    turns = np.linalg.lstsq(rows, travel, rcond=None)[0][2]
    steps = np.diff(logged)
    whole = np.isfinite(turns) & np.isfinite(steps) & (np.abs(turns) < 0.5) & (np.abs(steps) < 0.3 * np.ptp(logged))
    block = max(1, len(turns) // 400)
    turns, steps = _block_sums(np.where(whole, turns, 0.0), block), _block_sums(np.where(whole, steps, 0.0), block)
    size = float(np.sum(steps**2))
    if np.sum(np.abs(turns)) < math.pi or not size > 0.0:
        return HeadingsFound()
    likeness = float(np.sum(turns * steps) / math.sqrt(size * float(np.sum(turns**2))))
    ratio = float(np.sum(turns * steps)) / size
    sense = "counter-clockwise" if ratio > 0.0 else "clockwise"
    if abs(likeness) < 0.9:
        return HeadingsFound()
    why = f"its turns follow those of the pods by the robot file's constants, {sense} (correlation {abs(likeness):.2f})"
    unit = next((name for name in ("deg", "rad") if abs(math.log(abs(ratio) / UNITS[name].factor)) < 0.3), None)
    found_unit = NOTHING_KNOWN
    if unit is not None:
        turned = f"it turns {abs(ratio) / UNITS[unit].factor:.2f} times as far as the pods in {unit}"
        found_unit = Evidence(unit, turned, Strength.SHOWN)
    # the sense stands and falls with the pods' "reversed", which is often what is wrong
    return HeadingsFound(unit=found_unit, sense=Evidence(sense, why, Strength.HINTED))


def _block_sums(values: FloatArray, block: int) -> FloatArray:
    return np.asarray(np.add.reduceat(values, np.arange(0, len(values), block)))
