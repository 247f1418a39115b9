"""Run by the person tests in a process of its own: several real processes change one person at one moment.

    python -m tests.racing.person_edits      (the database by BREEDER_DATA and BREEDER_DATABASE)

Every hand has opened the same page, and changes a field of its own. In the control each compares what its page showed
before it takes the lock; that must lose edits, or the race would prove nothing.
"""

import json
import multiprocessing
import os
from dataclasses import replace
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "breeder.settings")
django.setup()

from django.core.management import call_command  # noqa: E402
from django.db import connections, transaction  # noqa: E402
from django.test import Client  # noqa: E402
from django.test.utils import setup_test_environment  # noqa: E402
from django.urls import reverse  # noqa: E402

from breeder.base.action_frame import Sent  # noqa: E402
from breeder.base.roles import KEEPER  # noqa: E402
from breeder.people import actions  # noqa: E402
from breeder.people.models import Person  # noqa: E402
from tests import build  # noqa: E402
from tests.build import user_in  # noqa: E402
from tests.racing.edits_facts import ANSWER_S, HANDS  # noqa: E402

CONTEXT = multiprocessing.get_context("fork")
TYPED = {"name": "Bo Reed", "phone": "555 0101", "email": "bo@example.org", "note": "pays at the show"}
ROUNDS = 3


def race(number: int, clients: list[Client], *, compares_first: bool) -> dict[str, Any]:
    """Let every hand change another field of one person at once; return their answers and how many edits are kept."""
    person = build.person(f"Ada Marsh {number}")
    page = reverse("people:edit", args=[person.pk])
    form = clients[0].get(page).context["form"]
    shown = {name: form[name].value() or "" for name in form.fields}
    connections.close_all()
    ready, answers = CONTEXT.Barrier(HANDS), CONTEXT.Queue()

    def hand(field: str, client: Client) -> None:
        meet_before_the_lock(ready, compares_first=compares_first)
        answer = client.post(page, shown | {field: TYPED[field]})
        answers.put([answer.status_code, "was changed since you opened this page" in answer.content.decode()])
        connections.close_all()

    pairs = zip(TYPED, clients, strict=True)
    hands = [CONTEXT.Process(target=hand, args=pair) for pair in pairs]
    for process in hands:
        process.start()
    answered = [answers.get(timeout=ANSWER_S) for _ in hands]
    for process in hands:
        process.join(ANSWER_S)
    kept = Person.objects.get(pk=person.pk)
    return {
        "accepted": sum(status == 302 for status, _ in answered),
        "told": sum(status == 422 and named for status, named in answered),
        "kept": sum(getattr(kept, field) == value for field, value in TYPED.items()),
    }


def meet_before_the_lock(ready: Any, *, compares_first: bool) -> None:
    """From now on, in this process, nobody opens the action's transaction before all have come so far."""
    edit_person = actions.edit_person

    def edit_later(person_id: int, values: dict[str, Any], *, by: Any, sent: Sent) -> Person:
        if compares_first:
            with transaction.atomic():
                sent.refuse_if_changed()
            sent = replace(sent, refuse_if_changed=lambda: None)
        ready.wait(ANSWER_S)
        person: Person = edit_person(person_id, values, by=by, sent=sent)
        return person

    actions.edit_person = edit_later


def main() -> None:
    call_command("migrate", verbosity=0)
    setup_test_environment()
    clients = [Client() for _ in range(HANDS)]
    for number, client in enumerate(clients):
        client.force_login(user_in(KEEPER, f"keeper {number}"))
    races = {
        name: [race(number, clients, compares_first=name == "before the lock") for number in range(ROUNDS)]
        for name in ("before the lock", "after the lock")
    }
    print(json.dumps(races))


if __name__ == "__main__":
    main()
