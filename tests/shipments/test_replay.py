"""A replay decides on made forecasts, runs the real hours, and counts correctly."""

from dataclasses import replace
from datetime import date, timedelta
from io import StringIO
from pathlib import Path

import numpy as np
import pytest
from django.core.management import CommandError, call_command

from breeder.core.thermal.ensemble_draws import draws
from breeder.core.thermal.forecast_error import high_sd_c
from breeder.evaluation.replay import decisions, figures
from breeder.evaluation.replay.decisions import Decision, ReplayedDay, Route, replay_route
from breeder.evaluation.replay.made_forecasts import make_forecast, recorded_station, station_from_file, truth_around

MONDAY = date(2013, 4, 8)


def test_a_forecast_errs_as_much_as_the_error_model_says() -> None:
    truth = truth_around(recorded_station("LGA"), MONDAY)
    assert truth is not None
    errors = []
    for seed in range(600):  # the tails are heavy: 150 seeds may be off by a quarter
        forecast = make_forecast(truth, draws(seed, 1), place=0, together=0.0)
        errors.append([a - b for a, b in zip(forecast.c, truth.c, strict=True)])  # type: ignore[operator]
    afternoon = [index for index, at in enumerate(truth.times) if at.astimezone(truth.zone).hour == 15][2]
    assert np.std(np.array(errors)[:, afternoon]) == pytest.approx(float(high_sd_c(1.4, "spring")), rel=0.25)
    assert abs(float(np.mean(errors))) < 0.4


def test_a_day_without_all_its_hours_is_left_out() -> None:
    station = recorded_station("LGA")
    hole = list(station.c)
    hole[97 * 24] = None
    assert truth_around(station, MONDAY) is not None
    assert truth_around(replace(station, c=tuple(hole)), MONDAY) is None


def test_a_few_days_are_decided_and_lived_through() -> None:
    laguardia, kennedy = recorded_station("LGA"), recorded_station("JFK")
    days = replay_route(Route(laguardia, kennedy, True, "temperate"), every=110)
    assert len(days) >= 3
    for day in days:
        for decided in (day.check, day.rule, day.oracle):
            assert (decided.kit is None) == (decided.broke is None)
        if day.check.kit is not None:
            assert day.check.stated is not None
            assert day.check.stated <= 0.06
    assert figures.summarize(days)["days"] == len(days)


def _decided(kit: str | None, broke: float | None, stated: float | None = None) -> Decision:
    return Decision(MONDAY, kit, False, stated, broke, broke)


def test_figures_count_what_broke_over_what_went() -> None:
    no = _decided(None, None)
    near = Decision(MONDAY, None, False, 0.15, None, 0.2)
    days = [
        ReplayedDay(MONDAY, 10, 20, _decided("A", 0.5, 0.01), no, _decided("A", 0.0)),
        ReplayedDay(MONDAY, 10, 20, _decided("A", 0.1, 0.01), _decided("A", 1.0), _decided("A", 0.0)),
        ReplayedDay(MONDAY, -9, 20, no, no, _decided("A", 0.0)),
        ReplayedDay(MONDAY, -9, 20, near, no, no),
    ]
    summary = figures.summarize(days)
    assert summary["check"]["go"] == 0.5
    assert summary["check"]["unsafe_go"] == pytest.approx(0.3)
    assert summary["check"]["needless_no_go"] == pytest.approx(1 / 3, abs=1e-4)
    assert summary["trade_rule"]["unsafe_go"] == 1.0
    assert summary["go_of_oracle"] == pytest.approx(2 / 3, abs=1e-4)
    assert summary["ordinary_days"] == {"days": 2, "go_without_pack": 1.0}
    bins = [row for row in summary["reliability"] if row["days"]]
    assert [(row["stated"], row["came_true"]) for row in bins] == [(0.01, 0.3), (0.15, 0.2)]


def test_the_keepers_own_file_is_read(tmp_path: Path) -> None:
    path = tmp_path / "own.csv"
    first = "2024-01-01T00:00:00+00:00"
    path.write_text(f"time,temp_c\n{first},1.5\n2024-01-01T01:00:00+00:00,\n2024-01-01T02:00:00+00:00,2.5\n")
    station = station_from_file(path, 50.0, 8.0, "Europe/Berlin")
    assert station.c == (1.5, 2.0, 2.5)
    with pytest.raises(CommandError, match="no day has all its hours"):
        call_command("replay", csv=path, stdout=StringIO())
    with pytest.raises(CommandError, match="cannot be read as hours"):
        call_command("replay", csv=tmp_path / "none.csv", stdout=StringIO())


def test_the_rule_and_the_check_see_the_same_forecast_and_no_stream_is_shared() -> None:
    seeds = {decisions.CHECK_SEED, decisions.ERROR_SEED, decisions.TRUE_SEED}
    longest = timedelta(days=date(2100, 1, 1).toordinal())
    assert len(seeds) == 3
    assert min(abs(a - b) for a in seeds for b in seeds if a != b) > longest.days
