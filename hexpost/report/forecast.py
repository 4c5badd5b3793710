"""What the position loops make of a job, as text, for the page and for machines."""

from math import degrees

from hexpost.audit.model import Forecast, WorstSpot
from hexpost.documents import measured
from hexpost.report.spoken import Spoken, millimetres, spot_document, where, worst_blocks
from hexpost.voice import amount, in_line

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
        **{name: spot_document(spot) for name, spot in sides.items()},
        "turned": {**where(found.turned), "worst_deg": measured(degrees(found.turned.value))},
        "worst_blocks": [spot_document(x) for x in found.blocks],
        "between_rows": {f"{name}_mm": measured(x) for name, x in read.items()},
    }


def forecast_spoken(found: Forecast | None) -> Spoken:
    """Return what is forecast in words, the errors of shape first; nothing for none."""
    return Spoken(TITLE, [] if found is None else _sentences(found))


def _sentences(found: Forecast) -> list[str]:

    def told(spot: WorstSpot) -> str:
        return f"{millimetres(spot.value)}, {in_line(spot.line)}"

    out = [f"Across its path in feed moves the tip is off by at most {told(found.across)}."]
    out += worst_blocks(found.blocks)
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
