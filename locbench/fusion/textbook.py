"""Replays odometry and tag detections through a filter, sample by sample, with late detections handled exactly.

A detection has a capture time and a later arrival. What is published at a time uses exactly the detections that have
arrived by then, applied in the order of capture, then odometry. A verdict is taken once, on arrival, against the
state at capture built from what had arrived, and is never taken again. So is the decision to give the belief up for
a fix: applied again after a later arrival, it gives the belief up again.
"""

from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from locbench.arrays import FloatArray
from locbench.config import CorrectionMode, FusionConfig, MotionNoise
from locbench.config.fusion import Correction
from locbench.fusion.corrections import Corrections, Rule
from locbench.fusion.engines import Belief, FilterSteps, corrected, correction_gain, make_filter
from locbench.fusion.estimators import Estimate
from locbench.fusion.order import applied_times, arrival_order
from locbench.fusion.reacquiring import AgreeingFixes
from locbench.fusion.requesting import OpenRequests
from locbench.fusion.rules import gate_threshold, refused_by_data
from locbench.fusion.steps import StepLog
from locbench.fusion.track import Between, Track
from locbench.odometry import Motion, doubted_noise, noise_of, rates_at
from locbench.session import StartPose
from locbench.vision import Measurement, Sightings, fix_measurement, measurement

__all__ = ["fuse_by_samples"]

# A node's place in time: odometry samples come before detections captured at the same time.
_Key = tuple[float, int]
_SAMPLE_RANK = -1
_ROWS_PER_PROGRESS = 2000
# How a filter of any mode takes a fix for which it gives its belief up.
_RESET = Correction(mode=CorrectionMode.REPLACE)


@dataclass(frozen=True)
class _Applied:
    """An accepted detection and how it corrects, also when it is run again."""

    measurement: Measurement
    correction: Correction


@dataclass
class _Timeline:
    """Beliefs at odometry samples and accepted detections, in order of time; the last one is the newest."""

    motion: Motion
    noise: MotionNoise
    sample_noise: FloatArray
    filter_steps: FilterSteps
    fusion: FusionConfig
    steps: StepLog = field(default_factory=StepLog)
    keys: list[_Key] = field(default_factory=list)
    beliefs: list[Belief] = field(default_factory=list)
    applied: list[_Applied | None] = field(default_factory=list)

    def push(self, key: _Key, belief: Belief, applied: _Applied | None) -> None:
        self.keys.append(key)
        self.beliefs.append(belief)
        self.applied.append(applied)

    def before(self, key: _Key) -> Belief:
        """Return the belief at the key's time from everything that comes before the key."""
        place = bisect_left(self.keys, key) - 1
        return self._advanced(self.beliefs[place], self.keys[place][0], key[0])

    def now(self, time_s: float) -> Belief:
        """Return the belief from everything known, carried on to `time_s`."""
        return self._advanced(self.beliefs[-1], self.keys[-1][0], time_s)

    def add_sample(self, time_s: float) -> Belief:
        belief = self.now(time_s)
        self.push((time_s, _SAMPLE_RANK), belief, None)
        return belief

    def apply(self, key: _Key, applied: _Applied, arrived_s: float) -> None:
        """Insert an accepted detection and run again what comes after it; verdicts stay as they are."""
        place = bisect_left(self.keys, key)
        belief = self.before(key)
        later = list(zip(self.keys[place:], self.applied[place:], strict=True))
        del self.keys[place:], self.beliefs[place:], self.applied[place:]
        self.push(key, self._corrected(belief, key, applied, arrived_s), applied)
        for later_key, later_applied in later:
            belief = self.now(later_key[0])
            if later_applied is not None:
                belief = self._corrected(belief, later_key, later_applied, arrived_s)
            self.push(later_key, belief, later_applied)

    def _corrected(self, belief: Belief, key: _Key, applied: _Applied, arrived_s: float) -> Belief:
        meant, correction = applied.measurement, applied.correction
        after = corrected(self.filter_steps, belief, meant, correction)
        if correction.mode is not CorrectionMode.NONE:
            gain, slope = correction_gain(belief, meant, correction), meant.jacobian(belief.mean)
            self.steps.add(arrived_s, key, float(after.mean[2]), gain, slope, meant.covariance)
        return after

    def forget_before(self, time_s: float) -> None:
        """Drop what no admissible detection can reach any more."""
        place = bisect_left(self.keys, (time_s, _SAMPLE_RANK)) - 1
        if place > 0:
            del self.keys[:place], self.beliefs[:place], self.applied[:place]

    def _advanced(self, belief: Belief, from_s: float, to_s: float) -> Belief:
        times = self.motion.time_s
        interval = int(np.searchsorted(times, from_s, side="right"))
        while from_s < to_s and interval < len(times):
            until = min(to_s, float(times[interval]))
            whole = float(times[interval] - times[interval - 1])
            fraction = (until - from_s) / whole
            if fraction == 1.0:
                twist, noise = self.motion.twist[interval], self.sample_noise[interval]
            else:
                twist = fraction * self.motion.twist[interval]
                doubted = self.motion.doubted[interval : interval + 1]
                noise = doubted_noise(twist[np.newaxis], np.array([until - from_s]), doubted, self.noise)[0]
            belief = self.filter_steps.predict(belief, twist, noise)
            from_s, interval = until, interval + 1
        return belief


