"""A bug planted in every module that makes numbers of a table: convert's own proof finds it before a manifest stands.

Each is a change of one expression of the source, in a process of its own without the self-check, so that the proof is
what finds it. Where no change of a module makes a wrong table, the reason stands here, with a change that shows it: the
job is another, and proven. A new module of these packages fails the test until it has a bug or a reason.
"""

import json
import math
import os
import subprocess
import sys
from pathlib import Path

import pytest
from attack.jobs import SAMPLES
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
TIMED_PROGRAM = (
    PROGRAM.replace("M00", "G94 F3000.\nM00")
    .replace("Z20. F3000", "Z20. F9000")
    .replace("A0. B0.\nX", "A0. B0.\nG93 X")
)
"""Its chain is told in times: its vertices are smoothed, and it becomes no curve."""
TOOL = "[[tool]]\nnumber = 1\nlength_mm = 120\ndiameter_mm = 10\n"
SETUP = "[offset.G54]\npose_mm_deg = [10, -20, 80, 0, 0, 30]\n"
PLAIN = ("p.nc", "--period-ms", "4")
DENSE = ("dense.nc", "--period-ms", "4")
GEARED = (*PLAIN, "--columns", "time,length,speed,acceleration,command,turns,counts,line", "--machine", "m.toml")
SPRINGY = (*PLAIN, "--machine", "springy.toml")
TIMED = ("timed.nc", "--period-ms", "4")
TURNED = ("crown.nc", "--period-ms", "4", "--yaw", "follow")
LIMITED = (*PLAIN, "--feed", "strut-limited")
OPTIMAL = (*LIMITED, "--effort", "best")
SPLIT = (*PLAIN, "--rows-per-file", "500")

