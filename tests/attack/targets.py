"""What the guided fuzzing feeds with bytes: every reader of a file that a user writes."""

import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from machine.described import text as described
from program.fuzz import NAMES, RARE, SAMPLES, WORDS, Subject

from hexpost.errors import HexpostError
from hexpost.library.baseline import load_baseline
from hexpost.library.policy import load_policy
from hexpost.library.settings import Settings
from hexpost.machine.load import demonstration_machine, load_setup, load_tools, machine_from, no_setup, no_tools
from hexpost.pipeline import examine, parse, schedule, understand

PROGRAM = b"G21 G90 G94 G54\nT1 M06\nG43 H1\nG00 X0 Y0 Z60\nG01 X9 A2 F3000\nG02 X15 Y6 I6 J0\nG53 G00 Z0\nM30\n"
MOST_TICKS, MOST_ROWS = 4000, 10_000
"""Jobs with a fuzzed machine, tools or setup file that have more samples are planned but not sampled; or refused."""
_VALUES = """
0 1 -1 0.5 2.5 10 100 1000 -1000 1e5 1e-9 1e9 1e-308 1e308 nan inf -inf true false 99999999999999999999 0x7f -0.0 3.333
"" "x" "ABC" "CBA" "AAB" "right" "left" "../../etc/passwd" "\\u0000" "/dev/zero" "." "fixed-free" ["*.nc"] ["**"] ["["]
[] [[]] {} [0] [0,0,0] [0,0,0,0,0,0] [1,2] [1,2,3] [100,2000] [nan,0,0] [0,0,1e300,0,0,0] [0,0,900,90,90,90] [1,'a']
1979-05-27 07:32:00 [[1,0,0],[0,1,0],[0,0,1]] [[0,0,0],[0,0,0],[0,0,0]]
"""
VALUES = _VALUES.split()
POLICY = """programs = ["*.nc", "sub/**/*.tap"]
[all]
machine = "machine.toml"
tools = "tools.toml"
setup = "setup.toml"
feed = "as-programmed"
period_ms = 1
longest_cycle_s = 1800
time_limit_s = 60
[all.limit.speed]
warn_above_percent = 95
fail_above_percent = 98
[[where]]
path = ["blade_*.nc", "a/?[b].nc"]
[where.limit.stroke]
level = "warn"
"""
BASELINE = """{"format": 1, "accepted": [{
"program": "a.nc",
"limit": "speed",
"fingerprint": "0123456789abcdef",
"strut": 2,
"use": 1.25,
"blocks": 3,
"reason": "known",
"expires": "2027-01-31"
}]}
"""


def edited(base, data):
    """Return a text with edits: each four bytes say in which of its lines, what, and with which value."""
    lines = base.split("\n")
    for i in range(0, len(data) - 3, 4):
        at = (data[i] * 256 + data[i + 1]) % len(lines)
        how, value = data[i + 2] % 8, VALUES[data[i + 3] % len(VALUES)]
        key, equals, _ = lines[at].partition("=")
        if how < 4 and equals:
            lines[at] = f"{key}= {value}"
        elif how == 4:
            lines[at : at + 1] = []
        elif how == 5:
            lines.insert(data[i + 3] % len(lines), lines[at])
        elif how == 6:
            lines[at] = f"{key[:-1]}{value} {equals} 1"
        else:
            lines[at] = lines[at][: data[i + 3]] + lines[at][data[i + 3] + 1 :]
        lines = lines or [""]
    return "\n".join(lines)


class ProgramText:
    """The reader of programs and their interpreter."""

    def __init__(self):
        self._subject = Subject()

    def seeds(self):
        """Return programs to begin with: what the guided search changes is as short as can be."""
        whole = [(SAMPLES / f"{n}.nc").read_bytes() for n in NAMES]
        parts = [b"\n".join(w.split(b"\n")[k : k + 12]) for w in whole for k in range(0, w.count(b"\n"), 40)]
        return [*(b"G21 G90\n" + w.encode() for w in WORDS), RARE.encode(), *parts[:60]]

    def take(self, data):
        """Return whether the text is understood; refuse with faults otherwise."""
        return not self._subject.understand(data)[0]


class TomlText:
    """A TOML file: bytes as they are, or edits of a file that is right (the first byte says which)."""

    base = ""

    def seeds(self):
        """Return the file itself, and a few edits of it."""
        rng = np.random.default_rng(5)
        return [b"\xff" + self.base.encode(), *(b"\x00" + rng.bytes(4 * k) for k in range(1, 24))]

    def take(self, data):
        """Return whether the file is accepted and can be used; a refusal must say what is wrong."""
        source = data[1:] if data[:1] >= b"\xc0" else edited(self.base, data[1:]).encode("utf-8", "replace")
        try:
            self.use(source)
        except HexpostError as error:
            if not str(error).strip():
                raise AssertionError("a refusal without a word") from error
            return False
        return True

    def use(self, source):
        """Read the file and use what is in it."""
        raise NotImplementedError


def planned(machine, tools, setup):
    """Plan the small program, and examine its samples if they are few."""
    job = schedule(replace(understand(parse(PROGRAM, "p.nc"), machine, tools, setup), most_rows=MOST_ROWS))
    assert job.timing.ticks >= 0
    if job.timing.ticks <= MOST_TICKS:
        examine(job)


class MachineFile(TomlText):
    """A machine file."""

    base = described()

    def use(self, source):
        """Load the machine and run the small program on it."""
        planned(machine_from(source, "m.toml"), no_tools(), no_setup())


class FileText(TomlText):
    """A file that is loaded from a path."""

    def __init__(self):
        self._machine = demonstration_machine()

    def use(self, source):
        """Write the file and use it."""
        with tempfile.TemporaryDirectory(prefix="hexpost-attack-") as folder:
            path = Path(folder, "f.toml")
            path.write_bytes(source)
            self.load(path)

    def load(self, path):
        """Use the file at a path."""
        raise NotImplementedError


class ToolsFile(FileText):
    """A tools file."""

    base = (SAMPLES / "tools.toml").read_text()

    def load(self, path):
        """Load the tools and use them."""
        planned(self._machine, load_tools(path), no_setup())


class SetupFile(FileText):
    """A setup file."""

    base = (SAMPLES / "setup.toml").read_text()

    def load(self, path):
        """Load the offsets and use them."""
        planned(self._machine, no_tools(), load_setup(path))


class GateFile(FileText):
    """A policy of a library."""

    base = POLICY

    def load(self, path):
        """Load the policy and ask for the settings of some programs."""
        policy = load_policy(path, Settings())
        for name in ("a.nc", "sub/x/blade_1.nc", "a/xb.nc", "../q", "q"):
            settings = policy.settings(name)
            assert len(settings.margins) >= 0
            for limit in ("speed", "stroke", "jerk"):
                rule = settings.rule(limit)
                assert rule.fails_above == rule.fails_above and rule.speaks_above <= rule.fails_above


class BaselineFile(FileText):
    """Findings that were accepted."""

    base = BASELINE.replace(": ", "= ")

    def load(self, path):
        """Load the accepted findings; what was an edit of lines is JSON again."""
        path.write_bytes(path.read_bytes().replace(b"= ", b": "))
        load_baseline(path)


TARGETS = {
    "program": ProgramText,
    "machine": MachineFile,
    "tools": ToolsFile,
    "setup": SetupFile,
    "gate": GateFile,
    "baseline": BaselineFile,
}
