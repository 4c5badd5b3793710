"""Feeds are not lowered further than they must be: the job is about as fast as at one safe feed for all, or faster."""

from dataclasses import replace
from pathlib import Path

import pytest

from hexpost.machine.load import demonstration_machine, load_setup, load_tools
from hexpost.pipeline import Files, examine, load, parse, schedule, understand
from hexpost.refeed.compare import safe_share
from hexpost.refeed.lower import again, refeed

SWING = """G21 G90 G17 G94 G54
T1 M06
G00 G43 H1 X-280. Y-250. Z60. A5. B3. C-6.
G01 X-80. Y-60. Z400. A-5. B-3. C6. F{feed}
X-280. Y-250. Z60. A5. B3. C-6.
G53 G00 Z0
M30
"""


@pytest.fixture
def understood(tmp_path):
    (tmp_path / "s.toml").write_text("[offset.G54]\npose_mm_deg = [180, 150, 40, 0, 0, 0]\n")
    (tmp_path / "t.toml").write_text("[[tool]]\nnumber = 1\nlength_mm = 110\ndiameter_mm = 10\n")
    tools, setup = load_tools(Path(tmp_path / "t.toml")), load_setup(Path(tmp_path / "s.toml"))
    return lambda text: understand(parse(text, "swing.nc"), demonstration_machine(), tools, setup)


@pytest.mark.parametrize("feed", [70000, 14500])
def test_about_as_fast_as_one_safe_feed_and_clean(feed, understood):
    inputs = understood(SWING.format(feed=feed).encode())
    before = schedule(inputs).timing
    _, safe = safe_share(inputs, before.ticks * before.period, broken=True)
    refed = refeed(inputs)
    assert not refed.after.findings.count
    assert refed.after.duration < 1.06 * safe
    new = understood(refed.source)
    assert not examine(schedule(new)).findings.count
    assert refeed(new).source == refed.source


def test_a_refed_program_keeps_the_struts_at_other_control_periods():
    samples = Path(__file__).parents[2] / "samples"
    inputs = load(Files(program=samples / "overdriven.nc", tools=samples / "tools.toml", setup=samples / "setup.toml"))
    source = refeed(inputs).source
    for period in (0.05e-3, 0.2e-3, 1e-3, 4e-3):
        machine = replace(inputs.machine, period=period)
        found = examine(schedule(again(replace(inputs, machine=machine), source))).findings
        names = {found.limits[k].name for k in found.limit}
        assert names <= ({"deviation"} if period > inputs.machine.period else set())  # its chords are longer then
