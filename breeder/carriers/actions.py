"""What the keeper does with services and closures."""

from datetime import date, time
from typing import Any

from django.db import transaction

from breeder.base.action_frame import action
from breeder.base.edit_conflicts import fresh_row
from breeder.base.steps import log
from breeder.carriers.federal_holidays import federal_holidays
from breeder.carriers.models import Closure, Service
from breeder.core.transit.delivery_days import DELAY_SHARES

EXAMPLE_SOURCE = "unverified example; check days, weekdays and marking with your carrier"
MON_TUE, MON_TO_WED = [0, 1], [0, 1, 2]
EXAMPLES = (
    {"name": "overnight", "weekdays": MON_TO_WED, "least_days": 1, "usual_days": 1, "latest_days": 2, "price": "38.00"},
    {"name": "two-day", "weekdays": MON_TUE, "least_days": 2, "usual_days": 2, "latest_days": 4, "price": "14.00"},
    {"name": "ground", "weekdays": [0], "least_days": 3, "usual_days": 3, "latest_days": 5, "price": "9.00"},
)
EXAMPLE_CARRIER = "Post"
EXAMPLE_CUT_OFF = time(16)


def load_example_services(*, by: Any = None, today: date | None = None) -> int:
    """Add the example services that the book does not hold yet, with the post's closures; touch no other."""
    with transaction.atomic(durable=True):
        added = 0
        for example in EXAMPLES:
            _, new = Service.objects.get_or_create(
                carrier=EXAMPLE_CARRIER,
                name=example["name"],
                defaults={
                    **example,
                    "cut_off": EXAMPLE_CUT_OFF,
                    "delay_shares": list(DELAY_SHARES),
                    "source": EXAMPLE_SOURCE,
                },
            )
            added += new
        if today is not None:
            for year in (today.year, today.year + 1):
                _add_closures(EXAMPLE_CARRIER, year)
        if added:
            log("services loaded", "examples", f"{added} example services were added; check them.", by=by)
    return added


@action()
def add_federal_holidays(carrier: str, year: int, *, by: Any) -> int:
    """Add a year's US federal holidays as closures of a carrier, and return how many were new."""
    added = _add_closures(carrier, year)
    many = f"1 federal holiday of {year} was" if added == 1 else f"{added} federal holidays of {year} were"
    log("closures added", carrier, f"{many} added for {carrier}.", by=by)
    return added


@action()
def save_service(service: Service, *, by: Any) -> Service:
    """Keep a service, new or changed."""
    service.save()
    days = "1 day" if service.usual_days == 1 else f"{service.usual_days} days"
    log("service kept", str(service), f"{service}: {days}, latest {service.latest_days}.", by=by)
    return service


@action()
def save_closure(closure: Closure, *, by: Any) -> Closure:
    """Keep a day on which a carrier carries nothing."""
    closure.save()
    log("closure kept", closure.carrier, f"{closure.carrier} is closed on {closure.on:%-d %B %Y}.", by=by)
    return closure


@action(lock=fresh_row)
def remove_closure(closure: Closure, *, by: Any) -> Closure:
    """Take a closure off again."""
    log("closure removed", closure.carrier, f"{closure.carrier} is open on {closure.on:%-d %B %Y}.", by=by)
    closure.delete()
    return closure


def _add_closures(carrier: str, year: int) -> int:
    return sum(
        Closure.objects.get_or_create(carrier=carrier, on=holiday.on, defaults={"name": holiday.name})[1]
        for holiday in federal_holidays(year)
    )
