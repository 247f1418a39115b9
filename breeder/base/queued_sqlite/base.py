"""Django's SQLite, whose transactions stand in line before they ask for the write lock."""

from collections.abc import Iterator
from contextlib import contextmanager
from typing import Any

from django.db.backends.sqlite3 import base

from breeder.base.queued_sqlite import write_queue


class DatabaseWrapper(base.DatabaseWrapper):
    """The line only orders those who wait; the lock that keeps the book whole is SQLite's own, as before."""

    def __init__(self, *args: Any, **kwargs: Any) -> None:
        super().__init__(*args, **kwargs)
        self._place: write_queue.Place | None = None

    @contextmanager
    def only_reading(self) -> Iterator[None]:
        """Let transactions begun inside only read: they see one moment and keep nobody from writing (WAL)."""
        self.ensure_connection()  # which sets the mode
        mode, self.transaction_mode = self.transaction_mode, None
        try:
            yield
        finally:
            self.transaction_mode = mode

    def _start_transaction_under_autocommit(self) -> None:
        if self.transaction_mode and not self.is_in_memory_db():
            self._place = write_queue.wait_in(f"{self.settings_dict['NAME']}{write_queue.BESIDE}")
        try:
            super()._start_transaction_under_autocommit()
        except BaseException:
            self._go()
            raise

    def _set_autocommit(self, autocommit: bool) -> None:
        # Django calls this at the end of every outermost transaction, committed or rolled back.
        super()._set_autocommit(autocommit)
        if autocommit:
            self._go()

    def _close(self) -> None:
        try:
            super()._close()
        finally:
            self._go()

    def _go(self) -> None:
        place, self._place = self._place, None
        if place is not None:
            place.leave()
