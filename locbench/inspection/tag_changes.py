"""What can be wrong with tags, their places and what the camera reads, as changes to try."""

from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np
from scipy.optimize import least_squares

from locbench.arrays import FloatArray, IntArray
from locbench.geometry import between, circular_mean, compose, inverse, rotation_matrix, wrap_angle
from locbench.inspection.change import Amount, Change, Part
from locbench.inspection.diagnosis import SetupFault
from locbench.inspection.frame_changes import frame_changes
from locbench.inspection.odometry_changes import LENGTH_FACTORS
from locbench.inspection.recorded import ANGLE_FACTORS, Fixes, Rays, Recorded
from locbench.inspection.references import expected_bearings, expected_ranges, references
from locbench.inspection.residuals import ALIKE
from locbench.session import TagKind
from locbench.statistics import standard_error_of_median

__all__ = ["tag_changes"]

_LEAST_SEEN = 8
# a tag hung elsewhere by less is no fault of the set-up
_NOTABLE_M, _NOTABLE_RAD = 0.03, np.radians(2.0)
# where two tags are each found within this of the other's place they may be exchanged
_SAME_PLACE_M = 0.6


def tag_changes(log: Recorded) -> Iterator[Change]:
    """Yield every change of the tag table, the tags' places and the camera that can be tried."""
    if log.fixes is not None:
        yield from _fix_changes(log, log.fixes)
    if log.rays is not None:
        yield from _ray_changes(log, log.rays)


def _fix_changes(log: Recorded, fixes: Fixes) -> Iterator[Change]:
    there = references(log, fixes.time_s)

    def with_poses(pose: FloatArray) -> Recorded:
        return replace(log, fixes=replace(fixes, pose=pose))

    def with_places(tag_pose: FloatArray) -> Recorded:
        return replace(log, fixes=fixes.with_tags(tag_pose))

    if fixes.kind is TagKind.ROBOT_POSE:
        yield from frame_changes(Part.TAGS, fixes.pose, fixes.zero, there, with_poses)
    else:
        yield from _camera_frame_changes(log, fixes, there)
    yield from _moved_tags(fixes, compose(there, fixes.on_robot), with_places)
    if fixes.kind is TagKind.ROBOT_POSE:
        yield from _exchanged_in_the_program(fixes, there, with_poses)


def _exchanged_in_the_program(
    fixes: Fixes, there: FloatArray, with_poses: Callable[[FloatArray], Recorded]
) -> Iterator[Change]:
    """Yield tags that hang where they should, but whose places the program that computes the poses has exchanged."""
    taken_to_hang = compose(compose(fixes.pose, inverse(there)), fixes.tag_pose[:, [0, 1, 3]])
    for first, second, exchanged in _exchanges(fixes, taken_to_hang):
        back = compose(fixes.tag_pose[:, [0, 1, 3]], inverse(exchanged[:, [0, 1, 3]]))
        pose = compose(back, fixes.pose)
        yield Change(SetupFault.TAGS_EXCHANGED, Part.TAGS, with_poses(pose), tags=(first, second))


def _moved_tags(seen: Fixes, where: FloatArray, with_places: Callable[[FloatArray], Recorded]) -> Iterator[Change]:
    """Yield tags exchanged with each other, and single tags elsewhere; `where` (M, 3) is where each is seen to hang."""
    for first, second, exchanged in _exchanges(seen, where):
        yield Change(SetupFault.TAGS_EXCHANGED, Part.FLOOR, with_places(exchanged), tags=(first, second))
    places, found = _places(seen, where)
    for tag, (pose, std) in found.items():
        error = between(places[tag][[0, 1, 3]], pose)
        if np.hypot(error[0], error[1]) > _NOTABLE_M or abs(error[2]) > _NOTABLE_RAD:
            yield _moved_tag(tag, places[tag], pose, std, with_places, seen)


_Found = tuple[FloatArray, FloatArray]


def _places(seen: Fixes, where: FloatArray) -> tuple[dict[int, FloatArray], dict[int, _Found]]:
    """Return each tag's place (4,) by the map, and the pose at which it is seen, with its standard uncertainty."""
    places = {int(tag): seen.tag_pose[seen.tag == tag][0] for tag in np.unique(seen.tag)}
    return places, {tag: found for tag in places if (found := _place(where[seen.tag == tag])) is not None}


def _exchanges(seen: Fixes, where: FloatArray) -> Iterator[tuple[int, int, FloatArray]]:
    """Yield pairs of tags of which one is seen near the other's place, and the places (M, 4) exchanged."""
    places, found = _places(seen, where)
    yield from _exchanged_pairs(seen, places, found)


def _exchanged_pairs(
    seen: Fixes | Rays, places: dict[int, FloatArray], found: dict[int, _Found]
) -> Iterator[tuple[int, int, FloatArray]]:
    for first, second in combinations(places, 2):
        if _near(found.get(first), places[second]) or _near(found.get(second), places[first]):
            places_exchanged = {first: places[second], second: places[first]}
            yield first, second, _with_place(seen.tag, seen.tag_pose, places_exchanged)


