"""Slips in a file of measured poses, each known by how much better the machine of the drawing then explains it.

A machine as built is its drawing within a few millimetres, so measurements that miss it by more mean something else
than they say: another unit, axis or point. A slip is named only where it explains almost all of the difference.
"""

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, permutations

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import angles_of, rotation
from hexpost.machine.model import Machine
from hexpost.setup.columns import MeasuredColumns
from hexpost.setup.identify import Frames
from hexpost.setup.measured import DISTANCE, FULL, Measured
from hexpost.setup.observe import Built, nominal, predicted, rotations
from hexpost.setup.rigid import fit
from hexpost.units import DEG_PER_RAD, MM_PER_INCH

EXPLAINS = 0.2
"""A slip explains a difference of which it leaves less than this share."""
ROOM = 2.0
"""Poses of a machine whose joints are off by so much are off by about so many times that."""
ALIKE = 0.2
"""Of slips that explain as much within this share of what joints may be off, the first of the list is named."""
ROUNDS = 3
AXES = "xyz"


Meant = tuple[str, str] | None
"""What measurements seem to mean, and what to do about it."""


def slip(
    machine: Machine, measured: Measured, pose: Array, frames: Frames, most: float, *, doubted: bool = False
) -> Meant:
    """Return what the measurements seem to mean instead of what they say, and what to do; ``None`` where they fit.

    ``pose`` (6, n): those of the nominal machine at the commanded lengths; ``most``: how far its joints may be off, mm.
    ``doubted``: they are near the drawing, and yet fit no geometry near it.
    """
    built = nominal(machine)
    now = misfit(built, measured, pose, frames)
    if now <= ROOM * most and not doubted:
        return None
    readings = _readings(machine, built, measured, pose, frames)
    found = [(misfit(built, m, p, f), what, hint) for m, p, f, what, hint in readings]
    best = min(left for left, _, _ in found)
    if best > min(EXPLAINS * now, ROOM * most):
        return None
    left, what, hint = next(f for f in found if f[0] <= best + ALIKE * min(most, now))
    told = f"the measurements are {now:.4g} mm from the machine of the drawing (median), {left:.3g} mm if {what}"
    return told, hint


def misfit(built: Built, measured: Measured, pose: Array, frames: Frames) -> float:
    """Return how far measurements are from what a geometry predicts, mm: the median, turns at the platform joints.

    Frames that are to be estimated are fitted first.
    """
    place, turned = predicted(built, measured, pose)
    if measured.kind == DISTANCE:
        return float(np.median(np.abs(measured.distance - np.linalg.norm(place - measured.fixed, axis=1))))
    there, seen = measured.place, measured.turned
    ones = np.ones(measured.count)
    for _ in range(ROUNDS):
        if frames.measuring:
            motion = fit(there, place, ones).matrix[:3]
            there, seen = there @ motion[:, :3].T + motion[:, 3], motion[:, :3] @ seen
        if frames.target:
            arm = np.median(np.einsum("nji,nj->ni", turned, there - place), axis=0)
            there = there - turned @ arm
    wrong = ((there - place) ** 2).sum(axis=1)
    if measured.kind == FULL and not frames.target:
        cosine = np.clip(0.5 * (np.einsum("nij,nij->n", seen, turned) - 1.0), -1.0, 1.0)
        wrong = wrong + (_radius(built) * np.arccos(cosine)) ** 2
    return float(np.sqrt(np.median(wrong)))


def first_frames(built: Built, measured: Measured, pose: Array, frames: Frames) -> Built:
    """Return a geometry with the measuring frame that brings measured places nearest to where it predicts them."""
    if measured.kind == DISTANCE or not frames.measuring:
        return built
    place = predicted(built, measured, pose)[0]
    return replace(built, base_from_measuring=fit(measured.place, place, np.ones(measured.count)).matrix)


def refuse_far(built: Built, start: Built, most: float, columns: MeasuredColumns) -> None:
    """Refuse a geometry that is farther from the drawing than ``most``, mm.

    Raises
    ------
    InputError
        Names the strut, and what of it is too far.
    """
    far = np.stack(
        [
            np.linalg.norm(built.base - start.base, axis=1),
            np.linalg.norm(built.platform - start.platform, axis=1),
            np.abs(built.offset - start.offset),
        ]
    )
    what, k = (int(x) for x in np.unravel_index(far.argmax(), far.shape))
    if far[what, k] <= most:
        return
    name = ("base joint", "platform joint", "length")[what]
    raise columns.refusal(
        f"the {name} of strut {k + 1} is {far[what, k]:.4g} mm from the drawing; at most {most:g} mm is allowed",
        "far",
        "is this the machine file of this machine, and is it measured in its frames? --most-mm sets another bound",
    )


def _radius(built: Built) -> float:
    """Return how far the platform joints are from the middle of the platform."""
    return float(np.sqrt(((built.platform - built.platform.mean(axis=0)) ** 2).sum(axis=1).mean()))


Reading = tuple[Measured, Array, Frames, str, str]


