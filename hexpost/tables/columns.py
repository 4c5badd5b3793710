"""The columns of a setpoint table: their names, their order, and how finely each is held."""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from math import pi

from hexpost.arrays import Array
from hexpost.errors import Fault, InputError, unknown
from hexpost.setpoints.model import Gearing, Load, Setpoints

STRUTS = 6
TURN = 2.0 * pi


@dataclass(frozen=True, slots=True)
class ColumnGroup:
    """Six columns of one quantity, one per strut: the table holds ``decimals`` decimals of ``unit``."""

    name: str
    suffix: str
    unit: str
    decimals: int
    values: Callable[[Setpoints], Array]
    """Returns shape (6, n), strut 1 first."""

    def column(self, strut: int) -> str:
        """Return the name of the column of ``strut`` (1-6)."""
        return f"{self.name}_{strut}" if self.unit == "1" else f"{self.name}_{strut}_{self.suffix}"


GROUPS = (
    ColumnGroup("length", "mm", "mm", 6, lambda s: s.length),
    ColumnGroup("speed", "mm_s", "mm/s", 6, lambda s: s.speed),
    ColumnGroup("acceleration", "mm_s2", "mm/s2", 3, lambda s: s.acceleration),
)
COMMAND = ColumnGroup("command", "mm", "mm", 6, lambda s: _there(s.command))
TURNS = ColumnGroup("turns", "1", "1", 6, lambda s: _there(s.command) * _there(_gears(s).turns)[:, None])
COUNTS = ColumnGroup("counts", "1", "1", 0, lambda s: _there(s.command) * _there(_gears(s).counts)[:, None])
"""What the drives follow; turns of the motors and whole counts of their encoders."""
JERK = ColumnGroup("jerk", "mm_s3", "mm/s3", 3, lambda s: s.jerk)
THRUST = ColumnGroup("thrust", "n", "N", 3, lambda s: _load(s).thrust)
TORQUE = ColumnGroup("torque", "nm", "N m", 3, lambda s: _load(s).torque)
POWER = ColumnGroup(
    "power", "w", "W", 3, lambda s: _load(s).torque * s.speed * (TURN * _there(_gears(s).turns))[:, None]
)
COMPENSATION = ColumnGroup("compensation", "mm", "mm", 6, lambda s: _there(s.compensation))
"""What drives can feed forward: mean jerk of the tick before, thrust, torque and power of the motor, and what commands
add for struts that give way. All but the commands is in the table only when asked for."""
LOADED = (THRUST, TORQUE, POWER)

TIME, LINE = "time_s", "line"
ALL = (TIME, *(g.column(k + 1) for g in GROUPS for k in range(STRUTS)), LINE)
"""Every column of a machine without described screws, in the order of the table; a choice keeps this order."""

_SHORT = {"time": TIME, "line": LINE}


@dataclass(frozen=True, slots=True)
class Chosen:
    """One group of a choice: the rows (0-5, rising) of its (6, n) array that the table holds."""

    group: ColumnGroup
    rows: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class TableColumns:
    """A choice of columns: whether time and line are in it, and what is taken of each group (none is empty)."""

    time: bool
    chosen: tuple[Chosen, ...]
    line: bool

    @property
    def names(self) -> tuple[str, ...]:
        """Return the names, in the order of the table."""
        middle = tuple(c.group.column(k + 1) for c in self.chosen for k in c.rows)
        return (TIME,) * self.time + middle + (LINE,) * self.line

    @property
    def loaded(self) -> bool:
        """Return whether a column tells what struts or motors bear."""
        return any(c.group in LOADED for c in self.chosen)

    @property
    def jerks(self) -> bool:
        """Return whether a column tells jerks."""
        return any(c.group is JERK for c in self.chosen)

    @property
    def units(self) -> tuple[str, ...]:
        """Return the unit of each column (``"1"`` for the line)."""
        return ("s",) * self.time + tuple(c.group.unit for c in self.chosen for _ in c.rows) + ("1",) * self.line


