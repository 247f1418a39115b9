"""The demo's seasons: every place has whole hours in each, and winter is winter."""

from datetime import UTC, datetime

import pytest

from breeder.management.demo_data.demo_stock import rows
from breeder.management.demo_data.places import ALL_YEAR, SEASONS, RecordedStretch
from breeder.weather import sample_data

KINDS = {"home"} | {row["weather"] for row in rows("people.csv")}


def hours(stretch: RecordedStretch) -> list[float | None]:
    start = datetime(2013, stretch.month, stretch.day, 5, tzinfo=UTC)
    return sample_data.station_slice(stretch.station, start, stretch.days * 24)


@pytest.mark.parametrize("season", SEASONS)
def test_every_place_has_its_hours_in_every_season(season: str) -> None:
    assert set(SEASONS[season]) >= KINDS
    for stretch in SEASONS[season].values():
        assert sum(value is None for value in hours(stretch)) <= 4


def test_winter_is_cold_and_summer_warm_at_every_place() -> None:
    def mean(season: str, kind: str) -> float:
        known = [value for value in hours(SEASONS[season][kind]) if value is not None]
        return sum(known) / len(known)

    for kind in KINDS:
        assert mean("winter", kind) < 8.0 < 17.0 < mean("summer", kind)
    assert {kind for kind in KINDS if mean(ALL_YEAR, kind) < 8.0} == {"bitter", "cold"}
