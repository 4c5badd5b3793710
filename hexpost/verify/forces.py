"""What the struts must bear at the rows of a table: Newton's and Euler's equations about the platform's origin.

Motion comes from the speeds and accelerations of the table, through the rates of the distances between joints: with a
joint moving by p along and across a strut d = l u, l'' = u.p' + (p.p - l'2) / l (l2 = d.d, derived twice with d' = p).
Every mass is summed on its own: the platform as a rigid body, and the share of each strut as a point at its joint.
"""

from math import isfinite

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.machine.model import Machine, Tools
from hexpost.moves.model import AFTER, FEED_RAPID, Interpretation
from hexpost.verify.base import PlatformPoses

NEWTON = 1e-3
"""N for a kg mm/s2."""
CLEAR = 1e-4
"""Above this speed the tip moves for certain, mm/s: the decimals of the table alone may show less."""
CLEAR_TURN = 1e-6
"""The same of the tool's turning, rad/s."""


class Motion:
    """How the platform moves at n rows, in the base frame, about its own origin; ``inverse`` (n, 6, 6) of ``rows``."""

    def __init__(self, poses: PlatformPoses, length: Array, speed: Array, acceleration: Array) -> None:
        self.poses = poses
        self.inverse: Array = np.asarray(np.linalg.inv(poses.rows), dtype=np.float64)
        self.arms: Array = poses.joints
        unit = poses.rows[:, :, :3]
        twist = np.einsum("nij,jn->ni", self.inverse, speed)
        self.v, self.w = twist[:, :3], twist[:, 3:]
        travel = self.v[:, None] + np.cross(self.w[:, None], self.arms)
        swing = np.cross(self.w[:, None], np.cross(self.w[:, None], self.arms))
        left = acceleration - (np.einsum("nki,nki->kn", travel, travel) - speed**2) / length
        left -= np.einsum("nki,nki->kn", unit, swing)
        bend = np.einsum("nij,jn->ni", self.inverse, left)
        self.a, self.alpha = bend[:, :3], bend[:, 3:]

    def at(self, arm: Array) -> Array:
        """Return the acceleration (n, 3) of the point of the platform at ``arm`` (n, 3) from its origin."""
        out: Array = self.a + np.cross(self.alpha, arm) + np.cross(self.w, np.cross(self.w, arm))
        return out


def needed(machine: Machine, motion: Motion) -> Array:
    """Return force [N] and moment about the platform's origin [N mm] (n, 6) that the moving masses need."""
    platform, forces, r = machine.platform, machine.forces, motion.poses.r
    assert forces is not None and platform.mass_kg is not None  # every loaded machine has them
    assert platform.centre_of_mass is not None and platform.inertia_kg_m2 is not None
    arm = np.einsum("nij,j->ni", r, platform.centre_of_mass)
    force = platform.mass_kg * (motion.at(arm) - forces.gravity)
    inertia = r @ (platform.inertia_kg_m2 * 1e6) @ r.swapaxes(1, 2)
    spin = np.einsum("nij,nj->ni", inertia, motion.w)
    moment = np.cross(arm, force) + np.einsum("nij,nj->ni", inertia, motion.alpha) + np.cross(motion.w, spin)
    for k, strut in enumerate(machine.struts):
        pull = strut.body.platform_end_kg * (motion.at(motion.arms[:, k]) - forces.gravity)
        force = force + pull
        moment = moment + np.cross(motion.arms[:, k], pull)
    return np.concatenate([force, moment], axis=1) * NEWTON


