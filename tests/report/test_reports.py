"""Reports of two invented audits, compared with the files in ``golden`` (written anew with HEXPOST_GOLDEN=1)."""

import json
import os
import re
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from hexpost.audit.advice import settle
from hexpost.audit.limit import FEED, USUAL
from hexpost.audit.model import LIMITS, RUN, AuditResult, Dropped, Findings, Unseen, Worst, quoted
from hexpost.feed.model import Reasons
from hexpost.machine.model import Setup, Tools
from hexpost.moves.model import Interpretation, Remark
from hexpost.program.model import Program
from hexpost.report.collect import collect
from hexpost.report.document import document, to_json
from hexpost.report.model import MOST_FINDINGS
from hexpost.report.terminal import SCREEN_LINES, summary
from hexpost.report.text import WIDTH, text
from hexpost.voice import clean, duration, number, percent

GOLDEN = Path(__file__).parent / "golden"
SOURCE = "%\nN10 G21 (BLADE ROOT)\nN20 G1 X100 F12000\n N30 G1 Z-5 (\x1b[31m<script>alert(1)</script>\x07)\r\nM30\n%\n"


def program(source=SOURCE):
    data = source.encode()
    starts = [0, *(m.end() for m in re.finditer(rb"\n", data))]
    numbers = {2: 10.0, 3: 20.0, 4: 30.0}
    lines = range(1, len(starts))
    return Program(
        name="blade_root.nc", source=data,
        letter=np.full(3, ord("N"), dtype=np.uint8), value=np.array(list(numbers.values())), pointed=np.zeros(3, bool),
        line=np.array([2, 3, 4], dtype=np.int32), column=np.ones(3, dtype=np.int32),
        first=np.array([sum(k < n for k in numbers) for n in (*lines, len(starts))]),
        skip=np.zeros(0, dtype=np.int32), comment_line=np.zeros(0, dtype=np.int32),
        comment_start=np.zeros(0, dtype=np.int64), comment_end=np.zeros(0, dtype=np.int64), line_start=np.array(starts),
    )  # fmt: skip


COLUMNS = ("strut", "line", "start", "end", "peak", "allowed", "ratio", "feed")


def findings(rows):
    """Return findings from rows: limit, strut, line, start and end in ticks, peak, allowed, ratio, feed."""
    runs = np.zeros(len(rows), dtype=RUN)
    for run, row in zip(runs, rows, strict=True):
        run["limit"] = LIMITS.index(row[0])
        for name, value in zip(
            ("strut", "line", "start", "end", "peak", "allowed", "ratio", "own_feed"), row[1:], strict=True
        ):
            run[name] = value
        run["margin_feed"] = np.nan
        run["tried"], run["room"] = not np.isnan(row[-1]), 1.05
        run["f_share"], run["f_unit"], run["case"] = (np.nan, 0, USUAL) if np.isnan(row[-1]) else (1.0, 1, FEED)
    settle(runs)
    return Findings(runs=runs, limits=LIMITS, period=1e-3)


def worst(scale):
    out = []
    for strut in range(1, 7):
        for limit, value, allowed in (("speed", scale * strut, 1100.0), ("stroke", 1300.0, 1700.0), ("jerk", 6e4, 6e5)):
            out.append(
                Worst(
                    limit=LIMITS.of(limit),
                    strut=strut,
                    value=value,
                    allowed=allowed,
                    ratio=value / allowed,
                    line=3,
                    time=1.25,
                )
            )
    return (*out, Worst(limit=LIMITS.of("deviation"), strut=0, value=0.002, allowed=0.01, ratio=0.2, line=4, time=2.0))


BROKEN = [
    ("speed", 6, 3, 1200, 1310, 1800.0, 1100.0, 1.636363, 7300.0),
    ("stroke", 2, 4, 2000, 2000, 1750.123456, 1700.0, 1.06, np.nan),
    ("tool-length", 0, 4, 2000, 2000, 120.0, 0.0, 1.0000001, np.nan),
]


UNSEEN = (
    Unseen(limit="thrust", part="strut 2", missing="[strut.screw] thrust_n"),
    Unseen(limit="buckling", part="", missing="[strut.screw] root_diameter_mm"),
)


