"""What can be wrong with clocks and delays, as changes to try."""

from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace

import numpy as np

from locbench.inspection.change import Amount, Change, Part
from locbench.inspection.diagnosis import SetupFault
from locbench.inspection.least import find_least, standard_sides, towards_the_least
from locbench.inspection.misfit import Misfit
from locbench.inspection.recorded import Recorded

__all__ = ["time_changes"]

# a clock is searched over some seconds only where something that hangs on it fits badly
_FAR_S, _COARSE_S = 4.0, 0.16
_FINE_S, _FINEST_S, _SMALLEST_S = 0.04, 0.006, 0.003
_LATE_S = 0.3
_BAD_COST = 2.2
# shifts below these are no matter, and not worth a closer look
_SLIGHT_S, _SLIGHTLY_LATE_S = 0.018, 0.010


@dataclass(frozen=True)
class _Clock:
    """A part with a clock of its own, how far off it may be, in what steps, and the log with that clock shifted."""

    part: Part
    reach_s: float
    coarse_s: float
    slight_s: float
    shifted: Callable[[float], Recorded]


def time_changes(base: Misfit) -> Iterator[Change]:
    """Yield every shift of a clock that may matter, each fitted to all comparisons."""
    for clock in _clocks(base.log):
        found = _best_shift(base, clock)
        if found is not None:
            shift, std = found
            fault = SetupFault.GYRO_LAG if clock.part is Part.GYRO else SetupFault.CLOCK_SHIFT
            amounts, stds = {Amount.SHIFT: shift}, {Amount.SHIFT: std}
            yield Change(fault, clock.part, clock.shifted(shift), 1, amounts=amounts, stds=stds)


def _clocks(log: Recorded) -> Iterator[_Clock]:
    fixes, rays, truth, visits = log.fixes, log.rays, log.truth, log.visits

    def table(part: Part, shifted: Callable[[float], Recorded]) -> _Clock:
        return _Clock(part, _FAR_S, _COARSE_S, _SLIGHT_S, shifted)

    if fixes is not None:
        yield table(Part.TAGS, lambda shift: replace(log, fixes=replace(fixes, time_s=fixes.time_s + shift)))
    if rays is not None:
        yield table(Part.TAGS, lambda shift: replace(log, rays=replace(rays, time_s=rays.time_s + shift)))
    if truth is not None:
        yield table(Part.TRUTH, lambda shift: replace(log, truth=replace(truth, time_s=truth.time_s + shift)))
    if visits is not None:
        yield table(
            Part.MARKS,
            lambda shift: replace(
                log, visits=replace(visits, begin_s=visits.begin_s + shift, end_s=visits.end_s + shift)
            ),
        )
    if log.odometry.heading_rad is not None:
        yield _Clock(Part.GYRO, _LATE_S, _LATE_S / 5.0, _SLIGHTLY_LATE_S, lambda shift: _with_gyro_shifted(log, shift))


def _with_gyro_shifted(log: Recorded, shift_s: float) -> Recorded:
    """Return the log with what the gyro says coming later by `shift_s`."""
    odometry = log.odometry
    assert odometry.heading_rad is not None
    heading = np.interp(odometry.time_s - shift_s, odometry.time_s, odometry.heading_rad)
    return replace(log, odometry=replace(odometry, heading_rad=heading))


def _best_shift(base: Misfit, clock: _Clock) -> tuple[float, float] | None:
    """Return the shift of least misfit and its standard uncertainty, or None where no shift matters."""

    def cost(shift_s: float) -> float:
        return base.cost_of(base.of(clock.shifted(shift_s)))

    centre, step = 0.0, _FINE_S
    if _fits_badly(base, clock.shifted(0.0)):
        grid = np.arange(-clock.reach_s, clock.reach_s + 1e-9, clock.coarse_s)
        centre, step = float(grid[np.argmin([cost(float(shift)) for shift in grid])]), clock.coarse_s
    elif abs(towards_the_least(cost, 0.0, step)) < clock.slight_s:
        return None
    centre = find_least(cost, centre, step, _FINEST_S)
    low, high = standard_sides(cost, centre, _SMALLEST_S)
    return centre + (high - low) / 2.0, (high + low) / 2.0


def _fits_badly(base: Misfit, touched: Recorded) -> bool:
    """Return whether any comparison that hangs on this clock leaves much more than a healthy log does."""
    return any(
        residuals.mean_cost > _BAD_COST
        for kind, residuals in base.residuals.items()
        if residuals.independent > 0.0 and not base.takes_over(kind, touched)
    )
