"""For which share of the time a shot aimed from the believed pose would have gone in."""

import numpy as np

from locbench.accuracy import Comparison
from locbench.config import ShooterConfig
from locbench.config.field import Goal
from locbench.shots.landing import can_aim, landing_offset, line_of_fire
from locbench.shots.opening import clean_entry
from locbench.shots.predicting import landing_covariance
from locbench.statistics import (
    NORMAL_95,
    UncertainNumber,
    effective_sample_size,
    measured,
    proportion_interval,
    unavailable,
)

__all__ = ["time_on_target"]

_METHOD = (
    "share of evenly spaced times at which a shot from the believed pose enters cleanly; Wilson interval, widened by "
    "the times at which the reference is not sure enough to tell"
)


def time_on_target(
    comparison: Comparison, goal: Goal, shooter: ShooterConfig | None, most_independent: float = np.inf
) -> UncertainNumber:
    """Return the share of the compared times at which the believed pose would have put a shot cleanly into the goal.

    Parameters
    ----------
    comparison
        Believed and reference poses at evenly spaced times, in order; times without either do not count.
    goal
        The goal.
    shooter
        The launcher; without it there is no clean entry.
    most_independent
        How many independent observations the times are worth at most: one, where nothing corrects the belief.

    Notes
    -----
    An error of the reference moves the landing point as one of the belief would. Times at which its own uncertainty
    (95 %, to a side or along) could turn a hit into a miss, or the other way round, count as misses for the lower end
    of the interval and as hits for the upper end.
    """
    if shooter is None:
        return unavailable("no shooter file: give --shooter", method=_METHOD)
    known = np.isfinite(comparison.reference).all(axis=1) & np.isfinite(comparison.believed).all(axis=1)
    centre = np.array([goal.x, goal.y])
    true_pose, believed = comparison.reference[known], comparison.believed[known]
    aimable = can_aim(believed, centre, shooter.turret)
    true_pose, believed = true_pose[aimable], believed[aimable]
    if not len(true_pose):
        return unavailable("no time at which both poses are known and the turret reaches the goal", method=_METHOD)
    offset, line = landing_offset(true_pose, believed, centre), line_of_fire(true_pose, centre)
    clean = clean_entry(offset, line, goal, shooter)
    covariance = landing_covariance(true_pose, comparison.reference_covariance[known][aimable], centre)
    reach = NORMAL_95 * np.sqrt(np.diagonal(covariance, axis1=1, axis2=2))
    unsure = np.zeros(len(clean), dtype=bool)
    for direction in ([1.0, 0.0], [-1.0, 0.0], [0.0, 1.0], [0.0, -1.0]):
        unsure |= clean_entry(offset + reach * np.array(direction), line, goal, shooter) != clean
    independent = min(effective_sample_size(offset), most_independent)
    lower, _ = proportion_interval(float(np.mean(clean & ~unsure)) * independent, independent)
    _, upper = proportion_interval(float(np.mean(clean | unsure)) * independent, independent)
    return measured(float(np.mean(clean)), (lower, upper), len(clean), _METHOD, None, independent)
