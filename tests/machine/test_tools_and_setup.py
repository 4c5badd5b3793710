"""Tools and setup files: what is read, and the whole text of what is refused."""

from pathlib import Path

import numpy as np
import pytest

from hexpost.errors import InputError
from hexpost.machine.load import load_machine, load_setup, load_tools, no_setup, no_tools

SAMPLES = Path(__file__).parents[2] / "samples"


def written(tmp_path, text):
    path = tmp_path / "file.toml"
    path.write_text(text)
    return path


def test_tools(tmp_path):
    tools = load_tools(written(tmp_path, "[[tool]]\nnumber = 7\nlength_mm = 120.5\ndiameter_mm = 12\n"))
    assert tools.given
    assert (tools.tools[7].length, tools.tools[7].diameter) == (120.5, 12.0)
    assert tools.source.startswith(b"[[tool]]")
    assert not no_tools().given
    assert not no_tools().tools


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("", "`tool` is missing; add it: [[tool]]"),
        ("tool = 3", "tool is 3; make it a list of tables: [[tool]]"),
        ("[[tool]]\nnumber = 1\nlength_mm = 0\ndiameter_mm = 3",
         "tool[1].length_mm is 0; it must be above 0"),
        ("[[tool]]\nnumber = 1\nlength_mm = 3",
         "`tool[1].diameter_mm` is missing; add it: diameter_mm = number above 0"),
        ("[[tool]]\nnumber = 1.5\nlength_mm = 9\ndiameter_mm = 3",
         "tool[1].number is 1.5; write number = whole number"),
        ("[[tool]]\nnumber = 1\nlength_mm = 9\ndiameter_mm = 3\n[[tool]]\nnumber = 1\nlength_mm = 9\ndiameter_mm = 3",
         "tool[2].number is 1 again; give each tool once"),
        ("[[tool]]\nnumber = 1\nlength_mm = 9\ndiameter_mm = 3\nlenght_mm = 4",
         "unknown key `tool[1].lenght_mm`; did you mean `length_mm`?"),
    ],
)  # fmt: skip
def test_tools_refused(tmp_path, text, expected):
    path = written(tmp_path, text)
    with pytest.raises(InputError) as caught:
        load_tools(path)
    assert str(caught.value) == f"{path}: {expected}"


def test_setup(tmp_path):
    text = "[offset.G54]\npose_mm_deg = [1, 2, 3, 0, 0, 90]\n[start]\npose_mm_deg = [0, 0, 900, 0, 0, 0]\n"
    setup = load_setup(written(tmp_path, text))
    assert setup.given
    assert np.allclose(setup.offsets["G54"], [1, 2, 3, 0, 0, np.pi / 2])
    assert setup.start.tolist() == [0, 0, 900, 0, 0, 0]
    assert load_setup(written(tmp_path, text.partition("[start]")[0])).start is None
    assert not no_setup().given
    assert no_setup().start is None


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("[offset.G53]\npose_mm_deg = [0, 0, 0, 0, 0, 0]",
         "unknown key `offset.G53`; did you mean `G59`?"),
        ("[offset.G54]\npose_mm_deg = [0, 0, 0, 0, 0]",
         "offset.G54.pose_mm_deg is [0, 0, 0, 0, 0]; write pose_mm_deg = [x, y, z, a, b, c], 6 numbers"),
        ("[offset]\nG54 = 3", "offset.G54 is 3; make it a table: [offset.G54]"),
        ("offsets = 1", "unknown key `offsets`; did you mean `offset`?"),
        ("[offset.G54]\n", "`offset.G54.pose_mm_deg` is missing; add it: pose_mm_deg = [x, y, z, a, b, c]"),
    ],
)  # fmt: skip
def test_setup_refused(tmp_path, text, expected):
    path = written(tmp_path, text)
    with pytest.raises(InputError) as caught:
        load_setup(path)
    assert str(caught.value) == f"{path}: {expected}"


@pytest.mark.parametrize(
    ("load", "sample", "kind"),
    [(load_tools, "setup.toml", "setup"), (load_setup, "tools.toml", "tools"), (load_machine, "tools.toml", "tools"),
     (load_setup, "described.toml", "machine")],
)  # fmt: skip
def test_a_file_given_with_the_wrong_option_is_told_by_its_kind_alone(load, sample, kind):
    with pytest.raises(InputError) as refused:
        load(SAMPLES / sample)
    (fault,) = refused.value.faults
    assert (fault.code, f"this is a {kind} file" in fault.what) == ("other-file", True)
    assert f"--{kind}" in fault.hint
