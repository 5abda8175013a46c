"""The filter's mathematics on plain numbers, compiled: carry a state along, set a measurement beside it, correct it.

Measurements have three components here; what one has fewer is filled up with a residual and a slope of 0 and a variance
of 1, which change nothing. Formulas: Bar-Shalom, Li & Kirubarajan, "Estimation with Applications to Tracking and
Navigation" (2001), 5.2, 5.4 and, for the Joseph form, 7.4; S is factored without square roots (Golub & Van Loan,
"Matrix Computations", 4.1).
"""

import math
from typing import NamedTuple, TypeAlias

import numpy as np

from locbench.arrays import FloatArray
from locbench.fusion.compiling import compiled

__all__ = [
    "Difference",
    "Innovation3",
    "Spread",
    "State",
    "Triple",
    "Way",
    "carried",
    "corrected",
    "innovation",
    "kalman_corrected",
    "kalman_gain",
    "motion_noise",
    "pose_innovation",
    "propagated",
    "replaced",
    "state_at",
    "turned",
    "whitened",
    "wrapped",
]

_SMALL_RAD = 0.01

Triple: TypeAlias = tuple[float, float, float]


class Spread(NamedTuple):
    """A covariance (3, 3) of x, y, theta, or of three measured components in their place."""

    xx: float
    xy: float
    yy: float
    xt: float
    yt: float
    tt: float


class State(NamedTuple):
    """A pose, theta not wrapped, the cosine and sine of theta, and the pose's covariance, field frame."""

    x: float
    y: float
    theta: float
    cosine: float
    sine: float
    spread: Spread


class Difference(NamedTuple):
    """Measured minus expected, and the derivative of the expected by x, y, theta: one row per component."""

    residual: Triple
    first: Triple
    second: Triple
    third: Triple


class Innovation3(NamedTuple):
    """A difference beside a state, S factored into L D L'.

    `squared` is y' S^-1 y, NaN where S is not positive. `residual` is L^-1 y, `inverse` the diagonal of D^-1, and
    `first`, `second`, `third` the rows of L^-1 H P.
    """

    squared: float
    residual: Triple
    inverse: Triple
    l10: float
    l20: float
    l21: float
    first: Triple
    second: Triple
    third: Triple


@compiled
def wrapped(angle_rad: float) -> float:
    """Return the angle in [-pi, pi)."""
    # nearly always the case, and a division spared
    if -math.pi <= angle_rad < math.pi:
        return angle_rad
    return angle_rad - 2.0 * math.pi * float(np.floor((angle_rad + math.pi) / (2.0 * math.pi)))


@compiled
def motion_noise(bases: FloatArray, variances: FloatArray) -> Spread:
    """Return the noise of a leg, frame of its start: bases (2, 21) of `odometry.moments` times variances (2, 5)."""
    xx, xy, yy, xt, yt, tt = 0.0, 0.0, 0.0, 0.0, 0.0, 0.0
    for kind in range(2):
        # most legs have nothing to doubt
        if kind == 1 and bases[1, 20] == 0.0:
            break
        along, across = variances[kind, 0], variances[kind, 1]
        xx += along * bases[kind, 0] + across * bases[kind, 2]
        xy += (along - across) * bases[kind, 1]
        yy += along * bases[kind, 2] + across * bases[kind, 0]
        for cause in range(3):
            first, v = 3 + 6 * cause, variances[kind, 2 + cause]
            xx += v * bases[kind, first]
            xy += v * bases[kind, first + 1]
            yy += v * bases[kind, first + 2]
            xt += v * bases[kind, first + 3]
            yt += v * bases[kind, first + 4]
            tt += v * bases[kind, first + 5]
    return Spread(xx, xy, yy, xt, yt, tt)


@compiled
def turned(q: Spread, cosine: float, sine: float) -> Spread:
    """Return a covariance of a pose turned by an angle."""
    cc, cs, ss = cosine * cosine, cosine * sine, sine * sine
    return Spread(
        cc * q.xx - 2.0 * cs * q.xy + ss * q.yy,
        cs * (q.xx - q.yy) + (cc - ss) * q.xy,
        ss * q.xx + 2.0 * cs * q.xy + cc * q.yy,
        cosine * q.xt - sine * q.yt,
        sine * q.xt + cosine * q.yt,
        q.tt,
    )


class Way(NamedTuple):
    """The displacement of a leg in the frame of its start, and the cosine and sine of its turn."""

    ahead: float
    left: float
    turn: float
    cosine: float
    sine: float


@compiled
def state_at(x: float, y: float, theta: float, spread: Spread) -> State:
    """Return the state of a pose."""
    return State(x, y, theta, math.cos(theta), math.sin(theta), spread)