@dataclass(frozen=True)
class _Verdict:
    """The rule that refuses a detection, or how it is applied; its innovation where a rule looked at the state."""

    rule: Rule | None
    applied: _Applied | None = None
    squared: float = float("nan")
    whitened: FloatArray = field(default_factory=lambda: np.zeros(0))
    reacquired: bool = False


@dataclass
class _Log:
    """Collects one row per detection offered."""

    index: list[int] = field(default_factory=list)
    verdict: list[_Verdict] = field(default_factory=list)
    before: list[FloatArray] = field(default_factory=list)
    after: list[FloatArray] = field(default_factory=list)

    def add(self, index: int, verdict: _Verdict, before: Belief, after: Belief) -> None:
        self.index.append(index)
        self.verdict.append(verdict)
        self.before.append(before.mean)
        self.after.append(after.mean)

    def as_corrections(self, sightings: Sightings) -> Corrections:
        detections, order = sightings.detections, np.array(self.index, dtype=np.int64)
        whitened = [verdict.whitened for verdict in self.verdict]
        return Corrections(
            captured_s=detections.captured_s[order],
            arrived_s=detections.arrived_s[order],
            tag=detections.tag[order],
            row=detections.row[order],
            rejected_by=tuple(verdict.rule for verdict in self.verdict),
            normalised_innovation_squared=np.array([verdict.squared for verdict in self.verdict], dtype=float),
            degrees_of_freedom=np.array([len(values) for values in whitened], dtype=np.int64),
            whitened_innovation=_filled_up(whitened),
            reacquired=np.array([verdict.reacquired for verdict in self.verdict], dtype=bool),
            before=np.array(self.before).reshape(-1, 3),
            after=np.array(self.after).reshape(-1, 3),
        )


def _filled_up(rows: list[FloatArray]) -> FloatArray:
    """Return (M, 3) with NaN where a row has fewer components."""
    full = np.full((len(rows), 3), np.nan)
    for number, values in enumerate(rows):
        full[number, : len(values)] = values
    return full


class _Published:
    """Published beliefs in arrays made beforehand: a two-hour log has more than a million of them."""

    def __init__(self, most: int) -> None:
        self._time_s, self._pose, self._covariance = np.empty(most), np.empty((most, 3)), np.empty((most, 3, 3))
        self._count = 0

    def add(self, time_s: float, belief: Belief) -> None:
        self._time_s[self._count] = time_s
        self._pose[self._count] = belief.mean
        self._covariance[self._count] = belief.covariance
        self._count += 1

    def as_track(self) -> Track:
        kept = slice(0, self._count)
        return Track(
            time_s=self._time_s[kept],
            pose=self._pose[kept],
            covariance=self._covariance[kept],
            valid_until_s=np.full(self._count, np.inf),
            between=Between.ODOMETRY,
        )


