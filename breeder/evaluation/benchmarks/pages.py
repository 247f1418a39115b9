"""`manage.py bench pages`: what every page costs on a big book, as a ratio to an empty logged-in view of the same run.

All of it runs in a process of its own on a throw-away book, so that no keeper's book is touched. What is measured is
processor time, page and empty view by turns, and the ratio is the middle one of five: a busy machine slows both.
`first_ratio` is the very first time that a
page was asked for, with all that is kept between pages still to be worked out.
"""

import json
import logging
import os
import re
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator
from pathlib import Path
from statistics import median
from typing import Any

ROOT = Path(__file__).resolve().parents[3]
RUNS = 5
BATCH = 25  # empty views in one measurement of the baseline, so that it takes about as long as a page
MOST_RATIO, MOST_QUERIES, MOST_KB = 60.0, 30, 150.0
EMPTY = "benchmark/empty/"
# The same lists as somebody narrows, sorts or leafs through them.
NARROWED = (
    "tubs/?shelf=S01", "tubs/?find=form", "tubs/?sort=-looked&page=5", "people/?q=vane", "people/?page=20",
    "orders/?status=all", "orders/?status=all&sort=-total&page=30", "for-sale/?only_free=1", "book/log/?page=40",
)  # fmt: skip
# Files and papers are not pages: an export holds the whole list, and papers have a goal of their own.
PAPER = ".pdf"
NO_PAGE = (".csv", PAPER, ".ics")
OK = 200


def run() -> dict[str, Any]:
    """Return time (as a ratio), queries and kilobytes of every page that answers, the worst first, and the baseline."""
    with tempfile.TemporaryDirectory() as folder:
        own = {"BREEDER_DATA": folder, "BREEDER_DATABASE": "", "DJANGO_SETTINGS_MODULE": "breeder.settings"}
        environment = os.environ | own | {"PYTHONPATH": str(ROOT)}
        command = [sys.executable, "-m", __name__]
        answer = subprocess.run(command, env=environment, stdout=subprocess.PIPE, text=True, check=True).stdout
    return dict(json.loads(answer.splitlines()[-1]))


def _measure() -> dict[str, Any]:
    from django.core.management import call_command
    from django.test import override_settings
    from django.utils import timezone

    from breeder.evaluation.benchmarks import big_book, big_book_work

    logging.disable(logging.WARNING)  # addresses that only take forms say so each time
    call_command("migrate", verbosity=0)
    begun = time.process_time()
    book = big_book.make(timezone.now())
    made = time.process_time() - begun
    with override_settings(ROOT_URLCONF="breeder.evaluation.benchmarks.pages_urls", ALLOWED_HOSTS=["testserver"]):
        client = _logged_in(book.keeper)
        empty_queries = _queries(client, f"/{EMPTY}")
        empty = _empty_s(client)
        pages, left_out = _pages(client, [f"/{path}" for path in _addresses(book)], empty)
        papers = [page["path"] for page in pages if page["path"].endswith(PAPER)]
        beside = big_book_work.work(client, papers, dict(os.environ))
    return {
        "subject": "pages",
        "baseline": "an empty logged-in view: session, person, settings",
        "baseline_ms": round(empty * 1000, 3),
        "baseline_queries": empty_queries,
        "goal": {"ratio": MOST_RATIO, "queries": MOST_QUERIES, "kb": MOST_KB},
        "made_in_cpu_s": round(made, 1),
        "missed": [page for page in pages if page["misses"]],
        "pages": pages,
        "left_out": left_out,
        "beside_pages": beside,
        "check_cpu_s": _check_cpu_s(),
        "load": list(os.getloadavg()),
    }


