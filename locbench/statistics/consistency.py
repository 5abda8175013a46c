"""Where is decided whether a filter is as sure as it is right, and what is wrong if it is not.

Each kind of remark is false for one honest run in a hundred or less, so that an honest run mostly gets none.
"""

import math
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from scipy import special

from locbench.arrays import BoolArray, FloatArray, IntArray, runs_of
from locbench.statistics.intervals import NORMAL_95
from locbench.statistics.uncertain import UncertainNumber, measured

__all__ = [
    "ConsistencyVerdict",
    "Remark",
    "RemarkCode",
    "band_of_draws",
    "judge_consistency",
    "remark_on_errors",
    "remark_on_fixes",
    "remark_on_whiteness",
    "remarks_on_lockout",
]

# A typical innovation that many times the honest one is no matter of noise settings. Common practice, no source.
_UNRELATED_TIMES = 20.0
# Chance, on each side, with which an honest run gets a remark of one kind.
_FALSE_REMARK = 0.005
# A lock-out is no matter of chance: with an honest filter it happens once in so many runs.
_HONEST_LOCKOUT = 0.001
# Bursts of flips last as long as a tag stays in an awkward view, wrong tags concern one tag. Measured on the demo logs:
# after shoves the gate refuses up to 1.6 s in a row before the filter finds back by itself.
_LOCKOUT_S = 3.0
_LOCKOUT_TAGS = 2
_REFUSALS_PER_TAG = 3
# Detections keep coming while they are no further apart than that.
_LONGEST_PAUSE_S = 1.0
# Below this correlation averaging still helps nearly as much as if errors were independent. Our choice.
_NOTABLE_CORRELATION = 0.1
_FEWEST_PAIRS = 30
_LARGEST_DEVIATION = 3.0


class ConsistencyVerdict(StrEnum):
    """Whether a filter is as sure as it is right, from its typical innovation."""

    HONEST = "honest"
    TOO_SURE = "too_sure"
    TOO_CAUTIOUS = "too_cautious"
    UNRELATED = "unrelated"
    UNDECIDED = "undecided"


class RemarkCode(StrEnum):
    """What is wrong with an estimator's claims."""

    ERRORS_LARGER = "errors_larger_than_claimed"
    ERRORS_SMALLER = "errors_smaller_than_claimed"
    FIXES_FURTHER = "fixes_further_than_claimed"
    FIXES_CLOSER = "fixes_closer_than_claimed"
    TRUTH_LOCKED_OUT = "truth_locked_out"
    FIXES_HANG_TOGETHER = "fixes_hang_together"


@dataclass(frozen=True)
class Remark:
    """One thing that an honest estimator would not show.

    Attributes
    ----------
    code
        What it is.
    value
        The number it was decided from.
    honest
        Where that number lies in 95 % of honest runs; None if that is no interval.
    start_s, end_s
        When, on the session's clock; None if it concerns the whole run.
    """

    code: RemarkCode
    value: UncertainNumber
    honest: tuple[float, float] | None
    start_s: float | None = None
    end_s: float | None = None


def judge_consistency(typical: UncertainNumber) -> ConsistencyVerdict:
    """Return the verdict on a typical innovation, given as a multiple of an honest filter's.

    Only an interval that leaves out 1 decides; the typical one is not moved by a few wrong fixes.
    """
    if typical.value is None:
        return ConsistencyVerdict.UNDECIDED
    if typical.value > _UNRELATED_TIMES:
        return ConsistencyVerdict.UNRELATED
    if typical.ci95 is None:
        return ConsistencyVerdict.UNDECIDED
    if typical.ci95[0] > 1.0:
        return ConsistencyVerdict.TOO_SURE
    return ConsistencyVerdict.TOO_CAUTIOUS if typical.ci95[1] < 1.0 else ConsistencyVerdict.HONEST


def band_of_draws(draws: FloatArray) -> tuple[float, float]:
    """Return the band that holds one more draw of the same kind with a probability of 95 % or a little more.

    Parameters
    ----------
    draws
        (D,), 39 or more.

    Notes
    -----
    A further draw is equally likely to fall between any two neighbours of the ordered ones, so it lies between the
    k-th from either end with probability 1 - 2 k / (D + 1): Wilks, Ann. Math. Stat. 12 (1941) 91-96.
    """
    ordered = np.sort(draws)
    place = int(0.025 * (len(ordered) + 1)) - 1
    return float(ordered[place]), float(ordered[-1 - place])


def remark_on_errors(mean: UncertainNumber, draws: FloatArray) -> Remark | None:
    """Return a remark if a mean normalised error squared lies beyond all that were drawn under the estimator's model.

    Parameters
    ----------
    mean
        Of the run.
    draws
        (D,) of the same run drawn again; with 200 an honest run lies beyond all of them once in a hundred times.
    """
    if mean.value is None:
        return None
    band = band_of_draws(draws)
    if mean.value > np.max(draws):
        return Remark(RemarkCode.ERRORS_LARGER, mean, band)
    return Remark(RemarkCode.ERRORS_SMALLER, mean, band) if mean.value < np.min(draws) else None


