"""`manage.py bench stock`: promises by eight writers, and the for-sale list over a long ledger.

All of it runs in processes of its own on a throw-away data folder, so that no keeper's book is touched.
"""

import json
import os
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

WRITERS = 8
SECONDS = 4.0
LINES = 1_000
SHORT_LEDGER, LONG_LEDGER = 1_000, 1_000_000
LIST_RUNS = 5
BATCH = 5_000
ROOT = Path(__file__).resolve().parents[3]


def run() -> dict[str, Any]:
    """Return promises per second with their ratio to a bare conditional UPDATE, and the list's times and queries."""
    with tempfile.TemporaryDirectory() as folder:
        _part(folder, "prepare")
        promises = _at_once(folder, "promise")
        bare = _at_once(folder, "bare")
        few = _part(folder, "list", SHORT_LEDGER)
        many = _part(folder, "list", LONG_LEDGER)
    return {
        "subject": "stock",
        "writers": WRITERS,
        "promises_per_second": promises,
        "baseline": "a bare conditional UPDATE of one row in a transaction of its own, same database, same writers",
        "baseline_per_second": bare,
        "ratio_to_baseline": promises / bare,
        "list_lines": LINES,
        "list": {"short_ledger": few, "long_ledger": many, "time_ratio": many["seconds"] / few["seconds"]},
    }


def _environment(folder: str) -> dict[str, str]:
    own = {"BREEDER_DATA": folder, "DJANGO_SETTINGS_MODULE": "breeder.settings", "PYTHONPATH": str(ROOT)}
    return {key: value for key, value in os.environ.items() if key != "BREEDER_DATABASE"} | own


def _start(folder: str, *words: object) -> subprocess.Popen[str]:
    command = [sys.executable, "-m", __name__, *map(str, words)]
    return subprocess.Popen(command, env=_environment(folder), stdout=subprocess.PIPE, text=True)


def _part(folder: str, *words: object) -> Any:
    started = _start(folder, *words)
    said, _ = started.communicate()
    if started.returncode:
        raise RuntimeError(f"The part '{words[0]}' of the benchmark ended with {started.returncode}.")
    return json.loads(said.splitlines()[-1]) if said.strip() else None


def _at_once(folder: str, what: str) -> float:
    begin = time.time() + 3.0  # every writer has started by then
    writers = [_start(folder, what, number, begin) for number in range(WRITERS)]
    done = [json.loads(writer.communicate()[0].splitlines()[-1]) for writer in writers]
    return sum(done) / SECONDS


def _prepare() -> None:
    from django.core.management import call_command

    from breeder.cultures.counting import counted
    from breeder.cultures.models import Culture, Entry
    from breeder.cultures.replay import bring_up_to_date
    from breeder.orders.models import Offer
    from breeder.people.models import Person
    from breeder.taxa.models import Line, Species

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


def _promise(begin: float) -> int:
    """Agree orders of one pack from one line, as fast as they come, and return how many."""
    from datetime import timedelta

    from django.utils import timezone

    from breeder.orders.actions import agree_order
    from breeder.orders.models import Offer
    from breeder.orders.rules import Terms, Wanted, Who
    from breeder.people.models import Person

    offer, person = Offer.objects.order_by("pk")[0], Person.objects.get()
    who, terms = Who(person_id=person.pk), Terms(held_until=timezone.now() + timedelta(days=3))
    return _as_often(begin, lambda: agree_order(who, [Wanted(offer_id=offer.pk, packs=1)], terms, by=None))


def _bare(begin: float) -> int:
    from django.db import transaction
    from django.db.models import F

    from breeder.taxa.models import Line

    first = Line.objects.order_by("pk")[0].pk

    def once() -> None:
        with transaction.atomic():
            Line.objects.filter(pk=first, turn__lt=10**12).update(turn=F("turn") + 1)

    return _as_often(begin, once)


def _as_often(begin: float, do: Any) -> int:
    do()  # connects and imports
    time.sleep(max(0.0, begin - time.time()))
    done, end = 0, time.monotonic() + SECONDS
    while time.monotonic() < end:
        do()
        done += 1
    return done


def _list(entries: int) -> dict[str, float]:
    """Fill the ledger up to `entries`, then read the for-sale list and return its time, queries and memory."""
    import resource
    import statistics

    from django.db import connection
    from django.test.utils import CaptureQueriesContext
    from django.utils import timezone

    from breeder.cultures.models import Culture, Entry
    from breeder.forsale.queries import rows

    now, tubs = timezone.now(), list(Culture.objects.all())
    there = Entry.objects.count()
    for start in range(there, entries, BATCH):
        Entry.objects.bulk_create(
            Entry(culture=tubs[n % LINES], kind="looked", happened_at=now, recorded_at=now, given={"seen": ["well"]})
            for n in range(start, min(entries, start + BATCH))
        )
    rows()
    times = []
    for _ in range(LIST_RUNS):
        begun = time.perf_counter()
        rows()
        times.append(time.perf_counter() - begun)
    with CaptureQueriesContext(connection) as caught:
        rows()
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return {
        "entries": entries,
        "seconds": statistics.median(times),
        "queries": len(caught),
        "peak_mb": round(peak_mb, 1),
    }


def _main(words: list[str]) -> None:
    import django

    django.setup()
    parts = {
        "prepare": _prepare,
        "promise": lambda: _promise(float(words[2])),
        "bare": lambda: _bare(float(words[2])),
        "list": lambda: _list(int(words[1])),
    }
    print(json.dumps(parts[words[0]]()))


if __name__ == "__main__":
    _main(sys.argv[1:])
