"""Records kept by content: nothing is computed twice, damage is never trusted, two gates at once do no harm."""

import hashlib
import os
import socket
import threading
from dataclasses import fields, replace
from pathlib import Path
from types import SimpleNamespace

import pytest
from library.shop import CLEAN, FAST, MISTAKEN, forbidden_check, slow_struts, stocked, write

from hexpost.audit.model import Finding
from hexpost.errors import HexpostError, OutputError
from hexpost.library.cache import Cache, default_folder, task_key
from hexpost.library.check import check
from hexpost.library.gate import gate, make_tasks
from hexpost.library.model import Record, Use
from hexpost.library.policy import Policy
from hexpost.library.records import to_bytes
from hexpost.library.seal import default_key, own_key, seal
from hexpost.library.settings import LimitRule, Settings
from hexpost.version import code_digest, digest_of_files
from hexpost.workers.engines import serial

NAMES = ("a.nc", "b.nc", "c.nc")


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    return stocked(tmp_path, a=CLEAN, b=FAST, c=MISTAKEN)


def run(shop, policy=None, *, recheck=0.0, **how):
    return gate(NAMES, policy or Policy(), serial(), cache=Cache(shop / "cache", recheck=recheck), **how)


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
    [lambda b: b"", lambda b: b[:-1], lambda b: b.replace(b'"mistakes_total":0', b'"mistakes_total":9'),
     lambda b: b + b" ", lambda b: b"\x00" * len(b)],
)  # fmt: skip
def test_damaged_entries_are_computed_anew(shop, damage):
    first = run(shop)
    good = {p: p.read_bytes() for p in entries(shop)}
    for p, content in good.items():
        p.write_bytes(damage(content))
    assert run(shop) == first
    changed = [p for p, content in good.items() if damage(content) != content]
    assert changed and all(p.read_bytes() == content for p, content in good.items())


FOREIGN = to_bytes(Record(worst={"speed": Use(use=0.5, strut=1, line=1)})).replace(
    b'"found":[]', b'"found":[["no-such-limit"' + b",1" * (len(fields(Finding)) - 1) + b"]]"
)
ODD = {
    "pipe": os.mkfifo,
    "socket": lambda p: socket.socket(socket.AF_UNIX).bind(str(p)),
    "link to nothing": lambda p: p.symlink_to("nothing"),
    "link to a device": lambda p: p.symlink_to("/dev/zero"),
    "link to itself": lambda p: p.symlink_to(p),
    "not readable": lambda p: (p.write_text("x"), p.chmod(0)),
    "no text": lambda p: p.write_bytes(bytes(range(256))),
    "only a seal": lambda p: p.write_bytes(seal(own_key(), f"{p.parent.name}{p.name}", b"") + b"\n"),
    "a sealed list": lambda p: p.write_bytes(sealed(own_key(), p, b"[]")),
    "a sealed number": lambda p: p.write_bytes(sealed(own_key(), p, b'{"duration_s": 1}')),
    "a sealed text": lambda p: p.write_bytes(sealed(own_key(), p, b'"pass"')),
    "sealed, no JSON": lambda p: p.write_bytes(sealed(own_key(), p, b"\xff\x00")),
    "sealed, nested deep": lambda p: p.write_bytes(sealed(own_key(), p, b"[" * 60_000)),
    "sealed, a limit of no table": lambda p: p.write_bytes(sealed(own_key(), p, FOREIGN)),
    "nothing": lambda p: p.write_bytes(b""),
    "only line ends": lambda p: p.write_bytes(b"\n" * 100),
    "the seal of another text": lambda p: p.write_bytes(seal(own_key(), "x", b"{}") + b"\n{}"),
    "another's seal": lambda p: p.write_bytes(sealed(b"k" * 32, p, b"{}")),
    "a link to a file": lambda p: p.symlink_to(__file__),
    "very long": lambda p: p.write_bytes(b"x" * 1000 + b"\n" + b" " * (1 << 20)),
}


def sealed(key, path, text):
    """Return the content of an entry."""
    return seal(key, f"{path.parent.name}{path.name}", text) + b"\n" + text


@pytest.mark.filterwarnings("ignore:unclosed:ResourceWarning")
@pytest.mark.parametrize("kind", ODD)
def test_what_is_no_entry_costs_one_check(shop, monkeypatch, kind):
    first = run(shop)
    good = {p: p.read_bytes() for p in entries(shop)}
    monkeypatch.setattr("hexpost.library.cache.MOST_BYTES", 1 << 16)
    monkeypatch.chdir(next(iter(good)).parent)  # the name of a socket is short
    odd = next(iter(good))
    odd.unlink()
    ODD[kind](Path(odd.name) if kind == "socket" else odd)
    monkeypatch.chdir(shop)
    checked = []
    assert run(shop, checker=lambda task: checked.append(task.name) or check(task)) == first
    assert len(checked) == 1
    assert not odd.is_symlink() and {p: p.read_bytes() for p in entries(shop)} == good
    assert run(shop, checker=forbidden_check) == first


def test_a_folder_in_place_of_an_entry_costs_a_check_each_time(shop):
    first = run(shop)
    odd = entries(shop)[0]
    odd.unlink()
    odd.mkdir()
    assert run(shop) == first and run(shop) == first


def test_a_forged_entry_is_computed_anew(shop):
    """A pass in place of a failure, sealed with all that is known but the key."""
    policy = Policy(over=Settings(machine="slow.toml"))
    first = run(shop, policy)
    assert first.count("fail") == 1
    for key in (b"", b"\0" * 32, own_key(shop / "another key")):
        for p in entries(shop):
            text = to_bytes(Record(duration_s=1.0))
            p.write_bytes(sealed(key, p, text))
            assert run(shop, policy) == first
            p.write_bytes(hashlib.sha256(text).hexdigest().encode() + b"\n" + text)
            assert run(shop, policy) == first


