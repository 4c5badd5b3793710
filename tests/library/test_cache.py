"""Records kept by content: nothing is computed twice, damage is never trusted, two gates at once do no harm."""

import threading
from dataclasses import replace

import pytest
from library.shop import CLEAN, FAST, MISTAKEN, forbidden_check, slow_struts, write

from hexpost.errors import OutputError
from hexpost.library.cache import Cache, default_folder, task_key
from hexpost.library.gate import gate, make_tasks
from hexpost.library.policy import Policy
from hexpost.library.settings import LimitRule, Settings
from hexpost.version import code_digest
from hexpost.workers.engines import serial

NAMES = ("a.nc", "b.nc", "c.nc")


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    (tmp_path / "slow.toml").write_text(slow_struts())
    write(tmp_path, a=CLEAN, b=FAST, c=MISTAKEN)
    return tmp_path


def run(shop, policy=None, **how):
    return gate(NAMES, policy or Policy(), serial(), cache=Cache(shop / "cache"), **how)


def entries(shop):
    return [p for p in (shop / "cache").rglob("*") if p.is_file() and p.name != "CACHEDIR.TAG"]


def test_a_second_run_computes_nothing(shop):
    first = run(shop)
    assert len(entries(shop)) == 3
    assert run(shop, checker=forbidden_check) == first
    assert gate(NAMES, Policy(), serial()) == first


def test_the_same_text_elsewhere_is_the_same_program(shop):
    run(shop)
    (shop / "a.nc").rename(shop / "moved.nc")
    gate(["moved.nc"], Policy(), serial(), cache=Cache(shop / "cache"), checker=forbidden_check)


@pytest.mark.parametrize(
    "damage",
    [lambda b: b"", lambda b: b[:-1], lambda b: b.replace(b'"found_total":0', b'"found_total":9'), lambda b: b + b" ",
     lambda b: b"\x00" * len(b)],
)  # fmt: skip
def test_damaged_entries_are_computed_anew(shop, damage):
    first = run(shop)
    good = {p: p.read_bytes() for p in entries(shop)}
    for p, content in good.items():
        p.write_bytes(damage(content))
    assert run(shop) == first
    changed = [p for p, content in good.items() if damage(content) != content]
    assert changed and all(p.read_bytes() == content for p, content in good.items())


def test_an_entry_under_another_name_is_not_trusted(shop):
    first = run(shop)
    a, b = entries(shop)[:2]
    text = a.read_bytes()
    a.write_bytes(b.read_bytes())
    b.write_bytes(text)
    assert run(shop) == first


def key(**settings):
    return task_key(make_tasks(["a.nc"], Policy(over=Settings(**settings)))[0])


def test_everything_that_counts_is_in_the_key(shop, monkeypatch):
    (shop / "t.toml").write_text("[[tool]]\nnumber = 1\nlength_mm = 100\ndiameter_mm = 8\n")
    (shop / "s.toml").write_text("[offset.G54]\npose_mm_deg = [0, 0, 50, 0, 0, 0]\n")
    keys = [key(), key(machine="slow.toml"), key(tools="t.toml"), key(setup="s.toml"), key(feed="strut-limited"),
            key(period=0.002), key(limits={"speed": LimitRule(fail_above=0.9)})]  # fmt: skip
    (shop / "slow.toml").write_text(slow_struts(251))
    keys.append(key(machine="slow.toml"))
    monkeypatch.setattr("hexpost.library.cache.code_digest", lambda: "another version")
    keys.append(key())
    assert len(set(keys)) == len(keys)


def test_what_only_judges_is_not_in_the_key(shop):
    assert key() == key(longest=5.0, time_limit=7.0, limits={"pallet": LimitRule(level="warn")})
    other = shop / "other"
    other.mkdir()
    (other / "slow.toml").write_text(slow_struts())
    assert key(machine="slow.toml") == key(machine="other/slow.toml")


def test_what_may_end_otherwise_is_not_kept(shop):
    run(shop, Policy(over=Settings(time_limit=1e-4)))
    assert not [p for p in entries(shop) if b"out-of-time" in p.read_bytes()]


def test_two_gates_at_once(shop):
    results = []
    threads = [threading.Thread(target=lambda: results.append(run(shop))) for _ in range(4)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert len(results) == 4 and all(r == results[0] for r in results)
    assert len(entries(shop)) == 3
    assert run(shop, checker=forbidden_check) == results[0]


def test_a_folder_that_cannot_be_written_is_refused(shop):
    (shop / "file").write_text("")
    with pytest.raises(OutputError, match="expected a folder for the cache"):
        Cache(shop / "file")


def test_a_cache_that_is_full_costs_time_and_nothing_else(shop, monkeypatch):
    def full(*a, **k):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("tempfile.mkstemp", full)
    assert run(shop) == gate(NAMES, Policy(), serial())


def test_the_users_cache_folder(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path))
    assert default_folder() == tmp_path / "hexpost" / "gate"
    monkeypatch.setenv("XDG_CACHE_HOME", "relative")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert default_folder() == tmp_path / ".cache" / "hexpost" / "gate"


def test_the_code_is_part_of_the_key():
    assert len(code_digest()) == 64


def test_the_cache_holds_tasks_apart(shop):
    a, b = make_tasks(["a.nc", "b.nc"], Policy())
    assert task_key(a) == task_key(b) and task_key(replace(a, period=0.004)) != task_key(a)
