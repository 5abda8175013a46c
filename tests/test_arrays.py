from itertools import groupby

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from locbench.arrays import runs_of


@given(st.lists(st.booleans(), max_size=30))
def test_runs_are_those_that_counting_along_finds(flags):
    expected, place = [], 0
    for flag, group in groupby(flags):
        length = len(list(group))
        if flag:
            expected.append([place, place + length])
        place += length
    assert runs_of(np.array(flags, dtype=bool)).tolist() == expected
