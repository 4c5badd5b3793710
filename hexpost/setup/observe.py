"""What a machine of given geometry would measure, and how that follows each of its numbers."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, frozen
from hexpost.kinematics.forward import forward
from hexpost.kinematics.frames import rotation
from hexpost.kinematics.struts import Struts, strut_rows
from hexpost.machine.model import Machine
from hexpost.setup.carried import Carried, carried
from hexpost.setup.measured import DISTANCE, FULL, PLACE, Measured
from hexpost.setup.rigid import fit

GEOMETRY = 42
"""Six struts with a base joint (3), a platform joint (3) and an offset of the length (1)."""
FRAMES = 12
"""Small motions of the measuring frame and of the target frame: shift (3) and turn (3) each."""
RIGID = GEOMETRY + FRAMES
ELASTIC = 6
"""Compliances of the struts, mm/N; they follow the others."""
SETTLED = 3
"""A pose is found again so many times with the thrusts there: each round leaves some 1e-5 of what it changes."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Built:
    """A geometry as built: ``base`` and ``platform`` joints (6, 3), ``offset`` (6,) of length over command, mm.

    ``base_from_measuring`` and ``platform_from_target`` (4, 4) place the frames of the measurements. ``carried`` by
    struts that give way; ``None`` where they are taken as rigid.
    """

    base: Array
    platform: Array
    offset: Array
    base_from_measuring: Array
    platform_from_target: Array
    order: str
    carried: Carried | None = None

    @property
    def numbers(self) -> Array:
        """Return the 42 numbers, strut by strut: base joint, platform joint, offset."""
        out: Array = np.concatenate([self.base, self.platform, self.offset[:, None]], axis=1).ravel()
        return out

    @property
    def struts(self) -> Struts:
        """Return the struts in the base and the platform frame."""
        return Struts(self.base, self.platform, self.order)

    def moved(self, step: Array) -> "Built":
        """Return the geometry after a step (54,) of its numbers and frames, or (60,) with its compliances."""
        change = step[:GEOMETRY].reshape(6, 7)
        return replace(
            self,
            base=self.base + change[:, :3],
            platform=self.platform + change[:, 3:6],
            offset=self.offset + change[:, 6],
            base_from_measuring=_moved(self.base_from_measuring, step[42:48]),
            platform_from_target=_moved(self.platform_from_target, step[48:54]),
            carried=self.carried.softer(step[RIGID:]) if self.carried and len(step) > RIGID else self.carried,
        )

    def poses(self, length: Array, guess: Array, load: Array | None = None) -> Array:
        """Return the poses (6, n) that the machine takes at commanded lengths (6, n); nan where it finds none.

        ``load`` (n, 4) is fastened to the platform, as in ``Measured``.
        """
        asked = length + self.offset[:, None]
        pose = forward(self.struts, asked, guess).pose
        for _ in range(SETTLED if self.carried else 0):
            pose = forward(self.struts, asked - self.shorter(pose, load), pose).pose
        return pose

    def shorter(self, pose: Array, load: Array | None = None) -> Array:
        """Return how much shorter (6, n) [mm] the struts are than in the pose in which commands are lengths."""
        if self.carried is None:
            return np.zeros_like(pose)
        springs, home = self.carried.springs, self.carried.home
        out = springs.shorter(self.thrusts(pose, load), self.struts.lengths(pose))
        out -= springs.shorter(self.thrusts(home), self.struts.lengths(home))
        return out

    def thrusts(self, pose: Array, load: Array | None = None) -> Array:
        """Return the thrusts (6, n) of a platform at rest in poses (6, n), N."""
        assert self.carried is not None
        rows, r = self.rows(pose)
        return self.carried.thrusts(rows, r, load)

    def rows(self, pose: Array) -> tuple[Array, Array]:
        """Return the Jacobians (n, 6, 6) of the lengths about the origin of the platform, and its turns (n, 3, 3)."""
        r = rotations(self, pose)
        arms = self.platform @ r.swapaxes(1, 2)
        return strut_rows(pose[:3].T[:, None, :] + arms - self.base, arms), r

    def near(self, other: "Built", *, measuring: bool, target: bool) -> "Built":
        """Return the same machine in frames that bring its joints as near to those of another as they can.

        Only what is not known moves: the measuring frame with the base joints, the target frame with the platform's.
        """
        out, ones = self, np.ones(6)
        if measuring:
            m = fit(self.base, other.base, ones).matrix
            base = self.base @ m[:3, :3].T + m[:3, 3]
            out = replace(out, base=base, base_from_measuring=m @ self.base_from_measuring)
        if target:
            m = fit(self.platform, other.platform, ones).matrix
            platform = self.platform @ m[:3, :3].T + m[:3, 3]
            out = replace(out, platform=platform, platform_from_target=m @ self.platform_from_target)
        return out


