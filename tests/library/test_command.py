"""``hexpost gate`` on the command line: exit codes, files, lists, options that do not go together."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import pytest
from click.testing import CliRunner
from library.shop import CLEAN, FAST, MISTAKEN, slow_struts, stocked, write
from workers.processes import WITH_TWO_WORKERS, descendants, until

from hexpost.cli import main
from hexpost.library.model import Record
from hexpost.library.records import to_bytes
from hexpost.library.seal import seal

SLOW = ["--machine", "slow.toml"]


@pytest.fixture
def shop(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.setenv("XDG_CACHE_HOME", str(tmp_path / "home"))
    return stocked(tmp_path, lib__a=CLEAN, lib__b=FAST, odd__c=MISTAKEN)


def gate(*words, code=None, text=""):
    done = CliRunner().invoke(main, ["gate", "--serial", *words], input=text, prog_name="hexpost")
    assert code is None or done.exit_code == code, done.output
    assert "Traceback" not in done.output
    return done.stdout if code in (0, 1) else done.output


def verdicts(*words, text=""):
    done = CliRunner().invoke(main, ["gate", "--serial", "--json", *words], input=text)
    return {c["program"]: c["verdict"] for c in json.loads(done.stdout)["cases"]}


def test_exit_codes(shop):
    assert "Checked 1 of 1 program: 1 pass, 0 fail" in gate("lib/a.nc", code=0)
    assert "1 pass, 1 fail" in gate("lib", *SLOW, code=1)
    assert "1 not understood" in gate("lib", "odd", *SLOW, code=2)


def test_the_table_says_what_and_where_worst_first(shop):
    text = gate("lib", "odd", *SLOW, code=2)
    assert text.index("ERROR") < text.index("FAIL") < text.index("pass ")
    assert ("odd/c.nc:4: " in text and "lib/b.nc:6: " in text) or "lib/b.nc:4: " in text
    assert "demonstration machine" not in text and "demonstration machine" in gate("lib/a.nc", code=0)


def test_json_is_one_document_and_nothing_else(shop):
    assert verdicts("lib", "odd", *SLOW) == {"lib/a.nc": "pass", "lib/b.nc": "fail", "odd/c.nc": "error"}


def test_files_are_written_and_a_second_run_writes_the_same(shop):
    files = ["--sarif", "s.sarif", "--junit", "j.xml", "--html", "p.html"]
    gate("lib", "odd", *SLOW, *files, code=2)
    names = ("s.sarif", "j.xml", "p.html")
    first = [Path(n).read_bytes() for n in names]
    assert (shop / "home" / "hexpost" / "gate").is_dir()
    gate("odd", "lib", *SLOW, *files, code=2)
    assert [Path(n).read_bytes() for n in names] == first
    gate("lib", "odd", *SLOW, *files, "--no-cache", code=2)
    assert [Path(n).read_bytes() for n in names] == first


def test_lists_on_standard_input(shop):
    assert verdicts("-", text="lib/a.nc\nlib/b.nc\n") == {"lib/a.nc": "pass", "lib/b.nc": "pass"}
    assert "none.nc: does not exist" in gate("-", text="lib/none.nc\n", code=2)


def test_changed_programs_only_with_the_policy_of_the_library(shop):
    (shop / "gate.toml").write_text('[all]\nmachine = "slow.toml"\n[[where]]\npath = "lib/a.nc"\n'.replace(
        '"lib/a.nc"', '["lib/a.nc"]') + 'machine = "other.toml"\n')  # fmt: skip
    (shop / "other.toml").write_text(slow_struts(900))
    assert verdicts("lib", "--changed", text="lib/b.nc\nREADME\nlib/gone.nc\n") == {"lib/b.nc": "fail"}
    assert verdicts("lib", "--changed", text="other.toml\n") == {"lib/a.nc": "pass"}
    assert len(verdicts("lib", "--changed", text="gate.toml\n")) == 2
    assert "the list of changed files is empty. Checked 0 of 2 programs" in gate("lib", "--changed", code=2)
    assert gate("lib", "--changed", "--allow-empty", code=0).endswith(
        "Checked 0 of 2 programs: 0 pass, 0 fail, 0 not understood.\n"
    )


def test_shards_share_the_library_and_the_cache(shop):
    parts = [verdicts("lib", "odd", "--shard", f"{i}/2") for i in (1, 2)]
    whole = verdicts("lib", "odd")
    assert {**parts[0], **parts[1]} == whole and not set(parts[0]) & set(parts[1])


def test_a_baseline_from_start_to_end(shop):
    assert "--update-baseline" in gate("lib", *SLOW, "--baseline", "b.json", code=2)
    text = gate("lib", *SLOW, "--baseline", "b.json", "--update-baseline", code=0)
    assert "accepted" in text
    gate("lib", *SLOW, "--baseline", "b.json", code=0)
    (shop / "lib" / "b.nc").write_text(FAST.replace("F30000", "F3000"))
    assert "fixed: lib/b.nc: speed" in gate("lib", *SLOW, "--baseline", "b.json", code=0)
    gate("lib", *SLOW, "--baseline", "b.json", "--update-baseline", code=0)
    assert json.loads((shop / "b.json").read_text())["accepted"] == []


def test_another_machine_file(shop):
    text = gate("lib", "--against", "slow.toml", code=1)
    assert "newly fails: lib/b.nc" in text and "1 newly fail, 0 break more, 0 not compared, 0 newly pass" in text
    back = gate("lib", *SLOW, "--against", "fast.toml", code=2)
    assert "fast.toml" in back
    (shop / "fast.toml").write_text(slow_struts(1300))
    assert "newly passes: lib/b.nc" in gate("lib", *SLOW, "--against", "fast.toml", code=0)
    out = json.loads(gate("lib", "--json", "--against", "slow.toml", code=1))
    assert (out["newly_failing"], out["newly_passing"], out["programs"]) == (1, 0, 2)
    assert 1 < out["cases"][1]["duration_before_s"] < out["cases"][1]["duration_after_s"]  # slow struts, slow rapids


@pytest.mark.parametrize(
    ("words", "what"),
    [
        (["nowhere"], "nowhere: does not exist"),
        (["lib", "--machine", "no.toml"], "no.toml: cannot be read"),
        (["lib", "--policy", "no.toml"], "no.toml: cannot be read"),
        (["lib", "--shard", "3/2"], "3/2 is no share; write I/N"),
        (["lib", "--shard", "x"], "x is no share; write I/N"),
        (["lib", "--update-baseline"], "needs --baseline"),
        (["lib", "--against", "slow.toml", "--sarif", "x"], "--against goes with"),
        (["lib", "--jobs", "2"], "give one of --serial"),
        (["-", "--changed"], "standard input is one list"),
        (["lib", "--no-cache", "--cache", "x"], "give one of --cache"),
        (["lib", "--no-cache", "--cache-key", "x"], "give one of --cache-key"),
        (["lib", "--cache-key", "slow.toml"], "others can read or change this key"),
        (["lib", "--recheck", "101"], "101"),
        (["lib", "--sarif", "no/where.sarif"], "cannot be written"),
        (["lib", "--cache", "slow.toml"], "the cache cannot be written here"),
        (["home"], "home: does not exist"),
    ],
)
def test_bad_command_lines_are_one_clear_message(shop, words, what):
    assert what in gate(*words, code=2)


def test_the_help_says_what_a_cache_is_trusted_for():
    said = " ".join(gate("--help", code=0).split())
    assert "What a cache is trusted for" in said and "Whoever can read the key can forge a pass." in said


def test_a_key_of_ones_own_and_a_recheck(shop):
    how = ["lib", *SLOW, "--cache", "c", "--cache-key", "k"]
    first = gate(*how, code=1)
    assert (shop / "k").stat().st_mode & 0o777 == 0o600
    assert gate(*how, "--recheck", "100", code=1) == first
    kept = [p for p in (shop / "c").glob("*/*") if p.is_file()]
    for p in kept:
        text = to_bytes(Record(duration_s=1.0))
        p.write_bytes(seal((shop / "k").read_bytes(), p.parent.name + p.name, text) + b"\n" + text)
    assert "kept results differ from those computed again: lib/a.nc, lib/b.nc" in gate(*how, "--recheck", "100", code=2)
    assert gate("lib", *SLOW, "--cache", "c", "--cache-key", "another", code=1) == first


def test_every_fault_of_every_input_file_in_one_run(shop):
    (shop / "m.toml").write_text("name = 3\n")
    (shop / "t.toml").write_text("tool = 3\n")
    text = gate("lib", "--machine", "m.toml", "--tools", "t.toml", code=2)
    assert "m.toml: name" in text and "t.toml: tool" in text


@pytest.mark.skipif(sys.platform != "linux", reason="looks at processes as Linux shows them")
def test_an_interruption_is_one_line_and_leaves_nothing(shop):
    """Once its workers are there: the work has begun, and its many programs are far from done."""
    write(shop, **{f"many__p{i:03d}": CLEAN for i in range(400)})
    words = [
        sys.executable,
        "-m",
        "hexpost",
        "gate",
        "many",
        "--no-cache",
        "--json",
        "--sarif",
        "s.sarif",
        "--jobs",
        "2",
    ]
    running = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True)
    try:
        assert until(lambda: len(descendants(running.pid)) >= WITH_TWO_WORKERS, 60), "no workers"
        os.killpg(running.pid, signal.SIGINT)
        out, err = running.communicate(timeout=60)
    finally:
        running.kill()
        running.communicate()
    assert running.returncode in (130, -signal.SIGINT) and "interrupted" in err and "Traceback" not in err, err
    assert out == "" and not Path("s.sarif").exists()
