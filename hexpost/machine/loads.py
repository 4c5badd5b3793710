"""The tables about forces and room: forces, spindle, keep-out boxes, health of the pose; all optional."""

import numpy as np

from hexpost.arrays import frozen
from hexpost.machine.model import Box, Forces, Health, Spindle
from hexpost.machine.table import Table

STANDARD_GRAVITY = np.array([0.0, 0.0, -9.80665])
"""m/s2, down the z axis of the base frame (standard acceleration of free fall, CGPM 1901)."""

MOST_NEWTON = 1e7
MOST_BOXES = 100


def forces(t: Table) -> Forces:
    """Return what acts on the platform."""
    zero = np.zeros(3)
    out = Forces(
        gravity=frozen(t.numbers("gravity_m_s2", "x y z", STANDARD_GRAVITY, farthest=100.0) * 1e3),
        force=t.numbers("force_n", "x y z", zero, farthest=MOST_NEWTON),
        moment=frozen(t.numbers("moment_nm", "x y z", zero, farthest=MOST_NEWTON) * 1e3),
        window=t.positive("window_s", default=10.0, most=600.0),
    )
    t.close()
    return out


def spindle(t: Table) -> Spindle:
    """Return the capsule about the spindle; it ends at the origin of the platform frame by default."""
    out = Spindle(top=t.numbers("top_mm", "x y z", np.zeros(3)), radius=t.positive("radius_mm", most=1e4))
    t.close()
    return out


def keep_out(root: Table) -> tuple[Box, ...]:
    """Return the boxes."""
    out: list[Box] = []
    for t in root.tables("keep_out") if root.has("keep_out") else ():
        low, high = t.numbers("low_mm", "x y z"), t.numbers("high_mm", "x y z")
        if (low >= high).any():
            t.fault("high_mm", "must be above low_mm in x, y and z", "bad-value")
        box = Box(name=t.text("name"), low=low, high=high)
        if box.name and any(box.name == other.name for other in out):
            t.fault("name", f"is {box.name} again; give each box a name of its own", "repeated")
        out.append(box)
        t.close()
    if len(out) > MOST_BOXES:
        root.fault("keep_out", f"has {len(out)} boxes; it must have at most {MOST_BOXES}", "bad-value")
    return tuple(out)


def health(t: Table) -> Health:
    """Return what a pose must keep."""
    out = Health(
        length=t.positive("characteristic_length_mm") if t.has("characteristic_length_mm") else None,
        conditioning=t.positive("conditioning", most=1.0) if t.has("conditioning") else None,
        clearance=t.positive("clearance_mm", most=1e4) if t.has("clearance_mm") else None,
    )
    t.close()
    return out


def tool_force(t: Table) -> tuple[float, float, float, float]:
    """Return the force coefficients of a tool: against the feed, for a mm of feed per tooth; axial likewise."""
    most = MOST_NEWTON
    return (
        t.number("feed_force_n", 0.0, least=0.0, most=most),
        t.number("feed_force_n_mm", 0.0, least=0.0, most=most),
        t.number("axial_force_n", 0.0, most=most),
        t.number("axial_force_n_mm", 0.0, most=most),
    )
