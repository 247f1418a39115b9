"""Run by the order tests in a process of its own: several real processes change one order at one moment.

    python -m tests.racing.edits      (the database by BREEDER_DATA and BREEDER_DATABASE)

Every hand has opened the page of the same order, and sends its own postage. In the control each compares what its page
showed before it takes the lock; that must lose edits, or the race would prove nothing.
"""

import json
import multiprocessing
import os
from dataclasses import replace
from datetime import timedelta
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "breeder.settings")
django.setup()

from django.core.management import call_command  # noqa: E402
from django.db import connections  # noqa: E402
from django.test import Client  # noqa: E402
from django.test.utils import setup_test_environment  # noqa: E402
from django.urls import reverse  # noqa: E402
from django.utils import timezone  # noqa: E402

from breeder.base.action_frame import Sent  # noqa: E402
from breeder.base.models import LogRow  # noqa: E402
from breeder.base.roles import KEEPER  # noqa: E402
from breeder.orders import actions, steps  # noqa: E402
from breeder.orders.models import Order  # noqa: E402
from tests.build import user_in  # noqa: E402
from tests.orders.stand import agree, counted_line, pack  # noqa: E402
from tests.racing.edits_facts import ANSWER_S, HANDS, ORDERS  # noqa: E402

CONTEXT = multiprocessing.get_context("fork")


def race(order: Order, clients: list[Client], *, compares_first: bool) -> dict[str, Any]:
    """Let every hand change the order at once; return what they were answered and what is in the book."""
    page, line = reverse("orders:change", args=[order.number]), order.lines.get()
    day = (timezone.localdate() + timedelta(days=3)).isoformat()
    typed = {"held_until": day, "change": "1", f"line-{line.pk}-packs": 1, f"line-{line.pk}-price": "24"}
    typed["seen"] = clients[0].get(page).context["lines"]["seen"].value()
    connections.close_all()
    ready, answers = CONTEXT.Barrier(HANDS), CONTEXT.Queue()

    def hand(number: int) -> None:
        meet_before_the_lock(ready, compares_first=compares_first)
        answer = clients[number].post(page, typed | {"postage": f"{number + 1}.00"})
        answers.put([answer.status_code, "was changed since you opened this page" in answer.content.decode()])
        connections.close_all()

    hands = [CONTEXT.Process(target=hand, args=(number,)) for number in range(HANDS)]
    for one in hands:
        one.start()
    found = [answers.get(timeout=ANSWER_S) for _ in hands]
    for one in hands:
        one.join(ANSWER_S)
    accepted = sum(status == 302 for status, _ in found)
    logged = LogRow.objects.filter(did="changed an order", about=f"order {order.number}").count()
    told = sum(changed for status, changed in found if status == 422)
    return {"accepted": accepted, "logged": logged, "told": told, "kept": float(steps.fresh(order.number).postage)}


def meet_before_the_lock(ready: Any, *, compares_first: bool) -> None:
    """From now on, in this process, nobody takes the order's lock before all have come so far."""
    change_order = actions.change_order

    def change_later(number: int, change: actions.Change, *, by: Any, sent: Sent) -> Order:
        if compares_first:
            sent.refuse_if_changed()
            sent = replace(sent, refuse_if_changed=lambda: None)
        ready.wait(ANSWER_S)
        return change_order(number, change, by=by, sent=sent)

    actions.change_order = change_later


def main() -> None:
    call_command("migrate", verbosity=0)
    setup_test_environment()
    clients = [Client() for _ in range(HANDS)]
    for number, client in enumerate(clients):
        client.force_login(user_in(KEEPER, f"keeper {number}"))
    offer = pack(counted_line("Ash", 600))
    found = {
        name: [race(agree((offer, 1), name=f"{name} {number}"), clients, compares_first=name == "before the lock")
               for number in range(ORDERS)]
        for name in ("before the lock", "after the lock")
    }  # fmt: skip
    print(json.dumps(found))


if __name__ == "__main__":
    main()
