"""A small evaluation built by hand: known numbers in, so that what is printed and drawn can be checked."""

from dataclasses import dataclass

import numpy as np

from locbench.results import (
    AimMarks,
    BandShots,
    Consistency,
    CorrectionMarks,
    CorrectionSummary,
    Drift,
    DriftPoint,
    DriftSegment,
    Ellipse,
    ErrorSeries,
    ErrorSummary,
    EstimatorResult,
    EstimatorTrack,
    FieldDrawing,
    FindingRecord,
    GoalCorrections,
    GoalDrawing,
    LandingPoint,
    OnTarget,
    Opening,
    Place,
    PooledConsistency,
    PooledEstimator,
    PooledResult,
    ReferenceInterval,
    ReferenceRecord,
    Results,
    SegmentRecord,
    SessionResult,
    SessionTracks,
    TagDrawing,
    Tracks,
)
from locbench.statistics import Remark, RemarkCode, UncertainNumber, judge_consistency, measured, unavailable

SCRIPT_NAME = "<script>alert(1)</script>"
MARKUP_NAME = "[red]x[/red]"
FILTER = "gated_kalman"
NOTHING_TO_JUDGE_BY = "judging single corrections needs a dense ground truth or visits to surveyed marks"
FEW = "no interval: these are worth 2.1 independent ones; 6 are needed"


@dataclass(frozen=True)
class Evaluation:
    results: Results
    tracks: Tracks


def number(value: float, low: float | None = None, high: float | None = None, n: int = 14) -> UncertainNumber:
    interval = None if low is None or high is None else (low, high)
    return measured(value, interval, n, "root mean square; chi-square interval", None if interval else FEW)


def errors(rms: UncertainNumber, last: UncertainNumber, coverage: float = 1.0) -> ErrorSummary:
    heading = number(np.radians(1.25), np.radians(0.9), np.radians(2.1))
    return ErrorSummary(
        count=rms.n,
        coverage=coverage,
        position_rms_m=rms,
        position_mean_m=number(0.02),
        position_cep50_m=number(0.02),
        position_r95_m=unavailable("needs 20 independent errors", n=14),
        position_max_m=number(0.06),
        position_last_m=last,
        heading_rms_rad=heading,
        heading_max_rad=heading,
    )


def drift() -> Drift:
    return Drift(
        segment_length_m=number(2.5),
        position_per_metre=number(0.0063, 0.0046, 0.0100),
        heading_per_metre_rad=number(0.005),
        heading_per_turn_rad=unavailable("no segment turns by a quarter turn or more"),
        position_per_minute_m=number(0.2),
        outlying=[DriftSegment(start_s=12.0, end_s=21.0, length_m=4.0, position_error_m=0.2)],
    )


def shots(band: str, hit: UncertainNumber, miss: UncertainNumber) -> BandShots:
    return BandShots(
        band=band,
        goal="east bin",
        from_m={"near": 0.0, "far": 3.0, "corner": 4.0}[band],
        to_m={"near": 2.0, "far": 4.0, "corner": 6.0}[band],
        range_m=miss if miss.value is None else number(1.5 if band == "near" else 3.4, n=miss.n),
        miss_rms_m=miss,
        lateral_rms_m=miss,
        along_rms_m=miss,
        hit_probability=hit,
        hits=None if hit.value is None else round(hit.value * hit.n),
        cannot_aim=0,
        basis="measured",
    )


def all_bands(share: float) -> list[BandShots]:
    empty = unavailable("no place in this band: drive here and stop on marks")
    return [
        shots("near", number(1.0, 0.7, 1.0, n=12), number(0.03, 0.02, 0.05, n=12)),
        shots("far", number(share, 0.35, 0.86, n=12), number(0.09, n=12)),
        shots("corner", empty, empty),
    ]


