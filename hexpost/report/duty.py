"""What each drive bears when a job is repeated without a pause, as a table: text, page, machines."""

from hexpost.audit.model import DriveDuty, Duty
from hexpost.documents import measured
from hexpost.voice import columns, paragraph

TITLE = "What drives bear when the job is repeated without a pause"
HEADS = ("strut", "thrust, N", "peak, N", "torque, N m", "at 1/min", "peak, N m", "at 1/min", "top 1/min")
"""Root mean squares of thrust and torque, the torque with the mean speed; peaks, that of the torque with its speed."""


def duty_document(found: Duty) -> dict[str, object]:
    """Return it as plain values."""
    return {"window_s": found.window, "drives": [_drive(d) for d in found.drives]}


def _drive(d: DriveDuty) -> dict[str, object]:
    return {
        "strut": d.strut,
        "thrust_rms_n": measured(d.thrust_mean),
        "thrust_peak_n": measured(d.thrust_peak),
        "torque_rms_nm": measured(d.torque_mean),
        "speed_mean_1_min": measured(d.speed_mean),
        "torque_peak_nm": measured(d.torque_peak),
        "speed_at_peak_1_min": measured(d.at_peak),
        "speed_peak_1_min": measured(d.speed_peak),
        "thrust_continuous_n": d.thrust_continuous,
        "torque_continuous_nm": d.torque_continuous,
    }


def cells(d: DriveDuty) -> list[str]:
    """Return the row of a drive under ``HEADS``."""
    torque, thrust = d.torque_continuous, d.thrust_continuous
    return [
        str(d.strut), f"{d.thrust_mean:.0f}{_share(d.thrust_mean, thrust)}", f"{d.thrust_peak:.0f}",
        f"{d.torque_mean:.3g}{_share(d.torque_mean, torque)}", f"{d.speed_mean:.0f}", f"{d.torque_peak:.3g}",
        f"{d.at_peak:.0f}", f"{d.speed_peak:.0f}",
    ]  # fmt: skip


def _share(value: float, most: float | None) -> str:
    return "" if most is None else f" ({value / most:.0%})"


def note(found: Duty) -> str:
    """Return what the figures mean."""
    often = found.window / found.once if found.once > 0.0 else 0.0
    again = f", in which the job runs {often:.1f} times" if often > 1.0 else ""
    return (
        f"Thrust and torque: root mean square over {found.window:g} s{again}, with the mean speed of the motor. "
        "In brackets: share of the continuous limit. Peaks: the largest, that of the torque with its speed."
    )


def duty_text(found: Duty, width: int) -> list[str]:
    """Return it as lines."""
    rows = [list(HEADS), *(cells(d) for d in found.drives)]
    table = columns(rows, [True] * len(HEADS))
    if max(len(line) for line in table) > width:
        flat = [
            f"strut {r[0]}: " + "; ".join(f"{h} {c}" for h, c in zip(HEADS[1:], r[1:], strict=True)) for r in rows[1:]
        ]
        table = [line for text in flat for line in paragraph(text, width, "    ", "  ")]
    return ["", TITLE, "", *table, *paragraph(note(found), width, "  ", "  ")]
