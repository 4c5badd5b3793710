"""Lags of position loops against the block diagram, integrated step by step by scipy, and against closed forms."""

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from hexpost.kinematics.servo import Lags, Loop

PERIOD = 1e-3
LOOPS = {
    "gain alone": Loop(gain=33.3),
    "speed fed forward": Loop(gain=20.0, speed_share=0.8),
    "inner loop": Loop(gain=33.3, speed_share=0.5, acceleration_share=0.3, frequency=2 * np.pi * 60, damping=0.7),
    "all fed forward": Loop(gain=50.0, speed_share=1.0, acceleration_share=1.0, frequency=2 * np.pi * 90, damping=0.5),
}


def moving(t):
    """Return length, speed and acceleration of a swing that begins at rest, smoothly: (1 - exp) and a sine."""
    w, k = 2 * np.pi * 1.7, 9.0
    s, c, e = np.sin(w * t), np.cos(w * t), np.exp(-k * t)
    g, g1, g2 = (1 - e) ** 3, 3 * k * (1 - e) ** 2 * e, 3 * k * k * (2 * (1 - e) * e * e - (1 - e) ** 2 * e)
    return 80 * g * s, 80 * (g1 * s + w * g * c), 80 * (g2 * s + 2 * w * g1 * c - w * w * g * s)


def integrated(loop, t):
    """Return the lag (n,) of the loop as it is drawn: speed asked for = K (r - y) + f r' + g (2 d / w) r''."""

    def rates(now, x):
        r, v, a = moving(now)
        if np.isinf(loop.frequency):
            return [loop.gain * (r - x[0]) + loop.speed_share * v]
        w, d = loop.frequency, 2 * loop.damping
        asked = loop.gain * (r - x[0]) + loop.speed_share * v + loop.acceleration_share * d / w * a
        return [x[1], x[2], w * w * (asked - x[1]) - d * w * x[2]]

    start = [0.0] if np.isinf(loop.frequency) else [0.0, 0.0, 0.0]
    return moving(t)[0] - solve_ivp(rates, (0, t[-1]), start, "DOP853", t, rtol=1e-10, atol=1e-10).y[0]


@pytest.mark.parametrize("name", LOOPS)
def test_lags_are_those_of_the_block_diagram_in_any_batches(name):
    loop, t = LOOPS[name], np.arange(400) * PERIOD
    _, v, a = moving(t)
    lags = Lags([loop], PERIOD)
    found = np.concatenate([lags.of(v[None, i : i + 130], a[None, i : i + 130])[0] for i in range(0, 400, 130)])
    assert found == pytest.approx(integrated(loop, t), abs=2e-6)


@pytest.mark.parametrize("name", LOOPS)
def test_at_a_steady_speed_a_strut_is_late_by_its_delay(name):
    loop, n = LOOPS[name], 2000
    v = np.full((1, n), 100.0)
    assert Lags([loop], PERIOD).of(v, 0 * v)[0, -1] == pytest.approx(100.0 * loop.delay, abs=1e-9)


def test_a_loop_swings_up_where_the_cubic_has_a_root_on_the_right():
    for gain in (40.0, 80.0, 90.0, 200.0):
        loop = Loop(gain=gain, frequency=60.0, damping=0.7)
        assert loop.stable == (np.roots([1.0, 84.0, 3600.0, 3600.0 * gain]).real < 0).all()
