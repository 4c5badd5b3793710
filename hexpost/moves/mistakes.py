"""The table of mistakes of meaning: what each looks like, how it is mended, and whether its block shows it by itself.

Mistakes of syntax have their table in ``program/mistakes.py``. Both are walked by the tests: sample, place, hint.
"""

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from hexpost.errors import Fault
from hexpost.machine.wording import UNDECIDED, DialectWord
from hexpost.machine.words import near_words

MARK = "‸"
"""Stands ahead of the character at which a sample is at fault."""
HEAD = "G21 G90 G94 G17\nG00 X0 Y0 Z60\n"
"""What stands ahead of the samples."""


@dataclass(frozen=True, slots=True)
class Mistake:
    """One kind of mistake: ``code`` of its fault, ``sample`` (behind ``head``, ``MARK`` at the fault), ``hint``.

    ``alone``: the block shows it by itself, whatever stands ahead of it. All other mistakes may follow from a block
    that could not be read, and are then not told; those of ``WHOLE`` from one behind them, too.
    """

    code: str
    sample: str
    hint: str
    alone: bool = False
    head: str = HEAD


HOME_OR_TAP = (
    'set words.g74 = "through-point" or "direct" in the machine file; if it taps, read it as G84 by a row of the '
    "dialect table"
)


