"""A bug planted in every module that makes numbers of a table: convert's own proof finds it before a manifest stands.

Each is a change of one expression of the source, in a process of its own without the self-check, so that the proof is
what finds it. A new module of these packages fails the test until it has a bug here or a reason to have none.
"""

import json
import math
import os
import subprocess
import sys
from pathlib import Path

import pytest
from machine.described import REST, STRUT
from machine.described import text as described

import hexpost

SCRIPT = """
import json
import sys
from importlib.abc import Loader, MetaPathFinder
from importlib.machinery import PathFinder

changes = json.loads(sys.argv[1])
if changes:
    class Planted(MetaPathFinder):
        def find_spec(self, name, path=None, target=None):
            mine = [change[1:] for change in changes if "hexpost." + change[0] == name]
            if not mine:
                return None
            spec = PathFinder.find_spec(name, path, target)
            honest = spec.loader.get_data
            def planted(place):
                text = honest(place)
                if place.endswith(".py"):
                    for old, new in mine:
                        assert text.count(old.encode()) == 1, (place, old, text.count(old.encode()))
                        text = text.replace(old.encode(), new.encode())
                return text
            spec.loader.get_data = planted
            spec.loader.path_stats = lambda place: (_ for _ in ()).throw(OSError)
            return spec
    sys.meta_path.insert(0, Planted())
sys.dont_write_bytecode = True
from hexpost.selfcheck import SelfCheck
SelfCheck.add = lambda self, setpoints: None
SelfCheck.finish = lambda self, ticks: None
from hexpost.cli import main
main(sys.argv[2:])
"""
PROGRAM = """G21 G17 G90 G94 G64
T1 M06
G43 H1 S1200 M03
G00 X-60. Y-40. Z60.
G01 Z20. F6000. M08
X40.
Y20. Z30. A3. B-2.
G03 X20. Y40. I-20. J0.
G01 X-20. A0. B0.
G02 X-20. Y0. Z34. I0. J-20.
G04 X0.05
G01 X-60. Y-40. Z20. A8. B-6.
A0. B0.
{chain}
M00
G02 I15. J0. F3000.
G00 Z60.
M30
""".format(chain="\n".join(f"X{-60 + 0.2 * k:.3f} Y{-40 + 0.004 * k * k:.3f} Z20. F3000" for k in range(1, 40)))
DENSE_PROGRAM = """G21 G17 G90 G94 G64
T1 M06
G43 H1 S1200 M03
G00 X20. Y0. Z40.
G01 Z20. F6000.
F20000.
{chords}
G00 Z60.
M30
""".format(
    chords="\n".join(
        f"X{20 * math.cos(a):.3f} Y{20 * math.sin(a):.3f}" for a in (k * math.tau / 600 for k in range(601))
    )
)
"""A circle of chords, which becomes a smooth curve."""
PLAIN = ("p.nc", "--period-ms", "4")
DENSE = ("dense.nc", "--period-ms", "4")
GEARED = (*PLAIN, "--columns", "time,length,speed,acceleration,command,turns,counts,line", "--machine", "m.toml")

SPLIT = (*PLAIN, "--rows-per-file", "500")

