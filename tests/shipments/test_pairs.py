"""Forecasts with outcomes: the file is read as described, and learning uses no future day."""

import gzip
import json
from collections.abc import Iterator
from datetime import date, timedelta
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from breeder.core.thermal import forecast_error
from breeder.evaluation.replay import city_days, forecast_pairs
from breeder.evaluation.replay.city_days import Town
from breeder.evaluation.replay.forecast_pairs import City

FIRST = date(2021, 3, 1)
DAYS = 140
HEAD = "city,state,lat,lon,target_date,lead_day,fc_high_c,fc_low_c,obs_high_c,obs_low_c,flag_high,flag_low,remark"
PLACES = (("Upton", "Maine", 45.0, -70.0, 8.0), ("Downton", "Ohio", 40.0, -83.0, 12.0))
SAID_TOO_COOL, SAID_TOO_WARM_BY_NIGHT = 2.0, 1.0


def rows() -> Iterator[str]:
    """Yield invented days: forecast highs are 2 °C too low, lows 1 °C too high, and each day differs a little."""
    for name, state, lat, lon, middle in PLACES:
        for day in range(DAYS):
            low, high = middle - 4 + day % 3, middle + 5 + day % 4
            on = FIRST + timedelta(days=day)
            for lead in range(forecast_pairs.LEADS):
                said_low = "" if lead == 0 else f"{low + SAID_TOO_WARM_BY_NIGHT:.1f}"
                yield f"{name},{state},{lat},{lon},{on},{lead},{high - SAID_TOO_COOL:.1f},{said_low},{high},{low},0,0,x"


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    file = tmp_path_factory.mktemp("pairs") / "invented.csv.gz"
    file.write_bytes(gzip.compress("\n".join([HEAD, *rows()]).encode()))
    return file


@pytest.fixture(scope="module")
def held(path: Path) -> list[City]:
    return forecast_pairs.read_cities(path)


def test_the_file_is_read_by_city_day_and_lead(held: list[City]) -> None:
    first = held[0]
    assert [city.name for city in held] == ["Upton, Maine", "Downton, Ohio"]
    assert (first.first, first.days, first.timezone) == (FIRST, DAYS, "Etc/GMT+5")
    assert (first.low[1], first.high[1]) == (5.0, 14.0)
    assert first.forecast_high[1].tolist() == [12.0] * 6
    assert np.isnan(first.forecast_low[1, 0])
    assert first.forecast_low[1, 1] == 6.0


def test_a_value_that_cannot_be_counts_as_missing(tmp_path: Path) -> None:
    path = tmp_path / "flagged.csv"
    path.write_text(f"{HEAD}\nUpton,Maine,45,-70,2021-03-01,1,10,2,44,,1,0,\n")
    city = forecast_pairs.read_cities(path)[0]
    assert np.isnan(city.high[0])
    assert np.isnan(city.low[0])


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("city,state\nUpton,Maine", "lat, lon, target_date"),
        (f"{HEAD}\nUpton,Maine,45,-70,2021-03-01,9,10,2,12,1,0,0,", "lead_day is 9"),
        (HEAD, "no day has all its values"),
    ],
)
def test_a_file_that_is_no_such_file_is_refused_in_words(tmp_path: Path, text: str, words: str) -> None:
    path = tmp_path / "wrong.csv"
    path.write_text(text)
    with pytest.raises(CommandError, match=words):
        call_command("replay", pairs=path, stdout=StringIO())


def test_a_bias_is_learnt_from_days_that_were_over_by_the_posting_morning(held: list[City]) -> None:
    town = Town(held[0], learns=True)
    usual = forecast_error.USUAL_HIGH_BIAS_C
    assert town.side("high", 0, 0).bias_c == usual
    assert town.side("high", 3, 3).days == 0  # decided on the first morning
    assert town.side("high", 3, 0).days == 3
    after = town.side("high", 120, 2)
    assert after.days == 90
    assert after.bias_c == pytest.approx((90 * SAID_TOO_COOL + 20 * usual) / 110)
    assert town.side("low", 120, 2).bias_c == pytest.approx((-90 * SAID_TOO_WARM_BY_NIGHT - 20 * 0.65) / 110)
    assert Town(held[0], learns=False).side("high", 120, 2).bias_c == usual


def test_what_is_said_moves_towards_what_comes_as_it_is_learnt(held: list[City]) -> None:
    def misses(learns: bool) -> float:
        cases = city_days.city_cases(held, every=7, to_counter=False, learns=learns)
        assert len(cases) > 5
        gaps = [
            np.abs(forecast.middle_c - truth.middle_c)
            for case in cases
            for forecast, truth in zip(case.forecast, case.truth, strict=True)
        ]
        return float(np.mean(gaps))

    assert misses(True) < 0.6 * misses(False)


def test_a_box_comes_from_another_city_over_every_hour_it_needs(held: list[City]) -> None:
    cases = city_days.city_cases(held, every=9, to_counter=False, learns=True)
    for case in cases:
        origin, destination = case.forecast
        assert origin.hours.label != destination.hours.label
        for leg in case.shape.cases:
            places = [destination.index_at(at) for at in leg.times]
            assert min(places) >= 0
            assert max(places) < len(destination.middle_c)
    assert len({case.seed for case in cases}) == len(cases)


def test_pairs_are_decided_and_lived_through(path: Path) -> None:
    out = StringIO()
    call_command("replay", pairs=path, every=20, json=True, leakier=1.2, stdout=out)
    figures = json.loads(out.getvalue())
    assert list(figures) == ["2 places, doorstep, temperate", "2 places, doorstep, tropical"]
    mild = figures["2 places, doorstep, temperate"]
    assert mild["days"] > 1
    assert mild["oracle"]["go"] >= mild["check"]["go"] > 0
    assert mild["check"]["unsafe_go"] <= 0.05
    assert sum(row["days"] for row in mild["reliability"]) == mild["days"]
