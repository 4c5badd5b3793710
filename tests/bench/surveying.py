"""The survey of 1,000 everyday programs on one core against reading and understanding the same programs."""

import random
import statistics
import tempfile
import time
from itertools import pairwise
from pathlib import Path

from hexpost.errors import Fault, InputError
from hexpost.library.policy import Policy
from hexpost.library.programs import find
from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.machine.model import Machine
from hexpost.pipeline import content, understand
from hexpost.program.read import read
from hexpost.survey.gather import survey
from hexpost.workers.engines import serial

PROGRAMS, ROUNDS = 1000, 5


def program(i: int) -> str:
    """Return a program of some fifty to some two thousand blocks; half of them leave something open."""
    r = random.Random(i)
    head = ["%", f"O{i + 1} (PART {i})", f"(T{1 + i % 20} D={r.choice((4, 6, 10))} END MILL)"]
    head += ["G17 G40 G80 G90" + (" G21" if i % 4 else ""), f"T{1 + i % 20} M06", "G54 G00 X0 Y0 S3000 M03"]
    head += [f"G43 H{1 + i % 20} Z50. M08" + (" M77" if i % 5 == 0 else ""), "G00 Z5.", "G01 Z-2. F300"]
    rows = []
    for k in range(r.choice((50, 200, 400, 800, 2000))):
        rows.append(f"X{r.uniform(-90, 90):.3f} Y{r.uniform(-90, 90):.3f}")
        rows += [f"G03 X{10 + k % 7}. Y5. R300.", "G01 X0. Y0."] if k % 9 == 0 else []
    rows += ["G04 P500"] if i % 6 == 0 else []
    rows += ["G12.3 P5 Q2"] if i % 9 == 0 else []
    rows += ["#1=5", "G01 X#1"] if i % 20 == 0 else []
    return "\n".join([*head, *rows, "G00 Z50. M09", "G91 G28 Z0", "M30", "%"]) + "\n"


def understood(name: str, machine: Machine) -> None:
    """Read a program as every command does; one that is refused has been read, too."""
    faults: list[Fault] = []
    program = read(content(Path(name)), name, faults)
    try:
        understand(program, machine, no_tools(), no_setup(), known=faults)
    except InputError:
        return


def survey_vs_read() -> dict[str, object]:
    """Return processor seconds of a survey over those of reading and understanding, round by round.

    ``against_words`` is the same against turning characters into words alone, which is less than any command does.
    """
    ratios, bare, machine = [], [], demonstration_machine()
    with tempfile.TemporaryDirectory() as folder:
        for i in range(PROGRAMS):
            Path(folder, f"part{i:05d}.nc").write_text(program(i))
        names = list(find([folder]).names)
        survey(names[:20], Policy(), machine, serial())  # loads what it needs
        for k in range(ROUNDS):
            part = names[k::ROUNDS]
            times = [time.process_time()]
            found = survey(part, Policy(), machine, serial())
            times.append(time.process_time())
            for name in part:
                understood(name, machine)
            times.append(time.process_time())
            for name in part:
                read(Path(name).read_bytes(), name, [])
            times.append(time.process_time())
            spent = [b - a for a, b in pairwise(times)]
            ratios.append(spent[0] / spent[1])
            bare.append(spent[0] / spent[2])
            assert len(found.sights) == len(part)
    return {"ratio": statistics.median(ratios), "rounds": ratios, "against_words": statistics.median(bare)}
