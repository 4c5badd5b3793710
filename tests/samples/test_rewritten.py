"""Every sample, written as other shops would write it, means the same."""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from moves.programs import same

from hexpost.machine.load import demonstration_machine, load_setup, load_tools
from hexpost.machine.wording import DialectWord, Digits
from hexpost.pipeline import parse, schedule, understand

SAMPLES = Path(__file__).parent.parent.parent / "samples"
NAMES = ("contour", "frustum", "pocket", "plate_inch", "flange")
MACHINE, TOOLS, SETUP = demonstration_machine(), load_tools(SAMPLES / "tools.toml"), load_setup(SAMPLES / "setup.toml")
LENGTHS = "XYZIJKRQF"


def blocks(name: str) -> list[list[tuple[str, float]]]:
    """Return the words of every line of a sample."""
    p = parse((SAMPLES / f"{name}.nc").read_bytes(), name)
    return [
        [(chr(p.letter[i]), float(p.value[i])) for i in range(int(p.first[row]), int(p.first[row + 1]))]
        for row in range(p.lines)
    ]


def number(letter: str, value: float) -> str:
    """Return a number as most shops write it: whole for codes, with a point for all else."""
    if letter in "GMNOTSHDPL":
        return f"{value:g}" if value != int(value) else f"{int(value)}"
    return f"{value:.15f}".rstrip("0")


def understood(text: str, machine=MACHINE):
    """Return the inputs of a job whose program is ``text``."""
    return understand(parse(text.encode(), "rewritten.nc"), machine, TOOLS, SETUP)


def spaced(lines):
    """Small letters, a blank in every word, tabs between them, a comment behind every block, CR LF."""
    rows = ("\t".join(f"{a.lower()} {number(a, v)}" for a, v in words) for words in lines)
    return "\r\n".join(f"{row} (SEE (DRAWING) 7; SHEET 2)" for row in rows), MACHINE


def signed(value: float) -> str:
    """Return a number with its sign, and no zero ahead of the point unless it is all there is."""
    text = f"{value:+.15f}".rstrip("0")
    return text.replace("0.", ".", 1) if 0 < abs(value) < 1 else text


def numbered(lines):
    """Block numbers everywhere, leading zeros, plus signs, no blanks, .5 for 0.5."""
    out = []
    for n, words in enumerate(lines, 1):
        said = [
            a + (f"{int(v):02d}" if a in "GM" else number(a, v) if a in "OTSHDPL" else signed(v))
            for a, v in words
            if a != "N"
        ]
        out.append("".join(said if words and words[0][0] == "O" else [f"N{n:04d}", *said]))
    return "\n".join(out), MACHINE


def other_unit(lines):
    """Inches for millimetres and the other way round."""
    inch = any(("G", 20.0) in words for words in lines)
    unit, scale = {20.0: 21.0, 21.0: 20.0}, 25.4 if inch else 1 / 25.4
    rows = (
        " ".join(
            f"G{unit.get(v, v):g}" if a == "G" else a + (f"{v * scale:.17f}" if a in LENGTHS else number(a, v))
            for a, v in words
        )
        for words in lines
    )
    return "\n".join(rows), MACHINE


def pointless(lines):
    """No point anywhere: the format sheet says where it stands."""
    layout = {a: Digits(5, 5) for a in LENGTHS + "ABC"}
    words = replace(MACHINE.words, numbers="implied", format_mm=layout, format_inch=layout)
    rows = (" ".join(a + (f"{round(v * 1e5)}" if a in layout else number(a, v)) for a, v in said) for said in lines)
    return "\n".join(rows), replace(MACHINE, words=words)


def called(lines):
    """The work in a subprogram, the main program only calls it."""
    end = next(i for i, words in enumerate(lines) if ("M", 30.0) in words)
    body, rest = lines[2:end], lines[end + 1 :]
    text = "\n".join(" ".join(a + number(a, v) for a, v in words if a != "N") for words in body)
    subs = "\n".join(" ".join(a + number(a, v) for a, v in words) for words in rest)
    return f"O1\nM98 P4711\nM30\nO4711\n{text}\nM99\n{subs}\n", MACHINE


def own_words(lines):
    """The shop's own words for what others write as M08 and G54, and some for the conveyor."""
    dialect = (
        DialectWord(word="M88", action="same-as", same_as="M8"),
        DialectWord(word="G54.1", action="same-as", same_as="G54"),
        DialectWord(word="M77", action="ignore"),
    )
    own = {("M", 8.0): "M88", ("G", 54.0): "G54.1"}
    rows = (
        " ".join(own.get((a, v), a + number(a, v)) for a, v in words) + (" M77" if words else "") for words in lines
    )
    return "\n".join(rows).replace("M99 M77", "M99"), replace(MACHINE, dialect=dialect)


@pytest.mark.parametrize("rewrite", [spaced, numbered, other_unit, pointless, called, own_words])
@pytest.mark.parametrize("name", NAMES)
def test_a_sample_rewritten_means_the_same(name, rewrite):
    lines = blocks(name)
    text, machine = rewrite(lines)
    ours = understood((SAMPLES / f"{name}.nc").read_text()).meaning
    theirs = understood(text, machine).meaning
    same(ours, theirs)
    for column in ("move", "rule", "letter", "value", "pause", "wait"):
        assert np.array_equal(getattr(ours.events, column), getattr(theirs.events, column)), column


@pytest.mark.parametrize("rewrite", [spaced, numbered, other_unit, pointless, called, own_words])
@pytest.mark.parametrize("name", NAMES)
def test_its_setpoints_are_the_same_before_rounding(name, rewrite):
    text, machine = rewrite(blocks(name))
    jobs = schedule(understood((SAMPLES / f"{name}.nc").read_text())), schedule(understood(text, machine))
    for ours, theirs in zip(*(job.setpoints() for job in jobs), strict=True):
        assert np.abs(ours.length - theirs.length).max() < 1e-9
