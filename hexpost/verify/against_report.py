"""The report of the job against what its table shows."""

from collections.abc import Mapping
from typing import Any

from hexpost.verify.limits import Limits
from hexpost.verify.model import Check, Faults

PROVEN = (
    "stroke", "speed", "acceleration", "jerk", "deviation", "joint-angle", "thrust", "thrust-continuous", "torque",
    "torque-continuous", "power", "buckling", "critical-speed", "singular-pose", "clearance",
)  # fmt: skip
"""Limits that are found again from the table, or from the poses that its lengths give."""

NEAR, PICKED = 0.9, 0.05
"""A deviation below so much of its limit is told of a sample that an estimate picked: up to so much of it too small."""


def check_limits(limits: Limits, report: Mapping[str, Any]) -> Check:
    """Check that what the report says of every limit of the table is what the table shows, and no block is left out."""
    faults = Faults()
    told = {(s["strut"], limit): w for s in _struts(report) for limit, w in s["worst"].items()}
    told |= {(0, limit): w for limit, w in report.get("tool", {}).get("worst", {}).items()}
    worst = ("", 0, 0.0)
    for (limit, strut), use in limits.uses.items():
        low, high = limits.allowed(limit, strut)
        share = use.value / high if limit == "deviation" else 2.0 * use.value / (high - low)
        worst = max(worst, (limit, strut, share), key=lambda w: w[2])
        said = told.get((strut, limit))
        name = f"{limit} of strut {strut}" if strut else limit
        if said is None:
            if limit != "deviation" or use.value > 0.0:
                faults.add(f"{name}: the report shows no worst use")
            continue
        step = limits.steps[limit] + 1e-9 * abs(use.low)
        value = use.low if limit in ("stroke", "deviation") else abs(use.low)
        if limit == "deviation" and said["value"] < value < NEAR * high:
            step = max(step, PICKED * high)
        if abs(value - said["value"]) > step and abs(said["ratio"] - share) > 2.0 * step / (high - max(low, 0.0)):
            faults.add(
                f"{name}: the worst is {value:.6f} in row {use.row}, line {use.line}; the report says {said['value']}"
            )
        find_unsaid((limit, strut), name, use.lines, report, faults)
    if report.get("verdict") == "clean" and report.get("findings_total"):
        faults.add("the report says clean, but lists findings")
    limit, strut, share = worst
    text = f"found again from the table; worst use {share:.1%}, {limit}" + (f" of strut {strut}" if strut else "")
    return Check(name="limits", text=text, faults=faults.told())


def unproven(report: Mapping[str, Any]) -> tuple[str, ...]:
    """Return what the report says of limits that a table cannot show."""
    names = {limit for s in _struts(report) for limit in s["worst"]} | set(report.get("tool", {}).get("worst", {}))
    names |= {f["limit"] for f in report.get("findings", [])}
    rest = sorted(names - set(PROVEN))
    return (f"not found again, for the table alone does not show them: {', '.join(rest)}",) if rest else ()


def _struts(report: Mapping[str, Any]) -> list[Mapping[str, Any]]:
    return list(report.get("struts", []))


def find_unsaid(which: tuple[str, int], name: str, lines: set[int], report: Mapping[str, Any], faults: Faults) -> None:
    """Find lines that break a limit in the table and in no finding."""
    if report.get("findings_total") != report.get("findings_listed"):
        if lines and report.get("verdict") != "broken":
            faults.add(f"{name}: broken in line {min(lines)}, but the report says {report.get('verdict')}")
        return
    told = {f["line"] for f in report["findings"] if (f["limit"], f["strut"] or 0) == which}
    for line in sorted(lines - told):
        faults.add(f"{name}: broken in line {line}, which the report does not say")