def remark_on_fixes(ratios: FloatArray, typical: UncertainNumber) -> Remark | None:
    """Return a remark if far more or far fewer than half of the innovations exceed an honest filter's median.

    Parameters
    ----------
    ratios
        (M,) normalised innovations squared over the honest median, of a Kalman gain, which makes them independent.
    typical
        Their median.

    Notes
    -----
    The sign test: of independent honest ones each exceeds it with probability 1/2: Dixon & Mood, J. Am. Stat. Assoc. 41
    (1946).
    """
    count, above = len(ratios), int(np.sum(ratios > 1.0))
    if not count:
        return None
    if above > 0 and special.bdtrc(above - 1, count, 0.5) < _FALSE_REMARK:
        return Remark(RemarkCode.FIXES_FURTHER, typical, None)
    return Remark(RemarkCode.FIXES_CLOSER, typical, None) if special.bdtr(above, count, 0.5) < _FALSE_REMARK else None


def remarks_on_lockout(time_s: FloatArray, tag: IntArray, refused: BoolArray, gate_probability: float) -> list[Remark]:
    """Return a remark for each while in which the gate refused everything, too long and from too many tags for chance.

    Parameters
    ----------
    time_s, tag, refused
        (M,) in order of arrival: the detections that reached the gate, and whether it refused them.
    gate_probability
        The gate passes an honest filter's innovation with this probability.

    Notes
    -----
    An honest filter refuses k in a row from a given one on with probability (1 - gate_probability)^k. Wrong fixes do
    not follow that law, so the while must also last, and at least two tags must have been refused several times: that
    the map has two tags wrong is less likely than that the belief is.
    """
    chance = 1.0 - gate_probability
    fewest = math.log(_HONEST_LOCKOUT / max(len(refused), 1)) / math.log(chance)
    method = f"fixes refused in a row by a gate that an honest filter's pass with probability {gate_probability:g}"
    remarks = []
    for first, after in runs_of(refused):
        inside = slice(int(first), int(after))
        pauses = np.diff(time_s[inside])
        lasted = float(np.sum(pauses[pauses <= _LONGEST_PAUSE_S]))
        counts = np.unique(tag[inside], return_counts=True)[1]
        several = int(np.sum(counts >= _REFUSALS_PER_TAG)) >= _LOCKOUT_TAGS
        if after - first < fewest or lasted < _LOCKOUT_S or not several:
            continue
        value = measured(float(after - first), None, int(after - first), method, "a count, not an estimate")
        end_s = float(time_s[min(int(after), len(time_s) - 1)])
        remarks.append(Remark(RemarkCode.TRUTH_LOCKED_OUT, value, None, float(time_s[first]), end_s))
    return remarks


def remark_on_whiteness(
    same_tag: tuple[FloatArray, FloatArray], other_tag: tuple[FloatArray, FloatArray]
) -> Remark | None:
    """Return a remark if innovations of the same tag hang together over time: a slow error, not white noise.

    Parameters
    ----------
    same_tag
        Whitened innovations (N, D) and the next ones of the same tag (N, D); NaN where there are fewer components.
    other_tag
        The same for an innovation and the next one of another tag.

    Notes
    -----
    An honest Kalman filter's innovations are independent; their correlation lies within 1.96 / sqrt(N) in 95 % of runs
    (Bar-Shalom, Li & Kirubarajan 2001, section 5.4, from memory). If the belief itself lags, because motion noise is
    set too small, fixes of all tags lie to the same side of it; so those of one tag must hang together more than those
    of different ones.
    """
    correlation, count = _correlation(*same_tag)
    between_tags, other_count = _correlation(*other_tag)
    if count < _FEWEST_PAIRS:
        return None
    limit = float(special.ndtri(1.0 - _FALSE_REMARK))
    significant = correlation > max(limit / math.sqrt(count), _NOTABLE_CORRELATION)
    if other_count >= _FEWEST_PAIRS:
        significant &= correlation - between_tags > limit * math.sqrt(1.0 / count + 1.0 / other_count)
    if not significant:
        return None
    half = NORMAL_95 / math.sqrt(count)
    interval = max(-1.0, correlation - half), min(1.0, correlation + half)
    method = "correlation of whitened innovations with the next of the same tag; +-1.96 / sqrt(n)"
    value = measured(correlation, interval, count, method)
    return Remark(RemarkCode.FIXES_HANG_TOGETHER, value, (-half, half))


def _correlation(first: FloatArray, second: FloatArray) -> tuple[float, int]:
    """Return the correlation of paired components about zero and their number; outliers count as three deviations."""
    known = np.isfinite(first) & np.isfinite(second)
    a, b = (np.clip(values[known], -_LARGEST_DEVIATION, _LARGEST_DEVIATION) for values in (first, second))
    energy = math.sqrt(float(a @ a) * float(b @ b))
    return (float(a @ b) / energy if energy else 0.0), len(a)
