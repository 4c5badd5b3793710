"""What the position loops make of a job, as text, for the page and for machines."""

from html import escape
from math import degrees

from hexpost.audit.model import Forecast, WorstSpot
from hexpost.documents import measured, seconds
from hexpost.voice import amount, clean, in_line, paragraph, plural

TITLE = "What the position loops make of it (a forecast by [strut.servo])"
_LATE = "A tip that is late on its path cuts the right shape; one across it does not."
_LEFT_OUT = (
    "A linear model of each strut: friction, sampling of the drive, elasticity and cutting force are left out. "
    "Lines are those where the tip is, not those of the setpoint."
)


def forecast_document(found: Forecast) -> dict[str, object]:
    """Return the forecast as plain values."""
    sides = {"late": found.late, "across": found.across, "across_in_rapids": found.rapid}
    read = {"held": found.held, "straight_lines": found.straight, "cubics": found.cubic}
    return {
        **{name: _spot(spot) for name, spot in sides.items()},
        "turned": {**_where(found.turned), "worst_deg": measured(degrees(found.turned.value))},
        "worst_blocks": [_spot(x) for x in found.blocks],
        "between_rows": {f"{name}_mm": measured(x) for name, x in read.items()},
    }


def _spot(spot: WorstSpot) -> dict[str, object]:
    return {**_where(spot), "worst_mm": measured(spot.value)}


def _where(spot: WorstSpot) -> dict[str, object]:
    return {"line": spot.line or None, "time_s": seconds(spot.time)}


def sentences(found: Forecast) -> list[str]:
    """Return what is forecast, the errors of shape first."""

    def told(spot: WorstSpot) -> str:
        return f"{amount(spot.value, 'mm')}, {in_line(spot.line)}"

    out = [f"Across its path in feed moves the tip is off by at most {told(found.across)}."]
    if len(found.blocks) > 1:
        blocks = ", ".join(f"{amount(x.value, 'mm')} in line {x.line}" for x in found.blocks)
        out.append(f"The worst {plural(len(found.blocks), 'block')}: {blocks}.")
    out.append(f"Along it the tip is late by at most {told(found.late)}. {_LATE}")
    if found.rapid.value > 0.0:
        out.append(f"In rapids it is off by at most {told(found.rapid)}.")
    if found.turned.value > 0.0:
        turned = amount(degrees(found.turned.value), "deg")
        out.append(f"The attitude of the tool is late by at most {turned}, {in_line(found.turned.line)}.")
    read = (("values held", found.held), ("straight lines", found.straight), ("cubics", found.cubic))
    costs = ", ".join(f"{name} {x:.3g} mm" for name, x in read)
    out.append(
        f"Between rows the tip is off by how the controller reads the table: {costs} at most. "
        "Cubics run through lengths and speeds."
    )
    return [*out, _LEFT_OUT]


def forecast_text(found: Forecast, width: int) -> list[str]:
    """Return the forecast as lines."""
    lines = [line for item in sentences(found) for line in paragraph(clean(item), width, "    ", "  - ")]
    return ["", TITLE, "", *lines]


def forecast_page(found: Forecast | None) -> str:
    """Return the forecast for the page; nothing for none."""
    return "" if found is None else "".join(f"<p>{escape(clean(item))}</p>" for item in sentences(found))
