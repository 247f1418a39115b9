"""Run by the crash tests in a process of its own: children are killed with kill -9 in the middle of actions.

    python -m tests.crashing.wreck      (the database by BREEDER_DATA and BREEDER_DATABASE)

Each action is begun again and again, and its process killed before its first, second, third ... statement that writes.
In the control the transactions are taken out; that must leave halves behind, or the kills would prove nothing.
"""

import contextlib
import gc
import json
import multiprocessing
import os
import re
import signal
import time
from collections.abc import Callable
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "breeder.settings")
django.setup()

from django.core.management import call_command  # noqa: E402
from django.db import connection, connections, transaction  # noqa: E402
from django.urls import reverse  # noqa: E402

from breeder.base.models import LogRow  # noqa: E402
from breeder.cultures import ledger_check, steps  # noqa: E402
from breeder.cultures.actions.changes import move_animals  # noqa: E402
from breeder.cultures.actions.corrections import correct_entry  # noqa: E402
from breeder.cultures.actions.rounds import Visit, record_round  # noqa: E402
from breeder.cultures.actions.tubs import Place, split_tub  # noqa: E402
from breeder.cultures.models import Belief, Culture, Entry, Promise  # noqa: E402
from breeder.cultures.queries.stock import stock_of  # noqa: E402
from breeder.orders.models import Order, OrderLine  # noqa: E402
from breeder.people.models import Person  # noqa: E402
from tests import build  # noqa: E402
from tests.orders.stand import agree, counted_line, pack  # noqa: E402

WRITE = re.compile(r"^(?:INSERT|UPDATE|DELETE)\b")
MOST_KILLS = 60  # more writes than any action here has
HANDS, ACKNOWLEDGED = 4, 12  # of the last act: hands at work, and answers after which all of them are killed
PATIENCE_S = 120
KEPT = (Belief, Culture, Entry, LogRow, Order, OrderLine, Person, Promise)


def kill_before(write: int) -> None:
    """Kill this process, as kill -9 does, before its statement number `write` that writes."""
    seen = 0

    def count(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        nonlocal seen
        seen += bool(WRITE.match(sql))
        if seen == write:
            os.kill(os.getpid(), signal.SIGKILL)
        return execute(sql, params, many, context)

    connection.execute_wrappers.append(count)


def without_transactions() -> None:
    transaction.atomic = lambda *args, **kwargs: contextlib.nullcontext()
    steps.lock_lines = lambda line_ids: None
    connection.features.has_select_for_update = False  # it would ask for the transaction


def everything() -> dict[str, list[Any]]:
    """Return all rows of the book, for comparing; taking a turn is no change of it."""
    return {table.__name__: list(table.objects.order_by("pk").values_list()) for table in KEPT}


def killed_all_along(act: Callable[[], Any], *, control: bool) -> dict[str, Any]:
    """Begin an action and kill it before each of its writes in turn, until it comes through."""
    halves = unproven = 0
    before = everything()
    for kills in range(MOST_KILLS):
        code = in_child(act, kills + 1, control)
        if code == 0:
            came_through = everything() != before
            return {"kills": kills, "halves": halves, "unproven": unproven, "came through": came_through}
        assert code == -signal.SIGKILL, f"the child ended with {code}"
        after = everything()
        halves, before = halves + (after != before), after
        # A book that is what it was before needs no proof of its own; it is proven once at the end.
        unproven += control and any(True for _ in ledger_check.differences())
    raise AssertionError("this action has no end")


def in_child(act: Callable[[], Any], write: int, control: bool) -> int:
    connections.close_all()

    def child() -> None:
        if control:
            without_transactions()
        kill_before(write)
        act()

    process = multiprocessing.get_context("fork").Process(target=child)
    process.start()
    process.join(PATIENCE_S)
    return process.exitcode if process.exitcode is not None else -1


def acts() -> dict[str, Callable[[], Any]]:
    """Return actions with several writes each, over a line of their own."""
    of = counted_line("Ash", 400)
    first, second, offer = of.cultures.get(), build.tub(of), pack(of)
    eye_and_dead = Visit(first.pk, eye=(("young", "50–100"),), died=(("young", 1),))
    round_ = [eye_and_dead, Visit(second.pk, seen=("well",))]
    wrong = move_animals(first.pk, second.pk, "young", 3, by=None).entry
    return {
        "agree": lambda: agree((offer, 2)),
        "round": lambda: record_round(round_, by=None),
        "move": lambda: move_animals(first.pk, second.pk, "young", 5, by=None),
        "split": lambda: split_tub(first.pk, Place("B"), share=0.5, by=None),
        "correct": lambda: correct_entry(wrong.pk, by=None),
    }


def many_hands_killed() -> dict[str, Any]:
    """Let several processes agree orders, kill all of them at once, and compare with what they were told."""
    of = counted_line("Slate", 2000)
    offer = pack(of)
    connections.close_all()
    context = multiprocessing.get_context("fork")
    told = context.SimpleQueue()

    def hand() -> None:
        while True:
            told.put(agree((offer, 1)).number)

    hands = [context.Process(target=hand) for _ in range(HANDS)]
    for one in hands:
        one.start()
    numbers = [told.get() for _ in range(ACKNOWLEDGED)]
    for one in hands:
        os.kill(one.pid or 0, signal.SIGKILL)
    for one in hands:
        one.join(PATIENCE_S)
    return whole_orders(numbers, of.pk)


def whole_orders(numbers: list[int], line_id: int) -> dict[str, Any]:
    """Compare the orders that were acknowledged with those in the book, and these with their promises."""
    made = Order.objects.filter(lines__offer__line_id=line_id)
    promised = sum(promise.number for promise in Promise.objects.filter(line_id=line_id))
    return {
        "acknowledged": len(numbers),
        "missing": sorted(set(numbers) - set(made.values_list("number", flat=True))),
        "empty": Order.objects.filter(lines=None).count(),
        "promised by order": promised / (12 * made.count()),
        "free": stock_of(line_id).free("young") + promised,
    }


def main() -> None:
    began = time.monotonic()
    call_command("migrate", verbosity=0)
    reverse("dashboard:page")  # load every room once, and not in each child
    gc.freeze()  # what is there already is never looked at again, so its memory stays shared with the children
    found = {"whole": {name: killed_all_along(act, control=False) for name, act in acts().items()}}
    found["hands"] = many_hands_killed()
    found["differences"] = [str(one) for one in ledger_check.differences()]
    move = acts_of_control()
    found["control"] = {"move": killed_all_along(move, control=True)}
    found["took_s"] = round(time.monotonic() - began, 1)
    print(json.dumps(found))


def acts_of_control() -> Callable[[], Any]:
    """Return one action over a line of its own: the control leaves its book in pieces."""
    of = counted_line("Control", 400)
    first, second = of.cultures.get(), build.tub(of)
    return lambda: move_animals(first.pk, second.pk, "young", 5, by=None)


if __name__ == "__main__":
    main()
