"""Runs of consecutive samples over a limit within one line, as rows of one record type."""

import numpy as np

from hexpost.arrays import Array, Ints, Lines
from hexpost.audit.band import Band
from hexpost.audit.model import RUN, Runs


def just_over(margin: float = 1.0) -> float:
    """Return the least ratio of a finding."""
    return float(np.nextafter(margin, 2.0))


def new_runs(count: int, code: int) -> Runs:
    """Return so many runs of the limit at place ``code`` of the table, with nothing known of them."""
    runs = np.zeros(count, dtype=RUN)
    runs["limit"] = code
    runs["feed"] = runs["own_feed"] = runs["margin_feed"] = runs["room"] = runs["f_share"] = np.nan
    return runs


def find_runs(
    band: Band, code: int, values: Array, line: Lines, tick: Ints, *, margin: float = 1.0
) -> tuple[Runs, Ints, Ints]:
    """Return the runs of a batch that leave their ``band``, by strut, then by time; without advice.

    ``values`` (k, n) of one limit, at least one of them outside; ``line`` and ``tick`` (n,) of the samples. Beside
    the runs (m,) come the row and the sample of each one's worst value, the first one where several are equal.
    """
    row, at = np.nonzero(band.outside(values, margin))
    over = values[row, at]
    use = np.maximum(band.use(over, row), just_over(margin))
    first, last, top = _cut(row, at, line[at], use)
    runs = new_runs(len(first), code)
    runs["strut"] = band.struts[row[first]]
    runs["line"] = line[at[first]]
    runs["start"], runs["end"] = tick[at[first]], tick[at[last]]
    runs["peak"] = band.shown(over[top])
    runs["allowed"] = band.bound(over[top], row[top])
    runs["ratio"] = use[top]
    return runs, row[top], at[top]


def _cut(row: Ints, at: Ints, line: Lines, use: Array) -> tuple[Ints, Ints, Ints]:
    """Return the first, the last and the worst entry of each run of neighbours in one row and one line."""
    new = np.ones(len(row), dtype=bool)
    new[1:] = (row[1:] != row[:-1]) | (at[1:] != at[:-1] + 1) | (line[1:] != line[:-1])
    first = np.flatnonzero(new)
    last = np.append(first[1:], len(row)) - 1
    run = np.cumsum(new) - 1
    tops = np.flatnonzero(use == np.maximum.reduceat(use, first)[run])
    top = tops[np.flatnonzero(np.diff(run[tops], prepend=-1))]
    return first, last, top
