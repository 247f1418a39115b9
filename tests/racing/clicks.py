"""Run by the double-click tests in a process of its own: one form is sent twice by two real processes.

    python -m tests.racing.clicks      (the database by BREEDER_DATA and BREEDER_DATABASE)

Prints as JSON what each sending was answered. In the control a refusal does not look at the token again.
"""

import json
import multiprocessing
import os
import time
from collections.abc import Callable
from datetime import timedelta
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "breeder.settings")
django.setup()

from django.contrib.messages import get_messages  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.db import connections  # noqa: E402
from django.test import Client  # noqa: E402
from django.test.utils import setup_test_environment  # noqa: E402
from django.urls import reverse  # noqa: E402
from django.utils import timezone  # noqa: E402

from breeder import middleware  # noqa: E402
from breeder.base import form_tokens, submit  # noqa: E402
from breeder.base.models import Setting  # noqa: E402
from breeder.base.roles import KEEPER  # noqa: E402
from breeder.cultures.actions.changes import record_change  # noqa: E402
from breeder.cultures.actions.crashes import mark_crashed  # noqa: E402
from breeder.cultures.models import Entry  # noqa: E402
from breeder.orders.models import Order  # noqa: E402
from breeder.shipments.models import Supply  # noqa: E402
from breeder.species.forms import SpeciesForm  # noqa: E402
from breeder.species.models import Species  # noqa: E402
from tests import build  # noqa: E402
from tests.build import user_in  # noqa: E402
from tests.orders.stand import counted_line, pack  # noqa: E402
from tests.racing.clicks_facts import ANSWER_S, AT_ONCE, LATE, MOMENTS, ROUNDS, WRITES_FOR_S, WRITING  # noqa: E402

Sending = tuple[str, dict[str, Any]]


def order_for_somebody_new(number: int) -> Sending:
    offer = pack(counted_line(f"Order {number}", 60))
    day = timezone.localdate() + timedelta(days=3)
    typed = {"new_name": f"Ada Marsh {number}", "held_until": day.isoformat(), f"packs-{offer.pk}": 1, "agree": "1"}
    return reverse("orders:new"), typed


def new_species(number: int) -> Sending:
    form = SpeciesForm(instance=build.species("Armadillidium vulgare"), household=Setting())
    shown = {name: form[name].value() for name in form.fields if name != "seen"}
    typed = {name: "" if value is None else value for name, value in shown.items()}
    letters = "".join(chr(ord("a") + int(digit)) for digit in str(number))
    return reverse("species:species_new"), typed | {"scientific_name": f"Porcellio {letters}us"}


def new_supply(number: int) -> Sending:
    return reverse("shipments:supplies"), {"name": f"Liner {number}", "on_shelf": 1, "order_below": 5, "add": "1"}


def entry_taken_back(number: int) -> Sending:
    tub = counted_line(f"Back {number}", 60).cultures.get()
    entry = record_change(tub.pk, "young", 3, "died", by=None).entry
    return reverse("cultures:tub_correct", args=[tub.number]), {"entry": entry.pk}


def crash_that_was_none(number: int) -> Sending:
    tub = counted_line(f"Crash {number}", 60).cultures.get()
    mark_crashed(tub.pk, "mold", by=None)
    return reverse("orders:crash_over", args=[tub.number]), {"reason": f"it was dust {number}"}


FORMS: dict[str, Callable[[int], Sending]] = {
    "order": order_for_somebody_new,
    "species": new_species,
    "supply": new_supply,
    "taken back": entry_taken_back,
    "crash over": crash_that_was_none,
}


class Clicks:
    """Two processes that send one form at a chosen moment of each other's."""

    def __init__(self, moment: str, *, looks_again: bool) -> None:
        context = multiprocessing.get_context("fork")
        self.moment, self.looks_again = moment, looks_again
        self.both, self.first_done, self.first_writes = context.Barrier(2), context.Event(), context.Event()
        self.second_looked = context.Event()
        self.answers, self.context = context.Queue(), context

    def send(self, client: Client, path: str, typed: dict[str, Any]) -> list[dict[str, Any]]:
        """Send the form twice; return both answers."""
        connections.close_all()
        hands = [
            self.context.Process(target=self._hand, args=(which, client, path, typed))
            for which in (self._first, self._second)
        ]
        for hand in hands:
            hand.start()
        answers = [self.answers.get(timeout=ANSWER_S) for _ in hands]
        for hand in hands:
            hand.join(ANSWER_S)
        return answers

    def _hand(self, prepare: Callable[[], None], client: Client, path: str, typed: dict[str, Any]) -> None:
        if not self.looks_again:
            middleware._first_answer = lambda request: None
            submit._look_again = lambda request, refusal: refusal
        prepare()
        response = client.post(path, typed)
        if prepare == self._first:
            self.first_done.set()
        refused = [str(message) for message in get_messages(response.wsgi_request) if message.level_tag == "error"]
        self.answers.put({"status": response.status_code, "to": response.get("Location"), "refused": refused})
        connections.close_all()

    def _first(self) -> None:
        if self.moment == WRITING:
            spend = form_tokens.spend

            def slowly(*sent: str) -> None:
                self.first_writes.set()
                time.sleep(WRITES_FOR_S)
                spend(*sent)

            form_tokens.spend = slowly
        if self.moment == AT_ONCE:
            self.both.wait(ANSWER_S)
        if self.moment == LATE:
            self.second_looked.wait(ANSWER_S)

    def _second(self) -> None:
        if self.moment == AT_ONCE:
            self.both.wait(ANSWER_S)
        if self.moment == WRITING:
            self.first_writes.wait(ANSWER_S)
        if self.moment == LATE:
            self._wait_after_the_first_look()

    def _wait_after_the_first_look(self) -> None:
        looks = {"seen": form_tokens.seen, "look_at": form_tokens.look_at}

        def look_then_wait(look: Callable[..., None]) -> Callable[..., None]:
            def wait(*sent: Any) -> None:
                look(*sent)
                vars(form_tokens).update(looks)
                self.second_looked.set()
                self.first_done.wait(ANSWER_S)

            return wait

        vars(form_tokens).update({name: look_then_wait(look) for name, look in looks.items()})


def main() -> None:
    call_command("migrate", verbosity=0)
    setup_test_environment()
    client = Client(raise_request_exception=False)
    client.force_login(user_in(KEEPER, "keeper"))
    client.get(reverse("dashboard:page"))  # load every room once, and not in each hand
    number, found = 0, []
    for looks_again in (False, True):
        for name, prepare in FORMS.items():
            for moment in MOMENTS if looks_again else (LATE,):
                for _ in range(ROUNDS if moment == AT_ONCE else 1):
                    number += 1
                    path, typed = prepare(number)
                    clicks = Clicks(moment, looks_again=looks_again)
                    answers = clicks.send(client, path, typed | {"token": form_tokens.new_token()})
                    found.append({"form": name, "moment": moment, "again": looks_again, "answers": answers})
    written = {
        "order": Order.objects.count(),
        "species": Species.objects.exclude(scientific_name="Armadillidium vulgare").count(),
        "supply": Supply.objects.count(),
        "taken back": Entry.objects.filter(corrects__isnull=False).count(),
    }
    print(json.dumps({"pairs": found, "written": written}))


if __name__ == "__main__":
    main()
