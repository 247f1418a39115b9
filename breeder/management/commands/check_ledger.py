"""`manage.py check_ledger`: replay every tub from its ledger and compare it with what the book stores."""

import sys
from typing import Any

from django.core.management.base import BaseCommand

from breeder.cultures import belief_renewal, ledger_check
from breeder.cultures.models import Belief, Entry

HEADS = ("tub", "stage", "value", "stored", "replayed")
CHANGED_HEADS = ("tub", "stage", "sure before", "sure now", "likely before", "likely now")


class Command(BaseCommand):
    help = "Replay every tub from its ledger and compare it with what is stored. Exits with 1 if anything differs."

    def handle(self, *args: Any, **options: Any) -> None:
        """Print that everything agrees, or a table of what does not.

        First explain, once, the numbers that a newer version of the book computes differently.
        """
        belief_renewal.renew()
        if changes := belief_renewal.tell_once():
            self.stdout.write(as_table([CHANGED_HEADS, *(_words(change) for change in changes)]))
            self.stdout.write(
                f"{belief_renewal.WHY} These {len(changes)} numbers changed by it, which is said only once."
            )
        rows = [(str(d.tub), d.stage, d.value, d.stored, d.replayed) for d in ledger_check.differences()]
        if rows:
            self.stdout.write(as_table([HEADS, *rows]))
            self.stderr.write(
                f"{len(rows)} values are not what the ledger says. Restore the last backup, or ask for help."
            )
            sys.exit(1)
        entries, beliefs = Entry.objects.count(), Belief.objects.count()
        self.stdout.write(f"The book agrees with its ledger: {entries} entries, {beliefs} beliefs, no difference.")


def _words(change: belief_renewal.Change) -> tuple[str, ...]:
    return tuple(str(value) for value in vars(change).values())


def as_table(rows: list[tuple[str, ...]]) -> str:
    """Return rows as plain text in columns."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    return "\n".join(
        "  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)).rstrip() for row in rows
    )
