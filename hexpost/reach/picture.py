"""A picture of a machine: base, platform, struts and reach from the front, from the side and from above, as SVG."""

from html import escape

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.model import Machine
from hexpost.reach.places import grid, places

WIDTH, HEIGHT = 380, 420
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
    order = _around(np.array([s.platform_joint for s in machine.struts]))
    views = [
        _view(title, (i, j), (base, platform, reach, np.stack([home[:3, 3], gauge])), order, k)
        for k, (title, i, j) in enumerate(VIEWS)
    ]
    title = escape(f"{machine.name}, revision {machine.revision}: reference pose; shaded: reach of the gauge point")
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {len(VIEWS) * WIDTH} {HEIGHT}" role="img" '
        f'font-family="sans-serif" font-size="13"><title>{title}</title><rect width="100%" height="100%" fill="white"/>'
        f'<text x="10" y="18">{title}</text>{"".join(views)}</svg>\n'
    )


def _around(points: Array) -> Ints:
    """Return the order (m,) in which points (m, 3) of one plate stand about its middle, seen along its z axis."""
    x, y, _ = (points - points.mean(axis=0)).T
    return np.argsort(np.arctan2(y, x), kind="stable")


def _view(
    title: str, plane: tuple[int, int], parts: tuple[Array, Array, Array, Array], order: Ints, column: int
) -> str:
    """Return one view: base joints, platform joints, reached places and the spindle (m, 3) seen in a plane.

    ``order`` (6,): platform joints as they stand about the middle of the platform, so that its edge does not cross.
    """
    every = np.vstack(parts)[:, plane]
    low, high = every.min(axis=0), every.max(axis=0)
    scale = min((WIDTH - 40) / max(high[0] - low[0], 1.0), (HEIGHT - 100) / max(high[1] - low[1], 1.0))
    base, platform, reach, spindle = (
        np.stack([(p[:, plane[0]] - low[0]) * scale + 20, (high[1] - p[:, plane[1]]) * scale + 64], axis=1)
        for p in parts
    )
    out = [f'<g transform="translate({column * WIDTH},0)"><text x="10" y="38" fill="#555">{title}</text>']
    cells = np.unique(reach.round(1), axis=0)
    out += [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="#cfe3f3"/>' for x, y in cells]
    for k, (a, b) in enumerate(zip(base, platform, strict=True), 1):
        out.append(
            f'<line x1="{a[0]:.1f}" y1="{a[1]:.1f}" x2="{b[0]:.1f}" y2="{b[1]:.1f}" stroke="#333" stroke-width="3"/>'
        )
        out.append(f'<circle cx="{a[0]:.1f}" cy="{a[1]:.1f}" r="5" fill="#8a2d2d"/>')
        out.append(f'<text x="{a[0]:.1f}" y="{a[1] - 8:.1f}" text-anchor="middle" {HALO}>{k}</text>')
    corners = " ".join(f"{x:.1f},{y:.1f}" for x, y in platform[order])
    out.append(f'<polygon points="{corners}" fill="#2d5d8a" fill-opacity="0.35" stroke="#2d5d8a"/>')
    (a, b), (c, d) = spindle
    out.append(f'<line x1="{a:.1f}" y1="{b:.1f}" x2="{c:.1f}" y2="{d:.1f}" stroke="#2d8a4a" stroke-width="6"/></g>')
    return "".join(out)
