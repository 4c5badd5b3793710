"""A scheduler and two workers on this computer."""

from contextlib import contextmanager

import pytest


@contextmanager
def two_workers():
    """Yield the address of a scheduler; a worker that dies over a task costs that task at once."""
    distributed = pytest.importorskip("distributed")
    import dask

    settings = {"distributed.scheduler.allowed-failures": 1, "distributed.admin.system-monitor.gil.enabled": False}
    with (
        dask.config.set(settings),
        distributed.LocalCluster(
            n_workers=2, threads_per_worker=1, processes=True, dashboard_address=None, memory_limit=0
        ) as running,
    ):
        yield running.scheduler_address
