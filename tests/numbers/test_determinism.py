"""The same job is the same bytes, whatever runs beside it; another processor may move a last digit, and no more."""

import os
import shutil
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from hexpost.tables.columns import choose

SAMPLES = Path(__file__).parent.parent.parent / "samples"
RUN = "import sys, hexpost.cli; hexpost.cli.main()"
LAST_DIGITS = 1
"""By so many units of its last decimal a number of a table may differ between processors: it may lie on a tie."""
PLAIN = {"TZ": "UTC", "PYTHONHASHSEED": "0", "OPENBLAS_NUM_THREADS": "1", "LC_ALL": "C"}
OTHERS = (
    {"PYTHONHASHSEED": "1", "OPENBLAS_NUM_THREADS": "8", "LC_ALL": "tr_TR.UTF-8", "TZ": "Asia/Kathmandu"},
    {"PYTHONHASHSEED": "random", "OPENBLAS_NUM_THREADS": "2", "LC_ALL": "de_DE.UTF-8", "TZ": "America/St_Johns"},
)


IN_A_LANGUAGE = (
    "import locale; locale.setlocale(locale.LC_ALL, ''); assert locale.localeconv()['decimal_point'] == ','\n"
)
"""A program that embeds hexpost and has taken the customs of its user, decimal commas among them."""


def made(place, name, table="csv", run=RUN, more=("contour.nc",), **env):
    """Return the files of a job made in surroundings of its own, by name; ``more``: the sample, and options."""
    words = ["convert", str(SAMPLES / more[0]), "--out", str(place / name), "--table", table, *more[1:]]
    done = subprocess.run(
        [sys.executable, "-c", run, *words], env={**os.environ, **env}, capture_output=True, check=False
    )
    assert done.returncode in (0, 1), done.stderr
    folder = place / name
    return {str(f.relative_to(folder)): f.read_bytes() for f in folder.rglob("*") if f.is_file()}


def test_surroundings_change_no_byte(tmp_path):
    plain = made(tmp_path, "plain", **PLAIN)
    for i, other in enumerate(OTHERS):
        assert made(tmp_path, f"other{i}", **other) == plain


@pytest.mark.parametrize("core", ["Nehalem", "Sandybridge"])
def test_another_library_of_linear_algebra_changes_no_byte_of_a_schedule_at_the_optimum(core, tmp_path):
    """Kernels for other processors stand in for another build: coefficients are rounded to what all agree on."""
    more = ("overdriven.nc", "--feed", "strut-limited", "--effort", "best")
    plain = made(tmp_path, "plain", more=more, **PLAIN)
    other = made(tmp_path, "other", more=more, **{**PLAIN, "OPENBLAS_CORETYPE": core, "OPENBLAS_NUM_THREADS": "8"})
    assert b'"effort":"best"' in plain["manifest.json"].replace(b" ", b"")
    assert other == plain


@pytest.mark.parametrize("language", ["tr_TR", "de_DE"])
def test_decimal_commas_and_dotless_letters_change_no_byte(language, tmp_path):
    """In a language that is built for this test: most machines have none installed, and then fall back in silence."""
    tool, there = shutil.which("localedef"), tmp_path / "locales"
    there.mkdir()
    words = ["-i", language, "-f", "UTF-8", str(there / f"{language}.UTF-8")]
    if tool is None or subprocess.run([tool, *words], capture_output=True, check=False).returncode:
        pytest.skip("this machine cannot build a locale")
    env = {**PLAIN, "LOCPATH": str(there), "LC_ALL": f"{language}.UTF-8"}
    assert made(tmp_path, "other", run=IN_A_LANGUAGE + RUN, **env) == made(tmp_path, "plain", **PLAIN)


def test_a_processor_without_wide_instructions_changes_no_more_than_the_last_digit(tmp_path):
    """numpy takes other code then: a stand-in for another processor of the same kind."""
    core = pytest.importorskip("numpy._core._multiarray_umath", reason="an older numpy keeps it elsewhere")
    features = [f for f in core.__cpu_dispatch__ if core.__cpu_features__.get(f)]
    if not features:
        pytest.skip("this processor has no wider instructions to be left out")
    here = made(tmp_path, "here", "npy")
    made(tmp_path, "other", "npy", NPY_DISABLE_CPU_FEATURES=" ".join(features), OPENBLAS_CORETYPE="Nehalem")
    name = next(n for n in here if n.endswith(".npy"))
    a, b = (np.load(tmp_path / job / name) for job in ("here", "other"))
    assert len(a) == len(b)
    units = {c.group.column(k + 1): 10.0**-c.group.decimals for c in choose().chosen for k in c.rows}
    for column, unit in units.items():
        off = np.abs(a[column].astype(float) - b[column].astype(float)).max() / unit
        assert off < LAST_DIGITS + 0.01, column
