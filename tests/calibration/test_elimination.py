"""Nuisance unknowns eliminated: against a dense least-squares solution of everything at once."""

import numpy as np

from locbench.calibration.linear import Block, eliminated, slope_matrix


def _blocks(rng: np.random.Generator, unknowns: int) -> list[Block]:
    count = 40
    first = 3 * rng.integers(0, unknowns // 3, count)
    second = 3 * rng.integers(0, unknowns // 3, count)
    links = Block(
        rng.normal(size=(count, 3)),
        ((first, rng.normal(size=(count, 3, 3))), (second, rng.normal(size=(count, 3, 3)))),
        rng.uniform(0.2, 1.0, count),
    )
    every = 3 * np.arange(unknowns // 3)
    places = Block(
        rng.normal(size=(len(every), 2)), ((every, rng.normal(size=(len(every), 2, 3))),), np.ones(len(every))
    )
    alone = Block(rng.normal(size=(5, 1)), (), np.ones(5))
    return [links, places, alone]


def test_what_is_left_is_the_residual_of_the_dense_solution():
    rng = np.random.default_rng(3)
    blocks = _blocks(rng, 30)
    slopes = slope_matrix(blocks, 30).toarray()
    residual = np.concatenate([(np.sqrt(b.weight)[:, None] * b.residual).ravel() for b in blocks])
    best, *_ = np.linalg.lstsq(slopes, -residual, rcond=None)
    elimination = eliminated(blocks, 30)
    # the whisker of stiffness moves nothing by more than a thousandth
    np.testing.assert_allclose(elimination.best(residual), best, atol=2e-3)
    np.testing.assert_allclose(elimination.left(residual), residual + slopes @ best, atol=2e-3)


def test_an_unknown_that_nothing_touches_stays():
    rng = np.random.default_rng(5)
    blocks = _blocks(rng, 30)
    residual = np.concatenate([(np.sqrt(b.weight)[:, None] * b.residual).ravel() for b in blocks])
    moved = eliminated(blocks, 33).best(residual)
    np.testing.assert_array_equal(moved[30:], 0.0)


def test_several_columns_are_eliminated_at_once():
    rng = np.random.default_rng(6)
    blocks = _blocks(rng, 30)
    elimination = eliminated(blocks, 30)
    columns = rng.normal(size=(sum(b.residual.size for b in blocks), 4))
    together = elimination.left(columns)
    for place in range(4):
        np.testing.assert_allclose(together[:, place], elimination.left(columns[:, place]), atol=1e-12)
