"""tracks.json: what the pictures show, computed beforehand and thinned, so that the report computes nothing."""

from typing import Annotated, Literal

from pydantic import Field

from locbench.results.models import Record

__all__ = [
    "CorrectionMarks",
    "DriftPoint",
    "Ellipse",
    "ErrorSeries",
    "EstimatorTrack",
    "FieldDrawing",
    "GoalDrawing",
    "LandingPoint",
    "Opening",
    "Place",
    "SessionTracks",
    "TagDrawing",
    "Tracks",
]


class Place(Record):
    """A named point of the floor."""

    name: str
    x_m: float
    y_m: float


class TagDrawing(Record):
    """A tag and where its printed side faces."""

    id: int
    x_m: float
    y_m: float
    facing_rad: float


class GoalDrawing(Record):
    """A goal seen from above: its outline is closed."""

    name: str
    x_m: float
    y_m: float
    outline_x_m: list[float]
    outline_y_m: list[float]


class FieldDrawing(Record):
    """The floor seen from above."""

    x_from_m: float
    x_to_m: float
    y_from_m: float
    y_to_m: float
    tags: list[TagDrawing]
    marks: list[Place]
    goals: list[GoalDrawing]


class Ellipse(Record):
    """The region that holds the position with 95 % probability as the estimator believes."""

    time_s: float
    x_m: float
    y_m: float
    semi_major_m: float
    semi_minor_m: float
    angle_rad: float


class ErrorSeries(Record):
    """Position and heading error over time; None where the estimator had no pose or the reference no heading.

    `believed_95_m` is the radius within which the estimator believes its position to be, with 95 % probability.
    """

    time_s: list[float]
    position_m: list[float | None]
    heading_rad: list[float | None]
    believed_95_m: list[float | None]


class AimMarks(Record):
    """What every detection offered did to the aim at one goal: verdict on the landing point, and the turret's kick."""

    verdict: list[str | None]
    kick_rad: list[float | None]


class CorrectionMarks(Record):
    """Detections offered, at their arrival `time_s`; with capture time, tag, row of the log, and the jump caused.

    A fix from several tags has their numbers with plus signs between.

    `outcome` is "accepted" or the rule that refused it; `reacquired` says that the belief was given up for it.

    `verdict` is "helped", "hurt", "neutral", "undecided", or None if it was refused or cannot be judged.
    `error_after_m` is the position error just after, or None without a reference. `aims` has an entry per goal.
    """

    time_s: list[float]
    captured_s: list[float]
    tag: list[int | str]
    row: list[int]
    jump_m: list[float]
    outcome: list[str]
    reacquired: list[bool]
    verdict: list[str | None]
    error_after_m: list[float | None]
    aims: dict[str, AimMarks]


class DriftPoint(Record):
    """One segment between two references: when, how long, how much turned, how far off at its end."""

    start_s: float
    length_m: float
    turn_rad: float
    duration_s: float
    position_error_m: float
    heading_error_rad: float | None


class LandingPoint(Record):
    """Where a shot aimed from the believed pose would land: about the goal's centre, seen along the line of fire.

    Lateral is positive to the left of the line from robot to goal, along positive beyond the goal.
    """

    place: str
    band: str
    goal: str
    range_m: float
    lateral_m: float
    along_m: float
    inside: bool | None


class Opening(Record):
    """The outline of a goal's opening, and of where the projectile's centre must pass, in lateral and along.

    The outlines are closed; `clean_*` is empty without a shooter file.
    """

    goal: str
    outline_lateral_m: list[float]
    outline_along_m: list[float]
    clean_lateral_m: list[float]
    clean_along_m: list[float]


class EstimatorTrack(Record):
    """One estimator's path, ellipses, errors, corrections, drift and landing points."""

    time_s: list[float]
    x_m: list[float | None]
    y_m: list[float | None]
    ellipses: list[Ellipse]
    truth_error: ErrorSeries | None
    mark_error: ErrorSeries | None
    corrections: CorrectionMarks | None
    drift: list[DriftPoint]
    landings: list[LandingPoint]


class SessionTracks(Record):
    """One session's pictures."""

    name: str
    field: FieldDrawing
    reference: Literal["dense truth", "odometry between marks", "none"]
    reference_x_m: list[float | None]
    reference_y_m: list[float | None]
    visits: list[Place]
    openings: list[Opening]
    estimators: dict[str, EstimatorTrack]


class Tracks(Record):
    """The whole of tracks.json."""

    schema_: Annotated[Literal[1], Field(alias="schema")] = 1
    locbench: str
    sessions: list[SessionTracks]
