"""explain in the words of the programmer: angles and feeds as written, tool centre, turned offsets, no word table."""

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.spatial.transform import Rotation

from hexpost.cli import main
from hexpost.door import load_job
from hexpost.machine.load import DEMONSTRATION
from hexpost.machine.words import WORDS
from hexpost.moves.model import ARC

SAMPLES = Path(__file__).parent.parent.parent / "samples"
TOOLS = "[[tool]]\nnumber = 1\nlength_mm = 100\ndiameter_mm = 10\n"
AXES = "[programmed_axes]\n" + "".join(f'[[programmed_axes.axis]]\nword = "{x}"\ncarries = "table"\n' for x in "AC")
VECTOR = '[programmed_axes]\ntool_vector = ["I", "J", "K"]\n'
HEAD = "G21 G90 G17\nT1 M06\nG00 G43 H1 X10 Y0 Z50\nS2000 M03\n"


@pytest.fixture
def explained(tmp_path):
    def explain(text, more="", setup=""):
        files = {"part.nc": text, "machine.toml": DEMONSTRATION.read_text() + more, "tools.toml": TOOLS}
        files["setup.toml"] = setup
        for name, content in files.items():
            (tmp_path / name).write_text(content)
        words = [str(tmp_path / "part.nc")]
        words += [
            x for k in ("machine", "tools", "setup") if files[f"{k}.toml"] for x in (f"--{k}", f"{tmp_path}/{k}.toml")
        ]
        said, rows = (CliRunner().invoke(main, ["explain", *words, *more]) for more in ((), ("--json",)))
        assert said.exit_code == rows.exit_code == 0, said.output
        return said.output, {row["line"]: row for row in map(json.loads, rows.output.splitlines())}

    return explain


def test_angles_and_feeds_are_shown_as_written_beside_what_they_became(explained):
    text = HEAD + "G01 Z30 F500\nA20. F600\nC90. F1200\nC360. A0\nX30 A5 C20 F300\nG93 X40 A10 F5\nG94\nM30\n"
    said, rows = explained(text, AXES)
    assert "A20 C0 as programmed, 600 deg/min\n           here: X10 Y0 Z30 A20 B0 C0, in 2 s\n" in said
    assert "A0 C360 as programmed, 1200 deg/min\n           here: X10 Y0 Z30, in 13.5 s\n" in said
    assert "A10 C20 as programmed, 5 1/min (in 12 s)\n" in said
    assert "C360\n" not in said.split("here")[-1]
    moves = {line: row["moves"][0] for line, row in rows.items() if row["moves"]}
    for line, (a, c), feed, unit in (
        (6, (20, 0), 600, "deg/min"), (7, (20, 90), 1200, "deg/min"), (8, (0, 360), 1200, "deg/min"),
        (9, (5, 20), 300, "mm/min"), (10, (10, 20), 5, "1/min"),
    ):  # fmt: skip
        programmed = moves[line]["programmed"]
        assert (programmed["words_mm_deg"]["A"], programmed["words_mm_deg"]["C"]) == pytest.approx((a, c))
        assert (programmed["feed"], programmed["feed_unit"]) == (pytest.approx(feed), unit)
        here = Rotation.from_euler("xyz", moves[line]["to_mm_deg"][3:], degrees=True).apply([0, 0, 1])
        assert np.degrees(np.arccos(here[2])) == pytest.approx(a, abs=1e-6)  # a table of A and C tilts by A alone
        assert rows[line]["tip_mm_deg"] == moves[line]["to_mm_deg"]


def test_feeds_in_inch_and_arcs_that_turn(explained):
    text = HEAD.replace("G21", "G20").replace("X10 Y0 Z50", "X1 Y0 Z2") + "G01 Z1.5 F20\nG02 X2 Y1 I0 J1 A10.\nM30\n"
    said, rows = explained(text, AXES)
    assert "line to X1 Y0 Z1.5 A0 C0 as programmed, 20 inch/min\n           here: X25.4 Y0 Z38.1, 508 mm/min\n" in said
    assert "         arc to X2 Y1 Z1.5 A10 C0 as programmed" in said
    assert rows[6]["moves"][0]["kind"] == "arc"


