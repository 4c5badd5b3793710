"""A machine of springs in mujoco: a free platform on six tendons that push and pull. Nothing of the project is used."""

import mujoco
import numpy as np
from scipy.spatial.transform import Rotation

STEP = 1e-7
"""Shift [m] and turn [rad] over which forces are differentiated."""


class Sprung:
    """Six springs between ``base`` and ``platform`` joints (6, 3) [mm]; ``stiffness`` (6,) [N/um]; masses in kg.

    ``ends`` [kg] are lumped at the platform joints; ``inertia`` (3, 3) [kg m2] is about ``centre`` (3,) [mm].
    ``damping`` [N s/mm] of what the springs give way, dry ``friction`` [N] along each strut.
    """

    def __init__(self, base, platform, stiffness, *, mass, centre, inertia, ends, gravity=(0.0, 0.0, -9.81),
                 damping=0.0, friction=0.0):  # fmt: skip
        def row(values, unit=1e-3):
            return " ".join(f"{unit * x:.17g}" for x in values)

        i = np.asarray(inertia, dtype=float)
        full = row([i[0, 0], i[1, 1], i[2, 2], i[0, 1], i[0, 2], i[1, 2]], 1.0)
        feet = "".join(f'<site name="a{k}" pos="{row(a)}"/>' for k, a in enumerate(base))
        heads = "".join(
            f'<body pos="{row(b)}"><site name="b{k}"/><inertial pos="0 0 0" mass="{max(m, 1e-9):.17g}" '
            'diaginertia="1e-12 1e-12 1e-12"/></body>'
            for k, (b, m) in enumerate(zip(platform, ends, strict=True))
        )
        springs = "".join(
            f'<spatial name="s{k}" stiffness="{c * 1e6:.17g}" damping="{1e3 * damping:.17g}" '
            f'frictionloss="{friction:.17g}"><site site="a{k}"/><site site="b{k}"/></spatial>'
            for k, c in enumerate(stiffness)
        )
        text = (
            f'<mujoco><compiler boundmass="0" boundinertia="0" balanceinertia="false"/>'
            f'<option gravity="{row(gravity, 1.0)}"/><worldbody>{feet}'
            f'<body name="platform"><freejoint/><inertial pos="{row(centre)}" mass="{mass:.17g}" fullinertia="{full}"/>'
            f"{heads}</body></worldbody><tendon>{springs}</tendon></mujoco>"
        )
        self.base, self.platform = np.asarray(base, dtype=float), np.asarray(platform, dtype=float)
        self.model = mujoco.MjModel.from_xml_string(text)
        self.data = mujoco.MjData(self.model)
        self._damping = 1e3 * damping

    def driven(self, free, rate, step, every):
        """Let struts of ``free`` lengths (n, 6) [mm] at ``rate`` (n, 6) [mm/s] move the platform, ``step`` [s] apart.

        Return its origins (m, 3) [mm] and rotations (m, 3, 3) at every so many steps, from the first on.
        """
        self.model.opt.timestep = step
        found = []
        for k, (length, speed) in enumerate(zip(1e-3 * free, 1e-3 * rate, strict=True)):
            if k % every == 0:
                found.append(self.place())
            self.model.tendon_lengthspring[:] = length[:, None]
            self.data.qfrc_applied[:] = self._damping * speed @ self.data.ten_J.reshape(6, -1)
            mujoco.mj_step(self.model, self.data)
        return np.array([t for t, _ in found]), np.array([r for _, r in found])

    def put(self, origin, rotation):
        """Put the platform's origin (3,) [mm] somewhere, turned by a matrix (3, 3), at rest."""
        self.data.qpos[:3] = 1e-3 * np.asarray(origin)
        self.data.qpos[3:] = Rotation.from_matrix(rotation).as_quat(scalar_first=True)
        self.data.qvel[:] = 0.0

    def place(self):
        """Return origin (3,) [mm] and rotation (3, 3) of the platform."""
        return 1e3 * self.data.qpos[:3], Rotation.from_quat(self.data.qpos[3:], scalar_first=True).as_matrix()

    def lengths(self):
        """Return the lengths (6,) [mm] of the struts, joint to joint."""
        origin, rotation = self.place()
        return np.linalg.norm(origin + self.platform @ rotation.T - self.base, axis=1)

    def unloaded(self, origin, rotation):
        """Return the lengths (6,) [mm] without load with which the platform rests in a pose, and those there."""
        self.put(origin, rotation)
        asked = self.lengths()
        free = asked.copy()
        for _ in range(4):
            self.put(origin, rotation)
            self.settle(free)
            free -= self.lengths() - asked
        return free, asked

    def settle(self, free):
        """Let the platform come to rest on struts of ``free`` lengths (6,) [mm]; return origin and rotation."""
        self.model.tendon_lengthspring[:] = 1e-3 * np.asarray(free)[:, None]
        for _ in range(20):
            force = self._force()
            kept, slope = self.data.qpos.copy(), np.empty((6, 6))
            for k in range(6):
                step = np.zeros(6)
                step[k] = STEP
                sides = []
                for sign in (1.0, -1.0):
                    self.data.qpos[:] = kept
                    mujoco.mj_integratePos(self.model, self.data.qpos, sign * step, 1.0)
                    sides.append(self._force())
                slope[:, k] = (sides[0] - sides[1]) / (2.0 * STEP)
            self.data.qpos[:] = kept
            move = np.linalg.solve(slope, -force)
            mujoco.mj_integratePos(self.model, self.data.qpos, move, 1.0)
            if np.abs(move).max() < 1e-12:
                break
        return self.place()

    def _force(self):
        """Return what still moves the platform (6,): N, N m."""
        mujoco.mj_forward(self.model, self.data)
        return self.data.qfrc_passive - self.data.qfrc_bias
