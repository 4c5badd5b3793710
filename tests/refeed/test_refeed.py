"""Refeed: only F words change, the result audits clean where feed can mend it, and refeeding it changes nothing."""

import json
import re
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given, settings
from hypothesis import strategies as st
from machine.described import text as described

from hexpost.audit.model import LIMITS
from hexpost.cli import main
from hexpost.machine.load import demonstration_machine, load_setup, load_tools, no_setup, no_tools
from hexpost.pipeline import examine, parse, schedule, understand
from hexpost.refeed.lower import again, refeed
from hexpost.voice import advice

SAMPLES = Path(__file__).parents[2] / "samples"
MACHINE = demonstration_machine()


def inputs_of(text, **shares):
    """Return a program understood on the demonstration machine with strut limits scaled by ``shares``."""
    struts = tuple(replace(s, **{n: getattr(s, n) * x for n, x in shares.items()}) for s in MACHINE.struts)
    source = text if isinstance(text, bytes) else text.encode()
    return understand(parse(source, "part.nc"), replace(MACHINE, struts=struts), no_tools(), no_setup())


def feeds(source):
    """Return the F words of each line, comments left out."""
    return [re.findall(rb"F([0-9.]+)", re.sub(rb"\(.*?\)", b"", x)) for x in source.splitlines()]


def without_feeds(source):
    """Return a program without F words and without its head comment."""
    lines = [x for x in source.split(b"\n") if b"FEEDS LOWERED" not in x]
    return re.sub(rb" ?F[0-9.]+", b"", b"\n".join(lines))


FAST = "%\nO7 (PART)\nG21 G90 G64\nG00 X0 Y0 Z300\nN10 G01 X100 F30000 (OUT)\nN20 Y100\nN30 X0 F200\nM30\n%\n"
SLOW = {"speed": 0.1}


def test_only_feeds_change_and_the_new_program_is_clean():
    found = refeed(inputs_of(FAST, **SLOW))
    assert found.before.findings.count > 0
    assert found.after.findings.count == 0
    assert without_feeds(found.source) == without_feeds(FAST.encode())
    lines = found.source.splitlines()
    assert lines[:2] == [b"%", b"O7 (PART)"]
    assert lines[2].startswith(b"(FEEDS LOWERED FOR THE STRUTS: FROM PART.NC SHA-256 ")
    assert b"DEMONSTRATION MACHINE [INVENTED], REVISION 1" in lines[2]
    first, second = (float(feeds(found.source)[k][0]) for k in (5, 6))
    assert first < 30000 and second < 30000 and first != second  # the second got a word of its own
    assert feeds(found.source)[7] == [b"200"]
    assert [c.before for c in found.changes] == [30000, 30000]


def test_what_breaks_nothing_comes_back_byte_for_byte():
    text = FAST.replace("30000", "300.").replace("\n", "\r\n").encode() + b"\r\n; \xe9 end\r\n"
    found = refeed(inputs_of(text))
    assert found.source == text
    assert found.changes == ()


@pytest.mark.long
@pytest.mark.parametrize("name", ["limits", "contour", "frustum", "pocket", "plate_inch"])
@pytest.mark.parametrize("shares", [{}, {"speed": 0.05, "acceleration": 0.5, "jerk": 1.5}])
def test_samples_are_a_fixpoint_and_only_what_no_feed_mends_is_left(name, shares):
    struts = tuple(replace(s, **{n: getattr(s, n) * x for n, x in shares.items()}) for s in MACHINE.struts)
    program = parse((SAMPLES / f"{name}.nc").read_bytes(), name)
    inputs = understand(
        program, replace(MACHINE, struts=struts), load_tools(SAMPLES / "tools.toml"), load_setup(SAMPLES / "setup.toml")
    )
    found = refeed(inputs)
    second = refeed(again(inputs, found.source))
    assert second.source == found.source
    assert second.changes == ()
    left = {LIMITS[k].name for k in found.after.findings.limit}
    assert not left & {"speed", "acceleration"}
    if not shares:
        assert "jerk" not in left


