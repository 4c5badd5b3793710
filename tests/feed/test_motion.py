"""Chains are smoothed where planning finds that it gains, and nowhere else."""

import numpy as np
import pytest
from feed.jobs import MACHINE, circle, lines, pauses, run
from hypothesis import given, settings
from hypothesis import strategies as st

from hexpost.feed.plan import plan
from hexpost.feed.task import STRUT_LIMITED
from hexpost.motion import motion
from hexpost.path.build import build
from hexpost.path.model import CURVE

FEED = 20_000 / 60


def ring(n, decimals, radius=20.0):
    angle = np.linspace(0, 2 * np.pi, n + 1)
    q = np.zeros((6, n + 1))
    q[:2] = np.round([radius * np.cos(angle), radius * np.sin(angle)], decimals)
    return q[:, np.concatenate([[True], (np.diff(q, axis=1) != 0).any(0)])]


@pytest.mark.parametrize(("chords", "decimals"), [(300, 6), (1_200, 3), (5_000, 3), (5_000, 4), (20_000, 3)])
def test_a_circle_costs_the_same_however_finely_it_is_written(chords, decimals):
    """Authority: the arc block that the chords stand for."""
    arc = circle(20.0, 2 * np.pi, FEED)
    whole = plan(build(arc, MACHINE), arc, pauses(), MACHINE).ticks
    moves = lines(ring(chords, decimals), FEED)
    path, timing = motion(build(moves, MACHINE), moves, pauses(), MACHINE)
    assert timing.ticks == pytest.approx(whole, rel=0.01)
    assert path.ends.curves == 1
    assert path.ends.moves == moves.count


def test_what_keeps_its_feed_is_left_as_it_is():
    moves = lines(ring(300, 6), 5.0)
    path = build(moves, MACHINE)
    assert motion(path, moves, pauses(), MACHINE)[0] is path


@given(st.integers(0, 2**32 - 1))
@settings(max_examples=5, deadline=None)
def test_no_program_is_slower_for_it(seed):
    """Several chains and long lines, some that gain and some that lose, stops between."""
    rng = np.random.default_rng(seed)
    parts, here = [np.zeros((2, 1))], np.zeros((2, 1))
    for _ in range(5):
        n = int(rng.integers(5, 400))
        step = 10 ** rng.uniform(-2, 0.3)
        heading = rng.uniform(0, 6) + np.cumsum(rng.normal(0, 0.03, n) + rng.choice([0, 1.2], n, p=[0.98, 0.02]))
        way = here + np.cumsum(step * np.array([np.cos(heading), np.sin(heading)]), axis=1)
        parts.append(way)
        here = way[:, -1:]
    q = np.zeros((6, sum(p.shape[1] for p in parts)))
    q[:2] = np.round(np.concatenate(parts, axis=1), 3)
    q = q[:, np.concatenate([[True], (np.diff(q, axis=1) != 0).any(0)])]
    moves = lines(q, FEED, rng.random(q.shape[1] - 1) < 0.005)
    path = build(moves, MACHINE)
    before = plan(path, moves, pauses(), MACHINE)
    _, after = motion(path, moves, pauses(), MACHINE)
    assert after.ticks <= before.ticks * 1.001


def test_chains_are_smoothed_under_the_struts_too():
    moves = lines(ring(5_000, 3), FEED)
    path = build(moves, MACHINE)
    before = plan(path, moves, pauses(), MACHINE, STRUT_LIMITED)
    smooth, after = motion(path, moves, pauses(), MACHINE, STRUT_LIMITED)
    assert (smooth.kind == CURVE).any()
    assert after.ticks < 0.5 * before.ticks


def test_ends_of_many_moves_looked_for_together_are_those_of_each_alone():
    """Where the way to an end is long the search takes more steps than where it is short."""
    points = np.zeros((6, 9))
    points[0] = np.cumsum([0.0, 0.02, 60.0, 0.5, 200.0, 0.01, 8.0, 0.3, 90.0])
    points[1] = [0.0, 0.0, 3.0, 3.0, 20.0, 20.0, 26.0, 26.0, 30.0]
    moves = lines(points, 50.0)
    r = run(moves)
    every = np.arange(moves.count)
    together = r.timing.end_ticks(r.path, every)
    assert (together == [int(r.timing.end_ticks(r.path, every[k : k + 1])[0]) for k in every]).all()
    assert (np.diff(together) >= 0).all()
    assert together[-1] == r.timing.end[-1]
