"""Commands for struts that give way: a machine of springs in mujoco stands where it should; figures by hand."""

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from machine.described import REST, STRUT, described, text
from scipy.spatial.transform import Rotation
from setpoints.test_command import poses, solver

from hexpost.audit.strut_limits import speed, stroke
from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.struts import StrutModel, jacobian
from hexpost.machine.elastic import springs, unbent
from hexpost.machine.load import machine_from
from hexpost.moves.model import Frame
from hexpost.setpoints.model import Poses
from hexpost.setpoints.solve import Solver

SAG = "\n[compensation]\nsag = true\n"
TIP = np.array([0.0, 0.0, -370.0])
PLATFORM = {"mass": 720.0, "centre": (0, 0, -40), "inertia": np.diag([62.0, 64.0, 78.0]), "ends": [15.0] * 6}


def sagging(more="", strut=STRUT):
    return described(strut, REST + SAG + more)


def sprung(machine):
    base, platform = (np.array([getattr(s, f"{end}_joint") for s in machine.struts]) for end in ("base", "platform"))
    pytest.importorskip("mujoco", reason="the machine of springs is mujoco's")
    from machine.sprung import Sprung

    return Sprung(base, platform, [150.0] * 6, **PLATFORM)


def in_base(machine, q, **more):
    """Return the setpoints of poses (6, n) of the tip in the base frame."""
    frame = Frame(base_from_work=np.eye(4), tip=TIP, offset="G54", tool=1, length_row=1, length=120.0)
    return Solver(machine, [frame], **more).solve(poses(q))


def somewhere(rng, n):
    q = rng.uniform(-1.0, 1.0, (6, n)) * np.array([[250.0], [250], [100], [0.3], [0.3], [0.1]])
    q[2] += 570.0
    return q


def test_sag_at_the_reference_pose_is_that_by_hand():
    """(720 + 6 * 15) kg * 9.81 m/s2 over 567.9 N/um, the stiffness along z there: 13.99 um.

    The platform hangs, so that struts are pulled: 1023 and 2124 N over 150 N/um (a script of its own).
    """
    machine = sagging()
    home = unbent(machine, springs(machine))[:, 0] * 1e3
    assert home[::2] == pytest.approx([home[0]] * 3, rel=1e-3) and home[1::2] == pytest.approx([home[1]] * 3, rel=1e-3)
    assert sorted(home[:2]) == pytest.approx([-14.16, -6.82], abs=0.02)
    pose = np.array([[0.0, 0, 520, 0, 0, 0]]).T
    struts = StrutModel(machine).in_frame(np.eye(4), TIP)
    off = np.linalg.solve(jacobian(struts, pose)[0], -home)
    assert off[:2] == pytest.approx([0.0, 0.0], abs=0.02) and off[2] == pytest.approx(-13.99, abs=0.05)
    assert np.abs(in_base(machine, pose).compensation).max() < 1e-12  # there commands are lengths


@pytest.mark.parametrize("zero_at", ["reference", "machine_zero"])
def test_a_machine_of_springs_stands_where_the_program_says(zero_at):
    """Outside authority: the statics of mujoco. Struts are as long without load as in the pose of zero_at with it."""
    machine = sagging(f'zero_at = "{zero_at}"\n')
    q = somewhere(np.random.default_rng(5), 12)
    found, real = in_base(machine, q), sprung(machine)
    pose = machine.reference if zero_at == "reference" else machine.machine_zero
    gauge = np.zeros(3) if zero_at == "reference" else machine.platform.gauge_point
    home = pose_matrix(pose, "ABC")
    free, lengths = real.unloaded(home[:3, 3] - home[:3, :3] @ gauge, home[:3, :3])
    rms = []
    for k in range(q.shape[1]):
        r = Rotation.from_euler("xyz", q[3:, k]).as_matrix()
        offs = []
        for asked in (found.length[:, k], found.driven_length[:, k]):
            real.put(q[:3, k] - r @ TIP, r)
            t, turned = real.settle(asked + free - lengths)
            offs.append(np.linalg.norm(t + turned @ TIP - q[:3, k]) * 1e3)
        rms.append(offs)
    before, after = np.sqrt((np.array(rms) ** 2).mean(axis=0))
    assert before > 5.0 and after < 0.03, (before, after)  # um; what is left is of second order


