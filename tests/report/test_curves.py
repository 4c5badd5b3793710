"""Curves of the whole tool on the page, against closed forms and numpy alone."""

from dataclasses import replace

import numpy as np
import pytest
from report.test_page import MACHINE, blocks, moves

from hexpost.audit.model import Followed
from hexpost.report.charts import COLUMNS, joined
from hexpost.report.page_charts import PageCharts
from hexpost.report.picture import FINE, Picture

TOTAL = 3000


def leaning(block):
    """Return the setpoints of a block, with the tool leaning ever more about x."""
    pose = block.poses.pose.copy()
    pose[3] = np.radians(20.0) * block.poses.tick / TOTAL
    frame = moves().frames[0].base_from_work
    c, s, platform = np.cos(pose[3]), np.sin(pose[3]), [np.array(x.platform_joint) for x in MACHINE.struts]
    ends = [np.array([p[0] + 0.0 * c, c * p[1] - s * p[2], s * p[1] + c * p[2]]) for p in platform]
    base = [np.array(x.base_joint) - frame[:3, 3] for x in MACHINE.struts]
    length = [np.linalg.norm(pose[:3] + e - b[:, None], axis=0) for e, b in zip(ends, base, strict=True)]
    return replace(block, poses=replace(block.poses, pose=pose), length=np.array(length))


def own_conditioning(pose):
    """Return 6 / (|J| |J^-1|), turns taken times the root mean square distance of the platform joints."""
    a, base = pose[3], moves().frames[0].base_from_work[:3, 3]
    turn = np.array([[1, 0, 0], [0, np.cos(a), -np.sin(a)], [0, np.sin(a), np.cos(a)]])
    joints = np.array([s.platform_joint for s in MACHINE.struts])
    size = np.sqrt(((joints - joints.mean(axis=0)) ** 2).sum(axis=1).mean())
    arms = joints @ turn.T
    way = pose[:3] + base + arms - np.array([s.base_joint for s in MACHINE.struts])
    u = way / np.linalg.norm(way, axis=1)[:, None]
    j = np.hstack([u, np.cross((arms - arms.mean(axis=0)) / size, u)])
    return 6.0 / np.linalg.norm(j) / np.linalg.norm(np.linalg.inv(j))


@pytest.fixture(scope="module")
def drawn():
    """Return the drawing of a job whose tool leans ever more, with something followed along it."""
    late = Followed(name="off-path", title="late", unit="mm", measure=lambda s: 1e-6 * s.poses.tick, most=2e-3)
    picture = Picture(TOTAL, moves(), MACHINE, (), followed=[late])
    for block in blocks(TOTAL, 700):
        picture.add(leaning(block))
    return picture.finish()


def test_tilt_and_conditioning_are_those_of_the_poses(drawn):
    tilt, even, late = drawn.curves
    tick = np.arange(TOTAL)
    first = np.flatnonzero(np.diff(tick * FINE // TOTAL, prepend=-1))
    last = np.append(first[1:], TOTAL) - 1
    assert np.allclose(tilt.low, 20.0 * first / TOTAL, atol=1e-9)
    assert np.allclose(tilt.high, 20.0 * last / TOTAL, atol=1e-9)
    assert (late.low == 1e-6 * first).all() and (late.high == 1e-6 * last).all()
    pose = np.concatenate([leaning(block).poses.pose for block in blocks(TOTAL)], axis=1)
    for k in (0, FINE // 3, FINE - 1):
        own = [own_conditioning(pose[:, t]) for t in range(first[k], last[k] + 1)]
        assert (even.low[k], even.high[k]) == (pytest.approx(min(own)), pytest.approx(max(own)))


def test_a_drawn_column_holds_its_fine_ones(drawn):
    tilt = drawn.curves[0]
    assert (joined(tilt.high, COLUMNS, np.maximum) == tilt.high.reshape(COLUMNS, -1).max(axis=1)).all()


def test_what_does_not_vary_is_told_and_not_drawn(drawn):
    flat = replace(drawn.curves[0], low=drawn.curves[0].low * 0.0, high=drawn.curves[0].high * 0.0)
    charts = PageCharts(drawing=replace(drawn, curves=(flat, drawn.curves[2])), shown=(), fine=FINE)
    assert "0 deg all along" in charts.curves(forecast=False) and "<svg" not in charts.curves(forecast=False)
    assert "0.002 mm allowed" in charts.curves(forecast=True)


def test_the_title_tells_a_value_just_beyond_a_limit_from_the_limit(drawn):
    late = drawn.curves[2]
    beyond = replace(late, high=late.high * (2.0004e-3 / late.high.max()))
    text = PageCharts(drawing=replace(drawn, curves=(beyond,)), shown=(), fine=FINE).curves(forecast=True)
    assert "to 0.0020004 mm, 0.002 mm allowed" in text
