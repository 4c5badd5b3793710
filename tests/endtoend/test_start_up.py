"""What a short job does not import: start-up is most of its time, and modules can be counted where time cannot."""

import math
import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]
HEAVY = ("scipy.linalg", "scipy.sparse", "scipy.optimize", "numpy.f2py", "numpy.testing", "numpy.ma", "lark")
UNUSED = ("hexpost.verify", "hexpost.ownproof", "hexpost.program.mistakes", "email.parser")


def python(code: str, *words: object) -> list[str]:
    """Return what a Python process prints, word by word."""
    done = subprocess.run([sys.executable, "-c", code, *map(str, words)], capture_output=True, text=True, check=True)
    return done.stdout.split()


def dense_chain() -> str:
    """Return a program of 60 short moves, which become one smooth curve."""
    rows = [f"X{0.4 * k - 10:.3f} Y0 Z{60 + 15 * math.sin(0.4 * k / 24):.3f}" for k in range(60)]
    return "\n".join(["G21 G90 G54 F3000", f"G00 {rows[0]}", f"G01 {rows[1]}", *rows[2:], "M30", ""])


@pytest.mark.parametrize("text", [dense_chain(), (ROOT / "samples" / "contour.nc").read_text()])
def test_a_short_job_imports_no_heavy_part_of_numpy_and_scipy(text, tmp_path):
    program = tmp_path / "p.nc"
    program.write_text(text)
    code = (
        "import sys; from hexpost.cli import main\n"
        "try: main(sys.argv[1:], prog_name='hexpost')\n"
        "except SystemExit as end: assert end.code in (0, 1)\n"
        "print('MODULES', *sys.modules)"
    )
    found = python(code, "convert", program, "--quiet", "--no-proof", "--out", tmp_path / "job")
    modules = found[found.index("MODULES") :]
    assert "hexpost.pipeline" in modules
    assert ("hexpost.path.curve" in modules) == ("G01 X-9.6" in text)
    assert not {*HEAVY, *UNUSED} & {*modules}


@pytest.mark.parametrize("first", ["hexpost.lapack", "scipy.linalg.lapack"])
def test_routines_are_those_of_scipy_whichever_comes_first(first):
    code = (
        f"import {first}, hexpost.lapack as ours, scipy.linalg.lapack as theirs, scipy.linalg\n"
        "print(all(getattr(theirs, name) is getattr(ours, name) for name in ours.__all__), scipy.linalg.det([[2.0]]))"
    )
    assert python(code) == ["True", "2.0"]


def test_routines_are_those_of_scipy_where_the_compiled_module_has_another_name():
    code = (
        "import sys, scipy, numpy, types, importlib.util, importlib.machinery as machinery, importlib.metadata\n"
        "machinery.PathFinder = types.SimpleNamespace(find_spec=lambda *_: None, invalidate_caches=lambda: None)\n"
        "import hexpost.lapack as ours; before = 'scipy.linalg' in sys.modules; import scipy.linalg.lapack as theirs\n"
        "print(before, all(getattr(theirs, name) is getattr(ours, name) for name in ours.__all__))"
    )
    assert python(code) == ["True", "True"]
