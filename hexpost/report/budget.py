"""The error budget of a job: what takes the tip off its path, how much of it, and what would help most."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import sqrt

from hexpost.audit.model import TipBand, WorstSpot
from hexpost.documents import measured
from hexpost.report.model import Report
from hexpost.report.spoken import Spoken, millimetres, spot_document, worst_blocks
from hexpost.voice import in_line

TITLE = "Error budget: how far the tip is off in feed moves"
HELPS = {
    "geometry": "measure more poses, or better, and calibrate again",
    "sag": "[compensation] sag = true, with inertia and cutting",
    "thermal": "measure how warm the struts are, or cool them",
    "servo": "tune the position loops, or lower F where the path bends",
}
"""What makes a cause smaller."""
KEYS = {
    "geometry": "[calibration], as calibrate writes it",
    "sag": "[compensation] sag",
    "thermal": "[strut.thermal] temperature_uncertainty_k",
    "servo": "[strut.servo] position_gain_1_s",
}
"""What the machine file must hold, or a cause is not known."""
_MEANING = (
    "Geometry and thermal are the radius that 95 % of machines stay within; sag and servo are the worst forecast. "
    "Together is the root of the sum of squares of the worst, wherever each is."
)
_ABSENT = "spindle, tool, frame, vibration and the measuring instrument's own bias are left out"


@dataclass(frozen=True, slots=True, kw_only=True)
class BudgetRow:
    """One cause: the worst it does and where, mm; all others together without it, mm."""

    cause: str
    worst: WorstSpot
    others: float


@dataclass(frozen=True, slots=True, kw_only=True)
class Budget:
    """The rows that are known, the largest first, all together in mm, and the causes that are not known."""

    rows: tuple[BudgetRow, ...]
    together: float
    lacking: tuple[str, ...]


def budget(report: Report) -> Budget | None:
    """Return the budget of a job; ``None`` where no cause is known."""
    does, known = report.behaviour, dict[str, WorstSpot]()
    bands = does.bands
    if bands is not None and bands.geometry is not None:
        known["geometry"] = bands.geometry.worst
    if does.sag is not None:
        known["sag"] = does.sag.left
    if bands is not None and bands.thermal is not None:
        known["thermal"] = bands.thermal.worst
    if does.forecast is not None:
        known["servo"] = does.forecast.across
    if not known:
        return None
    return _made(known)


def _made(known: Mapping[str, WorstSpot]) -> Budget:
    """Return the budget of known causes."""
    square = sum(x.value**2 for x in known.values())
    rows = [
        BudgetRow(cause=cause, worst=worst, others=sqrt(max(square - worst.value**2, 0.0)))
        for cause, worst in sorted(known.items(), key=lambda x: -x[1].value)
    ]
    lacking = tuple(cause for cause in KEYS if cause not in known)
    return Budget(rows=tuple(rows), together=sqrt(square), lacking=lacking)


def budget_document(report: Report) -> dict[str, object]:
    """Return budget and bands as plain values, by key of the report; nothing where nothing is known."""
    found, bands = budget(report), report.behaviour.bands
    if found is None:
        return {}
    out: dict[str, object] = {
        "error_budget": {
            "causes": [
                {"cause": x.cause, **spot_document(x.worst), "others_mm": measured(x.others)} for x in found.rows
            ],
            "together_mm": measured(found.together),
            "not_known": list(found.lacking),
        }
    }
    if bands is not None:
        sides = {"geometry": bands.geometry, "thermal": bands.thermal}
        out["uncertainty"] = {name: _band(side) for name, side in sides.items() if side is not None}
    return out


def _band(band: TipBand) -> dict[str, object]:
    return {
        "widest": spot_document(band.worst), "mean_mm": measured(band.mean),
        "worst_blocks": [spot_document(x) for x in band.blocks],
    }  # fmt: skip


def _spoken(found: Budget, report: Report) -> Spoken:
    """Return what limits accuracy, what would help most, and where the bands are widest."""
    first = found.rows[0]
    size = f"{millimetres(first.worst.value)} of {millimetres(found.together)}, {in_line(first.worst.line)}"
    out = [f"What limits accuracy here is {first.cause}: {size}."]
    if first.worst.value > 0.0:
        left = f"without it {millimetres(first.others)} would be left"
        out.append(f"This would help most: {HELPS[first.cause]}; {left}.")
    bands = report.behaviour.bands
    for name, band in (("geometry", bands and bands.geometry), ("thermal", bands and bands.thermal)):
        if band:
            out += worst_blocks(band.blocks, first=f"95 % bands by {name}, the widest")
    out += [f"Not known: {cause}. It needs {KEYS[cause]}." for cause in found.lacking]
    return Spoken(TITLE, [*out, f"{_MEANING} Friction, {_ABSENT}."])


def _cells(found: Budget) -> list[Sequence[str]]:
    """Return the table: cause, worst, line, the others together."""
    rows: list[Sequence[str]] = [
        (x.cause, f"{x.worst.value:.4f}", str(x.worst.line or "-"), f"{x.others:.4f}") for x in found.rows
    ]
    return [*rows, ("together", f"{found.together:.4f}", "", "")]


_HEADS = ("cause", "worst mm", "line", "without it mm")


def budget_text(report: Report, width: int) -> list[str]:
    """Return the budget as lines; none where nothing is known."""
    found = budget(report)
    if found is None:
        return []
    lines = [f"  {a:10s} {b:>10s} {c:>8s} {d:>14s}".rstrip() for a, b, c, d in (_HEADS, *_cells(found))]
    return ["", TITLE, "", *lines, "", *_spoken(found, report).items(width)]


def budget_page(report: Report) -> str:
    """Return the budget for the page; nothing where nothing is known."""
    found = budget(report)
    if found is None:
        return ""
    head = "".join(f"<th scope=col>{x}</th>" for x in _HEADS)
    body = "".join(
        f"<tr><th scope=row>{a}</th>{''.join(f'<td>{x}</td>' for x in rest)}</tr>" for a, *rest in _cells(found)
    )
    return f"<table><thead><tr>{head}</tr></thead><tbody>{body}</tbody></table>{_spoken(found, report).page()}"
