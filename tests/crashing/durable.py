"""Run by the durability tests in a process of its own: how the keeper's own settings write to the disk.

    python -m tests.crashing.durable [PRAGMA=VALUE ...]     (a database file by BREEDER_DATA, which has its tables)

Prints what every kind of connection says and does, then commits a number of rows one after another. With `synchronous`
or `journal_mode` changed it is the control.
"""

import json
import os
import re
import sys
import threading
from typing import Any

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "breeder.settings")
from breeder.base import environment  # noqa: E402

for change in sys.argv[1:]:
    name, _, value = change.partition("=")
    before = str(environment.SQLITE_OPTIONS["init_command"])
    environment.SQLITE_OPTIONS["init_command"] = re.sub(rf"{name}=\w+", f"{name}={value}", before)
    assert environment.SQLITE_OPTIONS["init_command"] != before, f"{name} is not set at all"
environment.SQLITE_OPTIONS["timeout"] = 0.2  # whoever has to wait here waits in vain

import django  # noqa: E402

django.setup()

from django.db import OperationalError, connection, connections, transaction  # noqa: E402

from breeder.base.models import LogRow  # noqa: E402
from breeder.base.steps import log  # noqa: E402
from tests.crashing.durable_facts import COMMITS  # noqa: E402


def said() -> dict[str, Any]:
    """Return what this thread's connection says of itself; SQLite counts the kinds of `synchronous` from OFF, 0."""
    with connection.cursor() as cursor:
        found = {name: cursor.execute(f"PRAGMA {name}").fetchone()[0] for name in ("journal_mode", "synchronous")}
    return {
        "journal_mode": found["journal_mode"],
        "synchronous": ("off", "normal", "full", "extra")[found["synchronous"]],
    }


def in_thread(work: Any) -> Any:
    """Do something on a connection of its own, as each thread of the site has one."""
    found: list[Any] = []

    def run() -> None:
        try:
            found.append(work())
        finally:
            connections.close_all()

    thread = threading.Thread(target=run)
    thread.start()
    thread.join()
    return found[0]


def writes_beside_a_reader() -> str:
    """Return what happens to somebody who writes while another still reads."""

    def write() -> str:
        try:
            with transaction.atomic():
                log("tried", "a reader", "Written while somebody reads.", by=None)
        except OperationalError as trouble:
            return str(trouble)
        return "written"

    LogRow.objects.bulk_create(LogRow(at="2026-03-01T12:00Z", did="x", about="x", sentence="x") for _ in range(300))
    with connection.cursor() as cursor:
        cursor.connection.execute("BEGIN")
        cursor.connection.execute("SELECT COUNT(*) FROM breeder_logrow").fetchone()
        done = in_thread(write)
        cursor.connection.execute("COMMIT")
    return str(done)


def commit(number: int) -> None:
    with transaction.atomic(durable=True):
        log("committed", f"row {number}", "Acknowledged, so on the disk.", by=None)


def main() -> None:
    found = {"first": said(), "in a thread": in_thread(said)}
    connection.close()
    found["opened again"] = said()
    found["beside a reader"] = writes_beside_a_reader()
    print(json.dumps(found), flush=True)
    os.write(1, b"commits\n")
    for number in range(COMMITS):
        commit(number)
    os.write(1, b"done\n")


if __name__ == "__main__":
    main()
