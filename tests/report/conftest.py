import pytest
from hand_built import Evaluation, evaluation, two_evaluations


@pytest.fixture
def evaluation_a() -> Evaluation:
    return evaluation("A")


@pytest.fixture
def evaluation_b() -> Evaluation:
    return evaluation("B")


@pytest.fixture
def evaluation_c() -> Evaluation:
    return evaluation("C")


@pytest.fixture
def evaluation_d() -> Evaluation:
    return evaluation("D")


@pytest.fixture
def evaluation_of_two() -> Evaluation:
    return two_evaluations()
