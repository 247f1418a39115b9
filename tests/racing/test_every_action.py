"""Every action of every room that writes what is free begins with the turn; a new action must be placed here."""

import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from datetime import timedelta
from decimal import Decimal
from pathlib import Path
from typing import Any

import pytest
import time_machine
from django.db import connection, transaction
from django.utils import timezone

from breeder.cultures import steps
from breeder.cultures.actions.changes import move_animals, record_change
from breeder.cultures.actions.corrections import correct_entry
from breeder.cultures.actions.counts import care_for_shelf, record_count, record_looked
from breeder.cultures.actions.crashes import end_crash, mark_crashed, set_sister_apart
from breeder.cultures.actions.freezes import end_freeze, freeze_line
from breeder.cultures.actions.minimums import set_minimum
from breeder.cultures.actions.rounds import Visit, record_round
from breeder.cultures.actions.states import set_not_for_sale, set_purpose
from breeder.cultures.actions.transfers import Animals
from breeder.cultures.actions.tubs import Place, close_tub, merge_tubs, split_tub, start_tub
from breeder.cultures.models import Culture, Promise
from breeder.cultures.queries.stock import stock_of
from breeder.orders import actions as orders
from breeder.orders.models import Order
from breeder.orders.rules.packs import Wanted
from breeder.shipments import run_check
from breeder.shipments.actions import bench as packing
from breeder.shipments.actions import departure as dispatch
from breeder.shipments.models import Parcel
from breeder.species import actions as taxa
from breeder.species.models import Line, Species
from breeder.species.starter_set import earlier_rows
from tests import build
from tests.orders.stand import agree, pack, terms
from tests.shipments import boxes
from tests.shipments.test_sending import MILD, MORNING

pytestmark = pytest.mark.django_db

ROOMS = Path(__file__).resolve().parents[2] / "breeder"
WRITE = re.compile(r'^(?:INSERT INTO|UPDATE|DELETE FROM) "breeder_(\w+)"')
TURN = 'UPDATE "breeder_line" SET "turn"'
GUARDED = {"promise", "entry", "belief", "culture"}  # whatever is free is read from these rows

# Actions that set nothing of the above. That none of them can is held by the imports of their rooms (below).
NO_ANIMALS = {
    "carriers": {"add_federal_holidays", "load_example_services", "remove_closure", "save_closure", "save_service"},
    "base": {"save_settings"},
    "orders": {"save_offer"},
    "shipments": {
        "add_supply", "change_contents", "check_boxes", "keep_check", "record_packed",
        "choose_day", "choose_for_boxes", "choose_kit", "choose_way", "count_supplies",
        "keep_measured", "load_example_kits", "note_old_measurements", "plan_parcel", "save_kit",
    },
    "people": {"add_address", "add_person", "correct_address", "edit_person", "remove_person"},
    "species": {"add_line", "add_species", "load_starter_set"},
    "weather": {"keep_place", "keep_usual", "type_days", "upload_hours", "upload_measured", "want_fresh"},
}  # fmt: skip
# Ends holds that are over, which hold nothing any more: it cannot lower what is free (see the last test).
GIVES_BACK = {"orders": {"lapse_holds"}}


class Stage:
    """One counted line with two tubs, an order that holds animals, and a box of another line ready to leave."""

    def __init__(self) -> None:
        self.line = build.line("Ash", young_kept=0, harvest_share=None)
        self.tub, self.other = build.tub(self.line), build.tub(self.line)
        self.count = record_count(self.tub.pk, "young", "hand", {"counted": 100}, by=None).entry
        self.offer = pack(self.line)
        self.order = agree((self.offer, 1))


def loaded_before(species: Species) -> None:
    """Put a value of a species into the book as an earlier starter set had it."""
    row = next(row for row in earlier_rows() if row.scientific_name == species.scientific_name)
    sources = {row.field: [row.mark, row.source]}
    Species.objects.filter(pk=species.pk).update(sources=sources, **{row.field: row.value})


def box_ready() -> Parcel:
    """Return a checked box; the clock of the caller stands at its morning."""
    boxes.household()
    boxes.part(boxes.bare(), "Card box", on_shelf=3)
    boxes.service()
    line = build.line("Slate", harvest_share=None)
    boxes.stocked(line, at=MORNING)
    boxes.real_hours(MILD, issued_at=MORNING - timedelta(hours=2))
    order = boxes.order((line, 1), at=MORNING - timedelta(days=1))
    box = packing.plan_parcel(order.number, by=None)
    dispatch.check_parcel(box.number, by=None)
    return Parcel.objects.get(pk=box.pk)


def lapsed(at: Stage) -> Order:
    Order.objects.filter(pk=at.order.pk).update(held_until=timezone.now() - timedelta(hours=1))
    orders.lapse_holds()
    return at.order


def change(at: Stage) -> orders.Change:
    line = at.order.lines.get()
    return orders.Change(terms(), {line.pk: orders.LineChange(2, None)}, [Wanted(at.offer.pk, 1)])