def _readings(machine: Machine, built: Built, measured: Measured, pose: Array, frames: Frames) -> Iterator[Reading]:
    """Yield other readings of the measurements: as they would be, the poses, the frames, in words, what to do."""
    m = measured
    if m.kind == DISTANCE:
        yield replace(m, distance=m.distance * MM_PER_INCH), pose, frames, "they are inches", "give distances in mm"
        yield replace(m, distance=m.distance * 1e3), pose, frames, "they are metres", "give distances in mm"
    else:
        for factor, unit in ((MM_PER_INCH, "inches"), (1e3, "metres")):
            yield replace(m, place=m.place * factor), pose, frames, f"x y z are {unit}", "give positions in mm"
        yield from _mirrors(m, pose, frames)
        yield from _points(machine, built, m, pose, frames)
    if m.kind == FULL:
        yield from _turns(machine, m, pose, frames)
    yield from _orders(built, m, pose, frames)
    if m.kind != DISTANCE and not frames.measuring:
        some = Frames(measuring=True, target=frames.target)
        what = "they are seen from another frame than that of the base"
        yield m, pose, some, what, "--estimate measuring finds that frame, too"


def _mirrors(m: Measured, pose: Array, frames: Frames) -> Iterator[Reading]:
    """Yield axes that are turned round or exchanged, in positions alone or in turns as well."""
    for k, axis in enumerate(AXES):
        flip = np.eye(3)
        flip[k, k] = -1.0
        yield from _seen(m, pose, frames, flip, (f"the sign of {axis} is turned", f"turn the sign of {axis}_mm"))
    for i, j in combinations(range(3), 2):
        swap = np.eye(3)[[{i: j, j: i}.get(k, k) for k in range(3)]]
        names = f"{AXES[i]} and {AXES[j]}"
        yield from _seen(m, pose, frames, swap, (f"{names} are exchanged", f"exchange {names}"))


def _seen(m: Measured, pose: Array, frames: Frames, axes: Array, told: tuple[str, str]) -> Iterator[Reading]:
    """Yield measurements with other axes: positions alone, and turns with them."""
    what, hint = told
    yield replace(m, place=m.place @ axes.T), pose, frames, what, hint
    if m.kind == FULL:
        whole = replace(m, place=m.place @ axes.T, turned=axes @ m.turned @ axes.T)
        yield whole, pose, frames, f"{what}, in turns as well", f"{hint}, and the angles that go with it"


def _points(machine: Machine, built: Built, m: Measured, pose: Array, frames: Frames) -> Iterator[Reading]:
    """Yield positions of another point of the platform than the one that they are said to be of."""
    if frames.target:
        return
    gauge = machine.platform.gauge_point
    place = predicted(built, m, pose)[0]
    turned = m.turned if m.kind == FULL else rotations(built, pose)
    points = [(gauge, "the spindle gauge point")]
    arm = np.median(np.einsum("nji,nj->ni", turned, m.place - place), axis=0)
    points.append((arm, "the point X{:.1f} Y{:.1f} Z{:.1f}".format(*arm)))
    for point, name in points:
        at = "{:g}, {:g}, {:g}".format(*point.round(3))
        what = f"they are of {name} of the platform, not of its origin"
        hint = f"give target_x_mm, target_y_mm, target_z_mm of positions ({at}), or full poses of the platform's origin"
        yield replace(m, place=m.place - turned @ point), pose, frames, what, hint


def _turns(machine: Machine, m: Measured, pose: Array, frames: Frames) -> Iterator[Reading]:
    """Yield angles in radians, of the other sense, and in another order."""
    order = machine.tilt_order
    a, b, c = angles_of(np.moveaxis(m.turned, 0, 2), order)
    sets = [(order, (a * DEG_PER_RAD, b * DEG_PER_RAD, c * DEG_PER_RAD), "the angles are radians", "give degrees"),
            (order, (-a, -b, -c), "the angles count the other way round", "turn the signs of the angles")]  # fmt: skip
    sets += [("".join(o), (a, b, c), f"the angles turn in the order {''.join(o)}", f"the machine file says {order}")
             for o in permutations("ABC") if "".join(o) != order]  # fmt: skip
    for other, angles, what, hint in sets:
        turned = np.moveaxis(rotation(*angles, other), 2, 0)
        yield replace(m, turned=turned), pose, frames, what, hint
    what = "the turns are those of the base seen from the platform"
    yield replace(m, turned=m.turned.swapaxes(1, 2)), pose, frames, what, "give the turn of the platform in the base"


def _orders(built: Built, m: Measured, pose: Array, frames: Frames) -> Iterator[Reading]:
    """Yield struts in another order: two exchanged, counted from another one, or the other way round."""
    orders = [([{i: j, j: i}.get(k, k) for k in range(6)], f"struts {i + 1} and {j + 1} are exchanged")
              for i, j in combinations(range(6), 2)]  # fmt: skip
    orders += [([(i + k) % 6 for i in range(6)], f"strut 1 is the one in column {k + 1}") for k in range(1, 6)]
    orders += [([(k - i) % 6 for i in range(6)], f"struts count the other way round from column {k + 1}")
               for k in range(6)]  # fmt: skip
    for order, what in orders:
        length = m.length[order]
        there = built.poses(length, pose)
        if np.isfinite(there).all():
            yield replace(m, length=length), there, frames, what, "put the lengths in the order of the machine file"


def other_order(built: Built, measured: Measured, guess: Array, frames: Frames, most: float) -> Meant:
    """Return the order of the struts in which lengths that belong to no pose do, and fit; what to do about it."""
    found = [(misfit(built, m, p, f), what, hint) for m, p, f, what, hint in _orders(built, measured, guess, frames)]
    left, what, hint = min(found, default=(np.inf, "", ""))
    return (f"the measurements are {left:.3g} mm from the machine of the drawing if {what}", hint) if (
        left <= ROOM * most) else None  # fmt: skip
