"""The setup sheet: what must be in the spindle and on the table before a job runs, and how long each tool works."""

from dataclasses import dataclass
from math import isfinite

import numpy as np

from hexpost.arrays import Array, Ints, Lines, distinct
from hexpost.documents import seconds
from hexpost.machine.model import Setup, ShopTimes, Tools
from hexpost.moves.model import AFTER, Events, Interpretation, Moves
from hexpost.report.beside import beside_of
from hexpost.units import DEG_PER_RAD

MOST_SPEEDS = 12
"""So many different spindle speeds of a tool are told, the lowest first and always the highest."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """A row of the tools file that a program names (H or D) and what stands in it, mm; ``None``: no such row."""

    row: int
    value: float | None


@dataclass(frozen=True, slots=True, kw_only=True)
class ToolUse:
    """A tool (0: none in the spindle): seconds of work, length rows H used with it, diameter [mm], S words.

    ``beside``: seconds beside the motion, its own change among them; ``None``: not known.
    """

    tool: int
    seconds: float
    beside: float | None
    lengths: tuple[Row, ...]
    diameter: float | None
    speeds: tuple[float, ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class OffsetUse:
    """A work offset and where its frame lies in the pallet frame, mm and degrees; ``given``: by the setup file."""

    offset: str
    pose: tuple[float, ...]
    given: bool


@dataclass(frozen=True, slots=True, kw_only=True)
class SetupSheet:
    """Tools in the order in which they come, offsets by name, and the rows D that cutter radius compensation uses."""

    tools: tuple[ToolUse, ...]
    offsets: tuple[OffsetUse, ...]
    radius_rows: tuple[Row, ...]


def last_moves(moves: Moves) -> Ints:
    """Return the last move of every stretch that one tool makes."""
    if not moves.count:
        return np.zeros(0, dtype=np.int64)
    tool = _tools(moves)
    return np.flatnonzero(np.append(tool[1:] != tool[:-1], True))


def sheet(
    meaning: Interpretation, tools: Tools, setup: Setup, until: Array, times: ShopTimes | None = None
) -> SetupSheet:
    """Return the sheet of a job; ``until`` (k,) in s is when the stretches of ``last_moves`` end.

    ``times``: what the machine takes beside the motion.
    """
    moves = meaning.moves
    numbers = _tools(moves)
    seconds: dict[int, float] = {}
    for number, time in zip(numbers[last_moves(moves)].tolist(), np.diff(until, prepend=0.0).tolist(), strict=True):
        seconds[number] = seconds.get(number, 0.0) + time
    rows, beside = tools.tools, _beside(meaning, numbers, times or ShopTimes())
    used = [moves.frames[k] for k in distinct(moves.frame).tolist()]
    found = []
    for number, time in seconds.items():
        heights = sorted({f.length_row for f in used if f.tool == number and f.length_row})
        own = rows.get(number)
        found.append(
            ToolUse(
                tool=number,
                seconds=time,
                beside=beside[number],
                lengths=tuple(Row(row=h, value=rows[h].length if h in rows else None) for h in heights),
                diameter=None if own is None else own.diameter,
                speeds=_speeds(meaning, numbers, number),
            )
        )
    return SetupSheet(
        tools=tuple(found),
        offsets=tuple(_offset(name, setup) for name in sorted({f.offset for f in used} - {"G53"})),
        radius_rows=tuple(Row(row=d, value=rows[d].diameter if d in rows else None) for d in meaning.radius_rows),
    )


def sheet_document(found: SetupSheet) -> dict[str, object]:
    """Return the sheet as plain values with units in the names."""
    return {
        "tools": [
            {
                "tool": t.tool,
                "time_s": seconds(t.seconds),
                "beside_s": None if t.beside is None else seconds(t.beside),
                "length_rows": [{"row": r.row, "length_mm": r.value} for r in t.lengths],
                "diameter_mm": t.diameter,
                "spindle_speeds": list(t.speeds),
            }
            for t in found.tools
        ],
        "offsets": [{"offset": o.offset, "pose_mm_deg": list(o.pose), "given": o.given} for o in found.offsets],
        "radius_rows": [{"row": r.row, "diameter_mm": r.value} for r in found.radius_rows],
    }


def _tools(moves: Moves) -> Lines:
    """Return the tool of every move (n,)."""
    return np.array([f.tool for f in moves.frames], dtype=np.int32)[moves.frame]


def _beside(meaning: Interpretation, numbers: Lines, times: ShopTimes) -> dict[int, float | None]:
    """Return the seconds beside the motion of each tool, ``None`` where they are not known."""
    tools, back = np.unique(numbers, return_inverse=True)
    events = meaning.events
    if not len(tools):
        return {}
    spent = beside_of(events, times, back[_move_of(events, len(numbers))], len(tools))
    return {tool: x if isfinite(x) else None for tool, x in zip(tools.tolist(), spent.tolist(), strict=True)}


def _move_of(events: Events, count: int) -> Ints:
    """Return the moves (e,) that events go with: the one after, for one that takes effect after its own."""
    out: Ints = np.clip(events.move + (events.rule == AFTER), 0, count - 1)
    return out


def _speeds(meaning: Interpretation, numbers: Lines, tool: int) -> tuple[float, ...]:
    """Return the S words that are said while a tool is in the spindle, rising."""
    events = meaning.events
    speed = events.speed
    said = np.flatnonzero(np.isfinite(speed))
    if not said.size or not numbers.size:
        return ()
    move = _move_of(events, len(numbers))[said]
    speeds = distinct(speed[said][numbers[move] == tool]).tolist()
    return tuple(speeds if len(speeds) <= MOST_SPEEDS else [*speeds[: MOST_SPEEDS - 1], speeds[-1]])


def _offset(name: str, setup: Setup) -> OffsetUse:
    pose = setup.offsets.get(name, np.zeros(6))
    shown = [round(float(x), 6) + 0.0 for x in (*pose[:3], *(pose[3:] * DEG_PER_RAD))]
    return OffsetUse(offset=name, pose=tuple(shown), given=name in setup.offsets)
