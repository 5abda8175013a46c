"""What the compiled replay needs of each detection, and its measurement models: `locbench.vision` on plain numbers."""

import math
from typing import Any, NamedTuple

import numpy as np

from locbench.arrays import FloatArray, IntArray
from locbench.fusion.compiling import compiled
from locbench.fusion.model import Difference, Spread, State, Triple, propagated, wrapped
from locbench.fusion.rows import Row
from locbench.session import TagKind

__all__ = [
    "BEARING",
    "DETAIL",
    "KINDS",
    "ROBOT_POSE",
    "TAG_POSE",
    "VIEW",
    "Views",
    "believed_bearing_variance",
    "fix_difference",
    "fix_noise",
    "tag_difference",
    "tag_noise",
]

KINDS = (TagKind.ROBOT_POSE, TagKind.TAG_POSE, TagKind.RANGE_BEARING, TagKind.BEARING, TagKind.RANGE)
ROBOT_POSE, TAG_POSE, RANGE_BEARING, BEARING, RANGE = range(5)

# as in locbench.vision: nearer than this directions and offsets sideways have no bounds
_NEAREST_M = 1e-9
_NEAREST_OFFSET_M = 0.010


# what every candidate looks at: two lines of the processor's memory per detection
VIEW = np.dtype(
    [
        ("kind", np.int64),
        ("components", np.int64),
        ("value", float, (3,)),
        ("line", float, (2,)),
        ("distance", float),
        ("sine_squared", float),
        ("age", float),
        ("range", float),
        ("view_angle", float),
        ("reprojection_ratio", float),
        ("tag_count", float),
        ("turn_rate", float),
        ("speed", float),
    ],
    align=True,
)
# what some kinds and some candidates need besides
DETAIL = np.dtype(
    [
        ("own", float, (6,)),
        ("fix", float, (3,)),
        ("fix_components", np.int64),
        ("fix_own", float, (6,)),
        ("slope", float, (3, 3)),
        ("tag", float, (3,)),
        ("place", float, (2,)),
        ("rise", float),
        ("slant", bool),
        ("turn", float, (3, 3)),
    ],
    align=True,
)


class Views(NamedTuple):
    """Detections in order of arrival.

    Attributes
    ----------
    rows
        (M,) of `VIEW`. `value` is filled up to three components, of which `components` count. `line` is the direction
        of sight in the value's frame; `distance` and `sine_squared` of the view angle are what noise grows with. The
        rest is what rules look at.
    details
        (M,) of `DETAIL`. `own` is a covariance, NaN where the log has none; `fix`, of which `fix_components` count, and
        `fix_own` are the robot pose that the detection means, `slope` its derivative by the value. `rise`, `place` and
        `turn` are the camera's, `tag` is x, y, facing.
    tags
        (M, K) places of its tags in `Settings.excluded`, the last of which stands for no tag.
    """

    rows: Any
    details: Any
    tags: IntArray


@compiled
def _known(own: FloatArray, model: Spread, factor: float) -> Spread:
    """Return the log's own covariance (6,) times a factor, and the model's where it has none."""
    return Spread(
        own[0] * factor if np.isfinite(own[0]) else model.xx,
        own[1] * factor if np.isfinite(own[1]) else model.xy,
        own[2] * factor if np.isfinite(own[2]) else model.yy,
        own[3] * factor if np.isfinite(own[3]) else model.xt,
        own[4] * factor if np.isfinite(own[4]) else model.yt,
        own[5] * factor if np.isfinite(own[5]) else model.tt,
    )


@compiled
def _filled_up(r: Spread, size: int) -> Spread:
    if size == 3:
        return r
    if size == 2:
        return Spread(r.xx, r.xy, r.yy, 0.0, 0.0, 1.0)
    return Spread(r.xx, 0.0, 1.0, 0.0, 0.0, 1.0)


@compiled
def _bearing_variance(distance: float, growth: float, setting: Row) -> float:
    # written so that a distance that is not known stays so
    nearest = _NEAREST_OFFSET_M if distance < _NEAREST_OFFSET_M else distance
    return float(growth * growth * (setting.bearing_floor + setting.bearing_offset / (nearest * nearest)))


@compiled
def tag_noise(view: Row, detail: Row, setting: Row, size: int) -> Spread:
    """Return the covariance of a detection's value (`vision.noise`); NaN for a bearing without a range."""
    growth = 1.0 + setting.view_angle_growth * view.sine_squared
    scale, distance = growth * growth, view.distance
    squared = distance * distance
    xy = 0.0
    if view.kind <= TAG_POSE:
        if view.kind == ROBOT_POSE and view.tag_count > 1.0:
            scale *= setting.correlation + (1.0 - setting.correlation) / view.tag_count
        along = scale * (setting.along_floor + setting.along_at_one_metre * squared * squared)
        across = scale * (setting.across_floor + setting.across_at_one_metre * squared)
        cosine, sine = view.line[0], view.line[1]
        xx = along * cosine * cosine + across * sine * sine
        xy = (along - across) * cosine * sine
        yy = along * sine * sine + across * cosine * cosine
        tt = scale * (setting.heading_floor + setting.heading_at_one_metre * squared)
    elif view.kind == BEARING:
        xx, yy, tt = _bearing_variance(distance, growth, setting), 1.0, 1.0
    else:
        by_image = setting.range_floor + setting.range_at_one_metre * squared * squared
        xx, yy, tt = scale * (by_image + setting.range_per_metre * squared), 1.0, 1.0
        if view.kind == RANGE_BEARING:
            yy = _bearing_variance(distance, growth, setting)
    model = Spread(xx, xy, yy, 0.0, 0.0, tt)
    return _filled_up(_known(detail.own, model, setting.own_factor) if setting.own_factor > 0.0 else model, size)


