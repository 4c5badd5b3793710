"""Distances of segments and boxes worked out by hand: right triangles, feet of perpendiculars, mirrored cases."""

import numpy as np
import pytest

from hexpost.kinematics.clearance import segment_to_box, segments_apart
from hexpost.verify import convex

ALONG_X = ((0, 0, 0), (10, 0, 0))
PAIRS = [
    ((5, -5, 3), (5, 4, 3), 3.0),  # crossing above
    ((12, -5, 4), (12, 4, 4), 20**0.5),  # beside the far end of the first
    ((-2, -5, 4), (-2, 4, 4), 20**0.5),  # beside its near end
    ((5, 2, 1), (5, 9, 1), 5**0.5),  # the start of the second is nearest
    ((5, -9, 1), (5, -2, 1), 5**0.5),  # its end is
    ((13, 4, 0), (20, 9, 12), 5.0),  # end to start
    ((20, 9, 12), (13, 4, 0), 5.0),  # end to end
    ((-3, 4, 0), (-20, 9, 12), 5.0),  # start to start
    ((-20, 9, 12), (-3, 4, 0), 5.0),  # start to end
    ((3, 2, 0), (8, 2, 0), 2.0),  # parallel, side by side
    ((8, 0, 2), (13, 0, 2), 2.0),  # parallel, partly side by side
    ((-4, 0, 2), (3, 0, 2), 2.0),
    ((13, 4, 0), (20, 4, 0), 5.0),  # parallel, one behind the other
    ((20, 4, 0), (13, 4, 0), 5.0),
    ((-20, 4, 0), (-3, 4, 0), 5.0),
    ((9, 1, 0), (15, 7, 0), 1.0),  # askew: the start of the second above the inside of the first
    ((6, 3, 2), (14, -3, 2), 2.0),  # oblique crossing above (10, 0, 0)
    ((4.6, -0.8, 3), (8.6, 7.2, 3), 3.0),  # the same, near the start of the second
    ((8.6, 7.2, 3), (4.6, -0.8, 3), 3.0),
    ((15, 7, 0), (9, 1, 0), 1.0),
    ((3, 4, 3), (7, -4, 3), 3.0),  # oblique crossing above (5, 0, 0)
]


@pytest.mark.parametrize("swapped", [False, True])
def test_segments_as_worked_by_hand(swapped):
    one = [np.tile(np.array(x, dtype=float)[:, None], len(PAIRS)) for x in ALONG_X]
    other = [np.array([row[k] for row in PAIRS], dtype=float).T for k in (0, 1)]
    found = segments_apart(*other, *one) if swapped else segments_apart(*one, *other)
    assert found == pytest.approx([row[2] for row in PAIRS], abs=1e-12)


LOW, HIGH = np.array([0.0, 0.0, 0.0]), np.array([2.0, 4.0, 6.0])
BESIDE = [
    ((0.5, 1, 1), (1.5, 2, 5), 0.0),  # inside
    ((-3, 1, 1), (9, 3, 5), 0.0),  # through
    ((5, 1, 1), (5, 3, 3), 3.0),  # along a face
    ((5, 1, 1), (4, 3, 3), 2.0),  # towards a face
    ((3, 5, 7), (9, 9, 9), 3**0.5),  # away from a corner
    ((9, 9, 9), (3, 5, 7), 3**0.5),
    ((6, 4, 3), (2, 7, 3), 2.4),  # past an edge: 3 x + 4 y = 34, seen from (2, 4)
    ((5, 4, 7), (2, 7, 7), 5.5**0.5),  # past a corner, 1 above
    ((5, 4, 6), (2, 10, 6), 36**0.5 / 5**0.5),  # 2 x + y = 14, seen from (2, 4)
    ((6, 1, 3), (3, 7, 3), 5**0.5),  # along a face, then past its edge: 2 x + y = 13
    ((-5, 1, 8), (9, 1, 8), 2.0),  # over the top, along an axis
    ((1, 6, -5), (1, 6, 11), 2.0),
    ((4, -7, 3), (4, 20, 3), 2.0),
    ((8, 2, 3), (3, 2, 3), 1.0),  # straight at a face, along an axis
    ((1, 9, 3), (1, 5.5, 3), 1.5),
    ((1, 2, 7.5), (1, 2, 9), 1.5),
]


@pytest.mark.parametrize("mirrored", [(), (0,), (1,), (2,), (0, 1, 2)])
def test_boxes_as_worked_by_hand(mirrored):
    ends = [np.array([row[k] for row in BESIDE], dtype=float).T for k in (0, 1)]
    for axis in mirrored:
        for x in ends:
            x[axis] = LOW[axis] + HIGH[axis] - x[axis]
    shift = np.array([7.0, -3.0, 1.0])
    found = segment_to_box(*(x + shift[:, None] for x in ends), LOW + shift, HIGH + shift)
    assert found == pytest.approx([row[2] for row in BESIDE], abs=1e-12)


@pytest.mark.parametrize(("place", "expected"), [((4, 3, 0), 3.0), ((13, 4, 0), 5.0), ((-3, 0, 4), 5.0)])
def test_a_segment_without_length_is_a_point(place, expected):
    """By hand, beside the segment and behind either end; for both modules that know distances, the proof's too."""
    p, q, x = (np.array([v], dtype=float) for v in (*ALONG_X, place))
    with np.errstate(all="raise"):
        found = [f(*(v.T for v in ends)) for f in (segments_apart,) for ends in ((p, q, x, x), (x, x, p, q))]
        found += [convex.segments_apart(*ends) for ends in ((p, q, x, x), (x, x, p, q))]
        nothing = segments_apart(p.T, p.T, x.T, x.T)
    assert np.concatenate(found) == pytest.approx([expected] * 4)
    assert nothing == pytest.approx([np.linalg.norm(x)])
