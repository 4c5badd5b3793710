"""What setting up hands on: alignments, placements, calibrations, in inside units (mm, s, rad)."""

from dataclasses import dataclass

from hexpost.arrays import Array
from hexpost.audit.model import Unseen


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


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Outcome:
    """What a job does somewhere on the pallet: ``broken`` findings, the ``worst`` use of a limit, seconds it takes.

    ``limit``, ``strut`` and ``line`` say where the worst use is (strut 0: the whole tool); ``unseen`` are limits that
    were not looked at.
    """

    broken: int
    worst: float
    limit: str
    strut: int
    line: int
    duration: float
    unseen: tuple[Unseen, ...] = ()

    @property
    def clean(self) -> bool:
        """Return whether no limit is broken."""
        return self.broken == 0

    def key(self, objective: str) -> tuple[float, ...]:
        """Return what orders outcomes, best first: clean before broken, then the objective, then the other one."""
        if not self.clean:
            return (1.0, self.worst, float(self.broken))
        return (0.0, self.worst, self.duration) if objective == "margin" else (0.0, self.duration, self.worst)


@dataclass(frozen=True, slots=True, kw_only=True)
class Spot:
    """A place on the pallet: where the first work offset of the program stands, mm, and how far all are turned, rad."""

    x: float
    y: float
    z: float
    turn: float = 0.0
