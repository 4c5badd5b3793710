"""Two revisions of a program: what means the same is the same, and every change of meaning is named with its lines."""

import json
import re
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from moves.programs import TOOLS, meaning, offsets

from hexpost.cli import main
from hexpost.explain.difference import difference
from hexpost.explain.difference_text import text

SAMPLES = Path(__file__).parent.parent.parent / "samples"
FILES = ["--tools", str(SAMPLES / "tools.toml"), "--setup", str(SAMPLES / "setup.toml")]
SETUP = offsets(G54=[0, 0, 50, 0, 0, 0], G55=[100, -50, 20, 0, 0, 90])
OLD = """\
G21 G17 G90 G94 G64
T1 M06
G54 G43 H1
S5000 M03
G00 X0 Y0 Z20
G01 Z2 F400
X10 F800
Y10
G03 X0 Y20 I-10 J0
G01 X-10
Y0
X0
G04 P200
G00 Z20 M05
M30
"""


def compare(old, new, tolerance=0.0005):
    return difference(meaning(old, tools=TOOLS, setup=SETUP), meaning(new, tools=TOOLS, setup=SETUP), tolerance)


def changes(new, old=OLD):
    return [(c.what, c.how, c.old, c.new, c.count) for c in compare(old, new).changes]


# other words for the same thing
SAME = {
    "renumbered": "".join(f"N{7 * i} {b}\n" for i, b in enumerate(OLD.splitlines(), 1)),
    "commented": OLD.replace("\n", " (SAID)\n").replace("G01 X-10", "(BACK)\nG01 X-10"),
    "lower case": OLD.lower(),
    "blanks": OLD.replace("X", "X ").replace(" Y", "Y"),
    "figures": OLD.replace("X10 ", "X+010.000 ").replace("Z2 ", "Z2. "),
    "modal words said again": OLD.replace("\nX10", "\nG01 X10").replace("\nY10", "\nG01 X10 Y10 F800"),
    "incremental": OLD.replace("X10 F800\nY10", "G91 X10 F800\nY10\nG90"),
    "arc by radius": OLD.replace("I-10 J0", "R10"),
    "end said twice": OLD.replace("\nY0\n", "\nY0\nX-10 Y0\n"),
    "blocks parted": OLD.replace("X10 F800", "F800\nX10"),
}


@pytest.mark.parametrize("name", SAME)
def test_other_words_for_the_same_thing_are_the_same(name):
    assert SAME[name] != OLD
    assert compare(OLD, SAME[name]).same


def inches(text):
    """Return a metric program in inches, as a post-processor rounds them: six decimals, feeds two."""

    def word(m):
        letter, value = m[1], float(m[2])
        return f"{letter}{value / 25.4:.2f}" if letter == "F" else f"{letter}{value / 25.4:.6f}"

    return re.sub(r"([XYZIJKRF])(-?[0-9.]+)", word, text.replace("G21", "G20").replace("P200", "P200"))


def test_a_program_in_inches_is_the_metric_one():
    assert compare(OLD, inches(OLD)).same


LEAVES = [("move", "changed", (14, 14), (15, 15), 1)]  # the retract begins elsewhere

# (what was changed, the changes named: what, how, old lines, new lines, how many)
CHANGED = [
    (OLD.replace("F800", "F900"), [("feed", "changed", (7, 12), (7, 12), 6)]),
    (OLD.replace("X10 F800", "X10.001 F800"), [("move", "changed", (7, 8), (7, 8), 2)]),
    (OLD.replace("\nX0\n", "\nX0\nY-5\n"), [("move", "added", None, (13, 13), 1), *LEAVES]),
    (OLD.replace("\nY0\n", "\n"), [("move", "removed", (11, 11), None, 1), ("move", "changed", (12, 14), (11, 13), 2)]),
    (OLD.replace("S5000", "S6000"), [("event", "changed", (4, 4), (4, 4), 1)]),
    (OLD.replace(" M05", ""), [("event", "removed", (14, 14), None, 1)]),
    (OLD.replace("Z2 F400", "Z2 F400 M08"), [("event", "added", None, (6, 6), 1)]),
    (OLD.replace("P200", "P300"), [("event", "changed", (13, 13), (13, 13), 1)]),
    (OLD.replace("G64", "G61"), [("rest", "changed", (6, 11), (6, 11), 6)]),
    (OLD.replace("G03 X0 Y20 I-10 J0", "G02 X0 Y20 I-10 J0"), [("move", "changed", (9, 9), (9, 9), 1)]),
    (OLD.replace("S5000 M03\n", "").replace("F400", "F400 S5000 M03"), None),
]  # fmt: skip


@pytest.mark.parametrize(("new", "want"), CHANGED[:-1])
def test_each_change_of_meaning_is_named(new, want):
    assert changes(new) == want


def test_an_event_that_comes_later_is_named():
    found = compare(OLD, CHANGED[-1][0]).changes
    assert {c.what for c in found} <= {"event", "place"} and found


def test_a_tool_is_named_where_it_is_in_the_spindle():
    found = changes(OLD.replace("T1", "T2").replace("H1", "H2"))
    assert ("tool", "changed", (5, 14), (5, 14), 9) in found
    assert ("length", "changed", (5, 14), (5, 14), 9) in found
    assert ("event", "changed", (2, 2), (2, 2), 1) in found


