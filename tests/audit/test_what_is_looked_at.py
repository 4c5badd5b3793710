"""Which samples a check looks at, and small rules of its figures: each against its own definition, written out."""

from dataclasses import replace

import numpy as np
import pytest
from audit.jobs import MACHINE, PERIOD, audit, listed, moves, rest, run, solved
from audit.test_joint_angle import tilting
from audit.test_joint_angle_thin import MACHINES, swung
from audit.test_load_limits import swinging
from machine.described import described, text

from hexpost.audit.advice import _turning
from hexpost.audit.audit import Audit
from hexpost.audit.deviation import Deviation, _chunk
from hexpost.audit.joint_angle import JointAngle
from hexpost.audit.move_ticks import MoveTicks
from hexpost.kinematics.clearance import segment_to_box
from hexpost.kinematics.struts import StrutModel
from hexpost.machine.load import machine_from
from hexpost.moves.model import FEED_INVERSE, FEED_TILT, FEED_TIP


def check_of(checks: Audit, kind):
    """Return the check of a kind that an audit makes."""
    return next(check for check, _ in checks._checks if isinstance(check, kind))


@pytest.mark.parametrize(
    ("rate", "ticks"),
    [
        ([0, 0, 0, 0, 0, 0], 1024),  # 40 mm at rest: never, so the most
        ([60, 0, 0, 0, 0, 0], 512),  # 667 ticks to 40 mm
        ([-60, 0, 0, 0, 0, 0], 512),
        ([60, 60, 0, 0, 0, 0], 256),  # 471 ticks along the diagonal
        ([0, 0, -300, 0, 0, 0], 128),  # 133
        ([0, 0, 0, 1, 0, 0], 64),  # 80: a rad counts 500 mm
        ([0, 0, 0, 0, -1.2, 0], 64),  # 67
        ([0, 0, 0, 0, 0, 0.3], 256),  # 267
        ([1000, 0, 0, 0, 0, 0], 32),  # 40
        ([50_000, 0, 0, 0, 0, 0], 8),  # less than a tick: the fewest
    ],
)
def test_poses_whose_jacobian_is_inverted_lie_forty_millimetres_apart_at_most(rate, ticks):
    rates = np.zeros((6, 5))
    rates[:, 2] = rate
    assert _chunk(rates, 1e-3) == ticks


def test_a_block_that_deviates_less_than_one_before_is_not_solved():
    machine = replace(MACHINE, tool_tip=replace(MACHINE.tool_tip, deviation=1.0))
    job = moves()
    checks = audit(job, machine=machine)
    check = check_of(checks, Deviation)
    t = np.arange(256) * PERIOD
    for share, looked in ((1.0, True), (0.5, False), (1.2, True)):
        pose, rate, bend = np.zeros((3, 6, 256))
        pose[0], rate[0], bend[1] = 20 * t, 20.0, share * 3000.0
        pose[2] = 150.0
        assert (check.measure(solved(pose, rate, bend, job)) is not None) == looked


@pytest.mark.parametrize(
    ("hertz", "share", "phase", "machine", "looked"),
    [(0.4, 0.6, 1.0, 0, None), (2.0, 0.2, 0.3, 1, None), (0.1, 1.0, 2.0, 2, None), (1.0, 0.05, 0.0, 0, None)],
)
def test_the_bound_of_the_cones_is_the_one_that_is_written_down(hertz, share, phase, machine, looked):
    """The text of ``_doubtful`` in plain loops: chords of 32 samples, what the pose leaves them, and the turn."""
    machine = MACHINES[machine]
    job, s = swung(601, hertz, share, phase, machine)
    check = check_of(audit(job, machine=machine), JointAngle)
    check._worst[:] = 0.5 * check._cone_shares(s, slice(None)).max(axis=(0, 2))
    n, struts = 601, StrutModel(machine).in_frame(job.frames[0].base_from_work, job.frames[0].tip)
    knots = [*range(0, n, 32), n - 1]
    share_at = check._cone_shares(s, np.arange(n))
    per = check._per_cone[:, :, 0]
    reach = s.length[:, knots].max() + np.linalg.norm(struts.platform, axis=1).max()
    known = share_at[:, :, knots].max(axis=(0, 2)) * (1 - 1e-9)
    enough = np.minimum(np.maximum(known, check._worst * (1 + 1e-9)), 1.0)
    expected = []
    for a, b in zip(range(0, n, 32), [*range(32, n, 32), n - 1], strict=True):
        pose, step = s.poses.pose, s.poses.pose[:, b] - s.poses.pose[:, a]
        off = np.zeros((6, 32))
        for k in range(32):
            i = min(a + k, n - 1)
            off[:, k] = np.abs(pose[:, a] + step * k / 32 - pose[:, i])
        slid, twisted = off[:3].sum(axis=0).max(), off[3:].sum(axis=0).max()
        moved, turned = np.abs(step[:3]).sum(), np.abs(step[3:]).sum()
        aside = slid + twisted * reach + (turned**2 * reach + 2 * turned * moved) / 8
        shortest = np.maximum((s.length[:, a] + s.length[:, b] - moved - turned * reach - aside) / 2, 1e-9)
        most = np.maximum(share_at[:, :, a], share_at[:, :, b]) + aside / shortest * np.sqrt(per / 2)
        if ((most.max(axis=0) >= enough) & check._held).any():
            expected += range(a, min(a + 32, n))
    assert looked is None
    assert check._doubtful(s).tolist() == expected


