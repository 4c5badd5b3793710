"""What a circle test shows, as text, for machines and as a picture; and how much of a measured trace it explains."""

from collections.abc import Mapping
from dataclasses import dataclass
from html import escape
from math import cos, degrees, pi, sin

import numpy as np

from hexpost.arrays import Array, Flags
from hexpost.reach.circle import PLANES, WAYS, BarTrace, CircleForecast
from hexpost.units import SECONDS_PER_MINUTE

MICRON = 1e3
SIDE, RING = 640, 210.0
COLOURS = ("#2d5d8a", "#b3541e")
Rows = Mapping[str, Mapping[str, float]]
ROUND = (1.0, 2.0, 5.0, 10.0)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class MeasuredTrace:
    """A trace that was measured: ``angle`` (n,) [rad], ``off`` (n,) mm more than the radius, ``way`` (n,) 0 or 1."""

    angle: Array
    off: Array
    way: Array


def judged(found: CircleForecast, measured: MeasuredTrace) -> dict[str, float]:
    """Return how much of a measured trace the forecast explains: rms before and after, um, and the share.

    A centre that lies elsewhere is taken out of both; a radius that differs is not, so a bar must be calibrated.
    """
    whole = found.whole
    at = np.stack([np.interp(measured.angle, whole.angle, x, period=2.0 * pi) for x in whole.off])
    expected = np.where(measured.way == 0, *at)
    before, after = (_rms(measured.angle, x) for x in (measured.off, measured.off - expected))
    share = 1.0 - (after / before) ** 2 if before > 0.0 else 0.0
    return {"measured_rms_um": before * MICRON, "left_rms_um": after * MICRON, "explained_percent": 100.0 * share}


def _rms(angle: Array, off: Array) -> float:
    """Return the root mean square of ``off`` (n,) less what another centre explains."""
    wave = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    left = off - wave @ np.linalg.lstsq(np.column_stack([wave, np.ones_like(angle)]), off, rcond=None)[0][:2]
    return float(np.sqrt((left**2).mean()))


def _figures(trace: BarTrace) -> dict[str, float]:
    one, other, both = (x * MICRON for x in trace.errors)
    return {
        f"{WAYS[0]}_um": one,
        f"{WAYS[1]}_um": other,
        "bidirectional_um": both,
        "mean_radial_um": trace.mean * MICRON,
    }


def figures(found: CircleForecast) -> Rows:
    """Return circular errors and mean bidirectional radial error by cause, and of the whole, um."""
    return {name: _figures(t) for name, t in (*found.causes.items(), ("whole", found.whole))}


def circle_document(found: CircleForecast, rows: Rows, compared: Mapping[str, float] | None) -> dict[str, object]:
    """Return the test as plain values."""
    test = found.test
    return {
        "radius_mm": test.radius,
        "feed_mm_min": test.feed * SECONDS_PER_MINUTE,
        "plane": test.plane,
        "tilt_deg": [degrees(x) for x in test.tilt],
        "causes": {name: {k: round(x, 4) for k, x in row.items()} for name, row in rows.items() if name != "whole"},
        "whole": {k: round(x, 4) for k, x in rows["whole"].items()},
        "not_known": dict(found.lacking),
        "measured": None if compared is None else {k: round(x, 4) for k, x in compared.items()},
    }


def circle_text(found: CircleForecast, rows: Rows, compared: Mapping[str, float] | None) -> list[str]:
    """Return the test as lines."""
    test = found.test
    feed = test.feed * SECONDS_PER_MINUTE
    tilt = " ".join(f"{letter}{degrees(x):g}" for letter, x in zip("ABC", test.tilt, strict=True))
    lines = [
        f"circle test, forecast: R{test.radius:g} mm, F{feed:g} mm/min, plane {test.plane}, {tilt}",
        "",
    ]
    lines.append(f"  {'um':14}{'circular error':>28}{'both ways':>14}{'mean radial':>14}")
    lines.append(f"  {'by cause':14}{'counterclockwise':>17}{'clockwise':>11}{'together':>14}{'both ways':>14}")
    for name, row in rows.items():
        one, other, both, mean = row.values()
        lines.append(f"  {name:14}{one:17.2f}{other:11.2f}{both:14.2f}{mean:14.2f}")
    lines += [
        "",
        "  Circular error: the narrowest ring about the trace, wherever its centre (ISO 230-4).",
    ]
    if not found.causes:
        lines.append("  No cause is known: 0 says nothing here.")
    lines += [f"  not known: {name} needs {key}" for name, key in found.lacking.items()]
    if compared is not None:
        share, before, left = compared["explained_percent"], compared["measured_rms_um"], compared["left_rms_um"]
        lines.append(f"  measured: {before:.2f} um rms, {left:.2f} um left of it; {share:.1f} % is explained")
    return lines


