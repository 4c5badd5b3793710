"""Random machines with random programs through the whole tool, each result proven again by ``verify``."""

import re
from math import cos, dist, pi, sin
from random import Random

from attack.damage import too_long
from attack.jobs import broken, clean_through, crossing, inside, proof, write
from attack.model import Outcome
from attack.programs import program
from machine.described import REST, STRUT

from hexpost.audit.model import LIMITS
from hexpost.errors import HexpostError
from hexpost.pipeline import Files, examine, load, schedule

TURNING_S = 0.004
"""Period of the jobs that turn far."""


def _vector(values):
    return "[" + ", ".join(f"{x:.6g}" for x in values) + "]"


def machine(rng):
    """Return the text of a machine file: an overhead hexapod of random size, limits and order of angles."""
    order = "".join(rng.sample("ABC", 3))
    high, low = rng.uniform(1900, 2600), rng.uniform(700, 1000)
    base, platform = rng.uniform(700, 1400), rng.uniform(220, 520)
    apart, close = rng.uniform(0.08, 0.3), rng.uniform(0.08, 0.3)
    swap = rng.random() < 0.5
    struts = []
    for k in range(6):
        middle, side = 2 * pi * (k // 2) / 3, (-1) ** k
        foot = middle + side * (pi / 3 - apart if swap else apart)
        head = middle + side * (close if swap else pi / 3 - close)
        a = [base * cos(foot), base * sin(foot), high]
        b = [platform * cos(head), platform * sin(head), 0.0]
        a, b = ([x + rng.uniform(-20, 20) for x in joint] for joint in (a, b))
        struts.append((a, b))
    some = rng.random() < 0.3
    text = [_head(rng, order, low)]
    for a, b in struts:
        length = dist(a, [b[0], b[1], b[2] + low])
        text.append(
            f"[[strut]]\nbase_joint_mm = {_vector(a)}\nplatform_joint_mm = {_vector(b)}\n"
            f"stroke_mm = [{length - rng.uniform(150, 500):.3f}, {length + rng.uniform(150, 500):.3f}]\n"
            f"speed_mm_s = {rng.choice([60, 300, 1300, 3000])}\n"
            f"acceleration_mm_s2 = {rng.choice([800, 5000, 14000, 40000])}\n"
            f"jerk_mm_s3 = {rng.choice([20000, 200000, 700000, 5000000])}\n" + (STRUT if some else "")
        )
    whole = "\n".join(text) + (REST if some else "")
    return _springy(whole, Random(whole))


def _springy(text, rng):
    """Return a machine, at times one whose commands make up for struts that give way."""
    if rng.random() > 0.4:
        return text
    if "[strut.body]" not in text:
        body = f"[strut.body]\nstiffness_n_um = {rng.uniform(20, 200):.1f}\n"
        text = re.sub(r"^jerk_mm_s3 = .*\n(?=\n|\Z|\[\[)", lambda m: m[0] + body, text, flags=re.MULTILINE)
    words = {"inertia": rng.random() < 0.4, "cutting": rng.random() < 0.4}
    extra = "".join(f"{k} = true\n" for k, there in words.items() if there)
    zero = rng.choice(["reference", "machine_zero"])
    text = _lagging(text, rng)
    return f'{text}\n[compensation]\nsag = true\n{extra}zero_at = "{zero}"\n'


def _lagging(text, rng):
    """Return a machine whose struts lag, each by its own loop, with far limits of what becomes of it."""
    gain, loop = rng.uniform(20, 60), rng.choice(["", "speed_feed_forward = 0.7\n"])
    loop += rng.choice(["", "bandwidth_hz = 60\ndamping = 0.7\n"])

    def servo(m):
        return f"{m[0]}[strut.servo]\nposition_gain_1_s = {gain * rng.uniform(0.95, 1.05):.2f}\n{loop}\n"

    text = re.sub(r"^jerk_mm_s3 = .*\n(?=\n|\Z|\[)", servo, text, flags=re.MULTILINE)
    most = rng.choice(["contour_mm = 5\n", "contour_mm = 5\nvibration_mm = 5\n"])
    return text.replace("deviation_mm", f"{most}deviation_mm")


def _head(rng, order, low):
    """Return what stands before the struts."""
    tilt = [rng.uniform(-3, 3) for _ in range(3)]
    return f"""name = "attack"
revision = "{rng.randrange(100)}"
tilt_order = "{order}"
period_ms = {rng.choice([0.5, 1, 1, 2, 4, 3.333])}
[reference]
pose_mm_deg = {_vector([0, 0, low, *(rng.choice([0, 1]) * x for x in tilt)])}
[pallet]
pose_mm_deg = {_vector([0, 0, low - rng.uniform(440, 560), 0, 0, rng.choice([0, 20, -20])])}
size_mm = [600, 600]
[machine_zero]
pose_mm_deg = {_vector([0, 0, low - rng.uniform(50, 200), 0, 0, 0])}
[platform]
gauge_point_mm = {_vector([0, 0, -rng.uniform(180, 280)])}
mass_kg = {rng.uniform(100, 1500):.1f}
centre_of_mass_mm = {_vector(rng.uniform(-40, 40) for _ in range(3))}
inertia_kg_m2 = [[62, 0, 0], [0, 64, 0], [0, 0, 78]]
[tool_tip]
speed_mm_s = {rng.choice([200, 800, 1200])}
acceleration_mm_s2 = {rng.choice([1000, 6000, 12000])}
jerk_mm_s3 = {rng.choice([50000, 500000, 5000000])}
tilt_speed_deg_s = {rng.choice([20, 60])}
tilt_acceleration_deg_s2 = {rng.choice([200, 600])}
tilt_jerk_deg_s3 = {rng.choice([4000, 20000])}
corner_tolerance_mm = {rng.choice([0.001, 0.01, 0.1])}
corner_tolerance_deg = {rng.choice([0.01, 0.05])}
deviation_mm = 0.01
"""


def slowing(text):
    """Return a machine that at times slows down otherwise; its text decides, so that no other choice changes."""
    rng = Random(text)
    if rng.random() > 0.3:
        return text
    head, *struts = text.split("[[strut]]")
    if rng.random() < 0.8:
        tip, tilt = rng.choice([500, 3000, 9000]), rng.choice([150, 400, 900])
        limits = f"deceleration_mm_s2 = {tip}\ntilt_deceleration_deg_s2 = {tilt}\n"
        head = head.replace("corner_tolerance_mm", f"{limits}corner_tolerance_mm")
    if rng.random() < 0.8:
        share, own = rng.choice([0.3, 0.7, 2.0]), rng.random() < 0.7
        for k, strut in enumerate(struts):
            most = float(re.search(r"^acceleration_mm_s2 = (\S+)", strut, re.MULTILINE)[1])
            if own or k % 2:
                limit = f"deceleration_mm_s2 = {share * most:g}\n"
                struts[k] = re.sub("^jerk_mm_s3", f"{limit}jerk_mm_s3", strut, count=1, flags=re.MULTILINE)
    return "[[strut]]".join([head, *struts])


def tools(rng):
    """Return a tools file of three tools."""
    return "".join(
        f"[[tool]]\nnumber = {k}\nlength_mm = {rng.uniform(30, 160):.3f}\ndiameter_mm = {rng.uniform(2, 16):.2f}\n"
        for k in (1, 2, 3)
    )


def setup(rng):
    """Return a setup file: five work offsets, some tilted."""
    out = ""
    for k in range(54, 60):
        turned = rng.choice([[0, 0, 0], [0, 0, rng.uniform(-15, 15)], [rng.uniform(-5, 5) for _ in range(3)]])
        place = [rng.uniform(-60, 60), rng.uniform(-60, 60), rng.uniform(40, 110)]
        out += f"[offset.G{k}]\npose_mm_deg = {_vector([*place, *turned])}\n"
    return out


def options(rng):
    """Return options of ``convert`` that leave a table with all that a proof needs."""
    out = []
    for words, share in (
        (["--feed", "strut-limited"], 0.4),
        (["--table", rng.choice(["npy", "csv"])], 0.3),
        (["--period-ms", rng.choice(["0.25", "1", "2.5", "8"])], 0.2),
        (["--yaw", rng.choice(["best", "follow"])], 0.05),
        (["--rows-per-file", str(rng.choice([1, 100, 777]))], 0.1),
        (["--stride", str(rng.choice([2, 10, 100000]))], 0.1),
        (["--skip"], 0.1),
        (["--no-stops"], 0.1),
    ):
        out += words if rng.random() < share else []
    if "--yaw" not in out:
        for words, share in (
            (["--single-block"], 0.1),
            (["--lift", f"{rng.uniform(0, 60):.3f}"], 0.1),
            (["--override", f"{rng.uniform(30, 100):.1f}"], 0.1),
        ):
            out += words if rng.random() < share else []
    if "1" in out and out[out.index("1") - 1] == "--rows-per-file":
        out[out.index("1")] = "50"  # thousands of files are no attack, only slow
    return out


def random_machine(rng, place):
    """Convert a random program on a random machine; prove the job."""
    texts = {"m_toml": machine(rng), "t_toml": tools(rng), "s_toml": setup(rng), "p_nc": program(rng)}
    paths = write(place, **texts)
    files = {"machine": paths["m"], "tools": paths["t"], "setup": paths["s"]}
    if too_long(Files(program=paths["p"], **files)):
        return Outcome(tried=0)
    words = [str(x) for k, v in files.items() for x in (f"--{k}", v)] + options(rng)
    code, said, wrong = inside("convert", paths["p"], "--out", place / "job", *words)
    outcome = Outcome(lost=wrong, clean=int(code != 2), refused=int(code == 2))
    if code == 2:
        outcome.note = f"last refusal: {said.splitlines()[0][-160:]}"
        return outcome
    outcome.lost += broken(place / "job")
    yaw = words[words.index("--yaw") + 1] if "--yaw" in words else "fixed"
    found = proof(place / "job", code, remake=True) + (
        clean_through(Files(program=paths["p"], **files), yaw=yaw) if code == 0 else []
    )
    outcome.wrong += [f"{x} from {options_and(words)} {texts}" for x in found]
    if any(paths[k.split("_")[0]].read_text() != text for k, text in texts.items()):
        outcome.lost.append("an input was changed")
    return outcome


def options_and(words):
    """Return the options of a command line without its files."""
    return [w for w in words if "/" not in w and w not in ("--machine", "--tools", "--setup")]


def turning(rng):
    """Return a program that turns the tool far, about one axis or several, at places all over the pallet."""
    blocks = ["%", "G21 G17 G90 G94"]
    for _ in range(rng.randrange(1, 5)):
        words = [f"{axis}{rng.uniform(-90, 90):.3f}" for axis in rng.sample("ABC", rng.randrange(1, 4))]
        place = f"X{rng.uniform(-80, 80):.3f} Y{rng.uniform(-80, 80):.3f} Z{rng.uniform(60, 260):.3f}"
        blocks += [f"G00 {place} A0 B0 C0", f"G01 {' '.join(words)} F{rng.choice([900, 6000])}"]
        blocks += rng.choice([[], ["G04 P20"], [f"X{rng.uniform(-80, 80):.3f}"]])
    return "\n".join([*blocks, "M30", "%", ""])


def turned_far(rng, place):
    """Audit a random machine that turns far, with room in its strokes: no way through a singular pose is clean."""
    wide = re.sub(r"stroke_mm = .*", "stroke_mm = [1, 9000]", machine(rng))
    paths = write(place, m_toml=wide, p_nc=turning(rng))
    files = Files(program=paths["p"], machine=paths["m"])
    if too_long(files, TURNING_S):
        return Outcome(tried=0)
    try:
        job = schedule(load(files, TURNING_S))
    except HexpostError:
        return Outcome(refused=1)
    through = crossing(job)
    told = any(LIMITS[i].name == "singular-pose" for i in examine(job).findings.limit)
    outcome = Outcome(clean=int(not told))
    if through and not told:
        outcome.wrong.append(f"leads through a singular pose without a word: {paths['p'].read_text()!r} {wide}")
    return outcome


KINDS = {"random machines, proven": random_machine, "random machines turned far": turned_far}
