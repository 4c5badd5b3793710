"""A piece of a smooth curve keeps the programmed feed of every move that it joins, however many these are."""

from dataclasses import replace

import numpy as np
import pytest
from path.routes import MACHINE, polyline
from path.test_chains import smoothed

from hexpost.feed.bounds import speed_caps
from hexpost.path.model import EDGE

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
