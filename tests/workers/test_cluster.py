"""Workers of a cluster: those of other code are refused, a scheduler that is gone is a sentence."""

import os
import shutil
import signal
import subprocess
import sys
import time
from concurrent.futures import Future, ThreadPoolExecutor
from types import SimpleNamespace

import pytest
from library.shop import CLEAN, fake_check, write
from workers.local_cluster import running_cluster
from workers.processes import until

import hexpost
from hexpost.library.cache import Cache
from hexpost.library.gate import gate
from hexpost.library.policy import Policy
from hexpost.version import code_digest, identity
from hexpost.workers import cluster
from hexpost.workers.engines import Engine, EngineError
from hexpost.workers.run import Runner

OTHER = "hexpost 0.0.9, code 1234"


def hexpost_gate(folder, address, **more):
    return subprocess.Popen(
        [sys.executable, "-m", "hexpost", "gate", "lib", "--cluster", address, "--cache", "cache"],
        cwd=folder, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **more,
    )  # fmt: skip


def entries(folder):
    return [p for p in (folder / "cache").glob("*/*") if p.is_file()]


def test_workers_of_other_code_are_refused_and_nothing_of_theirs_is_kept(tmp_path, root):
    package = tmp_path / "other" / "hexpost"
    shutil.copytree(root / "hexpost", package, ignore=shutil.ignore_patterns("__pycache__"))
    shutil.copytree(root / "grammars", tmp_path / "other" / "grammars")
    with (package / "units.py").open("a") as file:
        file.write("\n# another thought\n")
    write(tmp_path, lib__a=CLEAN)
    with running_cluster(tmp_path, path=[str(package.parent)]) as (address, _):
        out, err = (running := hexpost_gate(tmp_path, address)).communicate(timeout=120)
    assert running.returncode == 2 and out == "", err
    assert err.count(f"runs {OTHER[:8]}") == 2 and code_digest()[:6] in err and "install the same hexpost" in err
    assert entries(tmp_path) == []


def test_a_scheduler_that_is_gone_is_a_sentence(tmp_path):
    write(tmp_path, **{f"lib__p{i:04d}": CLEAN for i in range(4000)})
    with running_cluster(tmp_path) as (address, process):
        running = hexpost_gate(tmp_path, address)
        try:
            assert until(lambda: entries(tmp_path), 300), "no result came in"
            os.killpg(process.pid, signal.SIGKILL)
            out, err = running.communicate(timeout=300)
        finally:
            running.kill()
    assert running.returncode == 2 and out == "", err
    assert "the scheduler is gone" in err and "Traceback" not in err and len(err.splitlines()) <= 3, err


@pytest.mark.filterwarnings("default")
def test_a_scheduler_without_workers_is_a_sentence(tmp_path, monkeypatch):
    monkeypatch.setattr(cluster, "_PATIENCE_S", 2)
    with (
        running_cluster(tmp_path, count=0) as (address, _),
        pytest.raises(hexpost.HexpostError, match="no worker joined this scheduler within 2 s"),
        cluster.cluster(address),
    ):
        pass


@pytest.mark.filterwarnings("default")
def test_a_scheduler_that_all_workers_have_left_is_a_sentence(tmp_path, monkeypatch):
    with running_cluster(tmp_path) as (address, process):
        monkeypatch.setattr(cluster, "_PATIENCE_S", 4)
        with cluster.cluster(address) as found, Runner(found) as runner:
            results = runner.run([0.1] * 2000, time.sleep)
            assert next(results)[1] is None
            process.stdin.write("leave\n")
            process.stdin.flush()
            with pytest.raises(EngineError, match=r"no worker has been there for 4 s\n    hint: .*start the scheduler"):
                list(results)


class Fake(ThreadPoolExecutor):
    """Runs tasks in a thread, and says of itself what it is told to."""

    def __init__(self, said):
        super().__init__(1)
        self.said = said

    def submit(self, fn, /, *args, **kwargs):
        work, *rest = args
        return super().submit(lambda: ("tcp://worker:1", next(self.said), work(*rest, **kwargs)))


def engine(inner, status="running"):
    client = SimpleNamespace(get_executor=lambda pure: inner, status=status)
    return Engine(new_pool=lambda: cluster._Cluster(client, "tcp://here:1"), ahead=1)


