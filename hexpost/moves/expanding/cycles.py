"""Fixed cycles spelled out: what each hole block of G73, G81 to G89 moves, waits and switches.

The table (how the tool goes in, what happens at the bottom, how it comes out) is common practice, no source. A textbook
confirms the way out of G85, the spindle of G86, and the full way out after each peck of G83: CNC Manufacturing
Technology (online textbook, United States, 2021), pages 213 and 218.
"""

from dataclasses import dataclass
from math import pi, sin

import numpy as np

from hexpost.arrays import Array
from hexpost.kinematics.frames import pose_matrix
from hexpost.machine.words import CUTTER_OFF, INITIAL_LEVEL, SPINDLE_ON
from hexpost.moves.expanding.draft import Row, Speller, parted
from hexpost.moves.expanding.hole import RECIPES, USES, Bore, bore
from hexpost.moves.window.modes import AXES, INCREMENTAL, PLANES, Modes
from hexpost.moves.window.state import Cycle
from hexpost.units import RAD_PER_DEG

ALONG = sin(0.01 * pi / 180.0)
"""The tool lies along the axis of a cycle within 0.01 degrees."""
MOST_MOVES = 20_000
"""One block may stand for so many pecks and holes."""
MOST_IN_ALL = 1_000_000
"""So many may a whole program stand for."""
FRAME_WORDS = ("work offset", "tool length", "H")
"""Words that change where the work frame or the tool tip is."""
OWN = ("motion", "machine coordinates", *AXES, *"RPQLK")
"""What is left out of a block of a cycle that was refused."""
STAYING = ("spindle", "S", "F", "cycle return", "cutter radius")
"""Words whose last value a cycle depends on."""
LEFT_TAP = "G74"  # where a machine file reads it as the tap (common practice, no source)
PITCHES = (0.05, 20.0)
"""Millimetres per revolution that a tap may have."""


@dataclass(slots=True)
class _Block:
    """One block of a cycle: its row, words, millimetres per unit, whether incremental, axis of its plane."""

    row: int
    words: Row
    at: int
    scale: float
    incremental: bool
    axis: int


