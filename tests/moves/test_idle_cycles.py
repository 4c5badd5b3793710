"""A cycle that is set up and makes no hole is a remark: somebody meant to drill."""

import pytest

from hexpost.machine.load import demonstration_machine, no_setup, no_tools
from hexpost.pipeline import parse, understand

MACHINE = demonstration_machine()
HEAD = "G21 G90\nS800 M03\nG00 X0 Y0 Z100\n"
UP = "G81 X10 Y10 Z90 R95 F500"


def idle(text):
    """Return first line and count of the remark on cycles without a hole."""
    meaning = understand(parse((HEAD + text).encode(), "p.nc"), MACHINE, no_tools(), no_setup()).meaning
    return [(r.line, r.count) for r in meaning.remarks if r.text == "sets up a cycle, and no hole follows"]


@pytest.mark.parametrize(
    ("text", "said"),
    [
        (f"{UP} L0\nG80\nM30\n", [(4, 1)]),
        (f"{UP} K0\nM30\n", [(4, 1)]),
        (f"{UP} L0\nG00 X50\nG01 Y5 F500\nM30\n", [(4, 1)]),
        ("G81 F500\nG80\nG00 X5\nM30\n", [(4, 1)]),
        ("G83 Q2 F500\nM08\nG80\nG00 X5\nM30\n", [(4, 1)]),
        (f"{UP} L0\nG80\n{UP} L0\nX20 L0\nG80\nG00 X5\nM30\n", [(4, 2)]),
        (f"{UP}\nG80\n{UP} L0\nG80\nM30\n", [(6, 1)]),
        (f"{UP} L0\nG80\n{UP}\nG80\nM30\n", [(4, 1)]),
        (f"{UP} L0\n" + "(FAR)\n" * 80 + "G00 X5\nM30\n", [(4, 1)]),
        (f"{UP}\nG80\nM30\n", []),
        (f"{UP} L0\nX20\nG80\nM30\n", []),
        (f"{UP} L0\nG82 P1 X20\nG80\nM30\n", []),
        (f"{UP} L0\nM08\nX20 L2\nG80\nM30\n", []),
        (f"{UP} L0\nG81 X30\nG80\nM30\n", []),
    ],
)  # fmt: skip
def test_a_cycle_without_a_hole_is_a_remark(text, said):
    assert idle(text) == said


def test_a_cycle_whose_holes_come_from_a_subprogram_is_none():
    assert idle(f"{UP} L0\nM98 P7\nG80\nM30\nO7\nX20\nX30\nM99\n") == []
    assert idle(f"{UP} L0\nM98 P7\nM30\nO7\nG80\nG00 X30\nM99\n") == [(4, 1)]


def test_the_report_says_it():
    from hexpost.pipeline import examine, schedule

    text = f"{HEAD}{UP} L0\nG80\nG00 X5\nM30\n"
    found = examine(schedule(understand(parse(text.encode(), "p.nc"), MACHINE, no_tools(), no_setup())))
    assert f"Line 4 ({UP} L0) sets up a cycle, and no hole follows." in found.warnings