def report(rows=(), demonstration=True, given=False, **changes):
    name, file = ("Demonstration machine", "") if demonstration else ("Own", "own.toml")
    machine = SimpleNamespace(
        name=name,
        revision="1",
        file=file,
        demonstration=demonstration,
        period=1e-3,
        struts=range(6),
        keep_out=(),
    )
    audit = AuditResult(
        findings=findings(list(rows)), worst=worst(300.0 if rows else 150.0), samples=123_457, duration=123.456,
        shortest=np.arange(6) + 1200.0, longest=np.arange(6) + 1500.25, warnings=("The tip jerk was over its limit.",),
        unseen=UNSEEN,
    )  # fmt: skip
    meaning = Interpretation(
        moves=None, events=None, start=np.zeros(6), readings=("P of a dwell is milliseconds.",),
        ignored=(Remark(line=1, text="coolant words", count=3), Remark(line=5, text="S", count=1)),
    )  # fmt: skip
    tools = Tools(tools={}, given=True, file="tools.toml") if given else Tools(tools={}, given=False)
    setup = (
        Setup(offsets={"G54": np.zeros(6)}, start=None, given=True, file="setup.toml")
        if given
        else Setup(offsets={}, start=None, given=False)
    )
    return collect(program(), meaning, replace(audit, **changes), machine=machine, tools=tools, setup=setup)


CASES = {"clean": report(demonstration=False, given=True), "broken": report(BROKEN)}


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("form", ["txt", "json", "screen.txt"])
def test_golden(case, form):
    made = {"txt": text, "json": to_json, "screen.txt": summary}[form](CASES[case])
    path = GOLDEN / f"{case}.{form}"
    if os.environ.get("HEXPOST_GOLDEN"):
        path.parent.mkdir(exist_ok=True)
        path.write_text(made, encoding="utf-8")
    assert made == path.read_text(encoding="utf-8")


def test_json_has_the_promised_keys():
    made = json.loads(to_json(CASES["broken"]))
    assert {"verdict", "duration_s", "rows", "struts", "readings", "ignored", "findings"} <= made.keys()
    assert (made["verdict"], made["runnable"], made["rows"], made["duration_s"]) == ("broken", False, 123_457, 123.456)
    assert len(made["struts"]) == 6
    assert made["struts"][5]["worst"]["speed"]["line"] == 3
    first, second, third = made["findings"]
    assert first.keys() == {
        "limit", "strut", "line", "block", "text", "time_s", "until_s", "peak", "allowed", "unit", "ratio", "advice",
        "advice_feed_mm_min", "advice_feed_deg_min", "advice_f", "advice_f_unit", "advice_tried",
        "advice_low_by_percent", "advice_move_mm", "advice_move_way", "joint", "bodies",
    }  # fmt: skip
    assert (first["limit"], first["strut"], first["block"], first["unit"]) == ("speed", 6, "N20", "mm/s")
    assert first["advice_feed_mm_min"] == 7300.0
    assert second["advice_feed_mm_min"] is None
    assert (third["strut"], third["line"]) == (None, 4)
    assert json.loads(to_json(CASES["clean"]))["verdict"] == "clean"


def test_the_demonstration_machine_is_loud_everywhere():
    for made in (text(CASES["broken"]), to_json(CASES["broken"]), summary(CASES["broken"])):
        assert "NO REAL MACHINE MAY RUN THIS OUTPUT" in " ".join(made.split())
    assert "REAL MACHINE" not in text(CASES["clean"]) + to_json(CASES["clean"]) + summary(CASES["clean"])


def test_no_character_of_a_program_acts_on_a_terminal():
    for made in (text(CASES["broken"]), to_json(CASES["broken"]), summary(CASES["broken"])):
        assert all(c == "\n" or c.isprintable() for c in made)
    assert "<script>alert(1)</script>" in text(CASES["broken"])


def test_findings_beyond_the_most_are_counted_not_listed():
    rows = [("speed", 1, 3, i, i, 2.0, 1.0, 2.0, np.nan) for i in range(MOST_FINDINGS + 5)]
    many = report(rows, dropped=(Dropped(limit="speed", count=7, most_ratio=1.0),))
    made = document(many)
    assert (len(made["findings"]), made["findings_total"]) == (MOST_FINDINGS, MOST_FINDINGS + 12)
    assert f"... and {MOST_FINDINGS + 12 - 500:,} more findings" in text(many)
    assert f"BROKEN: {MOST_FINDINGS + 12:,} findings in 1 block" in text(many)


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("width", [60, 80, 120, 160])
def test_the_summary_fits_a_screen(case, width):
    lines = summary(CASES[case], width).splitlines()
    assert len(lines) < SCREEN_LINES
    assert max(map(len, lines)) <= width


def test_the_text_fits_its_width_even_with_long_names():
    long = replace(CASES["broken"], program="x" * 300, readings=("word " * 100,))
    wide = replace(long, struts=tuple(
        replace(s, worst=tuple(replace(w, line=9_999_999) for w in s.worst)) for s in long.struts
    ))  # fmt: skip
    assert max(map(len, text(wide).splitlines())) <= WIDTH
    assert max(map(len, text(wide, 160).splitlines())) in range(WIDTH + 1, 161)
    assert all(len(line) <= 60 for line in text(wide, 60).splitlines() if "@" in line)
    assert text(wide).count("@9999999") == 18