def nominal(machine: Machine, *, elastic: bool = False) -> Built:
    """Return the geometry of a machine file, with both frames as they should be.

    Struts give way where the file has a table [compensation], or with ``elastic``.
    """
    return Built(
        base=frozen([s.base_joint for s in machine.struts]),
        platform=frozen([s.platform_joint for s in machine.struts]),
        offset=np.zeros(6),
        base_from_measuring=np.eye(4),
        platform_from_target=np.eye(4),
        order=machine.tilt_order,
        carried=carried(machine) if elastic or machine.compensation is not None else None,
    )


def rotations(built: Built, pose: Array) -> Array:
    """Return the rotations (n, 3, 3) of poses (6, n)."""
    return np.moveaxis(rotation(pose[3], pose[4], pose[5], built.order), 2, 0)


def pose_slopes(built: Built, pose: Array, load: Array | None = None) -> Array:
    """Return how shift and turn of the platform (n, 6) follow the 42 numbers: slopes (n, 6, 42).

    Of l = |t + R b - a| and l = command + offset: [u, R b x u] [dt, dw] = do + u.da - (R'u).db. Where struts give way
    six compliances c follow (n, 6, 48), with l = command + offset - c f + c f0: their thrusts f change less than that
    by some 1e-5.
    """
    rows, r = built.rows(pose)
    u: Array = rows[:, :, :3]
    per_strut = np.concatenate([u, -(u @ r), np.ones((*u.shape[:2], 1))], axis=2)
    spread: Array = np.zeros((len(r), 6, GEOMETRY + (ELASTIC if built.carried else 0)))
    for k in range(6):
        spread[:, k, 7 * k : 7 * k + 7] = per_strut[:, k]
    if built.carried:
        diagonal = np.arange(6)
        thrust = built.carried.thrusts(rows, r, load) - built.thrusts(built.carried.home)
        spread[:, diagonal, GEOMETRY + diagonal] = -thrust.T
    out: Array = np.asarray(np.linalg.solve(rows, spread), dtype=np.float64)
    return out


def predicted(built: Built, measured: Measured, pose: Array) -> tuple[Array, Array]:
    """Return places (n, 3) of the targets and rotations (n, 3, 3) of the target frame, in the measuring frame."""
    r = rotations(built, pose)
    point = measured.target @ built.platform_from_target[:3, :3].T + built.platform_from_target[:3, 3]
    m = built.base_from_measuring
    place = pose[:3].T + np.einsum("nij,nj->ni", r, point)
    return (place - m[:3, 3]) @ m[:3, :3], m[:3, :3].T @ r @ built.platform_from_target[:3, :3]


def residuals(built: Built, measured: Measured, pose: Array) -> Array:
    """Return measured less predicted (n, k): mm, and rad about the axes of the measuring frame."""
    place, turned = predicted(built, measured, pose)
    if measured.kind == DISTANCE:
        distance: Array = measured.distance - np.linalg.norm(place - measured.fixed, axis=1)
        return distance[:, None]
    off = measured.place - place
    if measured.kind == PLACE:
        return off
    return np.concatenate([off, _turn_vector(measured.turned @ turned.swapaxes(1, 2))], axis=1)


