"""Rules about the program that need no samples: tool length, tool number, retracts that go down."""

from collections.abc import Callable

import numpy as np

from hexpost.audit.band import Context
from hexpost.audit.breaches import MACHINE_FRAME, Breaches, stretches
from hexpost.audit.shop_floor import rapid_below, return_path, spindle_off, tapping, tool_call
from hexpost.machine.model import Tools
from hexpost.moves.model import FEED_RAPID, Frame, Moves

DOWN = 1e-6
"""A retract may go down by this much, mm: rounding."""


def tool_length(context: Context) -> Breaches | None:
    """Return stretches of feed moves without tool length although the tool in the spindle has one.

    A stretch is what lies between two changes of frame. Peak is the length that is missing, mm; none may be.
    """
    if not context.tools.given:
        return None
    moves = context.moves
    missing = np.array([_missing_length(f, context.tools) for f in moves.frames])
    first, last = stretches(moves, (missing > 0.0)[moves.frame] & (moves.feed_mode != FEED_RAPID))
    peak = missing[moves.frame[first]]
    return Breaches(
        limit="tool-length", first=first, last=last, peak=peak, allowed=np.zeros(len(peak)), ratio=1.0 + peak
    )


def tool_number(context: Context) -> Breaches:
    """Return stretches of moves whose H is not the tool in the spindle. Peak is H, allowed the tool."""
    moves = context.moves
    active = np.array([f.length_row for f in moves.frames], dtype=np.float64)
    mounted = np.array([f.tool for f in moves.frames], dtype=np.float64)
    wrong = (active > 0.0) & (mounted > 0.0) & (active != mounted)
    first, last = stretches(moves, wrong[moves.frame])
    frame = moves.frame[first]
    return Breaches(
        limit="tool-number", first=first, last=last, peak=active[frame], allowed=mounted[frame],
        ratio=np.full(len(frame), 2.0),
    )  # fmt: skip


def retract(context: Context) -> Breaches:
    """Return the moves in machine coordinates that go down along z of the base. Peak is by how much, mm."""
    moves = context.moves
    machine = np.array([f.offset == MACHINE_FRAME for f in moves.frames])
    some = np.flatnonzero(machine[moves.frame])
    up = np.array([f.base_from_work[2, :3] for f in moves.frames])[moves.frame[some]]
    down = -np.einsum("nj,jn->n", up, moves.end[:3, some] - moves.start[:3, some])
    at, down = some[down > DOWN], down[down > DOWN]
    return Breaches(limit="retract", first=at, last=at, peak=down, allowed=np.zeros(len(at)), ratio=1.0 + down)


Rule = Callable[[Context], Breaches | None]
"""Finds what breaks a rule, or none where nobody can look; asked only where there are moves."""

RULES: tuple[Rule, ...] = (
    tool_length, tool_number, retract, return_path, tool_call, tapping, spindle_off, rapid_below,
)  # fmt: skip
"""All rules about the program."""


def tool_warnings(moves: Moves, tools: Tools, text: Callable[[int], str]) -> list[str]:
    """Return sentences on tools that cannot be checked; ``text`` gives the text of a line."""
    out = []
    cutting = moves.feed_mode != FEED_RAPID
    bare = np.array([f.offset != MACHINE_FRAME and not f.length_row for f in moves.frames], dtype=bool)
    never = not any(f.tool for f in moves.frames)  # else a tool that is used before it is called is a finding
    unknown = np.array([never and f.length_row > 0 for f in moves.frames], dtype=bool)
    unequipped = bare & never
    at = np.flatnonzero(cutting & (bare if not tools.given else unequipped)[moves.frame])
    if at.size:
        line = int(moves.line[at[0]])
        why = "the program has called no tool (T, M06)" if tools.given else "there is no tools file"
        out.append(f"Line {line} ({text(line)}) cuts with no tool length active, and {why}: the tip is taken to be "
                   "the spindle gauge point.")  # fmt: skip
    at = np.flatnonzero(unknown[moves.frame])
    if at.size:
        line, row = int(moves.line[at[0]]), moves.frames[moves.frame[at[0]]].length_row
        out.append(f"Line {line} ({text(line)}) moves with length H{row}, but the program has called no tool (T, "
                   "M06): whether that tool is in the spindle is not known.")  # fmt: skip
    return out


def _missing_length(frame: Frame, tools: Tools) -> float:
    """Return the length of the tool in the spindle that no length word accounts for, mm."""
    tool = tools.tools.get(frame.tool)
    if tool is None or frame.length_row or frame.offset == MACHINE_FRAME:
        return 0.0
    return tool.length
