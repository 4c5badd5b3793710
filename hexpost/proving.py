"""Proving a program out, as a shop does with any new one: slower, above the work, block by block, or from a line on."""

from dataclasses import dataclass, replace

import numpy as np

from hexpost.arrays import Flags, Ints
from hexpost.errors import HexpostError
from hexpost.machine.elastic import springs
from hexpost.machine.model import Machine, Setup, Tools
from hexpost.motion import motion
from hexpost.moves.model import Interpretation, Moves, Switches
from hexpost.moves.restart import Restart, head, restarted
from hexpost.path.build import build

MARK = "This job is for proving out"
"""So begins the sentence that marks such a job."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Proving:
    """How a job differs from the one that cuts; a job so made is marked in its manifest and its report.

    ``override`` in per cent of every feed and of the rapid speeds; ``lift`` in mm, all work frames moved up along the
    pallet's z (machine coordinates stay); ``single_block``: rest, and a segment of the table, after every block;
    ``from_line``: with what the program begins again (a line, a block number, the run of one); nothing for the start.
    """

    override: float = 100.0
    lift: float = 0.0
    single_block: bool = False
    from_line: str = ""

    @property
    def settings(self) -> dict[str, object]:
        """Return what the manifest says of it: nothing for a job that cuts."""
        out: dict[str, object] = {}
        if self.override != 100.0:
            out["override_percent"] = self.override
        if self.lift:
            out["lift_mm"] = self.lift
        if self.single_block:
            out["single_block"] = True
        return out

    def notice(self, restart: Restart | None) -> str:
        """Return the sentence that marks the job, or nothing."""
        parts = [] if restart is None else [restart.notice]
        if self.override != 100.0:
            parts.append(f"feeds and rapids at {self.override:g} %")
        if self.lift:
            parts.append(f"all work {self.lift:g} mm higher")
        if self.single_block:
            parts.append("rest after every block")
        return f"{MARK}: {', '.join(parts)}." if parts else ""


AS_PROGRAMMED = Proving()


def begun_again(
    meaning: Interpretation, proving: Proving, machine: Machine, tools: Tools, setup: Setup
) -> tuple[Interpretation, Restart | None]:
    """Return the meaning of a program from its cut on, and where it begins: as it is, if it is not cut."""
    if meaning.cut is None:
        return meaning, None
    ahead, slow = head(meaning), slowed(machine, proving)
    seconds = float(ahead.events.pause.sum())
    if ahead.moves.count:
        moves = proving_moves(ahead.moves, proving)
        seconds = motion(build(moves, slow), moves, ahead.events, slow)[1].ticks * slow.period
    return restarted(meaning, machine, tools, setup, seconds)


def slowed(machine: Machine, proving: Proving) -> Machine:
    """Return the machine with the tool-tip and tilt speeds of the override."""
    share = proving.override / 100.0
    tip = machine.tool_tip
    return replace(machine, tool_tip=replace(tip, speed=tip.speed * share, tilt_speed=tip.tilt_speed * share))


def switched(machine: Machine, switches: Switches) -> Machine:
    """Return the machine with averages of whole periods of the lowest mode, or all effort, where that is asked for.

    Raises
    ------
    HexpostError
        The machine file says no stiffness of a strut.
    """
    if switches.calm and springs(machine) is None:
        what = "--calm-lowest needs the stiffness of every strut"
        raise HexpostError(f"{what}; add [strut.body] stiffness_n_um to the machine file, or leave the option out")
    return replace(machine, calm=switches.calm, effort=switches.effort)


def proving_moves(moves: Moves, proving: Proving) -> Moves:
    """Return the moves with the feeds of the override and, block by block, rest at the end of every line."""
    if proving.override != 100.0:
        moves = replace(moves, feed=moves.feed * (proving.override / 100.0))
    if proving.single_block:
        stop: Flags = moves.stop.copy()
        stop[block_ends(moves)] = True
        moves = replace(moves, stop=stop)
    return moves


def block_ends(moves: Moves) -> Ints:
    """Return the last move of every stretch of moves that stem from one line."""
    line = moves.line
    out: Ints = np.flatnonzero(np.append(line[1:] != line[:-1], True)) if len(line) else np.zeros(0, dtype=np.int64)
    return out
