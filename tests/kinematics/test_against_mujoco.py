"""Lengths, rates and Jacobian against MuJoCo: a free body that hangs on six spatial tendons (metres inside)."""

import numpy as np
import pytest
from kinematics.poses import demonstration_struts, motion

from hexpost.kinematics.frames import rotation
from hexpost.kinematics.struts import angle_axes, jacobian


@pytest.fixture(scope="module")
def mujoco_case():
    import mujoco

    struts = demonstration_struts()
    site = '<site name="{}" pos="{!r} {!r} {!r}"/>'
    base = "".join(site.format(f"b{i}", *(struts.base[i] / 1000).tolist()) for i in range(6))
    platform = "".join(site.format(f"p{i}", *(struts.platform[i] / 1000).tolist()) for i in range(6))
    tendons = "".join(f'<spatial><site site="b{i}"/><site site="p{i}"/></spatial>' for i in range(6))
    model = mujoco.MjModel.from_xml_string(
        f'<mujoco><worldbody>{base}<body name="platform"><freejoint/>'
        f'<inertial pos="0 0 0" mass="1" diaginertia="1 1 1"/>{platform}</body></worldbody>'
        f"<tendon>{tendons}</tendon></mujoco>"
    )
    return mujoco, struts, model, mujoco.MjData(model)


def test_thousand_poses(mujoco_case):
    mujoco, struts, model, data = mujoco_case
    q, rate = motion(1000, 11, 2)
    lengths, rates = struts.derivatives([q, rate])
    r = rotation(*q[3:], "ABC")
    w = np.einsum("nij,jn->in", angle_axes(q, "ABC"), rate[3:])
    rows = jacobian(struts, q)
    quaternion = np.empty(4)
    worst = np.zeros(3)
    for n in range(1000):
        mujoco.mju_mat2Quat(quaternion, r[:, :, n].ravel())
        data.qpos[:3], data.qpos[3:] = q[:3, n] / 1000, quaternion
        data.qvel[:3], data.qvel[3:] = rate[:3, n] / 1000, r[:, :, n].T @ w[:, n]  # turns in the axes of the body
        mujoco.mj_fwdPosition(model, data)
        mujoco.mj_fwdVelocity(model, data)
        worst[0] = max(worst[0], np.abs(data.ten_length - lengths[:, n] / 1000).max())
        worst[1] = max(worst[1], np.abs(data.ten_velocity - rates[:, n] / 1000).max())
        by_rows = rows[n] @ np.concatenate([rate[:3, n], w[:, n]]) / 1000
        worst[2] = max(worst[2], np.abs(data.ten_velocity - by_rows).max())
    assert (worst < [1e-9, 1e-9, 1e-9]).all()
    assert (worst < [1e-14, 1e-14, 1e-14]).all()  # what is reached: rounding
