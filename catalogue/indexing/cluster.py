"""Reading on the machines that hold the disks: a Dask cluster instead of the process pool.

The stores must be mounted at the same path on every machine. The catalogue stays here, with its one writer; only paths
go out and only readings come back.
"""

from collections.abc import Callable, Iterator
from concurrent.futures import CancelledError, Executor, Future
from concurrent.futures.process import BrokenProcessPool
from contextlib import contextmanager
from dataclasses import dataclass
from typing import Any

from catalogue.errors import CatalogueError
from catalogue.indexing.workers import Executors

ANSWER_SECONDS = 10


@dataclass(frozen=True, slots=True)
class Cluster:
    """A connected cluster: how to get an executor, and how many files it reads at once."""

    executors: Executors
    workers: int


@contextmanager
def connected(address: str) -> Iterator[Cluster]:
    """The cluster whose scheduler answers at ``address``, such as ``tcp://nas:8786``.

    Raises CatalogueError: the optional library is not installed, none answers, or it has no workers.
    """
    try:
        from distributed import Client
    except ImportError as error:
        raise CatalogueError("Reading on a cluster needs another library.",
                             hint="pip install 'master-scan-catalogue[cluster]'") from error
    try:
        client = Client(address, timeout=ANSWER_SECONDS, set_as_default=False)
    except (OSError, ValueError, TimeoutError) as error:
        raise CatalogueError(f"No cluster answers at {address}.", hint="Start its scheduler, or correct the address."
                             ) from error
    try:
        threads = sum(client.nthreads().values())
        if not threads:
            raise CatalogueError(f"The cluster at {address} has no workers.", hint="Start some: dask worker ADDRESS.")
        yield Cluster(lambda *_: _OnCluster(client), threads)
    finally:
        client.close()


class _OnCluster(Executor):
    """The cluster's executor with the process pool's failures: a worker that a file kills is a broken pool.

    A file under way on a worker that dies is given to another by the scheduler itself; its reading comes once.
    """

    def __init__(self, client: Any) -> None:
        self._executor = client.get_executor(pure=False)

    def submit(self, function: Callable[..., Any], /, *given: Any, **named: Any) -> Future[Any]:
        """As ``Executor.submit``."""
        outer: Future[Any] = Future()
        inner = self._executor.submit(function, *given, **named)
        outer.set_running_or_notify_cancel()
        inner.add_done_callback(lambda future: _pass_on(future, outer))
        return outer

    def shutdown(self, wait: bool = True, *, cancel_futures: bool = False) -> None:
        """As ``Executor.shutdown``; the cluster itself stays up."""
        self._executor.shutdown(wait=wait and not cancel_futures)


def _pass_on(inner: Future[Any], outer: Future[Any]) -> None:
    from distributed import KilledWorker

    try:
        outer.set_result(inner.result())
    except KilledWorker as error:
        outer.set_exception(BrokenProcessPool(str(error)))
    except (CancelledError, OSError, TimeoutError) as error:
        outer.set_exception(CatalogueError(f"The cluster was lost: {error or type(error).__name__}.",
                                           hint="What was read is kept; index again to continue."))
    except Exception as error:  # the worker's edge: whatever it raised is for the caller to see
        outer.set_exception(error)
