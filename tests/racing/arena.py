"""Run by the race tests in a process of its own: one database, several real processes that want the same animals.

    python -m tests.racing.arena      (the database by BREEDER_DATA and BREEDER_DATABASE)

Prints what came of it as JSON. In the control the one lock is taken out, and on SQLite the transaction with it, since
its BEGIN IMMEDIATE is a lock too; that must oversell, or the race would prove nothing.
"""

import contextlib
import gc
import json
import multiprocessing
import os
import time
from collections.abc import Callable
from random import Random
from threading import BrokenBarrierError
from typing import Any

import django

os.environ.setdefault("DJANGO_SETTINGS_MODULE", "breeder.settings")
django.setup()

from django.core.exceptions import ValidationError  # noqa: E402
from django.core.management import call_command  # noqa: E402
from django.db import OperationalError, connection, connections, transaction  # noqa: E402
from django.urls import reverse  # noqa: E402

from breeder.base.queued_sqlite import write_queue as waiting_line  # noqa: E402
from breeder.cultures import ledger_check, rules, steps  # noqa: E402
from breeder.cultures.actions.changes import move_animals  # noqa: E402
from breeder.cultures.actions.counts import record_count  # noqa: E402
from breeder.cultures.actions.tubs import Place, start_tub  # noqa: E402
from breeder.cultures.models import Culture, Promise  # noqa: E402
from breeder.cultures.queries.stock import stock_by_line, stock_of  # noqa: E402
from breeder.orders import actions as orders  # noqa: E402
from breeder.orders.models import Order  # noqa: E402
from breeder.orders.rules.order_status import Who  # noqa: E402
from breeder.orders.rules.packs import Wanted  # noqa: E402
from breeder.species.models import Line  # noqa: E402
from tests import build  # noqa: E402
from tests.orders.stand import counted_line, pack, terms  # noqa: E402
from tests.racing.arena_facts import (  # noqa: E402
    ANSWER_S,
    CONTROL_WAIT_S,
    EACH,
    HANDS,
    LAST,
    ROUNDS,
    SHORT_WAIT_S,
    STEPS,
    TURN_TAKES_S,
    TURNS,
    WAIT_S,
)

Result = dict[str, Any]


def without_turn() -> None:
    """Take the lock out of this process."""
    steps.lock_lines = lambda line_ids: None
    if connection.vendor == "sqlite":
        transaction.atomic = lambda *args, **kwargs: contextlib.nullcontext()


class Meeting:
    """Makes every hand that has decided wait for the others to have decided: the worst moment, in each round.

    It lies before the first row is written: on PostgreSQL the second order's number waits for the first to commit.
    """

    def __init__(self, rounds: int, wait_s: float) -> None:
        context = multiprocessing.get_context("fork")
        self.begins = [context.Barrier(HANDS) for _ in range(rounds)]
        self.decided = [context.Barrier(HANDS) for _ in range(rounds)]
        self.round, self.wait_s = 0, wait_s

    def begin(self, number: int) -> None:
        """Wait until every hand has come to this round."""
        self.round = number
        self.begins[number].wait(ANSWER_S)

    def after_deciding(self) -> None:
        """From now on, in this process, whoever has decided waits."""
        decide = rules.require

        def require(*args: Any) -> None:
            decide(*args)
            with contextlib.suppress(BrokenBarrierError):
                self.decided[self.round].wait(self.wait_s)

        rules.require = require


def in_hands(work: Callable[[int], list[str]]) -> list[list[str]]:
    """Do `work` in several processes at once, and return what each came back with."""
    connections.close_all()
    gc.freeze()  # what is there already is never looked at again, so its memory stays shared
    context = multiprocessing.get_context("fork")
    answers = context.Queue()

    def hand(number: int) -> None:
        try:
            answers.put(work(number))
        except BaseException as failed:  # what a hand died of is the finding
            answers.put([f"failed: {type(failed).__name__}: {failed}"])
        connections.close_all()

    hands = [context.Process(target=hand, args=(number,)) for number in range(HANDS)]
    for one in hands:
        one.start()
    found = [answers.get(timeout=ANSWER_S) for _ in hands]
    for one in hands:
        one.join(ANSWER_S)
    return found


def agree_once(offer_id: int, number: int) -> str:
    """Agree one order; return its animals, or why not."""
    try:
        orders.agree_order(Who(new_name=f"Hand {number}"), [Wanted(offer_id, 1)], terms(), by=None)
    except ValidationError as refusal:
        return f"refused: {' '.join(refusal.messages)}"
    return "agreed"


