"""Every command that writes, struck at one of its file operations: what was there stays whole, and a run can follow."""

import shutil
import tempfile
from functools import cache, partial
from pathlib import Path

from attack import faults
from attack.jobs import SAMPLES, SHORT, broken, content
from attack.jobs import faults as told_wrong
from attack.model import Outcome
from library.shop import slow_struts

COMMANDS = {
    "convert": ("convert", "in/p.nc", "--out", "out/job", "--stride", "9"),
    "convert over": ("convert", "in/p.nc", "--out", "out/job", "--overwrite"),
    "refeed": ("refeed", "in/fast.nc", "-o", "out/p.nc", "--machine", "in/slow.toml"),
    "refeed over": ("refeed", "in/fast.nc", "-o", "out/p.nc", "--machine", "in/slow.toml", "--overwrite"),
    "align": ("align", "in/probed_points.csv", "-o", "out/askew.toml", "--overwrite"),
    "calibrate": ("calibrate", "in/measured_poses.csv", "--sigma-mm", "0.005", "--sigma-deg", "0.0005", "-o",
                  "out/built.toml", "--overwrite"),
    "place": ("place", "in/p.nc", "-o", "out/placed.toml", "--map", "out/map.csv", "--overwrite", "--serial",
              "--step-mm", "30", "--x-mm", "0", "30", "--y-mm", "0", "0", "--turn-deg", "0", "0"),
    "gate": ("gate", "in/p.nc", "in/low.nc", "--serial", "--cache", "out/cache", "--sarif", "out/g.sarif", "--junit",
             "out/g.xml", "--html", "out/g.html"),
    "gate baseline": ("gate", "in/low.nc", "--serial", "--no-cache", "--baseline", "out/b.json",
                      "--update-baseline"),
}  # fmt: skip
OLD = {"p.nc": "M30\n", "askew.toml": "[offset.G54]\n", "built.toml": "[[strut]]\n", "placed.toml": "[offset.G54]\n",
       "map.csv": "x_mm,y_mm,z_mm,turn_deg,\n"}  # fmt: skip
"""What an earlier run left, as far as its kind is known by it."""
OTHER, LOW = SHORT.replace("A6", "A5"), SHORT.replace("Z60", "Z-30")
FAST = "G21 G90 M03 S900\nG00 X0 Y0 Z300\nG01 X30 F30000\nM30\n"


def _command(words):
    import os

    from hexpost.cli import main

    def work():
        os.chdir(words[0])
        return main([*words[1:]], prog_name="hexpost")

    return work


def _prepared(name, place):
    """Put inputs in place, and what an earlier run on another program left where the command writes over it."""
    for part in ("in", "out"):
        (place / part).mkdir(parents=True)
    for file in ("probed_points.csv", "measured_poses.csv"):
        shutil.copy(SAMPLES / file, place / "in")
    for file, text in (("p.nc", SHORT), ("low.nc", LOW), ("fast.nc", FAST), ("slow.toml", slow_struts())):
        (place / "in" / file).write_text(text)
    if name == "convert over":
        shutil.copytree(_old_job(), place / "out" / "job")
    elif "--overwrite" in COMMANDS[name]:
        for word in COMMANDS[name]:
            if word.startswith("out/"):
                (place / word).write_text(OLD[Path(word).name])


@cache
def _old_job():
    place = Path(tempfile.mkdtemp(prefix="hexpost-old-"))
    (place / "p.nc").write_text(OTHER)
    code, _ = faults.struck(_command((place, "convert", "p.nc", "--out", "job")), place)
    assert code == 0
    return place / "job"


@cache
def reference(name):
    """Return exit code, files and operations of an undisturbed run of a command."""
    with tempfile.TemporaryDirectory() as folder:
        place = Path(folder, "place")
        _prepared(name, place)
        before = content(place / "out")
        code, operations = faults.struck(_command((place, *COMMANDS[name])), place)
        return code, content(place / "out"), operations, before


def strike(name, kind, at, place):
    """Strike a command at operation ``at``; then run it again undisturbed. Return what was lost or wrong."""
    code_of, files, operations, _ = reference(name)
    _prepared(name, place)
    inputs = content(place / "in")
    said = place.parent / f"{place.name}.said"
    code, _ = faults.struck(_command((place, *COMMANDS[name])), place, kind, at, said)
    text = said.read_text("utf-8", "replace")
    where = f"{name}, {kind} at {at} ({operations[at - 1]}), ended with {code}: "
    allowed = {"kill": (-9,), "interrupt": (130, code_of)}.get(kind, (2, code_of))
    outcome = Outcome(clean=int(code == code_of), refused=int(code != code_of))
    outcome.lost = [where + w for w in told_wrong(code, text, allowed)] + _damage(name, place, where)
    if content(place / "in") != inputs:
        outcome.lost.append(where + "an input was changed")
    left = content(place / "out")
    if code == code_of and kind != "interrupt" and _outputs(left) != _outputs(files):
        outcome.lost.append(where + f"and left {sorted(left)}")
    if code == 2 and not text.strip():
        outcome.lost.append(where + "without a word")
    finished = left.keys() & {"p.nc", "job/manifest.json"} and "--overwrite" not in COMMANDS[name]
    again = [*COMMANDS[name], "--overwrite"] if finished else COMMANDS[name]  # what is whole is replaced on a word only
    code, _ = faults.struck(_command((place, *again)), place, said=said)
    now = content(place / "out")
    if code != code_of or _outputs(now) != _outputs(files):
        outcome.wrong.append(where + f"the next run ended with {code}: {said.read_text('utf-8', 'replace')[-400:]}")
    hidden = [x for x in faults.left_over(place / "out") if "job" in x]
    if hidden:
        outcome.wrong.append(where + f"the next run left {hidden}")
    return outcome


def _outputs(files):
    """Return the files but those of the cache, which may fail, and the rest of an old job, which the next run takes."""
    return {name: data for name, data in files.items() if not name.startswith(("cache/", ".job."))}


def _damage(name, place, where):
    """Return what is not whole: a file that is neither the old nor the new one, an old job that is gone."""
    _, files, _, before = reference(name)
    out = place / "out"
    left = _outputs(content(out))
    wrong = [where + w for w in broken(out / "job")]
    if name == "convert over":
        jobs = (out / "job", out / ".job.new-job", out / ".job.old-job")
        whole = [j for j in jobs if "manifest.json" in content(j) and not broken(j)]
        if not whole:
            wrong.append(where + "no whole job is left")
        return wrong
    return wrong + [
        where + f"{file} is not whole" for file, data in left.items() if data not in (files.get(file), before.get(file))
    ]


def trial(name, rng, place):
    """Strike a command at a random operation."""
    operations = reference(name)[2]
    return strike(name, rng.choice(faults.HOW), rng.randrange(1, len(operations) + 1), place)


KINDS = {f"file operations of {name}": partial(trial, name) for name in COMMANDS}
