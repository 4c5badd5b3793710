"""One program checked: records, mistakes, margins, the time limit."""

import os
import time

import pytest
from library.shop import CLEAN, FAST, MISTAKEN, slow_struts

from hexpost.library.check import check, input_file
from hexpost.library.deadline import OutOfTime, deadline
from hexpost.library.model import CheckTask
from hexpost.library.records import from_bytes, to_bytes


def task(path, machine=None, margins=(), time_limit_s=60.0, **other):
    return CheckTask(
        name=str(path), path=str(path), machine=machine, tools=None, setup=None, feed="as-programmed", period=None,
        margins=margins, time_limit_s=time_limit_s, **other,
    )  # fmt: skip


@pytest.fixture
def slow(tmp_path):
    (tmp_path / "slow.toml").write_text(slow_struts())
    return input_file(str(tmp_path / "slow.toml"))


def record(path, **how):
    return from_bytes(check(task(path, **how))[1])


def test_a_clean_program_has_its_time_and_its_worst_use(tmp_path):
    path = tmp_path / "p.nc"
    path.write_text(CLEAN)
    r = record(path)
    assert not r.found and not r.mistakes and r.lasting
    assert r.duration_s > 1.4  # 50 + 20 mm at 50 mm/s
    assert {"stroke", "speed", "acceleration", "jerk"} <= set(r.worst) and 0 < r.worst["speed"].use < 1


def test_findings_name_line_strut_and_use(tmp_path, slow):
    path = tmp_path / "p.nc"
    path.write_text(FAST)
    found = [f for f in record(path, machine=slow).found if f.limit.name == "speed"]
    assert {f.line for f in found} == {4, 6}
    for f in found:
        assert f.allowed == 250 and f.ratio == pytest.approx(f.peak / 250) and f.ratio > 1 and 1 <= f.strut <= 6


def test_margins_find_more_and_tell_the_use_of_the_whole_limit(tmp_path):
    path = tmp_path / "p.nc"
    path.write_text(FAST)
    whole = record(path)
    share = whole.worst["speed"].use * 0.9
    strict = record(path, margins=(("speed", share),))
    assert not whole.found and strict.found
    assert max(f.ratio for f in strict.found) == pytest.approx(whole.worst["speed"].use)
    assert strict.found[0].allowed == 1300 and strict.found[0].margin == share
    assert all(f.feed is None for f in strict.found)  # the machine's own limit holds
    assert strict.worst["speed"].use == pytest.approx(whole.worst["speed"].use)
    use = whole.worst["stroke"].use
    stroke = record(path, margins=(("stroke", use * 0.99),))
    assert {f.limit.name for f in stroke.found} == {"stroke"} and stroke.worst["stroke"].use == pytest.approx(use)


def test_mistakes_have_place_and_no_path(tmp_path):
    texts = []
    for name in ("a.nc", "b.nc"):
        (tmp_path / name).write_text(MISTAKEN)
        digest, text = check(task(tmp_path / name))
        texts.append(text)
        assert len(digest) == 64
    assert texts[0] == texts[1] and str(tmp_path).encode() not in texts[0]
    mistake = from_bytes(texts[0]).mistakes[0]
    assert (mistake.line, mistake.column) == (4, 3) and mistake.code and "Q77" in mistake.text


@pytest.mark.parametrize("content", [None, b"", b"\x00\x01\x02" * 100, b"\xff\xfe\x00G", b"G" * 100_000])
def test_bad_programs_are_mistakes(tmp_path, content):
    path = tmp_path / "p.nc"
    if content is not None:
        path.write_bytes(content)
    r = record(path)
    assert r.mistakes and r.mistakes_total >= 1 and r.mistakes[0].what


def test_special_files_are_refused(tmp_path):
    os.mkfifo(tmp_path / "p.nc")
    assert record(tmp_path / "p.nc").mistakes[0].code == "file"


def test_a_program_beyond_its_time_is_a_mistake_that_is_not_kept(tmp_path):
    path = tmp_path / "p.nc"
    path.write_text(CLEAN * 3)
    path.write_text("G21\nG90\nG00 Z300\nG04 X5000\nM30\n")
    r = record(path, time_limit_s=0.02)
    assert [m.code for m in r.mistakes] == ["out-of-time"] and not r.lasting


def test_the_deadline_interrupts_and_is_gone_afterwards():
    with pytest.raises(OutOfTime), deadline(0.02):
        time.sleep(2)
    with deadline(0.05) as due:
        due()
    time.sleep(0.06)


def test_a_changed_machine_file_is_not_trusted(tmp_path):
    (tmp_path / "m.toml").write_text(slow_struts(260))
    (tmp_path / "p.nc").write_text(CLEAN)
    was = input_file(str(tmp_path / "m.toml"))
    (tmp_path / "m.toml").write_text(slow_struts(270))
    r = record(tmp_path / "p.nc", machine=was)
    assert "changed" in r.mistakes[0].what and not r.lasting


def test_records_survive_bytes(tmp_path, slow):
    path = tmp_path / "p.nc"
    for text in (CLEAN, FAST, MISTAKEN):
        path.write_text(text)
        r = record(path, machine=slow)
        assert from_bytes(to_bytes(r)) == r
