"""Write ``samples/blade_band.nc``: one band of a turbine blade's skin, finished in a back-and-forth raster.

Run ``python tests/samples/make_raster.py`` from the project's folder after a change here; a test compares the two.
"""

from collections.abc import Iterator
from math import asin, atan2, cos, degrees, hypot, radians, sin
from pathlib import Path

LENGTH, WIDTH = 160.0, 32.0
"""Size of the band along X (the chord of the blade) and Y, mm."""
STEP, ROW = 0.5, 0.5
"""Distance of points along a row and of rows, mm."""
BALL = 5.0
"""Radius of the ball end mill, mm."""
FOLLOW, LEAD = 0.7, 3.0
"""The tool follows this share of the slope of the skin, and leads by so many degrees about Y."""
FEED = 4800

HEAD = f"""\
%
O0105 (SALTMARSH WORKS - TIDAL TURBINE BLADE, ONE BAND OF THE SKIN, FINISHING)
(SHOWS: A DENSE RASTER IN FIVE COORDINATES, OVER 20000 BLOCKS, THAT MUST HOLD ITS FEED)
(TOOL 4: BALL END MILL 10 MM. POINTS EVERY {STEP} MM, ROUNDED TO 0.001 MM AND 0.001 DEG)
(WRITTEN BY TESTS/SAMPLES/MAKE_RASTER.PY - CHANGE IT THERE)
N10 G21 G17 G90 G94 G40 G49 G80 G64
N20 T4 M06
N30 S14000 M03
N40 G58
N50 G43 H4
"""
TAIL = """\
M09
G00 Z60.
G53 G00 Z0.
M05
M30
%
"""


def skin(x: float, y: float) -> tuple[float, float, float]:
    """Return the height of the skin and its slopes along X and Y: a cambered profile, twisted along the blade."""
    s = (x + 15.0) / 190.0
    twist = 0.0011
    height = 40.0 * s * (1.0 - s) * (1.0 + 0.25 * s) + twist * (x - 80.0) * (y - 16.0)
    along = 40.0 / 190.0 * (1.0 - 1.5 * s - 0.75 * s * s) + twist * (y - 16.0)
    return height, along, twist * (x - 80.0)


def pose(x: float, y: float) -> tuple[float, float, float, float, float]:
    """Return X Y Z of the tool tip and A B in degrees where the ball touches the skin at ``x``, ``y``."""
    z, along, across = skin(x, y)
    size = hypot(along, across, 1.0)
    normal = (-along / size, -across / size, 1.0 / size)
    a = FOLLOW * asin(-normal[1])
    b = FOLLOW * atan2(normal[0], normal[2]) + radians(LEAD)
    axis = (cos(a) * sin(b), -sin(a), cos(a) * cos(b))
    tip = [p + BALL * (n - t) for p, n, t in zip((x, y, z), normal, axis, strict=True)]
    return tip[0], tip[1], tip[2], degrees(a), degrees(b)


def number(value: float) -> str:
    """Return a number with a point and at most three decimals, as programs write it."""
    text = f"{value:.3f}".rstrip("0")
    return "0." if text in {"0.", "-0."} else text


def block(values: tuple[float, ...]) -> str:
    """Return the words X Y Z A B of one block."""
    return " ".join(letter + number(v) for letter, v in zip("XYZAB", values, strict=True))


def program() -> Iterator[str]:
    """Yield the program's text, piece by piece."""
    yield HEAD
    columns, rows = round(LENGTH / STEP), round(WIDTH / ROW)
    start = pose(0.0, 0.0)
    words = block(start).split()
    yield f"N60 G00 {words[0]} {words[1]} {words[3]} {words[4]}\n"
    yield f"N70 G00 Z{number(start[2] + 5.0)} M08\n"
    yield f"N80 G01 {words[2]} F1200\n"
    for row in range(rows + 1):
        order = range(columns + 1) if row % 2 == 0 else range(columns, -1, -1)
        for column in order:
            if row or column:
                feed = f" F{FEED}" if row == 0 and column == 1 else ""
                yield block(pose(column * STEP, row * ROW)) + feed + "\n"
    yield TAIL


def main() -> None:
    """Write the program."""
    target = Path(__file__).parent.parent.parent / "samples" / "blade_band.nc"
    target.write_text("".join(program()), encoding="ascii", newline="\n")


if __name__ == "__main__":
    main()
