"""Fingerprints stay when lines are inserted above and blocks renumbered; too many like findings become one."""

from datetime import date

import pytest
from library.shop import FAST, slow_struts
from library.test_check import record

from hexpost.library.baseline import accepting
from hexpost.library.check import input_file
from hexpost.library.findings import MOST_ALIKE, fingerprint, unnumbered
from hexpost.library.gate import judged
from hexpost.library.policy import load_policy
from hexpost.library.settings import Settings

pytestmark = pytest.mark.usefixtures("untried")


@pytest.fixture
def slow(tmp_path):
    (tmp_path / "slow.toml").write_text(slow_struts())
    return input_file(str(tmp_path / "slow.toml"))


def prints(tmp_path, text, machine):
    path = tmp_path / "p.nc"
    path.write_text(text)
    found = record(path, machine=machine).found
    assert len({f.fingerprint for f in found}) == len(found)
    return {f.fingerprint: f.line for f in found}


def test_lines_above_and_new_block_numbers_change_no_fingerprint(tmp_path, slow):
    before = prints(tmp_path, FAST, slow)
    more = FAST.replace("G61\n", "G61\n(a remark)\n(another)\nM08\n").replace("N10 ", "N9010").replace("N30 ", "n7  ")
    after = prints(tmp_path, more, slow)
    assert set(before) == set(after)
    assert all(after[key] == line + 3 for key, line in before.items())


def test_equal_blocks_are_told_apart_in_order(tmp_path, slow):
    text = "G21 M03 S900\nG90\nG00 X0 Y0 Z300\n" + "G01 X100 F30000\nX0 F3000\n" * 3 + "M30\n"
    before = prints(tmp_path, text, slow)
    slower = text.replace("G01 X100 F30000\nX0 F3000\n", "G01 X100 F3000\nX0 F3000\n", 1)
    after = prints(tmp_path, slower, slow)
    assert set(after) < set(before)


def test_too_many_alike_become_their_worst(tmp_path, slow):
    n = MOST_ALIKE + 5
    text = "G21 M03 S900\nG90\nG61\nG00 X0 Y0 Z300\n" + "G01 X60 F30000\nX0\n" * (n // 2 + 1) + "M30\n"
    path = tmp_path / "p.nc"
    path.write_text(text)
    r = record(path, machine=slow)
    merged = [f for f in r.found if f.blocks > 1]
    assert merged and all(f.blocks > MOST_ALIKE for f in merged)
    assert all(len(r.alike[f.fingerprint]) == f.blocks for f in merged)
    single = {(f.limit.name, f.strut) for f in r.found if f.blocks == 1}
    assert not single & {(f.limit.name, f.strut) for f in merged}


def test_a_remark_of_many_blocks_counts_them_and_a_baseline_knows_how_many(tmp_path):
    """However many blocks a remark is about, it is one finding of the first: no block of it can go unjudged."""
    path, day = tmp_path / "p.nc", date(2030, 1, 1)
    policy = load_policy(_strict(tmp_path), Settings())
    texts = ["G21 G90\nG00 X0 Y0 Z300\n" + "G01 X60 F3000\nX0\n" * n + "M30\n" for n in (150, 151)]
    records = []
    for text in texts:
        path.write_text(text)
        records.append(record(path))
    for r, blocks in zip(records, (300, 302), strict=True):
        (found,) = r.found
        assert (found.limit.name, found.line, found.blocks) == ("spindle-off", 3, blocks)
        assert not r.alike
    baseline = accepting(judged({"p.nc": records[0]}, policy, None, today=day).cases)
    assert judged({"p.nc": records[0]}, policy, baseline, today=day).cases[0].verdict == "pass"
    (worse,) = judged({"p.nc": records[1]}, policy, baseline, today=day).cases[0].findings
    assert (worse.state, worse.reason) == ("worse", "accepted for 300 blocks, now 302")


def _strict(folder):
    """Return a policy file to which a spindle at rest is no remark."""
    (folder / "gate.toml").write_text('[all.limit.spindle-off]\nlevel = "fail"\n')
    return folder / "gate.toml"


@pytest.mark.parametrize(
    ("text", "bare"),
    [("N10 G01  X1", "G01 X1"), ("n 5X2", "X2"), ("/N7 X1", "/ X1"), (" / 2 N7 X1", "/ 2 X1"), ("NONE", "NONE")],
)
def test_block_numbers_are_left_out(text, bare):
    assert unnumbered(text).replace(" ", "") == bare.replace(" ", "")


def test_fingerprints_tell_everything_apart():
    keys = [("speed", 1, "X1", 0), ("speed", 2, "X1", 0), ("jerk", 1, "X1", 0), ("speed", 1, "X2", 0),
            ("speed", 1, "X1", 1)]  # fmt: skip
    assert len({fingerprint(*k) for k in keys}) == len(keys)
