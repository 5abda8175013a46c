"""How sure a number is: intervals, effective sample sizes, and the words drawn from them.

This room is the only place where a number gets its uncertainty and where "helped" or "hurt" is decided.
"""

from locbench.statistics.accuracy_measures import (
    bias_with_interval,
    circular_error_probable,
    largest,
    mean_with_interval,
    radius95,
    root_mean_square,
)
from locbench.statistics.between_sessions import (
    FEWEST_SESSIONS,
    mean_of_sessions,
    root_mean_square_of_sessions,
)
from locbench.statistics.comparisons import (
    ComparisonVerdict,
    difference_between_sessions,
    difference_within_runs,
    judge_comparison,
    sign_flip_probability,
)
from locbench.statistics.conformity import GUARD, Conformity, judge_conformity
from locbench.statistics.consistency import (
    ConsistencyVerdict,
    Remark,
    RemarkCode,
    band_of_draws,
    judge_consistency,
    remark_on_errors,
    remark_on_fixes,
    remark_on_whiteness,
    remarks_on_lockout,
)
from locbench.statistics.cusum import Cusum, average_run_length, cusum, cusum_limit, one_sided_run_length
from locbench.statistics.intervals import (
    NORMAL_95,
    chi_square_mean_band,
    chi_square_quantile,
    effective_mean_size,
    effective_sample_size,
    mean_square_freedom,
    order_statistic_interval,
    proportion_interval,
    quantile_interval,
    rms_interval,
    wilson_interval,
)
from locbench.statistics.line_fit import LineFit, fit_line
from locbench.statistics.propagation import propagated_covariance
from locbench.statistics.reliability import Reliability, noncentrality, reliability
from locbench.statistics.repeatability import (
    HeadingRepeatability,
    PositionRepeatability,
    heading_repeatability,
    position_repeatability,
)
from locbench.statistics.robust import standard_error_of_median
from locbench.statistics.time_offset import time_offset
from locbench.statistics.uncertain import UncertainNumber, measured, unavailable
from locbench.statistics.verdicts import CorrectionVerdict, judge_corrections

__all__ = [
    "FEWEST_SESSIONS",
    "GUARD",
    "NORMAL_95",
    "ComparisonVerdict",
    "Conformity",
    "ConsistencyVerdict",
    "CorrectionVerdict",
    "Cusum",
    "HeadingRepeatability",
    "LineFit",
    "PositionRepeatability",
    "Reliability",
    "Remark",
    "RemarkCode",
    "UncertainNumber",
    "average_run_length",
    "band_of_draws",
    "bias_with_interval",
    "chi_square_mean_band",
    "chi_square_quantile",
    "circular_error_probable",
    "cusum",
    "cusum_limit",
    "difference_between_sessions",
    "difference_within_runs",
    "effective_mean_size",
    "effective_sample_size",
    "fit_line",
    "heading_repeatability",
    "judge_comparison",
    "judge_conformity",
    "judge_consistency",
    "judge_corrections",
    "largest",
    "mean_of_sessions",
    "mean_square_freedom",
    "mean_with_interval",
    "measured",
    "noncentrality",
    "one_sided_run_length",
    "order_statistic_interval",
    "position_repeatability",
    "propagated_covariance",
    "proportion_interval",
    "quantile_interval",
    "radius95",
    "reliability",
    "remark_on_errors",
    "remark_on_fixes",
    "remark_on_whiteness",
    "remarks_on_lockout",
    "rms_interval",
    "root_mean_square",
    "root_mean_square_of_sessions",
    "sign_flip_probability",
    "standard_error_of_median",
    "time_offset",
    "unavailable",
    "wilson_interval",
]