@pytest.mark.long
@given(st.integers(0, 2**32 - 1), st.floats(0.02, 0.5))
@settings(max_examples=4, deadline=None)
def test_random_programs_are_mended_once_and_for_all(seed, share):
    import numpy as np

    rng = np.random.default_rng(seed)
    lines = ["G21 G90", "G00 X0 Y0 Z300"]
    for k in range(12):
        x, y, a = rng.uniform(-60, 60, 3) * (1, 1, 0.1)
        feed = f" F{rng.integers(500, 40000)}" if k == 0 or rng.random() < 0.4 else ""
        lines.append(f"G01 X{x:.3f} Y{y:.3f} A{a:.3f}{feed}")
    inputs = inputs_of("\n".join([*lines, "M30", ""]), speed=share)
    found = refeed(inputs)
    assert found.after.findings.count == 0
    assert without_feeds(found.source) == without_feeds(inputs.program.source)
    new = again(inputs, found.source)
    assert refeed(new).source == found.source
    assert examine(schedule(new)).findings.count == 0
    assert (new.meaning.moves.feed <= inputs.meaning.moves.feed * (1 + 1e-9)).all()


def test_feeds_are_rounded_down_to_the_decimals_of_the_program():
    """Down at each step, for what is tried is what is written.

    By less than 1 when lowered, 1/2 + 1 or less each time the way back is halved (2 in the limit), 0.98 * 2 + 1 in the
    end, where room is left: by less than 3.
    """
    whole = refeed(inputs_of(FAST, **SLOW)).changes[0].now
    assert whole == int(whole)
    fine = refeed(inputs_of(FAST.replace("F200", "F200.25"), **SLOW))
    assert fine.changes[0].now == pytest.approx(round(fine.changes[0].now, 2), abs=1e-9)
    assert 0 <= fine.changes[0].now - whole < 3
    inch = "G20 G90\nG00 X0 Y0 Z12.\nG01 X4. F1200.\nM30\n"
    found = refeed(inputs_of(inch, **SLOW))
    assert found.after.findings.count == 0
    assert found.changes[0].now == pytest.approx(whole / 25.4, abs=3)  # the same steps, in inches
    assert feeds(found.source)[3][0].endswith(b".")


def test_inverse_time_blocks_stay_what_they_are():
    text = "G21 G90 G93\nG00 X0 Y0 Z300\nG01 X100 F400\nM30\n"
    found = refeed(inputs_of(text, **SLOW))
    assert found.before.findings.count > 0
    assert found.source == text.encode()


def test_a_ramp_that_no_feed_mends_is_left_and_its_machine_value_named():
    text = "G21 G90\nG00 X0 Y0 Z300\nG01 X100 F20000\nM30\n"
    found = refeed(inputs_of(text, jerk=0.1))
    assert found.source == text.encode()
    after = found.after.findings
    assert {LIMITS[k].name for k in after.limit} == {"jerk"}
    assert any("tool_tip.jerk_mm_s3" in advice(after.row(i)) for i in range(after.count))


@pytest.mark.long
def test_long_blocks_are_split_where_that_helps():
    text = "G21 G90\nG00 X-150 Y0 Z300\nN5 G01 X150.5 A10. F9000 (LONG)\nG00 Z350\nM30\n"
    plain, split = (refeed(inputs_of(text, speed=0.02, acceleration=10), split=x) for x in (False, True))
    assert plain.after.findings.count == split.after.findings.count == 0
    assert split.split == (3,)
    parts = len(split.old_lines) - len(plain.old_lines)
    assert 1 <= parts < 6
    assert split.after.duration < plain.after.duration - 0.1 * parts
    lines = split.source.splitlines()
    for change in split.changes:
        assert f"F{change.now:g}".encode() in lines[change.line - 1]
        assert change.old_line == 3
    assert lines[3].startswith(b"N5 G01 X-59.850 A3.000 F") and lines[3].endswith(b"(LONG)")
    assert any(x.startswith(b"X150.5 A10.") for x in lines)
    assert refeed(again(inputs_of(text, speed=0.02, acceleration=10), split.source), split=True).source == split.source


