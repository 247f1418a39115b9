"""Steps of actions on lines, shared with other rooms."""

from collections.abc import Iterable

from django.db import connection, transaction
from django.db.models import F

from breeder.species.models import Line


def take_turn(line_ids: Iterable[int]) -> None:
    """Lock these lines before reading anything; waits its turn. The only lock, on both databases.

    It is the write lock on SQLite and a row lock on PostgreSQL, held until the caller's transaction ends. Raises
    TransactionManagementError outside a transaction.
    """
    if not connection.in_atomic_block:
        raise transaction.TransactionManagementError("take_turn() outside a transaction would hold nothing.")
    # One statement per line, in ascending order, so that two actions over the same lines cannot deadlock.
    for line_id in sorted(set(line_ids)):
        Line.objects.filter(pk=line_id).update(turn=F("turn") + 1)
