"""Loads proven again: sound folders with every way to load a strut, milder reports, constants of beams and columns."""

import json

import pytest
from machine.described import REST, STRUT, text
from verify.folders import PROGRAM, SETUP, TOOLS, convert, copied, left_out, milder, proof, retold, run, tried

from hexpost.path.model import ToolPath
from hexpost.setpoints import cutting
from hexpost.verify.loads import LOADS, _bending, _column

pytestmark = pytest.mark.usefixtures("untried")

CUTTING = TOOLS.replace(
    "diameter_mm = 10\n",
    "diameter_mm = 10\nteeth = 3\nfeed_force_n = 120\nfeed_force_n_mm = 4000\n"
    "axial_force_n = 30\naxial_force_n_mm = 900\n",
)
DRILLED = PROGRAM.replace("T2 M06\n", "G00 X-20. Y-20. Z60.\nG98 G81 X0. Y0. Z20. R30. F900.\nX20.\nG80\nT2 M06\n")
CASES = {
    "roomy": (STRUT, REST, TOOLS),
    "tight": (
        STRUT.replace("= 12000", "= 2200")
        .replace("torque_nm = 45", "torque_nm = 12")
        .replace("thrust_continuous_n = 6000", "thrust_continuous_n = 2200")
        .replace("torque_continuous_nm = 25", "torque_continuous_nm = 12"),
        REST,
        TOOLS,
    ),
    "coefficients": (STRUT, REST.replace("[300, 0, 150]", "[0, 0, 0]").replace("[0, 0, 5]", "[0, 0, 0]"), CUTTING),
}


@pytest.fixture(scope="module", params=CASES)
def job(request, tmp_path_factory):
    place = tmp_path_factory.mktemp(request.param)
    strut, rest, tools = CASES[request.param]
    return request.param, convert(place, PROGRAM, setup=SETUP, tools=tools, machine=text(strut, rest))


def test_loads_are_found_again(job):
    name, folder = job
    code, output = run("verify", folder)
    assert code == (1 if name == "tight" else 0), output
    assert "loads           found again" in output
    assert "not found again" not in output
    report = json.loads((folder / "report.json").read_text())
    assert set(LOADS) <= set(report["struts"][0]["worst"])
    assert {"thrust", "torque"} <= {f["limit"] for f in report["findings"]} or name != "tight"


def test_loads_are_found_again_where_one_line_holds_rapids_and_feed_moves(tmp_path):
    code, output = run("verify", convert(tmp_path, DRILLED, tools=CUTTING, machine=text()))
    assert code == 0, output
    assert "loads           found again" in output


@pytest.mark.parametrize("limit", LOADS)
def test_a_milder_load_is_named(job, limit, tmp_path):
    folder = copied(job[1], tmp_path)
    rows = [s["worst"][limit] for s in json.loads((folder / "report.json").read_text())["struts"]]
    strut = max(range(6), key=lambda k: rows[k]["ratio"])
    if 0.99 * rows[strut]["ratio"] < 0.01:
        pytest.skip("a hundredth of next to nothing is within the decimals of the table")
    milder(folder, limit, 0.99, strut=strut)
    code, faults = proof(folder)
    assert code == 2
    assert [f.split(":")[0] for f in faults["loads"]] == [f"{limit} of strut {strut + 1}"]


def test_a_milder_conditioning_is_named(job, tmp_path):
    folder = copied(job[1], tmp_path)

    def easier(report):
        report["tool"]["worst"]["singular-pose"]["ratio"] *= 0.99

    retold(folder, easier)
    assert [f.split(":")[0] for f in proof(folder)[1]["singular poses"]] == ["singular-pose"]


def test_a_load_left_out_is_named(job, tmp_path):
    if job[0] != "tight":
        pytest.skip("no load is broken")
    folder = copied(job[1], tmp_path)
    line = left_out(folder, "thrust")
    _, faults = proof(folder)
    assert any(f"broken in line {line}, which the report does not say" in f for f in faults["loads"])


@pytest.mark.parametrize(
    ("ends", "root", "factor"),
    [  # R. D. Blevins, Formulas for Natural Frequency and Mode Shape (1979), table 8-1; Euler's columns; from memory
        ("fixed-free", 1.87510407, 0.25),
        ("supported-supported", 3.14159265, 1.0),
        ("fixed-supported", 3.92660231, 2.0457),
        ("fixed-fixed", 4.73004074, 4.0),
    ],
)
def test_constants_of_beams_and_columns(ends, root, factor):
    assert _bending(ends) == pytest.approx(root, rel=1e-8)
    assert _column(ends) / 3.141592653589793**2 == pytest.approx(factor, rel=1e-4)


TILTED = PROGRAM.replace("A0. B5.\n", "A0. B5.\nA8. B-6. F900.\nC9.\n")


def test_a_proof_finds_a_force_that_is_left_out_of_pure_tilts(tmp_path, monkeypatch):
    """And a tool that turns faster than its limit, though its angles do not."""
    assert tried(tmp_path, TILTED, machine=text(STRUT, REST.replace("[300, 0, 150]", "[9000, 0, 150]")))[0] == 1
    monkeypatch.setattr(cutting, "LEVEL", 1e9)
    code, said, _ = tried(tmp_path, TILTED, "--machine", tmp_path / "m.toml", "--overwrite")
    assert code == 2 and "the report says" in said
    monkeypatch.undo()
    monkeypatch.setattr(ToolPath, "turns_max", lambda _, slopes: slopes)
    code, said, _ = tried(tmp_path, "G21 G90\nG00 B-30\nG00 A15 C15\nM30\n", "--overwrite")
    assert code == 2 and "of its feed or of a tool-tip limit" in said
