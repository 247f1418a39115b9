"""Steps of actions on lines, shared with other rooms."""

from collections.abc import Iterable

from django.db import connection, transaction
from django.db.models import F

from breeder.species.models import Line


def lock_lines(line_ids: Iterable[int]) -> None:
    """Wait for and take the lock of these lines: the one lock, on both databases, before anything is read.

    It is the write lock on SQLite and a row lock on PostgreSQL, held until the caller's transaction ends. Raises
    TransactionManagementError outside a transaction.
    """
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError("lock_lines() outside a transaction would hold nothing.")
    # One statement a line, in ascending order: two actions over the same lines cannot wait for each other in a ring.
    for line_id in sorted(set(line_ids)):
        Line.objects.filter(pk=line_id).update(turn=F("turn") + 1)
