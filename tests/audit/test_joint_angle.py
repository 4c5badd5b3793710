"""Joint angles over their limits are found with strut, end and angle; the cone against the angle of two vectors."""

import numpy as np
import pytest
from audit.jobs import audit, frame, listed, moves, run, solved
from machine.described import described, text

from hexpost.audit import joint_angle
from hexpost.audit.model import JOINTS
from hexpost.kinematics.frames import pose_matrix, rotation
from hexpost.machine.load import machine_from

N = 400


def tilting(machine, a=0.9):
    """Return the job and the setpoints of a slow tilt about x, from 0 to ``a`` rad."""
    place = pose_matrix(machine.pallet.pose, machine.tilt_order)
    job = moves(frames=[frame(base_from_work=place)])
    pose = np.zeros((6, N))
    pose[2] = 200.0
    pose[3] = np.linspace(0.0, a, N)
    return job, solved(pose, np.zeros((6, N)), np.zeros((6, N)), job, machine=machine)


def swings(machine, job, s, end):
    """Return the angles (6, n) between each strut and its direction at the reference pose, seen from ``end``, deg."""
    m = job.frames[0].base_from_work
    home = pose_matrix(machine.reference, machine.tilt_order)
    out = np.empty((6, N))
    for k, strut in enumerate(machine.struts):
        for i in range(N):
            r = m[:3, :3] @ rotation(*s.poses.pose[3:, i], machine.tilt_order)
            tip = m[:3, :3] @ s.poses.pose[:3, i] + m[:3, 3]
            n = tip + r @ (strut.platform_joint - job.frames[0].tip) - strut.base_joint
            n0 = home[:3, 3] + home[:3, :3] @ strut.platform_joint - strut.base_joint
            if end == "platform":
                n, n0 = r.T @ n, home[:3, :3].T @ n0
            out[k, i] = np.degrees(np.arctan2(np.linalg.norm(np.cross(n, n0)), n @ n0))
    return out


@pytest.mark.parametrize(("end", "cone"), [("base", 8.0), ("platform", 20.0)])
def test_every_sample_outside_a_cone_is_in_a_finding(end, cone):
    machine = described(f"[strut.joint]\n{end}_cone_deg = {cone}\n", "")
    job, s = tilting(machine)
    angles = swings(machine, job, s, end)
    assert (angles.max(axis=1) > cone).any()
    result = run(job, s, [100, 250], machine=machine)
    found = {f[1]: f for f in listed(result) if f[0] == "joint-angle"}
    assert set(found) == {k + 1 for k in range(6) if angles[k].max() > cone}
    for k, (_, _, _, first, last, peak, allowed) in found.items():
        over = np.flatnonzero(angles[k - 1] > cone)
        assert (first, last) == (over[0], over[-1])
        assert peak == pytest.approx(angles[k - 1].max(), abs=1e-6)
        assert allowed == pytest.approx(cone)
    marked = result.findings.joint[result.findings.limit == 4]
    assert {JOINTS[j] for j in marked} == {end}
    worst = {w.strut: w for w in result.worst if w.limit.name == "joint-angle"}
    for k in range(6):
        assert worst[k + 1].value == pytest.approx(angles[k].max(), abs=1e-6)
        assert worst[k + 1].ratio == pytest.approx(angles[k].max() / cone, abs=1e-8)
        assert JOINTS[worst[k + 1].joint] == end


def test_ranges_about_both_axes():
    machine = described("[strut.joint]\nplatform_outer_deg = [-30, 60]\nplatform_inner_deg = [-25, 25]\n", "")
    job, s = tilting(machine)
    result = run(job, s, machine=machine)
    found = [f for f in listed(result) if f[0] == "joint-angle"]
    assert found
    assert {round(f[6], 6) for f in found} <= {-30.0, 60.0, -25.0, 25.0}
    assert all(abs(f[5]) > abs(f[6]) for f in found)
    assert result.findings.ratio.min() > 1.0


def test_a_machine_without_limits_has_no_such_check():
    job, s = tilting(described("", ""))
    assert "joint-angle" not in {w.limit.name for w in run(job, s).worst}


def test_a_strut_without_one_cone_is_held_to_its_other():
    """A joint that has no limit beside five that have one hides nothing of the strut's other joint."""
    source = text("[strut.joint]\nbase_cone_deg = 89\nplatform_cone_deg = 20\n", "")
    machine = machine_from(source.replace("base_cone_deg = 89\n", "", 1).encode(), "m.toml")
    job, s = tilting(machine)
    worst = {w.strut: w for w in run(job, s, machine=machine).worst if w.limit.name == "joint-angle"}
    most = swings(machine, job, s, "platform").max(axis=1)
    assert most[0] > 20
    assert worst[1].value == pytest.approx(most[0], abs=1e-6)


def test_the_narrowest_cones_divide_by_nothing():
    """1 / (1 - cos) of cones that a cosine cannot tell from nothing, against its series 2 / angle^2."""
    cones = np.array([1e-3, 1e-9, 1e-12, 1e-160, np.inf, 1.0])
    with np.errstate(all="raise", under="ignore"):
        found = joint_angle._per_cone(cones)
    assert found[:3] == pytest.approx(2.0 / cones[:3] ** 2, rel=1e-6)
    assert np.isfinite(found).all()
    assert found[4] == 0.0
    assert found[5] == pytest.approx(1.0 / (1.0 - np.cos(1.0)))


@pytest.mark.parametrize("end", ["base", "platform"])
@pytest.mark.parametrize("limit", ["cone_deg = 30", "outer_deg = [-40, 40]", "inner_deg = [-40, 40]"])
def test_one_limit_of_one_joint_is_enough_to_be_checked(end, limit):
    """Only the third strut has a limit, at one of its ends."""
    parts = text(f"[strut.joint]\n{end}_{limit}\n", "").split(f"[strut.joint]\n{end}_{limit}\n")
    assert len(parts) == 7
    for only, checked in ((None, False), (2, True)):
        words = [f"[strut.joint]\n{end}_{limit}\n" if k == only else "" for k in range(6)]
        machine = machine_from("".join(a + b for a, b in zip(parts, [*words, ""], strict=True)).encode(), "m.toml")
        limits = {c.band.limit for c, _ in audit(moves(), machine=machine)._checks}
        assert ("joint-angle" in limits) == checked