PLANTS = {
    "path.arc": (PLAIN, "q += rise * w", "q += rise * w * 1.001"),
    "path.build": (PLAIN, "quintic[0] += c.end[:, i]", "quintic[0] += c.end[:, i] + 1e-3"),
    "path.chain": (PLAIN, "tangent /= length", "tangent /= 1.001 * length"),
    "path.chains": (DENSE, "out[:, tilted] /= self._rho", "out[0, 0] += 0.05"),
    "path.corner": (PLAIN, "10.0 * d2 - 4.0 * h", "10.0 * d2 - 4.4 * h"),
    "path.joined": (PLAIN, "slot[kind == ROUND] += self._arcs - first", "slot[kind == ROUND] = 0"),
    "path.joints": (
        PLAIN,
        "straight = CORNER_SHARE * self.tip_jump",
        "straight = 0.01 * CORNER_SHARE * self.tip_jump",
    ),
    "path.model": (PLAIN, "q = t * (self.offset[piece] + u)", "q = t * (self.offset[piece] + 1.0001 * u)"),
    "path.runs": (
        DENSE,
        "share * (moves.end[:, line] - moves.start[:, line])",
        "share * (moves.end[:, line] - moves.start[:, line]) + 0.05",
    ),
    "path.smooth": (PLAIN, "out[:, at] += move * _share(move, limit, tolerances)", "out[:, at] += 0.05"),
    "path.splice": (DENSE, "u = place - c.s[k]", "u = 0.5 * (place - c.s[k])"),
    "feed.bounds": (
        PLAIN,
        "cap = np.minimum(speed, HUGE**0.5) ** 2",
        "cap = np.minimum(1.02 * speed, HUGE**0.5) ** 2",
    ),
    "feed.model": (PLAIN, "w = 1.0 / (n * self.period)", "w = 1.001 / (n * self.period)"),
    "feed.plan": (
        PLAIN,
        "seconds = window.astype(np.float64) * period\n        bounds",
        "seconds = 0.5 * window.astype(np.float64) * period\n        bounds",
    ),
    "feed.ramps": (
        PLAIN,
        "top = np.minimum(speeds.cap[which], (a * down",
        "top = np.minimum(1.5 * speeds.cap[which], (a * down",
    ),
    "setpoints.command": (GEARED, "turned *= -self._pitch", "turned *= self._pitch"),
    "setpoints.solve": (PLAIN, "jerk *= 1.0 / self._period", "jerk *= 1.5 / self._period"),
    "tables.columns": (
        GEARED,
        "lambda s: _there(s.command) * _gears(s).turns[:, None])",
        "lambda s: _there(s.length) * _gears(s).turns[:, None])",
    ),
    "tables.decimals": (
        PLAIN,
        '_COMMA = _words(s + "," for s in _PADDED)',
        '_COMMA = _words(s + "," for s in _PADDED[::-1])',
    ),
    "tables.events": (PLAIN, "{exact(tick * micros, 6)},{tick}", "{exact(tick * micros, 6)},{tick + 1}"),
    "tables.formats": (
        (*PLAIN, "--table", "npy"),
        "np.divide(row, 10.0**c.group.decimals, out=place)",
        "np.divide(row, 1.0001 * 10.0**c.group.decimals, out=place)",
    ),
    "tables.parquet": ((*PLAIN, "--table", "parquet"), "[rows.micros] * self", "[rows.micros + 1] * self"),
    "tables.partial": (SPLIT, "for piece in pieces:", "for piece in pieces[::-1]:"),
    "tables.quantise": (PLAIN, "np.rint(whole, out=whole)", "np.rint(whole + 1.0, out=whole)"),
    "tables.segments": (PLAIN, "self._hash.update(whole.data)", "self._hash.update(whole[:1].data)"),
    "tables.table": (
        SPLIT,
        "self._quantiser.rows(setpoints, first, end)",
        "self._quantiser.rows(setpoints, first - (first > 0), end - (first > 0))",
    ),
}

