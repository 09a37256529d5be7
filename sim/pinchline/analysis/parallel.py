"""The same question asked of many items, in processes."""

from __future__ import annotations

import os
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from typing import TYPE_CHECKING, Any, TypeVar

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator

    Map = Callable[[Callable[[Any], Any], list[Any]], Iterable[Any]]

T = TypeVar("T")


@contextmanager
def workers(wanted: int | None, jobs: int) -> Iterator[Map]:
    """Give what does a function for every item of a list, in order, as they are done.

    Parameters
    ----------
    wanted : processes; None takes all cores, 1 stays in this process
    jobs : how many items there will be at a time: no more processes than that
    """
    count = min(wanted or os.cpu_count() or 1, max(jobs, 1))
    if count == 1:
        yield map
        return
    with ProcessPoolExecutor(count) as pool:
        try:
            yield pool.map
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise
