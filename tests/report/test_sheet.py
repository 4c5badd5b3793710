"""The setup sheet: tools with H and D, offsets, spindle speeds, time per tool; in JSON, text and page."""

import json
from types import SimpleNamespace

import pytest
from verify.folders import PROGRAM, convert, run

from hexpost.report.sheet import Row, ToolUse
from hexpost.report.sheet_words import tool_rows

TEXT = PROGRAM.replace("G01 Z5. F2000.\n", "G01 Z5. F2000. S900\n").replace(
    "X-50. Y-30. B0. M09\n", "X-50. Y-30. B0. S700\n"
)
CUTTER = "G41 D2 G01 X-30. Y-40. F900\nX-10.\nY-20.\nG40 X-30.\n"


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    text = TEXT.replace("G01 X20. Y5. C4.\n", "G01 X20. Y5. C4.\n" + CUTTER)
    return convert(tmp_path_factory.mktemp("sheet"), text)


@pytest.fixture(scope="module")
def told(job):
    return json.loads((job / "report.json").read_text())


def test_tools_with_their_rows_and_speeds(told):
    """Read off the program and the tools file by hand."""
    first, second = told["setup_sheet"]["tools"]
    assert (first["tool"], second["tool"]) == (1, 2)
    assert first["length_rows"] == [{"row": 1, "length_mm": 120}]
    assert second["length_rows"] == [{"row": 2, "length_mm": 90}]
    assert (first["diameter_mm"], second["diameter_mm"]) == (10, 6)
    assert first["spindle_speeds"] == [700, 1200]
    assert second["spindle_speeds"] == [900]
    assert told["setup_sheet"]["radius_rows"] == [{"row": 2, "diameter_mm": 6}]


def test_times_of_the_tools_are_those_of_the_events_and_sum_up(job, told):
    events = [row.split(",") for row in (job / "events.csv").read_text().splitlines()[1:]]
    changes = [float(e[0]) for e in events if e[3] == "M6"]
    times = [t["time_s"] for t in told["setup_sheet"]["tools"]]
    assert times[0] == pytest.approx(changes[1], abs=1e-9)
    assert sum(times) == pytest.approx(told["duration_s"], abs=1e-9)


def test_offsets_that_are_used(told):
    found = {o["offset"]: o["pose_mm_deg"] for o in told["setup_sheet"]["offsets"]}
    assert found == {"G54": [10, -20, 80, 0, 0, 30], "G55": [-60, 40, 100, 6, -4, 20]}


def test_text_and_page_tell_the_same(job):
    text, page = (job / "report.txt").read_text(), (job / "report.html").read_text()
    assert "Setup sheet" in text
    assert "H1 120" in text
    assert "D2 6" in text
    assert '<h2 id="setup">Setup sheet</h2>' in page
    assert "H2 90" in page
    shortest = json.loads((job / "report.json").read_text())["struts"][0]["shortest_mm"]
    assert page.count(f"{shortest:.3f}") >= 2


def test_what_is_missing_is_said(tmp_path):
    (tmp_path / "p.nc").write_text("%\nG21\nG00 X10. Y0. Z100.\nM30\n%\n")
    run("convert", tmp_path / "p.nc", "--out", tmp_path / "job")
    sheet = json.loads((tmp_path / "job" / "report.json").read_text())["setup_sheet"]
    assert sheet["tools"][0] | {"time_s": 0} == {
        "tool": 0, "time_s": 0, "beside_s": 0, "length_rows": [], "diameter_mm": None, "spindle_speeds": []
    }  # fmt: skip
    assert sheet["offsets"] == [{"offset": "G54", "pose_mm_deg": [0] * 6, "given": False}]
    assert "none" in (tmp_path / "job" / "report.txt").read_text().split("Setup sheet")[1]


def test_of_very_many_rows_the_first_are_listed_and_the_rest_counted():
    rows = tuple(Row(row=k, value=0.5 * k if k != 2 else None) for k in range(1, 3001))
    use = ToolUse(tool=1, seconds=1.0, beside=None, lengths=rows, diameter=None, speeds=())
    told = tool_rows(SimpleNamespace(sheet=SimpleNamespace(tools=(use,))))[0][3]
    assert told.startswith("H1 0.5, H2 not in the tools file, H3 1.5, ") and told.endswith(", H40 20 and 2,960 more")