def test_an_offset_is_named():
    assert changes(OLD.replace("G54", "G55")) == [("offset", "changed", (5, 14), (5, 14), 9)]


def test_rapid_for_feed_is_named():
    found = compare(OLD, OLD.replace("G01 X-10", "G00 X-10")).changes
    assert ("feed", "800 mm/min", "rapid") in [(c.what, c.before, c.after) for c in found]


@given(st.lists(st.tuples(st.integers(0, 14), st.sampled_from(["X", "Y", "Z"]), st.integers(-9, 9)), max_size=30))
@settings(deadline=None, max_examples=40)
def test_a_program_means_the_same_as_itself_and_differs_both_ways(blocks):
    text = "G21 G90\nG01 X0 Y0 Z0 F100\n" + "".join(f"{a}{v}\n" for _, a, v in blocks)
    assert compare(text, text).same
    one, other = compare(OLD, text), compare(text, OLD)
    assert one.same == other.same
    assert one.moves[:2] == other.moves[1::-1]


def run(*words):
    done = CliRunner().invoke(main, ["diff", *map(str, words)])
    assert done.exception is None or isinstance(done.exception, SystemExit)
    return done.exit_code, done.output


def test_the_command_says_it_in_words(tmp_path):
    (tmp_path / "a.nc").write_text(OLD)
    (tmp_path / "b.nc").write_text(OLD.replace("F800", "F900"))
    code, said = run(tmp_path / "a.nc", tmp_path / "b.nc")
    assert code == 1
    assert said.splitlines()[-3:] == [
        "feed changed: 6 moves",
        "  - lines 7 to 12: 800 mm/min",
        "  + lines 7 to 12: 900 mm/min",
    ]
    code, said = run(tmp_path / "a.nc", tmp_path / "a.nc")
    assert (code, said) == (0, "same meaning: 9 moves, 7 events\n")


def test_the_command_says_it_as_json(tmp_path):
    (tmp_path / "a.nc").write_text(OLD)
    (tmp_path / "b.nc").write_text(OLD.replace("X-10\n", "X-11\n"))
    code, said = run(tmp_path / "a.nc", tmp_path / "b.nc", "--json")
    document = json.loads(said)
    assert code == 1 and not document["same"]
    assert document["moves"] == {"old": 9, "new": 9, "alike": 7}
    assert [(c["what"], c["how"], c["old_lines"], c["count"]) for c in document["changes"]] == [
        ("move", "changed", [10, 11], 2)
    ]


def test_faults_of_either_program_are_said(tmp_path):
    (tmp_path / "a.nc").write_text(OLD)
    (tmp_path / "b.nc").write_text("G21\nX1.2.3\n")
    code, said = run(tmp_path / "a.nc", tmp_path / "b.nc")
    assert code == 2 and "b.nc:2" in said


@pytest.mark.parametrize("name", ["contour", "pocket", "frustum", "plate_inch", "limits", "blade_band"])
def test_samples_without_numbers_and_comments_are_the_samples(name, tmp_path):
    text = (SAMPLES / f"{name}.nc").read_text()
    bare = re.sub(r"\([^)]*\)", "", re.sub(r"^N\d+ ?", "", text, flags=re.MULTILINE))
    (tmp_path / "bare.nc").write_text(bare)
    assert run(SAMPLES / f"{name}.nc", tmp_path / "bare.nc", *FILES)[0] == 0


DRILLED = """G21 G90 G17
G00 X0 Y0 Z50
G98 G82 X10 Y0 Z-5 R2 P200 F200
X20
X30
X40
G80
M30
"""


def test_holes_that_are_retracted_from_differently_are_told_once():
    """G98 to G99 and a new depth: every hole has its new depth and its lost lift, no dwell is said to be elsewhere."""
    found = compare(DRILLED, DRILLED.replace("G98", "G99").replace("Z-5", "Z-6"))
    assert {(c.what, c.how) for c in found.changes} == {("move", "changed"), ("move", "removed")}
    assert [c.old[0] for c in found.changes if c.how == "removed"] == [4, 5, 6]
    shown = list(text(found, "old", "new"))
    assert "  and 3 more like it, lines 4, 5, 6 of the old program" in shown
    assert "  and 2 more like it, lines 5, 6 of the old program" in shown
    assert len(shown) == 2 + 4 + 3


def test_a_subprogram_that_runs_several_times_is_told_once():
    calls = "G21 G90\nG00 X0 Y0 Z50\nM98 P7 L3\nM30\nO7\nG91 G01 X5 F500\nY5\nG90 M99\n"
    (change,) = compare(calls, calls.replace("F500", "F600")).changes
    assert (change.what, change.old, change.count, change.times) == ("feed", (6, 7), 6, 1)
    lifted = "G21 G90\nG00 X0 Y0 Z50\nM98 P7\nG00 Z60\nM98 P7\nM30\nO7\nG00 X5\nX0 Z20\nM99\n"
    (change,) = compare(lifted, lifted.replace("Z20", "Z21")).changes
    assert (change.old, change.count, change.times) == ((9, 9), 2, 2)
    assert list(text(compare(lifted, lifted.replace("Z20", "Z21")), "old", "new"))[2] == "move changed (2 times)"