def _pages(client: Any, paths: Iterable[str], empty: float) -> tuple[list[dict[str, Any]], list[str]]:
    """Return what each page costs, the worst first, and the addresses that are no pages, with what they answered."""
    pages, left_out = [], []
    for path in paths:
        first = _cpu_s(lambda path=path: client.get(path))
        answer = client.get(path)
        if answer.status_code != OK:
            left_out.append(f"{path}: {answer.status_code}")
        else:
            pages.append(_page(client, path) | {"first_ratio": round(first / empty, 1)})
    return sorted(pages, key=lambda page: -page["ratio"]), left_out


def _check_cpu_s() -> float:
    """Return the processor seconds of `manage.py check`, the best of three."""
    taken = []
    for _ in range(3):
        before = resource.getrusage(resource.RUSAGE_CHILDREN)
        subprocess.run([sys.executable, "-m", "django", "check"], stdout=subprocess.DEVNULL, check=True)
        after = resource.getrusage(resource.RUSAGE_CHILDREN)
        taken.append(after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime)
    return round(min(taken), 2)


def _logged_in(person: Any) -> Any:
    from django.test import Client

    client = Client(raise_request_exception=True)
    client.force_login(person, backend="django.contrib.auth.backends.ModelBackend")
    return client


def _page(client: Any, path: str) -> dict[str, Any]:
    runs = [(_cpu_s(lambda: client.get(path)), _empty_s(client)) for _ in range(RUNS)]
    ratio, taken = median(page / empty for page, empty in runs), min(page for page, _ in runs)
    queries, kb = _queries(client, path), len(_content(client.get(path))) / 1000
    is_page = not path.endswith(NO_PAGE)
    over = {"ratio": ratio > MOST_RATIO, "queries": queries > MOST_QUERIES, "kb": kb > MOST_KB}
    return {
        "path": path,
        "ratio": round(ratio, 1),
        "ms": round(taken * 1000, 1),
        "queries": queries,
        "kb": round(kb, 1),
        "misses": [name for name, is_over in over.items() if is_over and is_page],
    }


def _content(answer: Any) -> bytes:
    return b"".join(answer.streaming_content) if answer.streaming else answer.content


def _empty_s(client: Any) -> float:
    """Return the processor seconds of one empty view."""
    return _cpu_s(lambda: [client.get(f"/{EMPTY}") for _ in range(BATCH)]) / BATCH


def _cpu_s(do: Callable[[], object]) -> float:
    """Return the processor seconds of doing it once."""
    begun = time.process_time()
    do()
    return time.process_time() - begun


def _queries(client: Any, path: str) -> int:
    from django.db import connection
    from django.test.utils import CaptureQueriesContext

    with CaptureQueriesContext(connection) as caught:
        client.get(path)
    return len(caught)


def _addresses(book: Any) -> Iterator[str]:
    """Yield every address of the site that can be filled with rows of the book, in the order of the rooms."""
    from django.urls import URLResolver, get_resolver

    rows = _rows(book)
    rooms = [one for one in get_resolver("breeder.urls").url_patterns if isinstance(one, URLResolver)]
    for pattern in [pattern for room in rooms for pattern in room.url_patterns]:
        route = str(pattern.pattern)
        known = {"pk": 1} | rows.get(route.partition("/")[0], {})
        if pattern.pattern.converters.keys() <= known.keys():
            yield re.sub(r"<\w+:(\w+)>", lambda match, known=known: str(known[match[1]]), route)
    yield from NARROWED


def _rows(book: Any) -> dict[str, dict[str, int]]:
    """Return which row an address is asked for, by the first word of the address and the name of its argument."""
    return {
        "tubs": {"number": book.tub.number, "sister": book.sister.number},
        "round": {"number": book.tub.number},
        "lines": {"pk": book.line.pk},
        "orders": {"number": book.held_order.number, "order_number": book.paid_order.number},
        "people": {"pk": book.held_order.person_id, "address_pk": book.held_order.address_id},
        "packing": {"number": book.box.number},
        "paper": {"number": book.box.number},
        "species": {"pk": book.line.species_id},
    }


def _main() -> None:
    import django

    django.setup()
    print(json.dumps(_measure()))


if __name__ == "__main__":
    _main()
