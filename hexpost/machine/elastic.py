"""What struts give way by: the table [compensation], stiffness of bodies, joints and screws, the pose without sag."""

from math import pi

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.elastic import Springs
from hexpost.kinematics.frames import pose_matrix
from hexpost.kinematics.struts import StrutModel, Struts
from hexpost.kinematics.vibration import ElasticPlatform
from hexpost.machine.model import Compensation, Machine, Strut
from hexpost.machine.platform import moving_body, thrusts_of
from hexpost.machine.table import Table

ZERO_AT = ("reference", "machine_zero")
"""Poses in which commands are lengths: that of [reference], or that of [machine_zero], where axes are homed."""


def compensation(t: Table) -> Compensation:
    """Return what commands make up for; without ``sag`` reports tell it alone."""
    out = Compensation(
        sag=t.flag("sag"),
        inertia=t.flag("inertia"),
        cutting=t.flag("cutting"),
        screws=t.flag("screws"),
        zero_at=t.choice("zero_at", ZERO_AT, ZERO_AT[0]),
    )
    if not t.has("sag"):
        t.fault("sag", "is missing; add it: sag = true, or false for a report of the sag alone", "missing-key")
    for key, on in (("inertia", out.inertia), ("cutting", out.cutting)):
        if on and not out.sag:
            t.fault(key, "needs sag = true beside it: it adds to what commands make up for", "bad-value")
    t.close()
    return out


def check_compensation(machine: Machine, root: Table) -> None:
    """Note in ``root`` struts of which nothing says how stiff they are, where the sag is asked for."""
    if machine.compensation is None:
        return
    for i, s in enumerate(machine.struts):
        if machine.compensation.screws and (s.screw is None or s.screw.root is None):
            what = "is missing; [compensation] screws needs it for every strut"
            root.fault(f"strut[{i + 1}].screw.root_diameter_mm", what, "missing-key")
        elif not stiffnesses(s) and not machine.compensation.screws:
            what = "is missing; [compensation] needs it for every strut, or the stiffness of its joints"
            root.fault(f"strut[{i + 1}].body.stiffness_n_um", what, "missing-key")


def springs(machine: Machine) -> Springs | None:
    """Return the struts as springs; ``None`` where nothing says how stiff one of them is."""
    fixed, growing, supported = np.zeros(6), np.zeros(6), np.zeros(6)
    screws = machine.compensation is not None and machine.compensation.screws
    for k, s in enumerate(machine.struts):
        fixed[k] = sum(1.0 / x for x in stiffnesses(s))
        if screws and s.screw is not None and s.screw.root is not None:
            area = pi * (s.screw.root**2 - s.screw.bore**2) / 4.0
            growing[k], supported[k] = 1.0 / (s.screw.elasticity * area), s.screw.supported
    if not (fixed + growing).all():
        return None
    return Springs(fixed=fixed[:, None], growing=growing[:, None], supported=supported[:, None])


def elastic_platform(machine: Machine, struts: Struts, tip: Array, yaw: float = 0.0) -> ElasticPlatform | None:
    """Return the platform on its ``struts`` as springs, seen from ``tip`` (3,); ``None`` as for ``springs``."""
    found = springs(machine)
    if found is None:
        return None
    return ElasticPlatform(struts, moving_body(machine).seen_from(tip, yaw), found, machine.platform.damping)


def check_vibration(machine: Machine, root: Table) -> None:
    """Note in ``root`` a limit of vibration without the springs that vibrate."""
    if machine.tool_tip.vibration is not None and springs(machine) is None:
        what = "needs the stiffness of the struts; add [strut.body] stiffness_n_um to each, or leave it out"
        root.fault("tool_tip.vibration_mm", what, "missing-key")


def unbent(machine: Machine, springs_: Springs) -> Array:
    """Return how much shorter (6, 1) [mm] the struts are by gravity in the pose in which commands are lengths.

    There no tool counts, and nothing moves or cuts.
    """
    return springs_.shorter(*home_thrust(machine))


def home_thrust(machine: Machine) -> tuple[Array, Array]:
    """Return the thrusts of gravity [N] and the lengths [mm] (6, 1) in the pose in which commands are lengths."""
    pose, tip = without_sag(machine)
    frame = pose_matrix(pose, machine.tilt_order)
    struts, at = StrutModel(machine).in_frame(frame, tip), np.zeros((6, 1))
    thrust, _ = thrusts_of(machine, struts, frame, tip).along_axes(at)
    return thrust, struts.lengths(at)


def without_sag(machine: Machine) -> tuple[Array, Array]:
    """Return the pose (6,) in which commands are lengths, and which point (3,) of the platform has it."""
    if machine.compensation is not None and machine.compensation.zero_at == "machine_zero":
        return machine.machine_zero, machine.platform.gauge_point
    return machine.reference, np.zeros(3)


def stiffnesses(s: Strut) -> list[float]:
    """Return the stiffnesses in series that are stated of a strut, N/mm."""
    ends = (s.base_universal, s.platform_universal)
    known = (s.body.stiffness, *(None if u is None else u.stiffness for u in ends))
    return [x for x in known if x is not None]
