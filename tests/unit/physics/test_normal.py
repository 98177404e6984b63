"""The normal distribution of our own against mpmath (exact) and SciPy (speed's rival)."""

from __future__ import annotations

import mpmath
import numpy as np
import pytest
import scipy.special

from idlewright.physics.normal import log_ndtr, log_sum_exp, ndtr

RELATIVE = 1e-13


@pytest.fixture(scope="module")
def places() -> np.ndarray:
    """Points in both tails, at and between the nodes of the series, and at their end."""
    rng = np.random.default_rng(20261126)
    inside = rng.uniform(-37.0, 37.0, 3000)
    near = rng.normal(0.0, 2.0, 3000)
    nodes = np.arange(-37 * 256, 37 * 256 + 1, 97) / 256.0
    return np.concatenate([inside, near, nodes, [0.0, -0.0, 1e-300, -1e-9, 39.99, 8.3]])


def exact(x: float) -> tuple[mpmath.mpf, mpmath.mpf]:
    """Phi and ln Phi, of a positive x by its complement: 1 - 1e-300 needs 300 digits."""
    tail = mpmath.erfc(abs(mpmath.mpf(x)) / mpmath.sqrt(2)) / 2
    return (1 - tail, mpmath.log1p(-tail)) if x > 0 else (tail, mpmath.log(tail))


def test_phi_and_its_logarithm_are_exact_in_both_tails(places: np.ndarray) -> None:
    """Relative to the value itself, against mpmath's erfc at 40 digits."""
    some = places[::7]
    with mpmath.workdps(40):
        phi, ln_phi = zip(*map(exact, some.tolist()), strict=True)
        for ours, true in ((ndtr(some), phi), (log_ndtr(some), ln_phi)):
            off = [abs(mpmath.mpf(o) / t - 1) for o, t in zip(ours.tolist(), true, strict=True)]
            assert max(off) < RELATIVE


def test_same_as_scipy(places: np.ndarray) -> None:
    """Up to 20 standard deviations: farther out SciPy's own ndtr is 3e-13 from the exact value."""
    near = places[np.abs(places) < 20]
    np.testing.assert_allclose(ndtr(near), scipy.special.ndtr(near), rtol=RELATIVE)
    np.testing.assert_allclose(log_ndtr(near), scipy.special.log_ndtr(near), rtol=RELATIVE)
    below = places[places < 0]
    np.testing.assert_allclose(log_ndtr(below), scipy.special.log_ndtr(below), rtol=RELATIVE)


def test_beyond_the_series() -> None:
    """Past y = 40 the chance is less than any number, its logarithm is not."""
    far = np.array([-40.0, -40.0000001, -41.0, -60.0, -1e3, -1e100, 41.0, 1e9, np.inf])
    np.testing.assert_allclose(log_ndtr(far), scipy.special.log_ndtr(far), rtol=RELATIVE)
    assert ndtr(far).tolist()[1:] == [0.0] * 5 + [1.0] * 3
    assert log_ndtr(np.array([-np.inf])).tolist() == [-np.inf]
    assert np.isnan(ndtr(np.array([np.nan]))).all()
    assert np.isnan(log_ndtr(np.array([np.nan]))).all()


def test_shapes_are_kept() -> None:
    """Numbers, tables, empty arrays and views."""
    assert ndtr(0.0) == 0.5
    assert log_ndtr(2.0).shape == ()
    table = np.linspace(-5, 5, 24).reshape(2, 3, 4).transpose(2, 0, 1)
    np.testing.assert_allclose(log_ndtr(table), scipy.special.log_ndtr(table), rtol=RELATIVE)
    assert ndtr(np.empty((0, 3))).shape == (0, 3)


def test_sum_of_logarithms() -> None:
    """As SciPy's, along an axis and over all, with rows of nothing."""
    rng = np.random.default_rng(1)
    x = rng.normal(0.0, 300.0, (5, 7))
    x[2] = -np.inf
    for axis in (None, 0, 1):
        np.testing.assert_allclose(
            log_sum_exp(x, axis), scipy.special.logsumexp(x, axis=axis), rtol=1e-14
        )