@dataclass
class _Receiver:
    """Judges each detection on its arrival; if it is believed applies it and publishes what it changes."""

    timeline: _Timeline
    sightings: Sightings
    applied_s: FloatArray
    refused: tuple[Rule | None, ...]
    requests: OpenRequests | None
    agreeing: AgreeingFixes | None
    published: _Published
    log: _Log = field(default_factory=_Log)

    def receive(self, index: int) -> None:
        detections = self.sightings.detections
        arrived = float(detections.arrived_s[index])
        key = (float(self.applied_s[index]), int(detections.row[index]))
        before = self.timeline.now(arrived)
        verdict = self._judged(index, key)
        after = before
        if verdict.rule is None and verdict.applied is not None:
            self.timeline.apply(key, verdict.applied, arrived)
            after = self.timeline.now(arrived)
            self.published.add(arrived, after)
        self.log.add(index, verdict, before, after)

    def _judged(self, index: int, key: _Key) -> _Verdict:
        if self.refused[index] is not None:
            return _Verdict(self.refused[index])
        timeline, fusion = self.timeline, self.timeline.fusion
        believed = timeline.before(key)
        applied = measurement(self.sightings, index, believed.mean)
        innovation = timeline.filter_steps.innovation(believed, applied)
        squared, whitened = innovation.normalised_squared, innovation.whitened
        # written so that a NaN, from a state that has broken down, is refused
        passes = squared <= gate_threshold(fusion, len(whitened))
        step = _Applied(applied, fusion.correction) if passes else self._regained(index, believed)
        rule = Rule.GATE if step is None else self._request_rule(index)
        if self.agreeing is not None and (passes or rule is None):
            self.agreeing.clear()
        return _Verdict(rule, step, squared, whitened, reacquired=rule is None and not passes)

    def _regained(self, index: int, believed: Belief) -> _Applied | None:
        """Return how to take a detection that the gate refuses, if it and those before it agree with each other."""
        if self.agreeing is None or not self.agreeing.extend(index, believed):
            return None
        return _Applied(fix_measurement(self.sightings, index), _RESET)

    def _request_rule(self, index: int) -> Rule | None:
        if self.requests is None or self.requests.answer(float(self.sightings.detections.arrived_s[index])):
            return None
        return Rule.NOT_REQUESTED


def fuse_by_samples(
    motion: Motion,
    start: StartPose,
    sightings: Sightings,
    fusion: FusionConfig,
    noise: MotionNoise,
    requests_s: FloatArray,
    progress: Callable[[float], None],
) -> Estimate:
    """Return what a filter would have published over one stretch, sample by sample; arguments as `fuse`."""
    filter_steps = make_filter(fusion.engine)
    sample_noise = noise_of(motion, noise)
    timeline = _Timeline(motion, noise, sample_noise, filter_steps, fusion)
    timeline.push((float(motion.time_s[0]), _SAMPLE_RANK), Belief(start.pose, start.covariance), None)
    applied_s = applied_times(sightings.detections, fusion.latency.mode)
    arrivals = arrival_order(sightings.detections, motion, fusion.latency.mode)
    published = _Published(len(motion.time_s) + len(arrivals))
    published.add(float(motion.time_s[0]), timeline.beliefs[0])
    refused = refused_by_data(sightings.detections, rates_at(motion, applied_s), fusion)
    requests = OpenRequests(requests_s, fusion.trust.request_window) if fusion.trust.only_on_request else None
    enough = fusion.trust.reacquire_after
    agreeing = None if enough is None else AgreeingFixes(sightings, applied_s, motion, noise, fusion, enough)
    receiver = _Receiver(timeline, sightings, applied_s, refused, requests, agreeing, published)
    waiting = 0
    for row, time_s in enumerate(motion.time_s[1:], start=1):
        if row % _ROWS_PER_PROGRESS == 0:
            progress(row / len(motion.time_s))
        while waiting < len(arrivals) and sightings.detections.arrived_s[arrivals[waiting]] < time_s:
            receiver.receive(int(arrivals[waiting]))
            waiting += 1
        published.add(float(time_s), timeline.add_sample(float(time_s)))
        timeline.forget_before(float(time_s) - fusion.latency.history)
    for late in arrivals[waiting:]:
        receiver.receive(int(late))
    steps = timeline.steps.as_steps()
    return Estimate(fusion.name, published.as_track(), noise, receiver.log.as_corrections(sightings), steps)