def test_the_command_writes_tells_and_exits_with_what_is_left(tmp_path):
    setup = ["--setup", str(SAMPLES / "setup.toml"), "--tools", str(SAMPLES / "tools.toml")]
    new = tmp_path / "new.nc"
    arguments = ["refeed", str(SAMPLES / "limits.nc"), "-o", str(new), *setup]
    done = CliRunner().invoke(main, arguments)
    assert done.exit_code == 1, done.output
    assert "stroke" in done.output and "2 blocks with a lower feed" in done.output
    assert CliRunner().invoke(main, arguments).exit_code == 2  # it is there already
    again_ = tmp_path / "again.nc"
    done = CliRunner().invoke(main, ["refeed", str(new), "-o", str(again_), *setup, "--json"])
    assert '"changed"' in done.output and again_.read_bytes() == new.read_bytes()
    clean = CliRunner().invoke(main, ["refeed", str(SAMPLES / "contour.nc"), "-o", str(tmp_path / "c.nc"), *setup])
    assert clean.exit_code == 0, clean.output
    assert "no feed to lower: the new program is a copy of the old one" in clean.output
    assert (tmp_path / "c.nc").read_bytes() == (SAMPLES / "contour.nc").read_bytes()


@pytest.mark.long
@pytest.mark.parametrize("machine", [(), ("--machine", str(SAMPLES / "described.toml"))], ids=["plain", "described"])
def test_what_feed_alone_can_mend_is_mended_to_the_last_finding(machine, tmp_path):
    files = ["--setup", str(SAMPLES / "setup.toml"), "--tools", str(SAMPLES / "tools.toml"), *machine]
    source, new, again_ = SAMPLES / "overdriven.nc", tmp_path / "new.nc", tmp_path / "again.nc"
    assert CliRunner().invoke(main, ["audit", str(source), *files]).exit_code == 1
    done = CliRunner().invoke(main, ["refeed", str(source), "-o", str(new), *files])
    assert done.exit_code == 0, done.output
    assert CliRunner().invoke(main, ["audit", str(new), *files]).exit_code == 0
    assert CliRunner().invoke(main, ["refeed", str(new), "-o", str(again_), *files]).exit_code == 0
    assert again_.read_bytes() == new.read_bytes()
    both = CliRunner().invoke(main, ["audit", str(source), *files, "--feed", "both", "--json"])
    times = json.loads(both.output)["cycle_times"]
    assert times["strut_limited_s"] < 0.5 * times["one_safe_feed_s"], times


KEEP_OUT = '[[keep_out]]\nname = "vice"\nlow_mm = [-100, -100, 0]\nhigh_mm = [100, 100, 2500]\n'


def test_what_meets_a_box_is_told(tmp_path):
    """No feed mends it, and the box has a name of its own."""
    (tmp_path / "m.toml").write_text(described(rest=f"[spindle]\nradius_mm = 70\n{KEEP_OUT}"))
    (tmp_path / "p.nc").write_text("G21 G90 G94\nG00 X0 Y0 Z60\nG01 X30 F3000\nM30\n")
    words = ["refeed", str(tmp_path / "p.nc"), "--machine", str(tmp_path / "m.toml"), "-o", str(tmp_path / "q.nc")]
    for more in ([], ["--json"]):
        done = CliRunner().invoke(main, [*words, "--overwrite", *more])
        assert (done.exit_code, "clearance" in done.output) == (1, True), done.output


