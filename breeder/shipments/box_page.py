"""Prepare what the page of one box shows, so that its template decides nothing."""

from collections import Counter
from collections.abc import Sequence
from datetime import date, datetime
from typing import Any
from zoneinfo import ZoneInfo

from django.http import HttpRequest
from django.urls import reverse
from django.utils import timezone

from breeder.base.formatting import odds
from breeder.base.models import Setting
from breeder.base.roles import is_keeper
from breeder.core.compliance.facts import NOTHING
from breeder.core.counting.plurals import is_or_are
from breeder.core.thermal.verdict import LEAVING
from breeder.core.transit.local_time import moment
from breeder.core.transit.rule_of_thumb import Opinion
from breeder.cultures.models import Promise
from breeder.cultures.phrases import animals
from breeder.orders.models import Order, OrderLine
from breeder.shipments import check_json, check_text, delay_notice, legal_block, place_links
from breeder.shipments.forms.box_forms import ContentsForm, DayChoice, KitChoice, WayChoice
from breeder.shipments.forms.departure_forms import CheckForm, PackedForm, UnpackForm
from breeder.shipments.models import Check, Parcel
from breeder.shipments.queries import checks
from breeder.shipments.queries.checks import BoxStatus
from breeder.shipments.queries.parcels import planned_by_order_line, usable_days
from breeder.shipments.rules.box_rules import HERE, instructions_for
from breeder.shipments.rules.departure_rules import DAY_PAST, order_ended


def box_context(request: HttpRequest, parcel: Parcel, bound: dict[str, Any] | None = None) -> dict[str, Any]:
    """Return everything that the page of a box shows; `bound` are forms to show again as typed."""
    household, now = request.household, timezone.now()
    check = checks.latest_checks([parcel.pk]).get(parcel.pk)
    on_record = legal_block.ask_boxes([parcel], now).get(parcel.pk, NOTHING)
    standing = checks.box_status(parcel, check, household, now, on_record)
    result = check.result if check else {}
    places = place_links.linked_places(parcel, household)
    return {
        "parcel": parcel,
        "is_here": parcel.status in HERE,
        "title": title_text(parcel),
        "lede": lede_text(parcel),
        "standing": standing,
        "check": check,
        "result": result,
        "because": [place_links.linked(sentence, places) for sentence in result.get("because", ())],
        "others": [place_links.linked(sentence, places) for sentence in standing.leave.others],
        "kits": [_kit_row(row) for row in result.get("kits", ())],
        "curve": check_json.stored_curve(result),
        "allowed": check_text.allowed_text(float(household.comfort_tolerance), float(household.hard_tolerance)),
        "second_opinion": opinion_text(result.get("trade"), household),
        "morning": morning_text(parcel, check, now),
        "ways": delivery_ways(parcel, result),
        "ways_first": check is not None and check.verdict not in LEAVING,
        "next_day": _day(result.get("next_day")),
        "no_day": check_text.no_day_text(result.get("no_day")),
        "instructions": instructions_for(
            parcel.kit, handed_over=handed_over(parcel, household.zone), fahrenheit=household.fahrenheit
        ),
        "moved": order_change_texts(parcel),
        "holding": delay_notice.buyer_notice(parcel, check, household, timezone.localdate(now)),
        "legs": [_leg(row) for row in result.get("legs", ())],
        "sources": [_source(row) for row in result.get("sources", ())],
        "forms": box_forms(parcel, request, standing) | (bound or {}),
        "checks": list(parcel.checks.select_related("by")[:6]),
    }


def order_change_texts(parcel: Parcel) -> list[str]:
    """Return how the order changed since the box was planned; empty for a packed box, where it is too late."""
    if parcel.status != Parcel.Status.WAITING:
        return []
    planned = [(item.culture, item.order_line.culture) for item in parcel.items.all()]
    return _resized_texts(parcel) + [
        f"Its order now names tub {named.number}, but this box is planned out of tub {tub.number}. Change what is "
        "planned for it, below, before anything is pulled."
        for tub, named in planned
        if tub and named and tub != named
    ]


