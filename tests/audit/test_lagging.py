"""The forecast of the tip against forward kinematics of lagging lengths, a brute search, and closed forms."""

import numpy as np
import pytest
from machine.described import text
from scipy.interpolate import CubicHermiteSpline

from hexpost.audit.lagging import Lagging
from hexpost.kinematics.forward import forward
from hexpost.kinematics.servo import Lags, Loop
from hexpost.pipeline import Files, load, schedule
from hexpost.setpoints.attitudes import Attitudes

TOOLS = "[[tool]]\nnumber = 1\nlength_mm = 120\ndiameter_mm = 12\n"
CIRCLE = (
    "G21 G90 T1 M06\nG43 H1\nG00 X150 Y0 Z150\nG01 Z140 F5000\n"
    "G03 X150 Y0 I-150 J0\nG03 X150 Y0 I-150 J0\nG03 X150 Y0 I-150 J0\nM30\n"
)
ZIGZAG = (
    "G21 G90 T1 M06\nG43 H1\nG00 X0 Y0 Z150\nG01 Z140 F6000\nX30\nY20\nG09 X0\nY0 A4\n"
    "A0 B3 F600\nG01 X20 B0 F3000\nG04 X0.2\nG00 Z160\nM30\n"
)


def job(folder, program, period=None):
    for name, content in (("m.toml", text()), ("t.toml", TOOLS), ("p.nc", program)):
        (folder / name).write_text(content)
    return schedule(load(Files(program=folder / "p.nc", machine=folder / "m.toml", tools=folder / "t.toml"), period))


@pytest.fixture(scope="module")
def circle(tmp_path_factory):
    return job(tmp_path_factory.mktemp("circle"), CIRCLE)


@pytest.fixture(scope="module")
def zigzag(tmp_path_factory):
    return job(tmp_path_factory.mktemp("zigzag"), ZIGZAG)


def followed(made, loops, size=None):
    """Yield setpoints, the forecast, and the poses that lagging lengths give by forward kinematics."""
    i = made.inputs
    poses, lags = Attitudes(i.machine, i.meaning.moves.frames), Lags(loops, i.machine.period)
    feeds = np.append(i.meaning.moves.feed_mode != 3, False)
    lagging = Lagging(loops, i.machine.period, poses, feeds)
    for s in made.setpoints():
        found = lagging.of(s)
        length = s.length - lags.of(s.speed, s.acceleration)
        yield s, found, forward(poses.struts(s), length, s.poses.pose).pose


def steady(made, loops):
    """Return radii of the forecast less 150 and heights (n,), um, over the third turn, once round."""
    radius, height, at = [], [], []
    for s, found, _ in followed(made, loops):
        pose, here = s.poses.pose, s.poses.line == 7
        radius.append((pose[:2, here] * found.error[:2, here]).sum(axis=0) / 150.0)
        height.append(found.error[2, here])
        at.append(np.unwrap(np.arctan2(pose[1, here], pose[0, here])))
    radius, height = np.concatenate(radius) * 1e3, np.concatenate(height) * 1e3
    return radius[400:-400], height[400:-400]


def test_equal_loops_make_a_circle_smaller_by_the_closed_form(circle):
    """dR = R (1 / sqrt(1 + (w / K)2) - 1): a sine through a first-order lag (control theory, any textbook)."""
    radius, _ = steady(circle, [Loop(gain=33.3)] * 6)
    w = 5000 / 60 / 150
    assert radius.mean() == pytest.approx(150e3 * (1 / np.sqrt(1 + (w / 33.3) ** 2) - 1), abs=0.15)


def test_a_slower_strut_makes_the_circle_that_forward_kinematics_gave(circle):
    """40.7 um, and 21.7 um out of its plane in another height: by forward kinematics of another program, 512 poses."""
    radius, height = steady(circle, [Loop(gain=33.3 * 0.95), *[Loop(gain=33.3)] * 5])
    assert np.ptp(radius) == pytest.approx(40.7, abs=1.0)
    assert np.ptp(height) == pytest.approx(21.7, abs=1.0)


@pytest.mark.parametrize(
    "loops",
    [
        [Loop(gain=33.3 + k) for k in range(6)],
        [Loop(gain=25.0, speed_share=0.9, frequency=2 * np.pi * 50, damping=0.6)] * 6,
    ],
    ids=["unequal", "fed forward"],
)
def test_the_tip_is_as_far_off_its_path_as_a_search_of_all_rows_finds(zigzag, loops):
    way, off, where = [], [], []
    for s, found, pose in followed(zigzag, loops):
        way.append(s.poses.pose[:3])
        off.append(found.across)
        where.append(pose[:3])
        assert found.late == pytest.approx(np.linalg.norm(pose[:3] - s.poses.pose[:3], axis=0), abs=5e-3)
    way, off, where = (np.concatenate(x, axis=-1) for x in (way, off, where))
    for k in range(0, len(off), 23):  # what is kept is some 0.25 s
        near, far = (distance(where[:, k], way[:, max(k - rows, 0) : k + 1]) for rows in (200, 400))
        assert far * 0.99 - 2e-3 <= off[k] <= near * 1.01 + 2e-3, (k, way[:, k])


@pytest.mark.parametrize("period", [0.01, 0.05])
def test_so_it_is_where_rows_are_long_beside_the_lags(tmp_path, period):
    """Against forward kinematics, and scipy's cubics through places and rates, at 200 places of each tick."""
    made, loops = job(tmp_path, ZIGZAG, period), [Loop(gain=40.0 + k, speed_share=0.3) for k in range(6)]
    way, rate, off, where, feeds = [], [], [], [], []
    for s, found, pose in followed(made, loops):
        for kept, new in ((way, s.poses.pose[:3]), (rate, s.poses.rate[:3]), (off, found.across), (where, pose[:3])):
            kept.append(new)
        feeds.append(found.feeds)
    way, rate, off, where, feeds = (np.concatenate(x, axis=-1) for x in (way, rate, off, where, feeds))
    spline = CubicHermiteSpline(np.arange(way.shape[1]), way, period * rate, axis=1)
    windows = round(0.2 / period), 40  # what is kept is some 0.2 s
    for k in np.flatnonzero(feeds[40:]) + 40:
        near, far = (distance(where[:, k], spline(np.linspace(k - t, k, 200 * t + 1))) for t in windows)
        assert far * 0.98 - 2e-4 <= off[k] <= near * 1.02 + 2e-4, k


def distance(point, way):
    """Return how far a point is off a polyline (3, n), by all its segments."""
    p = way[:, :-1] if way.shape[1] > 1 else way
    d = np.diff(way) if way.shape[1] > 1 else 0.0 * way
    share = np.clip(((point[:, None] - p) * d).sum(0) / np.maximum((d * d).sum(0), 1e-12), 0, 1)
    return np.sqrt(((point[:, None] - p - share * d) ** 2).sum(0).min())
