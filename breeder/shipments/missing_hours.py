"""Say which hours a box's journey lacks; nothing ever replaces them."""

from collections.abc import Iterable

from breeder.base.models import Setting
from breeder.core.transit import trial_result
from breeder.core.transit.itinerary import DelayCase
from breeder.core.transit.place_air import Ends
from breeder.shipments import check_text
from breeder.weather.models import Place
from breeder.weather.queries import usual_texts


def missing_texts(cases: Iterable[DelayCase], ends: Ends) -> tuple[str, ...]:
    """Return a sentence for each end whose hours do not cover the journey."""
    rows = tuple(cases)
    sentences = [
        check_text.missing_text(hours, trial_result.missing_indexes(hours, rows))
        for hours in (ends.origin, ends.destination)
    ]
    return tuple(dict.fromkeys(sentence for sentence in sentences if sentence))


def usual_weather_texts(
    places: Iterable[Place], cases: Iterable[DelayCase], ends: Ends, household: Setting
) -> tuple[str, ...]:
    """Return the usual weather of missing hours, as a hint in words: no box is ever tried with it."""
    rows = tuple(cases)
    sentences: list[str] = []
    for place, hours in zip(places, (ends.origin, ends.destination), strict=True):
        lacking = trial_result.missing_indexes(hours, rows)
        months = dict.fromkeys(hours.times[index].astimezone(hours.zone).month for index in lacking)
        sentences += usual_texts(place, months, fahrenheit=household.fahrenheit) if months else []
    return tuple(dict.fromkeys(sentences))
