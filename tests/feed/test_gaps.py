"""What bounds of the struts clear, against every sample of the job, solved: no limit is near there."""

import numpy as np
import pytest

from hexpost.feed.correct import Ranges, edges
from hexpost.feed.gaps import CLEAR, cleared
from hexpost.feed.ramps import Rests
from hexpost.feed.task import STRUT_LIMITED, task_of
from hexpost.pipeline import Files, load, schedule

BEYOND = 1.01
"""Bounds are those of three places of each stretch: so much more may be between them."""


@pytest.mark.parametrize("mode", ["as-programmed", "strut-limited"])
@pytest.mark.parametrize("name", ["blade_band", "frustum", "overdriven"])
def test_ticks_that_are_cleared_use_little_of_any_limit(root, name, mode):
    samples = root / "samples"
    files = Files(program=samples / f"{name}.nc", tools=samples / "tools.toml", setup=samples / "setup.toml")
    job = schedule(load(files, 0.002), mode)
    machine, none = job.inputs.machine, np.zeros(0, dtype=np.int64)
    rests = Rests(span=none, ticks=none, line=none, begin=0)
    bounds = task_of(job.path, job.inputs.meaning.moves, machine, STRUT_LIMITED, rests)[0].limits.shares.struts
    use = np.concatenate([
        np.max([
            (np.abs(getattr(s, column)) / np.array([[getattr(strut, column)] for strut in machine.struts])).max(axis=0)
            for column in ("speed", "acceleration")
        ], axis=0)
        for s in job.setpoints()
    ])  # fmt: skip
    tick = np.arange(len(use), dtype=np.float64)
    where = Ranges(lo=np.array([-1.0]), hi=np.array([len(use) + 1.0]))
    edge = edges(job.timing, where)
    clear = cleared(tick, edge, bounds, where.lo, timing=job.timing, path=job.path)
    assert clear.mean() > 0.05
    assert use[clear].max() <= CLEAR * BEYOND
    assert not cleared(tick, edge, np.full_like(bounds, 1e9), where.lo, timing=job.timing, path=job.path)[use > 0].any()