@compiled
def _nudged(state: State, dx: float, dy: float, turn: float, spread: Spread) -> State:
    """Return the state moved by a correction, with another covariance.

    Where the turn is small, its cosine and sine come from series that are exact to 1e-20: most corrections are, and
    the library's functions would take a quarter of a replay's time.
    """
    if not -_SMALL_RAD < turn < _SMALL_RAD:
        return state_at(state.x + dx, state.y + dy, state.theta + turn, spread)
    squared = turn * turn
    c = 1.0 - squared * (0.5 - squared * (1.0 / 24.0 - squared * (1.0 / 720.0)))
    s = turn * (1.0 - squared * (1.0 / 6.0 - squared * (1.0 / 120.0 - squared * (1.0 / 5040.0))))
    cosine, sine = state.cosine * c - state.sine * s, state.sine * c + state.cosine * s
    return State(state.x + dx, state.y + dy, state.theta + turn, cosine, sine, spread)


@compiled
def carried(state: State, way: Way, noise: Spread) -> State:
    """Return the state after a leg that adds that noise, in the frame of its start."""
    cosine, sine, ahead, left = state.cosine, state.sine, way.ahead, way.left
    dx, dy = cosine * ahead - sine * left, sine * ahead + cosine * left
    p, q = state.spread, turned(noise, cosine, sine)
    spread = Spread(
        p.xx - 2.0 * dy * p.xt + dy * dy * p.tt + q.xx,
        p.xy + dx * p.xt - dy * p.yt - dx * dy * p.tt + q.xy,
        p.yy + 2.0 * dx * p.yt + dx * dx * p.tt + q.yy,
        p.xt - dy * p.tt + q.xt,
        p.yt + dx * p.tt + q.yt,
        p.tt + q.tt,
    )
    return State(
        state.x + dx,
        state.y + dy,
        state.theta + way.turn,
        cosine * way.cosine - sine * way.sine,
        sine * way.cosine + cosine * way.sine,
        spread,
    )


@compiled
def _weighed(row: Triple, p: Spread) -> Triple:
    """Return row times P."""
    return (
        row[0] * p.xx + row[1] * p.xy + row[2] * p.xt,
        row[0] * p.xy + row[1] * p.yy + row[2] * p.yt,
        row[0] * p.xt + row[1] * p.yt + row[2] * p.tt,
    )


@compiled
def _dot(one: Triple, other: Triple) -> float:
    return one[0] * other[0] + one[1] * other[1] + one[2] * other[2]


@compiled
def propagated(rows: tuple[Triple, Triple, Triple], p: Spread) -> Spread:
    """Return J P J' for a J by rows."""
    a, b, c = _weighed(rows[0], p), _weighed(rows[1], p), _weighed(rows[2], p)
    return Spread(
        _dot(a, rows[0]), _dot(a, rows[1]), _dot(b, rows[1]), _dot(a, rows[2]), _dot(b, rows[2]), _dot(c, rows[2])
    )


@compiled
def _less(row: Triple, factor: float, other: Triple) -> Triple:
    """Return row - factor * other."""
    return (row[0] - factor * other[0], row[1] - factor * other[1], row[2] - factor * other[2])


@compiled
def _factored(y: Triple, a: Triple, b: Triple, c: Triple, s: Spread) -> Innovation3:
    """Return the innovation of residual y with H P by rows a, b, c and covariance S."""
    i0 = 1.0 / s.xx
    l10, l20 = s.xy * i0, s.xt * i0
    d1 = s.yy - l10 * s.xy
    i1 = 1.0 / d1
    l21 = (s.yt - l20 * s.xy) * i1
    d2 = s.tt - l20 * s.xt - l21 * l21 * d1
    i2 = 1.0 / d2
    f0 = y[0]
    f1 = y[1] - l10 * f0
    f2 = y[2] - l20 * f0 - l21 * f1
    second = _less(b, l10, a)
    third = _less(_less(c, l20, a), l21, second)
    squared = f0 * f0 * i0 + f1 * f1 * i1 + f2 * f2 * i2
    if not (s.xx > 0.0 and d1 > 0.0 and d2 > 0.0):
        squared = np.nan
    return Innovation3(squared, (f0, f1, f2), (i0, i1, i2), l10, l20, l21, a, second, third)


@compiled
def innovation(difference: Difference, p: Spread, r: Spread) -> Innovation3:
    """Return a difference beside a state of covariance P, measured with covariance R."""
    a, b, c = _weighed(difference.first, p), _weighed(difference.second, p), _weighed(difference.third, p)
    s = Spread(
        _dot(a, difference.first) + r.xx,
        _dot(b, difference.first) + r.xy,
        _dot(b, difference.second) + r.yy,
        _dot(c, difference.first) + r.xt,
        _dot(c, difference.second) + r.yt,
        _dot(c, difference.third) + r.tt,
    )
    return _factored(difference.residual, a, b, c, s)


