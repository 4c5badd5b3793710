"""What a machine can do at each of many places, at once; a whole grid of them, layer by layer, side by side."""

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache, partial
from math import pi

import numpy as np

from hexpost.arrays import Array, Columns, Flags
from hexpost.kinematics.frames import angles_of, pose_matrix
from hexpost.kinematics.links import links
from hexpost.kinematics.singular import Nearness
from hexpost.kinematics.statics import compliance
from hexpost.kinematics.struts import StrutModel, Struts, strut_rows
from hexpost.kinematics.uncertainty import bands, of_geometry, root_of, tip_slopes
from hexpost.machine.elastic import elastic_platform, springs
from hexpost.machine.geometry import least_conditioning, nearness
from hexpost.machine.load import machine_from
from hexpost.machine.model import Machine
from hexpost.machine.platform import thrusts_of
from hexpost.machine.universals import joints
from hexpost.workers.engines import Engine
from hexpost.workers.run import Runner


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Places(Columns):
    """Places of the gauge point (3, n) in the base frame, tool axis as at the reference pose, and what holds there.

    ``reachable`` (n,): within strokes and joint limits and not singular. ``tilt`` [rad]: up to which the tool tilts in
    every direction about the gauge point. In the worst direction: ``feed`` [mm/s], ``tilt_speed`` [rad/s],
    ``acceleration`` [mm/s2] of a pure translation from rest. ``stiffness`` [N/mm] of the gauge point in its softest
    direction (nan where struts have none); ``conditioning`` of the Jacobian, 1 at best. ``frequency`` (6, n): natural
    frequencies on the struts, the lowest first, rad/s. ``band`` [mm]: radius that the gauge point of 95 % of machines
    stays within, by the calibration. nan where out of reach, or not known.
    """

    position: Array
    reachable: Flags
    tilt: Array
    feed: Array
    tilt_speed: Array
    acceleration: Array
    stiffness: Array
    conditioning: Array
    frequency: Array
    band: Array


DIRECTIONS = 12
TILT_STEP = 2.0 * pi / 180.0
MOST_TILTS = 45
"""Tilts are tried every 2 degrees up to 90, in twelve directions; singular poses are looked for between them, too."""
FINEST_TILT = TILT_STEP / 1024.0


def gauge_struts(machine: Machine) -> Struts:
    """Return the struts as seen from the base frame and the gauge point."""
    return StrutModel(machine).in_frame(np.eye(4), machine.platform.gauge_point)


def grid(machine: Machine, step: float) -> tuple[Array, Array, Array]:
    """Return the x, y and z of a grid [mm] that holds every place within the strokes, around the reference pose."""
    home = pose_matrix(machine.reference, machine.tilt_order)
    middle = home[:3, 3] + home[:3, :3] @ machine.platform.gauge_point
    reach = max(s.stroke[1] - s.stroke[0] for s in machine.struts)
    count = int(np.ceil(reach / step))
    x, y, z = (m + step * np.arange(-count, count + 1) for m in middle)
    return x, y, z


def places(machine: Machine, position: Array, *, tilts: bool = True) -> Places:
    """Return what holds at the gauge points ``position`` (3, n); without ``tilts`` these are left out."""
    struts = gauge_struts(machine)
    near = nearness(machine, struts)
    home = machine.reference[3:, None]
    pose = np.concatenate([position, np.repeat(home, position.shape[1], axis=1)])
    good = _reachable(machine, near, pose)
    n = position.shape[1]
    tilt, feed, spin, pull, stiff, even, band = (np.full(n, np.nan) for _ in range(7))
    frequency = np.full((6, n), np.nan)
    if good.any():
        at = links(struts, pose[:, good])
        rows = strut_rows(at.direction.transpose(2, 1, 0), at.arms.transpose(2, 1, 0))
        speeds = np.array([s.speed for s in machine.struts])
        feed[good] = (speeds / np.linalg.norm(rows[:, :, :3], axis=2)).min(axis=1)
        spin[good] = (speeds / np.maximum(np.linalg.norm(rows[:, :, 3:], axis=2), 1e-9)).min(axis=1)
        pull[good] = _acceleration(machine, struts, pose[:, good], rows)
        even[good], _ = near.of(at)
        if (known := springs(machine)) is not None:
            each = 1.0 / known.compliance(at.length).T[:, None, :]
            soft = np.linalg.eigvalsh(compliance(rows, each)[:, :3, :3])[:, -1]
            stiff[good] = 1.0 / soft
        if (elastic := elastic_platform(machine, struts, machine.platform.gauge_point)) is not None:
            frequency[:, good] = elastic.frequencies(pose[:, good])
        if machine.calibration is not None:
            band[good] = bands(
                tip_slopes(struts, np.eye(4), pose[:, good])[1], root_of(of_geometry(machine.calibration))
            )
        if tilts:
            tilt[good] = _tilts(machine, near, pose[:, good])
    return Places(
        position=position, reachable=good, tilt=tilt, feed=feed, tilt_speed=spin, acceleration=pull, stiffness=stiff,
        conditioning=even, frequency=frequency, band=band,
    )  # fmt: skip


