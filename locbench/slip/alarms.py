"""When sensors contradict each other beyond chance: whiles of several lengths for hard slips, sums for soft ones.

The rate of false alarms is shared out half and half between the whiles, each length with its part, and the cumulative
sums, each direction with its part. Whiles overlap, so alarms by chance are rarer than stated.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import chdtrc

from locbench.arrays import BoolArray, FloatArray
from locbench.slip.steps import STEP_S, WINDOWS, Steps, projected
from locbench.statistics import chi_square_quantile, cusum, cusum_limit

__all__ = ["FALSE_ALARMS_PER_MINUTE", "Alarm", "Limits", "alarms", "chance_of", "false_alarm_of_a_while", "limits"]

FALSE_ALARMS_PER_MINUTE = 0.05
_MINUTE_S = 60.0
# Half of the shift, in standard deviations of one step, that the sums look for; the textbook's choice (Montgomery).
_ALLOWANCE = 0.5
# a sum that fell by so much has left its slip behind
_FALLEN = 2.0
# alarms this many steps apart belong to one event
_ONE_EVENT = 2


@dataclass(frozen=True)
class Limits:
    """From which chi-square of a while on, and from which cumulative sum on, there is an alarm."""

    squared: float
    summed: float


@dataclass(frozen=True)
class Alarm:
    """Steps from `first` to `last` (included) in alarm, first known with step `found`."""

    first: int
    last: int
    found: int


def false_alarm_of_a_while(per_minute: float) -> float:
    """Return the probability of an alarm in one while that makes up the whiles' half of a rate of false alarms."""
    return 0.5 * per_minute * STEP_S / (_MINUTE_S * len(WINDOWS))


def limits(per_minute: float, redundancy: int, sets: int) -> Limits:
    """Return the limits for a rate of false alarms.

    Parameters
    ----------
    per_minute
        How many alarms a minute without any slip may raise.
    redundancy
        Number of parity values.
    sets
        How many directions the cumulative sums follow.
    """
    false_alarm = false_alarm_of_a_while(per_minute)
    run_length = _MINUTE_S / STEP_S * sets / (0.5 * per_minute)
    return Limits(
        squared=chi_square_quantile(1.0 - false_alarm, float(redundancy)),
        summed=cusum_limit(_ALLOWANCE, run_length),
    )


def chance_of(largest: float, redundancy: int, steps: int) -> float:
    """Return how likely chance alone reaches a chi-square somewhere in a log of that many steps; at most 1."""
    return min(1.0, steps * len(WINDOWS) * float(chdtrc(redundancy, largest)))


def alarms(steps: Steps, limit: Limits) -> list[Alarm]:
    """Return the alarms of a log in order of time, those that touch joined."""
    found = [part for length in WINDOWS for part in _in_windows(steps, length, limit.squared)]
    for group in steps.checks.sets:
        found += _in_sums(steps, group[0], limit.summed)
    return _joined(found)


def _in_windows(steps: Steps, length: int, limit: float) -> list[Alarm]:
    windows = steps.windows(length)
    return [
        Alarm(int(end) - length + 1, int(end), int(end)) for end in windows.end[np.asarray(windows.squared > limit)]
    ]


def _in_sums(steps: Steps, sensor: int, limit: float) -> list[Alarm]:
    values = along(steps, sensor)
    return [*_rises(values, ~steps.good, limit), *_rises(-values, ~steps.good, limit)]


def _rises(values: FloatArray, restart: BoolArray, limit: float) -> list[Alarm]:
    """Return an alarm for each time the sum rises beyond its limit, up to where it is highest.

    Then it begins again from zero: it would stay high for long, though nothing slips any more.
    """
    found: list[Alarm] = []
    begin = 0
    while begin < len(values):
        sums = cusum(values[begin:], _ALLOWANCE, restart[begin:])
        beyond = np.flatnonzero(sums.upper > limit)
        if not len(beyond):
            break
        first = int(beyond[0])
        rising = sums.upper[first:]
        fallen = np.flatnonzero(rising < np.maximum.accumulate(rising) - _FALLEN)
        highest = first + int(np.argmax(rising[: fallen[0]] if len(fallen) else rising))
        found.append(Alarm(begin + int(sums.upper_since[first]), begin + highest, begin + first))
        begin += highest + 1
    return found


def along(steps: Steps, sensor: int) -> FloatArray:
    """Return (M,) how each step contradicts along a sensor's direction, of standard deviation 1; NaN of bad ones."""
    one = np.arange(len(steps))
    values = projected(steps.residual, steps.covariance_over(one, one + 1), steps.directions[:, sensor])
    return np.where(steps.good, values, np.nan)


def _joined(found: list[Alarm]) -> list[Alarm]:
    joined: list[Alarm] = []
    for one in sorted(found, key=lambda alarm: alarm.first):
        if joined and one.first <= joined[-1].last + _ONE_EVENT:
            before = joined[-1]
            joined[-1] = Alarm(before.first, max(before.last, one.last), min(before.found, one.found))
        else:
            joined.append(one)
    return joined
