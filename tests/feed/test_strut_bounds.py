"""Bounds made of the struts against the slopes of their lengths, looked at much more finely, and worked by hand."""

from dataclasses import replace

import numpy as np
import pytest
from feed.jobs import FAR, FRAME, circle, lines
from feed.test_strut_limited import with_struts
from feed.test_thrusts import DESCRIBED
from kinematics.plain_dynamics import balanced, needed, turning

from hexpost.feed.bounds import as_programmed, parts, shares, speed_caps
from hexpost.feed.struts import BETWEEN, CURVATURE_SHARE, PLANNED, bounded, strut_limits
from hexpost.feed.thrusts import FULL, ThrustParts
from hexpost.kinematics.links import links
from hexpost.kinematics.struts import StrutModel
from hexpost.machine.platform import moving_body
from hexpost.path.build import build

FINE = np.linspace(0.0, 1.0, 41)


def part(low=-20.0, high=50.0, ramp=-2.0, bend=4.0, most=100.0):
    """Return the parts of one thrust at one sample."""
    return ThrustParts(**{k: np.array([[v]]) for k, v in locals().items()})


def test_room_is_what_standing_still_leaves():
    one = part()
    assert one.free.all()
    assert one.room(np.array([[1.0]])).item() == 50.0
    assert one.room(np.array([[-1.0]])).item() == 80.0
    assert one.room(np.array([[-1.0]]), 0.9).item() == pytest.approx(70.0)
    for tight in (part(high=FULL * 100.0), part(low=-FULL * 100.0), part(low=-99.0)):
        assert not tight.free.any()
        assert tight.room(np.array([[1.0]])).item() >= 1e15
    assert part(high=97.9).free.all() and part(low=-97.9).free.all()


def test_bounds_of_a_thrust_worked_by_hand():
    one = part()
    assert one.caps(0.9, 0.98, 1.25).item() == pytest.approx(0.9 * (98 - 50) / (1.25 * 4))
    assert part(bend=-4.0).caps(0.9, 0.98, 1.25).item() == pytest.approx(0.9 * (98 - 20) / (1.25 * 4))
    up, down = (one.ramps(np.array([3.0]), sign, 0.98, 1.25).item() for sign in (1.0, -1.0))
    assert up == pytest.approx((98 - 20) / (1.25 * 2))  # turning pushes, speeding up pulls: no help is counted on
    assert down == pytest.approx((98 - 50 - 1.25 * 4 * 3) / (1.25 * 2))
    assert one.ramps(np.array([30.0]), -1.0, 0.98, 1.25).item() == 0.0
    assert [x.item() for x in one.uses()] == pytest.approx([2 / 50, 4 / 50])
    two = replace(one, low=np.array([[-60.0]]))
    assert [x.item() for x in two.uses()] == pytest.approx([2 / 40, 4 / 40])
    taken = ThrustParts(**{k: np.array([[1.0, 2.0, 3.0]]) for k in ("low", "high", "ramp", "bend", "most")}).take(
        slice(1, 3)
    )
    assert taken.low.tolist() == taken.high.tolist() == taken.ramp.tolist() == taken.most.tolist() == [[2.0, 3.0]]


def turned(feeds, frames=None):
    """Return straight moves that tilt and turn; the feed inf makes a rapid."""
    points = np.array(
        [[-80.0, 60, 90, 40], [-60.0, 10, 60, 90], [-50.0, 20, 60, 0], [-0.1, 0.1, 0.05, 0.15], [0.05, -0.1, 0, 0.1],
         [0.0, 0.2, 0.1, -0.1]]
    )  # fmt: skip
    moves = lines(points, feeds, stop=True)
    other = np.array([[0, -1.0, 0, 30], [1, 0, 0, -20], [0, 0, 1, 600], [0, 0, 0, 1]])
    second = replace(FRAME, base_from_work=other, tip=FRAME.tip - np.array([5.0, 0, 40.0]))
    if frames is None:
        return moves
    return replace(moves, frames=(FRAME, second), frame=np.array(frames, dtype=np.int32))


def test_slopes_and_thrusts_are_those_of_the_frame_of_each_piece():
    moves = turned([100.0, np.inf, 100.0], [0, 1, 0])
    path = build(moves, DESCRIBED)
    limits = strut_limits(path, moves, DESCRIBED, rapids_only=False)
    assert limits.aim.tolist() == [0.999, 0.98, 0.999]
    assert strut_limits(path, moves, DESCRIBED, rapids_only=True).aim.tolist() == [0.0, 0.98, 0.0]
    piece = np.repeat(np.arange(3), len(FINE))
    u = np.tile(FINE, 3) * path.size[piece]
    q = path.evaluate(piece, u, 3)
    found, pull = limits.slopes(piece, q), limits.pull(piece, q)
    assert np.allclose(pull.most, np.array([[12000.0]]) * limits.aim[piece], rtol=1e-12)
    for k in range(3):
        at = slice(k * len(FINE), (k + 1) * len(FINE))
        frame, mine = moves.frames[moves.frame[k]], [x[:, at] for x in q]
        struts = StrutModel(DESCRIBED).in_frame(frame.base_from_work, frame.tip)
        for x, y in zip(found, struts.derivatives(mine)[1:], strict=True):
            assert np.allclose(x[:, at], y, rtol=1e-12, atol=1e-12)
        v, a = 70.0, -900.0
        pose, rate, bend = mine[0], mine[1] * v, mine[1] * a + mine[2] * v * v
        held = links(struts, pose)
        body = moving_body(DESCRIBED).seen_from(frame.tip)
        gravity = frame.base_from_work[:3, :3].T @ DESCRIBED.forces.gravity
        wrench = needed(body, held.rotation, bend[:3], gravity, turning(held.rotation, pose, rate, bend, "ABC"))
        still = needed(body, held.rotation, 0 * bend[:3], gravity, None)
        force = np.concatenate(
            [np.einsum("ijn,j->in", held.rotation, x) for x in (DESCRIBED.forces.force, DESCRIBED.forces.moment)]
        )
        whole, rest, cut = (balanced(held, x) for x in (wrench, still, force))
        moving = pull.ramp[:, at] * a + pull.bend[:, at] * v * v
        assert np.abs(moving - (whole - rest)).max() < 1e-6 * np.abs(whole).max()
        both = np.sort([rest, rest - (k != 1) * cut], axis=0)  # a rapid does not cut
        assert np.allclose([pull.low[:, at], pull.high[:, at]], both, rtol=1e-9, atol=1e-6)


