"""Rules of the shop floor, on programs as they are written; each found again by the proof's own equations.

That a left-hand thread is tapped with M04, and a right-hand one with M03: common practice, no source.
"""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hexpost.audit.limits import LIMITS
from hexpost.machine.load import DEMONSTRATION, demonstration_machine, machine_from, no_setup
from hexpost.machine.model import Tool, Tools
from hexpost.pipeline import examine, parse, schedule, understand
from hexpost.verify.shop_floor import LIMITS as TWINS
from hexpost.verify.shop_floor import ShopFloor

MACHINE = demonstration_machine()
TOOLS = Tools(
    tools={1: Tool(number=1, length=120.0, diameter=12.0), 2: Tool(number=2, length=80.0, diameter=6.0)}, given=True
)
LOADED = "G21 G90 G17\nT1 M06\nS800 M03\nG00 X0 Y0\nG43 H1 Z120\n"
CUTS = "G01 Z98 F900\nX50\nY40\nG00 Z120\n"
SETUP = "G92 Z20\n"
"""After it the zero plane is 100 mm above the pallet, and the tool 20 mm above that plane."""


def result(text, machine=MACHINE, tools=TOOLS):
    inputs = understand(parse(text.encode(), "p.nc"), machine, tools, no_setup())
    return examine(schedule(inputs)), inputs


def found(text, machine=MACHINE, tools=TOOLS):
    """Return the findings of these rules as (limit, line, peak); the twins of the proof find the same."""
    audit, inputs = result(text, machine, tools)
    rows = [audit.findings.row(i) for i in range(audit.findings.count)]
    out = sorted((f.limit.name, f.line, round(f.peak, 6)) for f in rows if f.limit.name in TWINS)
    twin = ShopFloor(machine, tools, inputs.meaning).broken
    assert sorted({(n, x) for n, x, _ in out}) == sorted((n, x) for n, b in twin.items() for x in b.most)
    for name, line, peak in out:
        assert twin[name].most[line] >= peak - 1e-5
    return out


def remarks(text, machine=MACHINE):
    audit, _ = result(text, machine)
    return [audit.remarks.row(i) for i in range(audit.remarks.count)], audit.warnings


HOME = LOADED + "G92 Z20\nG01 Z-2 F900\nX50\nY40\nG00 Z20\n"


@pytest.mark.parametrize(
    ("home", "deep"),
    [
        ("G00 X20 Y20\nG90 G28 Z0.", 0.0),
        ("G00 X20 Y20\nG90 G28 Z-3.", 3.0),
        ("G00 X20 Y20\nG91 G28 Z0.", None),
        ("G00 X90 Y20\nG90 G28 Z0.", None),
        ("G00 X90 Y20\nG90 G28 X20 Z-4.", 4.0),
        ("G00 X20 Y20 Z30\nG90 G28 Z1.", None),
        ("G01 X20 Y20\nZ-2\nG91 G28 X0 Y0", 2.0),
        ("G01 X20 Y20\nZ-2\nG91 G28 Z0", None),
        ("G49\nG00 X20 Y20 Z150\nG90 G28 Z100.", 20.0),
        ("G00 X20 Y20\nG90 G30 Z-1.", 1.0),
        ("G01 X20 Y20\nZ-2\nG28", 2.0),
        ("G00 X20 Y20 Z30\nG28", None),
        ("G00 X20 Y20 Z30\nG91 G30", None),
    ],
    ids=[
        "at-zero",
        "below",
        "straight-up",
        "beside",
        "into-it",
        "above",
        "sideways",
        "out-of-it",
        "no-length",
        "g30",
        "bare-out-of-it",
        "bare-above",
        "bare-g30",
    ],
)
def test_a_return_through_the_work(home, deep):
    poses = b"".join(b"\n%s_pose_mm_deg = [0, 0, 1040, 0, 0, 0]" % name for name in (b"g28", b"g30"))
    machine = machine_from(DEMONSTRATION.read_bytes() + b"\n[reference_return]" + poses, "m.toml")
    text = HOME + home + "\nM30\n"
    said = [f for f in found(text, machine) if f[0] == "return-path"]
    line = text.count("\n", 0, text.index("G28") if "G28" in text else text.index("G30")) + 1
    assert said == ([] if deep is None else [("return-path", line, deep)])


def test_a_return_without_axes_that_goes_down_is_a_finding():
    poses = b"\n[reference_return]\ng28_pose_mm_deg = [0, 0, 700, 0, 0, 0]"
    audit, _ = result(HOME + "G00 Z90\nG28\nM30\n", machine_from(DEMONSTRATION.read_bytes() + poses, "m.toml"))
    rows = [audit.findings.row(i) for i in range(audit.findings.count)]
    assert [(f.limit.name, f.line) for f in rows if f.limit.name == "retract"] == [("retract", 12)]


