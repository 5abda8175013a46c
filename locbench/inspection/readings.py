"""What reading a log found, as diagnoses: each code with what it does to the results."""

from collections.abc import Iterable, Mapping
from types import MappingProxyType

from locbench.inspection.diagnosis import Diagnosis
from locbench.session import Finding, FindingCode

__all__ = ["MEANINGS", "reading_diagnoses"]

MEANINGS: Mapping[FindingCode, str] = MappingProxyType(
    {
        FindingCode.MISSING_FILE: "Nothing of this session can be computed until the table is there.",
        FindingCode.UNREADABLE_TABLE: "Nothing of this session can be computed until the table can be read.",
        FindingCode.MISSING_COLUMN: "The table cannot be used without this column.",
        FindingCode.EMPTY_TABLE: "There is nothing in the table to compute with.",
        FindingCode.NOT_A_NUMBER: "The column cannot be used: guessing what should stand there would be a "
        "made-up result.",
        FindingCode.REVERSED_TIME: "What happened first is not known, so motion cannot be added up.",
        FindingCode.UNSORTED_TIME: "Clocks that step back may be wrong by as much elsewhere; a detection put at "
        "the wrong moment pulls the pose to where the robot was at another time.",
        FindingCode.DUPLICATE_TIME: "Their motions are joined into one; rates around them are less sure.",
        FindingCode.TIME_GAP: "What the robot did in between is taken as even motion, and poses after it may be off.",
        FindingCode.CUT_LAST_LINE: "If the last number is cut, the end of the run is wrong.",
        FindingCode.COUNTER_WRAPPED: "None, if it is so: travel goes on across it.",
        FindingCode.COUNTER_RESET: "Motion during the restart is lost; poses after it are less sure, unless it is a "
        "driven wheel's.",
        FindingCode.COUNTER_JUMP: "A pod's jumps count as motion, and shift every pose after them; a driven wheel's "
        "shift no pose.",
        FindingCode.COUNTER_WIDTH: "The counter cannot be made continuous: where it wrapped around is not known.",
        FindingCode.IMPOSSIBLE_SPEED: "Odometry's steps count as motion, and shift every pose after them; a "
        "truth's count as errors of every estimator.",
        FindingCode.IMPOSSIBLE_TURN: "Odometry's steps count as motion, and turn every pose after them; a truth's "
        "count as errors of every estimator.",
        FindingCode.IMPOSSIBLE_RANGE: "How sure such detections are is taken from their ranges, and they are wrong.",
        FindingCode.FAR_OFF_FLOOR: "Fixes there pull the pose away; a reference there counts as an error of every "
        "estimator.",
        FindingCode.LOG_TOO_LONG: "What is taken at even times would not fit into memory, and every rate is wrong.",
        FindingCode.GYRO_BIAS: "Headings drift by as much as the bias is wrong; where it was taken off, only by "
        "its error.",
        FindingCode.UNKNOWN_POD: "Counts and the wheels they belong to do not go together, so there is no odometry.",
        FindingCode.UNKNOWN_TAG: "These detections are not used, as if the tags had not been seen.",
        FindingCode.UNKNOWN_MARK: "A visit without a place to compare with is of no use.",
        FindingCode.UNKNOWN_MOUNT: "Without the camera's place on the robot, detections say nothing about the robot.",
        FindingCode.TILTED_MOUNT: "Poses would be computed with a tilt that is not undone.",
        FindingCode.TURRET_YAW: "Where the camera looked is not known, or is read and not used.",
        FindingCode.TAG_COUNT: "A rule on the number of tags, and how sure a fix is, rest on these numbers.",
        FindingCode.TAG_PLACE: "A default in place of what is missing would be a wrong place.",
        FindingCode.SPREAD_MISSING: "There a filter's own model of the noise stands in.",
        FindingCode.HEADING_MISSING: "Without a heading a detection corrects the position alone, and a log of "
        "the odometry cannot turn.",
        FindingCode.DUPLICATE_VISIT: "Counted twice, one visit would look like more evidence than it is.",
        FindingCode.UNCOVERED_TIME: "Motion in between counts, though no segment says what it was.",
        FindingCode.ARRIVED_BEFORE_CAPTURE: "Their latency is not known and counts as none; the two clocks differ.",
        FindingCode.DUPLICATE_DETECTION: "Counted twice, one picture would look like two that agree.",
        FindingCode.OUTSIDE_LOG: "These rows go unused; if the clocks differ, the others are used at the wrong "
        "moments.",
        FindingCode.SEGMENT_OUTSIDE_LOG: "The segment has no results.",
    }
)


def reading_diagnoses(findings: Iterable[Finding]) -> list[Diagnosis]:
    """Return one diagnosis per finding, with its own severity, evidence and remedy."""
    return [_diagnosis(finding) for finding in findings]


def _diagnosis(finding: Finding) -> Diagnosis:
    found = "" if finding.value is None else f" (found: {finding.value})"
    return Diagnosis(
        code=finding.code,
        severity=finding.severity,
        where=finding.where,
        evidence=_sentence(finding.message + found),
        meaning=MEANINGS[finding.code],
        remedy=_sentence(finding.remedy),
        measured=finding.measured,
    )


def _sentence(text: str) -> str:
    text = text.strip()
    return text[:1].upper() + text[1:] + ("" if text[-1:] in tuple(".!?") else ".")
