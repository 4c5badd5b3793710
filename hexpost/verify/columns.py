"""The columns that a setpoint table may have: names, order, units and decimals, and what the manifest says of them."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from hexpost.errors import HexpostError

STRUTS = range(1, 7)
TIME, LINE = "time_s", "line"
LENGTH, SPEED, ACCELERATION, COMMAND, TURNS, COUNTS, JERK, THRUST, TORQUE, POWER, COMPENSATION = range(11)
"""Groups of six columns, one for each strut, in the order of the table."""


@dataclass(frozen=True, slots=True)
class Group:
    """Six columns: their names but for the number of the strut, unit and decimals."""

    name: str
    suffix: str
    unit: str
    decimals: int

    def column(self, strut: int) -> str:
        """Return the name of the column of a strut, 1 to 6."""
        return f"{self.name}_{strut}{self.suffix}"


GROUPS = (
    Group("length", "_mm", "mm", 6),
    Group("speed", "_mm_s", "mm/s", 6),
    Group("acceleration", "_mm_s2", "mm/s2", 3),
    Group("command", "_mm", "mm", 6),
    Group("turns", "", "1", 6),
    Group("counts", "", "1", 0),
    Group("jerk", "_mm_s3", "mm/s3", 3),
    Group("thrust", "_n", "N", 3),
    Group("torque", "_nm", "N m", 3),
    Group("power", "_w", "W", 3),
    Group("compensation", "_mm", "mm", 6),
)


def described(micros: int) -> dict[str, dict[str, object]]:
    """Return what a manifest must say of every possible column, in the order of the table."""
    out: dict[str, dict[str, object]] = {TIME: {"unit": "s", "decimals": 3 if micros % 1000 == 0 else 6}}
    for group in GROUPS:
        out |= {group.column(k): {"unit": group.unit, "decimals": group.decimals} for k in STRUTS}
    out[LINE] = {"unit": "1", "decimals": 0}
    return {name: {"name": name, **what} for name, what in out.items()}


@dataclass(frozen=True, slots=True, kw_only=True)
class Layout:
    """The columns of all tables of a job: names, decimals, and the period in microseconds."""

    names: list[str]
    decimals: list[int]
    micros: int

    def rows_of(self, group: int) -> list[int]:
        """Return the places of the six columns of a group; none if the table lacks them."""
        wanted = [GROUPS[group].column(k) for k in STRUTS]
        return [self.names.index(n) for n in wanted] if wanted[0] in self.names else []


def layout(tables: Mapping[str, Mapping[str, Any]], *, geared: bool) -> Layout:
    """Return the columns of the tables; drives of a ``geared`` machine follow commands and nothing else.

    Raises
    ------
    HexpostError
        The manifest describes them otherwise than a job has them, tables differ, or what a proof needs is missing.
    """
    first = next(iter(tables.values()), None)
    if first is None:
        raise HexpostError("the manifest lists no setpoint table")
    micros: int = first["period_us"]
    every = described(micros)
    told = [c for c in first["columns"] if isinstance(c, dict)]
    names = [str(c.get("name")) for c in told]
    if [every.get(n) for n in names] != first["columns"] or [n for n in every if n in names] != names:
        raise HexpostError("manifest.json: tables: expected the columns of a setpoint table, described as they are")
    follow = [GROUPS[COMMAND if geared else LENGTH].column(k) for k in STRUTS]
    wanted = follow if set(follow) <= set(names) else []
    for name, what in tables.items():
        if what["period_us"] != micros or what["columns"] != first["columns"]:
            raise HexpostError(f"{name}: expected the period and the columns of the first table")
        if what.get("drives_follow") != wanted:
            raise HexpostError(f"{name}: drives_follow: expected {wanted or 'nothing: the table has no commands'}")
    return layout_of(names, micros)


def missing_columns(columns: Layout) -> list[str]:
    """Return the columns that a proof reads and that a table lacks: those about drives if there are any."""
    some = [g for g in GROUPS[COMMAND:] if any(g.column(k) in columns.names for k in STRUTS)]
    needed = [TIME, *(g.column(k) for g in (*GROUPS[:COMMAND], *some) for k in STRUTS), LINE]
    return [name for name in needed if name not in columns.names]


def layout_of(names: Sequence[str], micros: int) -> Layout:
    """Return columns of these names, which a setpoint table may have."""
    every = described(micros)
    return Layout(names=list(names), decimals=[int(str(every[n]["decimals"])) for n in names], micros=micros)
