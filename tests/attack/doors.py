"""What comes in from outside: stops of commands with workers, lists of changed files, measurements, machine files."""

import json
import os
import signal
import time
from functools import partial

import numpy as np
from attack.jobs import SAMPLES, SHORT, end, faults, inside, start
from attack.model import Outcome, patience
from machine import contradictions
from setup.test_calibrate import FULL_HEAD, MACHINE, START, rows
from workers.processes import alive, descendants, until

from hexpost.setup.observe import rotations
from hexpost.setup.poses_in_reach import grid_poses, spread_poses
from hexpost.units import DEG_PER_RAD

WITH_WORKERS = {
    "gate": ("gate", "lib", "--no-cache", "--sarif", "g.sarif", "--html", "g.html"),
    "place": ("place", SAMPLES / "frustum.nc", "--tools", SAMPLES / "tools.toml", "--setup",
              SAMPLES / "setup_corner.toml", "--step-mm", "20", "-o", "placed.toml"),
    "reach": ("machine", "reach", "--out", "reach", "--step-mm", "8"),
}  # fmt: skip
PROGRAMS, LATEST_S, GONE_S = 600, 4.0, 10.0
"""Programs of the library; a stop comes within so many seconds; workers are gone within so many, on a busy computer."""


def stopped(name, rng, place):
    """Stop a command that has workers, at a random moment: they go with it, its streams end, no output is there."""
    if name == "gate":
        (place / "lib").mkdir()
        for i in range(PROGRAMS):
            (place / "lib" / f"{i}.nc").write_text(SHORT)
    number = rng.choice([signal.SIGINT, signal.SIGTERM, signal.SIGKILL])
    process = start(*WITH_WORKERS[name], "--jobs", "2", cwd=place, start_new_session=True)
    time.sleep(rng.uniform(0.0, LATEST_S))
    others = descendants(process.pid)
    group = number == signal.SIGINT and rng.random() < 0.5
    begin = time.monotonic()
    if process.poll() is None:
        (os.killpg if group else os.kill)(process.pid, number)
    code, said, wrong = end(process, GONE_S)
    took = time.monotonic() - begin
    outcome = Outcome(clean=int(code in (0, 1)), refused=int(code not in (0, 1)), slowest_s=took)
    if code is None:
        outcome.lost += wrong
    early = "init_import_site" in said or (number != signal.SIGKILL and "/hexpost/" not in said)
    if not (code in (0, -number) or (code == 130 and "interrupted" in said) or early):
        outcome.lost += faults(code, said) or [f"ended with {code}: {said[-300:]}"]
    if not until(lambda: not any(alive(pid) for pid in others), patience(GONE_S)):
        outcome.lost.append(f"{name}, signal {number}: workers are left")
    left = {p.name for p in place.rglob("*") if p.is_file() and p.suffix != ".nc"}
    if code not in (0, 1) and left:
        outcome.lost.append(f"{name}, signal {number}: left {sorted(left)}")
    return outcome


def listed(rng, place):
    """Gate what a list of changed files names, written in any way: exactly the programs that it means, or 2."""
    names = [f"lib/{stem}.nc" for stem in ("a", "tr\u00e4ger", "two words", 'quo"ted', "-dash", "[x]")]
    (place / "lib").mkdir()
    for name in names:
        (place / name).write_text(SHORT)
    (place / "README").write_text("none")
    meant = {name for name in names if rng.random() < 0.4}
    entries = [*meant, *rng.sample(["README", "lib/gone.nc", "x/y.nc", "", "\u00e4"], rng.randrange(4))]
    rng.shuffle(entries)
    way = rng.choice(["nul", "lines", "windows", "quoted", "utf-16", "twice", "dots"])
    text = _list(entries, way)
    more = [w for w in ("--allow-empty", "--json") if rng.random() < 0.5]
    process = start("gate", "lib", "--changed", "--no-cache", "--serial", *more, cwd=place, stdin=-1)
    process.stdin.write(text)
    process.stdin.close()
    process.stdin = None
    code, said, wrong = end(process)
    outcome = Outcome(clean=int(code == 0), refused=int(code == 2), lost=wrong)
    there = bool(meant) or "README" in entries
    right = 0 if there or "--allow-empty" in more else 2
    if code != right:
        outcome.wrong.append(f"{way} {entries} {more}: ended with {code}, not {right}: {said[-300:]}")
    if code == 0 and "--json" in more:
        checked = {c["program"] for c in json.loads(said[said.index("{") : said.rindex("}") + 1])["cases"]}
        if checked != meant:
            outcome.wrong.append(f"{way} {entries}: checked {sorted(checked)}, not {sorted(meant)}")
    elif f"Checked {len(meant)} of {len(names)} programs" not in said:
        outcome.wrong.append(f"{way} {entries}: {said[-300:]}")
    return outcome


def _list(entries, way):
    """Return the bytes of a list."""
    if way == "nul":
        return b"".join(e.encode() + b"\0" for e in entries)
    if way == "quoted":
        entries = ['"' + "".join(f"\\{b:03o}" for b in e.encode()) + '"' if e else e for e in entries]
    entries = {"twice": entries * 2, "dots": [f"./lib/../{e}" if e else e for e in entries]}.get(way, entries)
    entries = [f'"{e.translate({34: chr(92) + chr(34)})}"' if '"' in e and way != "quoted" else e for e in entries]
    text = "".join(e + ("\r\n" if way == "windows" else "\n") for e in entries)
    return text.encode("utf-16" if way == "utf-16" else "utf-8")


