"""The worst uses and the findings of a report against what its table shows, for the limits of lengths and speeds."""

from collections.abc import Callable, Mapping
from typing import Any

import numpy as np

from hexpost.verify.limits import ACCELERATIONS, BENT, STEP_MM, MotionLimits
from hexpost.verify.model import Check, Faults
from hexpost.verify.told import ROUNDED, ROUNDED_MM, Told, proportional
from hexpost.voice import in_line

NEAR, PICKED = 0.9, 0.05
"""A deviation below so much of its limit is told of a sample that an estimate picked: up to so much of it too small."""

_UNITS = {"stroke": "mm", "speed": "mm/s", "jerk": "mm/s3", "deviation": "mm"} | dict.fromkeys(ACCELERATIONS, "mm/s2")


def check_limits(limits: MotionLimits, told: Told) -> Check:
    """Check that what the report says of every limit of the table is what the table shows, and no block is left out."""
    faults = Faults()
    worst = ("", 0, 0.0)
    for (limit, strut), use in limits.uses.items():
        low, high = limits.allowed(limit, strut)
        share = use.value / high if limit == "deviation" else 2.0 * use.value / (high - low)
        worst = max(worst, (limit, strut, share), key=lambda w: w[2])
        name = f"{limit} of strut {strut}" if strut else limit
        dust = ROUNDED * abs(use.low)
        step = limits.steps[limit] + (min(dust, ROUNDED_MM) if _UNITS[limit] == "mm" else dust)
        half = high if limit == "deviation" else 0.5 * (high - low)
        step += BENT * abs(use.low) * (limit == "deviation")
        room, above = limits.steps[limit] / half + 1e-8, limits.between.get(limit, np.inf) / half
        told.compare(
            (limit, strut), use.broken, faults, key="ratio", room=room, above=above,
            share=BENT * (limit == "deviation"), fits=_within(low, high) if limit == "stroke" else proportional,
        )  # fmt: skip
        said = told.worst.get((limit, strut))
        if said is None:
            if limit != "deviation" or use.value > 0.0:
                faults.add(f"{name}: the report shows no worst use")
            continue
        ends = limits.ends(limit, strut, 2.0 * step)
        if said["unit"] != _UNITS[limit] or not any(abs(said["allowed"] - b) <= 1e-9 * abs(b) for _, b in ends):
            faults.add(
                f"{name}: {said['allowed']} {said['unit']} allowed, the machine file says {ends[0][1]} {_UNITS[limit]}"
            )
        if limit == "deviation" and said["value"] < ends[0][0] < NEAR * high:
            step = max(step, PICKED * high)
        near = any(abs(value - said["value"]) <= step for value, _ in ends)
        if not (near and abs(said["ratio"] - share) <= 2.0 * step / (high - max(low, 0.0)) + ROUNDED * share):
            what = f"the worst is {ends[0][0]:.6f} in row {use.row}, {in_line(use.line)}"
            faults.add(f"{name}: {what}; the report says {said['value']}, {said['ratio']} of what is allowed")
        place = limits.places.get((limit, strut))
        said_there = "" if place is None else place.fault(use.value, 2.0 * step + limits.between.get(limit, np.inf))
        if said_there:
            faults.add(f"{name}: {said_there}")
    for k, (short, long) in told.lengths.items():
        found = limits.shortest[k - 1], limits.longest[k - 1]
        if not max(abs(short - found[0]), abs(long - found[1])) <= ROUNDED_MM + STEP_MM:
            faults.add(f"strut {k}: {found[0]:.6f} to {found[1]:.6f} mm long, the report says {short} to {long}")
    limit, strut, share = worst
    text = f"found again from the table; worst use {share:.1%}, {limit}" + (f" of strut {strut}" if strut else "")
    return Check(name="limits", text=text, faults=faults.told())


def _within(low: float, high: float) -> Callable[[Mapping[str, Any]], bool]:
    """Return what says whether a finding's length is that share of the way from the middle of a band to its end."""
    centre, half = (low + high) / 2.0, (high - low) / 2.0

    def fits(finding: Mapping[str, Any]) -> bool:
        ratio = abs(float(finding["peak"]) - centre) / half
        return abs(ratio - float(finding["ratio"])) <= ROUNDED * ratio + ROUNDED_MM / half

    return fits
