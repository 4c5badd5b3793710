"""Straight moves from rest to rest against the double S of the literature."""

import numpy as np
import pytest
from feed.jobs import FAR, along_x, machine, run
from hypothesis import given
from hypothesis import strategies as st

# Total time = d/v + v/a + a/j with the peaks reached: R. Zoellner, arXiv:2511.12615 (symmetric double-S motion) and
# B. Alpers, Robotics 10 (2021) 25 give the four cases; the rows were computed by integrating the seven segments.
# d [mm], v [mm/s], a [mm/s2], j [mm/s3], total [s], peak speed, peak acceleration
ROWS = [
    (500, 600, 6000, 60000, 1.033333333, 600.0, 6000.0),
    (100, 100, 6000, 60000, 1.081649658, 100.0, 2449.489742783),
    (100, 600, 2000, 50000, 0.488998886, 408.998886413, 2000.0),
    (30, 600, 6000, 60000, 0.25198421, 238.110157795, 3779.763149685),
    (10, 600, 6000, 60000, 0.174716093, 114.471424255, 2620.741394209),
    (1, 600, 6000, 60000, 0.081096027, 24.662120743, 1216.440399115),
    (2, 100, 6000, 60000, 0.102174591, 39.148676412, 1532.618864787),
    (360, 50, 200, 2000, 7.55, 50.0, 200.0),
]


@pytest.mark.parametrize("row", ROWS, ids=lambda r: f"{r[0]}mm")
def test_durations_and_peaks_are_those_of_the_double_s_up_to_whole_ticks(row):
    d, v, a, j, total, speed, acceleration = row
    period = 1e-3
    r = run(along_x(d, v), machine(period, speed=v, acceleration=a, jerk=j))
    taken = r.timing.ticks * period
    assert total - 1e-9 <= taken <= total + 2.01 * period  # window and duration are each rounded up to a tick
    assert np.abs(r.rate[0]).max() <= speed * (1 + 1e-12)
    assert np.abs(r.acceleration[0]).max() <= acceleration * 1.03  # a window rounded up allows more, within a and j
    assert np.abs(r.acceleration[0]).max() <= a * (1 + 1e-12)
    assert np.abs(np.diff(r.acceleration[0])).max() / period <= j * (1 + 1e-9)


def test_example_3_13_of_biagiotti_and_melchiorri():
    # L. Biagiotti, C. Melchiorri, Trajectory Planning for Automatic Machines and Robots, Springer 2008, example 3.13:
    # q 0 to 10 from rest to rest, v 10, a 20, j 30: T_j 0.5503, T_a 1.1006, no cruise, 2.2012 s in all.
    period = 1e-4
    r = run(along_x(10, 10.0), machine(period, speed=10.0, acceleration=20.0, jerk=30.0))
    assert r.timing.ticks * period == pytest.approx(2.2013, abs=2.5 * period)
    assert r.timing.ticks * period >= 2.201284832596 - 1e-9  # the exact minimum (32 d / j)^(1/3)
    assert r.timing.window[0] * period == pytest.approx(0.5503, abs=1e-4)
    v = r.rate[0]
    assert v.max() == pytest.approx(9.085, abs=2e-3)
    assert r.acceleration[0].max() == pytest.approx(16.51, abs=1e-2)
    assert v.argmax() * period == pytest.approx(1.1006, abs=2 * period)


@given(
    st.floats(0.01, 500),
    st.floats(5, 1000),
    st.floats(100, 20000),
    st.floats(3, 6),
)
def test_a_lone_straight_is_never_faster_than_the_optimum_and_at_most_three_ticks_slower(d, v, a, log_j):
    j, period = 10.0**log_j, 1e-3
    r = run(along_x(d, v), machine(period, speed=v, acceleration=a, jerk=j))
    ramp = min(np.cbrt(d / (2 * j)), a / j, np.sqrt(v / j))
    peak = j * ramp
    up = min(0.5 * (np.sqrt(ramp**2 + 4 * d / peak) - ramp), v / peak)
    best = d / (peak * up) + up + ramp
    assert best - 1e-9 <= r.timing.ticks * period <= best + 3 * period
    assert np.abs(np.diff(r.acceleration[0])).max() / period <= j * (1 + 1e-6)


def test_without_a_jerk_limit_that_is_felt_two_ramps_take_twice_the_root_of_d_over_a():
    # Two-point case with T = 2 sqrt(d/a) (textbook bang-bang motion).
    period = 1e-4
    r = run(along_x(1.0, FAR), machine(period, speed=FAR, acceleration=100.0, jerk=FAR))
    assert 0.2 <= r.timing.ticks * period <= 0.2 + 2.01 * period
