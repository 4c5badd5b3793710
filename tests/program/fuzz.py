"""Texts that nobody would write on purpose, from a seed: random bytes, random words, samples with damage."""

import random
from pathlib import Path

import numpy as np

from hexpost.machine.load import demonstration_machine, load_setup, load_tools
from hexpost.moves.interpret import interpret
from hexpost.program.read import read

SAMPLES = Path(__file__).parent.parent.parent / "samples"
NAMES = ("contour", "pocket", "frustum", "plate_inch", "limits")
ALPHABET = b"GMXYZABCIJKRFSTHDPQLNO:/%();.,+-0123456789 \t\n\r#[]=E\x00\xff"
WORDS = [f"G{n}" for n in (*range(5), 9, *range(17, 22), 28, 30, 40, 41, 42, 43, 44, 49, *range(53, 65), 73, 74)]
WORDS += [f"G{n}" for n in (*range(80, 96), 98, 99)] + [f"M{n}" for n in (*range(10), 13, 19, 30, 48, 60, 98, 99)]
WORDS += "H1 D1 T1 P1 P100 Q2 L3 S500 F100 F0 R5 R-5 I5 J-5 K1 X0 X10 Y5 Z-3 A5 B-5 C90 C-720".split()  # noqa: SIM905
WORDS += ["O1", "O100", "N10", ":5", "/", "(", ")", ";"]
RARE = """\
G21 G90 G17 G94
T1 M06
G43 H1 S5000 M03
G00 X0 Y0 Z20
G41 D1 G01 X10 F500
Y20
G03 X0 Y30 I-10 J0
G40 G01 X-10
G81 X5 Y5 Z-3 R2 F200
X10 L3
G83 X0 Y0 Z-9 R2 Q3
G80
M98 P100 L2
G28 G91 Z0
G90 G92 X0
M30
O100
G91 X1
G90
M99
"""


def texts(seed, count):
    """Yield ``count`` texts (bytes)."""
    rng = random.Random(seed)
    whole = [(SAMPLES / f"{name}.nc").read_bytes() for name in NAMES] + [RARE.encode()] * 3
    makers = (noise, letters, words, damaged, damaged, damaged)
    for _ in range(count):
        yield rng.choice(makers)(rng, rng.choice(whole))


def noise(rng, _):
    """Return random bytes."""
    return rng.randbytes(rng.randrange(200))


def letters(rng, _):
    """Return random bytes of those that mean something."""
    return bytes(rng.choices(ALPHABET, k=rng.randrange(300)))


def words(rng, _):
    """Return blocks of random words."""
    blocks = (" ".join(rng.choices(WORDS, k=rng.randrange(6))) for _ in range(rng.randrange(30)))
    return ("G21 G90\n" * rng.randrange(2) + "\n".join(blocks)).encode()


def damaged(rng, whole):
    """Return some lines of a program with a few bytes and lines changed."""
    lines = whole.split(b"\n")
    at = rng.randrange(len(lines))
    lines = lines[:12] * rng.randrange(2) + lines[at : at + rng.randrange(1, 40)]
    for _ in range(rng.randrange(4)):
        i, j = rng.randrange(len(lines)), rng.randrange(len(lines))
        lines[i], lines[j] = (lines[j], lines[i]) if rng.random() < 0.5 else (lines[j], lines[j])
    text = bytearray(b"\n".join(lines))
    for _ in range(rng.randrange(8)):
        at = rng.randrange(len(text) + 1)
        text[at : at + rng.randrange(3)] = bytes(rng.choices(ALPHABET, k=rng.randrange(3)))
    return bytes(text)


class Subject:
    """Reader and interpreter with the files of the samples."""

    def __init__(self):
        self.machine = demonstration_machine()
        self.tools = load_tools(SAMPLES / "tools.toml")
        self.setup = load_setup(SAMPLES / "setup.toml")

    def understand(self, source):
        """Return the faults and the meaning of a text; a meaning without fault must be finite."""
        faults = []
        program = read(source, "fuzz.nc", faults)
        meaning = interpret(program, self.machine, self.tools, self.setup, faults)
        for fault in faults[:20]:
            assert fault.what and fault.code and str(fault).startswith("fuzz.nc"), fault
            assert fault.line is None or 1 <= fault.line <= source.count(b"\n") + source.count(b"\r") + 1
        if not faults:
            moves = meaning.moves
            assert (
                np.isfinite(moves.end).all() and np.isfinite(moves.start).all() and np.isfinite(moves.arcs.turn).all()
            )
            assert (moves.feed > 0).all()
        return faults, meaning


ENDLESS = {
    "repeat count": b"G21 G90 G00 X0\nM98 P7 L999999999\nM30\nO7\nG91 X1\nM99\n",
    "mutual calls": b"G21 G90 G00 X0\nM98 P7\nM30\nO7\nM98 P8\nM99\nO8\nM98 P7\nM99\n",
    "own call": b"G21 G90 G00 X0\nM98 P7\nM30\nO7\nM98 P7\nM99\n",
    "calls within calls": b"G21 G90 G00 X0\nM98 P1 L9999\nM30\n"
    + b"".join(b"O%d\nG91 X1\nM98 P%d L9999\nM99\n" % (k, k + 1) for k in range(1, 9)) + b"O9\nX1\nM99\n",
    "holes without end": b"G21 G90 G91 G00 X0\nG81 X1 Z-1 R1 F100 L99999999\nG80\n",
    "a million words": b"G21 G01 F1 " + b"X1 " * 1_000_000,
    "a million digits": b"G21 G01 F1 X" + b"1" * 1_000_000,
    "nested comments": b"G21\n" + b"(" * 10_000 + b")" * 10_000 + b"\nX1\n",
    "comments never closed": b"G21\n" + b"(\n" * 200_000,
    "marks without end": b"%\n" * 1_000_000,
    "calls of nothing": b"G21\n" + b"M98 P5\n" * 100_000,
    "labels without end": b"G21 G00 X1\nM98 P1\nM30\n" + b"O1\nM99\n" * 5000,
}  # fmt: skip
"""Programs that take for ever, or all memory, if one does not look out: each ends in an error at once."""