class CuttingForce:
    """The force on the tool in feed moves, as the machine and the tools file tell it."""

    def __init__(self, machine: Machine, tools: Tools, meaning: Interpretation) -> None:
        assert machine.forces is not None
        self._forces, self._moves = machine.forces, meaning.moves
        known = [tools.tools.get(f.tool) for f in meaning.moves.frames]
        self._coefficients = np.array([(0.0,) * 4 if t is None else t.force for t in known]).reshape(-1, 4)
        self._teeth = np.array([1 if t is None else t.teeth for t in known])
        self._spindle = np.zeros(meaning.moves.count)
        events = meaning.events
        for speed, rule, move in zip(events.speed.tolist(), events.rule.tolist(), events.move.tolist(), strict=True):
            if isfinite(speed):
                self._spindle[max(move + (rule == AFTER), 0) :] = speed
        self.any = bool(self._forces.force.any() or self._forces.moment.any() or self._coefficients.any())

    def wrenches(self, motion: Motion, arm: Array, move: Ints) -> tuple[Array, Array, Array]:
        """Return forces with moments about the platform's origin (n, 6), and the speed of the tip (n,).

        The first is the constant one of the machine file, the second that of a tool's own coefficients. ``arm`` (n, 3)
        leads to the tip.
        """
        r, frame = motion.poses.r, self._moves.frame[move]
        velocity = motion.v + np.cross(motion.w, arm)
        speed = np.sqrt(np.einsum("ni,ni->n", velocity, velocity))
        edge, slope, axial, axial_slope = self._coefficients[frame].T
        tooth_rate = self._spindle[move] * self._teeth[frame] / 60.0
        chip = np.divide(speed, tooth_rate, out=np.zeros_like(speed), where=tooth_rate > 0.0)
        along = velocity / np.maximum(speed, CLEAR)[:, None]
        steady = r @ self._forces.force
        moment = r @ self._forces.moment + np.cross(arm, steady)
        force = (axial + axial_slope * chip)[:, None] * r[:, :, 2] - (edge + slope * chip)[:, None] * along
        own = np.concatenate([force, np.cross(arm, force)], axis=1)
        return np.concatenate([steady, moment], axis=1), own, speed


class ThrustBounds:
    """Thrusts (6, n) at rows: the least and the most, which differ where the table does not say what the tool does."""

    def __init__(self, machine: Machine, tools: Tools, meaning: Interpretation, *, free_yaw: bool) -> None:
        self._machine = machine
        self._cut = CuttingForce(machine, tools, meaning)
        self._feeds = meaning.moves.feed_mode != FEED_RAPID
        self._free_yaw = free_yaw

    def of(self, motion: Motion, move: Ints, *, loads: Motion | None = None, cuts: bool = True) -> list[Array]:
        """Return one to three sets of thrusts; the rows are on the moves ``move`` (n,).

        ``loads``: the motion that loads the struts, where it is another; ``cuts``: what acts on the tool counts.
        """
        wrench = needed(self._machine, loads or motion)
        turned = motion.inverse.swapaxes(1, 2)
        if not cuts or not self._cut.any:
            return [np.einsum("nij,nj->in", turned, wrench)]
        steady, own, speed = self._cut.wrenches(motion, motion.poses.arm, move)
        feeds, turn, sure = self._feeds[move], *self._turns(motion)
        moves = feeds & (speed > 0.0), feeds & (speed > CLEAR)
        tilts = moves[0] | (feeds & (turn > 0.0)), moves[1] | (feeds & (sure > CLEAR_TURN))
        ways = [(tilts[0], moves[0]), (tilts[1], moves[1]), (tilts[0], moves[1])]
        known = [all((a == b).all() for a, b in zip(way, ways[0], strict=True)) for way in ways]
        pushes = [a[:, None] * steady + b[:, None] * own for (a, b), same in zip(ways, known, strict=True) if not same]
        pushes.insert(0, tilts[0][:, None] * steady + moves[0][:, None] * own)
        return [np.einsum("nij,nj->in", turned, wrench - push) for push in pushes]

    def _turns(self, motion: Motion) -> tuple[Array, Array]:
        """Return how fast (n,) the platform turns; and what of it the program asks for certain, rad/s."""
        turn = np.sqrt(np.einsum("ni,ni->n", motion.w, motion.w))
        if not self._free_yaw:
            return turn, turn
        aside = np.cross(motion.w, motion.poses.r[:, :, 2])
        return turn, np.sqrt(np.einsum("ni,ni->n", aside, aside))