def _moved_tag(
    tag: int,
    place: FloatArray,
    pose: FloatArray,
    std: FloatArray,
    with_places: Callable[[FloatArray], Recorded],
    seen: Fixes | Rays,
) -> Change:
    moved = np.array([pose[0], pose[1], place[2], pose[2]])
    turn = float(wrap_angle(pose[2] - place[3]))
    amounts = {Amount.X: float(pose[0] - place[0]), Amount.Y: float(pose[1] - place[1]), Amount.TURN: turn}
    stds = {Amount.X: float(std[0]), Amount.Y: float(std[1]), Amount.TURN: float(std[2])}
    log = with_places(_with_place(seen.tag, seen.tag_pose, {tag: moved}))
    return Change(SetupFault.TAG_MISPLACED, Part.FLOOR, log, 3, tags=(tag,), amounts=amounts, stds=stds)


def _with_place(tag: IntArray, tag_pose: FloatArray, places: dict[int, FloatArray]) -> FloatArray:
    changed = tag_pose.copy()
    for one, place in places.items():
        changed[tag == one] = place
    return changed


def _place(poses: FloatArray) -> tuple[FloatArray, FloatArray] | None:
    """Return the median of poses (M, 3) that are known, and its standard uncertainty; None if too few are."""
    known = poses[np.isfinite(poses).all(axis=1)]
    if len(known) < _LEAST_SEEN:
        return None
    middle_angle = circular_mean(known[:, 2])
    known = np.column_stack([known[:, :2], middle_angle + wrap_angle(known[:, 2] - middle_angle)])
    std = [standard_error_of_median(column, len(known) / ALIKE) for column in known.T]
    return np.median(known, axis=0), np.array(std)


def _near(found: _Found | None, place: FloatArray) -> bool:
    return found is not None and bool(np.hypot(*(found[0][:2] - place[:2])) < _SAME_PLACE_M)


def _camera_frame_changes(log: Recorded, fixes: Fixes, there: FloatArray) -> Iterator[Change]:
    """Yield other conventions of the camera's frame, and scale and direction of what it sees, for tag poses."""
    camera = fixes.mount[:, [0, 1, 3]]
    seen = compose(inverse(camera), fixes.on_robot)

    def with_seen(pose: FloatArray) -> Recorded:
        return replace(log, fixes=fixes.with_tags_on_robot(compose(camera, pose)))

    for factor in LENGTH_FACTORS:
        scaled = with_seen(seen * [factor, factor, 1.0])
        yield Change(SetupFault.LENGTH_UNIT, Part.TAGS, scaled, amounts={Amount.FACTOR: factor})
    for factor in ANGLE_FACTORS:
        scaled = with_seen(fixes.zero + (seen - fixes.zero) * [1.0, 1.0, factor])
        yield Change(SetupFault.ANGLE_UNIT, Part.TAGS, scaled, amounts={Amount.FACTOR: factor})
    for quarter in range(4):
        turn = quarter * np.pi / 2.0
        amounts = {Amount.TURN: turn}
        if quarter:
            turned = with_seen(seen + [0.0, 0.0, turn])
            yield Change(SetupFault.HEADING_ZERO, Part.TAGS, turned, amounts=amounts)
        flat = with_seen(seen * [1.0, 1.0, -1.0] + [0.0, 0.0, turn])
        yield Change(SetupFault.HEADING_SENSE, Part.TAGS, flat, amounts=amounts)
        mirrored = with_seen(seen * [1.0, -1.0, -1.0] + [0.0, 0.0, turn])
        yield Change(SetupFault.FRAME_MIRRORED, Part.TAGS, mirrored, amounts=amounts)
    expected = between(compose(there, camera), fixes.tag_pose[:, [0, 1, 3]])
    yield from _scaled_ranges(
        np.hypot(*seen[:, :2].T),
        np.hypot(*expected[:, :2].T),
        lambda factor: with_seen(seen * [factor, factor, 1.0]),
    )
    bearing, expected_bearing = np.arctan2(seen[:, 1], seen[:, 0]), np.arctan2(expected[:, 1], expected[:, 0])
    yield from _turned_bearings(
        wrap_angle(expected_bearing - bearing),
        lambda turn: with_seen(np.column_stack([seen[:, :2] @ rotation_matrix(np.array(turn)).T, seen[:, 2] + turn])),
    )


def _scaled_ranges(
    measured: FloatArray, expected: FloatArray, rebuilt: Callable[[float], Recorded]
) -> Iterator[Change]:
    known = np.isfinite(measured) & np.isfinite(expected) & (measured > 0.05)
    if np.sum(known) < _LEAST_SEEN:
        return
    ratio = expected[known] / measured[known]
    factor = float(np.median(ratio))
    if not factor > 0.0:
        return
    amounts, stds = {Amount.FACTOR: factor}, {Amount.FACTOR: standard_error_of_median(ratio, len(ratio) / ALIKE)}
    yield Change(SetupFault.RANGE_SCALE, Part.TAGS, rebuilt(factor), 1, amounts=amounts, stds=stds)


