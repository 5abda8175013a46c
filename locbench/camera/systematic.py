"""What is wrong with all detections alike: stamps, the camera's mount, tags that hang elsewhere, ranges too long.

Weighted least squares on the residuals, outliers weighed down as in the calibration. Tags and mount can only be told
apart if most tags hang where the field file says: tags are taken to be right until one is plainly not (forward
selection, Bonferroni's bound on 1 %), and only those are let off.

What is beyond chance is told by Student's t with one degree of freedom less than there are legs of the reference on
which it was seen: few legs, whose errors nobody stated rightly, prove little however many detections they hold.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import numpy as np
from scipy import special

from locbench.arrays import FloatArray, IntArray
from locbench.camera.observed import Observed, reference_roots, reference_variance, residuals
from locbench.camera.spread import model_variance, robust_scale, together
from locbench.config.fusion import TagNoise
from locbench.session import TagKind
from locbench.statistics import chi_square_quantile

__all__ = ["Shift", "Systematic", "TagShift", "systematic"]

_ROUNDS = 8
_BEYOND = 0.997
_FEWEST_OF_A_TAG, _FEWEST_LEGS_OF_A_TAG = 10, 3
_ERROR_PROBABILITY = 0.01
# a tag that hangs less aside than this is as well as anyone hangs one; common practice, no source
_NOTABLE_M, _NOTABLE_RAD = 0.010, float(np.radians(0.5))
# what a unit of the information has to reach for a quantity to be told at all
_TOO_UNSURE = {"latency": 0.05, "x": 0.1, "y": 0.1, "yaw": 0.2, "facing": 0.2, "range_scale": 0.2}


class Shift(StrEnum):
    """What all detections may have in common."""

    LATENCY = "latency"
    X = "x"
    Y = "y"
    YAW = "yaw"
    RANGE_SCALE = "range_scale"


@dataclass(frozen=True)
class TagShift:
    """By how much a tag hangs elsewhere, field frame: x, y, facing (3,), standard uncertainties, NaN if not seen.

    `legs` is on how many of the reference's legs it was seen; on too few of them none `is_provable`.
    """

    shift: FloatArray
    std: FloatArray
    count: int
    legs: int
    hangs_wrong: bool

    @property
    def is_provable(self) -> bool:
        """Whether it was seen on enough legs to be said to hang wrong."""
        return self.legs >= _FEWEST_LEGS_OF_A_TAG


@dataclass(frozen=True)
class Systematic:
    """What all detections have in common.

    Attributes
    ----------
    shift, std
        By kind; a range scale is the excess over 1. What cannot be told is left out.
    tags
        By id.
    residual
        (M, D) what is left once all this is taken off.
    weight
        (M,) less than 1 for outliers.
    beyond_chance
        Which kinds chance alone explains in one study of a hundred at most, all kinds considered.
    """

    shift: Mapping[Shift, float]
    std: Mapping[Shift, float]
    tags: Mapping[int, TagShift]
    residual: FloatArray
    weight: FloatArray
    beyond_chance: frozenset[Shift]


@dataclass(frozen=True)
class _Fit:
    common: FloatArray
    common_std: FloatArray
    free: Mapping[int, FloatArray]
    free_std: Mapping[int, FloatArray]
    residual: FloatArray
    variance: FloatArray
    weight: FloatArray


def systematic(seen: Observed, noise: TagNoise) -> Systematic:
    """Return what the detections have in common, and which tags hang wrong.

    Parameters
    ----------
    seen
        M detections.
    noise
        A first guess of their noise; only how it grows with range and view angle matters.
    """
    kinds = _kinds(seen)
    free: list[int] = []
    while True:
        found = _fitted(seen, noise, kinds, free)
        tags = {int(tag): _of_tag(seen, found, int(tag)) for tag in np.unique(seen.detections.tag)}
        worst = _worst(tags, free)
        if worst is None:
            break
        free.append(worst)
    shifts = {kind: float(value) for kind, value in zip(kinds, found.common, strict=True)}
    stds = {kind: float(value) for kind, value in zip(kinds, found.common_std, strict=True)}
    told = {kind for kind in kinds if stds[kind] < _TOO_UNSURE[kind.value]}
    limit = _chance_limit(len(np.unique(seen.leg)), len(kinds))
    return Systematic(
        {kind: shifts[kind] for kind in kinds if kind in told},
        {kind: stds[kind] for kind in kinds if kind in told},
        tags,
        found.residual,
        found.weight,
        frozenset(kind for kind in told if abs(shifts[kind]) > limit * stds[kind]),
    )


def _chance_limit(legs: int, questions: int) -> float:
    """Return how many standard uncertainties chance alone hardly ever reaches in any of some questions."""
    return float(special.stdtrit(max(legs - 1, 1), 1.0 - _ERROR_PROBABILITY / (2.0 * questions)))


def _kinds(seen: Observed) -> list[Shift]:
    kind = seen.detections.kind
    kinds = [Shift.LATENCY, Shift.X, Shift.Y]
    if kind is not TagKind.RANGE:
        kinds.append(Shift.YAW)
    if kind in (TagKind.RANGE, TagKind.RANGE_BEARING):
        kinds.append(Shift.RANGE_SCALE)
    return kinds


def _residual(seen: Observed, kinds: Sequence[Shift], common: FloatArray, free: Mapping[int, FloatArray]) -> FloatArray:
    value = dict(zip(kinds, common, strict=True))
    tag_shift = np.zeros((len(seen), 3))
    for tag, shift in free.items():
        tag_shift[seen.detections.tag == tag] = shift
    mount = np.array([value.get(kind, 0.0) for kind in (Shift.X, Shift.Y, Shift.YAW)])
    return residuals(seen, value[Shift.LATENCY], mount, tag_shift, 1.0 + value.get(Shift.RANGE_SCALE, 0.0))


def _fitted(seen: Observed, noise: TagNoise, kinds: Sequence[Shift], free: Sequence[int]) -> _Fit:
    variance = model_variance(seen, noise, seen.range_m, seen.view_angle_rad)
    extra = reference_variance(seen)
    common, shifts = np.zeros(len(kinds)), {tag: np.zeros(3) for tag in free}
    count = len(kinds) + 3 * len(free)
    covariance: FloatArray = np.eye(count)
    residual, weight, total = np.zeros_like(variance), np.ones(len(seen)), variance + extra
    for _ in range(_ROUNDS):
        residual = _residual(seen, kinds, common, shifts)
        scale = robust_scale(residual / np.sqrt(variance + extra))
        total = scale**2 * (variance + extra)
        normalised = np.nan_to_num(residual / np.sqrt(total))
        weight = _weights(normalised, residual)
        slopes = _slopes(seen, kinds, common, shifts, residual) / np.sqrt(total)[..., np.newaxis]
        rows = np.nan_to_num(slopes).reshape(-1, count)
        counted = np.repeat(weight, normalised.shape[1])
        normal = (rows * counted[:, np.newaxis]).T @ rows + _stiffness(count)
        step = np.linalg.solve(normal, -(rows * counted[:, np.newaxis]).T @ normalised.ravel())
        common = common + step[: len(kinds)]
        shifts = {tag: shifts[tag] + step[len(kinds) + 3 * place :][:3] for place, tag in enumerate(free)}
        covariance = np.asarray(np.linalg.inv(normal), dtype=float)
    residual = _residual(seen, kinds, common, shifts)
    slopes = np.nan_to_num(_slopes(seen, kinds, common, shifts, residual) / np.sqrt(total)[..., np.newaxis])
    std = _stds(seen, residual, total, weight, slopes, covariance)
    return _Fit(
        common,
        std[: len(kinds)],
        shifts,
        {tag: std[len(kinds) + 3 * place :][:3] for place, tag in enumerate(free)},
        residual,
        total,
        weight,
    )


def _stds(
    seen: Observed, residual: FloatArray, total: FloatArray, weight: FloatArray, slopes: FloatArray, inverse: FloatArray
) -> FloatArray:
    """Return (P,) standard uncertainties: of the detections' noise, as far as it is independent, and of the reference.

    Along a leg between two references the reference errs alike, so that many detections there are no surer than one.
    Where the legs differ by more than was stated of them, what they differ by counts (sums of the scores by leg: Liang
    & Zeger, Biometrika 73(1) 1986).
    """
    alike = max(together(column) for column in (residual / np.sqrt(total)).T)
    shared = reference_roots(seen) / np.sqrt(total)[..., np.newaxis]
    pulls = np.einsum("m,mdp,mdq->mpq", weight, slopes, shared, optimize=True)
    legs = np.unique(seen.leg, return_inverse=True)[1]
    moved = inverse @ _summed(pulls, legs)
    stated = np.diag(inverse) * alike + np.einsum("lpr,lpr->p", moved, moved)
    scores = np.einsum("m,mdp,md->mp", weight, slopes, np.nan_to_num(residual / np.sqrt(total)), optimize=True)
    steps = _summed(scores, legs) @ inverse
    count = len(steps)
    seen_between = np.sum(steps**2, axis=0) * count / max(count - 1, 1)
    return np.asarray(np.sqrt(np.maximum(stated, seen_between)))


def _summed(values: FloatArray, groups: IntArray) -> FloatArray:
    """Return (L, ...) sums of values (M, ...) by group, numbered from 0."""
    total = np.zeros((groups.max() + 1, *values.shape[1:]))
    np.add.at(total, groups, values)
    return total


def _stiffness(count: int) -> FloatArray:
    # what nothing tells stays where it is
    return 1e-2 * np.eye(count)


def _weights(normalised: FloatArray, residual: FloatArray) -> FloatArray:
    square = np.sum(normalised**2, axis=1)
    components = np.sum(np.isfinite(residual), axis=1)
    limits = np.array([np.inf, *(chi_square_quantile(_BEYOND, size) for size in range(1, 4))])
    return np.asarray(np.minimum(1.0, limits[components] / np.maximum(square, 1e-12)))


def _slopes(
    seen: Observed,
    kinds: Sequence[Shift],
    common: FloatArray,
    free: Mapping[int, FloatArray],
    here: FloatArray,
) -> FloatArray:
    """Return (M, D, P) derivatives of the residuals."""
    columns = []
    for place in range(len(kinds)):
        moved = common.copy()
        moved[place] += 1e-5
        columns.append((_residual(seen, kinds, moved, free) - here) / 1e-5)
    for tag in free:
        for place in range(3):
            shift = free[tag].copy()
            shift[place] += 1e-5
            columns.append((_residual(seen, kinds, common, {**free, tag: shift}) - here) / 1e-5)
    return np.stack(columns, axis=-1)


def _of_tag(seen: Observed, found: _Fit, tag: int) -> TagShift:
    """Return where a tag hangs: as fitted, or, of one taken to be right, as its residuals alone would have it."""
    rows = seen.detections.tag == tag
    count, legs = int(np.sum(rows)), len(np.unique(seen.leg[rows]))
    if tag in found.free:
        return _told_of_a_tag(TagShift(found.free[tag], found.free_std[tag], count, legs, hangs_wrong=True))
    if count < _FEWEST_OF_A_TAG:
        return TagShift(np.full(3, np.nan), np.full(3, np.nan), count, legs, hangs_wrong=False)
    some = seen.chosen(rows)
    here, total, weight = found.residual[rows], found.variance[rows], found.weight[rows]
    columns = []
    for place in range(3):
        shift = np.zeros((count, 3))
        shift[:, place] = 1e-5
        moved = residuals(some, 0.0, np.zeros(3), shift, 1.0)
        columns.append((moved - residuals(some, 0.0, np.zeros(3), np.zeros((count, 3)), 1.0)) / 1e-5)
    slopes = np.nan_to_num(np.stack(columns, axis=-1) / np.sqrt(total)[..., np.newaxis]).reshape(-1, 3)
    normalised = np.nan_to_num(here / np.sqrt(total))
    counted = np.repeat(weight, here.shape[1])[:, np.newaxis]
    normal = (slopes * counted).T @ slopes + _stiffness(3)
    shift = np.linalg.solve(normal, -(slopes * counted).T @ normalised.ravel())
    covariance = np.asarray(np.linalg.inv(normal), dtype=float)
    by_row = slopes.reshape(count, -1, 3)
    # the shift itself is no disagreement among legs
    left = here + np.sqrt(total) * (by_row @ shift)
    std = _stds(some, left, total, weight, by_row, covariance)
    return _told_of_a_tag(TagShift(shift, std, count, legs, hangs_wrong=False))


def _told_of_a_tag(found: TagShift) -> TagShift:
    """Return where a tag hangs, without what is too unsure to be told."""
    unsure = found.std > np.array([_TOO_UNSURE["x"], _TOO_UNSURE["y"], _TOO_UNSURE["facing"]])
    return replace(found, shift=np.where(unsure, np.nan, found.shift), std=np.where(unsure, np.nan, found.std))


def _worst(tags: Mapping[int, TagShift], free: Sequence[int]) -> int | None:
    """Return the tag that most plainly hangs elsewhere; None if none does, or if that would be most of them."""
    left = [tag for tag in tags if tag not in free]
    if len(left) <= max(2, len(tags) // 2):
        return None
    notable = np.array([_NOTABLE_M, _NOTABLE_M, _NOTABLE_RAD])
    plain: dict[int, float] = {}
    for tag in left:
        if not tags[tag].is_provable:
            continue
        times = np.abs(tags[tag].shift) / tags[tag].std
        enough = np.isfinite(times) & (np.abs(tags[tag].shift) > notable)
        largest = float(np.max(times[enough])) if np.any(enough) else 0.0
        if largest > _chance_limit(tags[tag].legs, 3 * len(tags)):
            plain[tag] = largest
    return max(plain, key=lambda tag: plain[tag]) if plain else None