@pytest.mark.long
def test_parts_that_save_too_little_are_not_cut_off(tmp_path):
    """Of the sample with four blocks that are too fast, cutting pays for some; each cut saves at least 0.1 s."""
    files = ["--setup", str(SAMPLES / "setup.toml"), "--tools", str(SAMPLES / "tools.toml"), "--json", "--overwrite"]
    new = tmp_path / "new.nc"
    plain, split = (
        json.loads(
            CliRunner().invoke(main, ["refeed", str(SAMPLES / "overdriven.nc"), "-o", str(new), *files, *x]).output
        )
        for x in ([], ["--split"])
    )
    assert split["findings_total"] == 0
    assert split["duration_s"] < plain["duration_s"] - 0.1 * len(split["split_lines"])
    assert len(split["changed"]) <= 9
    lines, old = new.read_text().splitlines(), (SAMPLES / "overdriven.nc").read_text().splitlines()
    for change in split["changed"]:
        in_force = [x for x in lines[: change["line"]] if re.search(r"F[0-9]", x) and "(" not in x][-1]
        assert f"F{change['feed']:g}" in in_force  # F is modal
        assert "N1" in old[change["old_line"] - 1]
        assert change["feed"] == round(change["feed"], 6)


def test_an_older_head_comment_goes_and_numbers_still_fit():
    first = refeed(inputs_of(FAST, **SLOW))
    again_ = refeed(again(inputs_of(FAST, speed=0.05), first.source))
    assert again_.source.count(b"FEEDS LOWERED") == 1
    assert again_.changes
    assert again_.new_lines[:4].tolist() == [1, 2, 0, 4]
    assert again_.changes[0].line == again_.changes[0].old_line == 6
    assert len(again_.new_lines) >= 10


CALLS = """%
O1 (MAIN)
G21 G90 S500 M03
G00 X0 Y0 Z300
G01 X10 F20000
M98 P7
G01 X60
M98 P7
G01 X0 F30000
G81 X20 Y20 Z280 R295 F900
X40
G84 X40 Y40 Z280 R295 F750
G80
M30
O7
G01 Y30
Y0 F25000
M99
%
"""


@pytest.mark.long
def test_a_subprogram_takes_the_least_feed_over_its_calls_and_tapping_is_not_touched():
    inputs = inputs_of(CALLS, speed=0.1)
    found = refeed(inputs)
    assert found.before.findings.count > 0
    assert found.after.findings.count == 0
    assert without_feeds(found.source) == without_feeds(CALLS.encode())
    new = again(inputs, found.source)
    assert refeed(new).source == found.source
    assert (new.meaning.moves.feed <= inputs.meaning.moves.feed * (1 + 1e-9)).all()
    assert b"F900" in found.source and b"F750" in found.source
    stiff = refeed(inputs_of(CALLS, speed=0.004))
    assert b"G84 X40 Y40 Z280 R295 F750" in stiff.source


def test_a_first_feed_of_the_machine_file_is_written_out_where_a_feed_is_lowered():
    """One F word ends a first feed, so every move that had it gets one: nothing else changes its feed."""
    text = "G21 G90\nG00 X-60 Y0 Z60\nM03 S900\nG01 X60\nA10. X50\nG02 X50 Y0 I-20 J0\nG00 Z90\nM30\n"
    slow = tuple(replace(s, speed=s.speed * 0.25) for s in MACHINE.struts)
    machine = replace(MACHINE, struts=slow, words=replace(MACHINE.words, first_feed=30000 / 60))
    inputs = understand(parse(text.encode(), "part.nc"), machine, no_tools(), no_setup())
    found = refeed(inputs)
    assert found.after.findings.count == 0 and found.changes
    written = dict(zip(range(9), feeds(found.source)[1:], strict=False))
    assert [len(x) for x in written.values()][:8] == [0, 0, 0, 1, 1, 1, 0, 0]
    assert float(written[3][0]) == 30000 and float(written[4][0]) < 30000
    plain = again(inputs, found.source)
    assert not any("first_feed" in r for r in plain.meaning.readings)
    assert refeed(plain).source == found.source
