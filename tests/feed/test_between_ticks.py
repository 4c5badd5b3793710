"""Strut-limited jobs hold every limit between the ticks; where as-programmed ones do, they are never slower."""

from dataclasses import replace

import numpy as np
import pytest
from feed.jobs import FRAME, circle, lines
from feed.test_optimum import helix
from feed.test_plan import SEEDS, random_moves
from feed.test_strut_limited import between_ticks, planned, uses, with_struts
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.spatial.transform import Rotation

from hexpost.feed import lookahead, plan, portions
from hexpost.moves.model import ARC, Arcs


def surface(rows=3, per=60):
    """Return an excerpt of a free-form surface, to and fro, with tilt that follows; figures rounded as in programs."""
    x = np.arange(per) * 0.4 - 0.2 * per
    x = np.concatenate([x if r % 2 == 0 else x[::-1] for r in range(rows)])
    y = np.repeat(np.arange(rows) * 0.5, per)
    k = 2 * np.pi / 150
    a, b = np.radians(8 * np.sin(k * y) + 3 * np.cos(k * x)), np.radians(9 * np.cos(k * x + 0.3) * np.cos(k * y))
    q = np.stack([x, y, 15 * np.sin(k * x) * np.cos(0.8 * k * y), a, b, np.zeros(len(x))])
    return lines(np.concatenate([q[:3].round(3), q[3:].round(5)]), 200.0)


def tiny(n=300):
    """Return moves of a micrometre to a twentieth of a millimetre, every tenth with a stop."""
    rng = np.random.default_rng(11)
    q = np.zeros((6, n + 1))
    q[:3, 1:] = np.cumsum(rng.normal(size=(3, n)) * 10.0 ** rng.uniform(-3, -1.3, n), axis=1)
    return lines(q, 50.0, np.arange(n) % 10 == 9)


JOBS = {
    "surface": surface(),
    "mixed": random_moves(20, 25),
    "tiny": tiny(),
    "helix": helix(60.0, 3 * np.pi, 2000.0, 30.0, (0.2, -0.15)),
}
SHARES = {"as built": (1.0, 1.0, 1.0), "slow": (0.05, 1.0, 1.0), "weak": (1.0, 0.05, 1.0), "soft": (0.1, 0.1, 0.05)}


FINE = 20
"""Looks per tick of the lengths, from which differences tell speed, acceleration and jerk."""


def differences(moves, on, mode="strut-limited"):
    """Return ticks, and the largest use of speed, acceleration and jerk limits by differences of strut lengths.

    Lengths are distances of the joints, turned by scipy's rotations; jerks are means over three twentieths of a tick.
    """
    path, timing = planned(moves, on, mode)
    base = np.array([s.base_joint for s in on.struts]) - FRAME.base_from_work[:3, 3]
    joints = np.array([s.platform_joint for s in on.struts]) - FRAME.tip
    limit = [np.array([getattr(s, n) for s in on.struts]) for n in ("speed", "acceleration", "jerk")]
    most, h = np.zeros(3), on.period / FINE
    for begin, end in zip(timing.start[:-1], timing.end, strict=True):
        for low in range(begin, end, 2000):
            tick = np.arange(low * FINE - 3, min(low + 2000, end) * FINE + 4) / FINE
            motion = timing.motion(np.clip(tick, begin, end))
            place = timing.locate(path, motion)
            pose = path.evaluate(place.piece, place.u, 0)[0]
            turned = Rotation.from_euler("xyz", pose[3:].T).as_matrix() @ joints.T
            length = np.linalg.norm(pose[:3, :, None] + turned.transpose(1, 0, 2) - base.T[:, None], axis=0)
            for k in range(3):
                length = np.diff(length, axis=0) / h
                most[k] = max(most[k], np.abs(length / limit[k]).max())
    return timing.ticks, most


ROUNDING = 1e-3
"""Third differences of lengths that are good to a tenth of a picometre, over the softest limit below."""


@pytest.mark.parametrize("shares", SHARES.values(), ids=SHARES)
@pytest.mark.parametrize("moves", JOBS.values(), ids=JOBS)
def test_setpoints_and_all_between_them_keep_the_limits(moves, shares):
    on = with_struts(*shares)
    assert uses(moves, on)[1].max() <= 1.0
    assert max(between_ticks(moves, on)) <= 1.0


@pytest.mark.parametrize("shares", [(0.5, 0.3, 0.3), (0.1, 0.1, 0.05)])
@pytest.mark.parametrize("moves", JOBS.values(), ids=JOBS)
def test_differences_of_lengths_keep_the_limits_between_the_ticks(moves, shares):
    assert (differences(moves, with_struts(*shares))[1] <= [1.0, 1.0, 1.0 + ROUNDING]).all()