def test_a_joint_of_one_strut_alone_is_checked_and_a_range_is_left_on_either_side():
    """A range about the outer axis at the platform of strut 1, far too narrow; the bound passed is the one named."""
    first = text("", "").replace("[[strut]]", "[[strut]]", 1)
    at = first.index("[[strut]]", first.index("[[strut]]") + 5)
    for low, high in ((-0.5, 0.5), (-60.0, 0.5), (-0.5, 60.0)):
        table = f"[strut.joint]\nplatform_outer_deg = [{low}, {high}]\n\n"
        machine = machine_from((first[:at] + table + first[at:]).encode(), "m.toml")
        for sense in (0.4, -0.4):
            job, s = tilting(machine, sense)
            found = [f for f in listed(run(job, s, machine=machine)) if f[0] == "joint-angle"]
            assert all(f[1] == 1 for f in found)
            for f in found:
                assert f[6] == pytest.approx(low if f[5] < (low + high) / 2 else high)
            if high - low < 2:
                assert found


def test_cones_and_ranges_of_one_machine_are_all_looked_at():
    """Ranges are wide; the cone at one end is passed, whichever end that is."""
    for end, other in (("base", "platform"), ("platform", "base")):
        table = f"[strut.joint]\n{end}_cone_deg = 5\n{other}_cone_deg = 89\nplatform_outer_deg = [-89, 89]\n"
        machine = described(table, "")
        job, s = tilting(machine)
        assert [f for f in listed(run(job, s, machine=machine)) if f[0] == "joint-angle"]


BOX = '[[keep_out]]\nname = "post"\nlow_mm = [-600, -600, 900]\nhigh_mm = [600, 600, 1400]\n'


@pytest.mark.parametrize(("strut", "rest_", "made"), [
    ("[strut.body]\nradius_mm = 50\n", BOX, True), ("", "[spindle]\nradius_mm = 70\n" + BOX, True), ("", BOX, False),
    ("", "[spindle]\nradius_mm = 70\n", False), ("[strut.body]\nradius_mm = 50\n", "", True),
])  # fmt: skip
def test_the_room_is_watched_where_two_bodies_can_meet(strut, rest_, made):
    machine = described(strut, rest_)
    job, _ = swinging(machine)
    checks = audit(job, machine=machine)
    assert any(check.band.limit == "clearance" for check, _ in checks._checks) == made


def test_the_spindle_is_where_the_frame_puts_it():
    """A spindle beside a box, by the distance of its axis, its ends put into the base frame point by point."""
    machine = described("", "[spindle]\nradius_mm = 70\n" + BOX)
    job, s = swinging(machine)
    f, (box,) = job.frames[0], machine.keep_out
    check = next(c for c, _ in audit(job, machine=machine)._checks if c.band.limit == "clearance")
    r, shift = f.base_from_work[:3, :3], f.base_from_work[:3, 3]
    tip = s.poses.pose[:3].T
    ends = [(tip + e - f.tip) @ r.T + shift for e in (machine.platform.gauge_point, machine.spindle.top)]
    expected = segment_to_box(ends[0].T, ends[1].T, box.low, box.high) - 70.0
    assert np.abs(shift).max() > 100
    assert check.measure(s)[0] == pytest.approx(expected, abs=1e-9)


def test_the_first_tick_of_a_move_is_that_of_its_first_sample_over_all_blocks():
    ticks = MoveTicks(np.array([0, 1, 3]))
    ticks.add(rest(5, move=[0] * 5).poses)
    ticks.add(rest(5, move=[0, 0, 1, 1, 2], tick=5).poses)
    ticks.add(rest(3, move=[3] * 3, tick=10).poses)
    first, last = ticks.of(np.array([0, 1, 3]))
    assert first.tolist() == [0, 7, 10]
    assert last.tolist() == [6, 8, 12]


def test_an_audit_without_samples_has_no_lengths_and_one_for_each_strut():
    result = audit(moves()).finish()
    assert result.samples == 0
    for lengths in (result.shortest, result.longest):
        assert lengths.shape == (6,)
        assert np.isnan(lengths).all()


def test_a_value_beyond_its_bound_by_rounding_alone_uses_all_of_it_and_no_more():
    s = rest(10)
    s.jerk[2, 4] = MACHINE.struts[2].jerk * (1 + 1e-12)
    result = run(moves(), s)
    assert not [f for f in listed(result) if f[0] == "jerk"]
    (worst,) = [w for w in result.worst if w.limit == "jerk" and w.strut == 3]
    assert worst.ratio == 1.0


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


def test_inverse_time_speaks_of_the_tilt_only_where_the_tip_stands_still():
    rate = np.array([[0.0, 5.0, 0.0, 5.0, 0.0], *[[0.0] * 5] * 2, *[[0.1] * 5] * 3])
    mode = np.array([FEED_INVERSE, FEED_INVERSE, FEED_TIP, FEED_TILT, FEED_TILT], dtype=np.uint8)
    assert _turning(rate, mode).tolist() == [True, False, False, True, True]


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
