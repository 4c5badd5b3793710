"""A machine as it really is, in mujoco: built otherwise than its file, soft, late, warm, heavier. Nothing of ours.

It is what a drive sees: six commanded lengths in, the place of the platform out. Universal joints hold screw and nut:
a twist of the strut screws them apart.
"""

import numpy as np
from machine.sprung import Sprung
from scipy.interpolate import CubicSpline
from scipy.spatial.transform import Rotation

STEP = 1e-4
"""Step of the simulation, s."""
LEAD, EXPANSION, HEATED = 20.0, 11.5e-6, 1000.0


class Actual:
    """The machine of a file (a dictionary), off by random ``wrong`` mm at each joint and length.

    ``extra`` [kg] at each platform joint, ``friction`` [N] along each strut, ``warm`` [K] above the reference.
    """

    def __init__(self, file, rng, *, wrong=0.3, soft=0.3, extra=0.0, friction=0.0, warm=0.0):
        self.file, self.friction, self.warm = file, friction, warm
        ends = ("base", "platform")
        self.nominal = [np.array([s[f"{end}_joint_mm"] for s in file["strut"]], dtype=float) for end in ends]
        self.base, self.platform = (x + rng.normal(0, wrong, (6, 3)) for x in self.nominal)
        self.offset = rng.normal(0, wrong, 6)
        self.stiffness = np.array([s["body"]["stiffness_n_um"] for s in file["strut"]]) * rng.uniform(1 - soft, 1, 6)
        self.ends = [s["body"]["platform_end_kg"] + extra for s in file["strut"]]
        self.home = np.array(file["reference"]["pose_mm_deg"], dtype=float)
        still = self._sprung()
        free, there = still.unloaded(self.home[:3], turned(self.home))
        self._unbent = free - there

    def _sprung(self, load=(0.0, 0.0, 0.0, 0.0), **more):
        p = self.file["platform"]
        mass = p["mass_kg"] + load[0]
        centre = (p["mass_kg"] * np.array(p["centre_of_mass_mm"]) + load[0] * np.array(load[1:])) / mass
        return Sprung(self.base, self.platform, self.stiffness, mass=mass, centre=centre, ends=self.ends,
                      inertia=p["inertia_kg_m2"], **more)  # fmt: skip

    def rests(self, length, guess, load):
        """Return origin and rotation of the platform at rest at commanded lengths (6,), cold, under a load (4,)."""
        real = self._sprung(load)
        real.put(guess[:3], turned(guess))
        return real.settle(length + self.offset + self._unbent)

    def driven(self, command, zero, period, place, gains, feed_forward):
        """Return origins (n, 3) and rotations (n, 3, 3) at rows of a table of commands (n, 6) that drives follow.

        The loops are behind by ``gains`` [1/s] (6,). ``place`` (n, 4, 4): about where the platform is, for the twist.
        """
        time = np.arange(len(command)) * period
        spline = CubicSpline(time, command)
        fine = np.arange(round(time[-1] / STEP) + 1) * STEP
        asked, speed = spline(fine), spline(fine, 1)
        real_speed, behind = np.empty_like(asked), np.zeros(6)
        decay = np.exp(-gains * STEP)
        actual = np.empty_like(asked)
        for k in range(len(fine)):
            actual[k] = asked[k] - behind
            real_speed[k] = speed[k] - ((1 - feed_forward) * speed[k] - gains * behind)
            behind = decay * behind + (1 - feed_forward) * speed[k] * (1 - decay) / gains
        twist = np.stack([LEAD / (2 * np.pi) * x for x in self._twists(place)])
        twisted = CubicSpline(time, twist)(fine)
        growth = EXPANSION * self.warm * HEATED
        free = actual + zero + twisted + growth + self.offset + self._unbent
        real = self._sprung(damping=5.0, friction=self.friction)
        real.put(place[0, :3, 3], place[0, :3, :3])
        real.settle(free[0])
        return real.driven(free, real_speed, STEP, round(period / STEP))

    def _twists(self, place):
        """Return the twists (n, 6) [rad] since the reference pose, by the inner axes of both joints of each strut."""
        home = np.eye(4)
        home[:3, :3], home[:3, 3] = turned(self.home), self.home[:3]
        base, platform = self.nominal

        def along(m):
            n = m[:3, 3] + platform @ m[:3, :3].T - base
            return n / np.linalg.norm(n, axis=1, keepdims=True)

        def unit(v):
            return v / np.linalg.norm(v, axis=1, keepdims=True)

        n0 = along(home)
        at_base, at_platform = unit(np.cross([0, 0, 1], n0)), unit(np.cross([0, 0, 1], n0 @ home[:3, :3]))

        def twist(m):
            n = along(m)
            e, f = unit(np.cross(at_base, n)), unit(np.cross(at_platform @ m[:3, :3].T, n))
            return np.arctan2((np.cross(e, f) * n).sum(axis=1), (e * f).sum(axis=1))

        first = twist(home)
        return np.array([twist(m) - first for m in place])


def turned(pose):
    """Return the rotation of a pose (6,) in degrees about fixed axes, A then B then C."""
    return Rotation.from_euler("xyz", pose[3:], degrees=True).as_matrix()