@compiled
def pose_innovation(residual: Triple, count: int, p: Spread, r: Spread) -> Innovation3:
    """Return what `innovation` does for a measured pose, or its position alone: H is then the identity."""
    a, b = (p.xx, p.xy, p.xt), (p.xy, p.yy, p.yt)
    if count == 3:
        s = Spread(p.xx + r.xx, p.xy + r.xy, p.yy + r.yy, p.xt + r.xt, p.yt + r.yt, p.tt + r.tt)
        return _factored(residual, a, b, (p.xt, p.yt, p.tt), s)
    s = Spread(p.xx + r.xx, p.xy + r.xy, p.yy + r.yy, 0.0, 0.0, 1.0)
    return _factored(residual, a, b, (0.0, 0.0, 0.0), s)


@compiled
def whitened(found: Innovation3) -> Triple:
    """Return the residual divided by the Cholesky factor of S: independent numbers of unit variance."""
    f, i = found.residual, found.inverse
    return (f[0] * np.sqrt(i[0]), f[1] * np.sqrt(i[1]), f[2] * np.sqrt(i[2]))


@compiled
def kalman_corrected(state: State, found: Innovation3) -> State:
    """Return the state after a Kalman correction: x + K y and P - K S K', component by component."""
    u, v, w, f, i, p = found.first, found.second, found.third, found.residual, found.inverse, state.spread
    i0, i1, i2 = i
    g0, g1, g2 = i0 * f[0], i1 * f[1], i2 * f[2]
    spread = Spread(
        p.xx - i0 * u[0] * u[0] - i1 * v[0] * v[0] - i2 * w[0] * w[0],
        p.xy - i0 * u[0] * u[1] - i1 * v[0] * v[1] - i2 * w[0] * w[1],
        p.yy - i0 * u[1] * u[1] - i1 * v[1] * v[1] - i2 * w[1] * w[1],
        p.xt - i0 * u[0] * u[2] - i1 * v[0] * v[2] - i2 * w[0] * w[2],
        p.yt - i0 * u[1] * u[2] - i1 * v[1] * v[2] - i2 * w[1] * w[2],
        p.tt - i0 * u[2] * u[2] - i1 * v[2] * v[2] - i2 * w[2] * w[2],
    )
    dx = g0 * u[0] + g1 * v[0] + g2 * w[0]
    dy = g0 * u[1] + g1 * v[1] + g2 * w[1]
    return _nudged(state, dx, dy, g0 * u[2] + g1 * v[2] + g2 * w[2], spread)


@compiled
def kalman_gain(found: Innovation3) -> tuple[Triple, Triple, Triple]:
    """Return P H' S^-1, one row per component of the state."""
    return _gain_row(found, 0), _gain_row(found, 1), _gain_row(found, 2)


@compiled
def _gain_row(found: Innovation3, row: int) -> Triple:
    k2 = found.inverse[2] * found.third[row]
    k1 = found.inverse[1] * found.second[row] - found.l21 * k2
    return (found.inverse[0] * found.first[row] - found.l10 * k1 - found.l20 * k2, k1, k2)


@compiled
def _kept(gain: Triple, difference: Difference, unit: Triple) -> Triple:
    """Return a row of I - K H."""
    h0, h1, h2 = difference.first, difference.second, difference.third
    return (
        unit[0] - gain[0] * h0[0] - gain[1] * h1[0] - gain[2] * h2[0],
        unit[1] - gain[0] * h0[1] - gain[1] * h1[1] - gain[2] * h2[1],
        unit[2] - gain[0] * h0[2] - gain[1] * h1[2] - gain[2] * h2[2],
    )


@compiled
def corrected(state: State, difference: Difference, gain: tuple[Triple, Triple, Triple], r: Spread) -> State:
    """Return the state after a correction with that gain, covariance in the Joseph form, which suits any gain."""
    y, p = difference.residual, state.spread
    a = _kept(gain[0], difference, (1.0, 0.0, 0.0))
    b = _kept(gain[1], difference, (0.0, 1.0, 0.0))
    c = _kept(gain[2], difference, (0.0, 0.0, 1.0))
    kept, added = propagated((a, b, c), p), propagated(gain, r)
    spread = Spread(
        kept.xx + added.xx,
        kept.xy + added.xy,
        kept.yy + added.yy,
        kept.xt + added.xt,
        kept.yt + added.yt,
        kept.tt + added.tt,
    )
    return _nudged(state, _dot(gain[0], y), _dot(gain[1], y), _dot(gain[2], y), spread)


@compiled
def replaced(state: State, residual: Triple, size: int, r: Spread) -> State:
    """Return the state that takes the measured components of a pose with their covariance, and no correlations."""
    if size == 3:
        return _nudged(state, residual[0], residual[1], residual[2], r)
    return _nudged(state, residual[0], residual[1], 0.0, Spread(r.xx, r.xy, r.yy, 0.0, 0.0, state.spread.tt))
