"""Damage by conversion, the other inputs: machines, tools, setups and settings that are not those in the folder."""

import re

from attack.forging.kinds import NotHereError, kind
from attack.forging.twins import twin


def _number(text, pattern, change):
    """Return a text where the first number after a pattern is changed."""
    found = re.search(pattern + r"\s*\[?\s*(-?[0-9.]+)", text)
    if found is None:
        raise NotHereError
    return text[: found.start(1)] + f"{change(float(found[1])):.7g}" + text[found.end(1) :]


def _input(name, role, pattern, change, *span):
    def make(forgery, rng, size):
        text = _number(forgery.base.texts[role], pattern, lambda x: change(x, size))
        twin(forgery, rng, **{role: text})

    kind(name, "inputs", *span)(make)


_input("tool of another length", "tools", "length_mm =", lambda x, s: x + s, 1e-2, 1e-6, "mm")
_input("work offset elsewhere", "setup", r"\[offset.G54\]\npose_mm_deg =", lambda x, s: x + s, 1e-2, 1e-6, "mm")
_input("joint of the machine elsewhere", "machine", "base_joint_mm =", lambda x, s: x + s, 1e-2, 1e-6, "mm")
_input("pallet elsewhere", "machine", r"\[pallet\]\npose_mm_deg = \[0, 0,", lambda x, s: x + s, 1e-2, 1e-6, "mm")
_input("machine with wider corners", "machine", "corner_tolerance_mm =", lambda x, s: 4.0 * x)
_input("screw of another lead", "machine", "lead_mm =", lambda x, s: 1.01 * x)
_input("screw with another zero", "machine", "zero_mm =", lambda x, s: x + s, 1e-3, 1e-6, "mm")
_input("warmer screw", "machine", "temperature_c =", lambda x, s: x + 1.0)
_input("other gear", "machine", "gear_ratio =", lambda x, s: 1.01 * x)


def _faster(name, pattern):
    """Enter a kind of machine with three times a limit of the tip: the job must be shorter for it."""

    def make(forgery, rng, size):
        before = forgery.values.shape[1]
        twin(forgery, rng, machine=_number(forgery.base.texts["machine"], pattern, lambda x: 3.0 * x))
        if forgery.values.shape[1] > 0.97 * before:
            raise NotHereError

    kind(name, "inputs")(make)


_faster("machine with more acceleration", r"\[tool_tip\][^[]*?acceleration_mm_s2 =")
_faster("machine with more jerk", r"\[tool_tip\][^[]*?jerk_mm_s3 =")
_faster("machine that slows down harder", r"\[tool_tip\][^[]*?\ndeceleration_mm_s2 =")
_faster("machine with faster rapids", r"\[tool_tip\]\nspeed_mm_s =")


@kind("struts that slow down harder than they may", "inputs")
def slowing(forgery, rng, size):
    """Let struts slow down three times as hard: the report says by how little they do of what they may."""
    text, count = re.subn(
        r"(\[\[strut\]\](?:(?!\[\[)(?:.|\n))*?\ndeceleration_mm_s2 = )(\S+)",
        lambda m: f"{m[1]}{3.0 * float(m[2]):g}",
        forgery.base.texts["machine"],
    )
    if not count:
        raise NotHereError
    before = forgery.values.shape[1]
    twin(forgery, rng, machine=text)
    if forgery.values.shape[1] > 0.97 * before:
        raise NotHereError


def copied_number(pattern, change):
    """Return a damage that changes a number in the copy of the machine file alone."""

    def make(forgery, rng, size):
        path = forgery.folder / forgery.manifest["inputs"]["machine"]
        text = path.read_text()
        new = _number(text, pattern, change)
        if new == text:
            raise NotHereError
        forgery.before.append(lambda folder: path.write_text(new))

    return make


def _limit(name, pattern, change):
    """Enter a kind that changes the copy of the machine file alone, and what the report says is allowed."""
    kind(name, "inputs")(copied_number(pattern, change))


