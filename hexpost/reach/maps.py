"""A page of maps: for each figure some horizontal layers, drawn as coloured squares with axes; one file, no scripts."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import tau

import numpy as np

from hexpost.arrays import Array, distinct
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.model import Machine
from hexpost.pages.html import document, parts, safe
from hexpost.reach.places import Places
from hexpost.reach.ruler import marks
from hexpost.units import DEG_PER_RAD, SECONDS_PER_MINUTE
from hexpost.voice import number

MOST_LAYERS = 6
SIDE, LEFT, TOP, BELOW = 216, 52, 24, 22
"""Width of one map, and of its margins for coordinates and title, px."""
SAME = 1e-9
"""Values that differ by no more than this share are shown as one."""
_RAMP = 5
_LIGHT, _DARK = 92, 27


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class JobRoom:
    """The box (3,), (3,) in the base frame, mm, that the gauge point of a job stays in; ``name`` is its program's."""

    name: str
    low: Array
    high: Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MapFrame:
    """What all maps share: two corners (2,) in mm, px for a mm, step of the grid in mm, the pallet (4, 2) in mm.

    ``heights`` (k,) of the layers; ``room``: what is drawn of a job.
    """

    low: Array
    high: Array
    scale: float
    step: float
    pallet: Array
    heights: Array
    room: JobRoom | None

    def at(self, x: float, y: float) -> tuple[float, float]:
        """Return where a place is drawn, px."""
        return LEFT + (x - self.low[0]) * self.scale, TOP + (self.high[1] - y) * self.scale


def page(machine: Machine, found: Places, step: float, room: JobRoom | None = None) -> str:
    """Return the page, with the ``room`` of a job in it."""
    figures = (
        ("Tilt in every direction, deg", found.tilt * DEG_PER_RAD),
        ("Feed in the worst direction, mm/min", found.feed * SECONDS_PER_MINUTE),
        ("Tilt feed in the worst direction, deg/min", found.tilt_speed * DEG_PER_RAD * SECONDS_PER_MINUTE),
        ("Acceleration in the worst direction, mm/s2", found.acceleration),
        ("Stiffness of the gauge point in its softest direction, N/um", found.stiffness * 1e-3),
        ("Lowest natural frequency on the struts, Hz", found.frequency[0] / tau),
        ("Uncertainty of the gauge point by [calibration], 95 % radius, um", found.band * 1e3),
        ("Conditioning, 1 at best", found.conditioning),
    )
    heights = distinct(found.position[2, found.reachable])
    chosen = (
        heights[distinct(np.linspace(0, len(heights) - 1, MOST_LAYERS).round().astype(int))]
        if len(heights)
        else heights
    )
    frame = _frame(machine, found, step, chosen, room)
    shown = [(f"f{k}", title, values) for k, (title, values) in enumerate(figures) if np.isfinite(values).any()]
    body = [_head(machine, found, step, [(key, title.partition(",")[0]) for key, title, _ in shown], room)]
    for key, title, values in shown:
        known = values[np.isfinite(values)]
        low, high = float(known.min()), float(known.max())
        if high - low <= SAME * abs(high):  # what rounding makes of one value is no map
            low = high
        maps = "".join(_map(found, values, float(z), (low, high), frame) for z in chosen)
        body.append(
            f'<section aria-labelledby="{key}"><h2 id="{key}">{safe(title)}: {_ends(low, high)}</h2>'
            f'{_ramp(low, high)}<div class="maps">{maps}</div></section>'
        )
    return document("Reach", "".join(body) + "</main>", styles=("maps.css",))


def _head(
    machine: Machine, found: Places, step: float, figures: Sequence[tuple[str, str]], room: JobRoom | None
) -> str:
    """Return the head of the page with the way to the ``figures``: key and name of each; and how to read it."""
    return (
        f"<header><div><h1>Reach of {safe(machine.name)}, revision {safe(machine.revision)}</h1>"
        f"<p>{int(found.reachable.sum()):,} places of the spindle gauge point are in reach, on a grid of {step:g} mm."
        f"</p>{parts(figures)}</div></header><main>"
        "<p>Places are in the base frame, x to the right, y up, mm; the tool axis is as at the reference pose. "
        "Dashed: the outline of the pallet, seen from above. Reach is that of strokes and joints; "
        "other things in the machine are not looked at. Point at a square for its numbers, or read them in reach.csv."
        f"</p>{'' if room is None else _told(room)}"
    )


def _told(room: JobRoom) -> str:
    """Return where the gauge point of a job goes, in words."""
    ends = zip("xyz", room.low, room.high, strict=True)
    spans = ", ".join(f"{axis} {_rounded(float(a))} to {_rounded(float(b))}" for axis, a, b in ends)
    drawn = "Violet: its box, in the layers that are nearest to it."
    return f'<p class="job"><b>{safe(room.name)}</b> keeps the gauge point within {spans} mm. {drawn}</p>'


