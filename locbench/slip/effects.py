"""What checks of the pose owe to what is known to be wrong: constants all through the log, and slips found already.

A worn wheel, a gyro's scale or its drift moves the believed pose a little at every step, a slip once. How, is known for
each; so their sizes are found by weighted least squares over all innovations of the log, and what they explain is taken
off before further slips are looked for.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from locbench.arrays import FloatArray
from locbench.odometry import MotionSensors, dead_reckon, transition
from locbench.slip.corrections import Checked, rotated_twist

__all__ = ["Constants", "SlipEffect", "constant_effects", "freed", "slip_effect"]

# How far off constants may be: wheels, a gyro's scale, and its drift. Common practice, no source.
_WHEEL_SHARE, _TURN_SHARE, _DRIFT_RAD_PER_S = 0.01, 0.005, 0.0005
# innovations beyond this chi-square tell of a slip or a wrong fix, and count as much less
_BEYOND = 12.0
_ROUNDS = 3
# a slip may be of any size
_ANY_SIZE = 10.0
# what the filter has taken back to this share is forgotten
_FORGOTTEN = 1e-4


@dataclass(frozen=True)
class Constants:
    """How F innovations follow C constants, `seen` (F, 3, C), and how far off each may be, `allowed` (C,)."""

    seen: FloatArray
    allowed: FloatArray


@dataclass(frozen=True)
class SlipEffect:
    """How innovations follow the size of one slip: `seen` (N, 3) from the check `first` on, then nothing any more."""

    first: int
    seen: FloatArray

    @property
    def rows(self) -> slice:
        """The checks that see it."""
        return slice(self.first, self.first + len(self.seen))


def constant_effects(checks: Checked, sensors: MotionSensors, response: FloatArray) -> Constants:
    """Return what wrong constants do to innovations.

    Parameters
    ----------
    checks
        What a Kalman filter made of the checks of a motion.
    sensors
        K sensors, read at the times of that motion.
    response
        (K, 3) what each does to the motion, from `sensor_response`.
    """
    acts, allowed = _what_constants_do(checks, sensors, response)
    return Constants(_seen_by_checks(checks, acts), allowed)


def slip_effect(checks: Checked, time_s: float, twist: FloatArray) -> SlipEffect:
    """Return what a slip at a time, of a size of 1, does to innovations; twist (3,) is what it adds to the motion."""
    believed = checks.believed(np.array([time_s]))[0]
    first = int(np.searchsorted(checks.time_s, time_s, side="right"))
    effect, place = rotated_twist(twist, float(believed[2])), believed[:2]
    begun = float(np.linalg.norm(effect))
    seen: list[FloatArray] = []
    for index in range(first, len(checks.time_s)):
        effect = transition(checks.pose[index, :2] - place) @ effect
        seen.append(-checks.slope[index] @ effect)
        effect = effect + checks.gain[index] @ seen[-1]
        place = checks.after[index, :2]
        if float(np.linalg.norm(effect)) < _FORGOTTEN * begun:
            break
    return SlipEffect(first, np.array(seen).reshape(-1, 3))


def freed(checks: Checked, constants: Constants, slips: Sequence[SlipEffect]) -> Checked:
    """Return checks whose innovations are freed of what constants and slips explain, fitted together."""
    innovation = checks.innovation
    rest = innovation
    for _ in range(_ROUNDS):
        squared = np.einsum("fi,fij,fj->f", rest, checks.weight, rest)
        share = np.minimum(1.0, _BEYOND / np.maximum(squared, 1e-12))
        weight = checks.weight * share[:, np.newaxis, np.newaxis]
        size = _fitted(innovation, weight, constants, slips)
        count = len(constants.allowed)
        rest = innovation - constants.seen @ size[:count]
        for slip, one in zip(slips, size[count:], strict=True):
            rest[slip.rows] -= one * slip.seen
    return replace(checks, innovation=rest)


def _fitted(
    innovation: FloatArray, weight: FloatArray, constants: Constants, slips: Sequence[SlipEffect]
) -> FloatArray:
    """Return the sizes (C + S,) of constants and slips by weighted least squares."""
    count = len(constants.allowed)
    allowed = np.append(constants.allowed, np.full(len(slips), _ANY_SIZE))
    normal, right = np.diag(allowed**-2.0), np.zeros(len(allowed))
    weighted = weight @ constants.seen
    normal[:count, :count] += np.einsum("fic,fid->cd", weighted, constants.seen, optimize=True)
    right[:count] = np.einsum("fic,fi->c", weighted, innovation, optimize=True)
    for one, slip in enumerate(slips):
        place = count + one
        seen = np.einsum("fij,fj->fi", weight[slip.rows], slip.seen)
        right[place] = np.sum(seen * innovation[slip.rows])
        normal[place, :count] = normal[:count, place] = np.einsum("fi,fic->c", seen, constants.seen[slip.rows])
        for two, other in enumerate(slips[: one + 1]):
            first, last = max(slip.first, other.first), min(slip.rows.stop, other.rows.stop)
            if first < last:
                mine, theirs = seen[first - slip.first : last - slip.first], other.seen[first - other.first :]
                shared = float(np.sum(mine * theirs[: last - first]))
                normal[place, count + two] += shared
                if two != one:
                    normal[count + two, place] += shared
    return np.asarray(np.linalg.solve(normal, right))


def _what_constants_do(checks: Checked, sensors: MotionSensors, response: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return (F, 3, C) what C constants add to the believed pose from check to check, and how far off they may be."""
    motion = checks.motion
    reckoned = dead_reckon(motion, np.zeros(3))
    step = np.diff(sensors.reading, axis=0, prepend=sensors.reading[:1])
    turns = sensors.layout.turns
    amounts = [step, motion.duration_s[:, np.newaxis]] if np.any(turns) else [step]
    gains = np.vstack([response, response[turns]])
    allowed = np.where(turns, _TURN_SHARE, _WHEEL_SHARE)
    allowed = np.append(allowed, _DRIFT_RAD_PER_S) if np.any(turns) else allowed
    cosine, sine = np.cos(reckoned[:, 2, np.newaxis]), np.sin(reckoned[:, 2, np.newaxis])
    amount = np.hstack(amounts)
    forward, left, turn = (amount * gains[: amount.shape[1], axis] for axis in range(3))
    x, y = reckoned[:, 0, np.newaxis], reckoned[:, 1, np.newaxis]
    times = np.concatenate([motion.time_s[:1], checks.time_s])

    def at_checks(values: FloatArray) -> FloatArray:
        # between two rows motion divides as time does
        return np.column_stack([np.interp(times, motion.time_s, column) for column in values.T])

    def between_checks(values: FloatArray) -> FloatArray:
        return np.diff(at_checks(np.cumsum(values, axis=0)), axis=0)

    # one after the other: hours of log have a million rows
    dx = between_checks(cosine * forward - sine * left)
    dy = between_checks(sine * forward + cosine * left)
    dturn, turn_x, turn_y = between_checks(turn), between_checks(turn * x), between_checks(turn * y)
    place = at_checks(reckoned)
    end_x, end_y = place[1:, 0, np.newaxis], place[1:, 1, np.newaxis]
    moved_x = dx - (end_y * dturn - turn_y)
    moved_y = dy + (end_x * dturn - turn_x)
    # dead reckoning and belief differ by a turn, the same all the way to the next check
    apart = (checks.pose[:, 2] - place[1:, 2])[:, np.newaxis]
    turned_x = np.cos(apart) * moved_x - np.sin(apart) * moved_y
    turned_y = np.sin(apart) * moved_x + np.cos(apart) * moved_y
    return np.stack([turned_x, turned_y, dturn], axis=1), allowed


def _seen_by_checks(checks: Checked, acts: FloatArray) -> FloatArray:
    """Return (F, 3, C) how innovations follow the constants, what the filter takes back considered."""
    seen = np.zeros_like(acts)
    effect = np.zeros(acts.shape[1:])
    place = checks.start[:2]
    for index in range(len(acts)):
        effect = transition(checks.pose[index, :2] - place) @ effect + acts[index]
        seen[index] = -checks.slope[index] @ effect
        effect = effect + checks.gain[index] @ seen[index]
        place = checks.after[index, :2]
    return seen
