"""What cannot be meant of a machine: limits that it breaks at rest, poses beyond its reach, masses of no platform."""

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from hexpost.arrays import Array
from hexpost.audit.model import Of
from hexpost.errors import Fault, InputError
from hexpost.kinematics.frames import invert, pose_matrix
from hexpost.kinematics.links import links
from hexpost.machine.geometry import least_conditioning, nearness
from hexpost.machine.load import no_setup, no_tools
from hexpost.machine.model import Machine
from hexpost.machine.wording import Wording
from hexpost.pipeline import examine, parse, schedule, understand
from hexpost.reach.places import gauge_struts, grid, places
from hexpost.voice import number, what

STAY = b"G21 G91 G00 Z0.001\nM30\n"
"""As good as standing: a micrometre from rest to rest."""
MOST_ROWS = 100_000
"""Setpoints in which a machine that can move at all does so."""
MM_PER_M = 1e3
GRAVITY = (9.7, 9.9)
"""Free fall anywhere on the ground, m/s2 (9.78 at the equator, 9.83 at the poles: common knowledge, no source)."""
FARTHEST = 10.0
"""The mass of a platform is not so many times farther from the middle of its joints than they are."""
STEPS = 8
"""Places over the pallet are looked for on a grid of so many steps to either side."""


def refuse_what_cannot_stand(machine: Machine) -> None:
    """Refuse a machine file whose own poses, masses or pallet cannot be meant.

    Raises
    ------
    InputError
        With every such fault, by key.
    """
    faults = [
        Fault(file=machine.file, what=f"{key} {says}", code=code, key=key, hint=hint)
        for part in (_loads, _poses, _pallet, _reference)
        for key, says, code, hint in part(machine)
    ]
    if faults:
        raise InputError(faults)


Told = Iterator[tuple[str, str, str, str]]
"""Key, what is wrong with it, code of the fault, and what to do."""


def _reference(machine: Machine) -> Told:
    """Yield the limits that a job breaks which does nothing but stand at the reference pose."""
    home = pose_matrix(machine.reference, machine.tilt_order)
    start = np.concatenate([home[:3, 3] + home[:3, :3] @ machine.platform.gauge_point, machine.reference[3:]])
    plain = replace(machine, words=Wording(), dialect=(), programmed_axes=None)
    inputs = understand(parse(STAY, ""), plain, no_tools(), replace(no_setup(), start=start, given=True))
    try:
        job = schedule(replace(inputs, most_rows=MOST_ROWS))
    except InputError:  # the one fault there can be: the job is too long
        says = f"needs more than {MOST_ROWS * machine.period:g} s for a way of a micrometre"
        yield "tool_tip", says, "too-slow", "check the units of all speeds, accelerations and jerks, and of period_ms"
        return
    found = examine(job).findings
    told: set[str] = set()
    for row in (found.row(i) for i in range(found.count)):  # the worst of a limit comes first
        if row.limit.name in told or row.limit.of is Of.PROGRAM:
            continue
        told.add(row.limit.name)
        hint = f"check {', '.join(row.limit.keys) or 'the limits'}, and the unit of each number that they rest on"
        yield "reference.pose_mm_deg", f"breaks a limit of this file: {what(row)}", "broken-at-rest", hint


def _poses(machine: Machine) -> Told:
    """Yield the poses that the machine is sent to and that its strokes do not reach."""
    assert machine.reference_return is not None  # every loaded machine has it
    named = {f"reference_return.{k}_pose_mm_deg": getattr(machine.reference_return, k) for k in ("g28", "g30", "g74")}
    sent = {key: pose for key, pose in named.items() if not np.array_equal(pose, machine.machine_zero)}
    if machine.tool_change is not None:
        sent["tool_change.pose_mm_deg"] = machine.tool_change
    for key, pose in sent.items():
        if says := out_of_reach(machine, pose):
            yield key, f"is {says}", "out-of-reach", "it is the place of the gauge point in the base frame, in mm"


def out_of_reach(machine: Machine, pose: Array) -> str:
    """Return why the gauge point cannot come to a ``pose`` (6,) in the base frame; nothing if it can."""
    struts = gauge_struts(machine)
    at = links(struts, pose[:, None])
    over = [max(s.stroke[0] - x, x - s.stroke[1]) for s, x in zip(machine.struts, at.length[:, 0], strict=True)]
    k = int(np.argmax(over))
    if over[k] > 0.0:
        low, high = machine.struts[k].stroke
        far = f"strut {k + 1} would be {number(at.length[k, 0])} mm long"
        return f"out of reach: {far}, and its stroke is {low:g} to {high:g} mm"
    if nearness(machine, struts).of(at)[0][0] < least_conditioning(machine):
        return "beyond a singular pose: no way leads there from the reference pose"
    return ""


def _pallet(machine: Machine) -> Told:
    """Yield a pallet over which no place is within reach of the gauge point, upright."""
    step = max(s.stroke[1] - s.stroke[0] for s in machine.struts) / STEPS
    x, y, z = np.meshgrid(*grid(machine, step))
    found = places(machine, np.stack([x.ravel(), y.ravel(), z.ravel()]), tilts=False)
    inside = found.position[:, found.reachable]
    to = invert(pose_matrix(machine.pallet.pose, machine.tilt_order))
    seen = to[:3, :3] @ inside + to[:3, 3:]
    room = np.array(machine.pallet.size)[:, None] / 2.0 + step
    if inside.size and not ((np.abs(seen[:2]) <= room).all(axis=0) & (seen[2] >= -step)).any():
        says = "is out of reach: no place over the pallet is within the strokes of all struts"
        yield "pallet.pose_mm_deg", says, "out-of-stroke", "it is the pallet frame in the base frame, in mm and degrees"


def _loads(machine: Machine) -> Told:
    """Yield a gravity of no place on the ground, and a mass that is far from the platform."""
    assert machine.forces is not None and machine.platform.centre_of_mass is not None  # every loaded machine has them
    pull = float(np.linalg.norm(machine.forces.gravity)) / MM_PER_M
    if pull and not GRAVITY[0] <= pull <= GRAVITY[1]:
        says = f"is {number(pull)} m/s2 in size; it must be from {GRAVITY[0]:g} to {GRAVITY[1]:g}, or 0"
        yield "forces.gravity_m_s2", says, "bad-value", "write [0, 0, -9.81] where the z axis of the base frame is up"
    joints = np.array([s.platform_joint for s in machine.struts])
    middle = joints.mean(axis=0)
    room = FARTHEST * float(np.linalg.norm(joints - middle, axis=1).max())
    far = float(np.linalg.norm(machine.platform.centre_of_mass - middle))
    if far > room:
        says = f"is {number(far)} mm from the middle of the platform joints; it must be at most {number(room)}"
        yield "platform.centre_of_mass_mm", says, "bad-value", "it is a point of the platform frame, in mm"