def _frame(machine: Machine, found: Places, step: float, heights: Array, room: JobRoom | None) -> MapFrame:
    """Return the frame of all maps: it holds the grid and the pallet."""
    pose = pose_matrix(machine.pallet.pose, machine.tilt_order)
    x, y = (s / 2.0 for s in machine.pallet.size)
    pallet = np.array([[-x, -y, 0.0], [x, -y, 0.0], [x, y, 0.0], [-x, y, 0.0]]) @ pose[:3, :3].T + pose[:3, 3]
    low = np.minimum(found.position[:2].min(axis=1) - step, pallet[:, :2].min(axis=0))
    high = np.maximum(found.position[:2].max(axis=1) + step, pallet[:, :2].max(axis=0))
    if room is not None:
        low, high = np.minimum(low, room.low[:2]), np.maximum(high, room.high[:2])
    scale = SIDE / float(high[0] - low[0])
    return MapFrame(low=low, high=high, scale=scale, step=step, pallet=pallet[:, :2], heights=heights, room=room)


def _rounded(x: float) -> str:
    return number(float(f"{x:.4g}"))


def _ends(low: float, high: float) -> str:
    """Return what the lightest and the darkest colour mean."""
    return f"{_rounded(high)} everywhere" if low == high else f"{_rounded(low)} (light) to {_rounded(high)} (dark)"


def _ramp(low: float, high: float) -> str:
    """Return the colours with their numbers; nothing where there is one value."""
    if low == high:
        return ""
    items = []
    for share in np.linspace(0.0, 1.0, _RAMP).tolist():
        swatch = f'<i style="background:{_colour(share)}"></i>'
        items.append(f"<li>{swatch}{_rounded(low + share * (high - low))}</li>")
    return f'<ul class="ramp" aria-label="Colours">{"".join(items)}</ul>'


def _colour(share: float) -> str:
    return f"hsl(205,60%,{_LIGHT - (_LIGHT - _DARK) * max(share, 0.0):.0f}%)"


def _axes(frame: MapFrame) -> str:
    """Return coordinates along the left and the lower edge."""
    bottom = frame.at(0.0, float(frame.low[1]))[1]
    out = []
    for x in marks(float(frame.low[0]), float(frame.high[0])):
        at = frame.at(x, 0.0)[0]
        out.append(f'<path d="M{at:.1f} {TOP}V{bottom:.1f}"/><text x="{at:.1f}" y="{bottom + 14:.1f}">{x:g}</text>')
    for y in marks(float(frame.low[1]), float(frame.high[1])):
        at = frame.at(0.0, y)[1]
        line = f'<path d="M{LEFT} {at:.1f}H{LEFT + SIDE}"/>'
        out.append(f'{line}<text class="y" x="{LEFT - 5}" y="{at + 4:.1f}">{y:g}</text>')
    return f'<g class="axes">{"".join(out)}</g>'


def _map(found: Places, values: Array, z: float, ends: tuple[float, float], frame: MapFrame) -> str:
    """Return one layer as SVG."""
    here = (found.position[2] == z) & np.isfinite(values)
    spread = (ends[1] - ends[0]) or 1.0
    side = frame.step * frame.scale
    squares = []
    for x, y, v in zip(*found.position[:2, here], values[here], strict=True):
        left, top = frame.at(x - frame.step / 2, y + frame.step / 2)
        squares.append(
            f'<rect x="{left:.1f}" y="{top:.1f}" width="{side:.1f}" height="{side:.1f}" '
            f'fill="{_colour((v - ends[0]) / spread)}">'
            f"<title>x {x:g}, y {y:g}, z {z:g} mm: {_rounded(v)}</title></rect>"
        )
    corners = " ".join("{:.1f},{:.1f}".format(*frame.at(*p)) for p in frame.pallet.tolist())
    pallet = "".join(f'<polygon class="{kind}" points="{corners}"/>' for kind in ("halo", "pallet"))
    tall = TOP + float(frame.high[1] - frame.low[1]) * frame.scale + BELOW
    wide = LEFT + SIDE + 12
    return (
        f'<svg role="img" aria-label="z {z:g} mm" width="{wide}" height="{tall:.0f}"><text class="z" x="{LEFT}" y="15">'
        f"z {z:g} mm</text>{_axes(frame)}{''.join(squares)}{pallet}"
        f"{_box(frame, z)}</svg>"
    )


def _box(frame: MapFrame, z: float) -> str:
    """Return the box of the job where a layer shows it."""
    room = frame.room
    between = np.concatenate([[-np.inf], (frame.heights[1:] + frame.heights[:-1]) / 2.0, [np.inf]])
    k = int(np.searchsorted(frame.heights, z))
    if room is None or room.high[2] < between[k] or room.low[2] > between[k + 1]:
        return ""
    (left, top), (right, bottom) = frame.at(*room.low[:2]), frame.at(*room.high[:2])
    size = f'width="{max(right - left, 1.0):.1f}" height="{max(top - bottom, 1.0):.1f}"'
    return "".join(f'<rect class="{kind}" x="{left:.1f}" y="{bottom:.1f}" {size}/>' for kind in ("halo", "job"))