SIGMA = np.array([0.01, 0.01, 0.01, 0.001, 0.001, 0.001])[:, None]
"""Standard uncertainties, mm and degrees: what the command takes without a word."""
SURE = 2.0
"""What is found may be off by so many times what is told as the largest error, which holds in 95 of 100 cases."""


def measured(rng, place):
    """Calibrate from measurements of an invented machine, damaged in one way: refused, or right all the same."""
    seed = np.random.default_rng(rng.randrange(1 << 32))
    real = START.moved(np.concatenate([seed.normal(0.0, rng.choice([0.02, 0.3, 0.8]), 42), np.zeros(12)]))
    n = rng.randrange(14, 60)
    q = spread_poses(MACHINE, 8 * n)
    q = q[:, seed.permutation(q.shape[1])[:n]]
    length = START.struts.lengths(q)
    q = real.poses(length, q)
    pose = np.vstack([q[:3], q[3:] * DEG_PER_RAD]) + seed.normal(size=q.shape) * SIGMA
    what = rng.choice([*DAMAGE, *(["wrong coordinates"] * 8)])
    pose, length = DAMAGE.get(what, lambda p, _, l: (p, l))(pose, rng, length)
    if what == "wrong coordinates":
        pose = _wrong(pose, seed)
    (place / "poses.csv").write_text(rows(FULL_HEAD, pose, length))
    code, said, lost = inside("calibrate", place / "poses.csv", "-o", place / "built.toml", "--json")
    outcome = Outcome(clean=int(code == 0), refused=int(code == 2), lost=lost)
    if (place / "built.toml").exists() != (code == 0):
        outcome.lost.append(f"{what}: ended with {code}, and the machine file says otherwise")
    if code == 0:
        off, bound = _off(real, json.loads(said))
        if not off <= bound:
            outcome.wrong.append(f"{what}, {n} poses: off by {off:.4f} mm, {bound:.4f} mm at most was told")
    elif what == "nothing" or (what == "wrong coordinates" and n >= 40):
        outcome.wrong.append(f"{what}, {n} poses, was refused: {said[-400:]}")
    return outcome


def _off(real, told):
    """Return the largest error of the gauge point over a grid, and the bound of what was told, mm."""
    found = START.moved(np.concatenate([[x["found_mm"] for x in told["numbers"]] - START.numbers, np.zeros(12)]))
    grid = grid_poses(MACHINE)[:, ::3]
    command = START.struts.lengths(grid)
    gauge = MACHINE.platform.gauge_point
    tips = []
    for built in (real, found):
        there = built.poses(command, grid)
        tips.append(there[:3] + (rotations(built, there) @ gauge).T)
    return np.linalg.norm(tips[0] - tips[1], axis=0).max(), SURE * 1e-3 * told["volumetric"]["after_um"]["largest"]


def _wrong(pose, seed):
    """Return poses of which up to an eighth have one coordinate that is off by ten standard deviations or more."""
    n = pose.shape[1]
    at = seed.permutation(n)[: seed.integers(1, max(n // 8, 2))]
    axis = seed.integers(0, 6, at.size)
    out = pose.copy()
    out[axis, at] += seed.choice([-1, 1], at.size) * 10.0 ** seed.uniform(1.0, 4.0, at.size) * SIGMA[axis, 0]
    return out


def _column(values):
    return np.array(values)[:, None]


def _flip(pose, rng, length):
    out = pose.copy()
    out[rng.sample(range(6), rng.choice([1, 2, 3]))] *= -1
    return out, length


def _shuffle(pose, rng, length):
    return pose[[*rng.sample(range(3), 3), *rng.sample(range(3, 6), 3)]], length


DAMAGE = {
    "nothing": lambda p, r, l: (p, l),
    "a factor of places": lambda p, r, l: (p * _column([r.choice([0.001, 1 / 25.4, 1.01, 25.4])] * 3 + [1] * 3), l),
    "a factor of angles": lambda p, r, l: (p * _column([1] * 3 + [r.choice([1 / DEG_PER_RAD, 60, 1.5])] * 3), l),
    "signs": _flip,
    "columns exchanged": _shuffle,
    "lengths exchanged": lambda p, r, l: (p, l[r.sample(range(6), 6)]),
    "rows exchanged": lambda p, r, l: (np.roll(p, r.randrange(1, 9), axis=1), l),
    "shifted": lambda p, r, l: (p + _column([r.uniform(-300, 300) for _ in range(3)] + [0] * 3), l),
    "rounded": lambda p, r, l: (np.round(p, r.randrange(0, 3)), l),
    "lengths in inches": lambda p, r, l: (p, l / 25.4),
    "lengths shifted": lambda p, r, l: (p, l + r.uniform(-200, 200)),
    "one pose": lambda p, r, l: (np.repeat(p[:, :1], p.shape[1], 1), np.repeat(l[:, :1], p.shape[1], 1)),
}  # fmt: skip


def contradicting(rng, place):
    """Check a machine file that contradicts itself in one way: refused, and the key at fault is named."""
    name = rng.choice(sorted(contradictions.made(rng)))
    text, key = contradictions.contradicting(name, rng)
    (place / "m.toml").write_text(text)
    code, said, lost = inside("machine", "check", place / "m.toml")
    outcome = Outcome(clean=int(code == 0), refused=int(code == 2), lost=lost)
    if code != 2 or f" {key} " not in said:
        outcome.wrong.append(f"{name}: ended with {code}, {key} is not named: {said[:400]}")
    return outcome


KINDS = {
    **{f"{name} with workers, stopped": partial(stopped, name) for name in WITH_WORKERS},
    "lists of changed files": listed,
    "measurements with slips": measured,
    "machines that contradict themselves": contradicting,
}
