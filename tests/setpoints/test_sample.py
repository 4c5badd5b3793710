"""Batches of samples: one frame each, joined without gap, whatever their size."""

from dataclasses import replace

import numpy as np
from feed.jobs import MACHINE, lines, pauses, run

from hexpost.feed.plan import plan
from hexpost.path.build import build
from hexpost.setpoints.sample import sample


def two_frames():
    q = np.zeros((6, 5))
    q[0] = 0, 5, 10, 12, 20
    q[1] = 0, 0, 3, 3, 8
    moves = lines(q, stop=[False, True, False, True])
    return replace(moves, frame=np.array([0, 0, 1, 1], dtype=np.int32))


def test_a_batch_never_spans_two_frames_and_the_end_of_a_span_belongs_to_it():
    r = run(two_frames(), events=pauses([1], [0.01]))
    assert [b.frame for b in r.batches] == [0, 1]
    assert r.batches[0].tick[-1] == r.timing.end[0] + 10 == r.timing.start[1]
    assert r.batches[1].tick[0] == r.timing.start[1] + 1
    assert r.batches[0].pose[:2, -1].tolist() == [10, 3]


def test_the_size_of_batches_changes_no_sample():
    whole, small = run(two_frames()), run(two_frames(), batch=7)
    assert max(b.tick.size for b in small.batches) == 7
    for name in ("tick", "move", "line", "span", "corner"):
        assert (getattr(whole, name) == getattr(small, name)).all()
    assert np.abs(whole.pose - small.pose).max() < 1e-12
    assert np.abs(whole.rate - small.rate).max() < 1e-9
    assert np.abs(whole.acceleration - small.acceleration).max() < 1e-6


def test_a_corner_belongs_to_the_move_before_it_up_to_its_vertex():
    r = run(two_frames())
    at = np.flatnonzero((r.corner == 1) & (r.span == 0))
    assert at.size > 1
    k = np.searchsorted(r.move[at], 1)
    before, after = r.pose[:2, at[:k]], r.pose[:2, at[k:]]
    vertex, way = np.array([5.0, 0.0]), np.array([1.0, 0.0]) + np.array([5.0, 3.0]) / np.hypot(5.0, 3.0)
    assert ((before - vertex[:, None]).T @ way <= 1e-9).all()
    assert ((after - vertex[:, None]).T @ way >= -1e-9).all()


def test_a_path_without_pieces_has_no_samples():
    moves = lines(np.zeros((6, 1)))
    moves = replace(moves, stop=moves.stop[:0])
    path = build(moves, MACHINE)
    timing = plan(path, moves, pauses(), MACHINE)
    assert timing.ticks == 0
    assert list(sample(timing, path, moves)) == []
