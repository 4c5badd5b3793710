"""A measured trace of a circle test: angles and radii, one way round or both."""

from pathlib import Path

import numpy as np

from hexpost.arrays import Array
from hexpost.setup.columns import read_columns

FEWEST = 12
"""Fewest points of a trace: fewer do not show its shape."""
FARTHEST = 0.1
"""A measured radius is off by at most this share of the programmed one: else another radius is meant."""
WAYS = ("ccw", "cw")


def read_trace(path: Path, radius: float) -> tuple[Array, Array, Array]:
    """Return angles [rad], what radii are more than ``radius`` [mm], and ways (0 counterclockwise, 1), (n,) each.

    Raises
    ------
    InputError
        When the file is no such table, has fewer than ``FEWEST`` rows, or another radius is meant.
    """
    found = read_columns(path, ("angle_deg", "radius_mm"), ("way",))
    rows = found.rows(("angle_deg", "radius_mm"))
    if found.count < FEWEST:
        what = f"{found.count} rows are too few for a trace; write at least {FEWEST}"
        raise found.refusal(what, "bad-csv")
    off = rows[:, 1] - radius
    far = np.flatnonzero(np.abs(off) > FARTHEST * radius)
    if len(far):
        what = f"the radius is {rows[far[0], 1]:g} mm, the test has {radius:g} mm"
        raise found.refusal(what, "bad-number", "give the radius that was run with --radius-mm", int(far[0]))
    words = found.texts.get("way", (WAYS[0],) * found.count)
    wrong = [i for i, word in enumerate(words) if word not in WAYS]
    if wrong:
        raise found.refusal(f"way is {words[wrong[0]][:20]!r}; write ccw or cw", "bad-word", row=wrong[0])
    return np.radians(rows[:, 0]), off, np.array([float(WAYS.index(word)) for word in words])
