"""The tables of a machine file, one function each: a new table is added here and in ``load.machine_from``."""

from collections.abc import Sequence

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.uncertainty import ELASTIC, NUMBERS
from hexpost.machine import struts
from hexpost.machine.model import Machine, Pallet, Platform, ShopTimes, Strut, ToolTip
from hexpost.machine.table import MOST, Table
from hexpost.machine.wording import OF_WORDS
from hexpost.units import SECONDS_PER_MINUTE

LETTERS = "ABC"
MOST_TOLERANCE_MM, MOST_TOLERANCE_DEG = 20.0, 20.0
"""No part is made with a wider tolerance: a larger number is another unit (common practice, no source)."""
DAMPING, MOST_DAMPING = 0.02, 0.9
"""Damping ratio of a machine structure (common practice, no source), and the most that still swings."""
MICRO, KILO = 1e-3, 1e3
"""Millimetres in a micrometre, newtons in a kilonewton."""
ROUNDED = 0.01
"""Moments of inertia may be rounded by this share."""
LEAST_PALLET_MM = 10.0

MOST_BESIDE_S = 86_400.0
"""Nothing beside the motion takes more than a day: a larger number is another unit."""


def tilt_order(root: Table) -> str:
    """Return the order of the angles; default ``"ABC"``: fixed axes A, then B, then C."""
    return root.choice("tilt_order", ("ABC", "ACB", "BAC", "BCA", "CAB", "CBA"), "ABC")


def period(root: Table) -> float:
    """Return the control period in s, whole microseconds; default 1 ms."""
    value = root.positive("period_ms", default=1.0, most=1000.0)
    micro = value * 1000.0
    if abs(micro - round(micro) if np.isfinite(micro) else 0.0) > 1e-6 or micro < 0.5:
        root.fault("period_ms", f"is {value:g}; the period must be whole microseconds", "bad-value")
    return round(micro) / 1e6 if np.isfinite(micro) else micro


def pallet(t: Table) -> Pallet:
    """Return the pallet."""
    size = t.numbers("size_mm", "x y")
    if (size < LEAST_PALLET_MM).any():
        what = f"is [{size[0]:g}, {size[1]:g}]; both must be at least {LEAST_PALLET_MM:g}"
        t.fault("size_mm", what, "bad-value")
    out = Pallet(pose=t.pose(), size=(float(size[0]), float(size[1])))
    t.close()
    return out


def platform(t: Table) -> Platform:
    """Return the platform; its inertia is about the centre of mass, in the axes of the platform."""
    inertia = t.matrix("inertia_kg_m2")
    if np.isfinite(inertia).all():
        if not np.allclose(inertia, inertia.T, rtol=1e-9, atol=0.0):
            t.fault(
                "inertia_kg_m2",
                "is not symmetric; write the same number for xy and yx, xz and zx, yz and zy",
                "bad-value",
            )
        elif (moments := np.linalg.eigvalsh(inertia))[0] <= 0.0:
            what = f"has a principal moment of {moments[0]:g}; all three must be above 0"
            t.fault("inertia_kg_m2", what, "bad-value")
        elif moments[2] > (1.0 + ROUNDED) * (moments[0] + moments[1]):
            what = f"has principal moments of {moments[0]:g}, {moments[1]:g} and {moments[2]:g}; no body has one above"
            t.fault("inertia_kg_m2", f"{what} the sum of the others", "bad-value")
    out = Platform(
        gauge_point=t.numbers("gauge_point_mm", "x y z"),
        mass_kg=t.positive("mass_kg"),
        centre_of_mass=t.numbers("centre_of_mass_mm", "x y z"),
        inertia_kg_m2=inertia,
        damping=t.positive("damping_ratio", default=DAMPING, most=MOST_DAMPING),
    )
    t.close()
    return out


def tool_tip(t: Table) -> ToolTip:
    """Return the limits an ordinary controller plans with; ``deviation_mm`` defaults to 0.01."""
    out = ToolTip(
        speed=t.positive("speed_mm_s"),
        acceleration=t.positive("acceleration_mm_s2"),
        jerk=t.positive("jerk_mm_s3", most=MOST * 1e3),
        tilt_speed=t.positive("tilt_speed_deg_s"),
        tilt_acceleration=t.positive("tilt_acceleration_deg_s2"),
        tilt_jerk=t.positive("tilt_jerk_deg_s3", most=MOST * 1e3),
        corner_tolerance=t.positive("corner_tolerance_mm", most=MOST_TOLERANCE_MM),
        corner_tolerance_tilt=t.positive("corner_tolerance_deg", most=MOST_TOLERANCE_DEG),
        deviation=t.positive("deviation_mm", default=0.01, most=MOST_TOLERANCE_MM),
        contour=t.positive("contour_mm", most=MOST_TOLERANCE_MM) if t.has("contour_mm") else None,
        vibration=t.positive("vibration_mm", most=MOST_TOLERANCE_MM) if t.has("vibration_mm") else None,
        deceleration=t.positive("deceleration_mm_s2") if t.has("deceleration_mm_s2") else None,
        tilt_deceleration=t.positive("tilt_deceleration_deg_s2") if t.has("tilt_deceleration_deg_s2") else None,
    )
    t.close()
    return out


