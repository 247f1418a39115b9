"""Share a long list of pure jobs with a second process, since threads of one process wait for each other too long.

The second process opens no database and imports only what a job needs. It starts with the first long list and then
stays for the next ones. Where it cannot start, or dies, the first process does its parts too.
"""

import logging
import multiprocessing
import os
import pickle
import signal
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import BrokenExecutor, ProcessPoolExecutor
from functools import lru_cache
from queue import Empty, SimpleQueue
from threading import Thread
from typing import Any, TypeVar

LOG = logging.getLogger(__name__)
Part = TypeVar("Part")
Result = TypeVar("Result")

# A second process takes a second or two to start, as long as two or three parts of half a second.
WORTH_SHARING = 6


def share_work(work: Callable[[Part], Result], parts: Sequence[Part]) -> Iterator[tuple[int, Result]]:
    """Yield the index and the result of each part as it is done, in no order.

    `work` and `parts` must pickle, and `work` must be pure. Raises here what `work` raises.
    """
    if len(parts) < WORTH_SHARING or (os.cpu_count() or 1) == 1:
        for index, part in enumerate(parts):
            yield index, work(part)
        return
    waiting, done = deque(range(len(parts))), SimpleQueue[tuple[int, Result]]()
    # Pickled before any part starts: a thread that pickles would meet caches that the work is changing.
    jobs = [pickle.dumps((work, part), pickle.HIGHEST_PROTOCOL) for part in parts]
    feeder = Thread(target=_feed, args=(jobs, waiting, done), name="feeds the second process")
    feeder.start()
    try:
        while waiting or feeder.is_alive():
            yield from _finished(done)
            try:
                index = waiting.popleft()
            except IndexError:
                feeder.join()  # if the second process dies now, its part comes back to be done here
            else:
                yield index, work(parts[index])
        yield from _finished(done)
    finally:
        waiting.clear()  # after an error here, the feeder stops when its part is done


def _feed(jobs: Sequence[bytes], waiting: "deque[int]", done: "SimpleQueue[Any]") -> None:
    """Give the second process one part after another, from the last on, and collect its results."""
    index = None
    try:
        while (index := _pop_last(waiting)) is not None:
            done.put((index, _second_process().submit(_run, jobs[index]).result()))
    except Exception as trouble:  # whatever it was, the part must not be lost
        LOG.warning("The second process failed at a part; the first one does the rest (%r).", trouble)
        if isinstance(trouble, BrokenExecutor | OSError):
            _second_process.cache_clear()  # the next list starts a new one
        if index is not None:
            waiting.append(index)


@lru_cache(maxsize=1)
def _second_process() -> ProcessPoolExecutor:
    # Spawned, not forked: a fork would copy the locks that other threads of the site hold at this moment.
    return ProcessPoolExecutor(1, multiprocessing.get_context("spawn"), initializer=_prepare)


def end_second_process() -> None:
    """End the second process, if there is one; the next long list starts a new one."""
    if _second_process.cache_info().currsize:
        _second_process().shutdown()
        _second_process.cache_clear()


def _prepare() -> None:
    """Set up the second process. It ignores Ctrl-C and ends when the first process ends, even if that is killed."""
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    Thread(target=_end_with_parent, name="ends with the first process", daemon=True).start()


def _end_with_parent() -> None:
    if parent := multiprocessing.parent_process():
        parent.join()
        os._exit(0)


def _run(job: bytes) -> Any:
    work, part = pickle.loads(job)
    return work(part)


def _pop_last(waiting: "deque[int]") -> int | None:
    try:
        return waiting.pop()
    except IndexError:
        return None  # the first process took the last one


def _finished(done: "SimpleQueue[Any]") -> Iterator[Any]:
    while True:
        try:
            yield done.get_nowait()
        except Empty:
            return