def test_a_worker_that_joins_later_proves_itself_as_well(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    names = write(tmp_path, a=CLEAN, b=CLEAN + "M30\n", c=CLEAN)
    said = iter([identity(), OTHER, identity()])
    with pytest.raises(EngineError, match=r"worker tcp://worker:1 runs hexpost 0\.0\.9"):
        gate(names, Policy(), engine(Fake(said)), cache=Cache(tmp_path / "cache"), checker=digest_check)
    assert len(entries(tmp_path)) == 1


OWN = identity()
NOT_OURS = [
    OTHER, "", " ", "hexpost", OWN.partition(",")[0], OWN[:-1], OWN + "0", OWN + "\n", " " + OWN, OWN.upper(),
    OWN.replace("0.1.0", "0.1.1"), OWN.replace("0.1.0", "0.1.00"), OWN.replace("code", "c\u043ede"), OWN[::-1],
    OWN[:-1] + chr(ord(OWN[-1]) ^ 1), OWN.replace("hexpost", "hexp0st"), OWN * 2, "x" * 100_000, None, True, 0, b"",
    OWN.encode(), [OWN], {"identity": OWN}, RuntimeError(OWN), ModuleNotFoundError("No module named 'hexpost'"),
]  # fmt: skip
"""What another version, a damaged one or a liar may say of itself."""


@pytest.mark.parametrize("said", NOT_OURS, ids=range(len(NOT_OURS)))
def test_whatever_else_a_worker_says_of_itself_it_is_refused(tmp_path, monkeypatch, said):
    """At the start, where all are asked, and with every result: nothing of it comes into the cache."""
    monkeypatch.chdir(tmp_path)
    client = SimpleNamespace(wait_for_workers=lambda *_, **__: None, run=lambda *_, **__: {"tcp://w:1": OWN, "w": said})
    with pytest.raises(EngineError, match=r"worker w runs .*\n    hint: install the same hexpost") as caught:
        cluster._prove(client, "tcp://here:1")
    assert len(str(caught.value)) < 500
    with pytest.raises(EngineError, match="worker tcp://worker:1 runs"):
        gate(write(tmp_path, a=CLEAN), Policy(), engine(Fake(iter([said]))), cache=Cache(tmp_path / "cache"),
             checker=digest_check)  # fmt: skip
    assert entries(tmp_path) == []


def digest_check(task):
    """Return an empty record, as of a program that was read."""
    return f"{len(task.path):064d}", fake_check(task)[1]


LACKING = "Can't get attribute 'proven' on <module 'hexpost.workers.cluster' from 'cluster.py'>"  # as pickle says it


@pytest.mark.parametrize("fault", [AttributeError(LACKING), ModuleNotFoundError("No module named 'hexpost'")])
def test_a_worker_without_this_hexpost_is_refused(fault):
    inner = SimpleNamespace(submit=lambda *_, **__: done(fault), shutdown=lambda **_: None)
    with pytest.raises(EngineError, match="no hexpost that can prove its code"):
        cluster._Cluster(SimpleNamespace(get_executor=lambda pure: inner, status="running"), "a").submit(len).result()


def test_a_fault_of_a_worker_that_is_leaving_says_nothing_of_its_code():
    fault = AttributeError("'NoneType' object has no attribute 'address'")
    inner = SimpleNamespace(submit=lambda *_, **__: done(fault), shutdown=lambda **_: None)
    got = cluster._Cluster(SimpleNamespace(get_executor=lambda pure: inner, status="running"), "a").submit(len)
    assert got.exception() is fault


@pytest.mark.parametrize("how", ["cancelled", "closed", "submit"])
def test_whatever_ends_when_the_scheduler_is_gone_is_the_same_sentence(how):
    def submit(*_, **__):
        if how == "submit":
            raise RuntimeError("cannot schedule new futures")
        return done(OSError("connection closed") if how == "closed" else None)

    inner = SimpleNamespace(submit=submit, shutdown=lambda **_: None)
    client = SimpleNamespace(get_executor=lambda pure: inner, status="closed")
    with pytest.raises(EngineError, match="the scheduler is gone"):
        cluster._Cluster(client, "a").submit(len).result()


def done(fault):
    """Return a future with a fault, or one that was cancelled."""
    future = Future()
    if fault is None:
        future.cancel()
    else:
        future.set_exception(fault)
    return future
