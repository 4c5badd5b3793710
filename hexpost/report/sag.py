"""How far struts give way under what they carry, before and after commands make up for it: text, page, machines."""

from hexpost.audit.model import Sag, WorstSpot
from hexpost.documents import measured
from hexpost.report.spoken import Spoken, millimetres, spot_document, worst_blocks
from hexpost.voice import in_line

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
        "before": {**spot_document(found.worst), "mean_mm": measured(found.mean)},
        "after": {**spot_document(found.left), "mean_mm": measured(found.left_mean)},
        "worst_blocks": [spot_document(x) for x in found.blocks],
    }


def sag_spoken(found: Sag | None) -> Spoken:
    """Return what struts that give way do to the tip, in words; nothing for none."""
    return Spoken(TITLE, [] if found is None else _sentences(found))


def _sentences(found: Sag) -> list[str]:

    def told(spot: WorstSpot, mean: float) -> str:
        return f"at most {millimetres(spot.value)}, {in_line(spot.line)}, and {millimetres(mean)} in the mean"

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
    if not left:
        out += worst_blocks(found.blocks, after=" with them" * found.compensated)
    return [*out, _LEFT_OUT]
