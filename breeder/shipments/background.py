"""Compute board cells in the background: a page waits a moment, shows what is known, and asks again for the rest."""

import logging
import time
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from concurrent.futures import TimeoutError as NotYet

from breeder.base.worker import share_work
from breeder.core.transit import box_trials
from breeder.core.transit.result_cache import ResultCache, cache_keys
from breeder.core.transit.results import BoxQuestion, Cell

LOG = logging.getLogger(__name__)


class BoardWorker:
    """One worker thread and its cache. The worker only computes; everything from the database was read before."""

    def __init__(self, memo: ResultCache) -> None:
        self.memo = memo
        self.worker = ThreadPoolExecutor(1, "board")

    def cells(self, asked: Sequence[BoxQuestion], members: int, until: float | None = None) -> list[Cell | None]:
        """Return the cells known by `until` (of time.monotonic; None: wait for all); the worker computes the others."""
        keys = cache_keys(asked, members)
        known = self.memo.known(asked, keys)
        rest = [question for question, cell in zip(asked, known, strict=True) if cell is None]
        if not rest:
            return known
        # If another page asks for the same cells meanwhile, they are in the cache when its turn comes.
        job = self.worker.submit(box_trials.try_boxes, rest, members=members, memo=self.memo, by=share_work)
        job.add_done_callback(_log_trouble)
        try:
            results = iter(job.result(None if until is None else max(0.0, until - time.monotonic())))
        except NotYet:
            return self.memo.known(asked, keys)
        return [next(results) if cell is None else cell for cell in known]


def _log_trouble(job: Future[list[Cell]]) -> None:
    if trouble := job.exception():
        LOG.error("The board could not be worked out.", exc_info=trouble)