def test_whoever_has_the_key_can_forge_and_a_recheck_finds_it(shop):
    policy = Policy(over=Settings(machine="slow.toml"))
    first = run(shop, policy)
    assert run(shop, policy, recheck=1.0) == first
    for p in entries(shop):
        p.write_bytes(sealed(own_key(), p, to_bytes(Record(duration_s=1.0))))
    assert run(shop, policy).count("pass") == 3, "the key is what a cache is trusted for"
    with pytest.raises(
        HexpostError, match=r"cache: kept results differ from those computed again: a\.nc, b\.nc, c\.nc"
    ):
        run(shop, policy, recheck=1.0)


def test_what_is_computed_again_is_a_share(shop):
    write(shop, **{f"many__p{i:03d}": CLEAN.replace("X50", f"X{i}") for i in range(60)})
    names, checked = [f"many/p{i:03d}.nc" for i in range(60)], []
    first = gate(names, Policy(), serial(), cache=Cache(shop / "cache"))
    again = Cache(shop / "cache", recheck=0.5)
    assert gate(names, Policy(), serial(), cache=again, checker=lambda t: checked.append(t) or check(t)) == first
    assert 5 < len(checked) < 55


def test_a_recheck_that_cannot_be_ended_changes_nothing(shop):
    first = run(shop)
    assert run(shop, Policy(over=Settings(time_limit=1e-4)), recheck=1.0) == first
    assert run(shop, recheck=1.0, checker=forbidden_check) == first  # as when a worker died


def test_a_program_that_changes_before_it_is_computed_again_is_no_forgery(shop):
    run(shop)

    def late(task):
        write(shop, a=FAST, b=FAST, c=FAST)
        return check(task)

    changed = run(shop, recheck=1.0, checker=late)
    (time,) = {c.record.duration_s for c in changed.cases}
    assert gate(["b.nc"], Policy(), serial()).cases[0].record.duration_s == time


def test_a_key_is_made_once_for_its_owner_alone(tmp_path):
    path = tmp_path / "deep" / "cache.key"
    key = own_key(path)
    assert len(key) == 32 and own_key(path) == key and own_key(tmp_path / "other") != key
    assert path.stat().st_mode & 0o777 == 0o600 and list(path.parent.iterdir()) == [path]
    keys = []
    threads = [threading.Thread(target=lambda: keys.append(own_key(tmp_path / "raced"))) for _ in range(8)]
    for t in threads:
        t.start()
    for t in threads:
        t.join()
    assert len(keys) == 8 and len(set(keys)) == 1


def test_the_users_key(monkeypatch, tmp_path):
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path))
    assert default_key() == tmp_path / "hexpost" / "cache.key"
    monkeypatch.setenv("XDG_CONFIG_HOME", "relative")
    monkeypatch.setenv("HOME", str(tmp_path))
    assert default_key() == tmp_path / ".config" / "hexpost" / "cache.key"


@pytest.mark.parametrize(
    ("make", "why"),
    [
        (lambda p: (p.write_bytes(b"k" * 32), p.chmod(0o644)), "others can read or change this key"),
        (lambda p: (p.write_bytes(b"k" * 31), p.chmod(0o600)), "it has 31 bytes, not 32 or more"),
        (lambda p: os.mkfifo(p, 0o600), "it is not a regular file"),
        (lambda p: p.mkdir(), "it is not a regular file"),
        (lambda p: p.symlink_to("/etc/hostname"), "no key for the cache"),
    ],
)
def test_a_key_that_cannot_be_trusted_is_refused(tmp_path, make, why):
    make(tmp_path / "cache.key")
    with pytest.raises(HexpostError, match=why):
        own_key(tmp_path / "cache.key")


def test_a_key_that_cannot_be_made_is_refused_with_the_way_out(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(HexpostError, match="no key for the cache") as told:
        own_key(tmp_path / "file" / "cache.key")
    assert "--cache-key FILE" in str(told.value) and "--no-cache" in str(told.value)


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
    with pytest.raises(OutputError, match="the cache cannot be written here"):
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


def test_the_code_is_part_of_the_key(monkeypatch):
    """The digest of a process differs where code changed while it runs, not where its clock is behind all files."""

    def digest(loaded, now):
        monkeypatch.setattr("hexpost.version._LOADED", loaded)
        monkeypatch.setattr("hexpost.version.time", SimpleNamespace(time=lambda: now))
        return digest_of_files()

    usual = code_digest()
    assert len(usual) == 64
    assert digest(1.5e9, 1.5e9 + 1.0) == digest(1.4e9, 1.4e9 + 1.0) == usual  # 2017 and 2014: before there was hexpost
    assert digest(1.5e9, 1e11) != usual


def test_the_cache_holds_tasks_apart(shop):
    a, b = make_tasks(["a.nc", "b.nc"], Policy())
    assert task_key(a) == task_key(b) and task_key(replace(a, period=0.004)) != task_key(a)


def test_a_user_without_a_home_is_told_how_to_do_without(monkeypatch):
    def nowhere():
        raise RuntimeError("Could not determine home directory.")

    monkeypatch.setattr(Path, "home", nowhere)
    for variable in ("XDG_CONFIG_HOME", "XDG_CACHE_HOME"):
        monkeypatch.delenv(variable, raising=False)
    for asked in (own_key, default_folder):
        with pytest.raises(HexpostError, match="this user has no home folder") as told:
            asked()
        assert "--no-cache" in str(told.value)