def _resized_texts(parcel: Parcel) -> list[str]:
    """Return the lines of which the order holds a pack or more above or below the plan of its boxes."""
    lines = {item.order_line_id: item.order_line for item in parcel.items.all()}
    numbers = [
        (lines[pk], _held_number(lines[pk]), planned) for pk, planned in sorted(planned_by_order_line(lines).items())
    ]
    return [
        f"Its order now holds {held} of {line.offer.line}, but {planned} {is_or_are(planned)} planned for its boxes. "
        "Change what is planned, below, before anything is pulled."
        for line, held, planned in numbers
        if abs(held - planned) >= line.animals
    ]


def _held_number(line: OrderLine) -> int:
    return line.promise.number if line.promise and line.promise.state == Promise.State.HELD else 0


def morning_text(parcel: Parcel, check: Check | None, now: datetime) -> str:
    """Return that a box needs another check on its shipping morning; empty if it does not."""
    if check is None or parcel.status not in HERE:
        return ""
    checked_on, today = timezone.localdate(check.made_at), timezone.localdate(now)
    return check_text.morning_check_text(check.verdict, checked_on, parcel.post_on, today)


def delivery_ways(parcel: Parcel, result: dict[str, Any]) -> list[dict[str, Any]]:
    """Return doorstep and counter, each with kit, verdict and odds; empty if the service offers only one."""
    other = result.get("other_way")
    if not other:
        return []
    current = result["kit"] | {"way": parcel.way, "kit": result["kit"]["name"], "is_own": True}
    both = [current, other | {"is_own": False}]
    for row in both:
        row["said"] = "To the doorstep" if row["way"] == Parcel.Way.DOORSTEP else "Held at a counter"
    return both


def box_forms(parcel: Parcel, request: HttpRequest, standing: BoxStatus) -> dict[str, Any]:
    """Return the forms of a box's page, filled in with its current values."""
    days = usable_days(parcel.service, timezone.localdate())
    return {
        "check": CheckForm(),
        "kit": KitChoice(initial={"kit": parcel.kit_id}),
        "way": WayChoice(initial={"service": parcel.service_id, "way": parcel.way}),
        "day": DayChoice(days=days, initial={"post_on": parcel.post_on and parcel.post_on.isoformat()}),
        "contents": ContentsForm(parcel=parcel),
        "packed": PackedForm(
            parcel=parcel,
            may_override=is_keeper(request.user)
            and standing.check is not None
            and not standing.leave.is_free
            and not standing.legal.blocks,
            initial={"tracking": parcel.tracking},
        ),
        "unpack": UnpackForm(),
    }


def title_text(parcel: Parcel) -> str:
    """Return 'Box 207 · to Marquette, Monday'."""
    address = parcel.order.address
    to = f" · to {address}" if address else f" · for {parcel.order.person}"
    day = f", {parcel.post_on:%A}" if parcel.post_on else ""
    return f"Box {parcel.number}{to}{day}"


def lede_text(parcel: Parcel) -> str:
    """Return '3 cups, 30 young. Priority, 2 to 4 days, to the doorstep.'"""
    cups = sum(item.cups for item in parcel.items.all())
    numbers: dict[str, int] = {}
    for item in parcel.items.all():
        stage = item.order_line.offer.stage
        numbers[stage] = numbers.get(stage, 0) + (item.planned if item.packed is None else item.packed)
    counts = ", ".join(animals(number, stage) for stage, number in numbers.items() if stage != "cups")
    held = f"{cups} cup{'' if cups == 1 else 's'}" + (f", {counts}" if counts else "")
    way = "held at a counter" if parcel.way == Parcel.Way.COUNTER else "to the doorstep"
    if parcel.service is None:
        return f"{held}. No service chosen yet."
    least, latest = parcel.service.least_days, parcel.service.latest_days
    days = f"{least} to {latest} days" if least != latest else f"{least} day{'' if least == 1 else 's'}"
    return f"{held}. {parcel.service}, {days}, {way}."