def test_joints_and_screws_give_way_in_series():
    strut = STRUT.replace("platform_cone_deg = 60", "platform_cone_deg = 60\nbase_stiffness_n_um = 300")
    machine = sagging("screws = true\n", strut)
    found = springs(machine)
    length = np.linspace(1100.0, 2000.0, 7) * np.ones((6, 1))
    area = np.pi * 30.0**2
    by_hand = 1.0 / 150e3 + 1.0 / 300e3 + (length - 600.0) / (206e3 * area)  # F L / (E A)
    assert found.compliance(length) == pytest.approx(by_hand, rel=1e-12)


def test_what_moves_and_what_cuts_counts_where_it_is_asked_for():
    q = somewhere(np.random.default_rng(1), 1)
    n = 3
    frame = Frame(base_from_work=np.eye(4), tip=TIP, offset="G54", tool=1, length_row=1, length=120.0)
    pull = np.zeros((6, n))
    pull[2] = 1000.0
    at = replace(poses(np.repeat(q, n, axis=1)), acceleration=pull)
    still, moving = (Solver(sagging(x), [frame]).solve(at).compensation for x in ("", "inertia = true\n"))
    rows = jacobian(StrutModel(sagging()).in_frame(np.eye(4), TIP), q)[0]
    mass = 720.0 + 90.0
    r = Rotation.from_euler("xyz", q[3:, 0]).as_matrix()
    ends = np.array([s.platform_joint for s in sagging().struts])
    centre = r @ ((720.0 * np.array([0, 0, -40.0]) + 15.0 * ends.sum(axis=0)) / mass - TIP)
    force = np.array([0.0, 0.0, mass])  # of 1 m/s2
    thrust = np.linalg.solve(rows.T, np.concatenate([force, np.cross(centre, force)]))
    assert (moving - still)[:, 0] == pytest.approx(thrust / 150e3, rel=1e-6)


@settings(max_examples=20, deadline=None)
@given(cuts=st.lists(st.integers(1, 199), max_size=4, unique=True), seed=st.integers(0, 9))
def test_batches_may_be_cut_anywhere(cuts, seed):
    rng = np.random.default_rng(seed)
    ends = somewhere(rng, 2)
    q = ends[:, :1] + (ends[:, 1:] - ends[:, :1]) * np.linspace(0.0, 0.1, 200)
    machine = sagging()
    whole, parts = solver(machine).solve(poses(q)), solver(machine)
    bounds = [0, *sorted(cuts), 200]
    found = [parts.solve(poses(q[:, a:b])) for a, b in pairwise(bounds)]
    for name in ("compensation", "creep", "command"):
        joined = np.concatenate([getattr(s, name) for s in found], axis=1)
        assert np.abs(joined - getattr(whole, name)).max() < 1e-6 * (1.0 if name == "creep" else 1e-3), name


def test_lengths_stay_what_they_are_and_without_the_key_nothing_changes():
    q = somewhere(np.random.default_rng(3), 5)
    plain, with_it = in_base(described(), q), in_base(sagging(), q)
    assert (plain.length == with_it.length).all() and (plain.speed == with_it.speed).all()
    assert plain.compensation is None and plain.driven_length is plain.length
    assert with_it.command == pytest.approx(plain.command + with_it.compensation, abs=1e-12)
    told = in_base(described(STRUT, REST + "\n[compensation]\nsag = false\n"), q)
    assert told.compensation is None and (told.command == plain.command).all()


def test_a_machine_without_screws_has_commands_too():
    bare = machine_from(text("[strut.body]\nstiffness_n_um = 150\n", SAG).encode(), "m")
    found = in_base(bare, somewhere(np.random.default_rng(4), 6))
    assert (found.command == found.length + found.compensation).all() and found.gearing.turns is None
    assert in_base(bare, somewhere(np.random.default_rng(4), 6), commands=False).command is None


def test_stroke_and_speed_are_those_that_the_drives_follow():
    machine = sagging()
    n = 50
    q = np.repeat(somewhere(np.random.default_rng(8), 1), n, axis=1)
    q[3] += np.linspace(0.0, 0.02, n)
    found = in_base(machine, q)
    context = type("C", (), {"machine": machine, "poses": None, "within": None})
    assert (stroke(context).measure(found) == found.length + found.compensation).all()
    grown = np.diff(found.compensation, axis=1) / machine.period
    assert speed(context).measure(found)[:, 1:] == pytest.approx((found.speed[:, 1:] + grown), abs=1e-9)
    assert np.abs(grown).max() > 1e-3 and isinstance(found.poses, Poses)
