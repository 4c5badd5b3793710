"""A picture of a machine as SVG: from three sides, with reach and coordinates; below it drawings with dimensions."""

from html import escape

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.model import Machine
from hexpost.reach.dimensions import DRAWING, drawings
from hexpost.reach.places import grid, places
from hexpost.reach.ruler import marks

WIDTH, HEIGHT = 380, 420
LEFT, RIGHT, TOP, BELOW = 44, 14, 64, 44
"""Margins of a view: coordinates are at its left and below it."""
COARSE = 12
"""The reach is drawn on a grid of so many steps to either side."""

HALO = 'paint-order="stroke" stroke="white" stroke-width="3"'
"""Numbers are set off from the struts that they stand on."""

VIEWS = (
    ("from the front: x right, z up", 0, 2),
    ("from the side: y right, z up", 1, 2),
    ("from above: x right, y up", 0, 1),
)


def picture(machine: Machine) -> str:
    """Return the picture: the machine at its reference pose, and the places that the gauge point reaches."""
    home = pose_matrix(machine.reference, machine.tilt_order)
    base = np.array([s.base_joint for s in machine.struts])
    platform = home[:3, 3] + np.array([s.platform_joint for s in machine.struts]) @ home[:3, :3].T
    gauge = home[:3, 3] + home[:3, :3] @ machine.platform.gauge_point
    step = max(s.stroke[1] - s.stroke[0] for s in machine.struts) / COARSE
    x, y, z = np.meshgrid(*grid(machine, step))
    found = places(machine, np.stack([x.ravel(), y.ravel(), z.ravel()]), tilts=False)
    reach = found.position[:, found.reachable].T
    half, deep = (size / 2.0 for size in machine.pallet.size)
    at = pose_matrix(machine.pallet.pose, machine.tilt_order)
    pallet = (
        np.array([[-half, -deep, 0.0], [half, -deep, 0.0], [half, deep, 0.0], [-half, deep, 0.0]]) @ at[:3, :3].T
        + at[:3, 3]
    )
    order = _around(np.array([s.platform_joint for s in machine.struts]))
    views = [
        _view(title, (i, j), (base, platform, reach, np.stack([home[:3, 3], gauge]), pallet), order, k)
        for k, (title, i, j) in enumerate(VIEWS)
    ]
    lengths = np.linalg.norm(platform - base, axis=1)
    below = "".join(
        f'<g transform="translate({k % len(VIEWS) * WIDTH},{HEIGHT + k // len(VIEWS) * DRAWING})">{each}</g>'
        for k, each in enumerate(drawings(machine, lengths, pallet))
    )
    title = escape(
        f"{machine.name}, revision {machine.revision}: reference pose; shaded: reach of the gauge point; "
        "dashed: pallet; mm in the base frame"
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {len(VIEWS) * WIDTH} {HEIGHT + 2 * DRAWING}" role="img" '
        f'font-family="sans-serif" font-size="13"><title>{title}</title><rect width="100%" height="100%" fill="white"/>'
        f'<text x="10" y="18">{title}</text>{"".join(views)}{below}</svg>\n'
    )


def _around(points: Array) -> Ints:
    """Return the order (m,) in which points (m, 3) of one plate stand about its middle, seen along its z axis."""
    x, y, _ = (points - points.mean(axis=0)).T
    return np.argsort(np.arctan2(y, x), kind="stable")


def _view(
    title: str, plane: tuple[int, int], parts: tuple[Array, Array, Array, Array, Array], order: Ints, column: int
) -> str:
    """Return one view: base joints, platform joints, reached places, spindle and pallet (m, 3) seen in a plane.

    ``order`` (6,): platform joints as they stand about the middle of the platform, so that its edge does not cross.
    """
    every = np.vstack(parts)[:, plane]
    low, high = every.min(axis=0), every.max(axis=0)
    scale = min(
        (WIDTH - LEFT - RIGHT) / max(high[0] - low[0], 1.0), (HEIGHT - TOP - BELOW) / max(high[1] - low[1], 1.0)
    )
    base, platform, reach, spindle, pallet = (
        np.stack([(p[:, plane[0]] - low[0]) * scale + LEFT, (high[1] - p[:, plane[1]]) * scale + TOP], axis=1)
        for p in parts
    )
    out = [f'<g transform="translate({column * WIDTH},0)"><text x="10" y="38" fill="#525e69">{title}</text>']
    out += _ruler(low, high, scale)
    cells = np.unique(reach.round(1), axis=0)
    out += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="#d3e4ec"/>' for x, y in cells]
    outline = "L".join(f"{x:.1f} {y:.1f}" for x, y in pallet)
    out.append(f'<path d="M{outline}z" fill="none" stroke="#a33400" stroke-width="1.5" stroke-dasharray="6 4"/>')
    for k, (a, b) in enumerate(zip(base, platform, strict=True), 1):
        out.append(
            f'<line x1="{a[0]:.1f}" y1="{a[1]:.1f}" x2="{b[0]:.1f}" y2="{b[1]:.1f}" stroke="#1a232b" stroke-width="3"/>'
        )
        out.append(f'<circle cx="{a[0]:.1f}" cy="{a[1]:.1f}" r="5" fill="#1a232b"/>')
        out.append(f'<text x="{a[0]:.1f}" y="{a[1] - 8:.1f}" text-anchor="middle" {HALO}>{k}</text>')
    corners = " ".join(f"{x:.1f},{y:.1f}" for x, y in platform[order])
    out.append(f'<polygon points="{corners}" fill="#0f6e84" fill-opacity="0.3" stroke="#0f6e84"/>')
    (a, b), (c, d) = spindle
    out.append(f'<line x1="{a:.1f}" y1="{b:.1f}" x2="{c:.1f}" y2="{d:.1f}" stroke="#6b2a94" stroke-width="6"/></g>')
    return "".join(out)


def _ruler(low: Array, high: Array, scale: float) -> list[str]:
    """Return the coordinates of a view between the corners ``low`` and ``high`` (2,), mm, with lines across."""
    right, bottom = (high - low) * scale + (LEFT, TOP)
    out = []
    for x in marks(float(low[0]), max(float(high[0]), float(low[0]) + 1.0)):
        at = (x - low[0]) * scale + LEFT
        out.append(f'<path d="M{at:.1f} {TOP}V{bottom:.1f}" stroke="#dfe4e3"/>')
        out.append(f'<text x="{at:.1f}" y="{bottom + 16:.1f}" font-size="11" text-anchor="middle">{x:g}</text>')
    for y in marks(float(low[1]), max(float(high[1]), float(low[1]) + 1.0)):
        at = (high[1] - y) * scale + TOP
        out.append(f'<path d="M{LEFT} {at:.1f}H{right:.1f}" stroke="#dfe4e3"/>')
        out.append(f'<text x="{LEFT - 5}" y="{at + 4:.1f}" font-size="11" text-anchor="end">{y:g}</text>')
    return out
