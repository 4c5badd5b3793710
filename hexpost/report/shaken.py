"""How the platform vibrates on its struts in a job, as text, for the page and for machines."""

from html import escape

from hexpost.audit.model import Calmed, Shaken, WorstSpot
from hexpost.documents import measured, seconds
from hexpost.voice import amount, clean, in_line, paragraph, plural

TITLE = "How the platform vibrates (by stiffness_n_um, with damping_ratio {damping:g})"
_LEFT_OUT = (
    "Struts are springs and the platform is rigid: base, joints, spindle and tool are left out. "
    "After a rest the tip is watched for one period of the lowest mode."
)


def shaken_document(found: Shaken) -> dict[str, object]:
    """Return it as plain values."""
    out: dict[str, object] = {
        "frequencies_hz": [measured(x) for x in found.frequencies],
        "lowest": {**_where(found.lowest), "lowest_hz": measured(found.lowest.value)},
        "damping_ratio": found.damping,
        "swing": _swing(found.swing),
        "worst_rests": [_swing(x) for x in found.rests],
    }
    if found.calmed is not None:
        (time, longer), (before, after) = found.calmed.time, found.calmed.swing
        out["calmed"] = {
            "time_before_s": seconds(time), "time_after_s": seconds(longer),
            "swing_before_mm": measured(before), "swing_after_mm": measured(after),
        }  # fmt: skip
    return out


def _swing(spot: WorstSpot) -> dict[str, object]:
    return {**_where(spot), "swing_mm": measured(spot.value)}


def _where(spot: WorstSpot) -> dict[str, object]:
    return {"line": spot.line or None, "time_s": seconds(spot.time)}


def sentences(found: Shaken) -> list[str]:
    """Return what vibrates, how far, and what longer averages gained."""
    first, *others = (f"{x:.1f}" for x in found.frequencies)
    lowest = f"The lowest natural frequency is {first} Hz, {in_line(found.lowest.line)}"
    out = [
        f"{lowest}; the next five come down to {', '.join(others)} Hz.",
        f"Once it rests, the tip swings by at most {_micro(found.swing.value)}, {in_line(found.swing.line)}.",
    ]
    if len(found.rests) > 1:
        blocks = ", ".join(f"{_micro(x.value)} in line {x.line}" for x in found.rests)
        out.append(f"The worst {plural(len(found.rests), 'block')}: {blocks}.")
    if found.calmed is not None:
        out.append(calmed_sentence(found.calmed))
    return [*out, _LEFT_OUT]


def calmed_sentence(found: Calmed) -> str:
    """Return what ``--calm-lowest`` costs and gains."""
    (time, longer), (before, after) = found.time, found.swing
    gain = f"The worst swing is {_micro(after)} instead of {_micro(before)}"
    return f"--calm-lowest: {gain}; the job takes {longer:.3f} s instead of {time:.3f} s."


def _micro(swing: float) -> str:
    return amount(1e3 * swing, "um")


def shaken_text(found: Shaken, width: int) -> list[str]:
    """Return it as lines."""
    lines = [line for item in sentences(found) for line in paragraph(clean(item), width, "    ", "  - ")]
    return ["", TITLE.format(damping=found.damping), "", *lines]


def shaken_page(found: Shaken | None) -> str:
    """Return it for the page; nothing for none."""
    return "" if found is None else "".join(f"<p>{escape(clean(item))}</p>" for item in sentences(found))
