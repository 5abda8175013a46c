"""Everything that tells of slips in one stretch, put together: sensors, counters, tags and marks."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import erf

from locbench.slip.alarms import limits
from locbench.slip.by_corrections import CorrectionSlip, PoseChecks, narrowed, slips_by_corrections
from locbench.slip.counters import CounterFault
from locbench.slip.events import Candidate, slips
from locbench.slip.kinds import SlipChannel, SlipFault
from locbench.slip.steps import Steps

__all__ = ["Event", "events_of"]

# what two channels see this near each other is one event
_NEAR_S, _COUNTER_S = 0.5, 0.15
# sizes of one slip told twice differ by no more standard deviations
_CONSISTENT = 3.0


@dataclass(frozen=True)
class Event:
    """Something slipped or failed between two times, found at a third; candidates are the likeliest first.

    `alone` is whether one sensor explains it; if not, several slipped at once, and those that moved the pose are named
    first. `decided_by` is the channel that left out candidates, None if none did.
    """

    fault: SlipFault
    channel: SlipChannel
    decided_by: SlipChannel | None
    first_s: float
    last_s: float
    found_s: float
    candidates: tuple[Candidate, ...]
    alone: bool
    confidence: float
    spans: tuple[tuple[float, float], ...] = ()

    def span_of(self, index: int) -> tuple[float, float]:
        """Return when a candidate slipped: where several did at once, each has its own times in `spans`."""
        return self.spans[index] if self.spans else (self.first_s, self.last_s)

    def is_near(self, first_s: float, last_s: float, within_s: float) -> bool:
        """Whether it overlaps a while, or almost."""
        return self.first_s <= last_s + within_s and self.last_s >= first_s - within_s


def events_of(
    steps: Steps | None,
    faults: Sequence[CounterFault],
    checks: Sequence[tuple[SlipChannel, PoseChecks]],
    per_minute: float,
) -> list[Event]:
    """Return the events of a stretch in order of time.

    Parameters
    ----------
    steps
        Contradictions of the sensors; None where nothing contradicts anything.
    faults
        Of the counters.
    checks
        Of the pose: by tags, by marks. What the first of them tells the others need not tell again.
    per_minute
        False alarms allowed; each channel has its part.
    """
    share = per_minute / ((steps is not None) + len(checks) or 1)
    events = [] if steps is None else _by_parity(steps, share)
    events = _with_counters(events, faults)
    told: list[Event] = []
    for channel, pose in checks:
        known = [*told, *(event for event in events if not event.alone)]
        found = [one for one in slips_by_corrections(pose, share) if not _is_told(one, known)]
        events, added = _with_corrections(events, found, channel)
        events = [_decided(event, channel, pose, found) for event in events]
        told += added
    return sorted([*events, *told], key=lambda event: event.first_s)


def _by_parity(steps: Steps, per_minute: float) -> list[Event]:
    limit = limits(per_minute, steps.checks.redundancy, len(steps.checks.sets))
    return [
        Event(
            fault=SlipFault.SLIP,
            channel=SlipChannel.PARITY,
            decided_by=None,
            first_s=float(steps.time_s[slip.first]),
            last_s=float(steps.time_s[slip.last]),
            found_s=float(steps.time_s[slip.found + 1]),
            candidates=slip.candidates,
            alone=slip.alone,
            confidence=slip.confidence,
        )
        for slip in slips(steps, limit)
    ]


def _with_counters(events: list[Event], faults: Sequence[CounterFault]) -> list[Event]:
    """Return events with those that a failed counter explains named so, and failures that nothing contradicted."""
    kept = list(events)
    for fault in faults:
        mine = [
            event
            for event in kept
            if event.is_near(fault.first_s, fault.last_s, _COUNTER_S)
            and any(one.sensor == fault.sensor for one in event.candidates)
        ]
        kept = [event for event in kept if event not in mine]
        kept.append(_failed(fault, mine))
    return kept


def _failed(fault: CounterFault, contradicted: Sequence[Event]) -> Event:
    lacks, std = fault.lacks, fault.std
    if len(contradicted) == 1:
        # the other sensors know better than the counter itself what it lacks
        known = next(one for one in contradicted[0].candidates if one.sensor == fault.sensor)
        lacks, std = known.lacks, known.std
    sure = float(erf(abs(lacks) / (std * 2.0**0.5)))
    return Event(
        fault=fault.fault,
        channel=SlipChannel.COUNTER,
        decided_by=SlipChannel.COUNTER if contradicted else None,
        first_s=min([fault.first_s, *(event.first_s for event in contradicted)]),
        last_s=max([fault.last_s, *(event.last_s for event in contradicted)]),
        found_s=min([fault.last_s, *(event.found_s for event in contradicted)]),
        candidates=(Candidate(fault.sensor, lacks, std, 1.0),),
        alone=True,
        confidence=max([sure, *(event.confidence for event in contradicted)]),
    )


def _is_told(slip: CorrectionSlip, told: Sequence[Event]) -> bool:
    return any(_near(event, slip) for event in told)


def _near(event: Event, slip: CorrectionSlip) -> bool:
    """Whether checks may tell of an event: it lies near, or since the last check that knew nothing of the slip."""
    first_s = min(slip.first_s - _NEAR_S, slip.since_s)
    return event.is_near(first_s, slip.last_s + _NEAR_S, 0.0)


def _with_corrections(
    events: list[Event], found: Sequence[CorrectionSlip], channel: SlipChannel
) -> tuple[list[Event], list[Event]]:
    """Return events with what a channel tells of them, and the events that it alone tells."""
    kept, added = list(events), list[Event]()
    for slip in found:
        near = [event for event in kept if _near(event, slip)]
        if any(_is_failed_counter(event, slip) for event in near):
            continue
        near = [event for event in near if event.channel is not SlipChannel.COUNTER]
        same = [event for event in near if _agreeing(event, slip)]
        if same:
            chosen = same[0]
            kept[kept.index(chosen)] = replace(chosen, candidates=_agreeing(chosen, slip), decided_by=channel)
            continue
        kept = [event for event in kept if event not in near]
        (kept if near else added).append(_together(slip, near, channel))
    return kept, added


def _is_failed_counter(event: Event, slip: CorrectionSlip) -> bool:
    """Whether a failed counter, whose readings tell more of it than the pose does, is what the corrections tell."""
    sensors = {one.sensor for one in slip.candidates}
    return event.channel is SlipChannel.COUNTER and event.candidates[0].sensor in sensors


def _together(slip: CorrectionSlip, near: Sequence[Event], channel: SlipChannel) -> Event:
    """Return a slip told by corrections, and what else happened at that moment, as one event: a shove, mostly.

    What moved the pose is named first, by how likely it took part.
    """
    parts = {one.sensor: (one, (slip.first_s, slip.last_s)) for one in slip.candidates}
    for event in near:
        for index, one in enumerate(event.candidates):
            parts.setdefault(one.sensor, (one, event.span_of(index)))
    # sensors that contradict each other know best when it was
    first_s = min((event.first_s for event in near), default=slip.first_s)
    return Event(
        fault=SlipFault.SLIP,
        channel=channel,
        decided_by=None,
        first_s=first_s,
        last_s=max((event.last_s for event in near), default=slip.last_s),
        found_s=max(min([slip.found_s, *(event.found_s for event in near)]), first_s),
        candidates=tuple(one for one, _ in parts.values()),
        spans=tuple(span for _, span in parts.values()) if near else (),
        alone=not near,
        confidence=max([slip.confidence, *(event.confidence for event in near)]),
    )


def _agreeing(event: Event, slip: CorrectionSlip) -> tuple[Candidate, ...]:
    """Return the candidates of an event that a slip told by corrections has too, and of about that size."""
    told = {one.sensor: one for one in slip.candidates}
    agreeing = [
        one
        for one in event.candidates
        if one.sensor in told
        and abs(one.lacks - told[one.sensor].lacks) <= _CONSISTENT * np.hypot(one.std, told[one.sensor].std)
    ]
    if not agreeing:
        return ()
    belief = np.array([told[one.sensor].probability for one in agreeing])
    belief /= np.sum(belief)
    return tuple(replace(one, probability=float(share)) for one, share in zip(agreeing, belief, strict=True))


def _decided(event: Event, channel: SlipChannel, pose: PoseChecks, found: Sequence[CorrectionSlip]) -> Event:
    """Return an event with the candidates that checks of the pose leave; not while several things slipped at once."""
    if event.decided_by is not None or not event.alone or event.channel is not SlipChannel.PARITY:
        return event
    middle = (event.first_s + event.last_s) / 2.0
    others = [slip for slip in found if not _near(event, slip)]
    left = narrowed(event.candidates, middle, pose, others)
    return event if left is None else replace(event, candidates=left, decided_by=channel)
