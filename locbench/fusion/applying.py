"""What a detection does to the state of a node, compiled: its noise, its difference, its correction or reset."""

from typing import Any

import numpy as np

from locbench.arrays import FloatArray
from locbench.fusion.compiling import compiled
from locbench.fusion.model import (
    Difference,
    Innovation3,
    Spread,
    State,
    Triple,
    corrected,
    innovation,
    kalman_corrected,
    kalman_gain,
    pose_innovation,
    replaced,
)
from locbench.fusion.rows import Row
from locbench.fusion.settings import FIXED_GAIN, KALMAN, NO_CORRECTION, REPLACE
from locbench.fusion.views import BEARING, ROBOT_POSE, TAG_POSE, fix_difference, fix_noise, tag_difference, tag_noise

__all__ = [
    "APPLIED",
    "RESET",
    "apply_again",
    "compared",
    "counting",
    "difference_to",
    "noise_of_value",
    "put_spread",
    "put_state",
    "spread_of",
    "state_of",
]

# how a detection is applied at a node; 0 is not at all
APPLIED, RESET = 1, 2


@compiled
def spread_of(numbers: FloatArray) -> Spread:
    """Return six numbers as a covariance."""
    return Spread(numbers[0], numbers[1], numbers[2], numbers[3], numbers[4], numbers[5])


@compiled
def put_spread(numbers: FloatArray, spread: Spread) -> None:
    """Write a covariance into six numbers."""
    numbers[0], numbers[1], numbers[2] = spread.xx, spread.xy, spread.yy
    numbers[3], numbers[4], numbers[5] = spread.xt, spread.yt, spread.tt


@compiled
def state_of(node: Row) -> State:
    """Return the state that a node holds."""
    return State(node.x, node.y, node.theta, node.cosine, node.sine, spread_of(node.spread))


@compiled
def put_state(node: Row, state: State) -> None:
    """Write a state into a node."""
    node.x, node.y, node.theta = state.x, state.y, state.theta
    node.cosine, node.sine = state.cosine, state.sine
    put_spread(node.spread, state.spread)


@compiled
def _as_fix(view: Row, setting: Row) -> bool:
    """Return whether tag poses are taken as the robot poses they mean."""
    return bool(view.kind == TAG_POSE and (setting.mode == REPLACE or setting.mode == FIXED_GAIN))


@compiled
def counting(components: int, view: Row, setting: Row) -> int:
    """Return how many components of a value or fix count."""
    return components if setting.use_heading or view.kind > TAG_POSE else min(components, 2)


@compiled
def noise_of_value(view: Row, detail: Row, node: Row, setting: Row) -> Spread:
    """Return the covariance of what a candidate takes a detection for; of a bearing without a range the node's."""
    count = counting(view.components, view, setting)
    if _as_fix(view, setting):
        return fix_noise(view, detail, setting, count)
    noise = tag_noise(view, detail, setting, count)
    if view.kind == BEARING and np.isnan(noise.xx):
        return Spread(node.bearing_variance, 0.0, 1.0, 0.0, 0.0, 1.0)
    return noise


@compiled
def difference_to(view: Row, detail: Row, state: State, setting: Row) -> Difference:
    """Return what a candidate takes a detection for, beside a state."""
    count = counting(view.components, view, setting)
    if _as_fix(view, setting):
        return fix_difference(detail.fix, count, state)
    return tag_difference(view, detail, count, state)


@compiled
def compared(view: Row, difference: Difference, p: Spread, noise: Spread, count: int, setting: Row) -> Innovation3:
    """Return the innovation of a difference beside a state of covariance P."""
    if view.kind == ROBOT_POSE or _as_fix(view, setting):
        return pose_innovation(difference.residual, count, p, noise)
    return innovation(difference, p, noise)


@compiled
def _pose_gain(place: float, turn: float, count: int) -> tuple[Triple, Triple, Triple]:
    return (place, 0.0, 0.0), (0.0, place, 0.0), (0.0, 0.0, turn if count == 3 else 0.0)


@compiled
def _apply(
    node: Row, difference: Difference, found: Innovation3, noise: Spread, count: int, setting: Row
) -> tuple[Triple, Triple, Triple]:
    """Apply what belongs to a node to its state, and return the gain."""
    state = state_of(node)
    if node.applied == APPLIED and setting.mode == KALMAN:
        put_state(node, kalman_corrected(state, found))
        return kalman_gain(found)
    if node.applied == APPLIED and setting.mode == FIXED_GAIN:
        gain = _pose_gain(setting.position_gain, setting.heading_gain, count)
        put_state(node, corrected(state, difference, gain, noise))
        return gain
    put_state(node, replaced(state, difference.residual, count, noise))
    return _pose_gain(1.0, 1.0, count)


@compiled
def _note_step(
    step: Row,
    rank: int,
    cause: int,
    heading: float,
    gain: tuple[Triple, Triple, Triple],
    difference: Difference,
    noise: Spread,
    count: int,
) -> None:
    """Write down a correction that is computed because of arrival number `cause`."""
    step.arrival, step.rank, step.heading = cause, rank, heading
    slopes = (difference.first, difference.second, difference.third)
    for row in range(3):
        for column in range(3):
            step.gain[row, column] = gain[row][column]
            step.slope[row, column] = slopes[row][column]
    put_spread(step.spread, noise)
    if count < 3:
        step.spread[5] = 0.0
    if count < 2:
        step.spread[2] = 0.0


@compiled
def apply_again(
    view: Row, detail: Row, node: Row, setting: Row, steps: Any, memory: Row, rank: int, cause: int
) -> None:
    """Apply what belongs to a node to the state there, whatever it was before."""
    if setting.mode == NO_CORRECTION:
        return
    state = state_of(node)
    if node.applied == RESET:
        count = counting(detail.fix_components, view, setting)
        noise, difference = fix_noise(view, detail, setting, count), fix_difference(detail.fix, count, state)
    else:
        count = counting(view.components, view, setting)
        noise, difference = noise_of_value(view, detail, node, setting), difference_to(view, detail, state, setting)
    found = compared(view, difference, state.spread, noise, count, setting)
    gain = _apply(node, difference, found, noise, count, setting)
    if memory.steps < len(steps):
        _note_step(steps[memory.steps], rank, cause, node.theta, gain, difference, noise, count)
    memory.steps += 1
