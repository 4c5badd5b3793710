"""How open points of the standard were read in a program, in words for the report."""

import numpy as np

from hexpost.arrays import Array, among
from hexpost.machine.model import Tools
from hexpost.machine.wording import AskedUnits, Wording
from hexpost.machine.words import NONE, OPTIONAL_STOP
from hexpost.moves.model import FEED_INVERSE, FEED_TILT, FEED_TIP, FIRST_FEED, Arcs, Remark, Switches
from hexpost.moves.motion.feeds import MoveFeeds
from hexpost.moves.reading.dwells import Dwells
from hexpost.moves.window.blocks import Blocks
from hexpost.moves.window.extract import Extract
from hexpost.moves.window.modes import INCH, SAME_AS
from hexpost.moves.window.sheet import Sheet
from hexpost.moves.window.state import State
from hexpost.units import SECONDS_PER_MINUTE

INCH_CODES = (INCH, *(code for code, same in SAME_AS.items() if same == INCH))
INVERSE_TIME = {
    "time": "inverse time (G93): a block lasts 1/F minutes, lines and arcs alike",
    "radius": "inverse time (G93): a line lasts 1/F minutes, an arc its angle (in radians) over F",
}
MIXED_FEED = {
    "tip": "F where X Y Z and A B C move: speed of the tool tip along its path",
    "linear": "F where X Y Z and A B C move: speed of X Y Z, which are the tool tip",
    "root-sum-square": "F where X Y Z and A B C move: root sum square of lengths and degrees, per minute",
}


def readings(blocks: Blocks, dwells: Dwells, tools: Tools, fed: MoveFeeds, arcs: Arcs) -> tuple[str, ...]:
    """Return a sentence for each reading that this program needed, but that of units (``unstated``)."""
    sheet = blocks.sheet
    said = [
        (bool(dwells.letters), f"dwell (G04): the time is {', '.join(dwells.letters)}"),
        (_has(sheet, "tool length", 44), "G44 subtracts the length of its row"),
        (
            bool(
                sheet.group("polar coordinates").count
                or sheet.group("scale factors").count
                or sheet.group("turned coordinates").count
            ),
            "G15 G50 G69 end polar coordinates, scaling and turned coordinates, which are never on: nothing changes",
        ),
        (_has(sheet, "path control", 62), "G62 is continuous, as G64"),
        (_has(sheet, "path control", 60), "G60 stops exactly at the end of every feed move, as G61"),
        (
            bool((fed.line == FIRST_FEED).any()),
            f"F: none in the program, {_first(blocks.reading):g} mm/min by first_feed_mm_min of the machine file",
        ),
        (
            bool(len(arcs.move)) and _absolute(blocks),
            "arc centres I J K are absolute: places in the coordinates of X Y Z, under G91 too",
        ),
        (bool((fed.mode == FEED_INVERSE).any()), INVERSE_TIME[blocks.reading.inverse_time_arc]),
        (
            blocks.reading.rotary == "shortest" and any(sheet.letter(x).count for x in "ABC"),
            "absolute A B C turn the shortest way: at most half a turn",
        ),
        (
            len(arcs.move) > 0,
            f"arcs: start and end radius may differ by {blocks.reading.arc_tolerance:g} mm",
        ),
        (bool((fed.mode == FEED_TILT).any()), "F where only A B C move: degrees per minute, norm of their changes"),
        (
            bool(((fed.mode == FEED_TIP) & fed.tilt).any()),
            MIXED_FEED[blocks.reading.mixed_feed],
        ),
        (
            not tools.given and sheet.letter("H").count + sheet.group("tool change").count > 0,
            "no tools file: every tool has length 0",
        ),
    ]
    return tuple(text for used, text in said if used)


def first_motion(reading: Wording) -> int:
    """Return the code of motion ahead of the first motion word, as the machine file says; else ``NONE``."""
    return NONE if reading.first_motion in (None, "refuse") else int(reading.first_motion[1:])


