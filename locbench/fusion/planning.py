"""What a compiled replay takes for granted: the order of arrivals, the ways between them, and what is seen."""

from dataclasses import dataclass
from typing import Any

import numpy as np

from locbench.arrays import BoolArray, FloatArray, IntArray
from locbench.config import LatencyMode
from locbench.fusion.kernel import Plan
from locbench.fusion.order import applied_times, arrival_order
from locbench.fusion.rows import empty_rows
from locbench.fusion.views import DETAIL, KINDS, VIEW, Views
from locbench.geometry import mount_rotation
from locbench.odometry import Legs, Motion, rates_at
from locbench.odometry.moments import MOMENTS
from locbench.session import NO_TAG, Detections, StartPose, TagKind
from locbench.vision import Sightings, fixes, lines_of_sight

__all__ = ["Schedule", "Seen", "given", "make_schedule", "make_views", "modelled", "tag_ids"]


@dataclass(frozen=True)
class Schedule:
    """A plan, and what leads back from it to the log.

    Attributes
    ----------
    order
        (M,) indices of the detections that it takes, in the order of arrival.
    acts_s, arrived_s
        (M,) of these.
    front_s
        (M + 1,) the time at the front after so many arrivals; the stretch's first time before any.
    """

    plan: Plan
    order: IntArray
    acts_s: FloatArray
    arrived_s: FloatArray
    front_s: FloatArray


def make_schedule(
    motion: Motion,
    start: StartPose,
    detections: Detections,
    latency: LatencyMode,
    requests_s: FloatArray,
    queries_s: FloatArray,
) -> Schedule:
    """Return the schedule of one stretch.

    Parameters
    ----------
    motion, start
        The stretch.
    detections
        All of the session.
    latency
        Whether detections act at their capture or on arrival.
    requests_s
        (P,) times at which the driver asked for a correction, in order.
    queries_s
        (Q,) times inside the stretch, in order, at which published poses are wanted.
    """
    order = arrival_order(detections, motion, latency)
    acts_s, arrived_s = applied_times(detections, latency)[order], detections.arrived_s[order]
    arrival = np.lexsort((detections.row[order], acts_s))
    rank = np.empty_like(arrival)
    rank[arrival] = np.arange(len(arrival))
    ranked_s = acts_s[arrival]
    legs = motion.lookup.legs(np.concatenate([motion.time_s[:1], ranked_s[:-1]])[: len(ranked_s)], ranked_s)
    front = np.concatenate([[-1], np.maximum.accumulate(rank)]) if len(rank) else np.array([-1])
    front_s = np.concatenate([motion.time_s[:1], ranked_s])[front + 1]
    press, since_press = _presses(requests_s, arrived_s)
    known = np.searchsorted(arrived_s, queries_s, side="right")
    ways = motion.lookup.legs(front_s[known], queries_s)
    plan = Plan(
        start=np.concatenate([start.pose, _packed(start.covariance)]).astype(float),
        rank=rank.astype(np.int64),
        arrival=arrival.astype(np.int64),
        ways=np.column_stack([legs.displacement, np.cos(legs.displacement[:, 2]), np.sin(legs.displacement[:, 2])]),
        bases=_bases(legs),
        front=front.astype(np.int64),
        reach=_reach(front[:-1], rank),
        press=press,
        since_press=since_press,
        queries=np.searchsorted(known, np.arange(len(order) + 2)).astype(np.int64),
        query_displacement=ways.displacement,
    )
    return Schedule(plan, order, acts_s, arrived_s, front_s)


def _bases(legs: Legs) -> FloatArray:
    """Return (M, 2, 21) noise bases of the undoubted and the doubted part of each leg."""
    bases = np.zeros((len(legs.displacement), 2, MOMENTS))
    bases[:, : legs.moments.shape[1]] = legs.bases
    return bases


def _reach(front: IntArray, rank: IntArray) -> int:
    """Return the least power of two that holds the nodes from the one before a late arrival up to the front."""
    back = int(np.max(front - rank, initial=0))
    return 1 << (back + 1).bit_length()


def _presses(requests_s: FloatArray, arrived_s: FloatArray) -> tuple[IntArray, FloatArray]:
    """Return number (M,) and age (M,) of the latest request before each arrival; presses at one instant are one."""
    pressed_s = np.unique(requests_s)
    press = np.searchsorted(pressed_s, arrived_s, side="right") - 1
    since = arrived_s - np.append(pressed_s, np.inf)[press]
    return press.astype(np.int64), since


