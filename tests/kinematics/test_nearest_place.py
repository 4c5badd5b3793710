"""The nearest place of a way against a search of all its segments; a way that crosses itself at another speed."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hexpost.kinematics.nearest import CLEAR, nearest
from hexpost.verify import nearest as again


def brute(way, point, first, kept):
    """Return how far a point is off the segments of the last rows, one by one."""
    a = way[:, max(first - kept, 0) : first + 1]
    d = np.diff(a)
    gap = point[:, None] - a[:, :-1]
    share = np.clip((gap * d).sum(0) / np.maximum((d * d).sum(0), 1e-300), 0, 1)
    return min(np.linalg.norm(gap - share * d, axis=0).min(), np.linalg.norm(point - a[:, -1]))


def at(way, where):
    row = np.minimum(where.astype(int), way.shape[1] - 2)
    return way[:, row] + (where - row) * (way[:, row + 1] - way[:, row])


@settings(max_examples=60, deadline=None)
@given(st.integers(0, 2**32), st.sampled_from([1, 2, 7, 41, 256, 900]), st.integers(2, 5))
def test_it_is_the_nearest_of_all_segments(seed, kept, dimensions):
    rng = np.random.default_rng(seed)
    n = 40
    steps = rng.normal(size=(dimensions, kept + n)) * rng.choice([0.0, 1e-6, 0.01, 1.0], kept + n)
    way = np.cumsum(steps * rng.choice([0.1, 1.0, 5.0]), axis=1)
    place = way[:, kept - rng.integers(0, kept + 1) :][:, :n] + rng.normal(size=(dimensions, n)) * rng.choice(
        [0, 0.1, 2]
    )
    likely = kept + np.arange(n) - rng.integers(-1, 2 * kept, n)  # of use or not
    where = nearest(way, place, kept, kept, likely)
    ways = [where] if dimensions != 3 else [where, again.nearest(way, place, kept, kept)]
    for where in ways:
        nearest_of_all(way, place, where, kept)


def nearest_of_all(way, place, where, kept):
    n = len(where)
    assert (where >= np.arange(n)).all() and (where <= kept + np.arange(n)).all()
    off = np.linalg.norm(place - at(way, where), axis=0)
    for k in range(n):
        least = brute(way[:, : kept + k + 1], place[:, k], kept + k, kept)
        assert least - 1e-9 <= off[k] <= least + CLEAR + 1e-9


@pytest.mark.parametrize("back", range(4))
def test_a_fast_way_between_two_rows_is_nearer_than_a_slow_one_beside_it(back):
    """Rows of the fast way are 2 mm apart, so that each is farther from a point on it than the slow way is."""
    slow = np.stack([np.linspace(-5.0, 5.0, 200), np.full(200, 0.5)])
    fast = np.stack([np.arange(-9.0, 9.0, 2.0), np.zeros(9)])
    way = np.concatenate([slow, fast], axis=1)
    point = np.array([[2.0 * -back], [1e-3]])
    solid = [np.concatenate([x, np.zeros((1, x.shape[1]))]) for x in (way, point)]
    where = [nearest(way, point, 208, 208, np.array([100])), again.nearest(*solid, 208, 208)]
    assert [x[0] for x in where] == [pytest.approx(200 + (point[0, 0] + 9.0) / 2.0)] * 2
