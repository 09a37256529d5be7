"""One function over many items, in processes of this machine or on a cluster."""

from __future__ import annotations

import multiprocessing
import os
import signal
import socket
import threading
from concurrent.futures import Executor, ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from importlib import import_module
from typing import TYPE_CHECKING, Any, TypeVar
from urllib.parse import urlsplit

from pinchline.errors import InputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    Map = Callable[[Callable[[Any], Any], list[Any]], Iterable[Any]]

T = TypeVar("T")


@contextmanager
def workers(wanted: int | None, jobs: int) -> Iterator[Map]:
    """Parallel map: applies a function to every item of a list, results in order.

    Parameters
    ----------
    wanted : processes; None takes all cores, 1 stays in this process
    jobs : how many items there will be at a time: no more processes than that
    """
    count = min(wanted or os.cpu_count() or 1, max(jobs, 1))
    if count == 1:
        yield map
        return
    with ProcessPoolExecutor(count, initializer=_follow_parent) as pool:
        try:
            yield pool.map
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


@contextmanager
def aside(function: Callable[..., T], *arguments: object) -> Iterator[Callable[[], T]]:
    """Have a function done in a process beside this one; what is given waits for it."""
    with ProcessPoolExecutor(1, initializer=_follow_parent) as pool:
        yield pool.submit(function, *arguments).result


CONNECT_TIMEOUT_S = 20


@dataclass(frozen=True)
class WorkerPool:
    """A pool of workers.

    Attributes
    ----------
    executor : gives the futures
    size : how many can run at a time
    """

    executor: Executor
    size: Callable[[], int]


@contextmanager
def worker_pool(wanted: int | None, scheduler: str | None) -> Iterator[WorkerPool]:
    """Give an executor: processes of this machine, or a Dask cluster.

    Parameters
    ----------
    wanted : processes here; None takes all cores
    scheduler : address of a Dask scheduler, which then does the work

    Raises
    ------
    InputError
        Dask is not installed, or no scheduler with a worker answers.
    """
    if scheduler is not None:
        with _cluster(scheduler) as found:
            yield found
        return
    count = wanted or os.cpu_count() or 1
    pool = ProcessPoolExecutor(count, initializer=_enlist)
    try:
        yield WorkerPool(pool, lambda: count)
    finally:
        # waited for: a pool that closes as Python ends may print a traceback
        pool.shutdown(wait=True, cancel_futures=True)


def _enlist() -> None:
    """Leave with the parent, and leave Ctrl-C to it."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    _follow_parent()


def _follow_parent() -> None:
    """Make a process leave with its parent, also where that is killed."""
    parent = multiprocessing.parent_process()

    def follow() -> None:
        if parent is not None:
            parent.join()
        os._exit(1)

    threading.Thread(target=follow, daemon=True).start()


@contextmanager
def _cluster(address: str) -> Iterator[WorkerPool]:
    try:
        distributed: Any = import_module("distributed")
    except ImportError:
        message = "a cluster needs Dask, which is not installed"
        allowed = "pip install 'pinchline[cluster]', or no scheduler"
        raise InputError(
            message, key="--scheduler", value=address, allowed=allowed
        ) from None
    allowed = "the address of a Dask scheduler with workers, such as tcp://host:8786"
    where = urlsplit(address if "://" in address else f"tcp://{address}")
    try:
        # Dask itself asks for half a minute before it says that nobody is there
        socket.create_connection((where.hostname, where.port), 5.0).close()
        client = distributed.Client(
            where.geturl(), timeout=CONNECT_TIMEOUT_S, set_as_default=False
        )
    except (OSError, TypeError, ValueError) as error:
        message = f"no Dask scheduler answers: {' '.join(str(error).split())[:120]}"
        raise InputError(
            message, key="--scheduler", value=address, allowed=allowed
        ) from None
    with client:
        try:
            client.wait_for_workers(1, timeout=CONNECT_TIMEOUT_S)
        except TimeoutError:
            message = f"the scheduler has had no worker for {CONNECT_TIMEOUT_S} s"
            raise InputError(
                message, key="--scheduler", value=address, allowed=allowed
            ) from None
        yield WorkerPool(client.get_executor(), lambda: sum(client.nthreads().values()))
