"""Slips told by the corrections that tags or marks make afterwards.

A sensor that misses travel moves the believed pose; every later check of the pose sees that, until the filter has taken
it back. For each time and each sensor it is known how: so the innovations of a Kalman filter tell how much was missed,
and how much likelier they are with that slip than without (Willsky and Jones, "A generalized likelihood ratio approach
to the detection and estimation of jumps in linear systems", IEEE Trans. Automatic Control 21(1) 1976, 108-112).
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray, IntArray
from locbench.config import MotionNoise
from locbench.geometry import compose
from locbench.odometry import Motion, SensorLayout, rotated, transition
from locbench.session import StartPose
from locbench.slip.pose_fixes import PoseFix

__all__ = ["Checked", "Reach", "Told", "checked", "noise_by_sensors", "rotated_twist", "told_by"]

# beyond this normalised innovation squared a lone fix is wrong, whatever slipped
_ABSURD = 400.0


@dataclass(frozen=True)
class Reach:
    """For how long after a slip checks tell of it: so many seconds, and at least so many checks."""

    seconds: float
    fixes: int


@dataclass(frozen=True)
class Checked:
    """What a Kalman filter made of the F checks of a motion.

    `pose` (F, 3) is believed just before each, `after` (F, 3) just after. Per check: slope H (D, 3), gain K (3, D),
    inverse of the innovation's covariance, and the innovation (D,); filled up with zeros to D = 3, which changes
    nothing.
    """

    motion: Motion
    time_s: FloatArray
    pose: FloatArray
    after: FloatArray
    slope: FloatArray
    gain: FloatArray
    weight: FloatArray
    innovation: FloatArray
    start: FloatArray

    def believed(self, time_s: FloatArray) -> FloatArray:
        """Return (H, 3) the pose believed at times, from the last check before."""
        if not len(self.time_s):
            begin = np.full(len(time_s), self.motion.time_s[0])
            return np.asarray(compose(self.start, self.motion.lookup.legs(begin, time_s).displacement))
        last = np.searchsorted(self.time_s, time_s, side="right") - 1
        since = np.where(last >= 0, self.time_s[np.maximum(last, 0)], self.motion.time_s[0])
        known = np.where((last >= 0)[:, np.newaxis], self.after[np.maximum(last, 0)], self.start)
        return np.asarray(compose(known, self.motion.lookup.legs(since, time_s).displacement))


@dataclass(frozen=True)
class Told:
    """Per hypothesis (H,): `information` about its size, `score`, how many checks told, and the most that one said.

    The likeliest size is score / information; it makes the checks likelier by exp(score^2 / information / 2).
    """

    information: FloatArray
    score: FloatArray
    fixes: IntArray
    most: FloatArray

    @property
    def size(self) -> FloatArray:
        """(H,) the likeliest size; NaN where nothing told."""
        known = self.information > 0.0
        return np.where(known, self.score / np.where(known, self.information, 1.0), np.nan)

    @property
    def squared(self) -> FloatArray:
        """(H,) twice the logarithm of the likelihood ratio: chi-square with one degree of freedom by chance."""
        known = self.information > 0.0
        return np.where(known, self.score**2 / np.where(known, self.information, 1.0), 0.0)

    def favour(self, size: FloatArray) -> FloatArray:
        """Return (H,) the logarithm of the likelihood ratio of slips of a given size (H,) over none."""
        return np.asarray(size * self.score - 0.5 * size**2 * self.information)


def noise_by_sensors(
    noise: MotionNoise, layout: SensorLayout, response: FloatArray, noise_factor: float
) -> MotionNoise:
    """Return motion noise that is at least what the sensors' own noise makes of the pose.

    A heading from two pods close together wanders more than most robot files admit, and would be full of slips.

    Parameters
    ----------
    noise
        As the robot file has it.
    layout
        K sensors and their noise.
    response
        (K, 3) what each does to the motion, from `sensor_response`.
    noise_factor
        By how much more than that the log scatters.
    """
    rolling = ~layout.turns
    variance = (noise_factor * response[rolling]) ** 2 * layout.per_travel[rolling, np.newaxis]
    row = layout.row[rolling]
    # a metre of driving rolls a wheel by its part of it, a turn by the circle that its lever arm describes
    per_metre = np.sqrt(np.linalg.norm(row[:, :2], axis=1) @ variance)
    per_turn = float(np.sqrt(2.0 * np.pi * np.abs(row[:, 2]) @ variance[:, 2]))
    return noise.model_copy(
        update={
            "along_per_metre": max(noise.along_per_metre, float(per_metre[0])),
            "across_per_metre": max(noise.across_per_metre, float(per_metre[1])),
            "heading_per_metre": max(noise.heading_per_metre, float(per_metre[2])),
            "heading_per_turn": max(noise.heading_per_turn, per_turn),
        }
    )


def checked(motion: Motion, start: StartPose, fixes: Sequence[PoseFix], noise: MotionNoise) -> Checked:
    """Return what a Kalman filter makes of checks, from the start of a motion.

    Parameters
    ----------
    motion
        Odometry of one stretch.
    start
        Pose and covariance at its beginning.
    fixes
        In order of time, inside the motion.
    noise
        Of the odometry where nothing slips.
    """
    undoubted = noise.model_copy(update={"doubted_factor": 1.0})
    time_s = np.array([fix.time_s for fix in fixes])
    legs = motion.lookup.legs(np.concatenate([motion.time_s[:1], time_s])[:-1], time_s)
    added = legs.covariance(undoubted)
    count = len(fixes)
    pose, after, innovation = np.zeros((count, 3)), np.zeros((count, 3)), np.zeros((count, 3))
    slope, gain, weight = np.zeros((count, 3, 3)), np.zeros((count, 3, 3)), np.zeros((count, 3, 3))
    mean, covariance = start.pose.astype(float), start.covariance.astype(float)
    for index, fix in enumerate(fixes):
        carried = compose(mean, legs.displacement[index])
        step = transition((carried - mean)[:2])
        covariance = step @ covariance @ step.T + rotated(added[index], mean[2])
        mean = pose[index] = carried
        one = fix.measurement
        h = one.jacobian(mean)
        rest = one.residual(one.value, one.predict(mean))
        inverse = np.linalg.inv(h @ covariance @ h.T + one.covariance)
        if float(rest @ inverse @ rest) <= _ABSURD:
            size = len(rest)
            k = covariance @ h.T @ inverse
            slope[index, :size], gain[index, :, :size], weight[index, :size, :size] = h, k, inverse
            innovation[index, :size] = rest
            mean = mean + k @ rest
            covariance = (np.eye(3) - k @ h) @ covariance
            covariance = (covariance + covariance.T) / 2.0
        after[index] = mean
    return Checked(motion, time_s, pose, after, slope, gain, weight, innovation, start.pose.astype(float))


def told_by(checks: Checked, time_s: FloatArray, twist: FloatArray, reach: Reach) -> Told:
    """Return what the checks after each of H hypotheses tell.

    Parameters
    ----------
    checks
        From `checked`.
    time_s
        (H,) when something slips, in order.
    twist
        (H, 3) what it adds to the believed motion, robot frame, per unit of the slip's size.
    reach
        How long the checks after it count.
    """
    believed = checks.believed(time_s)
    effect = rotated_twist(twist, believed[:, 2])
    information, score, most = (np.zeros(len(time_s)) for _ in range(3))
    fixes = np.zeros(len(time_s), dtype=np.int64)
    next_fix = np.searchsorted(checks.time_s, time_s, side="right")
    place = believed[:, :2].copy()
    first = 0
    for index in range(int(next_fix[0]) if len(next_fix) else 0, len(checks.time_s)):
        if first == len(time_s):
            break
        while first < len(time_s) and _is_over(index, time_s[first], next_fix[first], checks, reach):
            first += 1
        last = int(np.searchsorted(next_fix, index, side="right"))
        active = slice(first, last)
        if first >= last:
            continue
        moved = transition(checks.pose[index, :2] - place[active])
        mine = np.einsum("hij,hj->hi", moved, effect[active])
        # what the sensor read too much is what the check says too little
        seen = -mine @ checks.slope[index].T
        information[active] += np.sum(seen @ checks.weight[index] * seen, axis=1)
        said = seen @ checks.weight[index] @ checks.innovation[index]
        score[active] += said
        most[active] = np.maximum(most[active], np.abs(said))
        fixes[active] += int(np.any(checks.weight[index]))
        effect[active] = mine + seen @ checks.gain[index].T
        place[active] = checks.after[index, :2]
    return Told(information, score, fixes, most)


def _is_over(index: int, time_s: float, next_fix: int, checks: Checked, reach: Reach) -> bool:
    return checks.time_s[index] > time_s + reach.seconds and index >= next_fix + reach.fixes


def rotated_twist(twist: FloatArray, heading_rad: FloatArray | float) -> FloatArray:
    """Return small motions (..., 3), robot frame, as changes of the pose at headings (...)."""
    cosine, sine = np.cos(heading_rad), np.sin(heading_rad)
    forward, left, turn = twist[..., 0], twist[..., 1], twist[..., 2]
    return np.stack([cosine * forward - sine * left, sine * forward + cosine * left, turn], axis=-1)
