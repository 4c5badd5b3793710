"""How far struts give way under what they carry, before and after commands make up for it: text, page, machines."""

from html import escape

from hexpost.audit.model import Sag, WorstSpot
from hexpost.documents import measured, seconds
from hexpost.voice import amount, clean, in_line, paragraph, plural

TITLE = "How far struts give way (by [compensation])"
NOTHING = 1e-6
"""Less than this, mm, is no more than rounding."""
_LEFT_OUT = (
    "Gravity, acceleration and the cutting force of the files count, and struts are springs along themselves: guides, "
    "frame and tool that bend are left out."
)


def sag_document(found: Sag) -> dict[str, object]:
    """Return the sag as plain values."""
    return {
        "compensated": found.compensated,
        "before": {**_spot(found.worst), "mean_mm": measured(found.mean)},
        "after": {**_spot(found.left), "mean_mm": measured(found.left_mean)},
        "worst_blocks": [_spot(x) for x in found.blocks],
    }


def _spot(spot: WorstSpot) -> dict[str, object]:
    return {"line": spot.line or None, "time_s": seconds(spot.time), "worst_mm": measured(spot.value)}


def sentences(found: Sag) -> list[str]:
    """Return what struts that give way do to the tip."""

    def told(spot: WorstSpot, mean: float) -> str:
        return f"at most {amount(spot.value, 'mm')}, {in_line(spot.line)}, and {amount(mean, 'mm')} in the mean"

    if found.worst.value == 0.0:
        return ["No feed move is off: the program has none, or nothing bends."]
    out = [f"In feed moves lengths alone would take the tip off by {told(found.worst, found.mean)} (root mean square)."]
    left = found.compensated and found.left.value <= NOTHING
    if left:
        out.append("The commands of this table make up for all of that.")
    elif found.compensated:
        out.append(f"With the commands of this table it is off by {told(found.left, found.left_mean)}.")
    else:
        out.append("Commands do not make up for it: [compensation] sag = true lets them.")
    if len(found.blocks) > 1 and not left:
        blocks = ", ".join(f"{amount(x.value, 'mm')} in line {x.line}" for x in found.blocks)
        out.append(f"The worst {plural(len(found.blocks), 'block')}{' with them' * found.compensated}: {blocks}.")
    return [*out, _LEFT_OUT]


def sag_text(found: Sag, width: int) -> list[str]:
    """Return the sag as lines."""
    lines = [line for item in sentences(found) for line in paragraph(clean(item), width, "    ", "  - ")]
    return ["", TITLE, "", *lines]


def sag_page(found: Sag | None) -> str:
    """Return the sag for the page; nothing for none."""
    return "" if found is None else "".join(f"<p>{escape(clean(item))}</p>" for item in sentences(found))