@compiled
def fix_noise(view: Row, detail: Row, setting: Row, size: int) -> Spread:
    """Return the covariance of the robot pose that a detection means."""
    own = detail.fix_own
    if np.isfinite(own[0]):
        return _filled_up(Spread(own[0], own[1], own[2], own[3], own[4], own[5]), size)
    r = tag_noise(view, detail, setting, view.components)
    if view.kind == ROBOT_POSE:
        return _filled_up(r, size)
    j = detail.slope
    rows = ((j[0, 0], j[0, 1], j[0, 2]), (j[1, 0], j[1, 1], j[1, 2]), (j[2, 0], j[2, 1], j[2, 2]))
    return _filled_up(propagated(rows, r), size)


@compiled
def fix_difference(fix: FloatArray, size: int, state: State) -> Difference:
    """Return a robot pose (3,), or its position alone, beside a state."""
    counts = 1.0 if size == 3 else 0.0
    turn = wrapped(fix[2] - state.theta) if size == 3 else 0.0
    residual = (fix[0] - state.x, fix[1] - state.y, turn)
    return Difference(residual, (1.0, 0.0, 0.0), (0.0, 1.0, 0.0), (0.0, 0.0, counts))


@compiled
def _nothing() -> Triple:
    return (0.0, 0.0, 0.0)


@compiled
def _towards(detail: Row, state: State) -> tuple[float, float, float, float]:
    """Return the tag on the robot's axes, and the cosine and sine of the robot's heading."""
    cosine, sine = state.cosine, state.sine
    dx, dy = detail.tag[0] - state.x, detail.tag[1] - state.y
    return cosine * dx + sine * dy, -sine * dx + cosine * dy, cosine, sine


@compiled
def _range_difference(view: Row, detail: Row, state: State) -> tuple[float, Triple]:
    forward, left, cosine, sine = _towards(detail, state)
    ahead, aside = forward - detail.place[0], left - detail.place[1]
    rise = detail.rise if detail.slant else 0.0
    distance = np.sqrt(ahead * ahead + aside * aside + rise * rise)
    nearest = max(distance, _NEAREST_M)
    slope = (
        (-ahead * cosine + aside * sine) / nearest,
        (-ahead * sine - aside * cosine) / nearest,
        (ahead * left - aside * forward) / nearest,
    )
    return view.value[0] - distance, slope


@compiled
def _bearing_difference(detail: Row, state: State, measured: float) -> tuple[float, Triple]:
    forward, left, cosine, sine = _towards(detail, state)
    ahead, aside, rise = forward - detail.place[0], left - detail.place[1], detail.rise
    turn = detail.turn
    u = turn[0, 0] * ahead + turn[1, 0] * aside + turn[2, 0] * rise
    v = turn[0, 1] * ahead + turn[1, 1] * aside + turn[2, 1] * rise
    squared = max(u * u + v * v, _NEAREST_M * _NEAREST_M)
    # how the bearing moves with the tag's place on the robot, forward and left; that moves with x, y, theta
    by_forward = (u * turn[0, 1] - v * turn[0, 0]) / squared
    by_left = (u * turn[1, 1] - v * turn[1, 0]) / squared
    slope = (
        -cosine * by_forward + sine * by_left,
        -sine * by_forward - cosine * by_left,
        left * by_forward - forward * by_left,
    )
    return wrapped(measured - math.atan2(v, u)), slope


@compiled
def tag_difference(view: Row, detail: Row, size: int, state: State) -> Difference:
    """Return a detection's value beside a state (`vision.measurement`)."""
    if view.kind == ROBOT_POSE:
        return fix_difference(view.value, size, state)
    if view.kind == TAG_POSE:
        forward, left, cosine, sine = _towards(detail, state)
        residual = (view.value[0] - forward, view.value[1] - left, 0.0)
        third = _nothing()
        if size == 3:
            residual = (residual[0], residual[1], wrapped(view.value[2] - detail.tag[2] + state.theta))
            third = (0.0, 0.0, -1.0)
        return Difference(residual, (-cosine, -sine, left), (sine, -cosine, -forward), third)
    if view.kind == RANGE:
        off, slope = _range_difference(view, detail, state)
        return Difference((off, 0.0, 0.0), slope, _nothing(), _nothing())
    if view.kind == BEARING:
        off, slope = _bearing_difference(detail, state, view.value[0])
        return Difference((off, 0.0, 0.0), slope, _nothing(), _nothing())
    off, slope = _range_difference(view, detail, state)
    turn_off, turn_slope = _bearing_difference(detail, state, view.value[1])
    return Difference((off, turn_off, 0.0), slope, turn_slope, _nothing())


@compiled
def believed_bearing_variance(view: Row, detail: Row, state: State, setting: Row) -> float:
    """Return the noise of a bearing without a range, from the range believed when its verdict is taken."""
    forward, left, _, _ = _towards(detail, state)
    distance = np.sqrt((forward - detail.place[0]) ** 2 + (left - detail.place[1]) ** 2)
    growth = 1.0 + setting.view_angle_growth * view.sine_squared
    return _bearing_variance(distance, growth, setting)
