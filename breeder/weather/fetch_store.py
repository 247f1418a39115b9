"""Store the answers of weather services: the forecast, when to ask again, and what went wrong."""

import random
import re
from datetime import datetime, timedelta

from django.db import transaction

from breeder.weather import steps
from breeder.weather.models import Fetch, Forecast, Place
from breeder.weather.services.errors import ServiceTrouble
from breeder.weather.services.types import FetchedForecast, ServiceAnswer, ServiceRequest, Spot

JITTER = 0.1
LONGEST_KEPT = timedelta(days=30)
MAX_AGE = re.compile(r"(?:^|[,\s])max-age=(\d{1,7})\b")

# After this, "not modified" is no longer believed: services have sent it for weeks.
CONDITIONAL_UNTIL = timedelta(hours=12)
# A refusal (not covered, no key, unreadable) does not go away by asking again soon.
REFUSED_FOR = timedelta(hours=1)
# Requests for measured hours; the keeper is not told when they fail.
MEASURING = ("stations", "observations")
# How long hours of a forecast are kept; a check keeps the hours it used forever.
KEPT_FOR = timedelta(days=14)
# Of replaced forecasts, one in this many hours is enough to learn from.
ONE_EVERY_H = 6


def place_spot(place: Place) -> Spot:
    """Return what a service may know about a place: coordinates to 0.01° and altitude."""
    return Spot(float(place.latitude), float(place.longitude), place.altitude_m)


def last_fetch(place: Place, service: str, endpoint: str) -> Fetch | None:
    """Return the last answer of a service for a place."""
    return Fetch.objects.filter(place=place, service=service, endpoint=endpoint).select_related("forecast").first()


def kept_answer(row: Fetch) -> ServiceAnswer:
    """Return a stored answer as if it had just arrived."""
    headers = {"content-type": "application/json"}
    return ServiceAnswer(row.endpoint, row.url, 200, headers, row.body.encode(), row.asked_at)


def conditional_headers(row: Fetch | None, now: datetime) -> dict[str, str]:
    """Return If-Modified-Since, or nothing if the earlier date is in the future or the forecast is old."""
    if row is None or not row.last_modified or row.forecast is None or row.trouble:
        return {}
    if now - row.forecast.issued_at > CONDITIONAL_UNTIL:
        return {}
    earlier = ServiceAnswer("", "", 200, {"last-modified": row.last_modified}, b"", now).moment("last-modified")
    return {"If-Modified-Since": row.last_modified} if earlier is not None and earlier <= now else {}


def good_until(ask: ServiceRequest, answer: ServiceAnswer, dice: random.Random) -> datetime:
    """Return when the same may be asked again: as the service says, at least `kept_for`, plus up to a tenth."""
    held = ask.kept_for
    if expires := answer.moment("expires"):
        # By the service's clock if it sends the time: ours may be wrong.
        held = max(held, expires - (answer.moment("date") or answer.fetched_at))
    if max_age := MAX_AGE.search(answer.headers.get("cache-control", "")):
        held = max(held, timedelta(seconds=int(max_age[1])))
    return answer.fetched_at + min(held, LONGEST_KEPT) * (1 + dice.uniform(0, JITTER))


def keep_whole_answer(
    place: Place, service: str, ask: ServiceRequest, answer: ServiceAnswer, dice: random.Random
) -> None:
    """Keep a whole answer that later requests need; without NUL, which PostgreSQL refuses in text."""
    body = answer.body.decode("utf-8", "replace").replace("\0", "")
    _write(place, service, answer, good_until=good_until(ask, answer, dice), body=body)


def keep_forecast(
    place: Place, ask: ServiceRequest, answer: ServiceAnswer, fetched: FetchedForecast, dice: random.Random
) -> Forecast:
    """Keep fetched hours, and when to ask their service again."""
    with transaction.atomic(durable=True):
        forecast = steps.keep_fetched(place, fetched)
        _write(place, fetched.service, answer, good_until=good_until(ask, answer, dice), forecast=forecast)
        _thin_out(forecast)
        troubled = Fetch.objects.filter(place=place, service=fetched.service).exclude(trouble="")
        troubled.exclude(endpoint__in=MEASURING).update(trouble="")
        Place.objects.filter(pk=place.pk).update(wanted_at=None)
    return forecast


def keep_answered(place: Place, service: str, ask: ServiceRequest, answer: ServiceAnswer, dice: random.Random) -> None:
    """Note the time of an answer without a forecast."""
    _write(place, service, answer, good_until=good_until(ask, answer, dice))


def keep_unchanged(row: Fetch, ask: ServiceRequest, answer: ServiceAnswer, dice: random.Random) -> None:
    """Note that the stored forecast is still the newest."""
    with transaction.atomic(durable=True):
        Fetch.objects.filter(pk=row.pk).update(asked_at=answer.fetched_at, good_until=good_until(ask, answer, dice))
        Forecast.objects.filter(pk=row.forecast_id).update(received_at=answer.fetched_at)
        Place.objects.filter(pk=row.place_id).update(wanted_at=None)


def keep_trouble(
    place: Place, service: str, endpoint: str, trouble: ServiceTrouble, now: datetime, held: timedelta
) -> None:
    """Note what went wrong, for the place's page; earlier hours stay."""
    with transaction.atomic(durable=True):
        Fetch.objects.update_or_create(
            place=place,
            service=service,
            endpoint=endpoint,
            defaults={"asked_at": now, "good_until": now + held, "trouble": trouble.sentence, "body": ""},
        )
        Place.objects.filter(pk=place.pk).update(wanted_at=None)


def forget_whole_answers(place: Place, service: str) -> bool:
    """Forget the whole answers kept of a service, and return whether there were any."""
    return bool(Fetch.objects.filter(place=place, service=service).exclude(body="").delete()[0])


def drop_old(now: datetime) -> int:
    """Drop fetched forecasts that no check can use any more, and return how many."""
    old = Forecast.objects.filter(source__in=steps.FETCHED, received_at__lt=now - KEPT_FOR)
    return old.delete()[0]


def _thin_out(newest: Forecast) -> None:
    """Keep one replaced forecast of a place in six hours: they only serve learning, and gaps in the newest."""
    older = Forecast.objects.filter(place=newest.place, source=newest.source).exclude(pk=newest.pk)
    seen: set[int] = set()
    for pk, issued_at in list(older.order_by("issued_at", "id").values_list("pk", "issued_at")):
        slot = int(issued_at.timestamp() // (3600 * ONE_EVERY_H))
        if slot in seen or issued_at == newest.issued_at:
            Forecast.objects.filter(pk=pk).delete()
        seen.add(slot)


def _write(
    place: Place,
    service: str,
    answer: ServiceAnswer,
    *,
    good_until: datetime,
    body: str = "",
    forecast: Forecast | None = None,
) -> None:
    last_modified = answer.headers.get("last-modified", "")
    Fetch.objects.update_or_create(
        place=place,
        service=service,
        endpoint=answer.endpoint,
        defaults={
            "asked_at": answer.fetched_at,
            "good_until": good_until,
            "last_modified": last_modified if len(last_modified) <= 40 else "",
            "body": body,
            "url": answer.url[:300],
            "trouble": "",
            "forecast": forecast,
        },
    )
