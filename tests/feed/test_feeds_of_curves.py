"""A piece of a smooth curve keeps the programmed feed of every move that it joins, however many these are."""

from dataclasses import replace

import numpy as np
import pytest
from path.routes import MACHINE, polyline
from path.test_chains import smoothed

from hexpost.feed.bounds import speed_caps
from hexpost.moves.model import FEED_INVERSE
from hexpost.path.build import build
from hexpost.path.model import CORNER, EDGE

PLACES = 40


@pytest.mark.parametrize("often", [3, 5, 17])
def test_no_move_of_a_piece_is_faster_than_its_feed(often):
    """Looked at in 40 places of each piece: some moves of a chain are slow, and so is the line that it ends with."""
    angle = 0.75 * np.pi * np.arange(401) / 400
    points = np.zeros((6, 402))
    points[:2, :-1] = 8.0 * np.cos(angle), 8.0 * np.sin(angle)
    points[:2, -1] = points[:2, -2] + 20.0 * np.array([-np.sin(angle[-1]), np.cos(angle[-1])])
    moves = polyline(points)
    slow = np.arange(moves.count) % often == often - 1
    slow[-3 * often :], slow[-1] = False, True
    moves = replace(moves, feed=np.where(slow, 20.0, 50.0))
    path, _ = smoothed(moves)
    edges = np.flatnonzero(path.kind == EDGE)
    assert np.isin(path.ends.piece, edges).sum() > len(edges)
    caps = speed_caps(path, moves, MACHINE.tool_tip, path.norms_max())
    piece = np.repeat(np.flatnonzero(path.kind >= EDGE), PLACES)
    u = path.size[piece] * np.tile((np.arange(PLACES) + 0.5) / PLACES, len(piece) // PLACES)
    slope = np.linalg.norm(path.evaluate(piece, u, 1, 1)[0][:3], axis=0)
    for speed in (caps.speed, caps.programmed):
        assert (slope * speed[piece] / moves.feed[path.move_at(piece, u)]).max() < 1.0 + 1e-9


@pytest.mark.parametrize("tilt", [0.0, 0.03])
def test_corners_of_lines_in_inverse_time_keep_the_pace_of_both(tilt):
    """The way of tip and tilt along a corner, as a move is measured, at 40 places of it."""
    rng = np.random.default_rng(3)
    steps = rng.uniform(-1, 1, (6, 60)) * np.array([8, 8, 8, tilt, tilt, 0])[:, None]
    steps[:, ::2] *= 0.05  # where one line is short, a corner is cut unequally
    points = np.cumsum(steps, axis=1)
    moves = polyline(points)
    moves = replace(moves, feed=rng.uniform(0.5, 3.0, moves.count), feed_mode=np.full(moves.count, FEED_INVERSE))
    path = build(moves, MACHINE)
    caps = speed_caps(path, moves, MACHINE.tool_tip, path.norms_max())
    corner = np.flatnonzero(path.kind == CORNER)
    assert len(corner) > 20
    piece = np.repeat(corner, PLACES)
    slope = path.evaluate(piece, path.size[piece] * np.tile(np.arange(PLACES) / (PLACES - 1), len(corner)), 1, 1)[0]
    way = np.hypot(np.linalg.norm(slope[:3], axis=0), path.rho * np.linalg.norm(slope[3:], axis=0))
    pace = moves.feed * path.length
    allowed = np.minimum(pace[path.move[piece]], pace[path.move[piece] + 1])
    assert (way * caps.speed[piece] / allowed).max() < 1.0 + 1e-9
