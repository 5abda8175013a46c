"""The quadrature by which noise is integrated along an interval: six-point Gauss-Legendre."""

import numpy as np

__all__ = ["QUADRATURE"]

_NODES, _WEIGHTS = np.polynomial.legendre.leggauss(6)
# fractions of an interval, and the share of it that each stands for
QUADRATURE = tuple(zip(((_NODES + 1.0) / 2.0).tolist(), (_WEIGHTS / 2.0).tolist(), strict=True))