def test_colour_only_where_it_is_wanted():
    coloured = summary(CASES["broken"], colour=True)
    assert "\x1b[" in coloured
    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured) == summary(CASES["broken"])


@settings(deadline=None, max_examples=200)
@given(st.text())
def test_clean_text_is_printable_and_as_long(raw):
    assert clean(raw).isprintable()
    assert len(clean(raw)) == len(raw)


@settings(deadline=None, max_examples=200)
@given(st.floats(allow_nan=False, allow_infinity=False))
def test_a_number_reads_back_to_six_digits(x):
    assert abs(float(number(x).replace(",", "")) - x) <= max(6e-6 * abs(x), 6e-10)


def test_words_of_numbers():
    assert [number(x) for x in (0.0, 0.00001234, 1.5, 99999.4, 123456.7, float("nan"))] == [
        "0", "0.00001234", "1.5", "99999.4", "123,457", "none",
    ]  # fmt: skip
    assert [percent(x) for x in (0.5, 1.0, 1.0000001, 1.2, 12.345)] == [
        "50.0 %",
        "100 %",
        "> 100 %",
        "120 %",
        "1,234 %",
    ]
    assert [duration(x) for x in (0.0, 59.9994, 61.25, 3599.99, 3723.4)] == [
        "0 s", "1 min 00.0 s", "1 min 01.2 s", "1 h 00 min 00 s", "1 h 02 min 03 s",
    ]  # fmt: skip


def test_comments_in_utf8_are_read_as_such_and_endless_blocks_are_cut():
    assert quoted("(gr\u00f6\u00dfe)".encode().decode("latin-1")) == "(gr\u00f6\u00dfe)"
    assert quoted(b"(gr\xf6\xdfe)".decode("latin-1")) == "(gr\u00f6\u00dfe)"
    assert len(quoted("X1" * 1_000_000)) == 200


def test_a_block_has_one_row_with_its_lowest_feed_and_advice_is_said_once():
    again = [("speed", 6, 3, 1400, 1500, 1500.0, 1100.0, 1.36, 5200.0),
             ("acceleration", 1, 3, 1400, 1500, 15000.0, 14000.0, 1.07, 6100.0),
             ("stroke", 3, 5, 2000, 2000, 1701.0, 1700.0, 1.01, np.nan)]  # fmt: skip
    made = report([*BROKEN, *again], unseen=())
    (row,) = [x for x in summary(made, 100).splitlines() if x.startswith("  line 3")]
    assert row.startswith("  line 3 (N20), F5200: speed of strut 6, 164 %; acceleration")
    assert text(made).count("The strut cannot extend so far.") == 1
    assert "As 2." in text(made)
    assert "As 1." in text(made) and text(made).count("Write F5200 (mm/min).") == 1  # the lowest one for the whole line
    assert "F7300" not in text(made) and "F6100" not in text(made)
    assert [f["advice_feed_mm_min"] for f in document(made)["findings"]] == [5200, None, None, 5200, 5200, None]
    assert "hexpost place" in summary(made, 100) and "hexpost refeed" in summary(report(BROKEN, given=True))
    assert "no file was given (`--setup FILE`)" in " ".join(summary(made).split())
    assert "--setup" not in summary(report(BROKEN, given=True))
    assert "hexpost refeed" not in summary(report(BROKEN[1:])) and "hexpost" not in summary(CASES["clean"])


def test_a_clean_screen_says_where_the_programmed_feed_was_not_reached():
    reasons = Reasons(
        line=np.array([3, 4, 5]), programmed=np.array([200.0, 10.0, np.inf]), reached=np.array([150.0, 10.0, 900.0]),
        turning=np.zeros(3, bool), cause=np.zeros(3, np.uint8), lost=np.array([0.5, 0.0, 1.0]), total={2: 1.5},
    )  # fmt: skip
    shown = " ".join(summary(replace(CASES["clean"], reasons=reasons)).split())
    assert "1 block stays below the programmed feed, 1.5 s lost in all (why: in the report)" in shown
    bare = " ".join(summary(replace(CASES["clean"], reasons=reasons), place="with --full").split())
    assert "(why: with --full)" in bare and "report" not in bare
    assert "below the programmed" not in summary(
        replace(CASES["clean"], reasons=replace(reasons, reached=np.full(3, 300.0)))
    )
    words = " ".join(text(replace(CASES["clean"], reasons=reasons)).split())
    assert "F programmed F reached held most by mm/min mm/min" in words
