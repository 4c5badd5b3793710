"""Right jobs at the edges of what is allowed: values, moves and options that nobody thinks of; each must be proven.

``python tests/attack/odd.py SEED FOLDER`` makes the job of a seed again and prints what ``verify`` says of it.
"""

import random
import re
import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent))

from attack.forging.base import Block, random_base
from attack.jobs import broken, inside, proof
from attack.model import Outcome

MACHINE = (
    (r"(\nperiod_ms =) \S+", ("1000", "333.333", "0.05", "50")),
    (r"(\ndeviation_mm =) \S+", ("1e-9", "1e-5", "100")),
    (r"(\ncorner_tolerance_mm =) \S+", ("1e-9", "1e-6", "2")),
    (r"(\ncorner_tolerance_deg =) \S+", ("1e-9", "1e-5", "5")),
    (r"(\nmass_kg =) \S+", ("1e-3", "1e6")),
    (r"(\ncentre_of_mass_mm =) .+", ("[40000, 0, 0]", "[0, 0, -40000]")),
    (r"(\[tool_tip\]\nspeed_mm_s =) \S+", ("0.5", "1e5")),
    (r"(\[tool_tip\][^[]*?\nacceleration_mm_s2 =) \S+", ("20", "1e7")),
    (r"(\[tool_tip\][^[]*?\njerk_mm_s3 =) \S+", ("100", "1e10")),
    (r"(\ntilt_speed_deg_s =) \S+", ("0.5", "2000")),
    (r"(\ntilt_jerk_deg_s3 =) \S+", ("50", "1e8")),
    (r"(\nspeed_mm_s =) \S+", ("1", "1e6")),
    (r"(\ngauge_point_mm =) .+", ("[0, 0, 0]", "[30, -40, 200]", "[0, 0, -900]")),
    (r"(\ntilt_order =) \S+", ('"CBA"', '"BCA"')),
)
TEXTS = (
    "G01 X{x:.9f} F600",
    "G01 X{x:.9f}\nG01 X0. F600",
    "G91 G01 X0.000000001 F600\nX0.000000001\nX0.000000001\nG90",
    "G91 G01 X0.0001 F6000\nY0.0001\nX-0.0001\nY-0.0001\nG90",
    "G91 G02 I0.001 F60\nG03 I0.01\nG90",
    "G91 G02 I0.0001 Z-5. F600\nG90",
    "G91 G01 A0.000001 F600\nA-0.000001\nG90",
    "G04 P0",
    "G04 P1\nG04 P0.3",
    "G01 Z39. F0.5\nG01 Z40. F600",
    "G91 G01 X1. F100000\nG90",
    "G93 G01 X5. F30\nG94 G01 X0. F600",
    "G95 G01 X5. F0.1\nG94 G01 X0. F600",
    "G61 G01 X3. F6000\nX6.\nG64 X9.\nX0.",
    "G91 G01 X9. F6000\nX-9.\nX9.\nX-9.\nG90",
    "G01 X0. Y0. Z40. F600",
    "G20 G01 X0.1 F20\nG21",
    "M08\nM09\nM08\nM09\nM01\nM00",
    "G01 A89.9 F6000\nA0.",
    "G01 C360. F60000\nC0.",
    "M03\nM05\nS10\nM04\nM05",
)
OPTIONS = (
    ["--columns", "length"],
    ["--columns", "time,length,line"],
    ["--columns", "length,speed,acceleration"],
    ["--columns", "length_1_mm,length_2_mm"],
    ["--rows-per-file", "1"],
    ["--rows-per-file", "7"],
    ["--stride", "2"],
    ["--table", "npy"],
    ["--table", "parquet"],
    ["--override", "1"],
    ["--override", "33.333"],
    ["--lift", "10000"],
    ["--lift", "0.001"],
    ["--single-block"],
    ["--no-stops", "--skip"],
    ["--yaw", "best"],
    ["--yaw", "follow"],
    ["--from-line", "6"],
    ["--from-line", "9", "--single-block", "--lift", "5"],
    ["--period-ms", "1000"],
    ["--period-ms", "100"],
    ["--period-ms", "0.05"],
    ["--feed", "strut-limited"],
)


def odd(rng, base):
    """Return changed texts, further blocks and options of a job, and what is odd in words."""
    texts, told, own = dict(base.texts), [], []
    for pattern, found in rng.sample(MACHINE, rng.choice([0, 1, 1, 2])):
        value = rng.choice(found)
        texts["machine"] = re.sub(pattern, lambda m, v=value: f"{m[1]} {v}", texts["machine"])
        told.append(f"{pattern.strip('()')}: {value}")
    blocks = rng.sample(TEXTS, rng.choice([0, 1, 1, 3]))
    blocks = [t.format(x=rng.choice([1e-9, 1e-6, 1e-4, 3.0])) for t in blocks]
    options = rng.sample(OPTIONS, rng.choice([0, 1, 1, 2]))
    own = [x for words in options for x in words]
    return texts, blocks, own, [*told, *blocks, " ".join(own)]


def odd_job(rng, place):
    """Convert a random job with something odd; it must be refused with words or be proven."""
    place.mkdir(exist_ok=True)
    base = random_base(rng, place / "base", few=rng.sample(["line", "arc", "circle", "dwell", "drill", "chain"], 2))
    if base is None:
        return Outcome(tried=0)
    texts, more, options, told = odd(rng, base)
    blocks = base.blocks[:-1] + [Block(t, "odd") for t in more] + base.blocks[-1:]
    plain = [x for x in base.options if "--columns" not in base.options]
    if "--period-ms" in options or rng.random() < 0.5:
        plain = []
    code, said = base.convert(place / "job", blocks=blocks, options=[*plain, *options], **texts)
    outcome = Outcome(clean=int(code != 2), refused=int(code == 2))
    if code == 2:
        outcome.note = f"last refusal: {said.splitlines()[0][-160:]}"
        return outcome
    outcome.lost += broken(place / "job")
    outcome.wrong += [f"{x} from {told}" for x in proof(place / "job", code, remake=True)]
    return outcome


KINDS = {"odd but right, proven": odd_job}


if __name__ == "__main__":
    print(odd_job(random.Random(sys.argv[1]), Path(sys.argv[2])))
    print(inside("verify", Path(sys.argv[2], "job"))[1])
