"""Whether a sphere that comes down at an angle enters an opening without touching its edge.

Seen along its velocity, a round horizontal rim of radius R is an ellipse with semi-axes R and R sin g, where g is the
entry angle; the sphere enters cleanly if its centre is inside and at least its own radius from that ellipse. A window's
edges are straight, so the distance of its flight to each is that of two skew lines.
"""

import numpy as np

from locbench.arrays import BoolArray, FloatArray
from locbench.config.field import Goal, HorizontalOpening, VerticalOpening
from locbench.config.shooter import ShooterConfig

__all__ = ["clean_entry", "clean_outline", "distance_to_ellipse", "opening_outline"]

_BISECTIONS = 60
# it takes five to ten, then rounding ends it
_MOST_STEPS = 60
_OUTLINE_POINTS = 73

Opening = HorizontalOpening | VerticalOpening


def distance_to_ellipse(points: FloatArray, semi_x: float, semi_y: float) -> FloatArray:
    """Return the distances (K,) from points (K, 2) to an axis-parallel ellipse about the origin.

    Notes
    -----
    The nearest point is x = a^2 p / (t + a^2), y = b^2 q / (t + b^2) with t the largest root of
    (a p / (t + a^2))^2 + (b q / (t + b^2))^2 = 1: Eberly, "Distance from a point to an ellipse, an ellipsoid, or a
    hyperellipsoid" (2013), here with the axes ordered so that a >= b. The left side falls and is convex, so Newton's
    steps from where one of its terms alone is 1 never pass the root.
    """
    major, minor = max(semi_x, semi_y), min(semi_x, semi_y)
    p, q = np.abs(points[:, 0]), np.abs(points[:, 1])
    if semi_y > semi_x:
        p, q = q, p
    # t is counted from -b^2, where it may be so near that its digits would be lost
    wider = major**2 - minor**2
    root = np.maximum(major * p - wider, minor * q)
    for _ in range(_MOST_STEPS):
        x, y = _ratio(major * p, root + wider), _ratio(minor * q, root)
        slope = 2.0 * (_ratio(x**2, root + wider) + _ratio(y**2, root))
        before, root = root, root + _ratio(np.maximum(x**2 + y**2 - 1.0, 0.0), slope)
        if np.array_equal(before, root, equal_nan=True):
            break
    # at the centre of a circle every point is nearest, and the quotient of two vanishing numbers may be anything
    nearest_x = np.minimum(_ratio(major**2 * p, root + wider), major)
    nearest_y = minor * np.sqrt(np.maximum(0.0, 1.0 - (nearest_x / major) ** 2))
    return np.asarray(np.hypot(p - nearest_x, q - nearest_y))


def _ratio(numerator: FloatArray, denominator: FloatArray) -> FloatArray:
    """Return the quotient, 0 where the numerator is 0 and infinite where only the denominator is."""
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.where(numerator == 0.0, 0.0, numerator / denominator)


def clean_entry(offset: FloatArray, line: FloatArray, goal: Goal, shooter: ShooterConfig) -> BoolArray:
    """Return (K,) whether shots enter the goal's opening without touching its edge.

    Parameters
    ----------
    offset
        (K, 2) lateral and along, where the projectile's centre comes down to the height of the opening's centre.
    line
        (K, 2) unit vectors from robot to goal, field frame.
    goal
        Its opening, and for a window the direction it faces.
    shooter
        Entry angle and projectile.
    """
    if isinstance(goal.opening, HorizontalOpening):
        return _clean_through_rim(offset, goal.opening, shooter)
    return _clean_through_window(offset, line, goal.facing, goal.opening, shooter)


