"""Hypothesis strategies shared by the property tests; biased to the singular cases."""

import numpy as np
from hypothesis import strategies as st

__all__ = ["angles", "poses", "twists"]

_ANGLES = st.one_of(
    st.sampled_from([0.0, 1e-12, -1e-9, 1e-4, np.pi / 2, np.pi - 1e-9, -np.pi, 3.0]),
    st.floats(-3.1, 3.1),
)
_LENGTHS = st.one_of(st.sampled_from([0.0, 1e-9]), st.floats(-50.0, 50.0))


def angles() -> st.SearchStrategy[float]:
    return _ANGLES


def poses() -> st.SearchStrategy[np.ndarray]:
    return st.tuples(_LENGTHS, _LENGTHS, _ANGLES).map(np.array)


def twists() -> st.SearchStrategy[np.ndarray]:
    return st.tuples(_LENGTHS, _LENGTHS, _ANGLES).map(np.array)
