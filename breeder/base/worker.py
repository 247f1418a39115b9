"""Long sums of a few parts, shared with a second process: threads of one process wait for each other too long.

The second process, the twin, only reckons: it opens no database, and lives as long as one list of parts. Where it
cannot start, or dies, the first one does its parts as well.
"""

import logging
import os
import pickle
import signal
import sys
from collections import deque
from collections.abc import Callable, Iterator, Sequence
from contextlib import ExitStack, contextmanager
from queue import Empty, SimpleQueue
from subprocess import PIPE, Popen
from threading import Thread
from typing import Any, BinaryIO, TypeVar

LOG = logging.getLogger(__name__)
Part = TypeVar("Part")
Found = TypeVar("Found")

# A twin takes a second or two to start, as long as two or three parts of half a second.
WORTH_A_TWIN = 6
BEGIN = "from breeder.base.worker import be_the_twin; be_the_twin()"


def one_by_one(work: Callable[[Part], Found], parts: Sequence[Part]) -> Iterator[tuple[int, Found]]:
    """Yield each part's place and what came of it."""
    for place, part in enumerate(parts):
        yield place, work(part)


def side_by_side(work: Callable[[Part], Found], parts: Sequence[Part]) -> Iterator[tuple[int, Found]]:
    """Yield each part's place and what came of it as they are done, in no order.

    `work` and `parts` must go through a pickle, and `work` must be pure. What it raises is raised here.
    """
    if len(parts) < WORTH_A_TWIN or (os.cpu_count() or 1) == 1:
        yield from one_by_one(work, parts)
        return
    waiting, done = deque(range(len(parts))), SimpleQueue[tuple[int, Found]]()
    everything = _written((work, parts))  # before any part changes what it keeps for itself
    with ExitStack() as stack:
        try:
            twin = stack.enter_context(_twin())
        except OSError as trouble:
            LOG.warning("A second process could not begin; the first does all of its work (%r).", trouble)
            yield from one_by_one(work, parts)
            return
        feeder = Thread(target=_feed, args=(twin, everything, waiting, done), name="feeds the twin")
        feeder.start()
        while waiting or feeder.is_alive():
            yield from _finished(done)
            try:
                place = waiting.popleft()
            except IndexError:
                feeder.join()  # a twin that dies now leaves its part to be done here
            else:
                yield place, work(parts[place])
        yield from _finished(done)


@contextmanager
def _twin() -> Iterator["Popen[bytes]"]:
    """Begin a twin, and end it whatever happens. Raises OSError where it cannot begin."""
    # Begun anew, not forked: a fork would copy the locks that other threads of a site hold at this moment.
    surroundings = os.environ | {"PYTHONPATH": os.pathsep.join(sys.path)}
    process = Popen([sys.executable, "-c", BEGIN], stdin=PIPE, stdout=PIPE, env=surroundings)
    try:
        yield process
    finally:
        process.kill()
        process.wait()


def _feed(twin: "Popen[bytes]", everything: bytes, waiting: "deque[int]", done: "SimpleQueue[Any]") -> None:
    """Give the twin one part after another, from the last on, and put away what it returns."""
    given = None
    try:
        with twin.stdin as to_twin, twin.stdout as from_twin:  # type: ignore[union-attr]
            _send(everything, to_twin)
            while (given := _last_of(waiting)) is not None:
                _send(_written(given), to_twin)
                done.put((given, pickle.load(from_twin)))
                given = None
    except Exception as trouble:  # whatever it was, the part must not be lost
        LOG.warning("A second process ended early; the first does its work too (%r).", trouble)
        if given is not None:
            waiting.append(given)


def _last_of(waiting: "deque[int]") -> int | None:
    try:
        return waiting.pop()
    except IndexError:
        return None  # the first process took the last one


def _written(thing: Any) -> bytes:
    return pickle.dumps(thing, pickle.HIGHEST_PROTOCOL)


def _send(written: bytes, to: BinaryIO) -> None:
    to.write(written)
    to.flush()


def _finished(done: "SimpleQueue[Any]") -> Iterator[Any]:
    while True:
        try:
            yield done.get_nowait()
        except Empty:
            return


def be_the_twin() -> None:
    """Do the parts that are named, until nobody is there to name any."""
    import django

    signal.signal(signal.SIGINT, signal.SIG_IGN)  # Ctrl-C is for the first process, which ends this one
    with os.fdopen(os.dup(sys.stdout.fileno()), "wb") as answers, os.fdopen(os.dup(sys.stdin.fileno()), "rb") as asked:
        os.dup2(sys.stderr.fileno(), sys.stdout.fileno())  # what anybody prints must not stand among the answers
        django.setup()  # before anything is read: that imports models
        try:
            work, parts = pickle.load(asked)
            while True:
                _send(_written(work(parts[pickle.load(asked)])), answers)
        except (EOFError, BrokenPipeError):
            return