def _packed(covariance: FloatArray) -> FloatArray:
    """Return (..., 6) xx, xy, yy, x-theta, y-theta, theta-theta of covariances (..., D, D), filled up where D < 3."""
    size = covariance.shape[-1]
    numbers = np.zeros((*covariance.shape[:-2], 6))
    numbers[..., 2], numbers[..., 5] = 1.0, 1.0
    for place, (row, column) in enumerate(((0, 0), (1, 0), (1, 1), (2, 0), (2, 1), (2, 2))):
        if row < size:
            numbers[..., place] = covariance[..., row, column]
    return numbers


@dataclass(frozen=True)
class Seen:
    """What of the detections depends on how their noise is found: given, or modelled by each candidate.

    Shapes as in `Views`, one entry per detection of the session.
    """

    own: FloatArray
    fix: FloatArray
    fix_own: FloatArray
    slope: FloatArray
    line: FloatArray
    distance: FloatArray


def given(sightings: Sightings) -> Seen:
    """Return what is seen with the covariances that a filter's file gave it; a bearing may be left without."""
    count = len(sightings)
    return Seen(
        own=_packed(sightings.covariance),
        fix=sightings.fix,
        fix_own=_packed(sightings.fix_covariance),
        slope=np.zeros((count, 3, 3)),
        line=np.zeros((count, 2)),
        distance=np.full(count, np.nan),
    )


def modelled(detections: Detections, tags: FloatArray) -> Seen:
    """Return what is seen without covariances: every candidate makes its own, from its noise model."""
    line, distance = lines_of_sight(detections, tags)
    angle = np.arctan2(line[:, 1], line[:, 0])
    fix, slope = fixes(detections, tags[:, 0])
    count = len(detections)
    return Seen(
        own=_packed(detections.own_covariance),
        fix=fix,
        fix_own=np.full((count, 6), np.nan),
        slope=slope,
        line=np.column_stack([np.cos(angle), np.sin(angle)]),
        distance=distance,
    )


def make_views(
    schedule: Schedule, motion: Motion, detections: Detections, tags: FloatArray, tag_ids: IntArray, seen: Seen
) -> Views:
    """Return the views of a schedule's detections.

    Parameters
    ----------
    schedule, motion
        Of the stretch.
    detections, tags
        Of the session; (M, 4) x, y, z, facing of each detection's first tag.
    tag_ids
        In order; what `Settings.excluded` is about.
    seen
        Their noise.
    """
    order = schedule.order
    found, mount = detections.chosen(order), detections.mount[order]
    rates = rates_at(motion, schedule.acts_s)
    size = np.full(len(order), min(found.value.shape[1], 3))
    if found.kind in (TagKind.ROBOT_POSE, TagKind.TAG_POSE):
        size -= np.isnan(found.value[:, 2])
    value = np.zeros((len(order), 3))
    value[:, : found.value.shape[1]] = found.value
    rows = _filled(
        VIEW,
        kind=np.full(len(order), KINDS.index(found.kind)),
        components=size,
        value=value,
        line=seen.line[order],
        distance=seen.distance[order],
        sine_squared=np.sin(np.nan_to_num(found.view_angle_rad)) ** 2,
        age=found.arrived_s - found.captured_s,
        range=found.range_m,
        view_angle=found.view_angle_rad,
        reprojection_ratio=found.reprojection_ratio,
        tag_count=found.tag_count,
        turn_rate=rates.turn_rate_rad_s,
        speed=rates.speed_m_s,
    )
    details = _filled(
        DETAIL,
        own=seen.own[order],
        fix=seen.fix[order],
        fix_components=3 - np.isnan(seen.fix[order, 2]),
        fix_own=seen.fix_own[order],
        slope=seen.slope[order],
        tag=tags[order][:, [0, 1, 3]],
        place=mount[:, :2],
        rise=tags[order, 2] - mount[:, 2],
        slant=np.full(len(order), found.slant),
        turn=mount_rotation(mount[:, 3], mount[:, 4], mount[:, 5]),
    )
    return Views(rows, details, _tag_indices(found, tag_ids))


def _filled(row: np.dtype[Any], **columns: FloatArray | IntArray | BoolArray) -> Any:
    """Return rows of that kind with these columns."""
    rows = empty_rows(len(next(iter(columns.values()))), row)
    for name, column in columns.items():
        rows[name] = column
    return rows


def _tag_indices(detections: Detections, tag_ids: IntArray) -> IntArray:
    """Return (M, K) places of each detection's tags among the ids; one beyond them where it has fewer."""
    every = np.column_stack([detections.tag, detections.other_tags])
    return np.where(every == NO_TAG, len(tag_ids), np.searchsorted(tag_ids, every)).astype(np.int64)


def tag_ids(detections: Detections) -> IntArray:
    """Return the ids of all tags that are seen, in order."""
    every = np.unique(np.concatenate([detections.tag, detections.other_tags.ravel()]))
    return np.asarray(every[every != NO_TAG])
