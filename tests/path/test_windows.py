"""A long path built window by window is the path built at once, to the last bit."""

from dataclasses import fields, replace

import numpy as np
import pytest
from feed.jobs import MACHINE, lines
from hypothesis import given, settings
from hypothesis import strategies as st

from hexpost.machine.load import no_setup, no_tools
from hexpost.path import build as module
from hexpost.path.arc import Circles
from hexpost.path.build import build
from hexpost.path.model import QUINTIC, ROUND
from hexpost.pipeline import parse, understand


def same(one, other):
    """Return whether two dataclasses of arrays are equal."""
    for field in fields(one):
        a, b = getattr(one, field.name), getattr(other, field.name)
        if hasattr(a, "__dataclass_fields__"):
            assert same(a, b)
        else:
            assert np.array_equal(a, b), field.name
    return True


def in_windows(moves, window):
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(module, "WINDOW", window)
        return build(moves, MACHINE)


@given(st.integers(0, 2**32 - 1), st.sampled_from([1, 7, 64, 100]))
@settings(max_examples=30, deadline=None)
def test_windows_of_dense_chains_with_noise_and_stops(seed, window):
    """Short lines rounded to a thousandth, whose vertices are freed of noise over dozens of moves; some stops."""
    rng = np.random.default_rng(seed)
    n = 300
    heading = np.cumsum(rng.normal(size=n) * 0.03 * rng.choice([0.1, 1.0, 30.0], n, p=[0.5, 0.48, 0.02]))
    step = np.zeros((6, n))
    step[:2] = rng.uniform(0.2, 0.6) * np.array([np.cos(heading), np.sin(heading)])
    step[3:5] = rng.normal(size=(2, n)) * 1e-3
    q = np.round(np.concatenate([np.zeros((6, 1)), np.cumsum(step, axis=1)], axis=1), 3)
    moves = lines(q, 50.0, rng.random(n) < 0.01)
    assert same(build(moves, MACHINE), in_windows(moves, window))


@pytest.mark.parametrize("window", [1, 5, 17])
def test_windows_of_arcs_and_corners_beside_them(window):
    text = ["G21 G90 G17 G94 G64 G00 X0 Y0 Z50", "G01 F1000"]
    for k in range(30):
        text += [
            f"G01 X{10 * k + 5} Y{k % 3}",
            f"G02 X{10 * k + 10} Y{(k + 1) % 3} R{6 + k % 4}",
            "G91 G03 I2 J1",
            "G90",
        ]
    inputs = understand(parse("\n".join([*text, "M30", ""]).encode(), "p"), MACHINE, no_tools(), no_setup())
    moves = inputs.meaning.moves
    whole = build(moves, MACHINE)
    assert {ROUND, QUINTIC} <= set(whole.kind.tolist())
    assert isinstance(whole.circles, Circles)
    assert len(whole.circles.move) == 60
    assert same(whole, in_windows(moves, window))


def test_a_part_of_the_moves_has_their_arcs():
    moves = replace(lines(np.zeros((6, 5)) + np.arange(5.0)), stop=np.ones(4, dtype=bool))
    part = moves.part(1, 3)
    assert part.count == 2
    assert np.array_equal(part.end, moves.end[:, 1:3])
    assert part.arcs.move.size == 0
