"""Whether a sphere that comes down at an angle enters an opening without touching its edge.

Seen along its velocity, a round horizontal rim of radius R is an ellipse with semi-axes R and R sin g, where g is the
entry angle; the sphere enters cleanly if its centre is inside and at least its own radius from that ellipse.
"""

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config.field import HorizontalOpening, VerticalOpening
from locbench.config.shooter import ShooterConfig

__all__ = ["clean_entry", "clean_outline", "distance_to_ellipse", "opening_outline"]

_BISECTIONS = 60
_OUTLINE_POINTS = 73

Opening = HorizontalOpening | VerticalOpening


def distance_to_ellipse(points: FloatArray, semi_x: float, semi_y: float) -> FloatArray:
    """Return the distances (K,) from points (K, 2) to an axis-parallel ellipse about the origin.

    Notes
    -----
    The nearest point is x = a^2 p / (t + a^2), y = b^2 q / (t + b^2) with t the largest root of
    (a p / (t + a^2))^2 + (b q / (t + b^2))^2 = 1, found by bisection: Eberly, "Distance from a point to an
    ellipse, an ellipsoid, or a hyperellipsoid" (2013), here with the axes ordered so that a >= b.
    """
    major, minor = max(semi_x, semi_y), min(semi_x, semi_y)
    p, q = np.abs(points[:, 0]), np.abs(points[:, 1])
    if semi_y > semi_x:
        p, q = q, p
    low = -(minor**2) + minor * q
    high = -(minor**2) + np.sqrt((major * p) ** 2 + (minor * q) ** 2)
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2.0
        value = _ratio(major * p, middle + major**2) ** 2 + _ratio(minor * q, middle + minor**2) ** 2
        positive = value > 1.0
        low, high = np.where(positive, middle, low), np.where(positive, high, middle)
    nearest_x = _ratio(major**2 * p, high + major**2)
    nearest_y = minor * np.sqrt(np.maximum(0.0, 1.0 - (nearest_x / major) ** 2))
    return np.asarray(np.hypot(p - nearest_x, q - nearest_y))


def _ratio(numerator: FloatArray, denominator: FloatArray) -> FloatArray:
    """Return the quotient, 0 where the numerator is 0 and infinite where only the denominator is."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(numerator == 0.0, 0.0, numerator / denominator)


def clean_entry(offset: FloatArray, opening: Opening, shooter: ShooterConfig) -> BoolArray:
    """Return (K,) whether shots landing at `offset` (K, 2: lateral, along) enter without touching.

    For a vertical window, an error along the line of fire moves the crossing up or down by its size times the
    tangent of the entry angle.
    """
    radius = shooter.projectile.diameter / 2.0
    lateral, along = offset[:, 0], offset[:, 1]
    if isinstance(opening, HorizontalOpening):
        sine = float(np.sin(shooter.entry_angle))
        seen = np.column_stack([lateral, along * sine])
        semi_x, semi_y = opening.radius, opening.radius * sine
        inside = (seen[:, 0] / semi_x) ** 2 + (seen[:, 1] / semi_y) ** 2 < 1.0
        return np.asarray(inside & (distance_to_ellipse(seen, semi_x, semi_y) >= radius))
    height = along * np.tan(shooter.entry_angle)
    return np.asarray(
        (np.abs(lateral) <= opening.width / 2.0 - radius) & (np.abs(height) <= opening.height / 2.0 - radius)
    )


def opening_outline(opening: Opening, shooter: ShooterConfig | None) -> FloatArray:
    """Return the closed outline (K, 2) of the opening in lateral and along.

    A vertical window has an extent along the line of fire only through the entry angle; without a shooter it is a
    line.
    """
    if isinstance(opening, HorizontalOpening):
        angle = np.linspace(0.0, 2.0 * np.pi, _OUTLINE_POINTS)
        return np.asarray(opening.radius * np.column_stack([np.sin(angle), np.cos(angle)]))
    depth = 0.0 if shooter is None else opening.height / 2.0 / float(np.tan(shooter.entry_angle))
    return _rectangle(opening.width / 2.0, depth)


def clean_outline(opening: Opening, shooter: ShooterConfig) -> FloatArray:
    """Return the closed outline (K, 2) within which a shot enters cleanly; (0, 2) if none does."""
    radius = shooter.projectile.diameter / 2.0
    if isinstance(opening, VerticalOpening):
        half = (opening.width / 2.0 - radius, opening.height / 2.0 - radius)
        if min(half) <= 0.0:
            return np.zeros((0, 2))
        return _rectangle(half[0], half[1] / float(np.tan(shooter.entry_angle)))
    if not clean_entry(np.zeros((1, 2)), opening, shooter)[0]:
        return np.zeros((0, 2))
    angle = np.linspace(0.0, 2.0 * np.pi, _OUTLINE_POINTS)
    direction = np.column_stack([np.sin(angle), np.cos(angle)])
    low, high = np.zeros(len(angle)), np.full(len(angle), opening.radius)
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2.0
        clean = clean_entry(middle[:, np.newaxis] * direction, opening, shooter)
        low, high = np.where(clean, middle, low), np.where(clean, high, middle)
    return np.asarray(low[:, np.newaxis] * direction)


def _rectangle(half_lateral: float, half_along: float) -> FloatArray:
    corners = [(-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1)]
    return np.array(corners, dtype=float) * [half_lateral, half_along]
