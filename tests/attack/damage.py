"""Samples with damage through the whole tool: refused, or converted and proven; inputs stay as they were."""

import re

from attack.jobs import SAMPLES, broken, clean_through, content, inside, proof, write
from attack.model import Outcome
from attack.targets import POLICY, edited
from machine.described import text as described
from program.fuzz import NAMES, texts

from hexpost.errors import HexpostError
from hexpost.pipeline import Files, load, schedule

MOST_TICKS = 20_000
TOOLS, SETUP = ((SAMPLES / f"{name}.toml").read_text() for name in ("tools", "setup"))


NUMBER = re.compile(rb"[-+]?[0-9]+\.?[0-9]*|[A-Z]")
WHOLE = [(SAMPLES / f"{name}.nc").read_bytes() for name in (*NAMES, "crown", "blade_band", "overdriven")]
"""Programs that run: a slip of the keyboard in one of them is often accepted, and must then be proven."""


def slip(rng, text):
    """Return a program with a few slips: a digit, a sign, a point, a letter, a word or a line that is another."""
    out = bytearray(text)
    for _ in range(rng.randrange(1, 4)):
        found = rng.choice(list(NUMBER.finditer(bytes(out))))
        word = found[0].decode()
        if word.isalpha():
            new = rng.choice([word, word, rng.choice("XYZABCFIJKRG"), ""])
        else:
            new = rng.choice(
                [str(-float(word)), word.replace(".", ""), f"{float(word) * 1.01:.3f}", f"{word}0", word[:-1] or "0",
                 rng.choice("0123456789") + word[1:], "-" + word.lstrip("+-")]
            )  # fmt: skip
        out[found.start() : found.end()] = new.encode()
    if rng.random() < 0.3:
        lines = bytes(out).split(b"\n")
        i = rng.randrange(len(lines))
        lines[i : i + 1] = rng.choice([[], [lines[i], lines[i]], [lines[i], rng.choice(lines)]])
        out = bytearray(b"\n".join(lines))
    return bytes(out)


def slips(rng, place):
    """Convert a sample with slips at a longer period."""
    outcome = Outcome()
    toml = {"t": TOOLS, "s": SETUP, "m": described()}
    _convert(outcome, rng, place, slip(rng, rng.choice(WHOLE)), toml, period=4)
    return outcome


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


def _convert(outcome, rng, folder, text, toml, period=1):
    """Convert one at a period in ms, if it is no job of hours."""
    paths = write(folder, p_nc=text, **{f"{k}_toml": v for k, v in toml.items()})
    before = content(folder)
    names = {"tools": paths["t"], "setup": paths["s"]}
    if rng.random() < 0.5:
        names["machine"] = paths["m"]
    files = Files(program=paths["p"], **names)
    if too_long(files, period / 1e3):
        outcome.tried -= 1
        return
    names["period-ms"] = period
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
    found = proof(folder / "job", code, remake=True) + (clean_through(files, period / 1e3) if code == 0 else [])
    outcome.wrong += [f"{x} from {text!r} {options}" for x in found]
    if any(p.read_bytes() != before[p.name] for p in paths.values()):
        outcome.lost.append("an input was changed")


def too_long(files, period=None):
    """Return whether a job that is accepted has more samples (at a period in s) than a trial can wait for."""
    try:
        job = schedule(load(files, period))
    except HexpostError:
        return False
    return job.timing.ticks > MOST_TICKS


def damaged_library(rng, place):
    """Check a small library with a damaged policy and a damaged program in it; every result is a verdict."""
    text = slip(rng, rng.choice(WHOLE)) if rng.random() < 0.5 else next(iter(texts(rng.getrandbits(62), 1)))
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


KINDS = {
    "samples with slips, proven": slips,
    "damaged samples, converted": damaged_files,
    "damaged library, gated": damaged_library,
}
