"""How sure a number is: intervals, effective sample sizes, and the words drawn from them.

This room is the only place where a number gets its uncertainty and where "helped" or "hurt" is decided.
"""

from locbench.statistics.accuracy_measures import (
    circular_error_probable,
    largest,
    mean_with_interval,
    radius95,
    root_mean_square,
)
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
from locbench.statistics.intervals import (
    NORMAL_95,
    chi_square_mean_band,
    chi_square_quantile,
    effective_mean_size,
    effective_sample_size,
    mean_square_freedom,
    order_statistic_interval,
    rms_interval,
    wilson_interval,
)
from locbench.statistics.uncertain import UncertainNumber, measured, unavailable
from locbench.statistics.verdicts import CorrectionVerdict, judge_corrections

__all__ = [
    "NORMAL_95",
    "ConsistencyVerdict",
    "CorrectionVerdict",
    "Remark",
    "RemarkCode",
    "UncertainNumber",
    "band_of_draws",
    "chi_square_mean_band",
    "chi_square_quantile",
    "circular_error_probable",
    "effective_mean_size",
    "effective_sample_size",
    "judge_consistency",
    "judge_corrections",
    "largest",
    "mean_square_freedom",
    "mean_with_interval",
    "measured",
    "order_statistic_interval",
    "radius95",
    "remark_on_errors",
    "remark_on_fixes",
    "remark_on_whiteness",
    "remarks_on_lockout",
    "rms_interval",
    "root_mean_square",
    "unavailable",
    "wilson_interval",
]
