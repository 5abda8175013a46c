"""Bias and spread of detections, sorted by what may make them better or worse."""

from collections.abc import Mapping
from dataclasses import dataclass
from enum import StrEnum
from itertools import pairwise

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.camera.components import Component
from locbench.camera.observed import Observed
from locbench.statistics import effective_mean_size, effective_sample_size

__all__ = ["Bin", "BinnedBy", "ComponentNumbers", "TrustCell", "bins", "trust_map"]

_FEWEST = 5


class BinnedBy(StrEnum):
    """What detections are sorted by."""

    RANGE = "range"
    VIEW_ANGLE = "view_angle"
    SPEED = "speed"
    TURN_RATE = "turn_rate"
    TAG = "tag"


_EDGES: Mapping[BinnedBy, tuple[float, ...]] = {
    BinnedBy.RANGE: (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 10.0, 20.0, 50.0, 100.0),
    BinnedBy.VIEW_ANGLE: tuple(float(np.radians(angle)) for angle in (0, 15, 30, 45, 60, 75, 90, 180)),
    BinnedBy.SPEED: (0.0, 0.05, 0.5, 1.0, 1.5, 2.0, 3.0, 5.0),
    BinnedBy.TURN_RATE: tuple(float(np.radians(rate)) for rate in (0, 5, 45, 90, 180, 270, 360, 720)),
}
_MAP_RANGES = (0.0, 0.75, 1.5, 2.25, 3.0, 4.0, 5.0, 7.0, 10.0, 20.0, 50.0, 100.0)
_MAP_VIEWS = tuple(float(np.radians(angle)) for angle in (0, 15, 30, 45, 60, 75, 90))


@dataclass(frozen=True)
class ComponentNumbers:
    """Mean of a residual and its scatter about that, with standard uncertainties; outliers left out."""

    bias: float
    bias_std: float
    spread: float
    spread_std: float


@dataclass(frozen=True)
class Bin:
    """Detections in a half-open interval, or of one tag.

    Attributes
    ----------
    by
        What they were sorted by.
    low, high
        The interval; of a tag its id, twice.
    count, outliers
        All of them, and the wrong ones among them.
    components
        By name; those with enough good detections.
    """

    by: BinnedBy
    low: float
    high: float
    count: int
    outliers: int
    components: Mapping[Component, ComponentNumbers]


@dataclass(frozen=True)
class TrustCell:
    """Detections of a range and a view angle: how far off good ones are (RMS, by component), and the wrong ones."""

    range_low_m: float
    range_high_m: float
    view_low_rad: float
    view_high_rad: float
    count: int
    outliers: int
    rms: Mapping[Component, float]


def bins(seen: Observed, residual: FloatArray, wrong: BoolArray) -> tuple[Bin, ...]:
    """Return the detections sorted by range, view angle, speed, turn rate and tag; empty bins left out.

    Parameters
    ----------
    seen
        M detections.
    residual
        (M, D) what they are off by, as logged: nothing taken off.
    wrong
        (M,) outliers.
    """
    sorted_by = {
        BinnedBy.RANGE: seen.range_m,
        BinnedBy.VIEW_ANGLE: seen.view_angle_rad,
        BinnedBy.SPEED: seen.speed_m_s,
        BinnedBy.TURN_RATE: seen.turn_rate_rad_s,
    }
    found = []
    for by, values in sorted_by.items():
        for low, high in pairwise(_EDGES[by]):
            found.append(_bin(by, low, high, (values >= low) & (values < high), seen, residual, wrong))
    ids = seen.detections.tag
    found += [_bin(BinnedBy.TAG, float(tag), float(tag), ids == tag, seen, residual, wrong) for tag in np.unique(ids)]
    return tuple(one for one in found if one.count)


def _bin(
    by: BinnedBy, low: float, high: float, inside: BoolArray, seen: Observed, residual: FloatArray, wrong: BoolArray
) -> Bin:
    good = residual[inside & ~wrong]
    numbers = {name: _numbers(good[:, place]) for place, name in enumerate(seen.components)}
    told = {name: one for name, one in numbers.items() if one is not None}
    return Bin(by, low, high, int(np.sum(inside)), int(np.sum(inside & wrong)), told)


def _numbers(values: FloatArray) -> ComponentNumbers | None:
    values = values[np.isfinite(values)]
    if len(values) < _FEWEST:
        return None
    bias, spread = float(np.mean(values)), float(np.std(values, ddof=1))
    for_mean = max(effective_mean_size(values), 1.0)
    for_spread = max(effective_sample_size(values - bias), 2.0)
    return ComponentNumbers(bias, spread / np.sqrt(for_mean), spread, spread / np.sqrt(2.0 * (for_spread - 1.0)))


def trust_map(seen: Observed, residual: FloatArray, wrong: BoolArray) -> tuple[TrustCell, ...]:
    """Return how far off detections are over range and view angle; arguments as in `bins`."""
    found = []
    for near, far in pairwise(_MAP_RANGES):
        for low, high in pairwise(_MAP_VIEWS):
            inside = (seen.range_m >= near) & (seen.range_m < far)
            inside &= (seen.view_angle_rad >= low) & (seen.view_angle_rad < high)
            count = int(np.sum(inside))
            if not count:
                continue
            good = residual[inside & ~wrong]
            rms = {
                name: float(np.sqrt(np.nanmean(good[:, place] ** 2)))
                for place, name in enumerate(seen.components)
                if np.sum(np.isfinite(good[:, place])) >= _FEWEST
            }
            found.append(TrustCell(near, far, low, high, count, int(np.sum(inside & wrong)), rms))
    return tuple(found)
