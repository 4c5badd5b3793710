"""The axis of the tool as a vector, against rotations written out here (Rodrigues) and against plain A B C programs."""

import json
import re

import numpy as np
import pytest
from attack.restarting import begun_again, runs, unlike
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from moves.programs import MACHINE, TOOLS, faults, meaning, offsets, same

from hexpost.cli import main
from hexpost.errors import InputError
from hexpost.kinematics.frames import rotation
from hexpost.machine.load import DEMONSTRATION, machine_from
from hexpost.moves.model import FEED_TILT
from hexpost.pipeline import Files, load, parse, understand
from hexpost.refeed.split import split_lines

TOML = DEMONSTRATION.read_text()
HEAD = "G21 G90 G17 G94\nT1 M06\nG43 H1\nM03 S900\nG00 X0 Y0 Z100\n"
SETUP = offsets(G54=[0, 0, 60, 0, 0, 0])


def vectored(letters="IJK", rest=""):
    named = ", ".join(f'"{x}"' for x in letters)
    return machine_from(f"{TOML}\n[programmed_axes]\ntool_vector = [{named}]\n{rest}".encode(), "m.toml")


VECTOR = vectored()


def axes(found):
    """Return the axis of the tool (3, n) at the end of every move, by the matrix of its angles."""
    return rotation(*found.moves.end[3:], MACHINE.tilt_order)[:, 2]


def said(v):
    return " ".join(f"{x}{c:.6f}" for x, c in zip("IJK", v, strict=True))


def unit(*v):
    return np.array(v, float) / np.linalg.norm(v)


@pytest.mark.parametrize("v", [(0, 0, 1), (0.1, 0, 1), (0, -0.2, 1), (0.1, 0.1, 1), (-0.05, 0.2, 1)])
@pytest.mark.parametrize("word", ["G00", "G01"])
def test_the_tool_points_where_the_vector_says(v, word):
    v = unit(*v)
    found = meaning(HEAD + f"{word} X5 F300 {said(v)}\n", machine=VECTOR, tools=TOOLS, setup=SETUP)
    assert axes(found)[:, -1] == pytest.approx(v, abs=2e-6)
    r = rotation(*found.moves.end[3:, -1:], MACHINE.tilt_order)[:, :, 0]
    turn_about_the_tool = (r - r.T)[1, 0]  # none: R = I + [v] + [v]^2 / (1 + c) is symmetric in X Y
    assert abs(turn_about_the_tool) < 1e-9


@given(st.tuples(*[st.floats(-0.3, 0.3)] * 2), st.tuples(*[st.floats(-0.3, 0.3)] * 2))
@settings(max_examples=10, deadline=None)
def test_between_two_vectors_the_axis_stays_on_their_great_circle(one, two):
    a, b = unit(*one, 1.0), unit(*two, 1.0)
    text = HEAD + f"G01 X5 F300 {said(a)}\nX20 Y3 {said(b)}\n"
    found = meaning(text, machine=VECTOR, tools=TOOLS, setup=SETUP)
    way = axes(found)[:, found.moves.line == text.count("\n")]
    a, b = (unit(*(float(f"{c:.6f}") for c in v)) for v in (a, b))
    normal = np.cross(a, b)
    assert np.abs(normal @ way).max() < 1e-6
    turned = np.arctan2(np.linalg.norm(np.cross(a, way.T), axis=1), a @ way)
    assert (np.diff(turned) > -1e-9).all() and way[:, -1] == pytest.approx(b, abs=1e-9)


def test_a_vector_is_normalised_and_stays_in_force():
    v = unit(0.1, 0, 1)
    text = "G01 X5 F300 {0}\nX9\nG91 X1 Y2 {1}\nG90 G00 Z120\n"
    a = meaning(HEAD + text.format(said(v), said(v)), machine=VECTOR, tools=TOOLS, setup=SETUP)
    b = meaning(HEAD + text.format(said(v * 1.005), said(v * 0.995)), machine=VECTOR, tools=TOOLS, setup=SETUP)
    same(a, b, 1e-3)
    assert np.allclose(axes(a)[:, -1], v, atol=2e-6)


def test_a_vector_in_the_plane_of_one_axis_is_its_angle():
    """A tilt about Y alone: the axis is (sin B, 0, cos B)."""
    c, s = np.cos(np.radians(7)), np.sin(np.radians(7))
    text = HEAD + f"G01 X5 F300 I{s:.12f} J0 K{c:.12f}\nX9 Y4\nG00 Z120 I0 J0 K1\n"
    plain = re.sub(r"I0 J0 K1", "B0", re.sub(r"I0\.\S+ J0 K\S+", "B7", text))
    machine = machine_from(f'{TOML}\n[words]\norientation = "great-circle"\n'.encode(), "m.toml")
    same(
        meaning(text, machine=VECTOR, tools=TOOLS, setup=SETUP),
        meaning(plain, machine=machine, tools=TOOLS, setup=SETUP),
    )