def begun(blocks: Blocks, state: State) -> tuple[str, ...]:
    """Return a sentence on blocks that move ahead of the first motion word; ``state`` is that ahead of the blocks."""
    if state.motion != NONE or state.first_motion == NONE:
        return ()
    words = blocks.sheet.group("motion")
    ahead = int(words.row[0]) if words.count else blocks.sheet.rows
    unsaid = blocks.movement.moving.copy()
    unsaid[ahead:], unsaid[blocks.sheet.group("motion once").row] = False, False
    if not unsaid.any():
        return ()
    return (f"motion: none stated at the head of the program, {blocks.reading.first_motion} by the machine file",)


def unstated(blocks: Blocks, asked: AskedUnits | None) -> tuple[str, ...]:
    """Return a sentence on the units of a program that states none, and on who asked for them."""
    units = blocks.reading.units
    if units is None or not (blocks.modes.units == NONE).any():
        return ()
    by = "the machine file"
    if asked is not None:
        other = asked.file is not None and asked.file != units
        by = "what was asked for (--units or policy)" + (f"; the machine file says {asked.file}" if other else "")
    return (f"units: none stated by the program at its head, {units} by {by}",)


class UnitsAside:
    """Notes where a program states other units than those that were asked for: its own word counts."""

    def __init__(self, asked: AskedUnits | None) -> None:
        self._asked, self._line, self._count = asked, 0, 0

    def look(self, blocks: Blocks) -> None:
        """Take in a window."""
        words = blocks.sheet.group("units")
        if self._asked is None or not words.count:
            return
        other = among(words.value, INCH_CODES) != (self._asked.units == "inch")
        lines = blocks.complaints.line(words.row[other])
        self._count += len(lines)
        self._line = self._line or int(lines[0]) if len(lines) else self._line

    def remarks(self) -> tuple[Remark, ...]:
        """Return what is to be said of it."""
        if not self._count or self._asked is None:
            return ()
        stated = "mm" if self._asked.units == "inch" else "inch"
        text = f"states {stated}, and {self._asked.units} was asked for (--units or policy): the program's word counts"
        return (Remark(line=self._line, text=text, count=self._count),)


def switched(extract: Extract, switches: Switches) -> tuple[str, ...]:
    """Return a sentence for each switch of the operator that the program asks about."""
    stops = (extract.letter == ord("M")) & (extract.value == OPTIONAL_STOP)
    said = [
        (
            bool(len(extract.program.skip)),
            "blocks that begin with / are skipped (--skip)" if switches.skip else "blocks that begin with / are run",
        ),
        (
            bool(stops.any()),
            "M01 stops as M00 does" if switches.stops else "M01 does not stop (--no-stops)",
        ),
    ]
    return tuple(text for used, text in said if used)


def unpointed(extract: Extract, reading: Wording) -> tuple[str, ...]:
    """Return a sentence on lengths that are written without a point."""
    if not (~extract.pointed & (extract.letter >= ord("X")) & (extract.letter <= ord("Z"))).any():
        return ()
    if reading.numbers == "implied":
        return ("numbers without a point: the point is where the format of the machine file puts it",)
    return ("numbers without a point are read as written: X10 is 10, not 10 increments",)


def _first(reading: Wording) -> float:
    """Return the feed of programs without any F, mm/min."""
    return (reading.first_feed or 0.0) * SECONDS_PER_MINUTE


def _absolute(blocks: Blocks) -> bool:
    """Return whether any block has absolute arc centres in force."""
    mode = blocks.modes.arc_mode
    return bool((mode == 1).any() or (blocks.reading.arc_centre == "absolute" and (mode == NONE).any()))


def _has(sheet: Sheet, group: str, code: int) -> bool:
    """Return whether a code of a group stands in the program."""
    values: Array = sheet.group(group).value
    return bool(np.any(values == code))