def last_animals(*, no_turn: bool) -> Result:
    """Several hands want the last animals at one moment, round after round, each time of another line."""
    number_of_rounds = 1 if no_turn else ROUNDS
    lines = [counted_line(f"{'Control' if no_turn else 'Last'} {number}", LAST) for number in range(number_of_rounds)]
    offers = [pack(of, number=EACH, overcount=0).pk for of in lines]
    meeting = Meeting(number_of_rounds, CONTROL_WAIT_S if no_turn else WAIT_S)

    def work(hand: int) -> list[str]:
        meeting.after_deciding()
        if no_turn:
            without_turn()
        said = []
        for number, offer in enumerate(offers):
            meeting.begin(number)
            said.append(agree_once(offer, hand))
        return said

    by_hand = in_hands(work)
    rounds = [round_of(of, [said[number] for said in by_hand]) for number, of in enumerate(lines)]
    return {"rounds": rounds, "differences": len(list(ledger_check.differences()))}


def round_of(of: Line, said: list[str]) -> Result:
    promised = sum(promise.number for promise in Promise.objects.filter(line=of))
    stock = stock_of(of.pk).stages["young"]
    return {"said": said, "promised": promised, "free": stock.free, "short": stock.short}


def busy_day() -> Result:
    """Several hands agree, cancel, pack, move, count and begin tubs over two lines, each in its own order."""
    lines = [counted_line("Ash", 400), counted_line("Slate", 60)]
    others = [build.tub(of).pk for of in lines]
    offers = [pack(of, number=4, overcount=0).pk for of in lines]
    by_hand = in_hands(lambda hand: [one_step(Random(hand * 100 + n), lines, others, offers) for n in range(STEPS)])
    stocks = stock_by_line()
    return {
        "said": [said for answers in by_hand for said in answers],
        "short": [stocks[of.pk].stages["young"].short for of in lines],
        "numbers": sorted(Culture.objects.values_list("number", flat=True)),
        "orders": sorted(Order.objects.values_list("number", flat=True)),
        "differences": [str(one) for one in ledger_check.differences()],
    }


def one_step(dice: Random, lines: list[Line], others: list[int], offers: list[int]) -> str:
    """Do one thing; return its name, or what went wrong."""
    at = dice.randrange(len(lines))
    of = lines[at]
    first = of.cultures.order_by("pk")[0].pk
    what = dice.choice(["agree", "agree", "cancel", "pack", "move", "look", "begin"])
    try:
        if what == "agree":
            return agree_once(offers[at], dice.randrange(1000)).split(":")[0]
        if what == "move":
            move_animals(first, others[at], "young", 1, by=None)
        elif what == "look":
            record_count(others[at], "adults", "eye", {"from": 10, "to": 25}, seen=["young"], by=None)
        elif what == "begin":
            start_tub(of.pk, Place("B"), by=None)
        else:
            end_one(what, of)
    except ValidationError as refusal:
        return f"refused {what}: {' '.join(refusal.messages)}"
    return what


def end_one(what: str, of: Line) -> None:
    """Cancel or pack one open order of a line, if there is one."""
    held = Order.objects.filter(status=Order.Status.HELD, lines__offer__line=of).order_by("?").first()
    if held is None:
        return
    if what == "cancel":
        orders.cancel_order(held.number, "changed their mind", by=None)
        return
    with transaction.atomic():
        steps.lock_lines([of.pk])
        promise = held.lines.get().promise
        promise.refresh_from_db()
        if promise.state == Promise.State.HELD:
            tub = of.cultures.order_by("pk")[0]
            steps.pack_from(tub, "young", promise.number, promise=promise, at=promise.made_at, by=None)


def impatient(*, no_line: bool) -> Result:
    """Several hands take the turn again and again without a pause, and SQLite itself waits for a moment only.

    Only on a database file: PostgreSQL hands its locks on in the order in which they were asked for.
    """
    of = build.line("Impatient control" if no_line else "Impatient")

    def work(hand: int) -> list[str]:
        connections.databases["default"]["OPTIONS"]["timeout"] = SHORT_WAIT_S
        if no_line:
            waiting_line.wait_in = lambda path: None
        return [turn_once(of.pk) for _ in range(TURNS)]

    said = [word for answers in in_hands(work) for word in answers]
    of.refresh_from_db()
    return {"said": said, "turns": of.turn}


def turn_once(line_id: int) -> str:
    try:
        with transaction.atomic():
            steps.lock_lines([line_id])
            time.sleep(TURN_TAKES_S)
    except OperationalError as trouble:
        return str(trouble)
    return "done"


def main() -> None:
    """Run the control first, then the same with the lock, then a busy day, and print all of it."""
    call_command("migrate", verbosity=0)
    reverse("dashboard:page")  # load every room once, and not in each hand
    found = {"control": last_animals(no_turn=True), "turn": last_animals(no_turn=False), "busy": busy_day()}
    if connection.vendor == "sqlite":
        found["impatient"] = {"without a line": impatient(no_line=True), "in a line": impatient(no_line=False)}
    print(json.dumps(found))


if __name__ == "__main__":
    main()
