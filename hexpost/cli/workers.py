"""Which workers a command line asks for."""

from collections.abc import Iterator
from contextlib import contextmanager, nullcontext

import click

from hexpost.workers.cluster import cluster
from hexpost.workers.engines import MEMORY_MB, Engine, processes, serial


@contextmanager
def engine_of(
    *, loads: str, jobs: int | None, alone: bool, address: str | None, memory_mb: int | None
) -> Iterator[Engine]:
    """Yield what does the work of ``--jobs``, ``--serial``, ``--cluster`` and ``--memory-mb``.

    ``loads`` is the module that workers load once.
    """
    if sum(map(bool, (alone, jobs, address))) > 1:
        raise click.UsageError("give one of --serial, --jobs, --cluster")
    here = serial() if alone else processes(jobs, memory_mb or MEMORY_MB, loads=loads)
    with cluster(address) if address else nullcontext(here) as engine:
        yield engine
