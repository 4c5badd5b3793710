"""Programs run as a user runs them, and what stands in their folders afterwards."""

import hashlib
import json
import os
import subprocess
import sys
from pathlib import Path

import numpy as np
from attack.model import patience
from attack.singular import determinant, lines
from click.testing import CliRunner

from hexpost.cli import main
from hexpost.kinematics.singular import LEAST
from hexpost.kinematics.struts import StrutModel
from hexpost.pipeline import load, schedule
from hexpost.setup.yaw import free_yaw

SAMPLES = Path(__file__).parent.parent.parent / "samples"
SHORT = "G21 G90 G94\nG00 X0 Y0 Z60\nG01 X30 A6 B-4 C3 F3000\nG02 X50 Y20 I20 J0\nM30\n"
"""A job of two seconds."""
COMMAND = (sys.executable, "-m", "hexpost")
PROCESS_S = 120
"""A process that takes longer than this is hung; the jobs here take a second or two."""
MARKS = ("Traceback (most recent call last)", "internal fault", "Exception ignored", "RuntimeWarning", "Fatal Python")
"""What a user must never read."""
UNPROVEN, SINGULAR = "the job is not proven:", "goes through a singular pose"
CODES = (0, 1, 2)
WITHOUT_REMAKE = "--without-remake"
"""Has a folder proven by its equations alone."""


def start(*words, before=(), **more):
    """Start ``hexpost`` with the words; its output is kept unless ``more`` says otherwise."""
    given = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, "stdin": subprocess.DEVNULL, **more}
    return subprocess.Popen([*before, *COMMAND, *(str(w) for w in words)], **given)


def end(process, seconds=PROCESS_S):
    """Wait for a process; return its exit code and all it said, and what is wrong with that (texts)."""
    seconds = patience(seconds)
    try:
        out, err = process.communicate(timeout=seconds)
    except subprocess.TimeoutExpired:
        process.kill()
        process.communicate()
        return None, "", [f"hang: more than {seconds:.0f} s"]
    said = ((out or b"") + (err or b"")).decode("utf-8", "replace")
    return process.returncode, said, faults(process.returncode, said)


def run(*words, **more):
    """Run ``hexpost`` in a process of its own; return exit code, output and what is wrong with them."""
    return end(start(*words, **more))


def inside(*words):
    """Run the command line in this process, where a floating-point fault is one; return the same three."""
    with np.errstate(divide="raise", over="raise", invalid="raise"):
        done = CliRunner().invoke(main, [str(w) for w in words])
    wrong = faults(done.exit_code, done.output)
    if done.exception is not None and not isinstance(done.exception, SystemExit):
        wrong.append(f"traceback: {type(done.exception).__name__}: {done.exception}")
    return done.exit_code, done.output, wrong


def faults(code, said, codes=CODES):
    """Return what is wrong with an exit code and an output."""
    wrong = [] if code in codes else [f"exit code {code}: {said[-300:]}"]
    return wrong + [f"{mark}: {said[-600:]}" for mark in MARKS if mark in said] + unproven(said)


def unproven(said):
    """Return what the proof of ``convert`` has against its own table, of which nothing was written then.

    Through a singular pose no table can be followed: a refusal that says so is right.
    """
    begin = said.find(UNPROVEN)
    return [] if begin < 0 or SINGULAR in said else [" | ".join(said[begin:].splitlines()[:6])[:600]]


def content(folder):
    """Return the files under final names: no part and no mark of an unfinished job is one."""
    if not folder.exists():
        return {}
    files = (f for f in folder.rglob("*") if f.is_file() and not f.name.startswith("."))
    return {f.relative_to(folder).as_posix(): f.read_bytes() for f in files}


def broken(folder):
    """Return what is wrong with the files under a folder: a manifest without its files, or with others."""
    left = content(folder)
    if "manifest.json" not in left:
        return []
    try:
        listed = json.loads(left["manifest.json"])["files"]
    except (ValueError, KeyError) as error:
        return [f"partial manifest: {error}"]
    return [
        f"manifest without its file {name}"
        for name, said in listed.items()
        if name not in left or hashlib.sha256(left[name]).hexdigest() != said["sha256"]
    ]


def partial(folder, whole):
    """Return what is wrong with the files that a stopped run left: each must be that of a ``whole`` run."""
    left = content(folder)
    return broken(folder) + [f"partial file {name}" for name, data in left.items() if data != whole.get(name)]


def proof(folder, code, *, remake=False):
    """Return what ``verify`` has against a job that ended with ``code``, if anything.

    With ``remake`` the job is made again too, which takes about as long as the job did.
    Through a singular pose, which must be in the report, no table can be followed, and every one is refused.
    """
    found, said, wrong = inside("verify", folder, *([] if remake else [WITHOUT_REMAKE]))
    worst = json.loads((folder / "report.json").read_text())["tool"]["worst"].get("singular-pose", {"value": 1.0})
    allowed = (code,) if worst["value"] >= LEAST else (2,) if worst["value"] <= 0.0 else (1, 2)
    if found not in allowed:
        told = [x for x in said.splitlines() if "FAILED" in x or x.lstrip().startswith("-")] or [said]
        wrong.append(f"convert says {code}, verify {found}: {' | '.join(told)[:600]}")
    return wrong


def crossing(job):
    """Return whether a job leads through a singular pose, by the sign of a determinant of our own at its samples."""
    machine, sides = job.inputs.machine, []
    home = StrutModel(machine).in_frame(np.eye(4), np.zeros(3))
    for block in job.setpoints(commands=False):
        frame = job.inputs.meaning.moves.frames[block.poses.frame]
        struts = StrutModel(machine).in_frame(frame.base_from_work, frame.tip)
        sides.append(determinant(lines(struts, block.poses.pose)[0]))
    good = determinant(lines(home, machine.reference[:, None])[0])[0]
    return bool((np.concatenate(sides) * good).min() <= 0)


def clean_through(files, period=None, yaw="fixed"):
    """Return what is wrong with a job that is called clean: it may lead through a singular pose."""
    job = schedule(load(files, period))
    job = job if yaw == "fixed" else free_yaw(job, yaw, files.switches).job
    return ["leads through a singular pose and is called clean"] if crossing(job) else []


def write(folder, **texts):
    """Write ``name_suffix`` texts or bytes as ``name.suffix`` in the folder; return the paths by name."""
    out = {}
    for name, text in texts.items():
        stem, suffix = name.rsplit("_", 1)
        out[stem] = folder / f"{stem}.{suffix}"
        out[stem].write_bytes(text.encode() if isinstance(text, str) else text)
    return out


def surroundings(**changes):
    """Return the environment with changes; ``None`` takes a name out."""
    env = dict(os.environ)
    for name, value in changes.items():
        env.pop(name, None) if value is None else env.update({name: value})
    return env
