"""Slips that no sensor contradicts, and which of several sensors it was: told by tags or marks afterwards."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.odometry import MotionSensors
from locbench.slip.corrections import Checked, Reach, Told, told_by
from locbench.slip.effects import Constants, SlipEffect, constant_effects, freed, slip_effect
from locbench.slip.events import Candidate
from locbench.statistics import chi_square_quantile

__all__ = ["MARK_REACH", "TAG_REACH", "CorrectionSlip", "PoseChecks", "narrowed", "slips_by_corrections"]

# after a slip so many seconds of fixes tell of it, or so many fixes; of marks the next two
TAG_REACH, MARK_REACH = Reach(3.0, 4), Reach(0.0, 2)
_GRID_S = 0.1
_TESTS_PER_MINUTE = 60.0 / _GRID_S
# so much likelier the best must be than a candidate that is dropped
_ODDS = 100.0
# within these odds of the best time the slip may have begun
_WHEN = 4.0
# less than this is no slip that any shot would notice
_LEAST_M, _LEAST_RAD = 0.005, float(np.radians(1.0))
# What moves or turns the pose further is no small error any more: to first order nothing is known of it.
_MOST_MOVED_M, _MOST_TURNED_RAD = 0.5, 0.5
_ONE_SAYS = 0.7
# How many standard deviations the sizes told by checks and by sensors may differ, if they tell of one slip.
_CONSISTENT = 3.0
# a slip lasts no longer: what is found this near is the same one
_ONE_SLIP_S = 1.0
# after so long a filter has taken a slip back, or another check has told of it
_FORGOTTEN_S = 60.0


@dataclass(frozen=True)
class PoseChecks:
    """Checks of the pose and the sensors that may slip, K of them.

    `sensor` (K,) are their places in the layout, `response` (K, 3) what each does to the motion, `turns` (K,) which are
    gyros. `fewest` checks have to tell of a slip. `moving` (T,) are times at which the robot moves, `_GRID_S` apart.
    """

    checks: Checked
    reach: Reach
    fewest: int
    sensor: IntArray
    response: FloatArray
    turns: BoolArray
    moving: FloatArray
    constants: Constants

    @classmethod
    def of(
        cls, checks: Checked, reach: Reach, fewest: int, sensors: MotionSensors, response: FloatArray
    ) -> "PoseChecks":
        """Return the checks of a motion whose `sensors` do `response` (all K, 3) to it."""
        motion = checks.motion
        chosen = np.flatnonzero(np.any(np.abs(response) > 1e-9, axis=1))
        grid = np.arange(motion.time_s[0], motion.time_s[-1], _GRID_S)
        rolled = np.interp(grid, motion.time_s, motion.path_length_m + _GRID_S * motion.turning_rad)
        return cls(
            checks=checks,
            reach=reach,
            fewest=fewest,
            sensor=chosen,
            response=response[chosen],
            turns=sensors.layout.turns[chosen],
            moving=grid[:-1][np.diff(rolled) > _LEAST_M],
            constants=constant_effects(checks, sensors, response),
        )

    def twist_of(self, sensor: int) -> FloatArray:
        """Return (3,) what a sensor of the layout does to the motion; nothing, if no pose is computed from it."""
        place = np.flatnonzero(self.sensor == sensor)
        return np.asarray(self.response[place[0]] if len(place) else np.zeros(3))


@dataclass(frozen=True)
class CorrectionSlip:
    """Something slipped between two times; found with the check at `found_s`, candidates the likeliest first.

    At `since_s` a check still knew nothing of it.
    """

    since_s: float
    first_s: float
    last_s: float
    found_s: float
    candidates: tuple[Candidate, ...]
    confidence: float


def slips_by_corrections(pose: PoseChecks, per_minute: float) -> list[CorrectionSlip]:
    """Return the slips that checks of the pose tell, in order of time, with `per_minute` false alarms at most.

    One is looked for after the other, those found so far and what constants explain taken off.
    """
    kinds = len(pose.sensor)
    if not len(pose.checks.time_s) or not len(pose.moving) or not kinds:
        return []
    limit = chi_square_quantile(1.0 - per_minute / (_TESTS_PER_MINUTE * kinds), 1.0)
    places: list[int] = []
    effects: list[SlipEffect] = []
    is_open, everywhere = np.ones(len(pose.moving), dtype=bool), np.arange(len(pose.moving))
    squared, is_new = np.zeros((len(pose.moving), kinds)), True
    while is_new:
        # constants are told better with every slip that is known, so the whole log is looked at again
        squared, is_new = _scanned(pose, effects, everywhere).squared, False
        while (best := _likeliest(squared, is_open, limit)) is not None:
            places.append(best)
            kind = int(np.argmax(squared[best]))
            effects.append(slip_effect(pose.checks, float(pose.moving[best]), pose.response[kind]))
            is_open &= ~_same_slip(pose, best)
            near = _seeing_the_same(pose, effects[-1])
            squared[near], is_new = _scanned(pose, effects, near).squared, True
    return sorted(_refined(pose, places, effects, limit), key=lambda slip: slip.first_s)


def _refined(
    pose: PoseChecks, places: Sequence[int], effects: Sequence[SlipEffect], limit: float
) -> list[CorrectionSlip]:
    """Return the slips at some times, each told with the others taken off; what is then beyond no limit is none.

    What was found first did not know of the rest yet.
    """
    kept = list(range(len(places)))
    scans: dict[int, _Scan] = {}
    while True:
        for one in kept:
            if one not in scans:
                others = [effects[other] for other in kept if other != one]
                scans[one] = _scanned(pose, others, np.flatnonzero(_same_slip(pose, places[one])))
        weakest = min(kept, key=lambda one: float(np.max(scans[one].squared)), default=None)
        if weakest is None or float(np.max(scans[weakest].squared)) > limit:
            return [_slip_at(places[one], pose, scans[one]) for one in kept]
        kept.remove(weakest)
        # only what happened about then is told otherwise without it
        apart_s = np.abs(pose.moving[places] - pose.moving[places[weakest]])
        scans = {one: scan for one, scan in scans.items() if one in kept and apart_s[one] > _FORGOTTEN_S}


def _likeliest(squared: FloatArray, is_open: BoolArray, limit: float) -> int | None:
    """Return the time at which a slip is likeliest, of those that are still open; None if none is likely enough."""
    highest = np.where(is_open, np.max(squared, axis=1), 0.0)
    best = int(np.argmax(highest))
    return best if highest[best] > limit else None


def _seeing_the_same(pose: PoseChecks, effect: SlipEffect) -> IntArray:
    """Return the times of slips that some check sees together with this one."""
    times, last = pose.checks.time_s, len(pose.checks.time_s) - 1
    if not len(effect.seen):
        return np.zeros(0, dtype=np.int64)
    # a slip so long before, or so many checks before, is not looked for in these checks any more
    first_check = max(0, effect.first - pose.reach.fixes - 1)
    begin = min(times[first_check], times[effect.first] - pose.reach.seconds)
    end = times[min(effect.rows.stop, last)]
    return np.flatnonzero((pose.moving >= begin) & (pose.moving <= end))


@dataclass(frozen=True)
class _Scan:
    """What checks tell of a slip of each of K sensors at each of T times, `squared` (T, K) as chi-square."""

    told: Told
    squared: FloatArray
    scatter: float


def _scanned(pose: PoseChecks, slips: Sequence[SlipEffect], at: IntArray) -> _Scan:
    """Return what is left to tell at some of the times when constants and some slips are taken off."""
    rest, moving = freed(pose.checks, pose.constants, slips), pose.moving[at]
    told = told_by(rest, np.repeat(moving, len(pose.sensor)), np.tile(pose.response, (len(moving), 1)), pose.reach)
    scatter = _scatter(rest)
    return _Scan(told, _squared(pose, told, scatter), scatter)


def _squared(pose: PoseChecks, told: Told, scatter: float) -> FloatArray:
    """Return (T, K) the chi-square of a slip of each sensor at each time; 0 where it would be too small or few tell."""
    kinds = len(pose.sensor)
    least = np.tile(np.where(pose.turns, _LEAST_RAD, _LEAST_M), len(told.fixes) // kinds)
    size = np.abs(np.nan_to_num(told.size))
    moves = np.tile(np.linalg.norm(pose.response[:, :2], axis=1), len(told.fixes) // kinds)
    turns = np.tile(np.abs(pose.response[:, 2]), len(told.fixes) // kinds)
    small = (size * moves < _MOST_MOVED_M) & (size * turns < _MOST_TURNED_RAD)
    # where several checks have to tell, one wrong among them must not tell it all
    agreed = (pose.fewest == 1) | (told.most <= _ONE_SAYS * np.abs(told.score))
    counts = (told.fixes >= pose.fewest) & (size > least) & small & agreed
    return np.where(counts, told.squared / scatter, 0.0).reshape(-1, kinds)


def _same_slip(pose: PoseChecks, best: int) -> BoolArray:
    """Return (T,) which times a slip found at one of them also stands for."""
    following = np.searchsorted(pose.checks.time_s, pose.moving, side="right")
    near = np.abs(pose.moving - pose.moving[best]) <= _ONE_SLIP_S
    return np.asarray(near | (following == following[best]))


def _scatter(checks: Checked) -> float:
    """Return by how much more the innovations scatter than the filter believes, never less than 1."""
    squared = np.einsum("fi,fij,fj->f", checks.innovation, checks.weight, checks.innovation)
    size = np.sum(np.diagonal(checks.weight, axis1=1, axis2=2) != 0.0, axis=1)
    used = size > 0
    if np.sum(used) < 5:
        return 1.0
    usual = np.array([chi_square_quantile(0.5, float(count)) for count in size[used]])
    return max(1.0, float(np.median(squared[used] / usual)))


def _slip_at(best: int, pose: PoseChecks, scan: _Scan) -> CorrectionSlip:
    """Return the slip at one of the times, as the times around it tell it."""
    near = np.flatnonzero(_same_slip(pose, best))
    squared, told, moving = scan.squared, scan.told, pose.moving[near]
    highest = np.max(squared, axis=0)
    behind = 0.5 * (float(np.max(highest)) - highest)
    chosen = np.flatnonzero((behind <= np.log(_ODDS)) & (highest > 0.0))
    belief = np.exp(-behind[chosen])
    belief /= np.sum(belief)
    when = np.flatnonzero(np.max(squared, axis=1) >= float(np.max(highest)) - _WHEN)
    kinds = len(pose.sensor)
    candidates = []
    for kind, share in sorted(zip(chosen, belief, strict=True), key=lambda pair: -round(float(pair[1]), 6)):
        row = int(np.argmax(squared[:, kind])) * kinds + kind
        std = float(np.sqrt(scan.scatter / told.information[row]))
        candidates.append(Candidate(int(pose.sensor[kind]), -float(told.size[row]), std, float(share)))
    times = pose.checks.time_s
    later = min(int(np.searchsorted(times, pose.moving[best], side="right")) + pose.fewest - 1, len(times) - 1)
    chance = len(pose.moving) * kinds * float(np.exp(-0.5 * np.max(highest)))
    before = int(np.searchsorted(times, pose.moving[best], side="right")) - 1
    return CorrectionSlip(
        since_s=float(times[before]) if before >= 0 else float(pose.checks.motion.time_s[0]),
        first_s=float(moving[when[0]]),
        last_s=float(moving[when[-1]]),
        found_s=float(times[later]),
        candidates=tuple(candidates),
        confidence=1.0 - min(1.0, chance),
    )


def narrowed(
    candidates: Sequence[Candidate], time_s: float, pose: PoseChecks, others: Sequence[CorrectionSlip]
) -> tuple[Candidate, ...] | None:
    """Return the candidates of a slip that checks of the pose leave, the likeliest first; None if they leave all.

    Parameters
    ----------
    candidates
        Of a slip told by contradicting sensors, with what each would have lost.
    time_s
        When it slipped.
    pose
        The checks.
    others
        Slips that the checks tell at other times: they are taken off.

    Notes
    -----
    The best one must itself fit: the size that the checks tell must agree with the one that the sensors tell.
    """
    if len(candidates) < 2 or not len(pose.checks.time_s):
        return None
    effects = [
        slip_effect(pose.checks, (other.first_s + other.last_s) / 2.0, pose.twist_of(other.candidates[0].sensor))
        for other in others
    ]
    rest = freed(pose.checks, pose.constants, effects)
    scatter = _scatter(rest)
    twists = np.array([pose.twist_of(one.sensor) for one in candidates])
    told = told_by(rest, np.full(len(candidates), time_s), twists, pose.reach)
    if not np.all(told.fixes >= pose.fewest) or not np.any(told.information > 0.0):
        return None
    too_much = np.array([-one.lacks for one in candidates])
    own = np.array([one.std for one in candidates])
    favour = told.favour(too_much) / scatter
    favour = favour - np.max(favour)
    best = int(np.argmax(favour))
    if told.information[best] > 0.0:
        spread = np.hypot(own[best], np.sqrt(scatter / told.information[best]))
        if abs(told.size[best] - too_much[best]) > _CONSISTENT * spread:
            return None
    kept = np.flatnonzero(favour >= -np.log(_ODDS))
    if len(kept) == len(candidates):
        return None
    belief = np.exp(favour[kept])
    belief /= np.sum(belief)
    order = np.argsort(-belief, kind="stable")
    return tuple(replace(candidates[kept[one]], probability=float(belief[one])) for one in order)
