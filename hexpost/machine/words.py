"""The one table of words: what each means and which of them replace one another.

A word of a group stays in force until another of its group (notes to the table of GOST 20999-83, a national form of
ISO 6983-1). That words of one group cannot be in one block is common practice, no source.

The source of a word says where its meaning comes from. The body of ISO 6983-1 could not be opened: what is marked "from
memory" was not seen in any text; the rest was seen in those notes, in the table of the sister standard JB 3208-83, or
in a list of the codes of EIA RS-274-D.
"""

from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from hexpost.arrays import Array, Codes

TENTHS = 10
"""Codes are told apart to a tenth: a code with a decimal is a code of its own."""
HIGHEST = 999 * TENTHS + 9
ONE_BLOCK = ("dwell", "machine coordinates", "exact stop once", "reference return", "preset", "subprogram")
"""Groups whose words act in their own block only."""


ISO, RECALLED, EIA, TRADE = "ISO 6983", "ISO 6983, from memory", "RS-274-D", "common practice"
"""Sources of the meaning of a word."""


HARMLESS = ("dwell", "plane", "path control", "cycle return", "feed mode", "stop", "coolant", "override")
"""Groups whose words neither move, spin, change a tool nor shift where the tool goes."""


@dataclass(frozen=True, slots=True)
class Word:
    """One word: address letter, code (``None``: the letter takes a value), modal group, source, what it does."""

    letter: str
    code: float | None
    group: str
    source: str
    does: str

    @property
    def name(self) -> str:
        """Return the word as people write it: ``"G01"``, ``"X"``."""
        if self.code is None:
            return self.letter
        return f"{self.letter}{self.code:02.0f}" if self.code == int(self.code) else f"{self.letter}{self.code:g}"


def _codes(letter: str, group: str, source: str, *rows: tuple[int, str]) -> tuple[Word, ...]:
    """Return words of one group of codes."""
    return tuple(Word(letter, code, group, source, does) for code, does in rows)


