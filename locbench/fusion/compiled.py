"""The compiled replay as an engine: what a filter would have published, and many filters at once."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numba
import numpy as np

from locbench.arrays import FloatArray, IntArray
from locbench.config import FieldConfig, FusionConfig, LatencyMode, MotionNoise
from locbench.fusion.corrections import Corrections, Rule
from locbench.fusion.estimators import Estimate
from locbench.fusion.kernel import ACCEPTED, OUTCOMES, Plan, Record, replay_all
from locbench.fusion.planning import (
    Schedule,
    given,
    make_schedule,
    make_views,
    modelled,
    tag_ids,
)
from locbench.fusion.rows import ARRIVAL, MEMORY, NODE, STEP, empty_rows
from locbench.fusion.settings import Settings, TagNoiseFrom, settings_table
from locbench.fusion.steps import CorrectionSteps
from locbench.fusion.track import Between, Track, carried_along
from locbench.fusion.views import DETAIL, VIEW, Views
from locbench.geometry import compose
from locbench.odometry import Legs, Motion
from locbench.odometry.moments import MOMENTS, unpacked
from locbench.session import Detections, StartPose
from locbench.vision import Sightings, tag_places

__all__ = ["SweepResult", "empty_record", "fuse_compiled", "make_ready", "replay_candidates", "sweep_candidates"]

# chunks of candidates per thread, so that a thread that is done early takes over; fewer where that takes much room
_CHUNKS_PER_THREAD = 8
_ROOM_BYTES = 2**28


@dataclass(frozen=True)
class SweepResult:
    """What every candidate of a sweep did.

    Attributes
    ----------
    accepted
        (C,) number of detections.
    rejected
        (C, R) by each `Rule`, in its order; with `accepted` they sum up to the number of detections offered.
    published
        (C, Q, 3) poses at the times asked for, headings not wrapped.
    """

    accepted: IntArray
    rejected: IntArray
    published: FloatArray


def fuse_compiled(
    motion: Motion,
    start: StartPose,
    sightings: Sightings,
    fusion: FusionConfig,
    noise: MotionNoise,
    requests_s: FloatArray,
) -> Estimate:
    """Return what a filter would have published over one stretch; arguments as `fuse`."""
    detections, ids = sightings.detections, tag_ids(sightings.detections)
    schedule = make_schedule(motion, start, detections, fusion.latency.mode, requests_s, np.zeros(0))
    tags = np.column_stack([sightings.tag_position_m, sightings.tag_facing_rad])
    views = make_views(schedule, motion, detections, tags, ids, given(sightings))
    settings, nothing = settings_table([fusion], noise, ids.tolist(), TagNoiseFrom.GIVEN), np.empty((1, 0, 3))
    counts = np.zeros((1, len(OUTCOMES)), dtype=np.int64)
    computed = replay_candidates(schedule.plan, views, settings, empty_record(0, 0), counts, nothing)
    record = empty_record(len(schedule.order), computed)
    replay_candidates(schedule.plan, views, settings, record, counts, nothing)
    onward = motion.lookup.legs(schedule.front_s[1:], schedule.arrived_s)
    return Estimate(
        name=fusion.name,
        track=_track(schedule, record, motion, onward, noise),
        noise=noise,
        corrections=_corrections(schedule, record, views, motion, onward, detections),
        steps=_steps(schedule, record, detections),
    )


def replay_candidates(
    plan: Plan, views: Views, settings: Settings, record: Record, counts: IntArray, published: FloatArray
) -> int:
    """Replay every candidate on all cores; return how many corrections the last one computed."""
    threads, count = numba.get_num_threads(), len(plan.rank)
    fitting = _ROOM_BYTES // (plan.reach * NODE.itemsize + (count + 1) * 6 * np.dtype(float).itemsize)
    chunks = min(max(threads, min(_CHUNKS_PER_THREAD * threads, fitting)), len(counts))
    added, nodes, memory = (
        np.empty((chunks, count, 6)),
        empty_rows((chunks, plan.reach), NODE),
        empty_rows(chunks, MEMORY),
    )
    replay_all(plan, views, settings, added, nodes, memory, record, counts, published)
    return int(memory.steps[-1])


@cache
def make_ready() -> None:
    """Compile the replay, or load it if it was compiled on this machine before; a second call does nothing."""
    nothing, none = np.zeros(0, dtype=np.int64), np.zeros(0)
    ways, bases, front = np.zeros((0, 5)), np.zeros((0, 2, MOMENTS)), np.full(1, -1)
    plan = Plan(
        np.zeros(9), nothing, nothing, ways, bases, front, 1, nothing, none, np.zeros(2, np.int64), np.zeros((0, 3))
    )
    views = Views(empty_rows(0, VIEW), empty_rows(0, DETAIL), np.zeros((0, 1), dtype=np.int64))
    settings = settings_table([FusionConfig(name="nobody")], MotionNoise(), [], TagNoiseFrom.CANDIDATES)
    counts = np.zeros((1, len(OUTCOMES)), dtype=np.int64)
    replay_candidates(plan, views, settings, empty_record(0, 0), counts, np.empty((1, 0, 3)))


def empty_record(count: int, steps: int) -> Record:
    """Return room for so many arrivals and corrections."""
    arrivals = empty_rows(count, ARRIVAL)
    arrivals["squared"], arrivals["whitened"] = np.nan, np.nan
    return Record(arrivals, empty_rows(steps, STEP))


def _track(schedule: Schedule, record: Record, motion: Motion, onward: Legs, noise: MotionNoise) -> Track:
    """Return what is published anew: the start, and each time a detection is accepted.

    `onward` (M) leads from the front after each arrival to the time of that arrival.
    """
    accepted = np.flatnonzero(record.arrivals["rule"] == ACCEPTED)
    arrived_s, after = schedule.arrived_s[accepted], record.arrivals[accepted]
    pose, covariance = carried_along(after["after"], unpacked(after["after_spread"]), onward[accepted], noise)
    first = schedule.plan.start
    return Track(
        time_s=np.concatenate([motion.time_s[:1], arrived_s]),
        pose=np.concatenate([first[np.newaxis, :3], pose]),
        covariance=np.concatenate([unpacked(first[np.newaxis, 3:]), covariance]),
        valid_until_s=np.full(len(accepted) + 1, np.inf),
        between=Between.ODOMETRY,
    )


def _corrections(
    schedule: Schedule, record: Record, views: Views, motion: Motion, onward: Legs, detections: Detections
) -> Corrections:
    found, became = detections.chosen(schedule.order), record.arrivals
    rules = tuple(OUTCOMES[code] for code in became["rule"])
    looked = np.array([rule in (None, Rule.GATE, Rule.NOT_REQUESTED) for rule in rules], dtype=bool)
    size = np.where(looked, views.rows["components"], 0)
    whitened = np.where(np.arange(3) < size[:, np.newaxis], became["whitened"], np.nan)
    before = compose(became["before"], motion.lookup.legs(schedule.front_s[:-1], found.arrived_s).displacement)
    after = compose(became["after"], onward.displacement)
    refused = became["rule"] != ACCEPTED
    after[refused] = before[refused]
    return Corrections(
        captured_s=found.captured_s,
        arrived_s=found.arrived_s,
        tag=found.tag,
        row=found.row,
        rejected_by=rules,
        normalised_innovation_squared=became["squared"],
        degrees_of_freedom=size.astype(np.int64),
        whitened_innovation=whitened,
        reacquired=became["reset"],
        before=before,
        after=after,
    )


def _steps(schedule: Schedule, record: Record, detections: Detections) -> CorrectionSteps:
    steps = record.steps
    ranked = schedule.plan.arrival[steps["rank"]]
    return CorrectionSteps(
        arrived_s=schedule.arrived_s[steps["arrival"]],
        time_s=schedule.acts_s[ranked],
        row=detections.row[schedule.order[ranked]],
        heading_rad=steps["heading"],
        gain=steps["gain"],
        slope=steps["slope"],
        covariance=unpacked(steps["spread"]),
    )


def sweep_candidates(
    motion: Motion,
    start: StartPose,
    detections: Detections,
    field: FieldConfig,
    candidates: Sequence[FusionConfig],
    noise: MotionNoise,
    requests_s: FloatArray,
    queries_s: FloatArray,
) -> SweepResult:
    """Return what many candidates do with one stretch, on all cores.

    Parameters
    ----------
    motion, start
        The stretch.
    detections, field
        What was seen, and where its tags are.
    candidates
        Fusion files that go with the detections (`replace`, `fixed_gain` and `reacquire_after` need whole poses); their
        engines do not matter.
    noise
        The robot's motion noise, of which each candidate may replace single keys.
    requests_s
        (P,) when the driver asked for a correction, in order.
    queries_s
        (Q,) in order, inside the stretch: when published poses are wanted.
    """
    count, ids = len(candidates), tag_ids(detections)
    counts = np.zeros((count, len(OUTCOMES)), dtype=np.int64)
    published = np.empty((count, len(queries_s), 3))
    tags = tag_places(detections, field)
    for mode in LatencyMode:
        rows = [row for row, candidate in enumerate(candidates) if candidate.latency.mode is mode]
        if not rows:
            continue
        schedule = make_schedule(motion, start, detections, mode, requests_s, queries_s)
        views = make_views(schedule, motion, detections, tags[:, 0], ids, modelled(detections, tags))
        table = settings_table([candidates[row] for row in rows], noise, ids.tolist(), TagNoiseFrom.CANDIDATES)
        some, poses = counts[rows], published[rows]
        replay_candidates(schedule.plan, views, table, empty_record(0, 0), some, poses)
        counts[rows], published[rows] = some, poses
    return SweepResult(counts[:, ACCEPTED], counts[:, 1:], published)
