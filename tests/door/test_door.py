"""The door for other programs: lazy, typed, and the same numbers as the job folder."""

import subprocess
import sys

import numpy as np
import pytest

import hexpost


def test_import_costs_nothing_and_every_name_is_there():
    code = (  # an interruption while modules are imported is a traceback: the fewer of them, the shorter the moment
        "import signal, sys; before = set(sys.modules); import hexpost.__main__\n"
        "sys.exit({*sys.modules} - before != {'hexpost', 'hexpost.__main__', 'hexpost.version'})"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0
    for name in hexpost.__all__:
        assert getattr(hexpost, name) is not None
    assert set(hexpost.__all__) <= set(dir(hexpost))
    with pytest.raises(AttributeError, match="no attribute 'other'"):
        _ = hexpost.other


def test_blocks_are_the_rows_of_the_table(root, tmp_path):
    samples = root / "samples"
    job = hexpost.load_job(
        samples / "frustum.nc", tools=samples / "tools.toml", setup=str(samples / "setup.toml"), period_ms=4
    )
    report = hexpost.write_job(job, tmp_path / "job", table="npy")
    table = np.load(tmp_path / "job" / "setpoints.npy")
    blocks = list(job.setpoints())
    length = np.concatenate([b.length for b in blocks], axis=1)
    assert np.abs(table["length_3_mm"] - length[2]).max() <= 0.5e-6 + 1e-12
    tick = np.concatenate([b.poses.tick for b in blocks])
    assert np.array_equal(np.rint(table["time_s"] * 1e3), 4 * tick)
    assert report.rows == len(table)
    assert hexpost.audit_job(job).clean == report.clean


def test_faults_and_odd_periods_are_refused(tmp_path):
    (tmp_path / "p.nc").write_text("G01 X1\n")
    with pytest.raises(hexpost.InputError, match=r"p\.nc"):
        hexpost.load_job(tmp_path / "p.nc")
    with pytest.raises(hexpost.HexpostError, match="period_ms"):
        hexpost.load_job(tmp_path / "p.nc", period_ms=-1)
    assert hexpost.read_machine().demonstration