def test_arcs_keep_their_centres_and_the_axis():
    v = unit(0.05, 0, 1)
    text = HEAD + f"G01 X5 F300 {said(v)}\nG02 X15 Y-10 I0 J-10\nG01 X20\n"
    found = meaning(text, machine=VECTOR, tools=TOOLS, setup=SETUP)
    assert len(found.moves.arcs.move) == 1 and axes(found)[:, -1] == pytest.approx(v, abs=2e-6)


@pytest.mark.parametrize("letters", ["ABC", "KIJ"])
def test_the_letters_are_those_of_the_file(letters):
    v = unit(0.1, -0.05, 1)
    words = " ".join(f"{x}{c:.6f}" for x, c in zip(letters, v, strict=True))
    found = meaning(HEAD + f"G01 X5 F300 {words}\n", machine=vectored(letters), tools=TOOLS, setup=SETUP)
    assert axes(found)[:, -1] == pytest.approx(v, abs=2e-6)


@pytest.mark.parametrize(
    ("block", "code"),
    [
        ("G01 X5 F300 I0.1 K0.99", "tool-vector-half"),
        ("G01 X5 F300 I1 J1 K1", "tool-vector-length"),
        ("G01 X5 F300 I0 J0 K0", "tool-vector-length"),
        ("G01 X5 F300 I0 J0 K-1", "tool-vector-down"),
        ("G01 X5 F300 A5", "tool-vector-with-angles"),
        ("G53 G00 Z0 I0 J0 K1", "tool-vector-out-of-place"),
        ("G28 Z90 I0 J0 K1", "tool-vector-out-of-place"),
        ("G92 X0 I0 J0 K1", "tool-vector-out-of-place"),
        ("G81 X5 Z-3 R2 F100 I0 J0 K1", "tool-vector-out-of-place"),
    ],
)
def test_what_no_vector_can_be_is_refused(block, code):
    found = faults(HEAD + block + "\n", machine=VECTOR, tools=TOOLS, setup=SETUP)
    assert code in {f.code for f in found} and len({f.line for f in found}) == 1
    assert all(f.hint or f.code == "no-motion-word" for f in found)


@pytest.mark.parametrize(
    ("letters", "rest", "key"),
    [
        ("IJ", "", "programmed_axes.tool_vector"),
        ("IIK", "", "programmed_axes.tool_vector"),
        ("IJX", "", "programmed_axes.tool_vector"),
        ("IJK", '[[programmed_axes.axis]]\nword = "A"\ncarries = "table"\n', "programmed_axes.axis"),
        ("IJK", 'coordinates = "tip"\n', "programmed_axes.coordinates"),
    ],
)
def test_tables_that_cannot_be_are_named(letters, rest, key):
    with pytest.raises(InputError) as caught:
        vectored(letters, rest)
    assert [f.key for f in caught.value.faults] == [key]


def test_returns_and_tool_changes_turn_the_tool_by_their_own_poses():
    v = unit(0.1, 0, 1)
    text = HEAD + f"G01 X5 F300 {said(v)}\nG28\nG00 X0 Y0 Z100 I0 J0 K1\n"
    found = meaning(text, machine=VECTOR, tools=TOOLS, setup=SETUP)
    assert axes(found)[:, -1] == pytest.approx([0, 0, 1], abs=1e-12)


@pytest.mark.parametrize("yaw", ["fixed", "follow"])
def test_a_job_is_proven(yaw, tmp_path):
    (tmp_path / "m.toml").write_text(f'{TOML}\n[programmed_axes]\ntool_vector = ["I", "J", "K"]\n')
    (tmp_path / "t.toml").write_text("[[tool]]\nnumber = 1\nlength_mm = 100\ndiameter_mm = 10\n")
    blocks = [
        f"X{30 * np.cos(t):.3f} Y{30 * np.sin(t):.3f} {said(unit(0.1 * np.cos(t), 0.1 * np.sin(t), 1))}"
        for t in np.linspace(0, 2 * np.pi, 13)
    ]
    (tmp_path / "p.nc").write_text(
        HEAD + "G01 X30 F3000\n" + "\n".join(blocks) + "\nG00 Z120 I0 J0 K1\nG28\nM05\nM30\n"
    )
    files = ["--machine", str(tmp_path / "m.toml"), "--tools", str(tmp_path / "t.toml")]
    job = str(tmp_path / "job")
    done = CliRunner().invoke(main, ["convert", str(tmp_path / "p.nc"), *files, "--yaw", yaw, "--out", job])
    assert done.exit_code == 0, done.output
    report = json.loads((tmp_path / "job" / "report.json").read_bytes())
    assert any("axis of the tool as a vector" in r for r in report["readings"])
    done = CliRunner().invoke(main, ["verify", job])
    assert "PROVEN, CLEAN" in done.output, done.output


