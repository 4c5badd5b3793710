"""What a program does that breaks no rule and may still be an oversight: remarks, not findings."""

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.kinematics.frames import invert, pose_matrix
from hexpost.machine.model import Machine
from hexpost.moves.model import AFTER, AS_BEFORE, FEED_RAPID, TURNS, Events, Interpretation, Moves
from hexpost.program.model import Program
from hexpost.shelf import windows

EDGE = 1e-6
"""A cut may reach so far beyond the edge of the pallet, mm: rounding."""


def program_remarks(program: Program, meaning: Interpretation, machine: Machine) -> list[str]:
    """Return sentences about cuts with the spindle at rest or beside the pallet, words unused, and a missing end."""
    moves, events = meaning.moves, meaning.events
    cuts = np.flatnonzero(moves.feed_mode != FEED_RAPID)
    out = []
    at = cuts[~_turning(events, cuts)]
    if at.size:
        out.append(f"{_named(program, moves, at[0])} cuts, and the spindle has not been started (M03 or M04).")
    far = beyond_pallet(moves, cuts, machine)
    at = np.flatnonzero(far > EDGE)
    if at.size:
        out.append(
            f"{_named(program, moves, cuts[at[0]])} cuts beyond the edge of the pallet, and cuts reach up to "
            f"{far.max():.4g} mm beyond it: the work overhangs, or its work offset is not the right one."
        )
    for remark in meaning.remarks:
        more = f" ({remark.count} times in all)" if remark.count > 1 else ""
        out.append(f"{_line(program, remark.line)} {remark.text}{more}.")
    if not events.ends.any():
        out.append("The program ends without M30 or M02: the end of the text is taken for it.")
    return out


def beyond_pallet(moves: Moves, chosen: Ints, machine: Machine) -> Array:
    """Return how far (m,) the ends of the ``chosen`` moves (m,) lie beyond the edge of the pallet, mm; arcs by ends."""
    pallet = invert(pose_matrix(machine.pallet.pose, machine.tilt_order))
    frames = np.array([pallet @ f.base_from_work for f in moves.frames])[:, :2]
    half = np.array(machine.pallet.size)[:, None] / 2.0
    out = np.zeros(len(chosen))
    for w in windows(len(chosen)):
        part = chosen[w]
        m = frames[moves.frame[part]]
        for ends in (moves.start, moves.end):
            place = np.einsum("nij,jn->in", m[:, :, :3], ends[:3, part]) + m[:, :, 3].T
            out[w] = np.maximum(out[w], (np.abs(place) - half).max(axis=0))
    return out


def _turning(events: Events, chosen: Ints) -> Flags:
    """Return whether (m,) the spindle turns during the ``chosen`` moves (m,), by the words before them."""
    spindle = events.spindle
    at = np.flatnonzero(spindle != AS_BEFORE)
    since = events.move[at] + (events.rule[at] == AFTER)
    order = np.argsort(since, kind="stable")
    turns = np.concatenate([[False], spindle[at[order]] == TURNS])  # at rest before the first word
    out: Flags = turns[np.searchsorted(since[order], chosen, side="right")]
    return out


def _named(program: Program, moves: Moves, move: int) -> str:
    return _line(program, int(moves.line[move]))


def _line(program: Program, line: int) -> str:
    return f"Line {line} ({program.text(line).strip()})" if 1 <= line <= program.lines else f"Line {line}"
