"""How far off an estimator was: against marks, against dense truth, per metre, and against its own claims."""

from locbench.accuracy.at_marks import MarkBias, MarkRepeatability, biased_marks, repeatability_at_marks
from locbench.accuracy.comparing import (
    Comparison,
    against_known,
    against_marks,
    against_truth,
    joined,
    visits_on_reference,
)
from locbench.accuracy.consistency import (
    innovation_ratios,
    mean_innovation_squared,
    mean_normalised_error_squared,
    typical_innovation_squared,
)
from locbench.accuracy.corrections import judged, longest_without_fix
from locbench.accuracy.drift import (
    DriftNumbers,
    DriftSegments,
    confounded_terms,
    drift_numbers,
    drift_segments,
    equal_parts,
    outlying_segments,
)
from locbench.accuracy.innovations import locked_out, slow_errors
from locbench.accuracy.pairing import (
    PairedDifference,
    PairedErrors,
    paired_comparisons,
    paired_difference,
    parts_of_the_way,
)
from locbench.accuracy.redrawn import redrawn_mean_errors_squared
from locbench.accuracy.summary import ErrorNumbers, summarise, summarise_uncorrected
from locbench.accuracy.tag_residuals import ResidualNumbers, residual_numbers, tag_residuals

__all__ = [
    "Comparison",
    "DriftNumbers",
    "DriftSegments",
    "ErrorNumbers",
    "MarkBias",
    "MarkRepeatability",
    "PairedDifference",
    "PairedErrors",
    "ResidualNumbers",
    "against_known",
    "against_marks",
    "against_truth",
    "biased_marks",
    "confounded_terms",
    "drift_numbers",
    "drift_segments",
    "equal_parts",
    "innovation_ratios",
    "joined",
    "judged",
    "locked_out",
    "longest_without_fix",
    "mean_innovation_squared",
    "mean_normalised_error_squared",
    "outlying_segments",
    "paired_comparisons",
    "paired_difference",
    "parts_of_the_way",
    "redrawn_mean_errors_squared",
    "repeatability_at_marks",
    "residual_numbers",
    "slow_errors",
    "summarise",
    "summarise_uncorrected",
    "tag_residuals",
    "typical_innovation_squared",
    "visits_on_reference",
]
