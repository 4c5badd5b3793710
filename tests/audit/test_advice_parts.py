"""How advice takes a peak apart: by the chain rule, by what F speaks of, by what a ramp may be blamed for."""

from dataclasses import replace

import numpy as np
import pytest
from audit.jobs import MACHINE, PERIOD, audit, moves, rest, solved

from hexpost.audit.limit import FEED
from hexpost.audit.limits import LIMITS
from hexpost.audit.runs import new_runs
from hexpost.kinematics.struts import StrutModel
from hexpost.moves.model import FEED_INVERSE, FEED_TILT, FEED_TIP


def advice_of(machine=MACHINE):
    """Return the adviser of an audit of one move, and the move."""
    job = moves()
    return audit(job, machine=machine)._adviser, job


def test_a_radian_counts_as_the_corner_tolerances_say():
    tip = replace(MACHINE.tool_tip, corner_tolerance=0.02, corner_tolerance_tilt=0.001)
    advice, _ = advice_of(replace(MACHINE, tool_tip=tip))
    rate, bend = np.array([[3.0], [0], [0], [0.2], [0], [0]]), np.array([[6.0], [0], [0], [0.4], [0], [0]])
    along, pull = advice._along(rate, bend)
    assert along == pytest.approx(np.hypot(3.0, 20 * 0.2))
    assert pull == pytest.approx(2 * np.hypot(3.0, 20 * 0.2))


def test_inverse_time_speaks_of_the_tilt_only_where_the_block_leaves_the_tip_where_it_is():
    """Not where the tip has yet to start: a block that goes somewhere is fed by its way, from its first tick on."""
    modes = [FEED_INVERSE, FEED_INVERSE, FEED_TIP, FEED_TILT, FEED_TILT]
    end = np.array([[0.0, 5.0, 0.0, 5.0, 0.0], *[[0.0] * 5] * 2, *[[0.1] * 5] * 3])
    advice = audit(moves(5, modes, start=np.zeros((6, 5)), end=end))._adviser
    assert advice._turning[:5].tolist() == [True, False, False, True, True]


@pytest.mark.parametrize(
    ("v", "a", "j"), [(80.0, 0.0, 0.0), (80.0, 900.0, 0.0), (60.0, -700.0, 20_000.0), (0.0, 0.0, 50_000.0)]
)
def test_a_jerk_is_split_by_the_chain_rule(v, a, j):
    """l''' = l_s s''' + 3 l_ss s' s'' + l_sss s'^3 along a straight line in x, slopes by differences of lengths."""
    advice, job = advice_of()
    struts = StrutModel(MACHINE).in_frame(job.frames[0].base_from_work, job.frames[0].tip)
    t = (np.arange(3) - 1.5) * PERIOD  # the last tick is looked at in its middle, at t = 0
    zero = np.zeros(3)
    pose = np.stack([120.0 + v * t + a * t**2 / 2 + j * t**3 / 6, zero + 40, zero + 150, zero, zero, zero])
    rate = np.stack([v + a * t + j * t**2 / 2, *[zero] * 5])
    bend = np.stack([a + j * t, *[zero] * 5])
    s = solved(pose, rate, bend, job)
    at = np.array([2])
    h = 0.5
    x = 120.0 + v * t[2] / 1e9 + np.array([-2, -1, 0, 1, 2]) * h
    line = np.zeros((6, 5))
    line[0], line[1], line[2] = x, 40.0, 150.0
    lengths = struts.lengths(line)
    slope = (lengths[:, 0] - 8 * lengths[:, 1] + 8 * lengths[:, 3] - lengths[:, 4]) / (12 * h)
    bent = (-lengths[:, 0] + 16 * lengths[:, 1] - 30 * lengths[:, 2] + 16 * lengths[:, 3] - lengths[:, 4]) / (
        12 * h * h
    )
    third = (-lengths[:, 0] + 2 * lengths[:, 1] - 2 * lengths[:, 3] + lengths[:, 4]) / (2 * h**3)
    for k in range(6):
        parts = advice._jerk_parts(np.array([k]), at, s)[:, 0]
        expected = slope[k] * j, 3 * bent[k] * v * a, 0.0, third[k] * v**3
        size = max(abs(slope[k] * j), abs(3 * bent[k] * v * a), abs(third[k] * v**3))
        assert parts == pytest.approx(np.array(expected), abs=0.05 * size + 1.0)
        assert parts.sum() == pytest.approx(s.jerk[k, 2])


@pytest.mark.parametrize("limit", ["acceleration", "jerk"])
def test_a_ramp_is_to_blame_from_nine_tenths_of_an_acceleration_on_and_from_all_of_a_jerk(limit):
    """Straight starts from rest: the whole value is ramp; the share that is blamed is the limit's own."""
    advice, job = advice_of()
    t = np.arange(40) * PERIOD
    zero = np.zeros(40)
    j = 40_000.0
    s = solved(
        np.stack([j * t**3 / 6, zero, zero + 150, zero, zero, zero]), np.stack([j * t * t / 2, *[zero] * 5]),
        np.stack([j * t, *[zero] * 5]), job,
    )  # fmt: skip
    value = np.abs(getattr(s, limit)[0, 39])
    for share in (0.85, 0.95, 1.05):
        runs = new_runs(1, LIMITS.index(limit))
        runs["peak"], runs["allowed"], runs["ratio"] = value, value / share, 1.01
        advice.advise(LIMITS.of(limit), runs, np.array([0]), np.array([39]), s)
        assert (runs["case"][0] != FEED) == (share > (0.9 if limit == "acceleration" else 1.0))


@pytest.mark.parametrize("rate", [0.003, 1.0, 0.0])
def test_a_feed_of_a_tenth_of_a_millimetre_a_minute_is_advised_and_none_at_rest(rate):
    """A strut half as fast again as it may be: two thirds of the feed, five per cent spared."""
    advice, _ = advice_of()
    s = rest(3)
    s.poses.rate[1] = rate
    runs = new_runs(1, LIMITS.index("speed"))
    runs["peak"], runs["allowed"], runs["ratio"] = 150.0, 100.0, 1.5
    advice.advise(LIMITS.of("speed"), runs, np.array([0]), np.array([1]), s)
    expected = 0.95 * rate * 60.0 / 1.5
    assert runs["own_feed"][0] == pytest.approx(expected if rate else np.nan, rel=0.1, nan_ok=True)


def test_a_milder_ramp_leaves_a_twentieth_of_the_limit_for_the_bend():
    """What a bend takes goes with the square of the feed: at a feed k times as high, k^2 of it is the twentieth."""
    advice, _ = advice_of()
    allowed, bend = np.full(3, 1000.0), np.array([400.0, 60.0, 20.0])
    parts = np.stack([allowed, allowed * 0.0, bend, allowed * 0.0])
    feed = advice._ramp_feed(parts, allowed, np.full(3, 10.0), np.full(3, 1e6), np.zeros(3, dtype=bool))
    k = feed / 10.0
    assert k[:2] ** 2 * bend[:2] == pytest.approx(0.05 * allowed[:2])
    assert k[2] == pytest.approx(1.0)  # no faster than the feed that was reached