CONE = "".join(
    f"X{25.4 * x} Y{25.4 * y} {said(unit(0.1 * np.cos(t), 0.1 * np.sin(t), 1))}\n"
    for t in np.linspace(0, 2, 7)
    for x, y in [(round(float(np.cos(t)), 2), round(float(np.sin(t)), 2))]
)
ARC = "X25.4 Y0\nG02 X25.4 Y-25.4 I0 J-12.7 F508\nG91 G01 X-2.54 I0 J0 K1\nG90 G00 Z127\n"
FREE = f"{said(unit(0.1, 0, 1))} F900\nF1016\n{CONE}{ARC}"


def test_a_program_in_inch_is_its_twin_in_mm():
    """Lengths and feeds a minute over 25.4; vectors have no unit, and F of turns alone counts degrees."""
    text = HEAD.replace("Z100", "Z101.6") + "G01 Z76.2 F1016\n" + FREE
    inch = re.sub(r"([XYZ]|I(?=0 J-12)|(?<=I0 )J(?=-12))(-?[\d.]+)", lambda m: f"{m[1]}{float(m[2]) / 25.4:.9f}", text)
    inch = inch.replace("G21", "G20").replace("F1016", "F40").replace("F508", "F20")
    found, twin = (meaning(x, machine=VECTOR, tools=TOOLS, setup=SETUP) for x in (text, inch))
    assert found.moves.count >= 20 and FEED_TILT in found.moves.feed_mode
    same(found, twin, 1e-6)


@pytest.fixture
def files(tmp_path):
    """Return a program with vectors and the files of its job."""
    (tmp_path / "m.toml").write_text(f'{TOML}\n[programmed_axes]\ntool_vector = ["I", "J", "K"]\n')
    (tmp_path / "t.toml").write_text("[[tool]]\nnumber = 1\nlength_mm = 100\ndiameter_mm = 10\n")
    (tmp_path / "p.nc").write_text(HEAD + "G01 Z80 F1000\nX0.5\n" + FREE + "X0\nM30\n")
    return Files(program=tmp_path / "p.nc", machine=tmp_path / "m.toml", tools=tmp_path / "t.toml", setup=None)


def test_from_every_block_the_rest_is_the_tail_of_the_whole(files):
    whole = load(files)
    for line, run, *_ in runs(whole):
        rest, cut = begun_again(whole, line, run)
        if rest is None:
            assert line == runs(whole)[-1][0]
            continue
        assert not unlike(whole, rest, cut), line
        ends = [m.end[:, -1] for m in (whole.meaning.moves, rest.meaning.moves)]
        assert np.allclose(*ends) and rest.meaning.moves.count >= whole.meaning.moves.count - cut.moves


def test_begun_again_the_job_is_proven(files, tmp_path):
    given = ["--machine", str(files.machine), "--tools", str(files.tools)]
    job = str(tmp_path / "job")
    done = CliRunner().invoke(main, ["convert", str(files.program), *given, "--from-line", "11", "--out", job])
    assert done.exit_code == 0, done.output
    assert "PROVEN, CLEAN" in CliRunner().invoke(main, ["verify", job]).output


@pytest.mark.parametrize("letters", ["IJK", "ABC", "KIJ"])
def test_a_block_with_a_vector_is_never_cut_and_one_without_keeps_the_axis(letters, monkeypatch):
    """Half the words of a block that turns the tool would turn it all the way: refeed --split leaves it whole."""
    monkeypatch.setattr("hexpost.refeed.split.cuts", lambda inputs, lines: {
        k: np.array([0.5]) for k in np.flatnonzero(np.isin(inputs.meaning.moves.line, lines)).tolist()
        if np.count_nonzero(inputs.meaning.moves.line == inputs.meaning.moves.line[k]) == 1
    })  # fmt: skip
    axis, other = (
        "".join(f" {x}{c}" for x, c in zip(letters, v, strict=True)) for v in (("0.6", "0", "0.8"), (0, 0, 1))
    )
    text = HEAD + f"G01 X10 F300{axis}\nX90\nX100 Y10{axis}\nX20{other}\nX10 Y0{other}\nM30\n"
    machine = vectored(letters)
    whole = understand(parse(text.encode(), "p.nc"), machine, TOOLS, SETUP)
    source, old = split_lines(whole, list(range(1, 12)))
    cut = sorted({int(x) for x in old[1:][old[1:] == old[:-1]]})
    assert 7 in cut and not {6, 8, 9, 10} & set(cut)
    again = understand(parse(source, "p.nc"), machine, TOOLS, SETUP)
    places = [np.concatenate((m.end[:3], rotation(*m.end[3:], MACHINE.tilt_order)[:, 2])) for m in
              (whole.meaning.moves, again.meaning.moves)]  # fmt: skip
    assert all(np.abs(places[1] - p[:, None]).max(axis=0).min() < 1e-6 for p in places[0].T)
    halfway = places[1][:, int(np.abs(places[1][0] - 50).argmin())]
    assert halfway[3:] == pytest.approx([0.6, 0, 0.8], abs=1e-6)
