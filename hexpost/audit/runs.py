"""Runs of consecutive samples over a limit within one line, as rows of one record type."""

import numpy as np
import numpy.typing as npt

from hexpost.arrays import Array, Ints, Lines
from hexpost.audit.band import Band

RUN = np.dtype(
    [
        ("limit", np.uint8), ("strut", np.uint8), ("line", np.int32), ("start", np.int64), ("end", np.int64),
        ("peak", np.float64), ("allowed", np.float64), ("ratio", np.float64), ("feed", np.float64),
        ("advice", np.int32), ("joint", np.uint8), ("bodies", np.uint16),
    ]
)  # fmt: skip
"""A finding in the making: as in ``Findings``, with the ticks of its first and last sample for its times."""

Runs = npt.NDArray[np.void]

JUST_OVER = float(np.nextafter(1.0, 2.0))
"""The least ratio of a finding."""


def find_runs(band: Band, values: Array, line: Lines, tick: Ints) -> tuple[Runs, Ints, Ints]:
    """Return the runs of a block that leave their ``band``, by strut, then by time; without advice.

    ``values`` (k, n) of one limit, at least one of them outside; ``line`` and ``tick`` (n,) of the samples. Beside
    the runs (m,) come the row and the sample of each one's worst value, the first one where several are equal.
    """
    row, at = np.nonzero(band.outside(values))
    over = values[row, at]
    use = np.maximum(band.use(over, row), JUST_OVER)
    first, last, top = _cut(row, at, line[at], use)
    runs = np.zeros(len(first), dtype=RUN)
    runs["limit"] = band.code
    runs["strut"] = band.struts[row[first]]
    runs["line"] = line[at[first]]
    runs["start"], runs["end"] = tick[at[first]], tick[at[last]]
    runs["peak"] = band.shown(over[top])
    runs["allowed"] = band.bound(over[top], row[top])
    runs["ratio"] = use[top]
    runs["feed"] = np.nan
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
