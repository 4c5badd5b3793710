"""Running minima against the recursions and loops that they replace."""

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from hexpost.feed.minima import erode, range_min, speeds, spread_min

SEEDS = st.integers(0, 2**32 - 1)


def by_recursion(size, first, cap, up, down):
    """Return the speed squared at edges by the two passes of Bobrow, Dubowsky and Gibson 1985, step by step."""
    n = len(size)
    x = np.zeros(n + 1)
    stops = set(first.tolist())
    for i in range(n - 1, -1, -1):
        bound = 0.0 if i in stops else min(cap[i], cap[i - 1])
        x[i] = min(bound, x[i + 1] + 2 * down[i] * size[i])
    for i in range(n):
        x[i + 1] = min(x[i + 1], x[i] + 2 * up[i] * size[i])
    return x


def random_spans(rng, n):
    first = np.unique(np.concatenate([[0, n], rng.integers(1, n, size=rng.integers(0, 5))]))
    return first, np.repeat(np.arange(len(first) - 1), np.diff(first))


@given(SEEDS)
def test_speeds_are_those_of_the_two_passes(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 60))
    first, _ = random_spans(rng, n)
    size, cap = 10.0 ** rng.uniform(-3, 2, n), 10.0 ** rng.uniform(0, 5, n)
    up, down = 10.0 ** rng.uniform(0, 4, (2, n))
    expected = by_recursion(size, first, cap, up, down)
    total = 2 * ((up + down) * size).sum()
    assert np.allclose(speeds(size, first, cap, up, down), expected, rtol=1e-9, atol=1e-14 * total)
    assert np.allclose(
        speeds(size, first, cap, up, up), by_recursion(size, first, cap, up, up), rtol=1e-9, atol=1e-14 * total
    )


def test_speeds_of_long_programs_are_taken_in_groups_of_whole_spans():
    rng = np.random.default_rng(1)
    n = 200_000
    first = np.unique(np.concatenate([[0, n], rng.integers(1, n, size=400)]))
    size, cap, up = rng.uniform(0.1, 1, n), rng.uniform(1, 400, n), rng.uniform(100, 1000, n)
    assert np.allclose(speeds(size, first, cap, up, up), by_recursion(size, first, cap, up, up), rtol=1e-7, atol=1e-7)


def test_a_fast_span_takes_no_digits_of_a_slow_one_behind_it():
    """Where a tolerance of tilt is nearly nothing, turns count as millions of mm."""
    size, cap = np.array([2e7, 2e7, 1.0, 1.0, 1.0]), np.array([1e17, 1e17, 4.0, 2.0, 4.0])
    up = np.array([1e10, 1e10, 1.5, 0.25, 1.5])
    first = np.array([0, 2, 5])
    expected = by_recursion(size, first, cap, up, up)
    assert np.allclose(speeds(size, first, cap, up, up), expected, rtol=1e-12, atol=0)


@given(SEEDS)
def test_range_minimum_is_that_of_every_slice(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 80))
    x = rng.normal(size=n)
    lo = rng.integers(0, n, size=40)
    hi = np.minimum(lo + rng.integers(0, n, size=40), n - 1)
    assert range_min(x, lo, hi).tolist() == [x[a : b + 1].min() for a, b in zip(lo, hi, strict=True)]


@given(SEEDS)
def test_spreading_minima_is_lowering_every_slice(seed):
    rng = np.random.default_rng(seed)
    n = int(rng.integers(1, 80))
    lo = rng.integers(0, n, size=12)
    hi = np.minimum(lo + rng.integers(0, n, size=12), n - 1)
    value = rng.uniform(0.1, 1, size=12)
    expected = np.ones(n)
    for a, b, v in zip(lo, hi, value, strict=True):
        expected[a : b + 1] = np.minimum(expected[a : b + 1], v)
    assert spread_min(value, lo, hi, n).tolist() == expected.tolist()


@given(SEEDS)
def test_eroded_caps_hold_for_half_a_window_to_both_sides_and_never_beyond_a_stop(seed):
    # Half a window is measured in the time that travel takes under the caps of the first round.
    rng = np.random.default_rng(seed)
    n = int(rng.integers(2, 60))
    first, span = random_spans(rng, n)
    size, cap = rng.uniform(0.1, 5, n), rng.uniform(1, 400, n)
    window = rng.uniform(0.001, 0.5, len(first) - 1)
    out, under = cap, cap
    for _ in range(2):
        time = np.concatenate([[0], np.cumsum(size / np.sqrt(out))])
        under = cap.copy()
        for i in range(n):
            for k in range(first[span[i]], first[span[i] + 1]):
                if max(time[k] - time[i + 1], time[i] - time[k + 1], 0.0) < 0.5 * window[span[i]]:
                    under[i] = min(under[i], cap[k])
        out = under
    assert np.allclose(erode(size, span, first, cap, window), out, rtol=1e-12)