class Holes:
    """Spells out the blocks of a stretch in which a cycle is in force; the place is followed from hole to hole."""

    def __init__(self, speller: Speller, modes: Modes, scale: Array) -> None:
        self.speller, self.modes, self.scale = speller, modes, scale
        self.pose: Array | None = None
        self.now: dict[str, float] = {}

    def begin(self) -> None:
        """Forget where the tool is: something else has moved it, or the frame."""
        self.pose = None

    def block(self, row: int, words: Row) -> None:
        """Spell out one block; one without axis words or R only sets what it says."""
        state = self.speller.state
        at = next(iter(words.values()))[0] if words else 0
        b = _Block(row, words, at, float(self.scale[row]), bool(self.modes.distance[row] == INCREMENTAL),
                   PLANES[int(self.modes.plane[row])][2])  # fmt: skip
        if "cycle" in words:
            b.at, code = words.pop("cycle")
            called = state.call(int(code), int(self.speller.complaints.line(np.array([row]))[0]))
            called.broken = False
            called.left = self.speller.complaints.written(b.at) == LEFT_TAP
        cycle = state.cycle
        assert cycle is not None
        cycle.broken = cycle.broken or not self._plain(b)
        if cycle.broken:
            self.speller.draft.add(row, {key: words[key] for key in words if key not in OWN})
            return
        if "dwell" in words:
            self.speller.draft.add(row, words)
            return
        calling = "subprogram" in words  # then P and L say what runs, and how often
        repeat = None if calling else words.pop("L", None)
        repeat = repeat or words.pop("K", None)
        for name in "Q" if calling else "PQ":
            if name in words:
                cycle.words[name] = words.pop(name)
                self._refuse_unused(name, cycle)
        here = [x for x in (*AXES, "R") if x in words]
        if repeat and not here:
            self.speller.refuse(repeat[0], "repeat-without-hole", "how often, in a block that makes no hole")
        frame = {key: words.pop(key) for key in FRAME_WORDS if key in words}
        if frame:
            self.speller.draft.add(row, frame)
            self.begin()
        if not here:
            self.speller.draft.add(row, words)
        else:
            cycle.broken = not self._holes(b, cycle, repeat)
        self.now |= {key: words[key][1] for key in STAYING if key in words}

    def _refuse_unused(self, name: str, cycle: Cycle) -> None:
        """Report a dwell or a peck of a cycle that makes none."""
        recipe, at = RECIPES[cycle.code], cycle.words[name][0]
        if not (recipe.pecks if name == "Q" else recipe.dwell):
            what = f"{self.speller.complaints.written(at)} is {USES[name]}, and G{cycle.code} makes none"
            self.speller.refuse(at, "cycle-word-unused", what, "take it out, or write the cycle it is of")

    def _plain(self, b: _Block) -> bool:
        """Return whether the block can be of a cycle at all; report it if not."""
        for key, code, what in (
            ("motion", "two-motions", "a motion word and a fixed cycle in one block"),
            ("machine coordinates", "cycle-in-machine-coordinates", "G53 while a fixed cycle is in force"),
        ):
            if key in b.words:
                hint = "end the cycle with G80 before it" if key != "motion" else "write them into blocks of their own"
                self.speller.refuse(b.words[key][0], code, what, hint)
                return False
        if self.modes.feed_mode[b.row] == 93:
            self.speller.refuse(b.at, "cycle-inverse-time", "a fixed cycle under inverse time (G93)", "write G94")
            return False
        return True

    def _holes(self, b: _Block, cycle: Cycle, repeat: tuple[int, float] | None) -> bool:
        """Spell out the holes of a block; return whether that could be done."""
        speller = self.speller
        pose = self._place(b, cycle)
        turned = self._turned(b, pose)
        if self._now(b, "cutter radius") != CUTTER_OFF:
            speller.refuse(b.at, "cycle-beside-contour", "a fixed cycle under G41 or G42", "write G40 before it")
            return False
        times = self._times(repeat)
        chain = speller.book.chain
        along = pose_matrix(turned, speller.machine.tilt_order)[:3, 2] if chain is None else chain.along(turned[3:])
        up = 1.0 if along[b.axis] > 0.0 else -1.0
        if np.linalg.norm(np.delete(along, b.axis)) > ALONG:
            speller.refuse(
                b.at,
                "cycle-tool-not-along",
                f"the tool does not lie along {AXES[b.axis]}, the axis of the cycle, within 0.01 degrees",
                "check A B C, the plane (G17 G18 G19) and the work offset",
            )
            return False
        if times is None or not self._levels(b, cycle, up):
            return False
        hole = self._bore(b, cycle, up)
        if hole is None or not self._few(b, hole, max(times, 1)):
            return False
        early, late = parted({k: w for k, w in b.words.items() if k not in (*AXES, "R")})
        sideways = {x: b.words[x] for i, x in enumerate(AXES) if x in b.words and i != b.axis}
        self._drill(b, (early, sideways, late), hole, times)
        speller.state.drill(cycle, times)
        pose[3:] = turned[3:]
        for i in (i for i in range(3) if i != b.axis and AXES[i] in b.words and times):
            value = b.words[AXES[i]][1] * b.scale
            pose[i] = pose[i] + times * value if b.incremental else value
        if times:
            pose[b.axis] = hole.back
        return True

    def _drill(self, b: _Block, words: tuple[Row, Row, Row], hole: Bore, times: int) -> None:
        """Draft the rows of all holes of a block."""
        early, sideways, late = words
        draft, axis = self.speller.draft, AXES[b.axis]
        to = hole.mover(axis, b.at, b.scale)
        assert self.pose is not None
        level = float(self.pose[b.axis])
        for _ in range(times):
            if hole.up * level < hole.up * hole.r:
                draft.add(b.row, {**early, **to(hole.r, rapid=True)})
                early, level = {}, hole.r
                self.speller.say("a cycle that begins below its R plane: the tool rises to R first")
            draft.add(b.row, {**early, **sideways, "motion once": (b.at, 0)})
            early = {}
            for row in bore(hole, axis, b.at, b.scale, self.speller.machine.words):
                draft.add(b.row, row)
            level = hole.back
        if early or late:
            draft.add(b.row, {**early, **late})

    def _place(self, b: _Block, cycle: Cycle) -> Array:
        """Return where the tool is (6,), and settle the level from which the cycle began."""
        state = self.speller.state
        if self.pose is None:
            self.pose = self.speller.here()
            self.now = dict(
                zip(STAYING, (state.spindle, state.speed, state.feed, state.cycle_return, state.cutter), strict=True)
            )
        frame = self.speller.book.frame(state.key.number)
        if cycle.place is None or cycle.frame is None or cycle.axis != b.axis:
            cycle.initial = float(self.pose[b.axis])
        elif cycle.frame is not frame:
            place = cycle.place.copy()
            place[b.axis] = cycle.initial
            cycle.initial = float(self.speller.book.seen(place, cycle.frame, frame, self.pose[3:])[b.axis])
        cycle.axis, cycle.frame, cycle.place = b.axis, frame, self.pose.copy()
        return self.pose

    def _turned(self, b: _Block, pose: Array) -> Array:
        """Return the pose (6,) with the angles that the block names."""
        out = pose.copy()
        for i, x in enumerate(AXES[3:], 3):
            if x in b.words:
                out[i] = b.words[x][1] * RAD_PER_DEG + (out[i] if b.incremental else 0.0)
        return out

    def _times(self, repeat: tuple[int, float] | None) -> int | None:
        """Return how many holes the block drills."""
        if repeat is None:
            return 1
        at, value = repeat
        if value != int(value) or not 0 <= value <= MOST_MOVES:
            self.speller.refuse(at, "repeat-bad", f"L counts holes; write a whole number from 0 to {MOST_MOVES}")
            return None
        return int(value)

    def _levels(self, b: _Block, cycle: Cycle, up: float) -> bool:
        """Take R and the depth from the block; return whether both are known and the depth lies below R."""
        depth = AXES[b.axis]
        if "R" in b.words:
            cycle.r = b.words["R"][1] * b.scale + (cycle.initial if b.incremental else 0.0)
        if depth in b.words and not np.isnan(cycle.r):
            cycle.bottom = b.words[depth][1] * b.scale + (cycle.r if b.incremental else 0.0)
        if np.isnan(cycle.r):
            self.speller.refuse(b.at, "cycle-r-missing", f"G{cycle.code} has no R, the level where feed begins")
            return False
        if np.isnan(cycle.bottom):
            self.speller.refuse(b.at, "cycle-depth-missing", f"G{cycle.code} has no {depth}, the bottom of the hole")
            return False
        if up * (cycle.r - cycle.bottom) <= 0.0:
            hint = "depths are read as places under G90 and as increments from R under G91"
            self.speller.refuse(b.at, "cycle-upside-down", "the bottom of the hole is not below its R plane", hint)
            return False
        return True

    def _bore(self, b: _Block, cycle: Cycle, up: float) -> Bore | None:
        """Return the hole that the block asks for; report what it lacks."""
        speller, recipe, name = self.speller, RECIPES[cycle.code], f"G{cycle.code}"
        out = Bore(recipe=recipe, r=cycle.r, bottom=cycle.bottom, back=cycle.r, up=up)
        returning = self._now(b, "cycle return")
        if returning == INITIAL_LEVEL and up * cycle.initial > up * cycle.r:
            out.back = cycle.initial
        peck, dwell = cycle.words.get("Q"), cycle.words.get("P")
        if recipe.pecks and (peck is None or peck[1] <= 0.0):
            speller.refuse(b.at, "cycle-peck-missing", f"{name} has no Q above 0; write Q with the depth of a peck")
            return None
        if recipe.dwell == "must" and dwell is None:
            speller.refuse(b.at, "cycle-dwell-missing", f"{name} has no P; write P with the time at the bottom")
            return None
        out.peck = peck[1] * b.scale if recipe.pecks and peck else 0.0
        out.dwell = dwell if recipe.dwell and dwell and dwell[1] > 0.0 else None
        if recipe.by_hand and speller.machine.words.manual_withdrawal is None:
            speller.refuse(
                b.at,
                "cycle-by-hand",
                f"{name} ends with a withdrawal by hand, which takes a time that is not known",
                "write G86 or G89, or set words.manual_withdrawal_s in the machine file",
            )
            return None
        return out if self._spindle(b, cycle, out) else None

    def _spindle(self, b: _Block, cycle: Cycle, out: Bore) -> bool:
        """Settle how the spindle turns in a hole; return whether a tap can be cut."""
        speller = self.speller
        turning, speed = int(self._now(b, "spindle")), self._now(b, "S")
        out.spindle, out.hand = {13: 3, 14: 4}.get(turning, turning), -1 if cycle.left else 1
        if not out.recipe.tap:
            if out.recipe.spindle_stops:
                out.start = turning not in SPINDLE_ON
                out.spindle = out.spindle if turning in SPINDLE_ON else 3
            return True
        if turning not in SPINDLE_ON or not speed > 0.0:
            what = f"the spindle does not turn at G{cycle.code}; write M03 or M04 and S before it"
            speller.refuse(b.at, "cycle-spindle-off", what)
            return False
        written = self._now(b, "F") * b.scale
        pitch = written if self.modes.feed_mode[b.row] == 95 else written / speed
        if not np.isnan(pitch) and not PITCHES[0] <= pitch <= PITCHES[1]:
            side, end = ("least", PITCHES[0]) if pitch < PITCHES[0] else ("most", PITCHES[1])
            what = f"the pitch of the tap (feed over speed) is {pitch:.4g} mm; it must be at {side} {end:g}"
            speller.refuse(b.at, "cycle-pitch-odd", what, "the feed of a tap is its pitch times the spindle speed")
            return False
        speller.say("G84: a floating tap holder is assumed; the spindle is reversed at the bottom without a pause")
        return True

    def _now(self, b: _Block, key: str) -> float:
        """Return the value in force in a block of a word that stays so."""
        return b.words[key][1] if key in b.words else self.now[key]

    def _few(self, b: _Block, hole: Bore, times: int) -> bool:
        """Return whether a block stands for few enough moves."""
        pecks = abs(hole.r - hole.bottom) / hole.peck if hole.peck else 1.0
        self.speller.state.holes += times * pecks
        if times * pecks <= MOST_MOVES and self.speller.state.holes <= MOST_IN_ALL:
            return True
        most = MOST_MOVES if times * pecks > MOST_MOVES else MOST_IN_ALL
        what = f"holes or pecks up to here make more than {most:,}: are the peck and the repeat count right?"
        self.speller.refuse(b.at, "too-many-moves", what)
        return False