def aim_corrections(judged: bool) -> GoalCorrections:
    return GoalCorrections(
        goal="east bin",
        helped=1 if judged else None,
        hurt=2 if judged else None,
        neutral=0 if judged else None,
        undecided=1 if judged else None,
        kick_rms_rad=number(np.radians(1.5), np.radians(1.1), np.radians(2.4), n=4),
        kick_max_rad=number(np.radians(3.6), n=4),
        follow_max_s=0.012,
        follow_s_per_minute=0.1,
        why={} if judged else {"helped": NOTHING_TO_JUDGE_BY},
    )


def reference(evidence: str) -> ReferenceRecord | None:
    if evidence not in "AB":
        return None
    closing = ReferenceInterval(
        from_place="start",
        to_place="M1",
        start_s=3.0,
        end_s=12.0,
        chi_square=4.5,
        degrees_of_freedom=3,
        noise_scale=1.5,
        broken=False,
        why=None,
    )
    missing = closing.model_copy(
        update={"from_place": "M1", "to_place": "$M$", "start_s": 13.0, "end_s": 20.0, "chi_square": 30.0}
        | {"noise_scale": 10.0, "broken": True, "why": "odometry misses the next mark"}
    )
    return ReferenceRecord(
        kind="dense truth" if evidence == "A" else "marks",
        share_known=1.0 if evidence == "A" else 0.57,
        position_std_m=number(0.002, n=880),
        intervals=[] if evidence == "A" else [closing, closing, missing],
    )


def corrections(judged: bool) -> CorrectionSummary:
    return CorrectionSummary(
        offered=6,
        accepted=4,
        rejected={"range": 1, "gate": 1},
        helped=2 if judged else None,
        hurt=1 if judged else None,
        neutral=1 if judged else None,
        undecided=0 if judged else None,
        unreferenced=0 if judged else None,
        goals=[aim_corrections(judged)],
        jump_rms_m=number(0.034, 0.021, 0.062, n=4),
        jump_max_m=number(0.07, n=4),
        jump_max_rad=number(0.01, n=4),
        longest_without_s=3.5,
        why={} if judged else {"helped": NOTHING_TO_JUDGE_BY},
    )


def on_fixes(typical: UncertainNumber) -> list[Remark]:
    """The remark that goes with an interval without 1."""
    if typical.ci95 is None or typical.ci95[0] <= 1.0 <= typical.ci95[1]:
        return []
    return [Remark(RemarkCode.FIXES_FURTHER if typical.ci95[0] > 1.0 else RemarkCode.FIXES_CLOSER, typical, None)]


def consistency(nis: float | None) -> Consistency:
    if nis is None:
        missing = unavailable("no corrections")
        return Consistency(
            nees_mean=missing,
            nees_band95=None,
            nis_mean=missing,
            nis_band95=None,
            nis_median=missing,
            verdict=judge_consistency(missing),
            why={},
        )
    return Consistency(
        nees_mean=number(1.1),
        nees_band95=None,
        nis_mean=number(nis),
        nis_band95=(0.9, 1.12),
        nis_median=number(nis, 0.8 * nis, 1.2 * nis),
        verdict=judge_consistency(number(nis, 0.8 * nis, 1.2 * nis)),
        remarks=on_fixes(number(nis, 0.8 * nis, 1.2 * nis)),
        why={"nees_band95": FEW},
    )


def estimators(evidence: str) -> dict[str, EstimatorResult]:
    referenced = evidence in "AB"
    reckoning = errors(number(0.1, 0.08, 0.14), number(0.143, 0.139, 0.147, n=1))
    fused = errors(number(0.031, 0.024, 0.045), number(0.02, n=1))
    why = {} if referenced else {"marks": "no mark visit in this log", "shots": "shots need marks"}
    if evidence != "A":
        why["truth"] = "no dense ground truth in this log"

    def one(summary: ErrorSummary, fixes: CorrectionSummary | None, nis: float | None, share: float):
        return EstimatorResult(
            correction_mode=None if fixes is None else "kalman",
            marks=summary if referenced else None,
            truth=summary if evidence == "A" else None,
            drift=drift() if referenced else None,
            consistency=consistency(nis),
            corrections=fixes,
            shots=all_bands(share) if referenced else [],
            on_target=[OnTarget(goal="east bin", share=number(share, 0.4, 0.9))] if referenced else [],
            why=why,
        )

    found = {"dead_reckoning": one(reckoning, None, None, 0.5)}
    if evidence != "D":
        found[FILTER] = one(fused, corrections(referenced), 1.83, 8.0 / 12.0)
        found[MARKUP_NAME] = one(errors(number(0.2, 0.16, 0.28), number(0.3), 0.8), corrections(referenced), 0.41, 0.25)
    return found