def _turned_bearings(error: FloatArray, rebuilt: Callable[[float], Recorded]) -> Iterator[Change]:
    known = error[np.isfinite(error)]
    if len(known) < _LEAST_SEEN:
        return
    turn = float(np.median(known))
    amounts, stds = {Amount.TURN: turn}, {Amount.TURN: standard_error_of_median(known, len(known) / ALIKE)}
    yield Change(SetupFault.BEARING_BIAS, Part.TAGS, rebuilt(turn), 1, amounts=amounts, stds=stds)


def _ray_changes(log: Recorded, rays: Rays) -> Iterator[Change]:
    def with_ranges(range_m: FloatArray) -> Recorded:
        return replace(log, rays=replace(rays, range_m=range_m))

    def with_bearings(bearing_rad: FloatArray) -> Recorded:
        return replace(log, rays=replace(rays, bearing_rad=bearing_rad))

    def with_places(tag_pose: FloatArray) -> Recorded:
        return replace(log, rays=replace(rays, tag_pose=tag_pose))

    for factor in LENGTH_FACTORS:
        scaled = with_ranges(factor * rays.range_m)
        yield Change(SetupFault.LENGTH_UNIT, Part.TAGS, scaled, amounts={Amount.FACTOR: factor})
    yield from _scaled_ranges(rays.range_m, expected_ranges(log), lambda factor: with_ranges(factor * rays.range_m))
    if np.any(np.isfinite(rays.bearing_rad)):
        yield Change(SetupFault.HEADING_SENSE, Part.TAGS, with_bearings(-rays.bearing_rad), amounts={Amount.TURN: 0.0})
        for factor in ANGLE_FACTORS:
            scaled = with_bearings(factor * rays.bearing_rad)
            yield Change(SetupFault.ANGLE_UNIT, Part.TAGS, scaled, amounts={Amount.FACTOR: factor})
        error = wrap_angle(expected_bearings(log) - rays.bearing_rad)
        yield from _turned_bearings(error, lambda turn: with_bearings(rays.bearing_rad + turn))
    yield from _ray_tags(log, rays, with_places)


def _ray_tags(log: Recorded, rays: Rays, with_places: Callable[[FloatArray], Recorded]) -> Iterator[Change]:
    there = references(log, rays.time_s)
    places = {int(tag): rays.tag_pose[rays.tag == tag][0] for tag in np.unique(rays.tag)}
    found: dict[int, _Found] = {}
    for tag, place in places.items():
        # without the robot's heading nothing tells where its camera was
        known = np.flatnonzero((rays.tag == tag) & np.isfinite(there).all(axis=1))
        if len(known) >= _LEAST_SEEN:
            found[tag] = _located(place, rays, there, known)
    for first, second, exchanged in _exchanged_pairs(rays, places, found):
        yield Change(SetupFault.TAGS_EXCHANGED, Part.FLOOR, with_places(exchanged), tags=(first, second))
    for tag, (pose, std) in found.items():
        if np.hypot(*(pose[:2] - places[tag][:2])) > _NOTABLE_M:
            moved = _moved_tag(tag, places[tag], pose, std, with_places, rays)
            # ranges and bearings do not tell how a tag is turned
            amounts = {amount: moved.amounts[amount] for amount in (Amount.X, Amount.Y)}
            yield replace(moved, amounts=amounts, parameters=2)


def _located(place: FloatArray, rays: Rays, there: FloatArray, known: IntArray) -> tuple[FloatArray, FloatArray]:
    """Return where a tag must hang to give those ranges and bearings best, its facing as mapped, and how surely."""
    camera = compose(there[known], rays.mount[known][:, [0, 1, 3]])
    ranges, bearings = rays.range_m[known], rays.bearing_rad[known]
    if rays.slant:
        rise = place[2] - rays.mount[known][:, 2]
        ranges = np.sqrt(np.maximum(ranges**2 - rise**2, 0.0))

    def residual(at: FloatArray) -> FloatArray:
        line = at - camera[:, :2]
        distance = np.hypot(*line.T)
        far = (distance - ranges) / (0.05 + 0.02 * distance)
        aside = wrap_angle(np.arctan2(line[:, 1], line[:, 0]) - camera[:, 2] - bearings) / np.radians(1.5)
        return np.asarray(np.nan_to_num(np.concatenate([far, aside])))

    best = None
    for start in (place[:2], np.median(camera[:, :2], axis=0)):
        fit = least_squares(residual, start + 1e-3, loss="cauchy", max_nfev=60)
        best = fit if best is None or fit.cost < best.cost else best
    assert best is not None
    information = best.jac.T @ best.jac + 1e-9 * np.eye(2)
    std = np.sqrt(ALIKE * np.diag(np.linalg.inv(information)))
    return np.array([*best.x, place[3]]), np.append(std, 0.0)
