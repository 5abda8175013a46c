"""results.json: SI units, every estimated number with its interval, method and count.

A section or number that cannot be given is null; the reason stands beside it in `why`.
"""

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

from locbench.statistics import ComparisonVerdict, ConsistencyVerdict, Remark, UncertainNumber

__all__ = [
    "AtMark",
    "BandShots",
    "ComparisonRecord",
    "Consistency",
    "CorrectionSummary",
    "Drift",
    "DriftSegment",
    "ErrorSummary",
    "EstimatorResult",
    "FindingRecord",
    "GoalCorrections",
    "MarkInDoubt",
    "OnTarget",
    "PooledConsistency",
    "PooledEstimator",
    "PooledResult",
    "Record",
    "ReferenceInterval",
    "ReferenceRecord",
    "Results",
    "SeenShots",
    "SegmentRecord",
    "SessionResult",
    "SuspectMotion",
    "TagResiduals",
]


class Record(BaseModel):
    """Base of everything that is written as JSON."""

    model_config = ConfigDict(extra="forbid", frozen=True)


class ErrorSummary(Record):
    """Errors against one reference; `coverage` is the share of comparisons at which the estimator had a pose."""

    count: int
    coverage: float
    position_rms_m: UncertainNumber
    position_mean_m: UncertainNumber
    position_cep50_m: UncertainNumber
    position_r95_m: UncertainNumber
    position_max_m: UncertainNumber
    position_last_m: UncertainNumber
    heading_rms_rad: UncertainNumber
    heading_max_rad: UncertainNumber


class DriftSegment(Record):
    """One segment between two references, and the error gained over it."""

    start_s: float
    end_s: float
    length_m: float
    position_error_m: float


class Drift(Record):
    """Relative-pose error over segments between marks (or equal parts of the truth), per length, turn and time.

    `outlying` lists the segments that gained more than four times the run's median per metre; `confounded` the groups
    of "metres", "turns" and "minutes" that never varied apart, so that errors per each of them are one thing.
    """

    segment_length_m: UncertainNumber
    position_per_metre: UncertainNumber
    heading_per_metre_rad: UncertainNumber
    heading_per_turn_rad: UncertainNumber
    position_per_minute_m: UncertainNumber
    outlying: list[DriftSegment]
    confounded: list[list[Literal["metres", "turns", "minutes"]]] = []


class Consistency(Record):
    """Normalised errors (NEES) and innovations (NIS) squared, per degree of freedom 1 when the filter is honest.

    `nis_median` compares the typical innovation with the typical one of an honest filter (again 1); unlike the mean it
    is not moved by a few wrong fixes. `nees_band95` holds the mean NEES of 95 % of runs like this one if what the
    estimator believes of its noise is true. `remarks` lists what an honest estimator would hardly show.
    """

    nees_mean: UncertainNumber
    nees_band95: tuple[float, float] | None
    nis_mean: UncertainNumber
    nis_band95: tuple[float, float] | None
    nis_median: UncertainNumber
    verdict: ConsistencyVerdict
    remarks: list[Remark] = []
    why: dict[str, str]


class GoalCorrections(Record):
    """What accepted detections did to the aim at one goal.

    The four counts say whether the landing point came nearer to the goal. A kick is how far the turret had to follow;
    following lasts as long as the turret needs at its slew rate.
    """

    goal: str
    helped: int | None
    hurt: int | None
    neutral: int | None
    undecided: int | None
    kick_rms_rad: UncertainNumber
    kick_max_rad: UncertainNumber
    follow_max_s: float | None
    follow_s_per_minute: float | None
    why: dict[str, str]


class CorrectionSummary(Record):
    """What became of the detections offered; offered = accepted + the sum of rejected.

    `unreferenced` counts those undecided because nothing tells where the robot was at the time. `idle_rules` are trust
    rules that never could refuse anything, because the log does not report what they look at. `reacquired` counts the
    accepted ones for which the belief was given up; None where the fusion file does not ask for that.
    """

    offered: int
    accepted: int
    rejected: dict[str, int]
    helped: int | None
    hurt: int | None
    neutral: int | None
    undecided: int | None
    unreferenced: int | None
    idle_rules: list[str] = []
    reacquired: int | None = None
    goals: list[GoalCorrections]
    jump_rms_m: UncertainNumber
    jump_max_m: UncertainNumber
    jump_max_rad: UncertainNumber
    longest_without_s: float
    why: dict[str, str]


class SeenShots(Record):
    """What shots from places in one band did, however few they were."""

    range_m: UncertainNumber
    miss_rms_m: UncertainNumber
    lateral_rms_m: UncertainNumber
    along_rms_m: UncertainNumber
    hit_probability: UncertainNumber


class BandShots(Record):
    """Shots aimed from the believed pose, from places in one distance band (from included, to not) of one goal.

    `basis` says where the figures come from: measured with at least 20 independent shots; below, predicted from the
    estimator's own covariance, or transported from errors measured elsewhere, or null. `needed` more independent places
    would make them measured; `seen` is what the shots from this band did, `hits` how many of them entered cleanly.
    """

    band: str
    goal: str
    from_m: float
    to_m: float
    range_m: UncertainNumber
    miss_rms_m: UncertainNumber
    lateral_rms_m: UncertainNumber
    along_rms_m: UncertainNumber
    hit_probability: UncertainNumber
    hits: int | None
    cannot_aim: int
    basis: Literal["measured", "predicted", "transported"]
    needed: int = 0
    seen: SeenShots | None = None


