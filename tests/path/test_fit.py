"""Lengths that need no trial: no fit with a shorter one displaces a node by more than is said."""

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from hexpost.path.cells import Nodes
from hexpost.path.fit import LADDER, LONGEST, _fitter, fitted, sizes


def nodes_of(seed, noise):
    """Return nodes along a wavy way in five coordinates, rounded, at uneven distances; some are fixed."""
    rng = np.random.default_rng(seed)
    n = int(rng.integers(6, 300))
    s = np.cumsum(rng.uniform(0.02, 10 ** rng.uniform(-1, 0.3), n))
    waves = rng.uniform(1, 40, (5, 1)), rng.uniform(0, 6, (5, 1)), 10 ** rng.uniform(-3, 1, (5, 1))
    place = waves[2] * np.sin(s / waves[0] + waves[1]) + noise * rng.uniform(-1, 1, (5, n))
    fixed = rng.random(n) < 0.03
    fixed[[0, -1]] = True
    return Nodes(s=s, place=place, fixed=fixed)


@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 1e-4, 1e-3, 1e-2]))
@settings(max_examples=60, deadline=None)
def test_what_is_said_to_be_short_enough_is(seed, noise):
    nodes, most = nodes_of(seed, noise), 0.002
    solve, sure = _fitter(nodes.s, nodes.place, nodes.fixed, 3)
    longest = sure * np.cbrt(most)
    for share in (1.0, 0.7, 0.3):
        fit = solve(np.full((1, len(nodes.s)), share * longest))[0]
        assert sizes(fit - nodes.place, 3).max() <= most


@given(st.integers(0, 2**32 - 1), st.sampled_from([0.0, 1e-4, 1e-3]))
@settings(max_examples=30, deadline=None)
def test_all_lengths_tried_give_the_same_fit(seed, noise):
    """As ``fitted`` says it: the longest of the ladder with which, and with all shorter ones, the fit stays within."""
    nodes, most = nodes_of(seed, noise), 0.002
    solve, _ = _fitter(nodes.s, nodes.place, nodes.fixed, 3)
    good = np.ones(len(nodes.s), dtype=bool)
    for step in LONGEST * LADDER[::-1]:
        good &= sizes(solve(np.full((1, len(nodes.s)), step))[0] - nodes.place, 3) <= most
    q = fitted(nodes, most, 3)
    if good.all():
        assert np.abs(q - solve(np.full((1, len(nodes.s)), LONGEST))[0]).max() <= 1e-9
