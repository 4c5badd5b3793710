"""Clocks, languages and terminals: the same bytes whatever stands around; a closed output makes no other verdict."""

import json
import os
import subprocess

from attack.jobs import COMMAND, SAMPLES, SHORT, content, end, faults, run, surroundings, write
from attack.killing import FILES, PROGRAM, whole
from attack.model import Outcome

CLOCK = """import time, os
_true, _k = time.time, [0]
def _jumping():
    _k[0] += 1
    return float(os.environ["ATTACK_CLOCK"]) + (_k[0] * 7919 % 100003 - 50000)
time.time = _jumping
time.time_ns = lambda: int(_jumping() * 1e9)
"""
"""A clock that leaps to and fro by hours; Python runs it before anything else when it stands in sitecustomize.py."""
ZONES = ("UTC", "Pacific/Kiritimati", "America/St_Johns", "XXX+13:59", ":/nowhere")
LANGUAGES = ("C", "C.UTF-8", "POSIX", "de_DE.UTF-8", "tr_TR.UTF-8", "ja_JP.SJIS", "no such thing", "")


def clock_and_locale(rng, place):
    """Convert under another clock, time zone, language, seed of hashes and encoding: the same bytes."""
    (place / "site").mkdir()
    (place / "site" / "sitecustomize.py").write_text(CLOCK)
    language = rng.choice(LANGUAGES)
    env = surroundings(
        PYTHONPATH=os.pathsep.join([str(place / "site"), os.environ.get("PYTHONPATH", "")]),
        ATTACK_CLOCK=str(rng.choice([0, 1, 2**31 - 2, 2**32 + 5, 1e10, rng.randrange(2 * 10**9)])),
        TZ=rng.choice(ZONES),
        LC_ALL=language,
        LANG=rng.choice(LANGUAGES),
        LANGUAGE="de:tr",
        PYTHONHASHSEED=str(rng.randrange(1 << 31)),
        PYTHONUTF8=rng.choice(["0", "1", None]),
        PYTHONIOENCODING=rng.choice(["ascii", "latin-1", "utf-16", None]),
        PYTHONCOERCECLOCALE=rng.choice(["0", "1"]),
        OMP_NUM_THREADS=rng.choice(["1", "2", "7", None]),
        OPENBLAS_NUM_THREADS=rng.choice(["1", "2", "7", None]),
        SOURCE_DATE_EPOCH=rng.choice(["0", "nonsense", None]),
    )
    folder = place / "job"
    code, _, wrong = run("convert", PROGRAM, *FILES, "--out", folder, env=env)
    outcome = Outcome(lost=wrong, clean=int(code in (0, 1)), refused=int(code == 2))
    if (left := content(folder)) != whole()[0]:
        other = [n for n in {*left, *whole()[0]} if left.get(n) != whole()[0].get(n)]
        outcome.wrong.append(f"other bytes in {sorted(other)} with {env_of(env)}")
    return outcome


def env_of(env):
    """Return what is different in an environment."""
    return {k: v for k, v in env.items() if os.environ.get(k) != v}


def no_terminal(rng, place):
    """Run without a terminal, an input, a home, a width or a kind of terminal, in a session of its own."""
    paths = write(place, p_nc=SHORT)
    env = surroundings(
        TERM=rng.choice([None, "dumb", "", "no-such"]),
        COLUMNS=rng.choice([None, "0", "-5", "1", "x", "999999"]),
        LINES=rng.choice([None, "0"]),
        HOME=rng.choice([None, "", "/nowhere"]),
        NO_COLOR=rng.choice([None, "", "1"]),
        FORCE_COLOR=rng.choice([None, "1"]),
        USER=None,
        LOGNAME=None,
        PATH=rng.choice(["", "/usr/bin:/bin"]),
        XDG_CACHE_HOME=rng.choice([None, "", "/dev/null/x"]),
    )
    words = rng.choice([
        ["convert", paths["p"], "--out", place / "job"], ["audit", paths["p"], "--full"], ["explain", paths["p"]],
        ["gate", paths["p"]], ["--help"], ["machine", "show"], ["audit", paths["p"], "--json"],
    ])  # fmt: skip
    closed = rng.random() < 0.5

    def close():
        os.setsid()
        if closed:
            os.close(0)

    code, said, wrong = run(*words, env=env, preexec_fn=close, cwd=place)
    outcome = Outcome(lost=wrong, clean=int(code in (0, 1)), refused=int(code == 2))
    if code != 0 and not (words[0] == "gate" and env.get("XDG_CACHE_HOME") == "/dev/null/x" and "cache" in said):
        outcome.wrong.append(f"{words[0]} ended with {code}: {said[-300:]} with {env_of(env)}")
    if "--json" in words and code == 0:
        json.loads(said)
    return outcome


SAID = {
    "head": "read a little, then closed",
    "closed": "closed from the start",
    "full": "/dev/full",
    "gone": "no reader",
}
"""Ways in which an output is no longer there."""


def closed_output(rng, place):
    """Run with an output that is closed or full: 2 or the verdict itself, never another verdict."""
    broken = SAMPLES / "limits.nc"
    paths = write(place, p_nc=SHORT, bad_nc="G21\nG00 X\n")
    program, right = rng.choice([(paths["p"], 0), (broken, 1), (paths["bad"], 2)])
    words = rng.choice([["audit", "--json"], ["audit", "--full"], ["audit"], ["explain"],
                        ["gate", "--no-cache", "--serial"],
                        ["convert", "--out", str(place / "job")], ["diff"], ["verify"], ["--help"]])  # fmt: skip
    if words[0] == "--help":
        program, right = "audit", 0
    elif words[0] == "verify":
        run("convert", paths["p"], "--out", place / "job")
        program, right = place / "job", 0
    elif words[0] == "diff":
        words, right = ["diff", str(paths["p"])], None
    elif words[0] == "explain":
        right = 0 if right == 1 else right
    ways = [rng.choice(list(SAID)), rng.choice([*SAID, "kept"])]
    command = [*COMMAND, words[0], *words[1:], str(program)]
    code, said = _run(command, ways, rng.choice([0, 1, 200]))
    outcome = Outcome(lost=faults(code, said), clean=int(code in (0, 1)), refused=int(code == 2))
    if right is not None and code in (0, 1) and code != right:
        outcome.wrong.append(f"{words} of {program} ended with {code}, not {right} or 2, output {ways}")
    return outcome


def _run(command, ways, some):
    """Run with standard output and standard error in these ways; return exit code and what standard error says."""
    ends, closing = {}, []
    for name, way in zip(("stdout", "stderr"), ways, strict=True):
        if way == "full":
            ends[name] = open("/dev/full", "wb")  # noqa: SIM115, PTH123 - closed with the process
        elif way == "gone":
            read, write_ = os.pipe()
            os.close(read)
            ends[name] = os.fdopen(write_, "wb")
        else:
            ends[name] = subprocess.PIPE
            closing += [1 if name == "stdout" else 2] if way == "closed" else []

    def close():
        for number in closing:
            os.close(number)

    process = subprocess.Popen(command, stdin=subprocess.DEVNULL, preexec_fn=close, **ends)  # noqa: PLW1509 - no threads
    if ways[0] == "head":
        process.stdout.read(some)
        process.stdout.close()
        process.stdout = None
    if ways[1] == "head":
        process.stderr.read(some)
        process.stderr.close()
        process.stderr = None
    code, said, _ = end(process)
    for file in ends.values():
        if file != subprocess.PIPE:
            file.close()
    return code, said


KINDS = {"clock and locale": clock_and_locale, "no terminal": no_terminal, "closed output": closed_output}