def session_result(evidence: str, name: str) -> SessionResult:
    return SessionResult(
        name=name,
        evidence=evidence,
        duration_s=88.0,
        path_length_m=38.1,
        turns_absolute=5.0,
        segments=[SegmentRecord(names=["whole log"], start_s=0.0, end_s=88.0, path_length_m=38.1)],
        findings=[
            FindingRecord(
                code="time_gap",
                severity="warning",
                where="odometry.csv, row 12",
                message="a gap of 0.4 s",
                value="<b>0.4</b>",
                remedy="check the logger",
            ),
            FindingRecord(
                code="gyro_bias", severity="note", where="", message="[bold]the gyro drifts", value=None, remedy=""
            ),
        ],
        reference=reference(evidence),
        estimators=estimators(evidence),
        estimators_left_out={"onboard": "the log has no [onboard] table"},
    )


def series(scale: float) -> ErrorSeries:
    return ErrorSeries(
        time_s=[0.0, 30.0, 60.0, 88.0],
        position_m=[0.004 * scale, 0.02 * scale, None, 0.03 * scale],
        heading_rad=[0.0, 0.01, None, 0.02],
        believed_95_m=[0.01, 0.03, None, 0.04],
    )


def landings() -> list[LandingPoint]:
    return [
        LandingPoint(place="M1", band="near", goal="east bin", range_m=1.5, lateral_m=0.02, along_m=-0.01, inside=True),
        LandingPoint(place="M2", band="far", goal="east bin", range_m=3.4, lateral_m=-0.2, along_m=0.1, inside=False),
        LandingPoint(place="=M3", band="far", goal="east bin", range_m=3.5, lateral_m=2.0, along_m=0.0, inside=False),
    ]


def track(evidence: str, scale: float, filtering: bool) -> EstimatorTrack:
    referenced = evidence in "AB"
    return EstimatorTrack(
        time_s=[0.0, 1.0, 2.0, 3.0],
        x_m=[0.7, 1.5, None, 3.0],
        y_m=[0.8, 0.9, None, 0.8],
        ellipses=[Ellipse(time_s=1.0, x_m=1.5, y_m=0.9, semi_major_m=0.1, semi_minor_m=0.05, angle_rad=0.3)],
        truth_error=series(scale) if evidence == "A" else None,
        mark_error=series(scale) if referenced else None,
        corrections=(
            CorrectionMarks(
                time_s=[5.0, 10.0, 20.0, 30.0, 40.0, 50.0],
                captured_s=[4.9, 9.9, 19.9, 29.9, 39.9, 49.9],
                tag=[1, 5, 5, 2, 1, 1],
                row=[1, 2, 3, 4, 5, 6],
                jump_m=[0.03, 0.0, 0.04, 0.0, 0.001, 0.02],
                outcome=["accepted", "range", "accepted", "gate", "accepted", "accepted"],
                reacquired=[False] * 5 + [True],
                verdict=["helped", None, "hurt", None, "neutral", "helped"] if referenced else [None] * 6,
                error_after_m=[0.01, 0.02, 0.05, 0.02, 0.02, 0.01] if referenced else [None] * 6,
                aims={
                    "east bin": AimMarks(
                        verdict=["helped", None, "hurt", None, "hurt", "undecided"] if referenced else [None] * 6,
                        kick_rad=[0.01, None, 0.02, None, 0.0, 0.063],
                    )
                },
            )
            if filtering
            else None
        ),
        drift=(
            [
                DriftPoint(
                    start_s=3.0,
                    length_m=2.5,
                    turn_rad=1.0,
                    duration_s=5.0,
                    position_error_m=0.02 * scale,
                    heading_error_rad=0.01,
                ),
                DriftPoint(
                    start_s=12.0,
                    length_m=4.0,
                    turn_rad=2.0,
                    duration_s=9.0,
                    position_error_m=0.05 * scale,
                    heading_error_rad=None,
                ),
            ]
            if referenced
            else []
        ),
        landings=landings() if referenced else [],
    )