NO_NUMBER = {
    "feed.reasons": "says why a job is not faster: in the report alone",
    "tables.exchange": "exchanges folders",
    "tables.job": "puts files in their places",
    "tables.manifest": "is written after the proof; verify reads it",
    "tables.ours": "says which files are those of a job",
    "tables.whole": "writes bytes; the proof compares the digest of what it read",
}
"""Modules that change no number of a table, with the reason."""
OPEN = {
    "path.bounds": "bounds of derivatives: a plan on wrong ones is corrected where it is looked at, or slower",
    "path.cells": "what is fitted: a curve too far off its chain is fitted again, or left as programmed",
    "path.corridor": "the parameter along a chain, and its corners: a curve too far off is fitted again, as for cells",
    "path.curve": "a bound of nothing for the distance from the chain is not found: the curve is near at once",
    "path.fit": "what is fitted, as for cells",
    "path.dense": "curvature through dense chains: what it changes stays within the corner tolerance",
    "feed.attainable": "what is within reach, for the choice of windows: another one makes the job slower",
    "feed.chunks": "the layout of the exact scan, for the same choice",
    "feed.correct": "lowers what is too fast",
    "feed.drafts": "tries plans, takes the shortest",
    "feed.lookahead": "plans spans of 65,536 pieces and more",
    "feed.minima": "speeds that bounds allow: beyond them they are corrected",
    "feed.portions": "joins plans of 32,768 pieces and more",
    "feed.scan": "the exact scan, for the same choice as attainable",
    "feed.stretches": "cuts pieces into stretches",
    "feed.struts": "limits of struts, which the audit finds again",
    "feed.task": "gathers what a plan needs",
    "feed.thrusts": "limits of thrusts, which the audit finds again",
    "feed.weigh": "weighs plans against limits",
    "feed.windows": "the time over which speeds are averaged: the jerk of the tip, which the proof does not look at",
    "setpoints.between": "looks between rows: findings that no row shows",
    "setpoints.model": "a yaw that follows: the proof does not look at the turn about a round tool",
    "setpoints.sample": "an acceleration that is wrong by a per cent is within what the jerk allows at 4 ms",
}
"""Modules for which no bug is planted yet that the proof finds, with what one in them does."""
PACKAGES = ("path", "feed", "setpoints", "tables")


def modules():
    """Return the modules of the packages that hold more than a chapter or columns of data."""
    root = Path(hexpost.__file__).parent
    found = {f"{p}.{f.stem}" for p in PACKAGES for f in (root / p).glob("*.py")}
    return {name for name in found if not name.endswith(".__init__")}


def planted(folder, module, options, old, new):
    """Convert with a bug in a module; return exit code and what was said."""
    (folder / "p.nc").write_text(PROGRAM)
    (folder / "dense.nc").write_text(DENSE_PROGRAM)
    (folder / "m.toml").write_text(described(STRUT, REST))
    (folder / "t.toml").write_text("[[tool]]\nnumber = 1\nlength_mm = 120\ndiameter_mm = 10\n")
    (folder / "s.toml").write_text("[offset.G54]\npose_mm_deg = [10, -20, 80, 0, 0, 30]\n")
    (folder / "run.py").write_text(SCRIPT)
    changes = json.dumps([[module, old, new]] if old else [])
    words = ["convert", *options, "--tools", "t.toml", "--setup", "s.toml", "--out", "job"]
    place = str(Path(hexpost.__file__).parent.parent)
    done = subprocess.run(
        [sys.executable, "run.py", changes, *words],
        cwd=folder, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": place}, check=False,
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr


def test_every_module_has_its_bug_or_its_reason():
    known = [*PLANTS, *NO_NUMBER, *OPEN]
    assert len(known) == len(set(known))
    assert modules() == set(known)


@pytest.mark.long
@pytest.mark.parametrize("options", sorted({p[0] for p in PLANTS.values()}))
def test_without_a_bug_a_job_is_written(tmp_path, options):
    if "parquet" in options:
        pytest.importorskip("pyarrow")
    code, said = planted(tmp_path, "", options, "", "")
    assert code in (0, 1), said
    assert (tmp_path / "job" / "manifest.json").exists()


@pytest.mark.long
@pytest.mark.parametrize("module", sorted(PLANTS))
def test_the_proof_finds_a_planted_bug_before_a_manifest_stands(tmp_path, module):
    options, old, new = PLANTS[module]
    if "parquet" in options:
        pytest.importorskip("pyarrow")
    code, said = planted(tmp_path, module, options, old, new)
    assert code == 2 and "the job is not proven:" in said, said
    assert not (tmp_path / "job").exists()