JOBS = [turned([400.0, np.inf, 400.0]), circle(60.0, 5.0, 900.0), turned([400.0, 300.0, np.inf], [0, 1, 0])]


def looked_at(moves, on):
    """Return stretches and shares with the struts in them, their limits, and a function to slopes in a piece."""
    path = build(moves, on)
    norms = path.norms_max()
    limits = strut_limits(path, moves, on, rapids_only=False)
    caps = speed_caps(path, moves, on.tool_tip, norms)
    st = as_programmed(caps, path, on.tool_tip, norms)
    st = st.divided(parts(path, norms, limits.aim > 0, st))
    st, clear = bounded(st, shares(caps, on.tool_tip, norms), path, norms, limits)

    def slopes(piece, u):
        k = np.full(len(u), piece)
        return limits.slopes(k, path.evaluate(k, u, 3))

    return path, st, clear, limits, slopes


FREE = {"speed": FAR, "acceleration": FAR, "jerk": FAR, "tilt_speed": FAR, "tilt_acceleration": FAR, "tilt_jerk": FAR}


@pytest.mark.parametrize("moves", JOBS)
def test_shares_bound_what_the_struts_use_on_a_piece_and_not_by_much(moves):
    path, _, clear, limits, slopes = looked_at(moves, with_struts(0.3, 0.2, 0.1, **FREE))
    for piece in range(path.count):
        l1, l2, l3 = (np.abs(x) for x in slopes(piece, np.linspace(0, path.size[piece], 400)))
        aim = limits.aim[piece]
        want = [
            (l1 / limits.acceleration).max() / aim, (l2 / limits.acceleration).max() / aim,
            (l1 / limits.jerk).max() / aim, (l2 / limits.jerk).max() / aim, (l3 / limits.jerk).max() / aim,
        ]  # fmt: skip
        found = np.array([getattr(clear, n)[piece] for n in ("a1", "a2", "j1", "j2", "j3")])
        assert (found >= np.array(want) * (1 - 1e-9)).all()
        assert (found <= np.array(want) * 1.02).all()
        free = (limits.speed * aim / l1).min()
        assert free / 1.02 <= clear.free[piece] <= max(free, clear.speed[piece] / 1.02)


@pytest.mark.parametrize("moves", JOBS)
def test_bounds_of_a_stretch_hold_all_along_it_and_are_near_the_limits(moves):
    path, st, _, limits, slopes = looked_at(moves, with_struts(0.3, 0.2, 0.1, **FREE))
    ratios = []
    for k in range(len(st.size)):
        piece = st.piece[k]
        l1, l2, l3 = slopes(piece, np.clip(st.s[k] - path.s0[piece] + FINE * st.size[k], 0, path.size[piece]))
        aim, cap = limits.aim[piece], st.cap[k]
        tight = [
            ((limits.speed * aim / np.abs(l1)) ** 2).min(),
            (limits.acceleration * CURVATURE_SHARE * PLANNED * aim / np.abs(l2)).min(),
            np.cbrt(limits.jerk * PLANNED * aim / np.abs(l3)).min() ** 2,
        ]
        feed = moves.feed[path.move[piece]]
        assert cap <= min(*tight, feed**2) * (1 + 1e-3)
        assert cap >= min(*tight, feed**2) / 1.02
        most = limits.acceleration * PLANNED * aim
        for bound, sign in ((st.up[k], 1.0), (st.down[k], -1.0)):
            x = cap * np.array([0.0, 0.5, 1.0])[:, None, None]
            use = np.abs(sign * l1 * bound + l2 * x) / most
            assert use.max() <= 1.1  # what is more between start, middle and end is for the corrections
            assert use[:, :, [0, 20, 40]].max() <= 1 + 1e-9
            ratios.append(use.max())
        assert st.jerk[k] * np.abs(l1 / limits.jerk).max() / (PLANNED * aim) == pytest.approx(1 / BETWEEN, abs=1e-3)
    assert min(ratios) > 0.95


@pytest.mark.parametrize(
    ("way", "turn", "count"), [(100.0, 0.0, 25), (101.0, 0.0, 26), (8.0, 0.45, 5), (0.0, 0.45, 5), (60.0, 0.45, 15)]
)
def test_under_the_struts_a_line_is_cut_every_four_millimetres_and_tenth_of_a_radian(way, turn, count):
    q = np.zeros((6, 2))
    q[1, 1], q[4, 1] = way, turn
    moves, on = lines(q, 50.0), with_struts()
    path = build(moves, on)
    norms = path.norms_max()
    st = as_programmed(speed_caps(path, moves, on.tool_tip, norms), path, on.tool_tip, norms)
    assert parts(path, norms, np.array([True]), st).tolist() == [count]
    assert parts(path, norms, np.array([False]), st).tolist() == [1]
