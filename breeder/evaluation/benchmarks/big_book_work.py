"""What is done with the big book besides reading its pages: an order agreed, papers printed, the book kept safe.

Each is a ratio to its own named baseline, or seconds of processor time. The order and the papers are the best of five.
"""

import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from pathlib import Path
from typing import Any

from django.core.management import call_command
from django.db import connection, transaction
from django.db.models import F
from django.test.utils import CaptureQueriesContext
from django.utils import timezone

from breeder.documents import views as papers
from breeder.orders.actions import agree_order
from breeder.orders.queries.orders import lines_on_offer
from breeder.orders.rules.order_status import Terms, Who
from breeder.orders.rules.packs import Wanted
from breeder.people.models import Person
from breeder.species.models import Line

RUNS = 5
MOST_OF_UPDATE, MOST_OF_DRAWING, MOST_SECONDS = 10.0, 3.0, 10.0
DRAWS = "draw_"


def work(client: Any, paper_paths: list[str], environment: dict[str, str]) -> dict[str, Any]:
    """Return what an order, each paper, a backup and its restore cost, beside the goal of each."""
    saved_s, restored_s = saved_and_restored(environment)
    return {
        "agreeing_an_order": agreed() | {"goal_ratio": MOST_OF_UPDATE},
        "papers": {path: printed(client, path) for path in paper_paths} | {"goal_ratio": MOST_OF_DRAWING},
        "backup_cpu_s": saved_s,
        "restore_cpu_s": restored_s,
        "goal_s": MOST_SECONDS,
    }


def agreed() -> dict[str, Any]:
    """Return what it costs to agree an order of one pack, as a ratio to a bare conditional UPDATE in a transaction."""
    free = max((free for line in lines_on_offer() for free in line.packs), key=lambda free: free.packs)
    offer, person = free.offer, Person.objects.filter(addresses__isnull=False)[0]
    terms = Terms(held_until=timezone.now() + timedelta(days=3), looked_up=True)

    def agree() -> None:
        agree_order(Who(person_id=person.pk), [Wanted(offer_id=offer.pk, packs=1)], terms, by=None)

    def update() -> None:
        with transaction.atomic():
            Line.objects.filter(pk=offer.line_id, turn__lt=10**12).update(turn=F("turn") + 1)

    taken, bare = cpu_s(agree, RUNS), cpu_s(lambda: [update() for _ in range(RUNS)], RUNS) / RUNS
    with CaptureQueriesContext(connection) as caught:
        agree()
    waited, bare_waited = wall_s(agree, RUNS), wall_s(update, RUNS)
    return {
        "ratio": round(taken / bare, 1),
        "wall_ratio": round(waited / bare_waited, 1),  # with the disk, which both wait for once
        "ms": round(taken * 1000, 2),
        "queries": len(caught),
    }


def printed(client: Any, path: str) -> dict[str, float]:
    """Return what a paper costs, as a ratio to its bare drawing: the same rows, already read, put on the same sheet."""
    ratios = []
    for _ in range(RUNS):
        with _drawing_timed() as drawn:
            begun = time.process_time()
            client.get(path)
            ratios.append(((time.process_time() - begun), sum(drawn)))
    whole, bare = min(one for one, _ in ratios), min(other for _, other in ratios)
    return {"ratio": round(whole / bare, 2), "ms": round(whole * 1000, 1), "drawing_ms": round(bare * 1000, 1)}


@contextmanager
def _drawing_timed() -> Iterator[list[float]]:
    """Let every function that draws a paper note its processor time."""
    drawn: list[float] = []
    plain = {name: value for name, value in vars(papers).items() if name.startswith(DRAWS)}
    for name, draw in plain.items():
        setattr(papers, name, _timed(draw, drawn))
    try:
        yield drawn
    finally:
        for name, draw in plain.items():
            setattr(papers, name, draw)


def _timed(draw: Callable[..., bytes], drawn: list[float]) -> Callable[..., bytes]:
    def timed(*given: Any, **named: Any) -> bytes:
        begun = time.process_time()
        paper = draw(*given, **named)
        drawn.append(time.process_time() - begun)
        return paper

    return timed


def saved_and_restored(environment: dict[str, str]) -> tuple[float, float]:
    """Return the processor seconds of `backup`, and of `restore` into an empty book in a process of its own."""
    import resource
    import subprocess
    import sys

    with tempfile.TemporaryDirectory() as folder:
        file = Path(folder) / "book.zip"
        saved = cpu_s(lambda: call_command("backup", file, verbosity=0, stdout=_Nowhere()), 1)
        begun = _children_s(resource)
        subprocess.run(
            [sys.executable, "-m", "django", "restore", str(file)],
            env=environment | {"BREEDER_DATA": str(Path(folder) / "empty")},
            stdout=subprocess.DEVNULL,
            check=True,
        )
        return round(saved, 1), round(_children_s(resource) - begun, 1)


def _children_s(resource: Any) -> float:
    spent = resource.getrusage(resource.RUSAGE_CHILDREN)
    return float(spent.ru_utime + spent.ru_stime)


class _Nowhere:
    def write(self, text: str) -> None:
        """Take what a command says and keep none of it."""


def cpu_s(do: Callable[[], object], runs: int) -> float:
    """Return the processor seconds of the quickest run."""
    return _quickest(do, runs, time.process_time)


def wall_s(do: Callable[[], object], runs: int) -> float:
    """Return the seconds of the quickest run by the clock on the wall."""
    return _quickest(do, runs, time.perf_counter)


def _quickest(do: Callable[[], object], runs: int, clock: Callable[[], float]) -> float:
    taken = []
    for _ in range(runs):
        begun = clock()
        do()
        taken.append(clock() - begun)
    return min(taken)