WORDS: tuple[Word, ...] = (
    *_codes(
        "G", "motion", ISO,
        (0, "rapid: straight in all six coordinates, from rest to rest, as fast as the tool tip may"),
        (1, "straight line at feed"),
        (2, "arc or helix, clockwise: from the second axis of the plane to the first"),
        (3, "arc or helix, counter-clockwise: from the first axis of the plane to the second"),
    ),
    *_codes("G", "dwell", ISO, (4, "dwell: time by X or F (seconds) or P (milliseconds), or as the machine file says")),
    *_codes("G", "exact stop once", ISO, (9, "exact stop: at the end of this block")),
    *_codes("G", "plane", EIA, (17, "plane XY"), (18, "plane ZX"), (19, "plane YZ")),
    *_codes("G", "units", TRADE, (20, "inch"), (21, "millimetre")),
    *_codes("G", "units", EIA, (70, "inch"), (71, "millimetre")),
    *_codes(
        "G", "cutter radius", EIA,
        (40, "cutter radius compensation off: with the next move in the plane"),
        (41, "tool left of the contour: by half the diameter of row D, from the next move in the plane on"),
        (42, "tool right of the contour: by half the diameter of row D, from the next move in the plane on"),
    ),
    *_codes(
        "G", "tool length", RECALLED,
        (43, "tool length of row H along the tool axis"),
        (44, "tool length of row H, subtracted"),
    ),
    *_codes("G", "tool length", TRADE, (49, "tool length off")),
    *_codes(
        "G", "machine coordinates", TRADE,
        (53, "this block in machine coordinates: spindle gauge point, no tool length, unnamed axes stay"),
    ),
    *_codes(
        "G", "work offset", RECALLED, *((code, f"work offset {code - 53} of the setup file") for code in range(54, 60))
    ),
    *_codes(
        "G", "path control", ISO,
        (60, "exact stop: at the end of every feed move"),
        (61, "exact stop: at the end of every feed move"),
        (62, "continuous: corners rounded within the corner tolerance"),
    ),
    *_codes("G", "path control", TRADE, (64, "continuous: corners rounded within corner_tolerance_mm; P Q: no less")),
    *_codes("G", "cycle", TRADE, (73, "deep hole: in by pecks of Q, after each back by words.peck_clearance_mm alone")),
    *_codes("G", "cycle", EIA, (80, "fixed cycle off: the motion word from before the cycle is in force again")),
    *_codes(
        "G", "cycle", RECALLED,
        (81, "drill: in at feed, out rapid"),
        (82, "counterbore: in at feed, dwell P, out rapid"),
        (83, "deep hole: in by pecks of Q, out rapid after each; dwell P at the bottom if given"),
        (84, "tap with a floating holder: in at feed, spindle reversed, out at feed"),
        (85, "bore: in and out at feed"),
        (86, "bore: in at feed, spindle stop, out rapid, spindle on again"),
        (87, "bore: in at feed, spindle stop, out by hand: only where words.manual_withdrawal_s times it"),
        (88, "as G87 with a dwell P before the spindle stops"),
        (89, "bore: in at feed, dwell P, out at feed"),
    ),
    *_codes("G", "cycle return", TRADE, (98, "out to where the cycle began"), (99, "out to the R plane")),
    *_codes(
        "G", "reference return", TRADE,
        (28, "named axes rapid to the given point, then to machine zero or g28_pose_mm_deg; none named: all, straight"),
        (30, "as G28, to reference_return.g30_pose_mm_deg"),
    ),
    *_codes("G", "reference return", RECALLED, (74, "as G28, to g74_pose_mm_deg, where words.g74 says so")),
    *_codes(
        "G", "preset", ISO, (92, "here is X Y Z: shifts all work offsets until the next G92 or the end; no motion")
    ),
    *_codes("G", "distance", RECALLED, (90, "absolute coordinates"), (91, "incremental coordinates")),
    *_codes(
        "G", "feed mode", RECALLED,
        (93, "inverse time: F is 1/min, the block lasts 1/F minutes, every feed block needs its own F"),
        (94, "feed per minute: tool tip speed along its path; degrees per minute where only A B C move"),
        (95, "feed per revolution: F times the spindle speed S"),
    ),
    *(Word("G", code, group, TRADE, f"{group} off: as always here, for no word turns them on")
      for code, group in ((15, "polar coordinates"), (50, "scale factors"), (69, "turned coordinates"))),
    *_codes("G", "spindle mode", RECALLED, (97, "S is the spindle speed: in 1/min, as it is without this word")),
    *_codes(
        "M", "stop", RECALLED,
        (0, "stop, after the block's motion"),
        (1, "optional stop, after the block's motion; --no-stops passes over it"),
        (2, "end of program"),
        (30, "end of program"),
        (60, "work change, after the block's motion"),
    ),
    *_codes(
        "M", "spindle", RECALLED,
        (3, "spindle clockwise, with the block's motion"),
        (4, "spindle counter-clockwise, with the block's motion"),
        (5, "spindle off, after the block's motion"),
        (13, "spindle clockwise and coolant, with the block's motion"),
        (14, "spindle counter-clockwise and coolant, with the block's motion"),
        (19, "spindle stop at a fixed angle, after the block's motion"),
    ),
    *_codes("M", "tool change", RECALLED, (6, "tool change: tool T into the spindle, after the block's motion")),
    *_codes(
        "M", "coolant", RECALLED,
        (7, "coolant 2 on, with the block's motion"),
        (8, "coolant 1 on, with the block's motion"),
        (9, "coolant off, after the block's motion"),
        (50, "coolant 3 on, with the block's motion"),
        (51, "coolant 4 on, with the block's motion"),
    ),
    *_codes(
        "M", "clamp", RECALLED,
        (10, "clamp, after the block's motion; passed on"),
        (11, "unclamp, with the block's motion; passed on"),
        (68, "clamp the workpiece, after the block's motion; passed on"),
        (69, "unclamp the workpiece, with the block's motion; passed on"),
        (78, "clamp the slide, after the block's motion; passed on"),
        (79, "unclamp the slide, with the block's motion; passed on"),
    ),
    *_codes(
        "M", "range", RECALLED,
        (36, "feed range 1, with the block's motion; passed on, F is as written"),
        (37, "feed range 2, with the block's motion; passed on, F is as written"),
        (38, "spindle speed range 1, with the block's motion; passed on, S is as written"),
        (39, "spindle speed range 2, with the block's motion; passed on, S is as written"),
        *((code, "change of gear, with the block's motion; passed on, S is as written") for code in range(40, 46)),
    ),
    *_codes(
        "M", "override", RECALLED,
        (48, "feed and speed override allowed, after the block's motion"),
        (49, "feed and speed override ignored, after the block's motion"),
    ),
    *_codes(
        "M", "subprogram", TRADE,
        (98, "run subprogram P, L times; after the block's motion"),
        (99, "end of a subprogram"),
    ),
    Word("N", None, "label", RECALLED, "block number, not executed"),
    Word("O", None, "label", TRADE, "program number, not executed"),
    Word(":", None, "label", RECALLED, "alignment number, not executed"),
    *(Word(x, None, "axis", RECALLED, f"tool tip along {x}") for x in "XY"),
    Word("Z", None, "axis", RECALLED, "tool tip along Z; alone at the head, ahead of any motion word, place and F: by "
         "rapid (common practice), or as words.first_motion says"),
    *(Word(x, None, "axis", RECALLED, f"turn about {axis} through the tool tip, degrees")
      for x, axis in zip("ABC", "XYZ", strict=True)),
    *(Word(x, None, "arc", RECALLED, f"arc centre from the start point along {axis}")
      for x, axis in zip("IJK", "XYZ", strict=True)),
    Word("R", None, "arc", TRADE, "arc radius, negative for more than 180 degrees; in a cycle the R plane"),
    Word("F", None, "value", RECALLED, "feed"),
    Word("S", None, "value", RECALLED, "spindle speed, passed on"),
    Word("T", None, "value", RECALLED, "tool for the next M06"),
    Word("H", None, "value", TRADE, "row of the tools file for G43 and G44"),
    Word("D", None, "value", TRADE, "row of the tools file for G41 and G42; none given: the tool in the spindle"),
    Word("P", None, "value", TRADE, "time of a dwell; number of a subprogram; beside G64 a tolerance"),
    Word("Q", None, "value", TRADE, "depth of a peck of G73 and G83"),
    Word("L", None, "value", TRADE, "how often: holes of a cycle block (also K), runs of a subprogram"),
)  # fmt: skip

