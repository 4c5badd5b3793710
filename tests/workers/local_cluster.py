"""A scheduler and its workers on this computer, in processes of their own."""

import os
import subprocess
import sys
from contextlib import contextmanager

import pytest

CLUSTER = """
import sys
from distributed import LocalCluster
if __name__ == "__main__":
    count = int(sys.argv[1])
    with LocalCluster(
        n_workers=count, threads_per_worker=1, processes=True, dashboard_address=None, memory_limit=0
    ) as running:
        print(running.scheduler_address, flush=True)
        for _ in sys.stdin:  # a line: every worker leaves
            running.scale(0)
"""


@contextmanager
def running_cluster(folder, count=2, path=()):
    """Yield the address of a scheduler and its process, in a group of its own; workers import from ``path`` first.

    A worker that dies over a task costs that task at once.
    """
    pytest.importorskip("distributed")
    script = folder / "cluster.py"
    script.write_text(CLUSTER)
    kept = os.environ.get("PYTHONPATH", "")
    environment = {
        **os.environ, "DASK_DISTRIBUTED__SCHEDULER__ALLOWED_FAILURES": "1",
        "DASK_DISTRIBUTED__ADMIN__SYSTEM_MONITOR__GIL__ENABLED": "false",
        "PYTHONPATH": os.pathsep.join([*path, *filter(None, [kept]), *(p for p in sys.path if p.endswith("tests"))]),
    }  # fmt: skip
    process = subprocess.Popen(
        [sys.executable, str(script), str(count)], stdin=subprocess.PIPE, stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL, text=True, env=environment, start_new_session=True,
    )  # fmt: skip
    try:
        yield process.stdout.readline().strip(), process
    finally:
        process.stdin.close()
        try:
            process.wait(20)
        except subprocess.TimeoutExpired:
            process.kill()
        process.stdout.close()


@contextmanager
def two_workers(folder):
    """Yield the address of a scheduler with two workers."""
    with running_cluster(folder) as (address, _):
        yield address