def handed_over(parcel: Parcel, zone: ZoneInfo) -> datetime | None:
    """Return when a box is handed over, on the household's clock; None without a day or a service."""
    if parcel.post_on is None or parcel.service is None:
        return None
    return moment(parcel.post_on, parcel.service.cut_off, zone).astimezone(zone)


def opinion_text(stored: dict[str, Any] | None, household: Setting) -> str:
    """Return the trade's rule for this journey, and how it compares with the check."""
    if not stored:
        return ""
    opinion = Opinion(stored["word"], stored["low_c"], stored["high_c"], stored["pack"])
    return f"{opinion.text(fahrenheit=household.fahrenheit)} {stored['compared']}".strip()


def checked_text(check: Check) -> str:
    """Return the result of a check just made."""
    return f"Box {check.parcel.number} is checked: {check.get_verdict_display()}. {check.result['odds_said']}"


def all_checked_text(standings: Sequence[BoxStatus]) -> str:
    """Return the results of the boxes that are here: 'Checked: 3 Go, 1 No-go.'"""
    verdicts = Counter(Check.Verdict(standing.verdict).label for standing in standings if standing.check)
    if not verdicts:
        return "No box that is here can be checked yet."
    return f"Checked: {', '.join(f'{number} {verdict}' for verdict, number in sorted(verdicts.items()))}."


def packing_rows(standings: list[BoxStatus]) -> list[dict[str, Any]]:
    """Return the boxes of the packing list, each with its odds and where it goes."""
    now = timezone.now()
    return [
        {
            "standing": standing,
            "parcel": standing.parcel,
            "to": str(standing.parcel.order.address or standing.parcel.order.person),
            "says": _says(standing, now),
            "morning": morning_text(standing.parcel, standing.check, now),
        }
        for standing in standings
    ]


def next_packing_day(standings: list[BoxStatus], today: date) -> date:
    """Return the first day, from today on, with a box still to pack; today if there is none."""
    waiting = [standing.parcel for standing in standings if standing.parcel.status == Parcel.Status.WAITING]
    days = [parcel.post_on for parcel in waiting if parcel.post_on]
    return min((day for day in days if day >= today), default=today)


def _says(standing: BoxStatus, now: datetime) -> str:
    """Return what keeps a box from leaving, in one sentence."""
    obstacle = obstacle_text(standing, now)
    if obstacle or standing.leave.is_free or standing.check is None:
        return obstacle
    return " ".join(standing.check.result["because"])


def obstacle_text(standing: BoxStatus, now: datetime) -> str:
    """Return what keeps a box from leaving other than the verdict of its last check; empty if nothing does."""
    if standing.legal.blocks:
        return standing.legal.blocks[0]
    if ended := order_ended(standing.parcel.order, now):
        return ended
    if DAY_PAST in standing.leave.others:
        return DAY_PAST
    if standing.check is None:
        return "Not checked yet."
    return standing.leave.others[0] if standing.is_changed else ""


def orders_to_plan(orders: list[Order]) -> list[dict[str, Any]]:
    """Return orders without a planned box, with the address of the page that plans one."""
    return [{"order": order, "plan_url": reverse("shipments:plan", args=[order.number])} for order in orders]


def _day(stored: dict[str, Any] | None) -> dict[str, Any] | None:
    return stored and stored | {"on": datetime.fromisoformat(stored["on"]).date()}


def _kit_row(stored: dict[str, Any]) -> dict[str, Any]:
    """Return a kit as the table shows it, with short odds."""
    return stored | {f"{side}_said": odds(stored[f"too_{side}"]).removeprefix("about ") for side in ("cold", "warm")}


def _leg(stored: dict[str, Any]) -> dict[str, Any]:
    return stored | {name: datetime.fromisoformat(stored[name]) for name in ("starts_at", "ends_at")}


def _source(stored: dict[str, Any]) -> dict[str, Any]:
    issued = stored["issued_at"]
    return stored | {"issued_at": datetime.fromisoformat(issued) if issued else None}
