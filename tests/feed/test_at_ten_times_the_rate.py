"""Kinds of jobs under the struts: within every limit at the setpoints, and at most three percent over between them."""

import numpy as np
import pytest
from feed.jobs import lines
from feed.test_optimum import helix
from feed.test_plan import random_moves
from feed.test_strut_limited import between_ticks, uses, with_struts


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


@pytest.mark.parametrize("shares", SHARES.values(), ids=SHARES)
@pytest.mark.parametrize("moves", JOBS.values(), ids=JOBS)
def test_setpoints_keep_the_limits_and_between_them_three_percent_are_the_most(moves, shares):
    on = with_struts(*shares)
    assert uses(moves, on)[1].max() <= 1.0
    assert max(between_ticks(moves, on)) <= 1.03
