"""Draws a run again and again under an estimator's own model: what its errors would look like if it were honest.

An ensemble of errors is carried along the replay: predicted, e becomes F e + w with w drawn from the motion noise;
corrected, (I - K H) e + K v with v drawn from the tag noise, with the gains of this very replay. A late detection
runs the ensemble again from its capture, as it does the belief. So the draws have the covariance that the estimator
claims at every time, and the correlation between times that it implies.

The body increments are the same in every belief, so each belief's way is the dead-reckoned one turned about: motion
noise is drawn in the dead-reckoned frame, once per span between two events, and turned with the belief.
"""

import math
from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import MotionNoise
from locbench.fusion.estimators import Estimate
from locbench.fusion.steps import CorrectionSteps
from locbench.geometry import compose
from locbench.odometry import Motion
from locbench.odometry.reckoning import rotated

__all__ = ["REDRAWS", "redrawn_errors"]

REDRAWS = 200
_SEED = 20


def redrawn_errors(estimate: Estimate, motion: Motion, times_s: FloatArray, draws: int = REDRAWS) -> FloatArray:
    """Return errors (T, draws, 3) of the published pose at times, drawn under the estimator's own model.

    Parameters
    ----------
    estimate
        Published with a covariance: dead reckoning or a filter.
    motion
        The odometry of the stretch.
    times_s
        (T,) increasing, inside the stretch.
    draws
        How many; the same ones each time.

    Notes
    -----
    First order in the errors, as the filters are; of the unscented filter the linearised gains are taken. A gate is not
    applied to the draws: it would refuse few of them.
    """
    steps = estimate.steps
    applied_s = steps.time_s if steps is not None else np.zeros(0)
    events = np.unique(np.concatenate([motion.time_s[:1], applied_s, times_s]))
    spans = _spans(motion, estimate.noise, estimate.track.pose[0], events)
    ensemble = _Ensemble(spans, steps, _square_root(estimate.track.covariance[0]), draws)
    errors = np.empty((len(times_s), draws, 3))
    for number, event in enumerate(np.searchsorted(events, times_s)):
        errors[number] = ensemble.published(int(event))
    return errors


@dataclass(frozen=True)
class _Spans:
    """Dead-reckoned poses (E, 3) at events, and square roots (E, 3, 3) of the noise since the event before."""

    time_s: FloatArray
    pose: FloatArray
    noise_root: FloatArray


def _spans(motion: Motion, noise: MotionNoise, start: FloatArray, events: FloatArray) -> _Spans:
    """Return dead reckoning at the events; between odometry samples motion divides as time does."""
    way = motion.lookup.legs(np.broadcast_to(events[:1], events.shape), events)
    pose = compose(start, way.displacement)
    added = np.zeros((len(events), 3, 3))
    added[1:] = rotated(motion.lookup.legs(events[:-1], events[1:]).covariance(noise), pose[:-1, 2])
    return _Spans(events, pose, _square_root(added))


def _square_root(covariance: FloatArray) -> FloatArray:
    """Return L (..., 3, 3) with L L' = covariance; standing still adds no position noise, so it may be singular."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.maximum(values, 0.0))[..., np.newaxis, :])


@dataclass(frozen=True)
class _Node:
    """The ensemble (draws, 3) just after a correction, or at the start; `turn_rad` turns the dead-reckoned way."""

    key: tuple[float, int]
    event: int
    turn_rad: float
    errors: FloatArray


class _Ensemble:
    """Errors in capture order, as the beliefs of a replay stand in it."""

    def __init__(self, spans: _Spans, steps: CorrectionSteps | None, start_root: FloatArray, draws: int) -> None:
        self._spans, self._steps, self._draws = spans, steps, draws
        self._bits = np.random.Philox(key=_SEED)
        self._state, self._numbers = self._bits.state, np.random.Generator(self._bits)
        self._way = np.diff(spans.pose[:, :2], axis=0).tolist()
        start = self._normal(0, 0) @ start_root.T
        self._chain = [_Node((-np.inf, 0), 0, 0.0, start)]
        self._done = 0
        # where what is published stands while no correction arrives: the event, and the ensemble there
        self._newest = (0, start)
        if steps is not None:
            self._event = np.searchsorted(spans.time_s, steps.time_s)
            self._turn_rad = (steps.heading_rad - spans.pose[self._event, 2]).tolist()
            # transposed, as each draw is a row
            self._kept = np.swapaxes(np.eye(3) - steps.gain @ steps.slope, 1, 2)
            self._added = np.swapaxes(steps.gain @ _square_root(steps.covariance), 1, 2)
            # nothing captured before is touched by this or a later step
            self._reach_s = np.minimum.accumulate(steps.time_s[::-1])[::-1]

    def published(self, event: int) -> FloatArray:
        """Return the errors (draws, 3) of the pose published at an event; events must not go back."""
        while self._steps is not None and self._done < len(self._steps):
            if self._steps.arrived_s[self._done] > self._spans.time_s[event]:
                break
            self._apply(self._steps, self._done)
            self._done += 1
        newest, errors = self._newest
        self._newest = event, self._advanced(errors, newest, event, self._chain[-1].turn_rad)
        return self._newest[1]

    def _apply(self, steps: CorrectionSteps, number: int) -> None:
        key, event = (float(steps.time_s[number]), int(steps.row[number])), int(self._event[number])
        while self._chain[-1].key >= key:
            self._chain.pop()
        while len(self._chain) > 1 and self._chain[1].key[0] < self._reach_s[number]:
            del self._chain[0]
        before = self._chain[-1]
        errors = self._advanced(before.errors, before.event, event, before.turn_rad)
        errors = errors @ self._kept[number] + self._normal(1, key[1]) @ self._added[number]
        self._chain.append(_Node(key, event, self._turn_rad[number], errors))
        self._newest = event, errors

    def _advanced(self, errors: FloatArray, first: int, last: int, turn_rad: float) -> FloatArray:
        """Return the errors carried from one event to a later one."""
        cosine, sine = math.cos(turn_rad), math.sin(turn_rad)
        # transposed, as each draw is a row
        turn = np.array([[cosine, sine, 0.0], [-sine, cosine, 0.0], [0.0, 0.0, 1.0]])
        carry = np.eye(3)
        for event in range(first, last):
            x, y = self._way[event]
            carry[2, 0], carry[2, 1] = -(sine * x + cosine * y), cosine * x - sine * y
            errors = errors @ carry + self._normal(2, event) @ (self._spans.noise_root[event + 1].T @ turn)
        return errors

    def _normal(self, cause: int, number: int) -> FloatArray:
        """Return standard normal numbers (draws, 3) that depend only on the cause and its number."""
        # set to its place in the same stream: to make a generator takes longer than to draw from it
        self._state["state"]["counter"][2:] = number, cause
        self._bits.state = self._state
        return self._numbers.standard_normal((self._draws, 3))
