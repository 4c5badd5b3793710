"""Whatever runs the checks, in whatever order: the same bytes."""

import pytest
from library.shop import CLEAN, FAST, MISTAKEN, killer_check, stocked, write
from workers.local_cluster import two_workers

from hexpost.library.cache import Cache
from hexpost.library.document import to_json
from hexpost.library.gate import gate
from hexpost.library.junit import to_junit
from hexpost.library.page import to_page
from hexpost.library.policy import Policy
from hexpost.library.sarif import to_sarif
from hexpost.library.settings import Settings
from hexpost.workers.cluster import cluster
from hexpost.workers.engines import Engine, processes, serial


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    texts = {f"p{i:02d}": (CLEAN, FAST, MISTAKEN)[i % 3].replace("X", f"X{i % 4}") for i in range(10)}
    return stocked(tmp_path, **texts)


def names(shop):
    return [p.name for p in shop.glob("*.nc")]


def outputs(shop, engine, order=sorted, **how):
    policy = Policy(over=Settings(machine="slow.toml"))
    result = gate(order(names(shop)), policy, engine, **how)
    return to_json(result), to_sarif(result), to_junit(result), to_page(result, shop / "page.html")


def test_serial_and_processes_in_any_order_write_the_same(shop):
    want = outputs(shop, serial())
    assert outputs(shop, serial(), order=lambda n: sorted(n, reverse=True)) == want
    assert outputs(shop, processes(2)) == want
    two = processes(3)
    assert outputs(shop, Engine(new_pool=two.new_pool, ahead=5, batch=3), cache=Cache(shop / "c")) == want
    assert outputs(shop, serial(), cache=Cache(shop / "c")) == want


def test_forty_programs_and_a_killer(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    write(tmp_path, **{f"p{i:02d}": CLEAN for i in range(39)}, killer=CLEAN)
    result = gate(names(tmp_path), Policy(), processes(2), cache=Cache(tmp_path / "c"), checker=killer_check)
    assert result.count("pass") == 39 and result.exit_code == 2
    (lost,) = [c for c in result.cases if c.verdict == "error"]
    assert lost.name == "killer.nc" and lost.record.mistakes[0].code == "worker-died"
    assert gate(["killer.nc"], Policy(), serial(), cache=Cache(tmp_path / "c")).exit_code == 0, "must not be kept"


@pytest.mark.long
@pytest.mark.filterwarnings("default")
def test_a_cluster_of_two_workers_writes_the_same_and_survives_a_killer(shop):
    want = outputs(shop, serial())
    with two_workers(shop) as address, cluster(address) as engine:
        assert outputs(shop, engine) == want
        write(shop, killer=CLEAN)
        result = gate(names(shop), Policy(over=Settings(machine="slow.toml")), engine, checker=killer_check)
    lost = [c.name for c in result.cases if any(m.code == "worker-died" for m in c.record.mistakes)]
    assert lost == ["killer.nc"] and len(result.cases) == 11


def test_an_absent_cluster_is_one_clear_message():
    pytest.importorskip("distributed")
    from hexpost.errors import HexpostError

    with pytest.raises(HexpostError, match="no scheduler answers"), cluster("no-scheme://nowhere:1"):
        pass