_limit(
    "strut limit raised in the copy", r"\nspeed_mm_s = (?:.|\n)*\[\[strut\]\](?:.|\n)*?\nspeed_mm_s =", lambda x: x * 2
)
_limit("strut that slows down harder in the copy", r"\[\[strut\]\](?:.|\n)*?\ndeceleration_mm_s2 =", lambda x: x * 2)
_limit("stroke wider in the copy", "stroke_mm =", lambda x: x - 50.0)
_limit("tip limit raised in the copy", r"\[tool_tip\]\nspeed_mm_s =", lambda x: x * 2)
_limit("deviation allowed in the copy", "deviation_mm =", lambda x: x * 3)
_limit("another revision in the copy", 'revision = "', lambda x: x + 1)
_limit("another mass in the copy", "mass_kg =", lambda x: x * 1.5)
_limit("another strut's joint in the copy", "platform_joint_mm =", lambda x: x + 0.05)


@kind("program of another job", "inputs")
def other_program(forgery, rng, size):
    """Put another program beside the table: the same blocks with X and Y exchanged."""
    path = forgery.folder / forgery.manifest["inputs"]["program"]
    text = path.read_text().translate(str.maketrans("XYIJ", "YXJI"))
    forgery.before.append(lambda folder: path.write_text(text))


@kind("comment changed in the program", "inputs")
def comment(forgery, rng, size):
    """Add a comment to the copy of the program: it asks for the same."""
    path = forgery.folder / forgery.manifest["inputs"]["program"]
    text = path.read_text().replace("M30", "M30 (FOR THE OTHER PART)")
    forgery.before.append(lambda folder: path.write_text(text))


def _option(name, options, settings, group="settings"):
    """Enter a kind of job made with options that its manifest does not own up to."""

    def make(forgery, rng, size):
        twin(forgery, rng, options=[*forgery.base.options, *options], said=settings)

    kind(name, group)(make)


_option("lifted, not said", ["--lift", "2"], ["lift_mm", "lift"])
_option("slower by override, not said", ["--override", "40"], ["override_percent", "override"])
_option("single block, not said", ["--single-block"], ["single_block"])
_option("begun in the middle, not said", ["--from-line", "8"], ["from_line", "from_run", "restart"])


@kind("other schedule, not said", "settings")
def schedule(forgery, rng, size):
    """Say the honest job's kind of feed of a job with the other."""
    options = [x for x in forgery.base.options if x not in ("--feed", "strut-limited")]
    if options == forgery.base.options:
        options += ["--feed", "strut-limited"]
    twin(forgery, rng, options=options, said=["feed"])
    forgery.report["feed"] = forgery.manifest["settings"]["feed"]


@kind("best effort, not said", "settings")
def effort(forgery, rng, size):
    """Say nothing of the effort that a job for the struts was planned with."""
    if "strut-limited" not in forgery.base.options:
        raise NotHereError
    twin(forgery, rng, options=[*forgery.base.options, "--effort", "best"], said=["effort"])


def _setting(name, key, value):
    def make(forgery, rng, size):
        settings = forgery.manifest["settings"]
        new = value(settings.get(key), forgery)
        if settings.get(key) == new:
            raise NotHereError
        settings[key] = new

    kind(name, "settings")(make)


_setting("lift said of a job without", "lift_mm", lambda x, f: 3.0)
_setting("lift of less than nothing", "lift_mm", lambda x, f: -40.0)
_setting("lift that is no number", "lift_mm", lambda x, f: "3")
_setting("override said of a job without", "override_percent", lambda x, f: 40.0)
_setting("single block said of a job without", "single_block", lambda x, f: True)
_setting("restart said of a job without", "from_line", lambda x, f: 8)
_setting("restart at a line that is no number", "from_line", lambda x, f: [8])
_setting("yaw said of a job without", "yaw", lambda x, f: "follow")
_setting("angle of yaw said of a job without", "yaw_deg", lambda x, f: 5.0)
_setting("other schedule said", "feed", lambda x, f: {"as-programmed": "strut-limited"}.get(x, "as-programmed"))
_setting("best effort said of a job without", "effort", lambda x, f: "best")
_setting("unknown effort said", "effort", lambda x, f: "utmost")
_setting("unknown schedule said", "feed", lambda x, f: "by-hand")
_setting("skip said of a job without", "skip", lambda x, f: not x)
_setting("stops passed over said", "stops", lambda x, f: not x)
_setting("format said", "table", lambda x, f: "npy")
_setting("period said", "period_us", lambda x, f: x * 2)
_setting("unknown setting", "cutter", lambda x, f: "any")
