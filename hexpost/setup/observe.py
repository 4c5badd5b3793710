"""What a machine of given geometry would measure, and how that follows each of its numbers."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Array, frozen
from hexpost.kinematics.forward import forward
from hexpost.kinematics.frames import rotation
from hexpost.kinematics.struts import Struts, strut_rows
from hexpost.machine.model import Machine
from hexpost.setup.measured import DISTANCE, FULL, PLACE, Measured
from hexpost.setup.rigid import fit

GEOMETRY = 42
"""Six struts with a base joint (3), a platform joint (3) and an offset of the length (1)."""
FRAMES = 12
"""Small motions of the measuring frame and of the target frame: shift (3) and turn (3) each."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Built:
    """A geometry as built: ``base`` and ``platform`` joints (6, 3), ``offset`` (6,) of length over command, mm.

    ``base_from_measuring`` and ``platform_from_target`` (4, 4) place the frames of the measurements.
    """

    base: Array
    platform: Array
    offset: Array
    base_from_measuring: Array
    platform_from_target: Array
    order: str

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
        """Return the geometry after a step (54,) of its numbers and frames."""
        change = step[:GEOMETRY].reshape(6, 7)
        return replace(
            self,
            base=self.base + change[:, :3],
            platform=self.platform + change[:, 3:6],
            offset=self.offset + change[:, 6],
            base_from_measuring=_moved(self.base_from_measuring, step[42:48]),
            platform_from_target=_moved(self.platform_from_target, step[48:54]),
        )

    def poses(self, length: Array, guess: Array) -> Array:
        """Return the poses (6, n) that the machine takes at commanded lengths (6, n); nan where it finds none."""
        return forward(self.struts, length + self.offset[:, None], guess).pose

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


def nominal(machine: Machine) -> Built:
    """Return the geometry of a machine file, with both frames as they should be."""
    return Built(
        base=frozen([s.base_joint for s in machine.struts]),
        platform=frozen([s.platform_joint for s in machine.struts]),
        offset=np.zeros(6),
        base_from_measuring=np.eye(4),
        platform_from_target=np.eye(4),
        order=machine.tilt_order,
    )


def rotations(built: Built, pose: Array) -> Array:
    """Return the rotations (n, 3, 3) of poses (6, n)."""
    return np.moveaxis(rotation(pose[3], pose[4], pose[5], built.order), 2, 0)


def pose_slopes(built: Built, pose: Array) -> Array:
    """Return how shift and turn of the platform (n, 6) follow the 42 numbers: slopes (n, 6, 42).

    Of l = |t + R b - a| and l = command + offset: [u, R b x u] [dt, dw] = do + u.da - (R'u).db.
    """
    r = rotations(built, pose)
    arms = built.platform @ r.swapaxes(1, 2)
    vectors = pose[:3].T[:, None, :] + arms - built.base
    rows = strut_rows(vectors, arms)
    u: Array = rows[:, :, :3]
    per_strut = np.concatenate([u, -(u @ r), np.ones((*u.shape[:2], 1))], axis=2)
    spread: Array = np.zeros((len(r), 6, GEOMETRY))
    for k in range(6):
        spread[:, k, 7 * k : 7 * k + 7] = per_strut[:, k]
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
    """Return how the predictions follow the 42 numbers and 12 frame motions: (n, k, 54), mm and rad per number."""
    r = rotations(built, pose)
    m, t = built.base_from_measuring, built.platform_from_target
    point = measured.target @ t[:3, :3].T + t[:3, 3]
    arm = np.einsum("nij,nj->ni", r, point)
    out: Array = np.zeros((measured.count, 6, GEOMETRY + FRAMES))
    out[:, :, :GEOMETRY] = pose_slopes(built, pose)
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
