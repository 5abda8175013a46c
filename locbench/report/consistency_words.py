"""What it means that a filter is not as sure as it is right, in sentences."""

from collections.abc import Iterator, Sequence

from locbench.report.numbers import PLAIN, interval_text, number_text, plain_text
from locbench.report.wording import DEAD_RECKONING, estimator_words
from locbench.results import Consistency, EstimatorResult
from locbench.statistics import ConsistencyVerdict, Remark, RemarkCode

__all__ = ["consistency_hints"]

# In the modes without a Kalman gain noise settings move no pose, so there is no advice on them.
_ON_ERRORS = frozenset({RemarkCode.ERRORS_LARGER, RemarkCode.ERRORS_SMALLER})
# Errors say the same as fixes, and independently of the tags.
_SAID_BY = {
    RemarkCode.FIXES_FURTHER: RemarkCode.ERRORS_LARGER,
    RemarkCode.FIXES_CLOSER: RemarkCode.ERRORS_SMALLER,
}
_NOISE = frozenset(
    {RemarkCode.ERRORS_LARGER, RemarkCode.ERRORS_SMALLER, RemarkCode.FIXES_FURTHER, RemarkCode.FIXES_CLOSER}
)
_AT_ODDS = {
    frozenset({RemarkCode.ERRORS_LARGER, RemarkCode.FIXES_CLOSER}): (
        "is surer of its pose than it is right, yet its fixes lie closer to it than it expects: tags and belief are "
        "off alike, as from tags that hang elsewhere, or its tag noise is too large and its motion noise too small"
    ),
    frozenset({RemarkCode.ERRORS_SMALLER, RemarkCode.FIXES_FURTHER}): (
        "is right more closely than it claims, yet its fixes lie further off than it expects: its tag noise is too "
        "small and its motion noise too large"
    ),
}
# A fusion file may name its own.
_ITS_NOISE = "its tag noise or its motion noise (a [motion_noise] in the fusion file goes before the robot's)"


def consistency_hints(name: str, result: EstimatorResult, consistency: Consistency) -> Iterator[str]:
    """Yield sentences on what an honest estimator would hardly show, and what to do; none if nothing stands out."""
    if name != DEAD_RECKONING and result.correction_mode in (None, "none"):
        # nothing it believes is put to use, so its noise settings change no pose
        return
    if consistency.verdict is ConsistencyVerdict.UNRELATED:
        numbers = f"typical NIS {number_text(consistency.nis_median.value, PLAIN)}, honest would be 1"
        yield (
            f"{plain_text(name)}: the fixes and its belief do not belong together at all ({numbers}). "
            "Before touching noise settings check the frame of the tags (heading sense and zero, "
            "origin), units, clock offset and start pose of the log."
        )
        return
    shown = estimator_words(name)
    codes = {remark.code for remark in consistency.remarks}
    contradiction = _AT_ODDS.get(frozenset(codes & _NOISE))
    if contradiction is not None and result.correction_mode == "kalman":
        # two lines would order opposite things
        yield f"{shown} {contradiction}."
        codes = codes - _NOISE
    for code in dict.fromkeys(remark.code for remark in consistency.remarks if remark.code in codes):
        moves_a_pose = result.correction_mode in (None, "kalman") or code not in _ON_ERRORS
        if moves_a_pose and _SAID_BY.get(code) not in codes:
            yield f"{shown} {_words(name, [remark for remark in consistency.remarks if remark.code is code])}"
    if not codes & {RemarkCode.FIXES_FURTHER, RemarkCode.TRUTH_LOCKED_OUT}:
        yield from _wrong_fixes(shown, consistency)


def _words(name: str, remarks: Sequence[Remark]) -> str:
    """Return what remarks of one code mean; only of lock-outs there can be several."""
    remark = remarks[0]
    value = number_text(remark.value.value, PLAIN)
    honest = "" if remark.honest is None else f", honest would be {interval_text(remark.honest, PLAIN)}"
    match remark.code:
        case RemarkCode.ERRORS_LARGER if name == DEAD_RECKONING:
            return (
                f"drifted further than the robot file's motion noise allows (NEES {value}{honest}). If nothing slipped "
                "or pushed, check the constants of pods and gyro, or raise [motion_noise]."
            )
        case RemarkCode.ERRORS_SMALLER if name == DEAD_RECKONING:
            return (
                f"drifted less than the robot file's motion noise says (NEES {value}{honest}). "
                "One can lower [motion_noise]."
            )
        case RemarkCode.ERRORS_LARGER:
            return (
                f"is surer than it is right: its errors are larger than it claims (NEES {value}{honest}). "
                f"Raise {_ITS_NOISE}."
            )
        case RemarkCode.ERRORS_SMALLER:
            return (
                f"is too cautious: its errors are smaller than it claims (NEES {value}{honest}). "
                f"One can lower {_ITS_NOISE}."
            )
        case RemarkCode.FIXES_FURTHER:
            return (
                f"is surer than it is right: even the typical fix lies further from its belief than it claims "
                f"({value} times the honest NIS{_interval(remark)}). Raise {_ITS_NOISE}."
            )
        case RemarkCode.FIXES_CLOSER:
            return (
                f"is too cautious: the typical fix lies closer to its belief than it claims "
                f"({value} times the honest NIS{_interval(remark)}). "
                f"One can lower {_ITS_NOISE}."
            )
        case RemarkCode.TRUTH_LOCKED_OUT:
            return _lockouts(remarks)
        case RemarkCode.FIXES_HANG_TOGETHER:
            return (
                f"meets fixes whose errors hang together: from one fix of a tag to its next they correlate by {value}"
                f"{honest}. Averaging more of them does not help: raise the floors of its tag noise, and look at where "
                "the camera is mounted and where the tags hang."
            )


def _interval(remark: Remark) -> str:
    return "" if remark.value.ci95 is None else f", 95 % {interval_text(remark.value.ci95, PLAIN)}"


def _lockouts(remarks: Sequence[Remark]) -> str:
    whiles = ", ".join(f"{remark.value.n}{_when(remark)}" for remark in remarks)
    return (
        f"has locked the truth out: its gate refused fixes of several tags in a row, {whiles}. Its belief was off and "
        "it was too sure of it to let the tags bring it back. Raise its motion noise, or loosen its gate."
    )


def _when(remark: Remark) -> str:
    if remark.start_s is None or remark.end_s is None:
        return ""
    return f" from {remark.start_s:.1f} s to {remark.end_s:.1f} s"


def _wrong_fixes(shown: str, consistency: Consistency) -> Iterator[str]:
    typical, mean, band = consistency.nis_median, consistency.nis_mean.value, consistency.nis_band95
    if typical.value is None or mean is None or band is None or mean <= band[1]:
        return
    if consistency.verdict is ConsistencyVerdict.TOO_SURE:
        return
    numbers = f"mean NIS {number_text(mean, PLAIN)}, honest would be {interval_text(band, PLAIN)}"
    yield (
        f"{shown}: a few fixes lie very far from its belief ({numbers}; the typical fix does not). "
        "Those are wrong fixes, such as flipped tags; see which in corrections.csv."
    )
