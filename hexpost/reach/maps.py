"""A page of maps: for each figure some horizontal layers, drawn as coloured squares; one file, no scripts."""

from html import escape

import numpy as np

from hexpost.arrays import Array
from hexpost.machine.model import Machine
from hexpost.reach.places import Places
from hexpost.units import DEG_PER_RAD, SECONDS_PER_MINUTE
from hexpost.voice import number

MOST_LAYERS = 6
SIDE = 180
"""Width of one map, px."""
SAME = 1e-9
"""Values that differ by no more than this share are shown as one."""
VIEWPORT = '<meta name="viewport" content="width=device-width,initial-scale=1">'


def page(machine: Machine, found: Places, step: float) -> str:
    """Return the page."""
    figures = (
        ("Tilt in every direction, deg", found.tilt * DEG_PER_RAD),
        ("Feed in the worst direction, mm/min", found.feed * SECONDS_PER_MINUTE),
        ("Tilt feed in the worst direction, deg/min", found.tilt_speed * DEG_PER_RAD * SECONDS_PER_MINUTE),
        ("Acceleration in the worst direction, mm/s2", found.acceleration),
        ("Stiffness of the gauge point in its softest direction, N/um", found.stiffness * 1e-3),
        ("Conditioning, 1 at best", found.conditioning),
    )
    heights = np.unique(found.position[2, found.reachable])
    chosen = (
        heights[np.unique(np.linspace(0, len(heights) - 1, MOST_LAYERS).round().astype(int))]
        if len(heights)
        else heights
    )
    body = [f"<h1>Reach of {escape(machine.name)}, revision {escape(machine.revision)}</h1>"]
    body.append(
        "<p>Places of the spindle gauge point in the base frame, tool axis as at the reference pose. x right, y up. "
        f"Grid {step:g} mm; {int(found.reachable.sum()):,} places are in reach. Reach is that of strokes and joints; "
        "other things in the machine are not looked at.</p>"
    )
    for title, values in figures:
        known = values[np.isfinite(values)]
        if len(known):
            low, high = float(known.min()), float(known.max())
            if high - low <= SAME * abs(high):  # what rounding makes of one value is no map
                low = high
            maps = "".join(_map(found, values, float(z), (low, high), step) for z in chosen)
            body.append(f"<h2>{escape(title)}: {_ends(low, high)}</h2><div>{maps}</div>")
    style = "body{font-family:sans-serif;margin:2em;max-width:75em}svg{margin:4px;border:1px solid #ccc}"
    head = f'<!doctype html><html lang="en"><meta charset="utf-8">{VIEWPORT}<title>Reach</title><style>{style}</style>'
    return f"{head}{''.join(body)}</html>\n"


def _ends(low: float, high: float) -> str:
    """Return what the lightest and the darkest colour mean."""
    least, most = (number(float(f"{x:.4g}")) for x in (low, high))
    return f"{most} everywhere" if low == high else f"{least} (light) to {most} (dark)"


def _map(found: Places, values: Array, z: float, ends: tuple[float, float], step: float) -> str:
    """Return one layer as SVG."""
    here = (found.position[2] == z) & np.isfinite(values)
    x0, x1 = found.position[0].min() - step, found.position[0].max() + step
    y1 = found.position[1].max() + step
    scale = SIDE / (x1 - x0)
    spread = (ends[1] - ends[0]) or 1.0
    squares = []
    for x, y, v in zip(*found.position[:2, here], values[here], strict=True):
        light = 92 - 65 * max((v - ends[0]) / spread, 0.0)
        corner = f'x="{(x - step / 2 - x0) * scale:.1f}" y="{(y1 - y - step / 2) * scale:.1f}"'
        squares.append(
            f'<rect {corner} width="{step * scale:.1f}" height="{step * scale:.1f}" fill="hsl(205,60%,{light:.0f}%)">'
            f"<title>x {x:g}, y {y:g}, z {z:g} mm: {number(float(f'{v:.4g}'))}</title></rect>"
        )
    label = f'<text x="4" y="14" font-size="12">z {z:g} mm</text>'
    size = f'role="img" aria-label="z {z:g} mm" width="{SIDE}" height="{SIDE + 20}"'
    return f'<svg {size}>{label}<g transform="translate(0,20)">{"".join(squares)}</g></svg>'
