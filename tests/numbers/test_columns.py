"""Columns: what is cut into runs of rows and joined again is what it was; rows are those that numpy takes."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from hexpost.arrays import Array, Columns, Ints, among, distinct


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Inner(Columns):
    place: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outer(Columns):
    number: Ints
    place: Array
    inner: Inner
    name: str
    edge: Array
    missing: Array | None = None


def columns(n):
    """Return columns of ``n`` rows and their ``n`` + 1 edges."""
    k = np.arange(n)
    return Outer(
        number=k,
        place=np.stack([k, k * k, -k]) * 0.5,
        inner=Inner(place=k[None] * 3.0),
        name="all",
        edge=np.arange(n + 1.0),
    )  # fmt: skip


@given(st.integers(0, 40), st.lists(st.integers(0, 40), max_size=5))
def test_runs_of_rows_joined_are_the_whole(n, cuts):
    whole = columns(n)
    edges = [0, *sorted(min(c, n) for c in cuts), n]
    parts = [whole.take(slice(a, b), edge=whole.edge[a : b + 1]) for a, b in pairwise(edges)]
    assert all(np.shares_memory(p.place, whole.place) for p in parts if p.number.size)
    again = Outer.joined(parts, edge=whole.edge)
    assert again.number.dtype == whole.number.dtype and again.name == "all" and again.missing is None
    for one, other in (
        (again.number, whole.number),
        (again.place, whole.place),
        (again.inner.place, whole.inner.place),
    ):
        assert np.array_equal(one, other)
    assert again.edge is whole.edge


@given(st.lists(st.booleans(), min_size=1, max_size=30))
def test_rows_by_flags_are_rows_by_number(flags):
    keep = np.array(flags)
    whole = columns(len(keep))
    one, other = (whole.take(x, edge=whole.edge) for x in (keep, np.flatnonzero(keep)))
    assert one.number.tolist() == other.number.tolist() == [i for i, f in enumerate(flags) if f]
    assert np.array_equal(one.place, whole.place[:, keep]) and np.array_equal(
        other.inner.place, whole.inner.place[:, keep]
    )


@given(st.lists(st.integers(-3, 3) | st.sampled_from([np.nan, np.inf, 0.5]), max_size=12), st.lists(st.integers(-4, 4)))
def test_distinct_and_among_are_those_of_numpy(values, those):
    x = np.array(values, dtype=np.float64)
    assert among(x, those).tolist() == np.isin(x, those).tolist()
    whole = x[np.isfinite(x)].astype(np.int32)
    assert distinct(whole).tolist() == np.unique(whole).tolist() and distinct(whole).dtype == np.int32
    assert among(whole.reshape(1, -1), those).tolist() == np.isin(whole.reshape(1, -1), those).tolist()
