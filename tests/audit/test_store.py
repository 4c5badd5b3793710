"""Findings as they are stored: none lost, worst first, the mildest dropped when there are too many, joined in time."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from hexpost.audit.model import LIMITS
from hexpost.audit.runs import RUN
from hexpost.audit.store import LOOSE, Store


def runs_of(ratios, line=10, start=0):
    runs = np.zeros(len(ratios), dtype=RUN)
    runs["strut"], runs["line"], runs["ratio"] = 1, line, ratios
    runs["start"] = start + 2 * np.arange(len(ratios))
    runs["end"] = runs["start"]
    return runs


def test_many_small_parts_are_all_there_worst_first():
    store, n = Store(), 3 * LOOSE
    for k in range(n):
        store.put(runs_of([1.0 + (k * 7 % n) / n], line=k))
    found = store.findings(1e-3)
    assert found.count == n and not store.dropped()
    assert np.all(np.diff(found.ratio) <= 0)
    assert sorted(found.line.tolist()) == list(range(n))


@settings(max_examples=40, deadline=None)
@given(st.lists(st.lists(st.floats(1.0, 9.0), max_size=12), max_size=20), st.integers(1, 10))
def test_the_worst_are_kept_and_the_rest_counted(parts, kept):
    store, every = Store(kept=kept), sorted((r for p in parts for r in p), reverse=True)
    for k, part in enumerate(parts):
        store.put(runs_of(part, start=1000 * k))
    assert store.findings(1e-3).ratio.tolist() == every[:kept]
    rest = [(x.count, x.most_ratio) for x in store.dropped()]
    assert rest == ([(len(every) - kept, every[kept - 1])] if len(every) > kept else [])


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(st.integers(0, 5), st.floats(1.0, 9.0)), max_size=150), st.integers(1, 12))
def test_each_limit_has_room_of_its_own(rows, kept):
    """Against sorting each limit alone: a flood of one limit takes no room from another."""
    store, expected = Store(kept=kept), {}
    for k, (limit, ratio) in enumerate(rows):
        runs = runs_of([ratio], start=10 * k)
        runs["limit"] = limit
        store.put(runs)
        expected.setdefault(limit, []).append(ratio)
    found = store.findings(1e-3)
    for limit, ratios in expected.items():
        assert found.ratio[found.limit == limit].tolist() == sorted(ratios, reverse=True)[:kept]
    gone = {LIMITS[k].name: len(r) - kept for k, r in expected.items() if len(r) > kept}
    assert {x.limit: x.count for x in store.dropped()} == gone


@settings(max_examples=40, deadline=None)
@given(st.integers(1, 30), st.integers(1, 30), st.booleans(), st.booleans())
def test_a_run_over_a_border_is_one_finding_with_its_worst(first, second, same_line, gap):
    store, before, after = Store(), runs_of([2.0]), runs_of([3.0], line=10 if same_line else 20)
    before["end"] = first
    after["start"], after["end"] = first + 1 + gap, first + 1 + gap + second
    store.add(before, last_tick=first)
    store.add(after, last_tick=first + second + 100)
    found = store.findings(1.0)
    if same_line and not gap:
        assert (found.time.tolist(), found.until.tolist(), found.ratio.tolist()) == ([0], [first + 1 + second], [3.0])
    else:
        assert found.ratio.tolist() == [3.0, 2.0]


def test_the_worse_half_of_a_joined_run_tells_its_value():
    store, before, after = Store(), runs_of([4.0]), runs_of([3.0], start=1)
    before["peak"], after["peak"], after["end"] = 40.0, 30.0, 9
    store.add(before, last_tick=0)
    store.add(after, last_tick=50)
    found = store.findings(1.0)
    assert (found.peak.tolist(), found.time.tolist(), found.until.tolist()) == ([40.0], [0.0], [9.0])
