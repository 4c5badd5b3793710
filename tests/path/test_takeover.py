"""Where smooth curves and the lines beside them meet: one place, one direction."""

from dataclasses import replace

import numpy as np
import pytest

from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.pipeline import parse, schedule, understand


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_curve_takes_over_where_the_line_before_it_ends(seed):
    """Also where rounding noise was taken out of that line: a wave behind a corner, written in few decimals."""
    rng = np.random.default_rng(seed)
    x, z = np.arange(1, 40) * rng.uniform(0.1, 0.3), rng.uniform(0.2, 0.6) * np.sin(np.arange(1, 40) * 0.35)
    wave = "".join(f"G01 X{a:.4f} Z{60.0 + b:.4f}\n" for a, b in zip(x, z, strict=True))
    text = f"G21 G90 G64\nG00 X0 Y-5 Z55\nG01 X0 Y0 Z60 A1.6 B-3.8 F2000\nG01 A0 B0\n{wave}Y4\nM30\n"
    machine = demonstration_machine()
    tip = replace(machine.tool_tip, corner_tolerance=0.1, corner_tolerance_tilt=np.radians(0.05))
    inputs = understand(parse(text.encode(), "p.nc"), replace(machine, tool_tip=tip), no_tools(), no_setup())
    path = schedule(inputs).path
    assert path.ends.curves == 1
    inner = np.setdiff1d(np.arange(path.count - 1), path.span_first - 1)
    end = path.evaluate(inner, path.size[inner], 1)
    begin = path.evaluate(inner + 1, np.zeros(len(inner)), 1)
    assert np.abs(end[0] - begin[0]).max() < 1e-9
    assert np.abs(end[1] - begin[1]).max() < 1e-6
    assert max(path.ends.off[0] / 0.1, path.ends.off[1] / tip.corner_tolerance_tilt) < 1.0
