"""Straight lines fitted to points, with the covariance of what was fitted."""

from dataclasses import dataclass

import numpy as np

from locbench.arrays import FloatArray

__all__ = ["LineFit", "fit_line"]


@dataclass(frozen=True)
class LineFit:
    """The line y = intercept + slope (x - origin).

    Attributes
    ----------
    origin
        The x that the intercept belongs to.
    intercept, slope
        As fitted.
    covariance
        (2, 2) of both, in that order.
    residual_std
        Scatter about the line, n - 2 degrees of freedom; of weighted points in units of their standard uncertainties.
    freedom
        n - 2.
    """

    origin: float
    intercept: float
    slope: float
    covariance: FloatArray
    residual_std: float
    freedom: int

    @property
    def intercept_std(self) -> float:
        """Standard uncertainty of the intercept."""
        return float(np.sqrt(self.covariance[0, 0]))

    @property
    def slope_std(self) -> float:
        """Standard uncertainty of the slope."""
        return float(np.sqrt(self.covariance[1, 1]))

    def at(self, x: float) -> tuple[float, float]:
        """Return the line's value there and its standard uncertainty, the correlation of both parameters included."""
        row = np.array([1.0, x - self.origin])
        return float(row @ [self.intercept, self.slope]), float(np.sqrt(row @ self.covariance @ row))


def fit_line(x: FloatArray, y: FloatArray, origin: float = 0.0, std: FloatArray | None = None) -> LineFit:
    """Return the least-squares line through points.

    Parameters
    ----------
    x, y
        (n,) with n of at least 3 and at least two different x.
    origin
        The x that the intercept belongs to.
    std
        (n,) standard uncertainties of y, which weigh the points and make the covariance; None takes all alike and the
        covariance from the scatter about the line.

    Raises
    ------
    ValueError
        With fewer than three points, or all of one x.

    Notes
    -----
    By a QR decomposition about the mean of x, which loses no digits where x are far from the origin. Source: JCGM
    100:2008 (GUM), H.3.
    """
    if len(x) < 3 or np.ptp(x) == 0.0:
        raise ValueError("a line with an uncertainty needs three points, at two different places at least")
    weight = np.ones(len(x)) if std is None else 1.0 / std
    middle = float(np.average(x, weights=weight**2))
    design = weight[:, np.newaxis] * np.column_stack([np.ones(len(x)), x - middle])
    orthonormal, triangle = np.linalg.qr(design)
    centred = np.linalg.solve(triangle, orthonormal.T @ (weight * y))
    inverse = np.linalg.inv(triangle)
    residual = weight * (y - centred[0] - centred[1] * (x - middle))
    freedom = len(x) - 2
    residual_std = float(np.sqrt(residual @ residual / freedom))
    covariance = inverse @ inverse.T * (residual_std**2 if std is None else 1.0)
    moved = np.array([[1.0, origin - middle], [0.0, 1.0]])
    intercept, slope = moved @ centred
    return LineFit(origin, float(intercept), float(slope), moved @ covariance @ moved.T, residual_std, freedom)
