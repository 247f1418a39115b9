"""A backup of an older version: an empty book's tables go back to that version, take the rows, and come forward again.

The migrations that follow then do to the restored rows what they did to every book that was updated in place.
"""

from collections.abc import Iterator
from contextlib import contextmanager

from django.apps import apps
from django.apps.registry import Apps
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader

APP = "breeder"


def is_older(version: str) -> bool:
    """Return whether this program knows a version of the tables, as one that came before its own."""
    return (APP, version) in MigrationLoader(connection).graph.nodes


@contextmanager
def tables_as_of(version: str, now: str) -> Iterator[Apps]:
    """Yield the models of `version` while an empty book has its tables; afterwards the tables are those of `now`."""
    if version == now:
        yield apps
        return
    call_command("migrate", APP, version, verbosity=0)
    try:
        loader = MigrationLoader(connection)
        others = [node for node in loader.graph.leaf_nodes() if node[0] != APP]
        yield loader.project_state([*others, (APP, version)]).apps
    finally:
        call_command("migrate", verbosity=0)
