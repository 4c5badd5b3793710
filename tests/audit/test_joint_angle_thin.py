"""Cones looked at only where they may matter: the same findings and the same worst as with every sample looked at."""

import numpy as np
from audit.jobs import PERIOD, audit, cut, frame, listed, moves, solved
from hypothesis import given, settings
from hypothesis import strategies as st
from machine.described import described

from hexpost.audit.joint_angle import JointAngle
from hexpost.kinematics.frames import pose_matrix

MACHINES = [
    described(f"[strut.joint]\n{text}\n", "")
    for text in ("base_cone_deg = 9\nplatform_cone_deg = 21", "base_cone_deg = 14", "platform_cone_deg = 80")
]


def swung(n, hertz, share, phase, machine):
    """Return the job and the setpoints of six sines about the middle of the pallet."""
    job = moves(frames=[frame(base_from_work=pose_matrix(machine.pallet.pose, machine.tilt_order))])
    w = 2 * np.pi * hertz * np.array([1.0, 0.7, 1.3, 0.9, 1.1, 0.6])[:, None]
    size = share * np.array([120.0, 120, 60, 0.3, 0.3, 0.2])[:, None]
    angle = w * (np.arange(n) * PERIOD) + phase * np.arange(6)[:, None]
    pose = size * np.sin(angle) + np.array([0.0, 0, 200, 0, 0, 0])[:, None]
    rate, bend = size * w * np.cos(angle), -size * w * w * np.sin(angle)
    return job, solved(pose, rate, bend, job, machine=machine)


def outcome(job, s, at, machine):
    checks = audit(job, machine=machine)
    for block in cut(s, at):
        checks.add(block)
    result = checks.finish()
    found = [f for f in listed(result) if f[0] == "joint-angle"]
    worst = [
        (w.strut, w.value, w.ratio, w.line, w.time, w.joint) for w in result.worst if w.limit.name == "joint-angle"
    ]
    return found, worst


def everywhere(setpoints):
    return np.arange(setpoints.length.shape[1])


@settings(max_examples=30, deadline=None)
@given(
    n=st.integers(1, 600), hertz=st.floats(0.05, 12.0), share=st.sampled_from([0.0, 0.2, 0.6, 1.0]),
    phase=st.floats(0.0, 6.0), at=st.lists(st.integers(1, 599), max_size=3), machine=st.sampled_from(MACHINES),
)  # fmt: skip
def test_findings_and_worst_are_those_of_all_samples(n, hertz, share, phase, at, machine):
    job, s = swung(n, hertz, share, phase, machine)
    at = [i for i in at if i < n]
    thin = outcome(job, s, at, machine)
    kept, JointAngle._doubtful = JointAngle._doubtful, staticmethod(everywhere)
    try:
        dense = outcome(job, s, at, machine)
    finally:
        JointAngle._doubtful = kept
    assert np.allclose([f[1:] for f in thin[0]], [f[1:] for f in dense[0]], rtol=1e-12)
    assert len(thin[0]) == len(dense[0])
    assert np.allclose([w[:4] for w in thin[1]], [w[:4] for w in dense[1]], rtol=1e-8)
    if share:
        assert [w[3:] for w in thin[1]] == [w[3:] for w in dense[1]]


def test_few_samples_are_worked_out(monkeypatch):
    machine = MACHINES[2]
    job, s = swung(8192, 0.2, 1.0, 1.0, machine)
    looked = []
    doubtful = JointAngle._doubtful
    monkeypatch.setattr(JointAngle, "_doubtful", lambda self, x: looked.append(doubtful(self, x)) or looked[-1])
    outcome(job, s, [4096], machine)
    assert 0 < sum(len(x) for x in looked) < 0.2 * 8192
