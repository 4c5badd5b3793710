"""An output that is closed, full or no longer read: never a traceback, never the exit code of another verdict."""

import os
import signal
import subprocess
import sys

import pytest

PROGRAM = "G21 G90 G94\nG00 X0 Y0 Z60\nG01 X30 F3000\nM30\n"
UNREADABLE = "G21\nG00 X\n"


def run(folder, words, text=PROGRAM, close=(), **ends):
    """Run a command on a program with these streams; return its exit code and what standard error took."""
    (folder / "p.nc").write_text(text)
    command = [sys.executable, "-m", "hexpost", *words, str(folder / "p.nc")]
    given = {"stdout": subprocess.PIPE, "stderr": subprocess.PIPE, **ends}

    def shut():
        for number in close:
            os.close(number)

    done = subprocess.run(command, check=False, preexec_fn=shut, cwd=folder, **given)
    said = (done.stderr or b"").decode()
    assert "Traceback" not in said
    assert "internal fault" not in said
    assert "Exception ignored" not in said
    return done.returncode, said


@pytest.mark.parametrize(("text", "code"), [(PROGRAM, 0), (UNREADABLE, 2)])
def test_streams_closed_from_the_start_leave_the_verdict(tmp_path, text, code):
    assert run(tmp_path, ["convert", "--out", "job"], text, close=(1, 2))[0] == code
    assert (tmp_path / "job" / "manifest.json").exists() == (code == 0)


@pytest.mark.parametrize("close", [(0,), (0, 1, 2)])
@pytest.mark.parametrize("words", [["gate", "--no-cache", "--jobs", "2"], ["audit", "--jobs", "2"]])
def test_workers_do_their_work_whatever_streams_are_closed(tmp_path, words, close):
    """A pipe of theirs could have the number of a stream, which a worker puts away."""
    assert run(tmp_path, words, close=close) == (0, "")


@pytest.mark.parametrize("words", [["audit"], ["audit", "--json"], ["explain"]])
def test_an_output_that_is_full_is_no_verdict(tmp_path, words):
    with open("/dev/full", "wb") as full:  # noqa: PTH123 - a device
        code, said = run(tmp_path, words, stdout=full)
        assert code == 2
        assert "hexpost: standard output does not take what there is to say: No space left on device" in said
        assert run(tmp_path, words, UNREADABLE, stdout=full, stderr=full)[0] == 2


@pytest.mark.parametrize("text", [PROGRAM, UNREADABLE])
def test_a_pipe_that_nobody_reads_is_no_verdict(tmp_path, text):
    """Not 1, which click makes of it: that would be a broken limit."""
    read, write = os.pipe()
    os.close(read)
    with os.fdopen(write, "wb") as pipe:
        assert run(tmp_path, ["audit", "--full"], text, stdout=pipe, stderr=pipe)[0] == 2
        if text == PROGRAM:
            code, said = run(tmp_path, ["audit", "--full"], text, stdout=pipe)
            assert (code, "nobody reads it any more" in said) == (2, True)


INTERRUPTED = """
import os, signal, sys, threading
from hexpost.__main__ import run
threading.Timer(float(sys.argv.pop(1)), os.kill, (os.getpid(), signal.SIGINT)).start()
run()
"""


@pytest.mark.parametrize("wait", [0.02, 0.08, 0.16, 0.3])
def test_an_interruption_is_130_at_any_moment(tmp_path, wait):
    """From the first line of hexpost on: what meets the interpreter before it is the interpreter's to tell."""
    (tmp_path / "p.nc").write_text(PROGRAM.replace("F3000", "F10"))
    words = [str(wait), "convert", str(tmp_path / "p.nc"), "--out", str(tmp_path / "job")]
    process = subprocess.Popen(
        [sys.executable, "-c", INTERRUPTED, *words], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    _, said = process.communicate(timeout=60)
    assert process.returncode in (130, -signal.SIGINT)
    assert b"hexpost/cli" not in said
    assert not (tmp_path / "job").exists()


DROPPED = """
import signal, time
import hexpost.__main__, hexpost.cli

class Deaf:
    def __del__(self):
        signal.raise_signal(signal.SIGINT)
        for _ in range(1000):
            pass

def main(**_):
    Deaf()
    time.sleep(60)

hexpost.cli.main = main
hexpost.__main__.run()
"""


def test_an_interruption_is_not_lost_where_nothing_can_be_raised():
    done = subprocess.run([sys.executable, "-c", DROPPED], capture_output=True, text=True, timeout=50, check=False)
    assert done.returncode == 130 and done.stderr == ""


STARVED = """
import resource, sys
from hexpost.__main__ import run
import numpy, scipy.linalg, click  # so that what is bounded is the work
resource.setrlimit(resource.RLIMIT_DATA, (int(sys.argv.pop(1)) << 20,) * 2)
run()
"""


@pytest.mark.parametrize("megabytes", [1, 20, 60, 120])
@pytest.mark.parametrize("words", [["audit"], ["convert", "--out", "job"], ["gate", "--serial", "--no-cache"]])
def test_a_run_without_memory_is_2_and_a_sentence(tmp_path, megabytes, words):
    """1 means a broken limit, and nothing else: also where Python itself would end with it."""
    (tmp_path / "p.nc").write_text(PROGRAM)
    command = [sys.executable, "-c", STARVED, str(megabytes), *words, str(tmp_path / "p.nc")]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    if done.returncode >= 0:  # linear algebra may end itself where it finds no room
        assert done.returncode in (0, 2), done.stderr
        assert done.returncode == 0 or (done.stderr + done.stdout).strip()


EXITING = """
import ctypes, sys
import hexpost.__main__, hexpost.cli

def main(**_):
    if sys.argv[1] == "library":
        ctypes.CDLL(None).exit(1)
    sys.exit(int(sys.argv[1]))

hexpost.cli.main = main
hexpost.__main__.run()
"""


@pytest.mark.parametrize(("how", "code"), [("library", 2), ("0", 0), ("1", 1), ("2", 2), ("130", 130)])
def test_a_library_that_ends_the_process_with_1_speaks_no_verdict(how, code):
    done = subprocess.run([sys.executable, "-c", EXITING, how], capture_output=True, timeout=50, check=False)
    assert done.returncode == code


NO_ROOM = [
    "MemoryError()",
    "OSError(2, 'no temporary directory')",
    "RuntimeError('thread')",
    "ImportError('no map')",
]


@pytest.mark.parametrize("fault", NO_ROOM)
@pytest.mark.parametrize("traceback", [False, True])
@pytest.mark.parametrize("where", ["hexpost.pipeline.load", "hexpost.cli.main"])
def test_whatever_fails_ends_with_2_and_a_sentence(tmp_path, fault, traceback, where):
    module, name = where.rsplit(".", 1)
    code = (
        f"import {module}\ndef fails(*given, **named): raise {fault}\n"
        f"import hexpost.pipeline, hexpost.cli.run\nhexpost.cli.run.load = fails\n"
        f"setattr(sys.modules['{module}'], '{name}', fails)\n"
    )
    (tmp_path / "p.nc").write_text(PROGRAM)
    env = {**os.environ, **({"HEXPOST_TRACEBACK": "1"} if traceback else {})}
    script = f"import sys\n{code}from hexpost.__main__ import run\nrun()"
    done = subprocess.run(
        [sys.executable, "-c", script, "audit", str(tmp_path / "p.nc")], env=env, capture_output=True, text=True,
        check=False,
    )  # fmt: skip
    assert done.returncode == 2
    assert "hexpost: " in done.stderr
    assert traceback or "Traceback" not in done.stderr
