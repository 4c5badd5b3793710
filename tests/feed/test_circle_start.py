"""Starting on a circle under a bound on total acceleration, against the exact solution."""

import numpy as np
import pytest
from feed.jobs import FAR, circle, machine, norm, run


@pytest.mark.parametrize("radius", [1.0, 20.0])
def test_reaching_full_speed_on_a_circle_is_never_faster_than_the_exact_solution(radius):
    # With |p''| bounded by a: s'^2 = a R sin(2 s / R) until s = pi R / 4, in 1.3110287771461 sqrt(R / a), half the
    # lemniscate constant 2.622057554292119 (the integral of dx / sqrt(1 - x^4) from 0 to 1).
    a, period = 1000.0, 1e-4
    r = run(circle(radius, 4 * np.pi, FAR), machine(period, speed=FAR, acceleration=a, jerk=1e8))
    speed, exact = norm(r.rate), 1.3110287771461 * np.sqrt(radius / a)
    full = 0.95 * np.sqrt(0.95 * 0.98) * np.sqrt(a * radius)
    reached = np.argmax(speed >= full) * period
    s = np.linspace(0, np.pi / 4, 2_000_001)[1:]
    ideal = np.sqrt(np.sin(2 * s))
    until = np.argmax(ideal >= full / np.sqrt(a * radius))
    exact_until = np.trapezoid(1 / np.sqrt(np.sin(2 * s[: until + 1])), s[: until + 1]) * np.sqrt(radius / a)
    assert exact_until < exact
    assert exact_until <= reached <= 3.5 * exact
    assert norm(r.acceleration).max() <= a
    assert speed.max() >= 0.96 * np.sqrt(a * radius)