def session_tracks(evidence: str, name: str) -> SessionTracks:
    angle = np.linspace(0.0, 2.0 * np.pi, 25)
    rim = [float(value) for value in 0.18 * np.sin(angle)], [float(value) for value in 0.18 * np.cos(angle)]
    drawn = {"dead_reckoning": track(evidence, 4.0, filtering=False)}
    if evidence != "D":
        drawn[FILTER] = track(evidence, 1.0, filtering=True)
        drawn[MARKUP_NAME] = track(evidence, 8.0, filtering=True)
    return SessionTracks(
        name=name,
        field=FieldDrawing(
            x_from_m=0.0,
            x_to_m=4.0,
            y_from_m=0.0,
            y_to_m=4.0,
            tags=[TagDrawing(id=5, x_m=0.0, y_m=2.9, facing_rad=0.0)],
            marks=[Place(name="S1", x_m=0.7, y_m=0.8), Place(name="$M$", x_m=3.2, y_m=0.75)],
            goals=[
                GoalDrawing(
                    name="east bin",
                    x_m=4.25,
                    y_m=2.0,
                    outline_x_m=[4.25 + value for value in rim[0]],
                    outline_y_m=[2.0 + value for value in rim[1]],
                )
            ],
        ),
        reference={"A": "dense truth", "B": "odometry between marks"}.get(evidence, "none"),
        reference_x_m={"A": [0.7, 1.6, 3.1], "B": [0.7, None, 3.1]}.get(evidence, []),
        reference_y_m={"A": [0.8, 1.0, 0.8], "B": [0.8, None, 0.8]}.get(evidence, []),
        visits=[Place(name="S1", x_m=0.7, y_m=0.8)] if evidence in "AB" else [],
        openings=[
            Opening(
                goal="east bin",
                outline_lateral_m=rim[0],
                outline_along_m=rim[1],
                clean_lateral_m=[0.8 * value for value in rim[0]],
                clean_along_m=[0.7 * value for value in rim[1]],
            )
        ],
        estimators=drawn,
    )


def evaluation(evidence: str, name: str = SCRIPT_NAME) -> Evaluation:
    return Evaluation(
        Results(
            schema=1,
            locbench="0.1.0",
            command="evaluate",
            evidence=evidence,
            sessions=[session_result(evidence, name)],
            pooled=None,
        ),
        Tracks(schema=1, locbench="0.1.0", sessions=[session_tracks(evidence, name)]),
    )


def two_evaluations() -> Evaluation:
    """Two sessions with dense truth, and their pooled numbers."""
    first, second = evaluation("A", "Monday"), evaluation("A", SCRIPT_NAME)
    pooled = {
        name: PooledEstimator(
            sessions=2,
            marks=result.marks,
            truth=result.truth,
            shots=result.shots,
            between_session_std_m=number(0.005, n=2),
            consistency=PooledConsistency(
                nees_mean=number(1.2, n=2), nees_band95=None, why={"nees_band95": "fewer than 6 sessions"}
            ),
            why={},
        )
        for name, result in first.results.sessions[0].estimators.items()
    }
    return Evaluation(
        Results(
            schema=1,
            locbench="0.1.0",
            command="evaluate",
            evidence="A",
            sessions=[*first.results.sessions, *second.results.sessions],
            pooled=PooledResult(estimators=pooled),
        ),
        Tracks(schema=1, locbench="0.1.0", sessions=[*first.tracks.sessions, *second.tracks.sessions]),
    )


def without_pictures(tracks: Tracks) -> Tracks:
    """Tracks of no session, for a page whose words are looked at: drawing takes most of the time."""
    return tracks.model_copy(update={"sessions": []})
