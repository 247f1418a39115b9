"""Compute the board ahead of time: when the site starts, after new forecasts, and every ten minutes."""

import logging
import threading

from django.db import connections
from django.utils import timezone

from breeder.base.queries import household
from breeder.shipments import board, run_check
from breeder.shipments.forms.departure_forms import BoardForm
from breeder.shipments.rules.departure_rules import DepartureRefused
from breeder.shipments.steps.departure_steps import places_of
from breeder.weather.steps import PlaceUnknown

LOG = logging.getLogger(__name__)

EVERY_S = 600.0


def warm_board() -> None:
    """Compute the board, its usual plan and one check, so that the first visit to each page is quick."""
    setting, now = household(), timezone.now()
    built = board.build_board(setting, now)
    board.plan(built, BoardForm.asked({}).aim, BoardForm.USUAL_A_DAY)
    for row in built.rows:
        try:
            run_check.refuse_unless_ready(row.parcel, setting)
            run_check.check(row.parcel, setting, places_of(row.parcel, setting), now)
        except (DepartureRefused, PlaceUnknown):
            continue
        return


class BoardWarmer(threading.Thread):
    """Keeps the board computed while the site runs."""

    def __init__(self) -> None:
        super().__init__(name="warming", daemon=True)
        self.due = threading.Event()
        self.due.set()
        self.stopping = False

    def run(self) -> None:
        while not self.stopping:
            self.due.wait(EVERY_S)
            self.due.clear()
            if not self.stopping:
                self.once()

    def once(self) -> None:
        """Compute the board. A failure is logged, and the pages compute it themselves."""
        try:
            warm_board()
        except Exception:
            LOG.exception("The board could not be worked out beforehand.")
        finally:
            connections.close_all()

    def poke(self) -> None:
        """Compute it now, because something has changed."""
        self.due.set()

    def stop(self) -> None:
        """End the thread."""
        self.stopping = True
        self.due.set()
