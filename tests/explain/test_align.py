"""Rows that belong together: the pairs are real, in order, and as many as there can be where tables are small."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from hexpost.explain.align import align, longest, rising

TOLERANCE = np.array([0.5, 0.5])
rows = st.lists(st.integers(0, 3), max_size=12)


def table(values):
    return np.array([values, [v * 2 for v in values]], dtype=float).reshape(2, -1)


def common(a, b):
    """Return the length of a longest common subsequence by its definition (Hirschberg 1975, eq. 1)."""
    row = [0] * (len(b) + 1)
    for x in a:
        before = row
        row = [0]
        for j, y in enumerate(b):
            row.append(before[j] + 1 if x == y else max(before[j + 1], row[j]))
    return row[-1]


@given(rows, rows)
@settings(deadline=None, max_examples=200)
def test_the_longest_common_subsequence_is_found(a, b):
    pairs = longest(table(a), table(b), TOLERANCE)
    assert [a[i] for i in pairs[0]] == [b[j] for j in pairs[1]]
    assert pairs.shape[1] == common(a, b)
    assert (np.diff(pairs, axis=1) > 0).all()


@given(st.lists(st.integers(0, 9), max_size=80), st.lists(st.integers(0, 9), max_size=80))
@settings(deadline=None, max_examples=200)
def test_pairs_match_and_rise(a, b):
    pairs = align(table(a), table(b), TOLERANCE)
    assert [a[i] for i in pairs[0]] == [b[j] for j in pairs[1]]
    assert (np.diff(pairs, axis=1) > 0).all()


@given(st.lists(st.integers(0, 60), unique=True, max_size=12))
@settings(deadline=None, max_examples=200)
def test_a_longest_rising_subsequence_is_found(values):
    found = rising(np.array(values, dtype=np.int64))
    assert (np.diff(np.array(values, dtype=int)[found]) > 0).all() if len(found) > 1 else len(found) == bool(values)
    assert len(found) == common(values, sorted(values))


@given(st.data())
@settings(deadline=None, max_examples=60)
def test_one_change_in_many_rows_costs_one_pair(data):
    n = data.draw(st.integers(3, 400))
    rng = np.random.default_rng(n)
    a = np.cumsum(rng.normal(0, 10, (2, n)), axis=1)
    k = data.draw(st.integers(0, n - 1))
    b = a.copy()
    b[0, k] += 5
    assert align(a, b, TOLERANCE / 100).shape[1] == n - 1
    assert align(a, np.delete(a, k, axis=1), TOLERANCE / 100).shape[1] == n - 1
    assert align(np.delete(a, k, axis=1), a, TOLERANCE / 100).shape[1] == n - 1


def test_large_tables_with_many_changes_are_paired():
    rng = np.random.default_rng(3)
    a = np.cumsum(rng.normal(0, 10, (2, 100_000)), axis=1)
    gone = rng.random(100_000) < 0.01
    b = a[:, ~gone] + rng.uniform(-1e-3, 1e-3, (2, (~gone).sum()))
    b[0, ::100] += 3
    pairs = align(a, b, TOLERANCE / 100)
    moved = np.zeros(b.shape[1], dtype=bool)
    moved[::100] = True
    assert pairs.shape[1] == (~moved).sum()
    assert np.array_equal(np.flatnonzero(~gone)[pairs[1]], pairs[0])


def test_tables_with_nothing_in_common_have_no_pairs():
    a = np.arange(20_000.0).reshape(2, -1)
    assert align(a, a + 1e6, TOLERANCE).shape == (2, 0)
    assert align(a, a[:, :0], TOLERANCE).shape == (2, 0)
