"""From a file of probed points to a work frame, told as text, as JSON and as a setup file."""

from dataclasses import dataclass
from math import isfinite
from pathlib import Path

import numpy as np

from hexpost.arrays import Array
from hexpost.documents import given, measured
from hexpost.machine.model import Machine, Setup
from hexpost.setup.columns import MeasuredColumns, read_columns
from hexpost.setup.datums import align_datums
from hexpost.setup.files import pose_text, provenance, setup_text
from hexpost.setup.model import Alignment
from hexpost.setup.points import NOMINAL, NORMAL, PROBED, Probing, align_points
from hexpost.units import DEG_PER_RAD

COORDINATES = ("x_mm", "y_mm", "z_mm", "a_deg", "b_deg", "c_deg")
COLUMNS = (*NOMINAL, *PROBED, *NORMAL, "weight", "at_mm")
TEXTS = ("name", "datum", "shape")
MOST_ROWS = 12
"""Rows of residuals that the text shows, worst first."""
FARTHEST = 3.0
"""Nobody probes farther from the middle of a pallet than so many times its longer side (common practice, no source)."""


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Aligned:
    """A file of points, the frame found from it, and the offset that takes it."""

    columns: MeasuredColumns
    found: Alignment
    offset: str
    probing: Probing

    def setup_file(self, kept: Setup) -> str:
        """Return the text of a setup file that holds the frame and every other offset of ``kept``."""
        notes = [
            *provenance("align", {self.columns.file: self.columns.source}),
            f"{self.offset}: {self.found.method}; residuals {self._residuals()}",
        ]
        if isfinite(self.found.noise):
            shown = ", ".join(
                f"{n} {x:.2g}" for n, x in zip(COORDINATES, _in_degrees(self.found.deviation), strict=True)
            )
            notes.append(f"standard uncertainty: {shown} (noise {self.found.noise:.2g} mm {self.found.noise_from})")
        return setup_text({self.offset: self.found.pose}, kept, notes, [self.offset])

    def document(self) -> dict[str, object]:
        """Return the JSON document."""
        found = self.found
        return {
            "offset": self.offset,
            "method": found.method,
            "pose_mm_deg": [given(x) for x in _in_degrees(found.pose).tolist()],
            "uncertainty_mm_deg": [measured(x) for x in _in_degrees(found.deviation).tolist()],
            "correlation": [[measured(x) for x in row] for row in found.correlation.tolist()],
            "noise_mm": measured(found.noise),
            "noise_from": found.noise_from,
            "spare": found.spare,
            "spread_mm": [measured(float(x)) for x in found.spread],
            "tolerance_mm": self.probing.tolerance,
            "rms_mm": measured(found.rms),
            "largest_mm": measured(float(found.distances.max())),
            "residuals": [
                {"point": name, "line": line, "residual_mm": [measured(x) for x in row], "distance_mm": measured(d)}
                for name, line, row, d in zip(
                    found.names, self.columns.line, found.residual.tolist(), found.distances.tolist(), strict=True
                )
            ],
            "notes": list(found.notes),
        }

    def text(self) -> str:
        """Return what a terminal shows."""
        found = self.found
        lines = [f"{self.offset}: {found.method}", f"  pose_mm_deg = {pose_text(found.pose)}", ""]
        shown = _in_degrees(found.deviation)
        lines.append("  number     value        uncertainty")
        for name, value, spread in zip(COORDINATES, _in_degrees(found.pose), shown, strict=True):
            lines.append(f"  {name:6s} {value:12.6f}   " + (f"{spread:.6f}" if isfinite(spread) else "not known"))
        lines += ["", f"  residuals: {self._residuals()}, allowed {self.probing.tolerance:g} mm"]
        worst = sorted(range(len(found.names)), key=lambda i: (-found.distances[i], i))[:MOST_ROWS]
        lines += [f"  {found.names[i]}: {found.distances[i]:.6f} mm" for i in worst]
        if len(found.names) > MOST_ROWS:
            lines.append(f"  ... and {len(found.names) - MOST_ROWS} points that fit better")
        noise = f"{found.noise:.6f} mm {found.noise_from}" if isfinite(found.noise) else "not known: give --noise-mm"
        lines.append(f"  noise of a probed coordinate: {noise}")
        lines += [f"  {note}" for note in found.notes]
        return "\n".join(lines) + "\n"

    def _residuals(self) -> str:
        """Return the size of the residuals in words."""
        return f"root mean square {self.found.rms:.6f} mm, largest {self.found.distances.max():.6f} mm"


def align(path: Path, offset: str, probing: Probing, machine: Machine) -> Aligned:
    """Return the work frame of a file of probed points; a column ``datum`` says that they are of datum features.

    Raises
    ------
    InputError
        When the file is no such table, or its points do not fix a frame within the tolerance.
    """
    columns = read_columns(path, COLUMNS, TEXTS)
    by_datum = columns.has("datum")
    _refuse_far(columns, machine)
    found = (align_datums if by_datum else align_points)(columns, probing, machine.tilt_order)
    return Aligned(columns=columns, found=found, offset=offset, probing=probing)


def _refuse_far(columns: MeasuredColumns, machine: Machine) -> None:
    """Refuse probed points far beside the pallet of a machine file: nobody probes there."""
    room = FARTHEST * max(machine.pallet.size)
    far = np.linalg.norm(columns.rows(PROBED), axis=1)
    if not machine.demonstration and far.max() > room:
        row = int(far.argmax())
        place = f"{far[row]:.4g} mm from the middle of the pallet"
        what = f"the probed point of {columns.row_name(row)} is {place}; at most {room:g} mm is allowed"
        hint = "probed points are given in the pallet frame, not in the base frame or in machine coordinates"
        raise columns.refusal(what, "far", hint, row=row)


def _in_degrees(pose: Array) -> Array:
    """Return six numbers with their angles in degrees."""
    out = pose.copy()
    out[3:] *= DEG_PER_RAD
    return out
