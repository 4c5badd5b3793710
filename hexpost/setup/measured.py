"""Measured poses of a machine, as a file gives them: full poses, positions alone, or distances alone."""

from dataclasses import dataclass
from pathlib import Path

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.kinematics.frames import rotation
from hexpost.machine.model import Machine
from hexpost.setup.columns import MeasuredColumns, read_columns
from hexpost.units import MM_PER_INCH, RAD_PER_DEG

LENGTHS = tuple(f"length_{k}_mm" for k in range(1, 7))
POSITION = ("x_mm", "y_mm", "z_mm")
ANGLES = ("a_deg", "b_deg", "c_deg")
FIXED = ("fixed_x_mm", "fixed_y_mm", "fixed_z_mm")
TARGET = ("target_x_mm", "target_y_mm", "target_z_mm")
SIGMA = ("sigma_mm", "sigma_deg")
LOAD = ("load_kg", "load_x_mm", "load_y_mm", "load_z_mm")
FULL, PLACE, DISTANCE = "full poses", "positions", "distances"
NUMBERS = {FULL: 6, PLACE: 3, DISTANCE: 1}
"""Numbers that one measurement gives."""
SAME = 1e-6
"""Commanded lengths that differ by less, mm, are one pose commanded twice."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Noise:
    """Standard uncertainty of a measured coordinate or distance, mm, and of a measured angle, rad."""

    place: float = 0.01
    turn: float = 0.001 * RAD_PER_DEG


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Measured:
    """Measurements of one ``kind``, n of them, in the measuring frame; commanded ``length`` (6, n).

    ``place`` (n, 3) of the target and ``turned`` (n, 3, 3) of the platform where they are measured; ``distance`` (n,)
    from ``fixed`` (n, 3) to the target. ``target`` (n, 3) in the target frame of the platform. ``sigma`` and
    ``sigma_turn`` (n,): standard uncertainties. ``names`` says which row each is. ``load`` (n, 4) is fastened to the
    platform while it is measured: kg, and its centre of mass in the platform frame; ``None`` for nothing.
    """

    kind: str
    length: Array
    place: Array
    turned: Array
    distance: Array
    fixed: Array
    target: Array
    sigma: Array
    sigma_turn: Array
    names: tuple[str, ...]
    load: Array | None = None

    @property
    def count(self) -> int:
        """Return the number of measurements."""
        return len(self.names)

    @property
    def equations(self) -> int:
        """Return how many numbers they give."""
        return self.count * NUMBERS[self.kind]

    def at(self, rows: Ints) -> "Measured":
        """Return some of the measurements."""
        return Measured(
            kind=self.kind,
            length=self.length[:, rows],
            place=self.place[rows],
            turned=self.turned[rows],
            distance=self.distance[rows],
            fixed=self.fixed[rows],
            target=self.target[rows],
            sigma=self.sigma[rows],
            sigma_turn=self.sigma_turn[rows],
            names=tuple(self.names[i] for i in rows.tolist()),
            load=None if self.load is None else self.load[rows],
        )


def read_measured(path: Path, machine: Machine, noise: Noise) -> tuple[Measured, MeasuredColumns]:
    """Return the measurements of a CSV file: what its columns say is measured.

    Raises
    ------
    InputError
        When it is no such table, commands a pose twice, or its lengths seem to be in inches.
    """
    known = (*POSITION, *ANGLES, *LENGTHS, "distance_mm", *FIXED, *TARGET, *SIGMA, *LOAD)
    columns = read_columns(path, known)
    n = columns.count
    length = columns.rows(LENGTHS).T
    _refuse_lengths(columns, length, machine)
    nothing: Array = np.zeros((n, 3))
    place, fixed, turned, distance = nothing, nothing, np.tile(np.eye(3), (n, 1, 1)), np.zeros(n)
    if columns.has("distance_mm"):
        kind, fixed, distance = DISTANCE, columns.rows(FIXED), columns.rows(["distance_mm"])[:, 0]
    else:
        place = columns.rows(POSITION)
        kind = FULL if any(columns.has(name) for name in ANGLES) else PLACE
        if kind == FULL:
            a, b, c = columns.rows(ANGLES).T * RAD_PER_DEG
            turned = np.moveaxis(rotation(a, b, c, machine.tilt_order), 2, 0)
    target = columns.rows(TARGET) if any(columns.has(name) for name in TARGET) else nothing
    if kind == FULL and target.any():
        raise columns.refusal("full poses take no target: they are those of the platform", "column")
    sigma = columns.numbers.get("sigma_mm", np.full(n, noise.place))
    sigma_turn = columns.numbers.get("sigma_deg", np.full(n, noise.turn / RAD_PER_DEG)) * RAD_PER_DEG
    if sigma.min() <= 0.0 or sigma_turn.min() <= 0.0:
        row = int(np.argmax((sigma <= 0.0) | (sigma_turn <= 0.0)))
        raise columns.refusal("standard uncertainties must be above 0; this one is not", "bad-number", row=row)
    load = columns.rows(LOAD) if any(columns.has(name) for name in LOAD) else None
    if load is not None and load[:, 0].min() < 0.0:
        raise columns.refusal("load_kg must be 0 or above", "bad-number", row=int(load[:, 0].argmin()))
    measured = Measured(
        kind=kind, length=length, place=place, turned=turned, distance=distance, fixed=fixed, target=target,
        sigma=sigma, sigma_turn=sigma_turn, names=tuple(columns.row_name(i) for i in range(n)), load=load,
    )  # fmt: skip
    _refuse_repeated(columns, measured)
    return measured, columns


def _refuse_lengths(columns: MeasuredColumns, length: Array, machine: Machine) -> None:
    """Refuse lengths that no strut has, and say so when they fit in inches."""
    low = np.array([s.stroke[0] for s in machine.struts])[:, None]
    high = np.array([s.stroke[1] for s in machine.struts])[:, None]
    span = high - low
    wrong = (length < low - span) | (length > high + span)
    if not wrong.any():
        return
    k, i = (int(x) for x in np.argwhere(wrong)[0])
    low_k, high_k = machine.struts[k].stroke
    what = f"length_{k + 1}_mm is {length[k, i]:g}, far from the stroke of {low_k:g} to {high_k:g} mm"
    inches = length * MM_PER_INCH
    hint = "the lengths seem to be in inches" if ((inches > low - span) & (inches < high + span)).all() else ""
    raise columns.refusal(what, "unit-slip" if hint else "bad-number", hint, row=i)


def _refuse_repeated(columns: MeasuredColumns, measured: Measured) -> None:
    """Refuse a pose that is commanded and measured twice in the same way: it would count as two."""
    loads = [] if measured.load is None else [measured.load.T]
    numbers = np.concatenate([measured.length, measured.fixed.T, measured.target.T, *loads])
    first: dict[tuple[int, ...], int] = {}
    for i, key in enumerate(np.round(numbers / SAME).astype(np.int64).T.tolist()):
        other = first.setdefault(tuple(key), i)
        if other != i:
            what = f"these are the lengths of {columns.row_name(other)} again"
            hint = "a repeated measurement shows noise, not geometry: keep the mean of both"
            raise columns.refusal(what, "repeated", hint, row=i)