def packed(box: Parcel) -> Parcel:
    dispatch.record_packed(box.number, {}, by=None)
    return box


def values_of(line: Line) -> dict[str, Any]:
    return {field.name: getattr(line, field.name) for field in Line._meta.fields if field.name not in ("id", "turn")}


# action -> how it is done; what it needs is made before its statements are written down.
RECIPES: dict[str, Callable[[Stage], Callable[[], Any]]] = {
    "cultures.record_count": lambda at: (
        lambda: record_count(at.tub.pk, "young", "eye", {"from": 10, "to": 25}, seen=["dry"], by=None)
    ),
    "cultures.record_round": lambda at: lambda: record_round([Visit(at.tub.pk, died=(("young", 2),))], by=None),
    "cultures.record_looked": lambda at: lambda: record_looked(at.tub.pk, by=None),
    "cultures.care_for_shelf": lambda at: lambda: care_for_shelf("A", ["fed"], by=None),
    "cultures.record_change": lambda at: lambda: record_change(at.tub.pk, "young", 3, "died", by=None),
    "cultures.move_animals": lambda at: lambda: move_animals(at.tub.pk, at.other.pk, "young", 3, by=None),
    "cultures.correct_entry": lambda at: lambda: correct_entry(at.count.pk, by=None),
    "cultures.start_tub": lambda at: (
        lambda: start_tub(at.line.pk, Place("B"), received=(Animals("young", 5),), by=None)
    ),
    "cultures.split_tub": lambda at: lambda: split_tub(at.tub.pk, Place("B"), share=0.5, by=None),
    "cultures.merge_tubs": lambda at: lambda: merge_tubs(at.tub.pk, at.other.pk, by=None),
    "cultures.close_tub": lambda at: lambda: close_tub(at.tub.pk, reason="died out", by=None),
    "cultures.set_purpose": lambda at: lambda: set_purpose(at.tub.pk, "show", by=None),
    "cultures.set_not_for_sale": lambda at: lambda: set_not_for_sale(at.tub.pk, "mites", by=None),
    "cultures.set_minimum": lambda at: (
        lambda: set_minimum(at.line.pk, adults_kept=50, young_kept=50, each_sex_kept=3, by=None)
    ),
    "cultures.freeze_line": lambda at: lambda: freeze_line(at.line.pk, "down to 31 adults", by=None),
    "cultures.end_freeze": lambda at: (lambda _: lambda: end_freeze(at.line.pk, "it has grown again", by=None))(
        freeze_line(at.line.pk, "down to 31 adults", by=None)
    ),
    "cultures.mark_crashed": lambda at: lambda: mark_crashed(at.tub.pk, "mould", by=None),
    "cultures.end_crash": lambda at: (lambda _: lambda: end_crash(at.tub.pk, "counted and clean", by=None))(
        mark_crashed(at.tub.pk, "mould", by=None)
    ),
    "cultures.set_sister_apart": lambda at: (
        lambda _: lambda: set_sister_apart(at.other.pk, at.tub.pk, quarantine=True, by=None)
    )(mark_crashed(at.tub.pk, "mould", by=None)),
    "orders.name_tub": lambda at: (lambda line: lambda: orders.name_tub(at.order.number, line.pk, at.tub.pk, by=None))(
        at.order.lines.get()
    ),
    "orders.agree_order": lambda at: lambda: agree((at.offer, 1), name="Ben Reed"),
    "orders.change_order": lambda at: lambda: orders.change_order(at.order.number, change(at), by=None),
    "orders.cancel_order": lambda at: lambda: orders.cancel_order(at.order.number, "not now", by=None),
    "orders.hold_again": lambda at: (
        lambda order: lambda: orders.hold_again(order.number, timezone.now() + timedelta(days=2), by=None)
    )(lapsed(at)),
    "orders.record_payment": lambda at: (
        lambda: orders.record_payment(at.order.number, Decimal("24.00"), timezone.localdate(), by=None)
    ),
    "shipments.send_parcel": lambda at: (lambda box: lambda: dispatch.send_parcel(box.number, {}, by=None))(
        box_ready()
    ),
    "shipments.unpack_parcel": lambda at: (
        lambda box: lambda: dispatch.unpack_parcel(box.number, release=True, by=None)
    )(packed(box_ready())),
    "species.edit_line": lambda at: (
        lambda: taxa.edit_line(at.line.pk, values_of(at.line) | {"young_kept": 50}, by=None)
    ),
    "species.edit_species": lambda at: (
        lambda: taxa.edit_species(at.line.species_id, {"adult_life_months": Decimal("6")}, by=None)
    ),
    "species.correct_starter_set": lambda at: (lambda _: taxa.correct_starter_set)(loaded_before(at.line.species)),
}
# These write the numbers of a line or a species, from which what is free is worked out too.
SETS_NUMBERS = {
    "cultures.set_minimum": "line",
    "cultures.freeze_line": "line",
    "cultures.end_freeze": "line",
    "species.edit_line": "line",
    "species.edit_species": "species",
    "species.correct_starter_set": "species",
}