MISTAKES: tuple[Mistake, ...] = (
    Mistake("unknown-word", "‸G777 X1", "take it out, or name it in the dialect table", alone=True),
    Mistake("unknown-word", "G00 X1 ‸U5", "take it out, or name it in the dialect table", alone=True),
    Mistake("repeated-word", "G00 X1 Y2 ‸X3", "take one of the two out, or part the block", alone=True),
    Mistake("repeated-word", "G00 ‸G01 X1 F5", "take one of the two out, or part the block", alone=True),
    Mistake("scale-off-with-words", "‸G50 S900", "take it out, or write it into a block of its own", alone=True),
    Mistake("value-too-large", "G00 ‸X100000000", "was a decimal point forgotten?", alone=True),
    Mistake("feed-bad", "G01 X1 ‸F0", "the tool would never arrive", alone=True),
    Mistake("feed-missing", "‸G01 X1", "write F into this block"),
    Mistake("feed-missing", "N5 ‸G01 X1", "write F into this block"),
    Mistake("inverse-feed-missing", "G93 G01 X1 F2\n‸X2", "write F (1/min) into every block that moves"),
    Mistake("no-motion-word", "‸X1", "write G00 or G01 into this block", head="G21\n"),
    Mistake("units-missing", "‸G00 X1", "write G21 or G20 at the head of the program", head=""),
    Mistake("arc-word-without-arc", "G00 X1 ‸I5", "write G02 or G03 into the block of the arc"),
    Mistake("arc-centre-missing", "F9\n‸G02 X5", "write I J K, the way from the start point to the centre, or R"),
    Mistake("arc-two-centres", "F9\n‸G02 X5 I2 R4", "take out R, or I J K"),
    Mistake("arc-word-out-of-plane", "F9\n‸G02 X5 I2 K4", "check G17, G18, G19"),
    Mistake("arc-radius-too-small", "F9\n‸G02 X5 R2", "check R, the end point, and where the block before it ends"),
    Mistake("arc-full-circle-by-radius", "F9\n‸G02 X0 Y0 R2", "give the centre by I J K"),
    Mistake("arc-radius-bad", "F9\n‸G02 X5 R0", "check the centre: it cannot be where the arc starts"),
    Mistake("arc-end-off", "F9\n‸G02 X5 I3", "check I J K"),
    Mistake("dwell-time-missing", "‸G04", "write the time as X or F in seconds or P in milliseconds", alone=True),
    Mistake("dwell-time-twice", "‸G04 X1 P2", "write the time as X or F in seconds or P in milliseconds", alone=True),
    Mistake("dwell-time-bad", "G04 ‸P-1", "time runs forwards only: take the sign out", alone=True),
    Mistake("dwell-with-motion", "G04 ‸Y1 P5", "write the time as X or F in seconds or P in milliseconds", alone=True),
    Mistake("tool-not-selected", "‸M06", "write T into this block or before it"),
    Mistake("tool-number-bad", "‸T1.5 M06", "tools are numbered by whole numbers: is this an offset?", alone=True),
    Mistake("length-row-missing", "‸G43 Z5", "write H into this block"),
    Mistake("row-number-bad", "G43 ‸H-1", "rows of the tools file are numbered by whole numbers", alone=True),
    Mistake("spindle-speed-bad", "‸S-5", "the sense of rotation is said by M03 and M04: take the sign out", alone=True),
    Mistake("machine-coordinates-alone", "‸G53", "name the axes to move, or take the word out", alone=True),
    Mistake("machine-coordinates-arc", "‸G53 G02 X1 I5 F5", "write G00 or G01 into this block"),
    Mistake("cycle-r-missing", "‸G81 X5 Z-3 F100", "write R, the level above the work where feed begins"),
    Mistake("cycle-depth-missing", "‸G81 X5 R2 F100", "write Z (along the tool) with the bottom of the hole"),
    Mistake("cycle-peck-missing", "‸G83 X5 Z-9 R2 F100", "write Q, how deep the tool goes at a time"),
    Mistake("cycle-dwell-missing", "‸G82 X5 Z-9 R2 F100", "write P, or a cycle without a dwell: G81"),
    Mistake("cycle-upside-down", "‸G81 X5 Z9 R2 F100", "depths are read as places under G90"),
    Mistake("cycle-spindle-off", "‸G84 X5 Z-3 R2 F100", "write S and M03 before it"),
    Mistake("cycle-pitch-odd", "S1000 M03 ‸G84 X5 Z-3 R2 F100000", "the feed of a tap is its pitch times"),
    Mistake("cycle-inverse-time", "G93 ‸G81 X5 Z-3 R2 F100", "write G94"),
    Mistake("cycle-tool-not-along", "G00 A5\n‸G81 X5 Z-3 R2 F100", "check A B C, the plane"),
    Mistake("cycle-beside-contour", "G41 D1 G01 X5 F9\n‸G81 X9 Z-3 R2", "write G40 before it"),
    Mistake("two-motions", "G81 ‸G01 X5 Z-3 R2 F100", "write them into blocks of their own", alone=True),
    Mistake("compensation-starts-in-arc", "G41 D1\n‸F9 G02 X10 Y0 I5 J0", "turn it on with a straight move"),
    Mistake("compensation-ends-in-arc", "F9 G41 D1 G01 X9\nY20\n‸G40 G02 X-1 I-5", "leave the contour"),
    Mistake("compensation-ends-in-arc", "F9 G41 D1 G01 X9\nY20\n‸G40 G02 I-5", "leave the contour"),
    Mistake("compensation-side-changed", "F9 G41 D1 G01 X10\nY20\n‸G42 X40", "turn it off (G40)"),
    Mistake("compensation-plane-changed", "F9 G41 D1 G01 X10\nY20\n‸G18 X40\nX50", "turn it off (G40)"),
    Mistake("compensation-frame-changed", "F9 G41 D1 G01 X10\nY20\n‸G55 X40\nX50", "turn it off (G40)"),
    Mistake("compensation-tool-not-square", "‸F9 A5 G41 D1 G01 X10\nY20\nX9", "choose the plane (G17 G18 G19)"),
    Mistake("return-axes", "‸G28 G53 Z0", "write G91 G28 Z0", alone=True),
    Mistake("return-reading-missing", "‸G74 Z5", HOME_OR_TAP),
    Mistake("preset-axes", "G92 ‸A5", "turn the work offset in the setup file instead", alone=True),
    Mistake("spindle-speed-missing", "‸G95 G01 X5 F0.1", "write S before this block"),
    Mistake("inverse-feed-lost", "G93 G00 X5 ‸F2", "write it into the block that moves"),
    Mistake("exact-stop-lost", "G00 X5\n‸G09", "write it into the block that is to end at rest"),
    Mistake("dwell-with-call", "G04 ‸P5 M98\nM30\nO5\nM99", "write the dwell into a block of its own", alone=True),
    Mistake("cycle-word-unused", "G81 X5 Z-3 R2 F100 ‸P5", "take it out, or write the cycle it is of"),
    Mistake("repeat-without-hole", "G81 X5 Z-3 R2 F100\n‸L3", "write it into the block that names the place"),
    Mistake("word-out-of-place", "M98 P7 ‸Q3\nM30\nO7\nM99", "write it into a block of the word that it belongs to"),
    Mistake("word-out-of-place", "G00 X5 ‸P3", "write it into a block of the word that it belongs to"),
    Mistake("tolerance-too-small", "G64 ‸P0.001", "lower corner_tolerance_mm of the machine file if it can"),
    Mistake("repeat-bad", "M98 P7 ‸L0\nM30\nO7\nM99", "write how often, a whole number from 1", alone=True),
    Mistake("subprogram-twice", "M98 P7\nM30\nO7\nX1\nM99\n‸O7\nX2\nM99", "give one of them another number"),
    Mistake("endless-calls", "M98 P7\nM30\nO7\nM98 ‸P7\nM99", "a subprogram may not call itself"),
    Mistake("subprogram-without-return", "M98 ‸P7\nM30\nO7\nX5", "end it with M99"),
    Mistake("return-in-main", "‸M99", "end the main program with M30"),
    Mistake("words-after-return", "M98 P7\nM30\nO7\nM99\n‸X5", "these blocks would never run"),
    Mistake("too-many-moves", "‸G83 X5 Z-9 R2 Q0.00001 F100", "is the depth of the peck or the count of holes right?"),
    Mistake("call-without-number", "‸M98", "write P with the number of the subprogram"),
    Mistake("subprogram-missing", "M98 ‸P77", "a subprogram is after M30"),
    Mistake("words-after-end", "M30\n‸G00 X1", "these blocks would never run"),
    Mistake("words-after-end", "M30\nM05 M30\nM09 ‸M08", "these blocks would never run"),
)  # fmt: skip

