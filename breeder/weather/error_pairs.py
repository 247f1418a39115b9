"""Pair observed hours with their forecasts, and learn the bias of the next forecast from them."""

from collections.abc import Sequence
from datetime import datetime, timedelta

from breeder.weather import forecast_spread, hour_grid, place_bias
from breeder.weather.models import ErrorPair, Forecast, Learnt, Observation, Place

# No forecast reaches farther, so an observation can only belong to those issued since.
FARTHEST_LEAD = timedelta(hours=place_bias.BOUNDS_H[-1])


def keep_observed(place: Place, starts_at: datetime, hours_c: Sequence[float | None], credit: str) -> int:
    """Keep observed hours without single-hour sensor faults, and return how many are new."""
    clean, _ = hour_grid.without_spikes(hours_c)
    rows = [
        Observation(place=place, at=starts_at + hour * hour_grid.HOUR, observed_c=round(value, 2), credit=credit)
        for hour, value in enumerate(clean)
        if value is not None
    ]
    before = place.observations.count()
    Observation.objects.bulk_create(rows, ignore_conflicts=True)
    return place.observations.count() - before


def pair_up(place: Place, since: datetime) -> int:
    """Pair the observed hours since a time with every forecast of them, and return the number of pairs."""
    observed = dict(place.observations.filter(at__gte=since).values_list("at", "observed_c"))
    if not observed:
        return 0
    first, last = min(observed), max(observed)
    pairs = []
    # Recorded hours are real hours shown as a forecast, so they would only teach that forecasts are perfect.
    rows = place.forecasts.exclude(source=Forecast.Source.RECORDED).filter(
        starts_at__lte=last, issued_at__gte=first - FARTHEST_LEAD
    )
    for row in rows:
        for hour, value in enumerate(row.hours_c):
            at = row.starts_at + hour * hour_grid.HOUR
            if value is None or at not in observed or at < row.issued_at:
                continue
            pairs.append(
                ErrorPair(
                    place=place,
                    source=row.source,
                    issued_at=row.issued_at,
                    valid_at=at,
                    forecast_c=value,
                    observed_c=observed[at],
                )
            )
    ErrorPair.objects.bulk_create(pairs, ignore_conflicts=True)
    return len(pairs)


def learn(place: Place, now: datetime) -> int:
    """Learn again from all pairs of a place and return the number of lessons; drops lessons without pairs."""
    by_source: dict[str, list[place_bias.HourPair]] = {}
    for pair in place.error_pairs.filter(valid_at__gte=now - place_bias.LEARNT_FROM):
        hour_pair = place_bias.HourPair(pair.issued_at, pair.valid_at, pair.forecast_c, pair.observed_c)
        by_source.setdefault(pair.source, []).append(hour_pair)
    number = 0
    for source, pairs in by_source.items():
        for bound, some in place_bias.by_bound(pairs).items():
            lesson = place_bias.learn_lesson(
                some, place.zone, float(place.latitude), forecast_spread.usual_bias_c(source)
            )
            Learnt.objects.update_or_create(
                place=place,
                source=source,
                lead_until_h=bound,
                defaults={
                    "days": lesson.days,
                    "low_bias_c": lesson.low.bias_c,
                    "high_bias_c": lesson.high.bias_c,
                    "low_share": lesson.low.share,
                    "high_share": lesson.high.share,
                    "learnt_at": now,
                },
            )
            number += 1
    place.learnt.exclude(learnt_at=now).delete()
    return number


def keep_and_learn(
    place: Place, starts_at: datetime, hours_c: Sequence[float | None], credit: str, now: datetime
) -> int:
    """Keep observed hours, pair them and learn; return the number of new hours. Needs the caller's transaction."""
    new = keep_observed(place, starts_at, hours_c, credit)
    if new:
        pair_up(place, starts_at)
        learn(place, now)
    return new
