"""A line that was counted and is sold in a pack, and the shortest way to agree an order from it."""

from datetime import timedelta
from typing import Any

from django.db import transaction
from django.utils import timezone

from breeder.base.action_frame import NO_FORM, Sent
from breeder.cultures import steps
from breeder.cultures.actions.counts import Sexed, record_count
from breeder.cultures.queries.stock import stock_of
from breeder.orders import actions
from breeder.orders.models import Offer, Order
from breeder.orders.rules.order_status import Terms, Who
from breeder.orders.rules.packs import Wanted
from breeder.species.models import Line
from tests.build import line, offer, tub


def counted_line(form: str, young: int, *, kept: int = 0, **values: Any) -> Line:
    """Return a line whose one tub was counted by hand; nothing but `kept` stays."""
    of = line(form, **({"young_kept": kept, "harvest_share": None} | values))
    record_count(tub(of).pk, "young", "hand", {"counted": young}, by=None)
    return of


def sexed_line(form: str, males: int, females: int, **values: Any) -> Line:
    """Return a line whose one tub's adults were counted by sex; 2 adults of each sex stay."""
    of = line(form, **({"adults_kept": 4, "each_sex_kept": 2} | values))
    sexed = Sexed(males, females, 0)
    record_count(tub(of).pk, "adults", "hand", {"counted": males + females}, sexed=sexed, by=None)
    return of


def take(of: Line, number: int, order: Order) -> None:
    """Pack so many young of an order's one line out of the line's one tub."""
    with transaction.atomic():
        steps.lock_lines([of.pk])
        promise = order.lines.get().promise
        steps.pack_from(of.cultures.get(), "young", number, promise=promise, at=timezone.now(), by=None)


def free(of: Line, stage: str = "young") -> int:
    return stock_of(of.pk).free(stage)


def pack(of: Line, **values: Any) -> Offer:
    return offer(of, **({"number": 10, "overcount": 2} | values))


def terms(days: int = 3, **values: Any) -> Terms:
    return Terms(held_until=timezone.now() + timedelta(days=days), **values)


def agree(
    *wanted: tuple[Offer, int], by: Any = None, sent: Sent = NO_FORM, name: str = "Ada Marsh", days: int = 3
) -> Order:
    """Agree an order of so many packs of each offer."""
    asked = [Wanted(offer_id=one.pk, packs=packs) for one, packs in wanted]
    return actions.agree_order(Who(new_name=name), asked, terms(days), by=by, sent=sent)
