"""What a program does that breaks no rule and may still be an oversight: remarks, not findings."""

import numpy as np

from hexpost.arrays import Array, Ints
from hexpost.kinematics.frames import invert, pose_matrix
from hexpost.machine.model import Machine
from hexpost.moves.model import FEED_RAPID, Interpretation, Moves
from hexpost.program.model import Program
from hexpost.shelf import windows

EDGE = 1e-6
"""A cut may reach so far beyond the edge of the pallet, mm: rounding."""


def program_remarks(program: Program, meaning: Interpretation, machine: Machine) -> list[str]:
    """Return sentences about cuts beside the pallet, words unused, and a missing end."""
    moves, events = meaning.moves, meaning.events
    cuts = np.flatnonzero(moves.feed_mode != FEED_RAPID)
    out = []
    far = beyond_pallet(moves, cuts, machine)
    at = np.flatnonzero(far > EDGE)
    if at.size:
        out.append(
            f"{_named(program, moves, cuts[at[0]])} cuts beyond the edge of the pallet, and cuts reach up to "
            f"{far.max():.4g} mm beyond it: the work overhangs, or its work offset is not the right one."
        )
    out += [sentence(program, remark.line, remark.text, remark.count) for remark in meaning.remarks]
    if not events.ends.any():
        out.append("The program ends without M30 or M02: the end of the text is taken for it.")
    return out


def sentence(program: Program, line: int, text: str, count: int) -> str:
    """Return a remark on what a line does, with how often it is so."""
    return f"{_line(program, line)} {text}{f' ({count:,} times in all)' if count > 1 else ''}."


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


def _named(program: Program, moves: Moves, move: int) -> str:
    return _line(program, int(moves.line[move]))


def _line(program: Program, line: int) -> str:
    return f"Line {line} ({program.text(line).strip()})" if 1 <= line <= program.lines else f"Line {line}"
