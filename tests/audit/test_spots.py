"""Worst blocks: against a search of all values, however they are cut into batches."""

import numpy as np
import pytest

from hexpost.audit.spots import MOST_BLOCKS, WorstBlocks, WorstSpot


def kept(values, line, time, cuts):
    found = WorstBlocks()
    for part in np.split(np.arange(len(values)), cuts):
        found.add(values[part], line[part], time[part])
    return found.ranked()


def searched(values, line, time):
    """Return the worst blocks as one would look for them in a list of all values."""
    best = {}
    for v, n, t in zip(values.tolist(), line.tolist(), time.tolist(), strict=True):
        if v > (best[n].value if n in best else 0.0):
            best[n] = WorstSpot(value=v, line=n, time=t)
    return tuple(sorted(best.values(), key=lambda x: (-x.value, x.line)))[:MOST_BLOCKS]


@pytest.mark.parametrize("seed", range(40))
def test_the_worst_blocks_are_those_of_a_search_in_any_batches(seed):
    rng = np.random.default_rng(seed)
    count = int(rng.integers(1, 400))
    line = np.repeat(rng.integers(1, 30, count), rng.integers(1, 8, count))
    values = np.round(rng.random(len(line)) * rng.choice([4.0, 1e3]))  # many equal ones, and zeros
    time = np.arange(len(line)) * 1e-3
    cuts = np.sort(rng.integers(0, len(line) + 1, int(rng.integers(0, 9))))  # empty batches, too
    assert kept(values, line, time, cuts) == searched(values, line, time)


def test_a_line_that_runs_often_does_not_crowd_out_others():
    """Line 7 runs a hundred times, each time worse than all others; they are named all the same."""
    line = np.array([7, 1, 7, 2, 7, 3] * 50)
    values = np.where(line == 7, 5.0 + np.arange(300) / 300.0, line / 10.0)
    found = kept(values, line, np.arange(300.0), [])
    assert [(x.line, x.value) for x in found[1:]] == [(3, 0.3), (2, 0.2), (1, 0.1)]
    assert (found[0].line, found[0].time) == (7, 298.0)


def test_nothing_above_zero_names_no_block():
    assert kept(np.zeros(5), np.arange(5), np.arange(5.0), [2]) == ()