def test_a_tool_vector_is_shown_as_written(explained):
    said, rows = explained(HEAD + "G01 Z40 F500\nX20 I0.6 J0 K0.8\nI0 J0 K1 F90\nM30\n", VECTOR)
    assert "X20 Y0 Z40 I0.6 J0 K0.8 as programmed, 500 mm/min\n" in said
    tilt = np.degrees(np.arcsin(0.6))
    assert rows[6]["moves"][0]["to_mm_deg"][3:] == pytest.approx([0, tilt, 0], abs=1e-6)
    assert rows[7]["moves"][0]["programmed"]["feed_unit"] == "deg/min"


CONTOUR = "G01 Z30 F500\nG41 D1 X20 Y10 F300\nY40\nX40\nG03 X50 Y30 I10 J0\nG01 Y0\nX10\nG40 Y-20\nX0\nM30\n"


def test_the_compensated_path_is_that_of_the_job(explained, tmp_path):
    said, rows = explained(HEAD + CONTOUR)
    assert "         line to X20 Y10 Z30, 300 mm/min\n           tool centre: line to X15 Y10 Z30\n" in said
    job = load_job(tmp_path / "part.nc", machine=tmp_path / "machine.toml", tools=tmp_path / "tools.toml")
    moves = job.inputs.meaning.moves
    shown = [part for row in rows.values() for move in row["moves"] for part in move.get("tool_centre", [move])]
    np.testing.assert_allclose(np.array([part["to_mm_deg"][:3] for part in shown]).T, moves.end[:3], atol=1e-8)
    assert [part["kind"] == "arc" for part in shown] == (moves.kind == ARC).tolist()
    assert all("tool_centre" not in move for line in (12, 13) for move in rows[line]["moves"])


SETUP = "[offset.G54]\npose_mm_deg = [0, 0, 80, 3, 0, 10]\n[offset.G55]\npose_mm_deg = [5, 0, 80, 3, 8, 10]\n"
SETUP += "[offset.G56]\npose_mm_deg = [50, 9, 80, 3, 0, 10]\n"


def test_a_turned_offset_says_that_it_turns_the_platform(explained):
    body = "G01 Z40 F500\nG56\nX5\nG55\nX9\nG54 X0\nG55\nG53 G00 Z0\nG54 G00 Z90\nM30\n"
    said, rows = explained(HEAD + body, setup=SETUP)
    first, second = (Rotation.from_euler("xyz", pose, degrees=True) for pose in ([3, 0, 10], [3, 8, 10]))
    from_rest, across = (
        np.degrees((a.inv() * b).magnitude()) for a, b in ((Rotation.identity(), first), (first, second))
    )
    assert f"G54 is turned: the next move in it turns the platform by {from_rest:.4f} deg" in said
    assert rows[1]["next_move_turns_deg"] == pytest.approx(from_rest)
    assert rows[3]["moves"][0]["platform_turns_deg"] == pytest.approx(from_rest)
    assert rows[6]["next_move_turns_deg"] == pytest.approx(0, abs=1e-5)
    assert rows[8]["next_move_turns_deg"] == pytest.approx(across)
    assert rows[9]["moves"][0]["platform_turns_deg"] == pytest.approx(across)
    assert rows[10]["moves"][0]["platform_turns_deg"] == pytest.approx(across)  # chosen and gone to in one block
    assert "platform_turns_deg" not in rows[12]["moves"][0]  # machine coordinates: the platform keeps its orientation
    assert "G56 is turned" not in said


@pytest.mark.parametrize("name", ["contour", "pocket", "frustum", "plate_inch", "limits"])
def test_no_line_recites_the_table_of_words_or_says_a_thing_twice(name):
    files = ["--tools", f"{SAMPLES}/tools.toml", "--setup", f"{SAMPLES}/setup.toml"]
    said = CliRunner().invoke(main, ["explain", f"{SAMPLES}/{name}.nc", *files]).output
    recited = [w.does for w in WORDS if len(w.does.split()) > 3 and w.does in said]
    assert not [text for text in recited if ":" in text or "," in text]
    block: list[str] = []
    for line in said.splitlines():
        block = [] if line[:7].strip() else block
        told = [x.split(": ")[-1] for x in line.split("; ")] if block or not line[:7].strip() else []
        assert not [x for x in told if x in block], line
        block += told
