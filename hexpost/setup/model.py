"""What setting up hands on: alignments, placements, calibrations, in inside units (mm, s, rad)."""

from dataclasses import dataclass

from hexpost.arrays import Array


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Alignment:
    """A work frame found from probed points: ``pose`` (6,) in the pallet frame, x y z in mm, a b c in rad.

    ``residual`` (n, k): what is left at each point after the fit, mm (a vector, or one distance from its datum);
    ``names`` (n) says which point that is. ``deviation`` (6,) standard uncertainty of the pose (nan where nothing
    tells the noise), ``correlation`` (6, 6) of its numbers. ``noise`` is the standard deviation of one probed
    coordinate that they follow from, mm, and ``noise_from`` where it comes from. ``spare``: measured numbers more than
    unknowns. ``spread`` (3,): extent of the points along their principal axes, mm. ``method`` names the fit.
    """

    pose: Array
    residual: Array
    names: tuple[str, ...]
    deviation: Array
    correlation: Array
    noise: float
    noise_from: str
    spare: int
    spread: Array
    method: str
    notes: tuple[str, ...] = ()

    @property
    def distances(self) -> Array:
        """Return the size (n,) of the residual at each point, mm."""
        out: Array = (self.residual**2).sum(axis=1) ** 0.5
        return out

    @property
    def rms(self) -> float:
        """Return the root mean square of the residual sizes, mm."""
        return float((self.distances**2).mean() ** 0.5)
