"""Disks that fill up, folders that may not be written, files that go away: a clear refusal, nothing half written."""

import os
import resource
import shutil
import subprocess
import time
from contextlib import contextmanager, suppress
from pathlib import Path

from attack.jobs import SHORT, broken, content, end, proof, run, start, write
from attack.killing import whole
from attack.model import Outcome

RIGHTS = "-dac_override,-dac_read_search,-fowner"
PLAIN = ("setpriv", f"--bounding-set={RIGHTS}", f"--inh-caps={RIGHTS}") if shutil.which("setpriv") else ()
"""Words before a command that take the superuser's way round the rights of files away."""


def judge(outcome, folder, code, wrong, before=None):
    """Take the end of a run: with 2 nothing may stand there but what did before, with 0 or 1 a job that is proven."""
    outcome.lost += wrong + broken(folder)
    outcome.clean += int(code in (0, 1))
    outcome.refused += int(code not in (0, 1))
    if code in (0, 1):
        outcome.wrong += proof(folder, code)
    elif content(folder) not in ({}, before):
        outcome.lost.append(f"a run that ended with {code} left {sorted(content(folder))}")


def short_files(rng, place):
    """Convert with a bound on the size of a file, at a random place of the job."""
    paths = write(place, p_nc=SHORT)
    most = rng.choice([0, 1, 100, rng.randrange(1, 450_000), rng.randrange(1, 450_000)])

    def bound():
        resource.setrlimit(resource.RLIMIT_FSIZE, (most, most))

    table = rng.choice(["csv", "npy"])
    process = start("convert", paths["p"], "--out", place / "job", "--table", table, preexec_fn=bound)
    outcome = Outcome()
    code, _, wrong = end(process)
    judge(outcome, place / "job", code, wrong)
    return outcome


@contextmanager
def small_disk(place, kilobytes):
    """Mount a disk of so many kilobytes in memory, where that is allowed; yield its folder or None."""
    folder = place / "disk"
    folder.mkdir()
    words = ["mount", "-t", "tmpfs", "-o", f"size={kilobytes}k", "tmpfs", str(folder)]
    if not shutil.which("mount") or subprocess.run(words, check=False, capture_output=True).returncode:
        yield None
        return
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def full_disk(rng, place):
    """Convert onto a disk that is too small, sometimes over a job that stands there: it stays or goes, whole."""
    paths = write(place, p_nc=SHORT)
    outcome = Outcome()
    with small_disk(place, rng.randrange(4, 900)) as disk:
        if disk is None:
            return Outcome(tried=0, note="no right to mount a disk in memory")
        code, _, wrong = run("convert", paths["p"], "--out", disk / "job")
        judge(outcome, disk / "job", code, wrong)
        if code in (0, 1) and rng.random() < 0.5:
            _fill(disk / "filler")
            before = content(disk / "job")
            code, _, wrong = run("convert", paths["p"], "--out", disk / "job", "--overwrite")
            outcome.tried += 1
            judge(outcome, disk / "job", code, wrong, before)
    return outcome


def _fill(path):
    """Write until the disk is full."""
    with suppress(OSError), path.open("wb") as file:
        while True:
            file.write(bytes(4096))
            file.flush()


def read_only(rng, place):
    """Convert into folders without the right to write, from files without the right to read, as an ordinary user."""
    paths = write(place, p_nc=SHORT)
    place.chmod(0o755)
    (place / "home").mkdir()
    kind = rng.randrange(4)
    outcome = Outcome()
    folder = place / "home"
    if kind == 0:
        folder = folder / "job"
        (place / "home").chmod(0o555)
    elif kind == 1:
        folder.chmod(0o555)
    elif kind == 2:
        folder.chmod(0o777)
        paths["p"].chmod(0)
    else:
        folder.chmod(0o333)  # may be written, not looked into
    if not PLAIN and os.getuid() == 0:
        return Outcome(tried=0, note="rights do not bind the superuser, and there is no setpriv")
    process = start("convert", paths["p"], "--out", folder, before=PLAIN if os.getuid() == 0 else ())
    code, _, wrong = end(process)
    for path in (place / "home", paths["p"]):
        path.chmod(0o755)
    judge(outcome, folder, code, wrong)
    if kind < 3 and code != 2:
        outcome.wrong.append(f"a place without rights (kind {kind}) ended with {code}")
    return outcome


def vanishing(rng, place):
    """Take an input, the job folder, its parts or the folder above away while a run goes on."""
    paths = write(place, p_nc=SHORT, m_toml=machine_text(), t_toml="[[tool]]\nnumber = 1\nlength_mm = 100\n")
    home = place / "home"
    home.mkdir()
    folder = home / "job"
    process = start("convert", paths["p"], "--machine", paths["m"], "--tools", paths["t"], "--out", folder)
    time.sleep(rng.uniform(0.0, 1.1 * whole()[1]))
    kind = rng.choice(["input", "job", "part", "home", "moved"])
    _take_away(kind, rng, paths, folder, home)
    code, _, wrong = end(process)
    outcome = Outcome(lost=wrong)
    target = place / "elsewhere" / "job" if kind == "moved" else folder
    outcome.lost += broken(target) if code == 2 or kind in ("input", "part", "moved") else []
    outcome.clean, outcome.refused = int(code in (0, 1)), int(code == 2)
    if code in (0, 1) and target.exists() and (target / "manifest.json").exists() and not broken(target):
        outcome.wrong += proof(target, code)
    return outcome


def _take_away(kind, rng, paths, folder, home):
    if kind == "input":
        paths[rng.choice(["p", "m", "t"])].unlink()
    elif kind == "part":
        for part in [*folder.glob(".*")] if folder.exists() else []:
            part.unlink(missing_ok=True)
    elif kind == "moved":
        home.rename(home.parent / "elsewhere")
    else:
        shutil.rmtree(folder if kind == "job" else home, ignore_errors=True)


def machine_text():
    """Return the text of the demonstration machine."""
    from hexpost.machine.load import DEMONSTRATION

    return Path(DEMONSTRATION).read_text()


KINDS = {
    "file size bound": short_files,
    "full disk": full_disk,
    "read-only folders": read_only,
    "vanishing files": vanishing,
}