HINTS = {m.code: m.hint for m in MISTAKES}
ALONE = frozenset(m.code for m in MISTAKES if m.alone) | {"missing-tools", "dialect-refused", "dialect-rest"}

MACROS = ("G65", "G66", "G66.1", "G67")
"""Words that call macros (common practice, no source)."""
WHOLE = frozenset({"subprogram-missing", "subprogram-without-return", "return-in-main", "words-after-return"})
"""Mistakes that only a program without unread lines shows."""


def told(
    before: Sequence[Fault], found: Sequence[Fault], name: str, dialect: Sequence[DialectWord] = ()
) -> list[Fault]:
    """Return the faults of meaning ``found`` in the file ``name`` that are worth telling, each with a hint.

    ``before`` are the faults found ahead of them. Behind the first line that could not be read only what a block shows
    by itself is told: what is missing there may stand in that line. ``dialect``: rows of the machine file.
    """
    undecided = {row.word for row in dialect if row.action == UNDECIDED}
    unread = min((f.line for f in before if f.file == name and f.line is not None), default=None)

    def sure(f: Fault) -> bool:
        ahead = f.line is not None and unread is not None and f.line < unread
        return unread is None or f.code in ALONE or (ahead and f.code not in WHOLE)

    return [f if f.hint else replace(f, hint=_hint(f, undecided)) for f in found if sure(f)]


def _hint(f: Fault, undecided: Collection[str]) -> str:
    """Return how a fault without a hint of its own is mended."""
    if f.code == "unknown-word" and (own := [x for x in (f.word, f.word[:1]) if x in undecided]):
        return f"the dialect table leaves {own[0]} undecided: set its action to ignore, same-as or refuse"
    if f.code == "unknown-word" and f.word in MACROS:
        return (
            "macro calls are not run: write out the blocks that the macro makes, or name the word in the dialect table"
        )
    hint = HINTS.get(f.code, "")
    word = f.what.removeprefix("unknown word ")
    near = near_words(word) if f.code == "unknown-word" and f.what != word else []
    return f"did you mean {' or '.join(near)}? otherwise {hint}" if near else hint
