"""A five-axis finishing program as a shop posts it: modal words, numbers without trailing zeros, arcs, comments."""

import math
import random
from io import RawIOBase


def number(x, decimals=3):
    """Return a number as posted: no trailing zeros, no zero ahead of the point."""
    text = f"{x:.{decimals}f}".rstrip("0").rstrip(".")
    if text in {"", "-", "-0"}:
        return "0"
    return text.replace("0.", ".", 1) if text.startswith(("0.", "-0.")) else text


def tool_change(tool, rng):
    """Return the blocks of a tool change."""
    return [
        f"(TOOL {tool} BALL NOSE D{rng.choice((4, 6, 8))})",
        "G00 G53 Z0",
        f"T{tool} M06",
        "G17 G21 G40 G49 G80 G90 G94",
        f"G43 H{tool} ; length",
        f"S{rng.randrange(6000, 18000, 500)} M03",
        "M08",
        "/M01",
    ]


def contouring(blocks, seed=1, numbered=True):
    """Return the text of a program of ``blocks`` blocks: 5 axes, about 50 bytes and 6 words a block."""
    rng = random.Random(seed)
    out = [*tool_change(1, rng), "G54", "G01 X0 Y0 Z5. A0 B0 F1200."]
    last, turn = {}, 0.0
    while len(out) < blocks - 4:
        k = len(out)
        if k % 5000 == 0:
            out += [*tool_change(2 + k // 5000, rng), "G54"]
            last = {}
        if k % 400 == 0:
            out.append(
                f"G{rng.choice((2, 3)):02d} X{number(rng.uniform(-60, 60))} I{number(rng.uniform(1, 8))} J0 F800."
            )
            out.append("G01")
            last = {}
        turn += 0.0021
        tip = {
            "X": (60 * math.cos(turn) * (1 + 0.1 * math.sin(7.3 * turn)), 3),
            "Y": (60 * math.sin(turn) * (1 + 0.1 * math.cos(5.1 * turn)), 3),
            "Z": (8 * math.sin(turn * 0.37) - 12, 3),
            "A": (12 * math.sin(turn * 0.9), 4),
            "B": (9 * math.cos(turn * 1.1), 4),
        }
        words = {a: number(v + 0.002 * rng.random(), d) for a, (v, d) in tip.items()}
        block = " ".join(a + v for a, v in words.items() if last.get(a) != v)
        last = words
        out.append(block + (f" F{rng.choice((600, 950.5, 1200))}" if k % 50 == 0 else ""))
    out += ["M09", "M30"]
    if numbered:
        out = [("/" if b.startswith("/") else "") + f"N{10 * i} {b.lstrip('/')}" for i, b in enumerate(out, 1)]
    return "\n".join(["%", "O1001 (ROTOR HUB FINISH)", *out, "%", ""])


class Repeated(RawIOBase):
    """A file that holds some bytes again and again, without holding them all."""

    def __init__(self, data, times):
        self.data, self.left, self.at = data, times, 0

    def read(self, size=-1):
        """Return the next bytes: at most up to the end of a repetition."""
        if not self.left:
            return b""
        piece = self.data[self.at : self.at + size]
        self.at += len(piece)
        if self.at == len(self.data):
            self.at, self.left = 0, self.left - 1
        return piece
