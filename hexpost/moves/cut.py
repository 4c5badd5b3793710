"""Where a program is to begin again: what the interpreter hands on of the blocks ahead of it."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class RestartPoint:
    """Where a program begins again: ahead of ``block`` (line, run, runs); ``left_out`` are blocks and holes.

    ``tool`` is in the spindle, 0 for none; in the frame of place ``frame`` it goes to where the block before ends.
    """

    block: tuple[int, int, int]
    left_out: tuple[int, int]
    moves: int
    events: int
    tool: int
    frame: int