def calibration(t: Table) -> Array:
    """Return the covariance (42, 42) of the geometry in mm2, or (48, 48) with the compliances in mm/N.

    The file holds the lower half in um2; for a compliance stands what a strut gives way under 1 kN.
    """
    out = t.triangle("covariance_um2", (NUMBERS, NUMBERS + ELASTIC))
    t.close()
    if np.isfinite(out).all():
        values = np.linalg.eigvalsh(out)
        if values[0] < -ROUNDED * max(values[-1], 0.0):
            what = "is no covariance: a sum of its numbers would vary less than not at all"
            t.fault("covariance_um2", what, "bad-value", "copy [calibration] from the file that calibrate wrote")
    unit = np.array([MICRO] * NUMBERS + [MICRO / KILO] * (len(out) - NUMBERS))
    return np.asarray(out * np.outer(unit, unit))


def times(t: Table) -> ShopTimes:
    """Return what a shop counts beside the motion; no key is needed."""

    def seconds(key: str) -> float | None:
        return t.number(key, least=0.0, most=MOST_BESIDE_S) if t.has(key) else None

    out = ShopTimes(
        tool_change=seconds("tool_change_s"),
        spindle_start=seconds("spindle_start_s"),
        spindle_reverse=seconds("spindle_reverse_s"),
        attended_stop=seconds("attended_stop_s"),
    )
    t.close()
    return out


def strut(t: Table) -> Strut:
    """Return one strut; its sub-tables are optional."""
    stroke = t.numbers("stroke_mm", "shortest longest")
    if np.isfinite(stroke).all() and not 0.0 < stroke[0] < stroke[1]:
        what = f"is [{stroke[0]:g}, {stroke[1]:g}]; the first must be above 0, the second above the first"
        t.fault("stroke_mm", what, "bad-value")
    joint = t.table("joint", optional=True)
    out = Strut(
        base_joint=t.numbers("base_joint_mm", "x y z"),
        platform_joint=t.numbers("platform_joint_mm", "x y z"),
        stroke=(float(stroke[0]), float(stroke[1])),
        speed=t.positive("speed_mm_s"),
        acceleration=t.positive("acceleration_mm_s2"),
        jerk=t.positive("jerk_mm_s3", most=MOST * 1e3),
        base_universal=struts.universal(joint, "base"),
        platform_universal=struts.universal(joint, "platform"),
        screw=t.maybe("screw", struts.screw),
        thermal=t.maybe("thermal", struts.thermal),
        body=struts.body(t.table("body", optional=True)),
        servo=t.maybe("servo", struts.servo),
        deceleration=t.positive("deceleration_mm_s2") if t.has("deceleration_mm_s2") else None,
    )
    joint.close()
    if out.screw is not None and out.screw.supported >= stroke[0]:
        what = f"is {out.screw.supported:g}; it must be below the shortest length of the strut, {stroke[0]:g}"
        t.fault("screw.supported_mm", what, "bad-value")
    root, radius = None if out.screw is None else out.screw.root, out.body.radius
    if root is not None and radius is not None and root > 2.0 * radius:
        what = f"is {root:g}; it must be at most twice body.radius_mm, {radius:g}"
        t.fault("screw.root_diameter_mm", what, "bad-value")
    if out.thermal is not None and (out.thermal.heated or 0.0) > stroke[1]:
        what = f"is {out.thermal.heated:g}; it must be at most the longest length of the strut, {stroke[1]:g}"
        t.fault("thermal.heated_mm", what, "bad-value")
    t.close(OF_WORDS)
    return out


def check_screws(struts_: Sequence[Strut], root: Table) -> None:
    """Note in ``root`` screws that only some struts have, and warm struts without a screw: commands need all six."""
    with_screw = [s.screw is not None for s in struts_]
    for i, s in enumerate(struts_):
        if any(with_screw) and not with_screw[i]:
            what = f"is missing, and strut {with_screw.index(True) + 1} has one; add it to every strut or to none"
            root.fault(f"strut[{i + 1}].screw", what, "missing-key")
        elif s.thermal is not None and not with_screw[i]:
            what = "needs a screw of the same strut; add [strut.screw]: growth shows in the command alone"
            root.fault(f"strut[{i + 1}].thermal", what, "missing-key")


def check_servos(machine: Machine, root: Table) -> None:
    """Note in ``root`` position loops that only some struts have, and a limit of what they do without them."""
    there = [s.servo is not None for s in machine.struts]
    for i, has in enumerate(there):
        if any(there) and not has:
            what = f"is missing, and strut {there.index(True) + 1} has one; add it to every strut or to none"
            root.fault(f"strut[{i + 1}].servo", what, "missing-key")
    if machine.tool_tip.contour is not None and not any(there):
        what = "needs the position loops of the struts; add [strut.servo] position_gain_1_s to each, or leave it out"
        root.fault("tool_tip.contour_mm", what, "missing-key")


def check_against_tip(machine: Machine, root: Table) -> None:
    """Note in ``root`` a first feed above the speed of the tip, and a spindle on the side of the tool."""
    first, most = machine.words.first_feed, machine.tool_tip.speed
    if first is not None and first > most:
        what = f"is {first * SECONDS_PER_MINUTE:g}; tool_tip.speed_mm_s allows {most * SECONDS_PER_MINUTE:g}"
        root.fault("words.first_feed_mm_min", what, "bad-value")
    if machine.spindle is not None and machine.spindle.top[2] < machine.platform.gauge_point[2]:
        top, gauge = machine.spindle.top[2], machine.platform.gauge_point[2]
        what = f"has z {top:g}, below platform.gauge_point_mm with z {gauge:g}: the tool begins there"
        root.fault("spindle.top_mm", what, "bad-value")
