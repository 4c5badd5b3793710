"""How the platform vibrates on its struts in a job, as text, for the page and for machines."""

from hexpost.audit.model import Calmed, Shaken
from hexpost.documents import measured, seconds
from hexpost.report.spoken import Spoken, spot_document, worst_blocks
from hexpost.voice import amount, in_line

TITLE = "How the platform vibrates (by stiffness_n_um, with damping_ratio {damping:g})"
_LEFT_OUT = (
    "Struts are springs and the platform is rigid: base, joints, spindle and tool are left out. "
    "After a rest the tip is watched for one period of the lowest mode."
)


def shaken_document(found: Shaken) -> dict[str, object]:
    """Return it as plain values."""
    out: dict[str, object] = {
        "frequencies_hz": [measured(x) for x in found.frequencies],
        "lowest": spot_document(found.lowest, "lowest_hz"),
        "damping_ratio": found.damping,
        "swing": spot_document(found.swing, "swing_mm"),
        "worst_rests": [spot_document(x, "swing_mm") for x in found.rests],
    }
    if found.calmed is not None:
        (time, longer), (before, after) = found.calmed.time, found.calmed.swing
        out["calmed"] = {
            "time_before_s": seconds(time), "time_after_s": seconds(longer),
            "swing_before_mm": measured(before), "swing_after_mm": measured(after),
        }  # fmt: skip
    return out


def shaken_spoken(found: Shaken | None) -> Spoken:
    """Return in words what vibrates, how far, and what longer averages gained; nothing for none."""
    return Spoken("", []) if found is None else Spoken(TITLE.format(damping=found.damping), _sentences(found))


def _sentences(found: Shaken) -> list[str]:
    first, *others = (f"{x:.1f}" for x in found.frequencies)
    lowest = f"The lowest natural frequency is {first} Hz, {in_line(found.lowest.line)}"
    out = [
        f"{lowest}; the next five come down to {', '.join(others)} Hz.",
        f"Once it rests, the tip swings by at most {_micro(found.swing.value)}, {in_line(found.swing.line)}.",
    ]
    out += worst_blocks(found.rests, said=_micro)
    if found.calmed is not None:
        out.append(_calmed(found.calmed))
    return [*out, _LEFT_OUT]


def _calmed(found: Calmed) -> str:
    """Return what ``--calm-lowest`` costs and gains."""
    (time, longer), (before, after) = found.time, found.swing
    gain = f"The worst swing is {_micro(after)} instead of {_micro(before)}"
    return f"--calm-lowest: {gain}; the job takes {longer:.3f} s instead of {time:.3f} s."


def _micro(swing: float) -> str:
    return amount(1e3 * swing, "um")