def _clean_through_rim(offset: FloatArray, opening: HorizontalOpening, shooter: ShooterConfig) -> BoolArray:
    sine = float(np.sin(shooter.entry_angle))
    seen = offset * [1.0, sine]
    semi_x, semi_y = opening.radius, opening.radius * sine
    clean = np.asarray((seen[:, 0] / semi_x) ** 2 + (seen[:, 1] / semi_y) ** 2 < 1.0)
    clean[clean] = distance_to_ellipse(seen[clean], semi_x, semi_y) >= shooter.projectile.diameter / 2.0
    return clean


def _clean_through_window(
    offset: FloatArray, line: FloatArray, facing_rad: float, opening: VerticalOpening, shooter: ShooterConfig
) -> BoolArray:
    """Return whether the straight flight passes every edge of the window by at least the projectile's radius.

    The flight comes down at the entry angle g over the line of fire, b is its angle from the window's normal. It
    passes the side edges by (W/2 - |s|) cos b and the others by (H/2 - |h|) cos g cos b / sqrt(sin^2 g + cos^2 g
    cos^2 b), the distances between skew lines. A shot from behind does not enter.
    """
    radius, angle = shooter.projectile.diameter / 2.0, shooter.entry_angle
    normal = np.array([np.cos(facing_rad), np.sin(facing_rad)])
    across = np.array([-normal[1], normal[0]])
    point = offset[:, :1] * np.column_stack([-line[:, 1], line[:, 0]]) + offset[:, 1:] * line
    cosine = -(line @ normal)
    from_front = cosine > 1e-9
    safe = np.where(from_front, cosine, 1.0)
    # how much farther along the line of fire the flight meets the window's plane, and how much it has sunk by then
    farther = (point @ normal) / safe
    side = point @ across + farther * (line @ across)
    height = -farther * np.tan(angle)
    skew = np.sqrt(np.sin(angle) ** 2 + (np.cos(angle) * safe) ** 2)
    past_sides = (opening.width / 2.0 - np.abs(side)) * safe >= radius
    past_ends = (opening.height / 2.0 - np.abs(height)) * np.cos(angle) * safe / skew >= radius
    return np.asarray(from_front & past_sides & past_ends)


def opening_outline(opening: Opening, shooter: ShooterConfig | None) -> FloatArray:
    """Return the closed outline (K, 2) of the opening in lateral and along, a window as met head on.

    A vertical window has an extent along the line of fire only through the entry angle; without a shooter it is a
    line.
    """
    if isinstance(opening, HorizontalOpening):
        angle = np.linspace(0.0, 2.0 * np.pi, _OUTLINE_POINTS)
        return np.asarray(opening.radius * np.column_stack([np.sin(angle), np.cos(angle)]))
    depth = 0.0 if shooter is None else opening.height / 2.0 / float(np.tan(shooter.entry_angle))
    corners = [(-1, -1), (1, -1), (1, 1), (-1, 1), (-1, -1)]
    return np.asarray(np.array(corners, dtype=float) * [opening.width / 2.0, depth])


def clean_outline(goal: Goal, shooter: ShooterConfig) -> FloatArray:
    """Return the closed outline (K, 2) within which a shot enters cleanly, a window met head on; (0, 2) if none does.

    Found by bisection from the centre in every direction; the region is convex.
    """
    angle = np.linspace(0.0, 2.0 * np.pi, _OUTLINE_POINTS)
    direction = np.column_stack([np.sin(angle), np.cos(angle)])
    head_on = np.tile([-np.cos(goal.facing), -np.sin(goal.facing)], (len(angle), 1))
    if not clean_entry(np.zeros((1, 2)), head_on[:1], goal, shooter)[0]:
        return np.zeros((0, 2))
    extent = np.abs(opening_outline(goal.opening, shooter)).max()
    low, high = np.zeros(len(angle)), np.full(len(angle), 2.0 * extent)
    for _ in range(_BISECTIONS):
        middle = (low + high) / 2.0
        clean = clean_entry(middle[:, np.newaxis] * direction, head_on, goal, shooter)
        low, high = np.where(clean, middle, low), np.where(clean, high, middle)
    return np.asarray(low[:, np.newaxis] * direction)
