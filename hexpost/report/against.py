"""A job beside the same program on an ordinary machine: where six struts gain, and where they lose."""

from dataclasses import dataclass

import numpy as np

from hexpost.arrays import Array, Flags, Ints
from hexpost.documents import seconds
from hexpost.report.beside import TimeBeside, beside_document, beside_text
from hexpost.voice import APPROACH, clean, columns, duration, paragraph, percent, plural

MOST_ROWS = 10_000
"""So many operations and blocks are listed as JSON, in the order of the program: those that differ most."""
MOST_LINES = 12
"""So many of each stand in the text and on the page."""
LEAST_S = 5e-3
"""A smaller difference, s, is no row of the text: blocks are timed in whole control periods."""
NOT_FAIR = "The job breaks limits here: compare one that may be run, by --feed strut-limited or after refeed."
HELD = (
    "An axis there follows its own word: rotary axes that carry the tip make linear ones do more. "
    "A gain is time that six struts save."
)


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class Operations:
    """Operations in the order of the program, shape (k,): from rapid to rapid, with the rapids that lead there.

    ``seconds`` (2, k): here and there. ``cuts``: whether it has a feed move at all; lines are those of feed moves.
    """

    first_line: Ints
    last_line: Ints
    tool: Ints
    cuts: Flags
    seconds: Array

    def name(self, i: int) -> str:
        """Return which lines an operation is."""
        first, last = int(self.first_line[i]), int(self.last_line[i])
        lines = f"{first or APPROACH} to {last or APPROACH}" if first != last else str(first or APPROACH)
        return lines if self.cuts[i] else f"{lines} (rapid)"


@dataclass(frozen=True, slots=True, kw_only=True, eq=False)
class HereAndThere:
    """The time of a program on an ordinary machine, with what is beside its motion; s.

    ``blocks`` (2, n): here and there, by ``line`` (n,), rising, all its runs together.
    """

    name: str
    file: str
    duration: float
    beside: TimeBeside
    operations: Operations
    line: Ints
    blocks: Array


def against_document(found: HereAndThere) -> dict[str, object]:
    """Return the comparison as plain values."""
    o = found.operations
    return {
        "name": found.name,
        "file": found.file,
        "duration_s": seconds(found.duration),
        "beside": beside_document(found.beside, found.duration),
        "operations_total": len(o.tool),
        "operations": [
            {
                "first_line": int(o.first_line[i]) or None,
                "last_line": int(o.last_line[i]) or None,
                "tool": int(o.tool[i]),
                **_both(o.seconds, i),
            }
            for i in _most_apart(o.seconds, MOST_ROWS)
        ],
        "blocks_total": len(found.line),
        "blocks": [
            {"line": int(found.line[i]) or None, **_both(found.blocks, i)} for i in _most_apart(found.blocks, MOST_ROWS)
        ],
    }


def against_text(found: HereAndThere, here: TimeBeside | None, motion: float, width: int, *, runs: bool) -> list[str]:
    """Return the section of the text; ``motion`` [s] is that of the job, ``here`` beside it; ``runs``: it may."""
    lines = ["", f"Compared with {clean(found.name)} ({clean(found.file)})", ""]
    for text in against_facts(found, here, motion, runs=runs):
        lines += paragraph(text, width, "  ", "  ")
    for head, rows in against_rows(found):
        if rows:
            lines += ["", *columns([head, *rows], [False] + [True] * (len(head) - 1))]
    return [*lines, "", *paragraph(HELD, width, "  ", "  ")]


def against_facts(found: HereAndThere, here: TimeBeside | None, motion: float, *, runs: bool) -> list[str]:
    """Return the whole of it, a sentence each."""
    gain = found.operations.seconds[1] - found.operations.seconds[0]
    won, lost = gain[gain > 0.0], gain[gain < 0.0]
    out = [f"Motion: {duration(motion)} here, {duration(found.duration)} there: {against_brief(found, motion)}."]
    for word, some in (("gain", won), ("lose", lost)):
        if len(some):
            whole = duration(float(np.abs(some).sum()))
            out.append(f"Six struts {word} {whole} in {len(some):,} of {plural(len(gain), 'operation')}.")
    if not runs:
        out.append(NOT_FAIR)
    for where, beside, time in (("here", here, motion), ("there", found.beside, found.duration)):
        if beside is not None and (text := beside_text(beside, time)):
            out.append(f"Beside the motion {where}: {text}.")
    return out


def against_brief(found: HereAndThere, motion: float) -> str:
    """Return in few words who is faster."""
    gain = found.duration - motion
    if gain == 0.0:
        return "as fast"
    share = abs(gain) / max(found.duration, motion)
    word = "gain" if gain > 0.0 else "lose"
    return f"six struts {word} {duration(abs(gain))} ({percent(share)})"


def against_rows(found: HereAndThere) -> list[tuple[list[str], list[list[str]]]]:
    """Return the tables of operations and blocks, each with its head: those that differ most, in order."""
    o = found.operations
    operations = [
        [o.name(i), f"T{o.tool[i]}" if o.tool[i] else "none", *_cells(o.seconds, i)] for i in _shown(o.seconds)
    ]
    blocks = [[str(int(found.line[i]) or APPROACH), *_cells(found.blocks, i)] for i in _shown(found.blocks)]
    return [
        (["operation, lines", "tool", "here", "there", "gain"], operations),
        (["block, line", "here", "there", "gain"], blocks),
    ]


def _shown(both: Array) -> list[int]:
    return [i for i in _most_apart(both, MOST_LINES) if abs(both[1, i] - both[0, i]) >= LEAST_S]


def _most_apart(both: Array, most: int) -> list[int]:
    """Return where rows (2, n) differ most, at most so many, rising."""
    order = np.argsort(-np.abs(both[1] - both[0]), kind="stable")[:most]
    out: list[int] = np.sort(order).tolist()
    return out


def _both(both: Array, i: int) -> dict[str, object]:
    return {"here_s": seconds(float(both[0, i])), "there_s": seconds(float(both[1, i]))}


def _cells(both: Array, i: int) -> list[str]:
    here, there = float(both[0, i]), float(both[1, i])
    return [f"{here:.3f} s", f"{there:.3f} s", f"{there - here:+.3f} s"]