def choose(names: Iterable[str] = (), gearing: Gearing | None = None) -> TableColumns:
    """Return the columns meant by names or groups (``time``, ``length``, ``speed``, ``acceleration``, ``line``, ...).

    ``gearing``, which a machine has whose drives follow more than lengths, says which others there are: ``command``;
    with screws ``turns``, ``counts``, ``torque``, ``power``; ``compensation``. Jerk and thrust always are.
    No name at all means times, lengths, speeds, accelerations, commands and lines. The order of the names does not
    matter, and a repeat is no fault.

    Raises
    ------
    InputError
        One fault for each name that is neither a column nor a group.
    """
    wanted: set[str] = set()
    faults = []
    known = (*GROUPS, *_of_drives(gearing))
    groups = {g.name: g for g in known}
    every = {TIME, LINE} | {g.column(k + 1) for g in known for k in range(STRUTS)}
    for name in (n.strip() for n in names):
        if name in groups:
            wanted.update(groups[name].column(k + 1) for k in range(STRUTS))
        elif _SHORT.get(name, name) in every:
            wanted.add(_SHORT.get(name, name))
        else:
            faults.append(_unknown(name, known))
    if faults:
        raise InputError(faults)
    if not wanted:
        usual = [g for g in known if g in (*GROUPS, COMMAND)]
        wanted = {TIME, LINE} | {g.column(k + 1) for g in usual for k in range(STRUTS)}
    rows = ((g, tuple(k for k in range(STRUTS) if g.column(k + 1) in wanted)) for g in known)
    return TableColumns(TIME in wanted, tuple(Chosen(g, r) for g, r in rows if r), LINE in wanted)


def _of_drives(gearing: Gearing | None) -> list[ColumnGroup]:
    """Return the groups about drives, as far as a machine file describes them."""
    if gearing is None:
        return [JERK, THRUST]
    screws, counts = gearing.turns is not None, gearing.counts is not None
    there = ((COMMAND, True), (TURNS, screws), (COUNTS, counts), (JERK, True), (THRUST, True), (TORQUE, screws),
             (POWER, screws), (COMPENSATION, gearing.compensated))  # fmt: skip
    return [group for group, known in there if known]


def followed(columns: TableColumns, *, geared: bool) -> list[str]:
    """Return the names of the columns that the drives follow: ``geared`` ones commands, others the lengths themselves.

    Nothing where the table lacks one of the six: it is not for drives.
    """
    wanted = COMMAND if geared else GROUPS[0]
    found = next((c for c in columns.chosen if c.group is wanted), None)
    return [wanted.column(k + 1) for k in range(STRUTS)] if found and len(found.rows) == STRUTS else []


def notices(columns: TableColumns, *, geared: bool) -> list[str]:
    """Return what a choice of columns gives up, in a sentence each: drives that can follow it, a proof of the job."""
    out = []
    if not followed(columns, geared=geared):
        need = "command" if geared else "length"
        out.append(
            f"NOT FOR DRIVES: the table lacks columns that the drives follow. Add {need} to --columns for a job that a "
            "machine is to run."
        )
    if names := lacking_columns(columns):
        out.append(
            f"A proof reads {', '.join(names)} columns, which the table lacks. To prove it, convert and verify make "
            "one that has them."
        )
    return out


def lacking_columns(columns: TableColumns) -> list[str]:
    """Return the groups that a proof needs and that a choice of columns lacks, or of which it has a part."""
    whole = {c.group.name for c in columns.chosen if len(c.rows) == STRUTS}
    out = [name for name, there in (("time", columns.time), ("line", columns.line)) if not there]
    out += [g.name for g in GROUPS if g.name not in whole]
    return [*out, *(c.group.name for c in columns.chosen if c.group.name not in (*whole, *out))]


def _there(x: Array | None) -> Array:
    assert x is not None
    return x


def _gears(s: Setpoints) -> Gearing:
    assert s.gearing is not None
    return s.gearing


def _load(s: Setpoints) -> Load:
    assert s.load is not None
    return s.load


def _unknown(name: str, groups: Sequence[ColumnGroup]) -> Fault:
    short = (*_SHORT, *(g.name for g in groups))
    known = (*short, *(g.column(k + 1) for g in groups for k in range(STRUTS)))
    return Fault(file="--columns", what=unknown("column", name, known), code="unknown-column")
