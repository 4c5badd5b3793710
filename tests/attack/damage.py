"""Samples with damage through the whole tool: refused, or converted and proven; inputs stay as they were."""

from functools import partial

from attack.jobs import SAMPLES, broken, content, inside, proof, write
from attack.model import Outcome
from attack.targets import POLICY, edited
from machine.described import text as described
from program.fuzz import texts

from hexpost.errors import HexpostError
from hexpost.pipeline import Files, load, schedule

MOST_TICKS = 20_000
TOOLS, SETUP = ((SAMPLES / f"{name}.toml").read_text() for name in ("tools", "setup"))


def damaged_files(rng, place, count=5):
    """Convert damaged programs with tools, setup or machine files of which one may be damaged as well."""
    outcome = Outcome(tried=count)
    for i, text in enumerate(texts(rng.getrandbits(62), count)):
        toml = {"t": TOOLS, "s": SETUP, "m": described()}
        if rng.random() < 0.3:
            name = rng.choice(list(toml))
            toml[name] = edited(toml[name], rng.randbytes(4 * rng.randrange(1, 4)))
        folder = place / str(i)
        folder.mkdir()
        _convert(outcome, rng, folder, text, toml)
    return outcome


def _convert(outcome, rng, folder, text, toml):
    """Convert one, if it is no job of hours."""
    paths = write(folder, p_nc=text, **{f"{k}_toml": v for k, v in toml.items()})
    before = content(folder)
    names = {"tools": paths["t"], "setup": paths["s"]}
    if rng.random() < 0.5:
        names["machine"] = paths["m"]
    if too_long(Files(program=paths["p"], **names)):
        return
    options = [str(x) for k, v in names.items() for x in (f"--{k}", v)]
    options += rng.choice([[], ["--feed", "strut-limited"], ["--table", "npy"], ["--single-block"], ["--skip"]])
    code, _, wrong = inside("convert", paths["p"], "--out", folder / "job", *options)
    outcome.lost += wrong
    if code == 2:
        outcome.refused += 1
        if content(folder) != before:
            outcome.lost.append("a refused run left files or changed an input")
        return
    outcome.clean += 1
    outcome.lost += broken(folder / "job")
    outcome.wrong += [f"{x} from {text[:1500]!r} {options}" for x in proof(folder / "job", code)]
    if any(p.read_bytes() != before[p.name] for p in paths.values()):
        outcome.lost.append("an input was changed")


def too_long(files, most=MOST_TICKS):
    """Return whether a job that is accepted has more samples than a trial can wait for."""
    try:
        job = schedule(load(files))
    except HexpostError:
        return False
    return job.timing.ticks > most


def damaged_library(rng, place):
    """Check a small library with a damaged policy and a damaged program in it; every result is a verdict."""
    text = next(iter(texts(rng.getrandbits(62), 1)))
    policy = POLICY.replace('machine = "machine.toml"\n', "")
    if rng.random() < 0.7:
        policy = edited(policy, rng.randbytes(4 * rng.randrange(1, 4)))
    good = "G21 G90\nG00 X0 Y0 Z60\nG01 X9 F3000\nM30\n"
    paths = write(place, a_nc=text, b_nc=good, tools_toml=TOOLS, setup_toml=SETUP, gate_toml=policy)
    if too_long(Files(program=paths["a"], tools=paths["tools"], setup=paths["setup"])):
        return Outcome(tried=0)
    before = content(place)
    out = [place / name for name in ("o.sarif", "o.xml", "o.html")]
    words = [
        "--policy",
        paths["gate"],
        "--serial",
        "--no-cache",
        "--sarif",
        out[0],
        "--junit",
        out[1],
        "--html",
        out[2],
    ]
    code, _, wrong = inside("gate", place, *words)
    outcome = Outcome(lost=wrong, clean=int(code != 2), refused=int(code == 2))
    after = content(place)
    if any(after.get(name) != data for name, data in before.items()):
        outcome.lost.append("an input was changed")
    return outcome


KINDS = {"damaged samples, converted": partial(damaged_files), "damaged library, gated": damaged_library}
