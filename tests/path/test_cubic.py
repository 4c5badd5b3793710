"""Cubic splines, against ``scipy.interpolate.CubicSpline``, which was written by others from other equations."""

import numpy as np
import pytest
from scipy.interpolate import CubicSpline

from hexpost.path.cubic import Cubic


@pytest.mark.parametrize("n", [2, 3, 4, 5, 12, 700])
def test_splines_are_those_of_an_outside_library(n):
    rng = np.random.default_rng(n)
    x = np.cumsum(rng.uniform(0.02, 1.0, n))
    y = rng.normal(size=(5, n)) * 40.0
    t = np.sort(np.concatenate([x, rng.uniform(x[0] - 0.5, x[-1] + 0.5, 300)]))
    ours, theirs = Cubic(x, y), CubicSpline(x, y, axis=1)
    for order, found in zip((0, 2, 1), ours(t, 0, 2, 1), strict=True):
        expected = theirs(t, order)
        assert found == pytest.approx(expected, rel=1e-12, abs=1e-12 * np.abs(expected).max())
    assert ours(x[0], 0)[0].tolist() == y[:, 0].tolist()
