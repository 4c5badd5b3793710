"""Several at once: two runs into one folder, and a thousand readers of one job."""

import hashlib
import threading
import time
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context

import numpy as np
from attack.jobs import SHORT, broken, content, end, proof, run, start, write
from attack.killing import whole
from attack.model import Outcome

READERS, PROCESSES, PROOFS = 1000, 8, 4
"""A thousand threads in eight processes, all begun at one moment; every fourth proves the job, the others load it."""


def one_folder(rng, place):
    """Start two or three runs into one folder at almost one moment: at most one job, whole; the others say so."""
    other = SHORT.replace("X30", "X25")
    paths = write(place, a_nc=SHORT, b_nc=other)
    folder = place / "job"
    replaced = rng.random() < 0.5
    if replaced:
        run("convert", paths["a"], "--out", folder)
    words = ["--overwrite"] if replaced or rng.random() < 0.5 else []
    runs = []
    for name in rng.choice([("a", "b"), ("a", "a"), ("a", "b", "b")]):
        runs.append(start("convert", paths[name], "--out", folder, *words))
        time.sleep(rng.uniform(0.0, 0.5 * whole()[1]))
    ends = [end(r) for r in runs]
    outcome = Outcome(tried=len(runs), lost=[w for _, _, wrong in ends for w in wrong] + broken(folder))
    codes = [code for code, _, _ in ends]
    outcome.clean, outcome.refused = sum(c in (0, 1) for c in codes), sum(c == 2 for c in codes)
    if "manifest.json" in content(folder):
        outcome.wrong += proof(folder, 0)
    elif content(folder):
        outcome.lost.append(f"files without a manifest: {sorted(content(folder))}, codes {codes}")
    if outcome.clean and not folder.exists():
        outcome.lost.append("a run ended well, and its job is not there")
    return outcome


def readers(rng, place):
    """Read one job a thousand times at once: every proof and every table is the same."""
    paths = write(place, p_nc="G21 G90 G94\nG00 X0 Y0 Z60\nG01 X5 A1 F9000\nM30\n")
    folder = place / "job"
    run("convert", paths["p"], "--out", folder)
    before = content(folder)
    each = READERS // PROCESSES
    begin = time.monotonic()
    context = get_context("spawn")
    with ProcessPoolExecutor(PROCESSES, mp_context=context) as pool:
        found = [x for part in pool.map(crowd, [(str(folder), each)] * PROCESSES) for x in part]
    outcome = Outcome(tried=len(found), clean=len(found), slowest_s=time.monotonic() - begin)
    sums = {x for x in found if x not in ("clean", "broken")}
    verdicts = {x for x in found if x in ("clean", "broken")}
    if len(found) != each * PROCESSES or len(sums) != 1 or verdicts != {"clean"}:
        outcome.wrong.append(f"{len(found)} readers found {sorted(sums)[:5]} {sorted(verdicts)}")
    if content(folder) != before:
        outcome.lost.append("reading changed the job")
    return outcome


def crowd(told):
    """Read the job in so many threads at once; return what each found: a verdict, or the hash of the table."""
    from pathlib import Path

    from hexpost.verify.verify import verify

    folder, count = Path(told[0]), told[1]
    gate, found = threading.Barrier(count), []

    def read(number):
        gate.wait()
        try:
            if number % PROOFS == 0:
                found.append(verify(folder).verdict)
            else:
                rows = np.loadtxt(folder / "setpoints.csv", delimiter=",", skiprows=1)
                found.append(hashlib.sha256(rows.tobytes()).hexdigest())
        except BaseException as error:  # noqa: BLE001 - whatever it is, it is a loss
            found.append(f"{type(error).__name__}: {error}")

    threads = [threading.Thread(target=read, args=(i,)) for i in range(count)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    return found


KINDS = {"two runs, one folder": one_folder, "1,000 readers": readers}
