"""The workers of a running dask.distributed scheduler: they prove their code, with every result, or are refused."""

import logging
from collections.abc import Callable, Iterator
from concurrent.futures import Executor, Future
from contextlib import contextmanager, suppress
from functools import partial
from time import monotonic
from typing import Any, ParamSpec, TypeVar

from hexpost.errors import HexpostError
from hexpost.version import identity
from hexpost.workers.engines import Engine, EngineError, Pool

P = ParamSpec("P")
R = TypeVar("R")

BATCH = 8
"""A cluster spends milliseconds on each task it is handed, so tasks travel in batches."""
_PATIENCE_S = 20
_SHOWN = 40
"""Characters of an identity that tell it from another."""


@contextmanager
def cluster(address: str) -> Iterator[Engine]:
    """Yield the workers of a running dask.distributed scheduler; they must see the files under the same paths.

    Raises
    ------
    HexpostError
        The extra is not installed, nobody answers at ``address``, there is no worker, or one runs other code.
    """
    try:
        from distributed import Client
    except ImportError:
        hint = "\n    hint: install the extra: hexpost[cluster]"
        raise HexpostError(f"--cluster needs the package dask.distributed{hint}") from None
    try:
        client = Client(address, timeout=_PATIENCE_S, set_as_default=False)
    except (OSError, ValueError) as error:
        raise HexpostError(f"--cluster {address}: no scheduler answers: {error}") from None
    logging.disable()  # what its client says of a scheduler that is gone is a sentence here
    try:
        _prove(client, address)
        workers = max(sum(client.nthreads().values()), 1)
        yield Engine(new_pool=lambda: _Cluster(client, address), ahead=4 * workers, batch=BATCH)
    finally:
        with suppress(Exception):
            client.close(timeout=2)
        logging.disable(logging.NOTSET)


def _prove(client: Any, address: str) -> None:  # noqa: ANN401 - distributed has no types
    """Refuse workers that run other code; all of them are named."""
    try:
        client.wait_for_workers(1, timeout=_PATIENCE_S)
    except TimeoutError:
        raise HexpostError(f"--cluster {address}: no worker joined this scheduler within {_PATIENCE_S} s") from None
    found = client.run(identity, on_error="return")
    wrong = [_refusal(str(worker), said) for worker, said in sorted(found.items()) if said != identity()]
    if wrong:
        raise EngineError("\n".join([f"--cluster {address}: {wrong[0]}", *wrong[1:], _HINT]))


_HINT = "    hint: install the same hexpost, numpy, scipy and Python on every worker, and start them again"
_AGAIN = "    hint: results that came in are in the cache; start the scheduler and its workers, then run again"


def _refusal(worker: str, said: object) -> str:
    """Return what is wrong with a worker, from what it said of itself."""
    if not isinstance(said, str):
        said = f"no hexpost that can prove its code ({type(said).__name__}: {said})"
    return f"worker {worker} runs {said[:_SHOWN]}, this computer {identity()[:_SHOWN]}"


class _Cluster(Pool):
    """Hands tasks to a scheduler; a result counts only beside the proof of the code that made it."""

    def __init__(self, client: Any, address: str) -> None:  # noqa: ANN401 - distributed has no types
        self._client, self._address = client, address
        self._inner: Executor = client.get_executor(pure=False)
        self._looked = self._manned = monotonic()

    def submit(self, fn: Callable[P, R], /, *args: P.args, **kwargs: P.kwargs) -> Future[R]:
        """Hand on a task and return its future."""
        out: Future[R] = Future()
        try:
            inner = self._inner.submit(proven, fn, *args, **kwargs)
        except Exception as error:  # noqa: BLE001 - a client that is closed has errors of its own
            out.set_exception(self._lost(error))
        else:
            inner.add_done_callback(partial(self._settle, out))
        return out

    def _settle(self, out: Future[Any], inner: Future[Any]) -> None:
        """Hand a result on, once its proof is seen."""
        if inner.cancelled():
            out.set_exception(self._lost(None))
            return
        error = inner.exception()
        lacks = isinstance(error, ImportError | AttributeError) and "hexpost" in str(error)
        if lacks:  # it has no such function: another hexpost, or none; a worker that is leaving has errors of its own
            out.set_exception(EngineError(f"--cluster {self._address}: {_refusal('of a task', error)}\n{_HINT}"))
        elif error is not None:
            out.set_exception(self._lost(error) if self._client.status != "running" else error)
        else:
            worker, said, result = inner.result()
            if said == identity():
                out.set_result(result)
            else:
                out.set_exception(EngineError(f"--cluster {self._address}: {_refusal(worker, said)}\n{_HINT}"))

    def look(self) -> None:
        """Ask the scheduler, now and then, whether anybody is there to work.

        Raises
        ------
        EngineError
            No worker was there for longer than one may take to start again.
        """
        now = monotonic()
        if now - self._looked < _PATIENCE_S / 8 or self._client.status != "running":
            return
        self._looked = now
        try:
            manned = bool(self._client.sync(self._client.scheduler.ncores, callback_timeout=_PATIENCE_S))
        except Exception:  # noqa: BLE001 - a scheduler that is gone is noticed by its tasks
            return
        if manned:
            self._manned = now
        elif now - self._manned > _PATIENCE_S:
            raise EngineError(f"--cluster {self._address}: no worker has been there for {_PATIENCE_S} s\n{_AGAIN}")

    def _lost(self, error: BaseException | None) -> EngineError:
        """Return what is said when the scheduler is gone."""
        why = f" ({type(error).__name__})" if error else ""
        return EngineError(f"--cluster {self._address}: the scheduler is gone{why}\n{_AGAIN}")

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:  # noqa: FBT001, FBT002 - as in Executor
        """Take back what was not done yet."""
        self._inner.shutdown(wait=wait, cancel_futures=cancel_futures)


def proven(fn: Callable[P, R], /, *args: P.args, **kwargs: P.kwargs) -> tuple[str, str, R]:
    """Return the address of this worker, what it says of its code, and the result of a task."""
    from distributed import get_worker

    return str(get_worker().address), identity(), fn(*args, **kwargs)
