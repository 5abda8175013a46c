"""What uncertain inputs make of a result that follows from them."""

import numpy as np

from locbench.arrays import FloatArray

__all__ = ["propagated_covariance"]


def propagated_covariance(jacobian: FloatArray, covariance: FloatArray) -> FloatArray:
    """Return the first-order covariance J C J' of results that follow from inputs with covariance C.

    Parameters
    ----------
    jacobian
        (..., M, N) derivatives of M results by N inputs.
    covariance
        (..., N, N) of the inputs; leading axes are broadcast against those of the jacobian. NaN stays NaN.

    Returns
    -------
    (..., M, M), in the units of the results.

    Notes
    -----
    Correlations between inputs count: JCGM 100:2008 (GUM), 5.2.2 and H.2.
    """
    return np.asarray(jacobian @ covariance @ np.swapaxes(jacobian, -1, -2))
