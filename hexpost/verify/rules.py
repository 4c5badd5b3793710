"""Rules that need no strut, found again: the tip above the pallet, retracts that go up, tool length and tool number."""

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.machine.model import Machine, Tools
from hexpost.moves.model import FEED_RAPID, Interpretation, Moves
from hexpost.verify.follow import Placed
from hexpost.verify.model import Check, Faults
from hexpost.verify.rows import Rows
from hexpost.verify.shop_floor import ROOM, ShopFloor
from hexpost.verify.struts import Angles
from hexpost.verify.told import Broken, Told

PALLET, RETRACT, LENGTH, NUMBER = "pallet", "retract", "tool-length", "tool-number"
LIMITS = (PALLET, RETRACT, LENGTH, NUMBER)
_FACE, _DOWN = 1e-6, 1e-6
"""A tip may be this far below the face, and a retract go down by this much, mm."""
_ROOM = 1e-6


class Rules:
    """Lines that break a rule: depths below the pallet from the rows, the others from the moves of the program."""

    def __init__(self, machine: Machine, tools: Tools, meaning: Interpretation) -> None:
        moves = meaning.moves
        pose = machine.pallet.pose
        self._turned = Angles(machine.tilt_order).matrices(pose[3:, None])[0].T
        self._origin = pose[:3]
        self._half = (machine.pallet.size[0] / 2.0, machine.pallet.size[1] / 2.0)
        self._room = _ROOM
        self.broken = {name: Broken() for name in LIMITS} | ShopFloor(machine, tools, meaning).broken
        self._retracts(moves)
        self._tools(moves, tools)

    def add(self, rows: Rows, p: Placed) -> None:
        """Look at the tip at the new rows of a piece."""
        m, q = p.struts.frame.base_from_work, p.q[:3, p.old :]
        turn, shift = self._turned @ m[:3, :3], self._turned @ (m[:3, 3] - self._origin)
        height = turn[2] @ q + shift[2]
        noise = float(p.noise[0].max())
        if not height.min() < -_FACE + noise:
            return
        x, y = turn[:2] @ q + shift[:2, None]
        aside = np.maximum(np.abs(x) - self._half[0], np.abs(y) - self._half[1])
        sure = (height < -_FACE - noise) & (aside < -noise)
        may = (height < -_FACE + noise) & (aside < noise)
        self._room = max(self._room, noise)
        self.broken[PALLET].note(rows.line[rows.new][p.at], -height, sure, may)

    def check(self, told: Told) -> Check:
        """Check that the report tells of these lines and of no others, and that nothing else is in it."""
        faults = Faults()
        for name, broken in self.broken.items():
            told.compare((name, 0), broken, faults, key="peak", room=self._room if name == PALLET else ROOM)
        told.rest(faults)
        lines = {name: len(b.most) for name, b in self.broken.items() if b.most}
        found = ", ".join(f"{name} in {count} lines" for name, count in lines.items()) or "none is broken"
        return Check(
            name="rules", text=f"pallet, way home, tool length and number, calls, taps: {found}", faults=faults.told()
        )

    def _put(self, name: str, moves: Moves, at: Ints, peaks: Array) -> None:
        every = np.ones(len(at), dtype=bool)
        self.broken[name].note(moves.line[at].astype(np.int64), peaks, every, every)

    def _retracts(self, moves: Moves) -> None:
        """Find moves in machine coordinates whose end is lower than their start, along z of the base."""
        machine = np.array([f.offset == "G53" for f in moves.frames], dtype=bool)
        at = np.flatnonzero(machine[moves.frame])
        up = np.array([f.base_from_work[2, :3] for f in moves.frames]).reshape(-1, 3)[moves.frame[at]]
        fall = ((moves.start[:3, at] - moves.end[:3, at]).T * up).sum(axis=1)
        self._put(RETRACT, moves, at[fall > _DOWN], fall[fall > _DOWN])

    def _tools(self, moves: Moves, tools: Tools) -> None:
        """Find the first moves, in every stretch of one frame, that cut without length or move with a wrong one."""
        lacking, wrong = np.zeros(len(moves.frames)), np.zeros(len(moves.frames))
        for k, f in enumerate(moves.frames):
            tool = tools.tools.get(f.tool)
            if tools.given and tool is not None and not f.length_row and f.offset != "G53":
                lacking[k] = tool.length
            if f.length_row > 0 and f.tool > 0 and f.length_row != f.tool:
                wrong[k] = f.length_row
        feeds = moves.feed_mode != FEED_RAPID
        for name, sizes, some in ((LENGTH, lacking, feeds), (NUMBER, wrong, np.ones_like(feeds))):
            bad: Flags = (sizes > 0.0)[moves.frame] & some
            at = np.flatnonzero(bad)
            stretch = np.cumsum(np.append(0, moves.frame[1:] != moves.frame[:-1])[: moves.count])[at]
            first = at[np.append(True, stretch[1:] != stretch[:-1])[: len(at)]]
            self._put(name, moves, first, sizes[moves.frame[first]])
