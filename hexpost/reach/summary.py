"""A summary of a machine that an engineer can compare with the drawing."""

from math import tau

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.links import links
from hexpost.kinematics.modes import assembly_modes
from hexpost.machine.geometry import characteristic_length, least_conditioning
from hexpost.machine.model import Machine
from hexpost.machine.room import clearances
from hexpost.machine.universals import joints
from hexpost.reach.places import gauge_struts, grid, places
from hexpost.reach.standing import out_of_reach
from hexpost.units import DEG_PER_RAD

NEAR, LEAST_PAIRS = 2.0, 3
"""Pairs nearer than so many times what is asked are listed, or so many of them where none is."""
COARSE = 10
"""The box of reach is found on a grid of so many steps to either side."""


def summary(machine: Machine) -> list[str]:
    """Return the lines of the summary."""
    struts = gauge_struts(machine)
    home = pose_matrix(machine.reference, machine.tilt_order)
    gauge = home[:3, 3] + home[:3, :3] @ machine.platform.gauge_point
    pose = np.concatenate([gauge, machine.reference[3:]])[:, None]
    at = links(struts, pose)
    both = [
        (j.angles(d)[:, :, 0] * DEG_PER_RAD).round(6) + 0.0
        for j, d in zip(joints(machine), (at.direction, at.seen), strict=True)
    ]
    there = places(machine, pose[:3])
    lines = ["at the reference pose:", "  strut   length mm   stroke mm            share   base deg      platform deg"]
    for k, s in enumerate(machine.struts):
        low, high = s.stroke
        share = (at.length[k, 0] - low) / (high - low)
        angles = "".join(f"  {a[0, k]:6.1f}{a[1, k]:6.1f}" for a in both)
        lines.append(f"  {k + 1:5d}  {at.length[k, 0]:10.3f}   {low:8g} to {high:<8g} {100 * share:6.1f} %{angles}")
    length = characteristic_length(machine)
    lines.append(
        f"  conditioning {there.conditioning[0]:.4f} (characteristic length {length:.1f} mm; 1 is best, 0 singular), "
        f"at least {least_conditioning(machine):g} at every pose"
    )
    if np.isfinite(there.stiffness[0]):
        lines.append(f"  stiffness at the gauge point, softest direction: {there.stiffness[0] * 1e-3:.1f} N/um")
        hertz = ", ".join(f"{x / tau:.1f}" for x in there.frequency[:, 0])
        lines.append(f"  natural frequencies on the struts, no tool: {hertz} Hz")
    lines.append(f"  tilt in every direction: {there.tilt[0] * DEG_PER_RAD:.0f} degrees, no singular pose on the way")
    lines.append(
        f"  worst direction: {there.feed[0] * 60:.0f} mm/min, {there.tilt_speed[0] * DEG_PER_RAD:.1f} deg/s, "
        f"{there.acceleration[0]:.0f} mm/s2"
    )
    lines += _reach(machine)
    if says := out_of_reach(machine, machine.machine_zero):
        lines.append(f"machine zero is {says}; give the pose where a job starts in [start] of its setup file")
    return [*lines, *_modes(machine)]


def _reach(machine: Machine) -> list[str]:
    """Return the line about the box of reach."""
    step = max(s.stroke[1] - s.stroke[0] for s in machine.struts) / COARSE
    x, y, z = np.meshgrid(*grid(machine, step))
    found = places(machine, np.stack([x.ravel(), y.ravel(), z.ravel()]), tilts=False)
    inside = found.position[:, found.reachable]
    if not inside.size:
        return ["reach of the gauge point: none on the grid"]
    spans = (
        f"{a} {low:.0f} to {high:.0f}"
        for a, low, high in zip("xyz", inside.min(axis=1), inside.max(axis=1), strict=True)
    )
    lines = [f"reach of the gauge point, within {step:.0f} mm: {', '.join(spans)} mm of the base frame"]
    lines.append(f"  conditioning within reach, upright: at least {np.nanmin(found.conditioning[found.reachable]):.4f}")
    return lines + _room(machine, inside)


def _room(machine: Machine, gauge: Array) -> list[str]:
    """Return the lines about the room between bodies: at the reference pose and at gauge points (3, n), upright."""
    turn = pose_matrix(machine.reference, machine.tilt_order)[:3, :3]
    pose = np.concatenate(
        [
            gauge - (turn @ machine.platform.gauge_point)[:, None],
            np.repeat(machine.reference[3:, None], gauge.shape[1], axis=1),
        ]
    )
    home = {name: float(d[0]) for name, d in clearances(machine, machine.reference[:, None])}
    least = {name: float(d.min()) for name, d in clearances(machine, pose)}
    if not least:
        return ["clearance is not looked at: no strut has a radius_mm (table strut.body), and there is no spindle"]
    asked = machine.health.clearance or 0.0
    ranked = sorted(least, key=lambda name: least[name])
    near = [name for name in ranked if least[name] < NEAR * asked] or ranked[:LEAST_PAIRS]
    lines = [f"clearance of {len(least)} pairs of bodies, at least {asked:g} mm; within reach, upright, the nearest:"]
    return lines + [f"  {name}: {least[name]:.1f} mm, {home[name]:.1f} mm at the reference pose" for name in near]


def _modes(machine: Machine) -> list[str]:
    """Return the line about assembly modes."""
    struts = gauge_struts(machine)
    home = pose_matrix(machine.reference, machine.tilt_order)
    gauge = home[:3, 3] + home[:3, :3] @ machine.platform.gauge_point
    lengths = struts.lengths(np.concatenate([gauge, machine.reference[3:]])[:, None])[:, 0]
    found = assembly_modes(struts, lengths)
    end = "the search is complete" if found.complete else "the search did not come to an end: there may be more"
    lines = [f"poses with the same six lengths: {found.pose.shape[1]} (from {found.starts:,} starts; {end})"]
    if found.free.size:
        x, y, z, *turns = found.free[:, 0]
        a, b, c = (angle * DEG_PER_RAD for angle in turns)
        lines.append(
            f"besides, the platform can move with all struts fixed, as at gauge point X{x:.1f} Y{y:.1f} Z{z:.1f}, "
            f"A{a:.1f} B{b:.1f} C{c:.1f}: never let it come there"
        )
    return lines
