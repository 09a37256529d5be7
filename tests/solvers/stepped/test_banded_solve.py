"""The banded solver against the library's, and its count of bad pivots."""

import numpy as np
import pytest
from scipy.linalg import solveh_banded

from pinchline.solvers.stepped.equilibrium.banded_solve import WIDTH, factor, solve


def random_matrix(size, seed, shift=0.0):
    """Symmetric positive definite band of half-width 5, full; smallest eigenvalue 1."""
    random = np.random.default_rng(seed)
    full = np.zeros((size, size))
    for d in range(WIDTH):
        full += np.diag(random.normal(size=size - d), -d)
    full = np.tril(full) + np.tril(full, -1).T
    least = np.linalg.eigvalsh(full)[0]
    return full + (1.0 - least + shift) * np.eye(size)


def column_band(full):
    """Storage of the solver: row i holds column i from the diagonal down."""
    size = full.shape[0]
    band = np.zeros((size + WIDTH - 1, WIDTH))
    for d in range(WIDTH):
        band[: size - d, d] = np.diagonal(full, -d)
    return band


@pytest.mark.parametrize("size", [6, 7, 30, 303])
@pytest.mark.parametrize("columns", [1, 2, 4])
def test_it_solves_what_the_library_solves(size, columns):
    full = random_matrix(size, seed=size)
    right = np.random.default_rng(1).normal(size=(size, columns))
    expected = solveh_banded(column_band(full)[:size].T.copy(), right, lower=True)
    band = column_band(full)
    given = np.zeros((size + WIDTH - 1, columns))
    given[:size] = right
    assert factor(band, size) == 0
    solve(band, size, given)
    condition = np.linalg.cond(full)
    assert given[:size] == pytest.approx(expected, rel=1e-14 * condition, abs=1e-13)
    assert full @ given[:size] == pytest.approx(right, abs=1e-12)


def test_the_factors_are_those_of_cholesky():
    full = random_matrix(12, seed=4)
    band = column_band(full)
    factor(band, 12)
    lower = np.eye(12)
    for d in range(1, WIDTH):
        lower += np.diag(band[: 12 - d, d], -d)
    pivots = 1.0 / band[:12, 0]  # kept inverted
    assert lower @ np.diag(pivots) @ lower.T == pytest.approx(full, abs=1e-12)
    assert lower * np.sqrt(pivots) == pytest.approx(np.linalg.cholesky(full))


def test_only_the_stated_size_is_read():
    """A band larger than the system: what lies past it plays no part."""
    full = random_matrix(20, seed=9)
    right = np.random.default_rng(2).normal(size=20)
    band = np.zeros((60, WIDTH))
    band[:25] = column_band(full)
    band[40:] = 777.0
    given = np.zeros((60, 1))
    given[:20, 0] = right
    assert factor(band, 20) == 0
    solve(band, 20, given)
    assert full @ given[:20, 0] == pytest.approx(right, abs=1e-12)
    assert np.all(band[40:] == 777.0)


@pytest.mark.parametrize("bad", [0, 1, 2, 5])
def test_pivots_that_are_not_positive_are_the_negative_eigenvalues(bad):
    """Sylvester's law of inertia: as many of the one as of the other."""
    size = 40
    full = random_matrix(size, seed=13)
    values = np.linalg.eigvalsh(full)
    edge = 0.0 if bad == 0 else 0.5 * (values[bad - 1] + values[bad])
    full -= edge * np.eye(size)
    assert np.count_nonzero(np.linalg.eigvalsh(full) < 0.0) == bad
    band = column_band(full)
    assert factor(band, size) == bad


def test_a_zero_pivot_and_a_nan_are_counted():
    band = column_band(np.diag([1.0, 0.0, 2.0, 3.0, 4.0, 5.0]))
    assert factor(band, 6) == 1
    band = column_band(np.diag([1.0, np.nan, 2.0, 3.0, 4.0, 5.0]))
    assert factor(band, 6) >= 1  # and whatever it spoils after it