def slopes(built: Built, measured: Measured, pose: Array) -> Array:
    """Return how the predictions follow the 42 numbers and 12 frame motions: (n, k, 54), mm and rad per number.

    Where struts give way their compliances follow: (n, k, 60).
    """
    r = rotations(built, pose)
    m, t = built.base_from_measuring, built.platform_from_target
    point = measured.target @ t[:3, :3].T + t[:3, 3]
    arm = np.einsum("nij,nj->ni", r, point)
    own = pose_slopes(built, pose, measured.load)
    out: Array = np.zeros((measured.count, 6, own.shape[2] + FRAMES))
    out[:, :, :GEOMETRY], out[:, :, RIGID:] = own[:, :, :GEOMETRY], own[:, :, GEOMETRY:]
    out[:, :3] -= _crosses(arm) @ out[:, 3:]
    out[:, :3, 42:45] = -np.eye(3)
    out[:, :3, 45:48] = _crosses(pose[:3].T + arm - m[:3, 3])
    out[:, 3:, 45:48] = -np.eye(3)
    out[:, :3, 48:51] = r
    out[:, :3, 51:54] = -r @ _crosses(point - t[:3, 3])
    out[:, 3:, 51:54] = r
    out[:, :3] = m[:3, :3].T @ out[:, :3]
    out[:, 3:] = m[:3, :3].T @ out[:, 3:]
    if measured.kind == FULL:
        return out
    if measured.kind == PLACE:
        return out[:, :3]
    arm = predicted(built, measured, pose)[0] - measured.fixed
    unit = arm / np.linalg.norm(arm, axis=1, keepdims=True)
    along: Array = np.einsum("ni,nik->nk", unit, out[:, :3])
    return along[:, None, :]


def weights(measured: Measured) -> Array:
    """Return one over the standard uncertainty of every measured number (n, k)."""
    one = 1.0 / measured.sigma[:, None]
    if measured.kind == DISTANCE:
        return one
    if measured.kind == PLACE:
        return np.repeat(one, 3, axis=1)
    return np.concatenate([np.repeat(one, 3, axis=1), np.repeat(1.0 / measured.sigma_turn[:, None], 3, axis=1)], axis=1)


def _moved(frame: Array, step: Array) -> Array:
    """Return a frame (4, 4) shifted, and turned about its own origin by a vector."""
    out = frame.copy()
    out[:3, :3] = _turned(step[3:]) @ frame[:3, :3]
    out[:3, 3] += step[:3]
    return out


def _turned(w: Array) -> Array:
    """Return the rotation (3, 3) about a vector by its length, rad (O. Rodrigues, 1840)."""
    angle = float(np.linalg.norm(w))
    k = _crosses(w[None])[0]
    half = float(np.sinc(angle / (2.0 * np.pi)))
    out: Array = np.eye(3) + float(np.sinc(angle / np.pi)) * k + 0.5 * half**2 * (k @ k)
    return out


def _crosses(v: Array) -> Array:
    """Return the matrices (n, 3, 3) of the cross products with vectors (n, 3)."""
    out: Array = np.zeros((len(v), 3, 3))
    out[:, 2, 1], out[:, 0, 2], out[:, 1, 0] = v.T
    return out - out.swapaxes(1, 2)


def _turn_vector(r: Array) -> Array:
    """Return the vectors (n, 3) about which rotations (n, 3, 3) of less than half a turn turn, rad."""
    twice = np.stack([r[:, 2, 1] - r[:, 1, 2], r[:, 0, 2] - r[:, 2, 0], r[:, 1, 0] - r[:, 0, 1]], axis=1)
    sine = 0.5 * np.linalg.norm(twice, axis=1)
    angle = np.arctan2(sine, 0.5 * (np.trace(r, axis1=1, axis2=2) - 1.0))
    factor = np.where(sine > 1e-12, angle / np.where(sine > 1e-12, sine, 1.0), 1.0)
    out: Array = 0.5 * twice * factor[:, None]
    return out