def drawing(found: CircleForecast, measured: MeasuredTrace | None) -> str:
    """Return a picture: the traces about their circle, magnified, and bars of what each cause has of them."""
    whole, test = found.whole, found.test
    most = float(np.abs(whole.centred).max()) * MICRON
    if measured is not None:
        most = max(most, float(np.abs(measured.off).max()) * MICRON)
    step, feed = _step(most), test.feed * SECONDS_PER_MINUTE
    title = escape(f"Circle test, forecast: R{test.radius:g} mm, F{feed:g} mm/min, {test.plane}; a ring is {step:g} um")
    scale, middle = 0.28 * RING / (2.0 * step), SIDE / 2.0
    rings = "".join(
        f'<circle cx="{middle}" cy="{middle}" r="{RING + k * step * scale:.1f}" fill="none" '
        f'stroke="{"#333" if k == 0 else "#ccc"}"/>'
        for k in (-2, -1, 0, 1, 2)
    )
    lines = "".join(
        f'<path d="{_path(whole.angle, off * MICRON * scale, middle)}" fill="none" stroke="{colour}" stroke-width="2"/>'
        for off, colour in zip(whole.centred, COLOURS, strict=True)
    )
    dots = "" if measured is None else _dots(measured, scale, middle)
    names = "".join(
        f'<text x="14" y="{SIDE - 34 + 18 * k}" fill="{colour}">{way}</text>'
        for k, (way, colour) in enumerate(zip(WAYS, COLOURS, strict=True))
    )
    axes = "".join(
        f'<text x="{middle + (RING + 75) * cos(a):.0f}" y="{middle - (RING + 75) * sin(a) + 5:.0f}" '
        f'text-anchor="middle" fill="#555">{"+" if a < 3.0 else "-"}{"XYZ"[PLANES[test.plane][k]]}</text>'
        for k, a in ((0, 0.0), (1, 0.5 * pi), (0, pi), (1, 1.5 * pi))
    )
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {SIDE} {SIDE}" role="img" font-family="sans-serif" '
        f'font-size="13"><title>{title}</title><rect width="100%" height="100%" fill="white"/>'
        f'<text x="14" y="22">{title}</text>{rings}{lines}{dots}{axes}{names}</svg>\n'
    )


def _step(most: float) -> float:
    """Return a round number of um so that twice it is at least ``most``."""
    power = 10.0 ** np.floor(np.log10(max(most / 2.0, 1e-3)))
    return float(next(x * power for x in ROUND if 2.0 * x * power >= most))


def _path(angle: Array, off: Array, middle: float) -> str:
    x, y = middle + (RING + off) * np.cos(angle), middle - (RING + off) * np.sin(angle)
    places = [f"{a:.1f} {b:.1f}" for a, b in zip(x[::2], y[::2], strict=True)]
    return f"M{'L'.join(places)}Z"


def _dots(measured: MeasuredTrace, scale: float, middle: float) -> str:
    every = max(len(measured.angle) // 360, 1)
    far = RING + measured.off[::every] * MICRON * scale
    x, y = middle + far * np.cos(measured.angle[::every]), middle - far * np.sin(measured.angle[::every])
    ways: Flags = measured.way[::every] > 0
    return "".join(
        f'<circle cx="{a:.1f}" cy="{b:.1f}" r="2" fill="{COLOURS[int(way)]}"/>'
        for a, b, way in zip(x, y, ways, strict=True)
    )
