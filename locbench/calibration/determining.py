"""Which constants a set of drives determines, what they are then, and how surely."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray
from locbench.calibration.constants import Constant, Constants
from locbench.calibration.fitting import Fit, fit
from locbench.calibration.reading import Set
from locbench.calibration.redundancy import Whole

__all__ = ["Calibrated", "Estimate", "calibrated"]


@dataclass(frozen=True)
class Estimate:
    """One constant as the drives have it; of one they do not determine the shift is 0.

    Attributes
    ----------
    constant
        Which.
    shift, std
        Relative or absolute, see `Constant`; the standard uncertainty is what is left of the tolerance where the
        constant is not determined.
    determined
        Whether the drives tell it well enough to be written.
    """

    constant: Constant
    shift: float
    std: float
    determined: bool


@dataclass(frozen=True)
class Calibrated:
    """What a set of drives determines.

    Attributes
    ----------
    estimates
        One per constant.
    fit
        All constants fitted together, each held near its nominal value by its tolerance.
    covariance
        (P, P) of its shifts.
    factor
        By how much the covariance was enlarged because odometry and places fit worse than their noise says.
    """

    estimates: tuple[Estimate, ...]
    fit: Fit
    covariance: FloatArray
    factor: float

    @property
    def constants(self) -> Constants:
        """The constants."""
        return self.fit.fitted.constants


def calibrated(fitted: Set) -> Calibrated:
    """Return the constants that a set of drives determines, the others held near where the files have them.

    A constant is determined if data and tolerances together, those of all other constants included, leave it no more
    than it needs to be known to; tolerances alone never do. What is not determined keeps its nominal value; its
    tolerance is in the uncertainty of the others.
    """
    found = fit(fitted)
    constants = fitted.constants
    factor = Whole(found).variance_factor
    # more noise than the files say leaves data less worth, and the tolerances as they are
    covariance = np.linalg.inv(found.information / factor + np.diag(1.0 / constants.tolerances**2))
    std = np.sqrt(np.diag(covariance))
    estimates = tuple(
        Estimate(constant, float(shift) if sure else 0.0, float(spread), bool(sure))
        for constant, shift, spread, sure in zip(
            constants.every, found.guess.shifts, std, std <= constants.needed_stds, strict=True
        )
    )
    return Calibrated(estimates, found, np.asarray(covariance, dtype=float), factor)
