"""From a service's answer to rows: what was kept before, when it may be asked again, and the forecast itself."""

import random
import re
from datetime import datetime, timedelta

from django.db import transaction

from breeder.weather import steps
from breeder.weather.models import Fetch, Forecast, Place
from breeder.weather.services.errors import Trouble
from breeder.weather.services.types import Answer, Ask, FetchedForecast, Spot

JITTER = 0.1
LONGEST_KEPT = timedelta(days=30)
MAX_AGE = re.compile(r"(?:^|[,\s])max-age=(\d{1,7})\b")

# After this a service that answers "not modified" is no longer believed: such answers have come for weeks.
CONDITIONAL_UNTIL = timedelta(hours=12)
# A refusal (no cover, no key, another shape) does not heal by asking again soon.
REFUSED_FOR = timedelta(hours=1)
# Questions after what was measured; that they fail is no trouble for the keeper.
MEASURING = ("stations", "observations")
# Numbers of a forecast are kept so long; a check keeps the hours that it rested on for ever.
KEPT_FOR = timedelta(days=14)
# Of those that a newer one replaced, one in so many hours is enough to learn from.
ONE_EVERY_H = 6


def spot_of(place: Place) -> Spot:
    """Return what may be told of a place: coordinates to 0.01° and its height."""
    return Spot(float(place.latitude), float(place.longitude), place.altitude_m)


def last_fetch(place: Place, service: str, endpoint: str) -> Fetch | None:
    """Return the last answer of a service about a place."""
    return Fetch.objects.filter(place=place, service=service, endpoint=endpoint).select_related("forecast").first()


def kept_answer(row: Fetch) -> Answer:
    """Return an answer that was kept whole, as if it came just now."""
    headers = {"content-type": "application/json"}
    return Answer(row.endpoint, row.url, 200, headers, row.body.encode(), row.asked_at)


def condition(row: Fetch | None, now: datetime) -> dict[str, str]:
    """Return the header that asks only for news; none where the former date lies ahead or the forecast grew old."""
    if row is None or not row.last_modified or row.forecast is None or row.trouble:
        return {}
    if now - row.forecast.issued_at > CONDITIONAL_UNTIL:
        return {}
    former = Answer("", "", 200, {"last-modified": row.last_modified}, b"", now).moment("last-modified")
    return {"If-Modified-Since": row.last_modified} if former is not None and former <= now else {}


def good_until(ask: Ask, answer: Answer, dice: random.Random) -> datetime:
    """Return before when not to ask the same again: as the service says, our own least, and up to a tenth more."""
    held = ask.kept_for
    if expires := answer.moment("expires"):
        # By the service's own clock where it tells it: ours may be wrong.
        held = max(held, expires - (answer.moment("date") or answer.fetched_at))
    if found := MAX_AGE.search(answer.headers.get("cache-control", "")):
        held = max(held, timedelta(seconds=int(found[1])))
    return answer.fetched_at + min(held, LONGEST_KEPT) * (1 + dice.uniform(0, JITTER))


def keep_lasting(place: Place, service: str, ask: Ask, answer: Answer, dice: random.Random) -> None:
    """Keep an answer whole, since further questions rest on it; PostgreSQL keeps no text with a NUL in it."""
    body = answer.body.decode("utf-8", "replace").replace("\0", "")
    _write(place, service, answer, good_until=good_until(ask, answer, dice), body=body)


def keep_forecast(place: Place, ask: Ask, answer: Answer, found: FetchedForecast, dice: random.Random) -> Forecast:
    """Keep the hours that were fetched, and when their service may be asked again."""
    with transaction.atomic(durable=True):
        forecast = steps.keep_fetched(place, found)
        _write(place, found.service, answer, good_until=good_until(ask, answer, dice), forecast=forecast)
        _thin_out(forecast)
        troubled = Fetch.objects.filter(place=place, service=found.service).exclude(trouble="")
        troubled.exclude(endpoint__in=MEASURING).update(trouble="")
        Place.objects.filter(pk=place.pk).update(wanted_at=None)
    return forecast


def keep_answered(place: Place, service: str, ask: Ask, answer: Answer, dice: random.Random) -> None:
    """Note when a question was answered that brought no forecast."""
    _write(place, service, answer, good_until=good_until(ask, answer, dice))


def keep_unchanged(row: Fetch, ask: Ask, answer: Answer, dice: random.Random) -> None:
    """Note that what was kept is still the newest."""
    with transaction.atomic(durable=True):
        Fetch.objects.filter(pk=row.pk).update(asked_at=answer.fetched_at, good_until=good_until(ask, answer, dice))
        Forecast.objects.filter(pk=row.forecast_id).update(received_at=answer.fetched_at)
        Place.objects.filter(pk=row.place_id).update(wanted_at=None)


def keep_trouble(place: Place, service: str, endpoint: str, trouble: Trouble, now: datetime, held: timedelta) -> None:
    """Note what went wrong, for the place's page; hours that were kept before stay."""
    with transaction.atomic(durable=True):
        Fetch.objects.update_or_create(
            place=place,
            service=service,
            endpoint=endpoint,
            defaults={"asked_at": now, "good_until": now + held, "trouble": trouble.sentence, "body": ""},
        )
        Place.objects.filter(pk=place.pk).update(wanted_at=None)


def forget_lasting(place: Place, service: str) -> bool:
    """Forget what was kept whole of a service, and return whether there was any."""
    return bool(Fetch.objects.filter(place=place, service=service).exclude(body="").delete()[0])


def drop_old(now: datetime) -> int:
    """Drop fetched hours that no check can use any more, and return how many."""
    old = Forecast.objects.filter(source__in=steps.FETCHED, received_at__lt=now - KEPT_FOR)
    return old.delete()[0]


def _thin_out(newest: Forecast) -> None:
    """Drop replaced forecasts of a place but one in six hours: they are only read to learn from, or behind a gap."""
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
    answer: Answer,
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