@contextmanager
def statements() -> Iterator[list[str]]:
    """Collect every statement that is sent to the database."""
    sent: list[str] = []

    def note(execute: Any, sql: str, params: Any, many: bool, context: Any) -> Any:
        sent.append(sql)
        return execute(sql, params, many, context)

    with connection.execute_wrapper(note):
        yield sent


def without_turn_first(sent: list[str], also: str = "") -> list[str]:
    """Return what was written, or believed, before the turn was taken; empty when the turn came first."""
    guarded = GUARDED | ({also} if also else set())
    tables = [match[1] for sql in sent if (match := WRITE.match(sql))]
    if not guarded & set(tables):
        return ["nothing of what is free was written, so this proves nothing"]
    before: list[str] = []
    for sql in sent:
        if sql.startswith(TURN):
            return before
        if WRITE.match(sql) or 'FROM "breeder_belief"' in sql:
            before.append(sql)
    return before or ["the turn was never taken"]


@pytest.mark.parametrize("name", RECIPES)
def test_the_action_takes_the_turn_before_it_writes_or_believes_anything(
    name: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(run_check, "MEMBERS", 16)
    with time_machine.travel(MORNING, tick=False):
        Culture.objects.all().delete()
        do = RECIPES[name](stage_set())
        with statements() as sent:
            do()
    assert without_turn_first(sent, SETS_NUMBERS.get(name, "")) == []


def stage_set() -> Stage:
    """Set the stage as of the box's morning: its tubs were begun before it."""
    begun, tub = MORNING.date() - timedelta(days=200), build.tub
    build.tub = lambda of=None, **values: tub(of, **({"started_on": begun} | values))
    try:
        return Stage()
    finally:
        build.tub = tub


def test_an_action_that_forgets_the_turn_is_found() -> None:
    at = Stage()

    def forgetful() -> None:
        with transaction.atomic():
            steps.set_aside(at.line.pk, "young", 5, at=timezone.now())

    def late() -> None:
        with transaction.atomic():
            steps.set_aside(at.line.pk, "young", 5, at=timezone.now())
            steps.lock_lines([at.line.pk])

    for action in (forgetful, late):
        with statements() as sent:
            action()
        assert without_turn_first(sent) != []


def actions_of(room: str) -> set[str]:
    """Return the public functions of a room's actions that open a transaction."""
    package = importlib.import_module(f"breeder.{room}.actions")
    home = package.__name__
    modules = [package]
    if hasattr(package, "__path__"):
        modules += [importlib.import_module(f"{home}.{part.name}") for part in pkgutil.iter_modules(package.__path__)]
    return {
        name
        for module in modules
        for name, value in vars(module).items()
        if not name.startswith("_") and inspect.isfunction(value) and value.__module__.startswith(home)
        if hasattr(value, "is_action") or "transaction.atomic(durable=True)" in inspect.getsource(value)
    }


def rooms_with_actions() -> list[str]:
    return sorted({path.relative_to(ROOMS).parts[0] for path in ROOMS.glob("*/actions*")})


@pytest.mark.parametrize("room", rooms_with_actions())
def test_every_action_of_the_room_is_placed(room: str) -> None:
    walked = {name.split(".")[1] for name in RECIPES if name.startswith(f"{room}.")}
    placed = NO_ANIMALS.get(room, set()) | GIVES_BACK.get(room, set())
    assert walked | placed == actions_of(room), "place a new action in RECIPES or in NO_ANIMALS"
    assert not walked & placed


def test_an_action_that_is_placed_nowhere_is_found(monkeypatch: pytest.MonkeyPatch) -> None:
    def sell_quietly() -> None:
        with transaction.atomic(durable=True):
            pass

    monkeypatch.setattr(sell_quietly, "__module__", orders.__name__)
    monkeypatch.setattr(orders, "sell_quietly", sell_quietly, raising=False)
    assert "sell_quietly" in actions_of("orders")
    with pytest.raises(AssertionError, match="place a new action"):
        test_every_action_of_the_room_is_placed("orders")


@pytest.mark.parametrize("room", sorted(set(NO_ANIMALS) - {"cultures", "orders", "shipments"}))
def test_rooms_whose_actions_set_nothing_free_could_not_do_so(room: str) -> None:
    writing = re.compile(r"cultures(?:\.| import .*\b)(?:steps|quarantine|actions)\b")
    rows = re.compile(r"\b(?:Promise|Entry|Belief)(?:\(|\.objects\b.*\.(?:create|update|delete|bulk_\w+)\()")
    for path in (ROOMS / room).rglob("*.py"):
        text = path.read_text()
        assert not writing.search(text), path
        assert not rows.search(text), path


def test_ending_a_hold_that_is_over_lowers_nothing() -> None:
    at = Stage()
    later = timezone.now() + timedelta(days=30)
    before = stock_of(at.line.pk, on=later.date()).free("young")
    orders.lapse_holds(at=later)
    assert Promise.objects.get().state == Promise.State.RELEASED
    assert stock_of(at.line.pk, on=later.date()).free("young") == before > 0
