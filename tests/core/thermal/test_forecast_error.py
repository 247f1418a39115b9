"""Check the usual error of a forecast against measurements.

Source of all figures: computed for this project from daily forecasts of the US National Weather Service and the
measured weather, 57 US cities, 2014-2017 (data of the ASA Data Expo 2018).
"""

import numpy as np
import pytest

from breeder.core.thermal import forecast_error
from breeder.core.thermal.ensemble_draws import draws


@pytest.mark.parametrize(("km", "measured", "within"), [(75, 0.55, 0.02), (225, 0.39, 0.025), (400, 0.24, 0.01)])
def test_errors_of_two_places_go_together_as_they_did_between_cities(km, measured, within):
    assert forecast_error.correlation(km) == pytest.approx(measured, abs=within)


def test_beyond_five_days_the_error_grows_as_it_did_in_the_last_two():
    highs, lows = np.array([2.60, 2.90, 3.27]), np.array([2.42, 2.59, 2.81])
    steps = np.concatenate([highs[1:] / highs[:-1], lows[1:] / lows[:-1]])
    grown = forecast_error.low_sd_c(7.0) / forecast_error.low_sd_c(6.0)
    assert float(grown) == pytest.approx(steps.mean(), abs=0.02)


def test_a_forecast_is_moved_by_what_it_misses_on_average_in_its_first_days():
    missed_low, missed_high = np.mean([0.79, 0.60, 0.62]), np.mean([-0.46, -0.49, -0.56])
    hours = np.arange(24.0)
    bias = forecast_error.usual_bias_c(hours)
    rise, at_low = np.polyfit(forecast_error.high_share(hours), bias, 1)
    assert (at_low, at_low + rise) == pytest.approx((-missed_low, -missed_high), abs=0.03)
    assert 3 <= hours[bias.argmin()] <= 7
    assert 13 <= hours[bias.argmax()] <= 16


@pytest.mark.parametrize("place", [0, 1])
def test_every_hour_has_the_spread_that_was_asked_for(place):
    """Also halfway between low and high, when the box is on the doorstep (20,000 members drawn; sampling error 1 %)."""
    hours = np.arange(120)
    drawn = forecast_error.error_c(
        draws(3, 20_000), hour=hours, local_hour=hours % 24.0, sd=np.full(120, 2.0), place=place, together=0.4
    )
    assert drawn.std(axis=1) == pytest.approx(np.full(120, 2.0), rel=0.03)