NONE = 255
"""Code of a modal group from which no word has been given yet."""
MOST_DIGITS = 4
"""A code of more digits is no slip for another."""
ARC_MODE = "@"
"""Letter, which no program can hold, of a word that says how arc centres are given: 1 absolute, 0 incremental."""
LETTERS = "".join(dict.fromkeys(word.letter for word in WORDS))
"""Every address letter with a meaning."""
READ = LETTERS + ARC_MODE
"""Letters of words as they are read."""
LABELS = ("N", "O", ":")
"""Letters of numbers that are not executed."""
WITH_MOTION = (3, 4, 7, 8, 11, 13, 14, *range(36, 46), 50, 51, 69, 79)
"""M codes that take effect with the block's motion; all others after it (common practice, no source)."""
BREAKING = (0, 1, 2, 6, 30, 60)
"""M codes at which the tool rests and the controller waits."""
ENDING = (2, 30)
"""M codes that end the program."""
CLOSING = (2, 5, 9, 30, 99)
"""M codes that change nothing behind the end of the program: there they only close the file."""
CUTTER_OFF = 40
"""G code that ends cutter radius compensation."""
CYCLE_OFF = 80
"""G code that ends a fixed cycle."""
INITIAL_LEVEL = 98
"""G code of the way out of a hole to where the cycle began."""
SPINDLE_ON = (3, 4, 13, 14)
"""M codes that turn the spindle."""
SPINDLE_OFF, SPINDLE_ORIENTED = (5,), (19,)
"""M codes that stop the spindle, and that stop it at a fixed angle."""
OPTIONAL_STOP = 1
"""M code of a stop that the operator may switch off."""
CALL, RETURN = 98, 99
"""M codes of subprograms."""


@lru_cache
def _coded() -> dict[tuple[str, float], Word]:
    """Return the words with codes by letter and code."""
    return {(w.letter, w.code): w for w in WORDS if w.code is not None}


def code_word(letter: str, code: float) -> Word | None:
    """Return the word of a code; ``None`` where there is none."""
    return _coded().get((letter, code))


def known(word: str) -> bool:
    """Return whether a word as written, ``"M8"`` or ``"M08"``, is in the table."""
    return code_word(word[:1], float(word[1:])) is not None


def short(letter: str, code: float) -> str | None:
    """Return what a code means in a few words; ``None`` where no word of its group has been given (``NONE``)."""
    word = code_word(letter, code)
    if word is None:
        return None if code == NONE else f"{letter}{code:g}"
    head = word.does.split(":")[0]
    return head.split(",")[0] if letter == "M" else head


@lru_cache
def groups(letter: str) -> tuple[str, ...]:
    """Return the names of the groups of the codes of ``letter`` (``"G"`` or ``"M"``)."""
    return tuple(dict.fromkeys(w.group for w in WORDS if w.letter == letter and w.code is not None))


@lru_cache
def _group_table(letter: str) -> Codes:
    """Return 1 + index into ``groups(letter)`` for every code in tenths; 0 where there is no such word."""
    table = np.zeros(HIGHEST + 1, np.uint8)
    for word in WORDS:
        if word.letter == letter and word.code is not None:
            table[round(word.code * TENTHS)] = 1 + groups(letter).index(word.group)
    return table


def group_of(letter: str, values: Array) -> Codes:
    """Return 1 + index into ``groups(letter)`` for codes (n,) as written; 0 for a word that does not exist."""
    tenths = np.clip(values, -1.0, 1000.0) * TENTHS
    code = np.rint(tenths).astype(np.int64)
    known = (np.abs(tenths - code) < 1e-9 * HIGHEST) & (code >= 0) & (code <= HIGHEST)
    return np.where(known, _group_table(letter)[np.where(known, code, 0)], 0).astype(np.uint8)


def near_words(word: str) -> list[str]:
    """Return the names of the codes that an unknown one as written, ``"M66"``, is with a digit struck twice.

    Other slips are not guessed: what is a digit off another word is a word of its own on many a control. A word that
    moves, spins, changes a tool or shifts where the tool goes is never named in place of one that was not understood.
    """
    letter, digits = word[:1], word[1:].lstrip("0")
    known = {f"{w.code:g}": w.name for w in WORDS if w.letter == letter and w.group in HARMLESS}
    if not digits.isdecimal() or len(digits) > MOST_DIGITS:
        return []
    fewer = (digits[:i] + digits[i + 1 :] for i in range(1, len(digits)) if digits[i] == digits[i - 1])
    return list(dict.fromkeys(known[x] for x in fewer if x in known))