def test_arcs_count_in_the_extents_of_the_cuts():
    """A whole circle of 20 mm about X0 Y0 has no end beyond X20 Y0, and cuts at X0 Y-15."""
    text = LOADED + "G92 Z20\nG00 X20\nG01 Z-2 F900\nG02 X20 Y0 I-20 J0\nG00 Z20\nX0 Y-15\nG90 G28 Z-1.\nM30\n"
    assert ("return-path", 12, 1.0) in found(text)


@settings(deadline=None, max_examples=40)
@given(
    st.lists(st.tuples(*[st.integers(-9, 9)] * 3), min_size=1, max_size=4),
    st.tuples(*[st.integers(-12, 12)] * 3),
    st.tuples(*[st.integers(-12, 12)] * 3),
    st.sampled_from(["X{0} Y{1} Z{2}", "Z{2}", "X{0} Y{1}"]),
)
def test_the_twins_agree_on_random_ways_home(cuts, stand, through, words):
    cut = "".join(f"G01 X{4 * x} Y{4 * y} Z{z} F9000\n" for x, y, z in cuts)
    text = LOADED + "G92 Z50\n" + cut + f"G00 X{4 * stand[0]} Y{4 * stand[1]} Z{stand[2]}\n"
    found(text + f"G90 G28 {words.format(4 * through[0], 4 * through[1], through[2])}\nM30\n")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("G43 H2 Z50\nT2 M06\nG43 H2 Z60\n", [("tool-call", 4, 2.0)]),
        ("G01 X5 F500\nT2 M06\nG43 H2 Z50\n", [("tool-call", 4, 0.0)]),
        ("G00 X5\nT2 M06\nG43 H2 Z50\n", []),
        ("G43 H2 Z50\nG01 X5 F500\n", []),
        ("T2 M06\nG43 H2 Z50\nG01 X5 F500\nT1 M06\nG43 H1 Z60\n", []),
    ],
    ids=["length", "cut", "rapid-alone", "never-called", "called"],
)
def test_a_tool_used_before_it_is_called(text, said):
    audit, _ = result("G21 G90\nS900 M03\nG00 X0 Y0 Z200\n" + text + "M30\n")
    assert found("G21 G90\nS900 M03\nG00 X0 Y0 Z200\n" + text + "M30\n") == said
    assert ("has called no tool" in " ".join(audit.warnings)) == ("M06" not in text)


LEFT = machine_from(
    DEMONSTRATION.read_bytes() + b'\n[[dialect]]\nword = "G74"\naction = "same-as"\nsame_as = "G84"\n', "left.toml"
)  # fmt: skip


@pytest.mark.parametrize(
    ("cycle", "spindle", "said"),
    [
        ("G84", "M03", []), ("G84", "M13", []), ("G84", "M04", 3.0), ("G84", "M14", 3.0),
        ("G74", "M04", []), ("G74", "M03", 4.0),
    ],
)  # fmt: skip
def test_a_tap_and_its_spindle(cycle, spindle, said):
    text = LOADED + f"{spindle} S500\n{cycle} X10 Y10 Z95 R102 F500\nX20\nX30 L2\nG80\nM30\n"
    lines = [7, 8, 9] if said else []
    audit, _ = result(text, LEFT)
    rows = [audit.findings.row(i) for i in range(audit.findings.count)]
    assert sorted({(f.line, f.allowed) for f in rows if f.limit.name == "tapping"}) == [(x, said) for x in lines]
    assert {line for _, line, _ in found(text, LEFT)} == set(lines)


@pytest.mark.parametrize(
    ("text", "line", "count"),
    [
        ("G92 Z20\nX60\nG00 Z-5\nX0\nZ20\n", 8, 2),
        ("G92 Z20\nG01 Z-5 F500\nG00 Z20\n", None, 0),
        ("G92 Z20\nG83 X10 Y10 Z-9 R2 Q2 F500\nG80\n", None, 0),
        ("G92 Z20\nG81 X10 Y10 Z-9 R-4 F500\nG98 X20\nG80\n", 7, 2),
        ("G92 Z20\nG01 Z-5 F500\nG00 X10 Z20\n", 8, 1),
    ],
    ids=["beside", "straight-up", "pecks", "r-below", "aslant"],
)
def test_a_rapid_below_zero_is_a_remark(text, line, count):
    rows, warnings = remarks(LOADED + text + "M30\n")
    below = [(f.line, f.peak) for f in rows if f.limit.name == "rapid-below-zero"]
    assert below == ([(line, count)] if line else [])
    more = f" ({count} times in all)" if count > 1 else ""
    assert any(w.endswith(f"is a rapid below the zero plane of the work{more}.") for w in warnings) == bool(line)


def test_remarks_break_nothing_and_their_rows_say_so():
    audit, _ = result("G21 G90\nG00 X0 Y0 Z100\nG01 X10 F500\nY10\nM30\n", tools=TOOLS)
    assert not audit.findings.count and audit.remarks.row(0).peak == 2
    assert {row.name for row in LIMITS if row.remark} == {"spindle-off", "rapid-below-zero"}
    assert np.isfinite(audit.duration)