def tiny_steps(seed, n=80):
    """Return moves as small as the corners of a fine program, some with a tilt, passed in parts of a tick."""
    rng = np.random.default_rng(seed)
    size = 10.0 ** rng.uniform(*np.sort(rng.uniform(-3, 0.5, 2)), n)
    q = np.zeros((6, n + 1))
    q[:3, 1:] = np.cumsum(rng.normal(size=(3, n)) * size, axis=1)
    q[3:, 1:] = np.cumsum(rng.normal(size=(3, n)) * 10.0 ** rng.uniform(-5, -3, n), axis=1) * (rng.random() < 0.5)
    return lines(q, 10.0 ** rng.uniform(1, 2.7), rng.random(n) < rng.choice([0.0, 0.1]))


@given(SEEDS, st.tuples(*[st.floats(-2.0, 0.0)] * 3), st.sampled_from([0.5e-3, 1e-3, 4e-3]))
@settings(max_examples=4, deadline=None)
def test_corners_shorter_than_a_tick_keep_the_limits(seed, shares, period):
    assert max(between_ticks(tiny_steps(seed), with_struts(*(10.0**x for x in shares), period=period))) <= 1.0


def winding(n=240):
    """Return one span of short lines along a wave."""
    k = np.arange(n + 1)
    q = [0.8 * (k - n / 2), 4 * np.sin(0.11 * k), 2 * np.cos(0.2 * k), 0.05 * np.sin(0.1 * k), 0.04 * np.cos(0.13 * k)]
    return lines(np.array([*q, 0.0 * k]).round(3), 120.0)


@pytest.mark.parametrize("shares", [(1.0, 1.0, 1.0), (0.2, 0.2, 0.1)])
def test_a_long_span_in_windows_keeps_the_limits_and_is_not_slower_than_it_must_be(monkeypatch, shares):
    for module, name, value in ((plan, "LONG", 150), (portions, "LONG", 150), (lookahead, "WINDOW", 100),
                                (lookahead, "AHEAD", 60)):  # fmt: skip
        monkeypatch.setattr(module, name, value)
    on = with_struts(*shares)
    assert max(between_ticks(winding(), on)) <= 1.0
    programmed, most = differences(winding(), on, "as-programmed")
    assert (most <= 1.0).all() == (shares[0] == 1.0)
    if shares[0] == 1.0:
        assert planned(winding(), on)[1].ticks <= programmed


def arcs(n=300, radius=0.5):
    """Return half circles to either side, one after the other."""
    x = np.arange(n + 1) * 2 * radius - n * radius
    moves = lines(np.array([x, *[0.0 * x] * 5]), 100.0)
    centre = np.array([x[:-1] + radius, 0.0 * x[1:], 0.0 * x[1:]])
    turn = np.pi * (1 - 2 * (np.arange(n) % 2))
    found = Arcs(move=np.arange(n), centre=centre, axis=np.full(n, 2, dtype=np.uint8), turn=turn)
    return replace(moves, kind=np.full(n, ARC, dtype=np.uint8), arcs=found)


@pytest.mark.parametrize("moves", [arcs(), helix(60.0, 4 * np.pi, 400.0, 40.0, (0.05, -0.05)), circle(9.0, 20.0, 60.0)])
@pytest.mark.parametrize("shares", [(1.0, 1.0, 1.0), (0.7, 0.9, 1.0)])
def test_strut_limited_is_never_slower_than_a_clean_job_as_programmed(moves, shares):
    on = with_struts(*shares)
    ticks, most = differences(moves, on, "as-programmed")
    assert (most <= 1.0).all()
    assert planned(moves, on)[1].ticks <= ticks


@given(SEEDS, st.floats(-1.0, 0.0), st.tuples(*[st.floats(-0.7, 0.3)] * 3), st.booleans())
@settings(max_examples=5, deadline=None)
def test_no_random_job_that_is_clean_as_programmed_gets_slower(seed, feed, shares, tiny):
    on = with_struts(*(10.0**x for x in shares), period=4e-3)
    moves = tiny_steps(seed) if tiny else random_moves(seed, 6)
    moves = replace(moves, feed=moves.feed * 10.0**feed)
    (programmed, most), (limited, least) = differences(moves, on, "as-programmed"), differences(moves, on)
    assert limited <= programmed or (most > 1.0).any()
    assert (least <= [1.0, 1.0, 1.0 + ROUNDING]).all()