class TagResiduals(Record):
    """Fix minus the pose published just before its picture: tags and estimator judged together, no error of the pose.

    What both share, such as a tag hung in the wrong place, is not in it; every fix counts, wrong and refused ones too.
    """

    residual_rms_m: UncertainNumber
    residual_median_m: UncertainNumber
    residual_heading_rms_rad: UncertainNumber


class OnTarget(Record):
    """For which share of the time a shot aimed from the believed pose would have gone cleanly into a goal."""

    goal: str
    share: UncertainNumber


class EstimatorResult(Record):
    """Everything known about one estimator in one session; `correction_mode` is None if it takes no corrections."""

    correction_mode: Literal["none", "replace", "fixed_gain", "kalman"] | None
    marks: ErrorSummary | None
    truth: ErrorSummary | None
    drift: Drift | None
    consistency: Consistency
    corrections: CorrectionSummary | None
    shots: list[BandShots]
    on_target: list[OnTarget]
    why: dict[str, str]
    tag_residuals: TagResiduals | None = None


class ReferenceInterval(Record):
    """The time between two places where the robot stood, and whether odometry closes between them.

    `chi_square` is the squared normalised miss of the second place, with `degrees_of_freedom`. A broken interval judges
    no correction; in the others the odometry noise was scaled by `noise_scale` to agree.
    """

    from_place: str
    to_place: str
    start_s: float
    end_s: float
    chi_square: float
    degrees_of_freedom: int
    noise_scale: float
    broken: bool
    why: str | None


class ReferenceRecord(Record):
    """What single corrections were judged by: the dense truth, or the marks with odometry between them.

    `share_known` is the share of the time at which it tells where the robot was, `position_std_m` its median standard
    uncertainty per coordinate there.
    """

    kind: Literal["dense truth", "marks", "dense truth and marks"]
    share_known: float
    position_std_m: UncertainNumber
    intervals: list[ReferenceInterval]


class FindingRecord(Record):
    """A problem found in the log."""

    code: str
    severity: Literal["error", "warning", "note"]
    where: str
    message: str
    value: str | None
    remedy: str


class SegmentRecord(Record):
    """A stretch over which estimators ran without a break."""

    names: list[str]
    start_s: float
    end_s: float
    path_length_m: float


class SuspectMotion(Record):
    """Where odometry looks like a slip, a lifted pod or a shove: how long in all, in how many places, when first."""

    duration_s: float
    places: int
    first_s: float


class SessionResult(Record):
    """One session; `suspect_motion` is None where odometry nowhere looks doubtful."""

    name: str
    evidence: Literal["A", "B", "C", "D"]
    duration_s: float
    path_length_m: float
    turns_absolute: float
    segments: list[SegmentRecord]
    findings: list[FindingRecord]
    reference: ReferenceRecord | None
    estimators: dict[str, EstimatorResult]
    estimators_left_out: dict[str, str]
    suspect_motion: SuspectMotion | None = None


class PooledConsistency(Record):
    """Mean NEES over one comparison of each session, which are independent, and its chi-square band."""

    nees_mean: UncertainNumber
    nees_band95: tuple[float, float] | None
    why: dict[str, str]


class AtMark(Record):
    """One mark visited at least twice, and one estimator, over all sessions.

    Bias is the mean believed minus surveyed position; accuracy its length and repeatability the mean distance from the
    barycentre plus three standard deviations, as in ISO 9283. `position_std_m` is the mark's own.
    """

    mark: str
    estimator: str
    visits: int
    sessions: int
    position_std_m: float
    bias_x_m: UncertainNumber
    bias_y_m: UncertainNumber
    accuracy_m: UncertainNumber
    repeatability_m: UncertainNumber
    heading_accuracy_rad: UncertainNumber
    heading_repeatability_rad: UncertainNumber


class MarkInDoubt(Record):
    """A mark that estimators with and without fixes miss alike: how far its surveyed place seems off along an axis."""

    mark: str
    axis: Literal["x", "y"]
    low_m: float
    high_m: float


class ComparisonRecord(Record):
    """One estimator's error minus another's, paired by the same places; negative is better.

    `session` is None for all sessions together; `sessions` and `parts` (of the way between marks) say how many
    it rests on. From six sessions on the verdict is "better", "worse" or "no_clear_gain"; below, no more than
    "better_here" or "worse_here".
    """

    session: str | None
    estimator: str
    against: str
    measure: Literal["position_rms_m", "heading_rms_rad", "miss_rms_m"]
    difference: UncertainNumber
    sessions: int
    parts: int
    verdict: ComparisonVerdict


class PooledEstimator(Record):
    """One estimator over all sessions that have it."""

    sessions: int
    marks: ErrorSummary | None
    truth: ErrorSummary | None
    shots: list[BandShots]
    between_session_std_m: UncertainNumber
    consistency: PooledConsistency | None = None
    why: dict[str, str]


class PooledResult(Record):
    """Several sessions taken together."""

    estimators: dict[str, PooledEstimator]


class Results(Record):
    """The whole of results.json."""

    schema_: Annotated[Literal[1], Field(alias="schema")] = 1
    locbench: str
    command: str
    units: Literal["SI"] = "SI"
    evidence: Literal["A", "B", "C", "D"]
    sessions: list[SessionResult]
    pooled: PooledResult | None
    comparisons: list[ComparisonRecord] = []
    at_marks: list[AtMark] = []
    marks_in_doubt: list[MarkInDoubt] = []
