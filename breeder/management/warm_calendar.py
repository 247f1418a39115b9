"""The board worked out before anybody asks: when the site starts, after new forecasts, and now and then."""

import logging
import threading

from django.db import connections
from django.utils import timezone

from breeder.base.queries import household
from breeder.shipments import board as boards
from breeder.shipments import run_check
from breeder.shipments.forms.departure_forms import BoardForm
from breeder.shipments.rules.departure_rules import NotLikeThis
from breeder.shipments.steps.departure_steps import places_of
from breeder.weather.steps import PlaceUnknown

LOG = logging.getLogger(__name__)

EVERY_S = 600.0


def warm() -> None:
    """Work out the board and its usual plan, and one check, so that the first page of each finds all at hand."""
    setting, now = household(), timezone.now()
    found = boards.board_of(setting, now)
    boards.plan(found, BoardForm.asked({}).aim, BoardForm.USUAL_A_DAY)
    for row in found.rows:
        try:
            run_check.refuse_unless_ready(row.parcel, setting)
            run_check.check(row.parcel, setting, places_of(row.parcel, setting), now)
        except (NotLikeThis, PlaceUnknown):
            continue
        return


class Warming(threading.Thread):
    """Keeps the board worked out beside the site."""

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
        """Work it out; whatever fails is logged, and the pages work it out themselves."""
        try:
            warm()
        except Exception:
            LOG.exception("The board could not be worked out beforehand.")
        finally:
            connections.close_all()

    def poke(self) -> None:
        """Let it be worked out now: something has changed."""
        self.due.set()

    def stop(self) -> None:
        """Let the thread end."""
        self.stopping = True
        self.due.set()
