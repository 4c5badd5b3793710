"""Limits that nobody can look at, found again from the machine file and the tools file: which, and the missing key."""

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations
from typing import Any

from hexpost.machine.model import Machine, Strut, Tools, Universal
from hexpost.verify.model import Check, Faults, Lack

_SCREWS = {
    "thrust": "thrust", "torque": "torque", "critical-speed": "root", "buckling": "root",
    "thrust-continuous": "thrust_continuous", "torque-continuous": "torque_continuous", "power": "power",
}  # fmt: skip
"""What a limit needs of a screw."""
_KEYS = {
    "thrust": "thrust_n", "torque": "torque_nm", "root": "root_diameter_mm", "thrust_continuous": "thrust_continuous_n",
    "torque_continuous": "torque_continuous_nm", "power": "power_w",
}  # fmt: skip
_UNCUT = ("critical-speed",)
"""Limits of a screw that no cutting force reaches."""


def lacking(machine: Machine, tools: Tools) -> tuple[Lack, ...]:
    """Return what cannot be looked at."""
    found = [*_joints(machine), *_screws(machine, tools), *_bodies(machine)]
    if not tools.given:
        found.append(Lack("tool-length", "", "a tools file (--tools)"))
    return tuple(found)


def check_lacking(found: Sequence[Lack], report: Mapping[str, Any]) -> Check:
    """Check that the report names these and no others."""
    faults, told = Faults(), {(x["limit"], x["part"] or "", x["missing"]) for x in report["not_checked"]}
    for limit, part, missing in sorted(set(found) - told):
        faults.add(f"{limit}{part and f' ({part})'}: {missing} is missing, and the report does not say so")
    for limit, part, missing in sorted(told - set(found)):
        faults.add(f"{limit}{part and f' ({part})'}: the report says that {missing} is missing, and it is not")
    limits = len({x.limit for x in found})
    text = f"limits that nobody can look at: {limits or 'none'}, as the report says"
    return Check(name="not looked at", text=text, faults=faults.told())


def _joints(machine: Machine) -> Iterator[Lack]:
    ends = {
        "base": [s.base_universal for s in machine.struts],
        "platform": [s.platform_universal for s in machine.struts],
    }
    if not any(u and (u.cone is not None or u.outer_range or u.inner_range) for end in ends.values() for u in end):
        yield Lack("joint-angle", "", "[strut.joint] base_cone_deg")
        return
    for name, end in ends.items():
        if part := _struts([not _held(u) for u in end]):
            yield Lack("joint-angle", f"{name} joints of {part}", f"[strut.joint] {name}_cone_deg")


def _held(u: Universal | None) -> bool:
    """Return whether every turn of a joint has a limit."""
    return u is not None and (u.cone is not None or (u.outer_range is not None and u.inner_range is not None))


def _screws(machine: Machine, tools: Tools) -> Iterator[Lack]:
    forces = machine.forces
    cuts = forces is not None and bool(forces.force.any() or forces.moment.any())
    cuts = cuts or any(any(tool.force) for tool in tools.tools.values())
    for limit, what in _SCREWS.items():
        gone = [s.screw is None or getattr(s.screw, what) is None for s in machine.struts]
        key = f"[strut.screw] {_KEYS[what]}"
        if all(gone):
            yield Lack(limit, "", key)
            continue
        if part := _struts(gone):
            yield Lack(limit, part, key)
        if not cuts and limit not in _UNCUT:
            yield Lack(limit, "the cutting force", "[forces] force_n")


def _bodies(machine: Machine) -> Iterator[Lack]:
    solid = [s for s in machine.struts if s.body.radius is not None]
    meet = any(_apart(a, b) for a, b in combinations(solid, 2)) or (machine.spindle is not None and bool(solid))
    if not meet and not (machine.keep_out and (solid or machine.spindle is not None)):
        yield Lack("clearance", "", "[strut.body] radius_mm")
        return
    if part := _struts([s.body.radius is None for s in machine.struts]):
        yield Lack("clearance", part, "[strut.body] radius_mm")
    if machine.spindle is None:
        yield Lack("clearance", "the spindle", "[spindle] radius_mm")


def _apart(a: Strut, b: Strut) -> bool:
    """Return whether two struts do not meet in a joint at either end."""
    room = (a.body.radius or 0.0) + (b.body.radius or 0.0)
    ends = (a.base_joint - b.base_joint, a.platform_joint - b.platform_joint)
    return all(float(gap @ gap) > room**2 for gap in ends)


def _struts(gone: Sequence[bool]) -> str:
    """Return the names of the struts that lack something; nothing for none."""
    left = [str(k) for k, lacks in enumerate(gone, 1) if lacks]
    if len(left) == len(gone):
        return "all struts"
    return f"strut{'s' * (len(left) > 1)} {', '.join(left)}" if left else ""