def _reachable(machine: Machine, near: Nearness, pose: Array) -> Flags:
    """Return where (n,) strokes and joint limits are kept and the pose is on the good side of all singular ones."""
    at = links(near.struts, pose)
    low, high = np.array([s.stroke for s in machine.struts]).T[:, :, None]
    good: Flags = ((at.length >= low) & (at.length <= high)).all(axis=0)
    for end, these, direction in zip(("base", "platform"), joints(machine), (at.direction, at.seen), strict=True):
        angles, swing = these.angles(direction), these.swing(direction)
        for k, s in enumerate(machine.struts):
            u = s.base_universal if end == "base" else s.platform_universal
            assert u is not None
            if u.cone is not None:
                good &= swing[k] >= np.cos(u.cone)
            for axis, held in enumerate((u.outer_range, u.inner_range)):
                if held is not None:
                    good &= (angles[axis, k] >= held[0]) & (angles[axis, k] <= held[1])
    some = np.flatnonzero(good)
    if len(some):
        good[some] = near.of(at.take(some))[0] >= least_conditioning(machine)
    return good


def _acceleration(machine: Machine, struts: Struts, pose: Array, rows: Array) -> Array:
    """Return the acceleration (n,) that every direction allows from rest: of the struts, and within their thrusts."""
    most = np.array([s.acceleration for s in machine.struts])
    out: Array = (most / np.linalg.norm(rows[:, :, :3], axis=2)).min(axis=1)
    limits = [None if s.screw is None else s.screw.thrust for s in machine.struts]
    if all(x is None for x in limits) or machine.forces is None:
        return out
    still, pushes = thrusts_of(machine, struts, np.eye(4), machine.platform.gauge_point).along_axes(pose)
    left = np.array([[np.inf if x is None else x] for x in limits]) - np.abs(still)
    np.minimum(out, np.maximum(left / np.linalg.norm(pushes, axis=0), 0.0).min(axis=0), out=out)
    return out


def _tilts(machine: Machine, near: Nearness, pose: Array) -> Array:
    """Return the tilt (n,) up to which every direction can be reached, rad, in whole steps."""
    out: Array = np.zeros(pose.shape[1])
    going = np.arange(pose.shape[1])
    for k in range(1, MOST_TILTS + 1):
        good: Flags = np.ones(len(going), dtype=np.bool_)
        for direction in np.arange(DIRECTIONS) * (2.0 * pi / DIRECTIONS):
            at = pose[:, going]
            good &= _reachable(machine, near, _tilted(machine, at, direction, k * TILT_STEP))
            good[good] = _regular(machine, near, at[:, good], direction, ((k - 1) * TILT_STEP, k * TILT_STEP))
        going = going[good]
        if not len(going):
            break
        out[going] = k * TILT_STEP
    return out


def _regular(machine: Machine, near: Nearness, pose: Array, direction: float, tilts: tuple[float, float]) -> Flags:
    """Return where (n,) no pose between two tilts is singular; what cannot be told counts as singular."""
    if not pose.size:
        return np.zeros(0, dtype=np.bool_)
    low, high = tilts
    middle, half = (low + high) / 2.0, np.full(pose.shape[1], (high - low) / 2.0)
    here = links(near.struts, _tilted(machine, pose, direction, middle))
    found, floor = near.floor(here, np.zeros(pose.shape[1]), half)
    least = least_conditioning(machine)
    good: Flags = floor >= least
    again = np.flatnonzero(~good & (found >= least))
    if len(again) and high - low > FINEST_TILT:
        for part in ((low, middle), (middle, high)):
            again = again[_regular(machine, near, pose[:, again], direction, part)]
        good[again] = True
    return good


def _tilted(machine: Machine, pose: Array, direction: float, angle: float) -> Array:
    """Return ``pose`` (6, n) tilted by ``angle`` from the reference about the horizontal at ``direction`` from x."""
    x, y = np.cos(direction), np.sin(direction)
    k = np.array([[0.0, 0.0, y], [0.0, 0.0, -x], [-y, x, 0.0]])
    turned = np.eye(3) + np.sin(angle) * k + (1.0 - np.cos(angle)) * (k @ k)
    home = pose_matrix(machine.reference, machine.tilt_order)[:3, :3]
    out = pose.copy()
    out[3:] = angles_of((turned @ home)[:, :, None], machine.tilt_order)
    return out


def all_places(machine: Machine, step: float, engine: Engine, progress: Callable[[int], None]) -> Places:
    """Return what holds on a grid of ``step`` mm, sorted by z, y, x; ``progress`` is called with 1 after each layer."""
    x, y, z = grid(machine, step)
    layers = [_layer(x, y, float(height)) for height in z]
    with Runner(engine) as runner:
        parts = runner.in_order(layers, partial(_work, machine.source, machine.file), progress)
    return Places.joined(parts)


def layer_count(machine: Machine, step: float) -> int:
    """Return the number of layers of a grid."""
    return len(grid(machine, step)[2])


def _layer(x: Array, y: Array, z: float) -> Array:
    """Return the places (3, n) of one height."""
    a, b = np.meshgrid(x, y)
    return np.stack([a.ravel(), b.ravel(), np.full(a.size, z)])


def _work(source: bytes, name: str, position: Array) -> Places:
    """Return what holds at places; in a worker, from the text of the machine file."""
    return places(_machine(source, name), position)


@lru_cache(maxsize=1)
def _machine(source: bytes, name: str) -> Machine:
    """Return the machine of a text; a worker reads it once."""
    return machine_from(source, name)
