"""The numbers of a machine file as a drawing has them: circles and heights of joints, gauge point, pallet, struts."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, distinct
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.model import Machine
from hexpost.units import DEG_PER_RAD

WIDTH, DRAWING = 380, 400
"""Width and height of one drawing, px."""
LEFT, TOP, BELOW = 24, 48, 104
"""Margins of a drawing: its title is above it, dimensions of circles are below it."""
BESIDE = 176
"""Room at the right for heights."""
SAME = 1.0
"""Joints on one circle differ by so much at most in radius and in height, mm."""
MOST_CIRCLES = 3
INK, SOFT, LINE = "#1a232b", "#525e69", "#7a868c"
_GAP, _ROW = 15.0, 24.0
"""Least distance of two heights, distance of two widths below each other, px."""
_COLUMNS = (20, 80, 138, 196, 256, 314, 372)
"""Where the numbers of a table end, px."""


@dataclass(frozen=True, slots=True, kw_only=True)
class JointCircle:
    """A circle about the z axis of its frame: ``joints`` counted from 1, ``diameter`` [mm], give or take ``spread``."""

    joints: tuple[int, ...]
    diameter: float
    spread: float

    @property
    def text(self) -> str:
        """Return the dimension in words."""
        apart = f" ± {self.spread + 0.005:.2f}" if self.spread > 0.005 else ""
        return f"⌀ {_mm(round(self.diameter, 2))}{apart}: {_named(self.joints)}"


def joint_circles(joints: Array) -> list[JointCircle]:
    """Return the circles about the z axis that hold at least three of the joints (6, 3), widest first."""
    place = np.stack([np.hypot(joints[:, 0], joints[:, 1]), joints[:, 2]], axis=1)
    groups: list[list[int]] = []
    for k, here in enumerate(place):
        home = next((g for g in groups if np.abs(place[g[0]] - here).max() <= SAME), None)
        if home is None:
            groups.append([k])
        else:
            home.append(k)
    found = []
    for group in (g for g in groups if len(g) > 2):
        wide = 2.0 * place[group, 0]
        middle, spread = float(wide.max() + wide.min()) / 2.0, float(wide.max() - wide.min()) / 2.0
        found.append(JointCircle(joints=tuple(k + 1 for k in group), diameter=middle, spread=spread))
    return sorted(found, key=lambda c: -c.diameter)


def heights(joints: Array, name: str) -> list[tuple[float, str]]:
    """Return the heights of joints (6, 3) in their frame, mm, and what is there."""
    z = joints[:, 2].round(3)
    at = [(float(h), np.flatnonzero(z == h) + 1) for h in distinct(z)]
    return [(h, f"{name}{'s' * (len(here) > 1)} {_named(here)}") for h, here in at]


def drawings(machine: Machine, lengths: Array, pallet: Array) -> list[str]:
    """Return the drawings with dimensions as SVG; ``lengths`` (6,) of the struts at the reference pose.

    ``pallet`` (4, 3): its corners in the base frame.
    """
    base, plate = (np.array([getattr(s, f"{end}_joint") for s in machine.struts]) for end in ("base", "platform"))
    home = pose_matrix(machine.reference, machine.tilt_order)
    gauge = machine.platform.gauge_point
    levels = [*heights(base, "base joint"), (float(home[2, 3]), "platform at reference"),
              (float((home[:3, :3] @ gauge)[2] + home[2, 3]), "gauge point at reference"),
              (float(machine.pallet.pose[2]), "pallet")]  # fmt: skip
    own = [*heights(plate, "joint"), (float(gauge[2]), "gauge point")]
    size = "pallet " + " x ".join(_mm(x) for x in machine.pallet.size)
    return [
        _group("base joints from above: base frame, mm", _plan(base, (pallet, size))),
        _group("heights in the base frame, mm", _side(levels)),
        _group("length of the struts, joint centre to joint centre, mm", _ranges(machine, lengths)),
        _group("platform joints from above: platform frame, mm", _plan(plate, None)),
        _group("heights in the platform frame, mm", _side(own)),
        _group("numbers of the machine file, mm and deg", _numbers(machine, base, plate)),
    ]


def _named(joints: Iterable[int]) -> str:
    return " ".join(map(str, joints))


def _group(title: str, inner: Iterable[str]) -> str:
    return f'<g class="drawing"><text x="10" y="20" fill="{SOFT}">{title}</text>{"".join(inner)}</g>'


def _text(x: float, y: float, said: str, anchor: str = "middle", size: int = 12) -> str:
    halo = 'paint-order="stroke" stroke="white" stroke-width="4"'
    return f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" text-anchor="{anchor}" fill="{INK}" {halo}>{said}</text>'


def _stroke(path: str, colour: str = LINE, more: str = "") -> str:
    return f'<path d="{path}" fill="none" stroke="{colour}" {more}/>'


def _tip(x: float, y: float, dx: int, dy: int) -> str:
    """Return an arrow head at a place that points along dx, dy."""
    a, b = (x - 9 * dx - 3 * dy, y - 9 * dy - 3 * dx), (x - 9 * dx + 3 * dy, y - 9 * dy + 3 * dx)
    return f'<path d="M{x:.1f} {y:.1f}L{a[0]:.1f} {a[1]:.1f}L{b[0]:.1f} {b[1]:.1f}z" fill="{INK}"/>'


def _across(left: float, right: float, y: float, start: float, said: str) -> str:
    """Return a width from ``left`` to ``right`` at ``y``, with lines down to it from ``start``."""
    lines = _stroke(f"M{left:.1f} {start:.1f}V{y + 5:.1f}M{right:.1f} {start:.1f}V{y + 5:.1f}")
    line = _stroke(f"M{left:.1f} {y:.1f}H{right:.1f}", INK) + _tip(left, y, -1, 0) + _tip(right, y, 1, 0)
    return lines + line + _text((left + right) / 2, y - 5, said)


def _plan(joints: Array, pallet: tuple[Array, str] | None) -> list[str]:
    """Return joints (6, 3) from above, with the circles that they are on, and a pallet (4, 3) with its size."""
    circles = joint_circles(joints)[:MOST_CIRCLES]
    reach = [np.abs(joints[:, :2]).max(), *(c.diameter / 2.0 for c in circles)]
    half = float(max(1.0, *reach, 0.0 if pallet is None else np.abs(pallet[0][:, :2]).max()))
    side = (DRAWING - TOP - BELOW) / 2.0
    scale, x0, y0 = side / half, WIDTH / 2.0, TOP + side
    cross = f"M{x0:.1f} {TOP - 8}V{y0 + side + 8:.1f}M{x0 - side - 8:.1f} {y0:.1f}H{x0 + side + 8:.1f}"
    out = [_stroke(cross, LINE, 'stroke-dasharray="14 3 3 3" stroke-width="0.7"')]
    if pallet is not None:
        corners = " ".join(f"{x0 + scale * x:.1f},{y0 - scale * y:.1f}" for x, y, _ in pallet[0])
        out.append(f'<polygon points="{corners}" fill="none" stroke="#a33400" stroke-dasharray="6 4"/>')
        x, y = pallet[0][:, 0].mean(), pallet[0][:, 1].min()
        out.append(_text(x0 + scale * x, y0 - scale * y + 15, pallet[1]))
    for k, c in enumerate(reversed(circles)):
        r, low = scale * c.diameter / 2.0, y0 + side + 36 + _ROW * k
        out.append(f'<circle cx="{x0:.1f}" cy="{y0:.1f}" r="{r:.1f}" fill="none" stroke="{LINE}"/>')
        out.append(_across(x0 - r, x0 + r, low, y0, c.text))
    for k, (x, y, _) in enumerate(joints, 1):
        far = 1.0 + 15.0 / max(scale * float(np.hypot(x, y)), 1.0)
        out.append(f'<circle cx="{x0 + scale * x:.1f}" cy="{y0 - scale * y:.1f}" r="4" fill="{INK}"/>')
        out.append(_text(x0 + far * scale * x, y0 - far * scale * y + 4, str(k)))
    return out


def _side(levels: Sequence[tuple[float, str]]) -> list[str]:
    """Return heights as running dimensions from 0 of the frame."""
    z = np.array([0.0, *(h for h, _ in levels)])
    bottom, right = DRAWING - 40.0, WIDTH - BESIDE - 22.0
    scale = (bottom - TOP) / max(float(np.ptp(z)), 1.0)
    at = (float(z.max()) - z) * scale + TOP
    order = np.argsort(at, kind="stable")
    said = at[order]
    for k in range(1, len(said)):
        said[k] = max(said[k], said[k - 1] + _GAP)
    words = ["0", *(f"{_mm(h)} {name}" for h, name in levels)]
    out = [_stroke(f"M{right + 12:.1f} {at.min():.1f}V{at.max():.1f}", INK)]
    for k, place in zip(order.tolist(), said.tolist(), strict=True):
        y = float(at[k])
        out.append(_stroke(f"M{LEFT} {y:.1f}H{right + 16:.1f}L{WIDTH - BESIDE + 4:.1f} {place:.1f}", LINE))
        way = -1 if z[k] > 0.0 else 1
        out.append(_tip(right + 12, y, 0, way) if k else f'<circle cx="{right + 12}" cy="{y:.1f}" r="4" fill="{INK}"/>')
        out.append(_text(WIDTH - BESIDE + 8, place + 4, words[k], "start"))
    return out


def _ranges(machine: Machine, lengths: Array) -> list[str]:
    """Return the range of length of each strut as a bar, with its ``length`` (6,) at the reference pose."""
    ends = np.array([s.stroke for s in machine.struts])
    low, high = float(ends.min()), float(ends.max())
    scale = (WIDTH - 150.0) / max(high - low, 1.0)
    out = []
    for k, ((a, b), length) in enumerate(zip(ends.tolist(), lengths.tolist(), strict=True)):
        left, right, here = (86.0 + scale * (v - low) for v in (a, b, length))
        y = TOP + 22.0 + 52.0 * k
        out.append(
            _text(12, y + 4, str(k + 1), "start") + _stroke(f"M{left:.1f} {y - 8:.1f}v16M{right:.1f} {y - 8:.1f}v16")
        )
        out.append(_stroke(f"M{left:.1f} {y:.1f}H{right:.1f}", INK) + _tip(left, y, -1, 0) + _tip(right, y, 1, 0))
        out.append(_text(left - 8, y + 4, _mm(a), "end") + _text(right + 8, y + 4, _mm(b), "start"))
        out.append(_stroke(f"M{here:.1f} {y - 8:.1f}v16", "#0f6e84", 'stroke-width="3"'))
        out.append(_text(here, y - 13, f"{length:.3f}"))
    return [*out, _text(12, DRAWING - 16, "blue: at the reference pose", "start")]


def _numbers(machine: Machine, base: Array, plate: Array) -> list[str]:
    """Return the joints (6, 3) of both ends, and what else has a place."""
    rows = [["", *"xyzxyz"]]
    rows += [[str(k), *map(_mm, (*a, *b))] for k, (a, b) in enumerate(zip(base, plate, strict=True), 1)]
    out = [_text(_COLUMNS[2], TOP - 6, "base frame"), _text(_COLUMNS[5], TOP - 6, "platform frame")]
    for k, cells in enumerate(rows):
        out += [_text(x, TOP + 14 + 20 * k, said, "end", 11) for x, said in zip(_COLUMNS, cells, strict=True)]
    places = (
        ("reference pose", machine.reference),
        ("pallet", machine.pallet.pose),
        ("machine zero", machine.machine_zero),
        ("gauge point, platform frame", machine.platform.gauge_point),
    )
    for k, (name, pose) in enumerate(places):
        angles = np.concatenate([pose[:3], DEG_PER_RAD * pose[3:]])
        said = " ".join(f"{axis}{_mm(v)}" for axis, v in zip("XYZABC", angles, strict=False))
        out.append(_text(12, TOP + 176 + 40 * k, f"{name}:", "start") + _text(12, TOP + 194 + 40 * k, said, "start"))
    return out


def _mm(x: float) -> str:
    """Return a length or an angle with up to three decimals."""
    return f"{round(float(x), 3) + 0.0:.3f}".rstrip("0").rstrip(".")