PATCHED = (
    ("motion", "len(known) > 1 and SMALL <", "0 <"),
    ("feed.patches", "MOST = 0.6", "MOST = 1.0"),
)
"""So that smooth chains of few stretches are planned about changes alone."""
PLANTS = {  # by module: a job, an expression and what it becomes; more changes that make the job come to it
    "path.arc": (PLAIN, "q += rise * w", "q += rise * w * 1.001"),
    "path.build": (PLAIN, "quintic[0] += c.end[:, i]", "quintic[0] += c.end[:, i] + 1e-3"),
    "path.chain": (PLAIN, "tangent /= length", "tangent /= 1.001 * length"),
    "path.chains": (DENSE, "out[:, tilted] /= self._rho", "out[0, 0] += 0.05"),
    "path.corner": (PLAIN, "10.0 * d2 - 4.0 * h", "10.0 * d2 - 4.4 * h"),
    "path.bounds": (PLAIN, "points *= points", "points *= 0.01 * points"),
    "path.curve": (
        DENSE,
        "part(t, n) for n in range(3)",
        "part(t, n) + 0.05 * (n == 0) for n in range(3)",
        ("path.curve", "bound = np.sqrt(np.stack(", "bound = 0.0 * np.sqrt(np.stack("),
    ),
    "path.dense": (PLAIN, "replace(c, end=end,", "replace(c, end=end + 0.05,"),
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
    "path.smooth": (TIMED, "out[:, at] += move * _share(move, limit, tolerances)", "out[:, at] += 0.05"),
    "path.splice": (DENSE, "u = place - c.s[k]", "u = 0.5 * (place - c.s[k])"),
    "feed.model": (PLAIN, "w = 1.0 / (n * self.period)", "w = 1.001 / (n * self.period)"),
    "feed.plan": (
        PLAIN,
        "seconds = window.astype(np.float64) * period\n        bounds",
        "seconds = 0.5 * window.astype(np.float64) * period\n        bounds",
    ),
    "feed.correct": (PLAIN, "if (worst == 1.0).all():", "if True:"),
    "feed.drafts": (PLAIN, "for k in range(ROUNDS + LAST)", "for k in range(0)"),
    "feed.lookahead": (
        DENSE,
        '{"t": t[:-1] + start * period, "s": s,',
        '{"t": t[:-1] + start * period, "s": s + 0.05,',
        ("feed.portions", "LONG = 65_536", "LONG = 60"),
        ("feed.lookahead", "WINDOW, AHEAD = 32_768, 4_096", "WINDOW, AHEAD = 60, 30"),
    ),
    "feed.in_parts": (
        DENSE,
        "np.arange(over, path.count) - b",
        "np.arange(over, path.count) - b - 5",
        ("feed.portions", "LONG = 65_536", "LONG = 60"),
        ("feed.in_parts", "PART, OVERLAP = 65_536, 2_048", "PART, OVERLAP = 150, 60"),
    ),
    "feed.known": (DENSE, "place = s - np.repeat(path", "place = 0.999 * s - np.repeat(path", *PATCHED),
    "feed.patches": (DENSE, "np.flatnonzero(mine))", "np.flatnonzero(mine)[::-1])", *PATCHED),
    "feed.portions": (
        PLAIN,
        "self._pauses.append(part.pauses)",
        "self._pauses.append(self._pauses[0] if self._pauses else part.pauses)",
        ("feed.portions", "PORTION = 32_768", "PORTION = 4"),
    ),
    "feed.stretches": (PLAIN, "self.s[:-1][at] + within * size", "self.s[:-1][at] + 0.99 * within * size"),
    "feed.task": (PLAIN, "window, self.rests, self.period,", "window, self.rests, 1.001 * self.period,"),
    "feed.weigh": (PLAIN, "TOLERANCE = 1e-6", "TOLERANCE = 5.0"),
    "feed.windows": (
        PLAIN,
        "size = np.stack([a, st.size - a - b, b], axis=1)",
        "size = np.stack([a, st.size - 0.9 * a - b, b], axis=1)",
    ),
    "setpoints.model": (TURNED, "/ 2.0 * h", "/ 2.2 * h"),
    "setpoints.sample": (PLAIN, "rate *= v", "rate *= 1.001 * v"),
    "setpoints.command": (GEARED, "turned *= -self._pitch", "turned *= self._pitch"),
    "setpoints.attitudes": ((*PLAIN, "--machine", "m.toml"), "frame.tip))", "0.9 * frame.tip))"),
    "setpoints.loads": ((*PLAIN, "--machine", "m.toml"), "turned += self._spin", "turned += 1.5 * self._spin"),
    "setpoints.elastic": (SPRINGY, "out -= self._home", "out -= 1.01 * self._home"),
    "setpoints.cutting": (SPRINGY, "tilts * feeds)", "0.9 * tilts * feeds)"),
    "setpoints.solve": (PLAIN, "jerk *= 1.0 / self._period", "jerk *= 1.5 / self._period"),
    "tables.columns": (
        GEARED,
        "lambda s: _there(s.command) * _there(_gears(s).turns)[:, None])",
        "lambda s: _there(s.length) * _there(_gears(s).turns)[:, None])",
    ),
    "tables.decimals": (
        PLAIN,
        '_COMMA = _words(s + "," for s in _PADDED)',
        '_COMMA = _words(s + "," for s in _PADDED[::-1])',
    ),
    "tables.events": (PLAIN, "ticks.tolist(), events", "(ticks + 1).tolist(), events"),
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
    "tables.knots": "writes beside the table; verify looks at each row beside the cubics (tests/verify/test_knots.py)",
    "feed.reasons": "says why a job is not faster: in the report alone",
    "feed.least": "says how much faster a job could be at most: in the report alone",
    "tables.exchange": "exchanges folders",
    "tables.job": "puts files in their places",
    "tables.manifest": "is written after the proof; verify reads it",
    "tables.ours": "says which files are those of a job",
    "tables.whole": "writes bytes; the proof compares the digest of what it read",
}
"""Modules that change no number of a table, with the reason."""
FITTED = "a curve is measured against the program by path.curve: one too far off is fitted again, or left out"
REACH = "bounds from which a plan starts: what is over a limit at a sample is corrected, what is under it is slower"
FOUND = "limits of the struts are looked at again in what comes out: a job over them is told as broken"
BEST = "an optimum is looked at between ticks as every draft is, and taken where it keeps all limits and is shorter"
NEVER_WRONG = {
    "path.cells": (FITTED, DENSE, "row) / count for row", "row) / count + 0.05 for row"),
    "path.corridor": (FITTED, DENSE, "s = np.minimum(s, s0[np.minimum(seg + 1, len(s0) - 1)])", "s = 0.9 * s"),
    "path.cubic": (FITTED, DENSE, "rate = _rates(h, x, slope)", "rate = 1.02 * _rates(h, x, slope)"),
    "path.fit": (FITTED, DENSE, "q: Array = solve(length[None])[0]", "q: Array = solve(length[None])[0] + 0.05"),
    "feed.attainable": (REACH, PLAIN, "steep * window[st.span]) ** 2", "steep * window[st.span]) ** 2 * 1.5"),
    "feed.bounds": (
        REACH,
        PLAIN,
        "cap = np.minimum(speed, HUGE**0.5) ** 2",
        "cap = np.minimum(1.02 * speed, HUGE**0.5) ** 2",
    ),
    "feed.calm": (
        "says how long averages are: it changes how fast a job is, not where it goes",
        (*SPRINGY, "--calm-lowest"),
        "whole * periods / tick",
        "1.3 * whole * periods / tick",
    ),
    "feed.chunks": (REACH, PLAIN, "rows=-(-steps // chunks))", "rows=-(-steps // chunks) + 3)"),
    "feed.gaps": (FOUND, LIMITED, "CLEAR = 0.9", "CLEAR = 1.5"),
    "feed.interior": (BEST, OPTIMAL, "CLOSE = 1e-3", "CLOSE = 0.3"),
    "feed.long_spans": (FOUND, LIMITED, "<= NEAR * least", "<= 2.0 * NEAR * least"),
    "feed.minima": (REACH, PLAIN, "return np.maximum(x, 0.0, out=x)", "return np.maximum(1.5 * x, 0.0)"),
    "feed.optimal": (BEST, OPTIMAL, "BELOW = 1.002", "BELOW = 1.2"),
    "feed.ramps": (
        REACH,
        PLAIN,
        "top = np.minimum(speeds.cap[which], (a * down",
        "top = np.minimum(1.5 * speeds.cap[which], (a * down",
    ),
    "feed.reference": (BEST, OPTIMAL, "PLANNED_SPEED = 0.995, 0.9998", "PLANNED_SPEED = 0.9, 0.9"),
    "feed.scan": (REACH, PLAIN, "return out * (1 - 1e-12)", "return out * 1.3"),
    "feed.spline_limits": (BEST, OPTIMAL, "= np.maximum(square, TINY)", "= 0.5 * np.maximum(square, TINY)"),
    "feed.straights": (REACH, PLAIN, "was / some[worst", "1.5 * was / some[worst"),
    "feed.struts": (FOUND, LIMITED, "AIM, AIM_RAPID = 0.999, 0.98", "AIM, AIM_RAPID = 1.5, 1.5"),
    "feed.thrusts": (FOUND, (*GEARED, *LIMITED[-2:]), "np.abs(self.ramp) / room", "0.1 * np.abs(self.ramp) / room"),
    "setpoints.between": (
        "looks between rows: it adds findings to those of the rows, which the proof finds again",
        PLAIN,
        "jerk = np.maximum.reduceat(np.abs(np.diff(motion.acceleration)) / size, first)",
        "jerk = 0.0 * np.maximum.reduceat(np.abs(np.diff(motion.acceleration)) / size, first)",
    ),
}
"""Modules of which no change makes a wrong table, with the reason, and a change after which the job is proven."""
PACKAGES = ("path", "feed", "setpoints", "tables")


def modules():
    """Return the modules of the packages that hold more than a chapter or columns of data."""
    root = Path(hexpost.__file__).parent
    found = {f"{p}.{f.stem}" for p in PACKAGES for f in (root / p).glob("*.py")}
    return {name for name in found if not name.endswith(".__init__")}


def planted(folder, options, *changes):
    """Convert with changes (module, old, new) of the source; return exit code and what was said."""
    sample = options[0] == "crown.nc"
    (folder / "p.nc").write_text(PROGRAM)
    (folder / "dense.nc").write_text(DENSE_PROGRAM)
    (folder / "timed.nc").write_text(TIMED_PROGRAM)
    (folder / "crown.nc").write_text((SAMPLES / "crown.nc").read_text())
    (folder / "m.toml").write_text(described(STRUT, REST))
    sag = "[compensation]\nsag = true\ncutting = true\n"
    (folder / "springy.toml").write_text(described(STRUT, REST + sag))
    (folder / "t.toml").write_text((SAMPLES / "tools.toml").read_text() if sample else TOOL)
    (folder / "s.toml").write_text((SAMPLES / "setup.toml").read_text() if sample else SETUP)
    (folder / "run.py").write_text(SCRIPT)
    words = ["convert", *options, "--tools", "t.toml", "--setup", "s.toml", "--out", "job"]
    place = str(Path(hexpost.__file__).parent.parent)
    done = subprocess.run(
        [sys.executable, "run.py", json.dumps(changes), *words],
        cwd=folder, capture_output=True, text=True, env={**os.environ, "PYTHONPATH": place}, check=False,
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr


def test_every_module_has_its_bug_or_its_reason():
    known = [*PLANTS, *NO_NUMBER, *NEVER_WRONG]
    assert len(known) == len(set(known))
    assert modules() == set(known)


@pytest.mark.long
@pytest.mark.parametrize("options", sorted({p[0] for p in PLANTS.values()}))
def test_without_a_bug_a_job_is_written(tmp_path, options):
    if "parquet" in options:
        pytest.importorskip("pyarrow")
    code, said = planted(tmp_path, options)
    assert code in (0, 1), said
    assert (tmp_path / "job" / "manifest.json").exists()


@pytest.mark.long
@pytest.mark.parametrize("module", sorted(PLANTS))
def test_the_proof_finds_a_planted_bug_before_a_manifest_stands(tmp_path, module):
    options, old, new, *more = PLANTS[module]
    if "parquet" in options:
        pytest.importorskip("pyarrow")
    code, said = planted(tmp_path, options, (module, old, new), *more)
    assert code == 2 and "the job is not proven:" in said, said
    assert not (tmp_path / "job").exists()


@pytest.mark.long
@pytest.mark.parametrize("module", sorted(NEVER_WRONG))
def test_a_change_of_what_makes_no_wrong_table_leaves_a_proven_job(tmp_path, module):
    _, options, old, new = NEVER_WRONG[module]
    code, said = planted(tmp_path, options, (module, old, new))
    assert code in (0, 1) and (tmp_path / "job" / "manifest.json").exists(), said
